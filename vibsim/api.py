"""vibsim from Python: load a case, change keys, run, read arrays; what `import vibsim` offers.

import vibsim
case = vibsim.load("configs/v3-80-trike.toml").with_value("run.speed_rpm", 5000)
results = vibsim.run(case)
results["mount_force"]          # (time, mount, axis), N
results.to_xarray("orders")
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import tomlkit

from vibsim.inputs.errors import InputError, VibsimError, nearest
from vibsim.inputs.loader import CaseFile, load_case, parse_case
from vibsim.post.summary import summarise
from vibsim.results.exchange.write import export
from vibsim.results.hdf5 import read_results, write_results
from vibsim.results.labelled import Group, Variable
from vibsim.show.html_comparisons import sweep_comparison_html
from vibsim.show.html_tables import case_html, comparison_html, results_html
from vibsim.studies.compare_runs import PERCENT, RESIDUALS, RunComparison, compare_runs
from vibsim.studies.compare_sweeps import SweepComparison, compare_sweeps
from vibsim.studies.run import run_case
from vibsim.studies.sweep.keys import holders, set_number
from vibsim.studies.sweep.read import is_sweep

if TYPE_CHECKING:
    import xarray


@dataclass(frozen=True)
class Case:
    """A checked case file. Keys are written as error lines name them: `mount[front left].stiffness_N_per_mm[3]`."""

    file: CaseFile

    @property
    def name(self) -> str:
        return self.file.name

    @property
    def text(self) -> str:
        """The case as TOML, changes in it."""
        return self.file.text

    def __getitem__(self, key: str) -> Any:
        """What the case file says, in the key's own unit; a list where `[*]` leads to several. Raises InputError."""
        found = []
        with _key_errors():
            for holder, at in holders(tomllib.loads(self.text), key):
                if isinstance(holder, dict) and at not in holder:
                    raise InputError(f"{key}: is not in the case; {nearest(str(at), list(holder))}")
                found.append(holder[at])
        return found if "[*]" in key else found[0]

    def with_value(self, key: str, value: Any) -> Case:
        """The case with a number, word or list at a key, in the key's own unit. Raises InputError."""
        if isinstance(value, np.ndarray | np.generic):
            value = value.tolist()
        number = isinstance(value, int | float) and not isinstance(value, bool)
        return self._changed(lambda raw: set_number(raw, key, value, False) if number else _set(raw, key, value))

    def scaled(self, key: str, factor: float) -> Case:
        """The case with what stands at a key multiplied. Raises InputError."""
        return self._changed(lambda raw: set_number(raw, key, float(factor), True))

    def _changed(self, change: Any) -> Case:
        document: Any = tomlkit.parse(self.text)
        with _key_errors():
            change(document)
        return Case(parse_case(tomlkit.dumps(document), self.file.folder, self.file.name))

    def save(self, path: str | Path) -> Path:
        """Write the case file, never over one that is there. Raises VibsimError."""
        try:
            with Path(path).open("x", encoding="utf-8") as file:
                file.write(self.text)
        except OSError as error:
            raise VibsimError(f"{path}: cannot be written ({error.strerror})") from None
        return Path(path)

    def __repr__(self) -> str:
        return f"<vibsim.Case {self.name}: {self.file.case.case.title}>"

    def _repr_html_(self) -> str:
        return case_html(self.file)


def _set(raw: Any, key: str, value: Any) -> None:
    for holder, at in holders(raw, key):
        holder[at] = value


class _key_errors:
    """Errors of keys without the option that they come from on the command line."""

    def __enter__(self) -> None:
        return

    def __exit__(self, kind: Any, error: BaseException | None, trace: Any) -> None:
        if isinstance(error, InputError):
            problems = [problem.removeprefix("--over: ").removeprefix("--over ") for problem in error.problems]
            raise InputError(problems) from None


class Results(Group):
    """Results of a run or a sweep. `results["mount_force"]` is an array, `results["orders/order"]` one of a group."""

    def to_xarray(self, path: str = "") -> xarray.Dataset | xarray.DataArray:
        """The root's variables, those of a group (`orders`) or one variable, labelled. Raises VibsimError without
        xarray, InputError for what is not there."""
        try:
            import xarray
        except ImportError:
            raise VibsimError("labelled arrays need the library xarray: pip install 'vibsim[notebook]'") from None
        place, _, name = path.rpartition("/")
        if path in self.groups:
            place, name = path, ""
        if (place and place not in self.groups) or (name and path not in self):
            known = [*self.groups, *self.variables]
            raise InputError(f"to_xarray: got '{path}'; {nearest(path, known)}")
        group = self.groups[place] if place else self
        names = [name] if name else list(group.variables)
        found = {name: _as_xarray(xarray, group.variables[name]) for name in names}
        dims = {dimension for name in names for dimension in group.variables[name].dims}
        coordinates = {
            dimension: _as_xarray(xarray, holder.variables[dimension])
            for dimension in dims
            for holder in (self, group)
            if dimension in holder.variables
        }
        whole = xarray.Dataset({name: item for name, item in found.items() if name not in coordinates}, coordinates)
        return whole[name] if name else whole.assign_attrs(group.attributes)

    def summary(self) -> dict[str, Any]:
        """The answer of a run in plain numbers, as `vibsim run --json` prints it."""
        return summarise(self)

    def save(self, path: str | Path) -> Path:
        """Write the results file. Raises VibsimError."""
        write_results(self, Path(path))
        return Path(path)

    def export(self, path: str | Path, to: str = "csv", variables: Sequence[str] | None = None) -> list[Path]:
        """Write CSV (of a run a folder), `uff` or `json`, as `vibsim export` does."""
        return export(self, to, Path(path), list(variables) if variables else None)

    def __repr__(self) -> str:
        return f"<vibsim.Results {self.attributes.get('run_kind')}: {self.attributes.get('title')}>"

    def _repr_html_(self) -> str:
        return results_html(self)


