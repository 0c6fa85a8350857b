"""One step of a programme by itself, as results of a run: what figures, orders and spectra take."""

from __future__ import annotations

from pathlib import Path

from vibsim.inputs.errors import InputError
from vibsim.post.quantities import QUANTITIES, post_process
from vibsim.post.step_groups import as_run, points_of
from vibsim.results.hdf5 import read_results, read_rows
from vibsim.results.labelled import Group

LEFT_OUT = ("exposure", "third_octave", "load_step")  # of a step: what takes long, or is of another kind of run


def step_number(results: Group, asked: str) -> int:
    """Number of the step (from 1) that a word means: its number, or its kind where one alone is of that.

    Raises InputError.
    """
    if "steps" not in results.groups:
        kind = str(results.attributes.get("run_kind", "")).replace("_", " ")
        raise InputError(f"--step: got {asked!r}; a {kind} run has no steps, leave it out")
    kinds = step_kinds(results)
    if asked.isdecimal():
        if 1 <= int(asked) <= len(kinds):
            return int(asked)
        raise InputError(f"--step: got {asked}; must be 1 to {len(kinds)}: {_listed(kinds)}")
    meant = [number for number, kind in enumerate(kinds, start=1) if kind == asked.replace("-", "_")]
    if len(meant) == 1:
        return meant[0]
    if meant:
        raise InputError(f"--step: got {asked!r}; steps {' and '.join(map(str, meant))} are that, give a number")
    raise InputError(f"--step: got {asked!r}; allowed: {_listed(kinds)}")


def step_kinds(results: Group) -> list[str]:
    """Kinds of the steps of a run, in their order."""
    steps = results.groups["steps"]
    return [str(steps.groups[str(n + 1)].attributes["kind"]) for n in range(int(steps.attributes["count"]))]


def step_title(kind: str, number: int) -> str:
    return f"step {number}, {kind.replace('_', '-')}"


def _listed(kinds: list[str]) -> str:
    return ", ".join(f"{number} ({kind.replace('_', '-')})" for number, kind in enumerate(kinds, start=1))


def read_step(path: Path, asked: str) -> Group:
    """Results of a step of the run in a file, with what is post-processed of it; nothing of the record beside its own.

    Raises InputError for a step there is none of.
    """
    whole = read_results(path, record=False)
    number = step_number(whole, asked)
    step = whole.groups["steps"].groups[str(number)]
    first, end = points_of(step, float(whole.groups["history"].attributes["sample_rate_Hz"]))
    found = as_run(whole, step, read_rows(path, first, end))
    found.attributes["title"] = f"{step_title(str(step.attributes['kind']), number)} · {whole.attributes['title']}"
    found.attributes |= {name: value for name, value in step.attributes.items() if name.startswith(("road", "vehicle"))}
    return post_process(found, tuple(name for name in QUANTITIES if name not in LEFT_OUT))