def _as_xarray(xarray: Any, variable: Variable) -> xarray.Variable:
    data = variable.data.astype(str) if variable.data.dtype.kind == "O" else variable.data
    return xarray.Variable(variable.dims, data, {"units": variable.units, "long_name": variable.long_name})


def _results(group: Group) -> Results:
    return Results(group.variables, group.attributes, group.groups)


class Comparison(RunComparison):
    """Runs side by side: `levels` and `orders` with what got better and worse."""

    def _repr_html_(self) -> str:
        return comparison_html(self)


class SweepDifferences(SweepComparison):
    """Sweeps side by side: `differences` of quantities at the points they have in common."""

    def _repr_html_(self) -> str:
        return sweep_comparison_html(self)


def load(path: str | Path) -> Case:
    """A case file, checked. Raises InputError naming every mistake found."""
    return Case(load_case(path))


def run(case: Case | str | Path) -> Results:
    """Simulate a case. Raises InputError, RunFailure; what is doubtful stands in `attributes["warnings"]`."""
    return _results(run_case(_case(case).file))


def _case(case: Case | str | Path) -> Case:
    return case if isinstance(case, Case) else load(case)


def read(path: str | Path) -> Results:
    """A results file or a sweep. Raises InputError."""
    return _results(read_results(path))


def sweep(
    case: Case | str | Path,
    over: Mapping[str, Sequence[float]] | Sequence[str],
    path: str | Path,
    workers: int = 1,
    resume: bool = False,
) -> Results:
    """Points over a grid, each a steady state or a run of the case's kind, kept in a file: `over` gives keys their
    values (a key that ends in `*` is multiplied), or holds axes in words as `vibsim sweep --over` takes them. Several
    workers are processes, so that a script needs the usual `if __name__ == "__main__"`. Raises InputError, VibsimError.
    """
    from vibsim.studies.sweep.axes import read_points
    from vibsim.studies.sweep.engines import in_process, process_pool
    from vibsim.studies.sweep.plan import Plan
    from vibsim.studies.sweep.sweep import run_sweep

    words = [_axis(key, values) for key, values in over.items()] if isinstance(over, Mapping) else list(over)
    plan = Plan((_case(case).file,), read_points(words))
    plan.check()
    run_sweep(plan, Path(path), in_process() if workers == 1 else process_pool(workers), resume)
    return read(path)


def _axis(key: str, values: Sequence[float]) -> str:
    return f"{key}={','.join(repr(float(value)) for value in np.atleast_1d(values))}"


def compare(
    *results: Results,
    names: Sequence[str] = (),
    percent: float = PERCENT,
    residuals: float = RESIDUALS,
    of: Sequence[str] = (),
) -> Comparison | SweepDifferences:
    """Two or more runs side by side, each against the first, or sweeps, or one sweep of several cases: as
    `vibsim compare RESULT.h5 ...`; `names` are by default those of the cases, `of` names quantities of sweeps. Raises
    InputError."""
    if names and len(names) != len(results):
        raise InputError(f"names: got {len(names)}; must be one for each of {len(results)} results")
    found: dict[str, Group] = dict(zip(_names(results, names), results, strict=True))
    sweeps = [name for name, one in found.items() if is_sweep(one)]
    if sweeps and len(sweeps) < len(found):
        raise InputError(f"compare: got runs and sweeps; {sweeps[0]} is a sweep, give one kind")
    if sweeps:
        return SweepDifferences(**vars(compare_sweeps(found, list(of) or None, percent, residuals)))
    if of:
        raise InputError("of: is for sweeps; of runs all levels and orders are compared")
    return Comparison(**vars(compare_runs(found, percent, residuals)))


def _names(results: Sequence[Results], given: Sequence[str]) -> list[str]:
    """Names as given, or of the cases; numbered where they would be the same."""
    names = list(given) or [str(one.attributes.get("case_name", "run")).replace("\n", ", ") for one in results]
    if len(set(names)) < len(names):
        names = [f"{name} ({n})" for n, name in enumerate(names, start=1)]
    return names
