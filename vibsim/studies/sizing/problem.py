"""A sizing ready to be asked: knobs, goals, limits, and the bench that answers candidates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.sizing_checks import AXES
from vibsim.inputs.sizing_models import Ratio
from vibsim.solver.frequency_mounts import DynamicStiffness, dynamic_stiffness
from vibsim.studies.sizing.bench import Answers, Bench, Needs
from vibsim.studies.sizing.measures import Maker
from vibsim.studies.sizing.meter import Meter
from vibsim.studies.sizing.space import Mounts, Space, space_of

BLOCK = 64  # candidates answered together, which bounds memory


@dataclass(frozen=True)
class Values:
    """Goals (n, goals) and limits (n, limits) of candidates in SI; `broken` (n) how far limits are broken in all, as
    shares of them; `ratios` (n) the part of it by ratios of rates."""

    goals: np.ndarray
    limits: np.ndarray
    broken: np.ndarray
    ratios: np.ndarray

    @property
    def kept(self) -> np.ndarray:
        """Which candidates stand and keep every limit."""
        return (self.broken == 0.0) & np.isfinite(self.goals).all(axis=1)


class Problem:
    """The `[size]` table of a case, its bench built once."""

    def __init__(self, case_file: CaseFile, stiffness_of: DynamicStiffness = dynamic_stiffness):
        """Raises InputError with all that is wrong in the table, RunFailure when the case itself does not stand."""
        size = case_file.case.size
        if size is None:
            raise InputError(
                "size: is missing; a [size] table says what may change and what for, in the case or by --spec FILE"
            )
        self.case_file, self.size = case_file, size
        self.space: Space = space_of(case_file)
        maker, problems = Maker(case_file, Needs(), self.space.turned), []
        meters: dict[str, list[Meter]] = {"goal": [], "limit": []}
        for kind in ("goal", "limit"):
            for index, measure in enumerate(getattr(size, kind)):
                try:
                    where = f"size.{kind}[{index + 1}]"
                    meters[kind].append(maker.make(measure, where))
                    if kind == "limit" and measure.most is None and measure.least is None:
                        problems.append(f"{where}: needs most or least, with the unit of its kind")
                except InputError as error:
                    problems += error.problems
        if problems:
            raise InputError(problems)
        self.goals, self.limits = tuple(meters["goal"]), tuple(meters["limit"])
        self.bench = Bench(case_file, maker.needs, size.load, stiffness_of)
        self.asked = 0

    def values(self, x: np.ndarray) -> Values:
        """Goals and limits at x (n, knobs), as it is: neither within ranges nor on steps."""
        return self.of([self.space.mounts_at(row) for row in x])

    def of(self, candidates: list[Mounts]) -> Values:
        """Goals and limits of sets of mounts."""
        goals, limits = [], []
        for start in range(0, len(candidates), BLOCK):
            answers = self.bench.answer(candidates[start : start + BLOCK])
            goals.append(self._read(self.goals, answers))
            limits.append(self._read(self.limits, answers))
        self.asked += len(candidates)
        goal, limit = np.concatenate(goals), np.concatenate(limits)
        ratios = np.array([self._ratios(mounts) for mounts in candidates])
        broken = ratios + sum(meter.broken(limit[:, n]) for n, meter in enumerate(self.limits))
        broken = np.where(np.isfinite(goal).all(axis=1), broken, 1e3)
        return Values(goal, limit, broken, ratios)

    def _read(self, meters: tuple[Meter, ...], answers: Answers) -> np.ndarray:
        if not meters:
            return np.zeros((len(answers.rests[0].at) if answers.rests else len(answers.felt), 0))
        return np.stack([meter.read(answers) for meter in meters], axis=1)

    def answers(self, x: np.ndarray) -> Answers:
        """The bench's own answers at x (n, knobs)."""
        return self.bench.answer([self.space.mounts_at(row) for row in x])

    def _ratios(self, mounts: Mounts) -> float:
        """How far ratios between axes lie outside their ranges, as shares of them."""
        return sum(self._ratio(ratio, mounts) for ratio in self.size.ratio)

    def _ratio(self, ratio: Ratio, mounts: Mounts) -> float:
        total = 0.0
        for mount in mounts:
            if mount.name in ratio.mounts:
                value = getattr(mount, ratio.key)
                over, under = value[AXES.index(ratio.over)], value[AXES.index(ratio.under)]
                low, high = ratio.range
                total += max(0.0, (over - high * under) / max(high * under, 1e-9))
                total += max(0.0, (low * under - over) / max(low * under, 1e-9))
        return total if total > 1e-9 else 0.0

    def ratio_words(self, mounts: Mounts) -> list[str]:
        """One line per broken ratio."""
        lines = []
        for index, ratio in enumerate(self.size.ratio):
            for mount in mounts:
                one = ratio.model_copy(update={"mounts": (mount.name,)})
                if mount.name in ratio.mounts and self._ratio(one, mounts) > 0.0:
                    value = getattr(mount, ratio.key)
                    got = value[AXES.index(ratio.over)] / max(value[AXES.index(ratio.under)], 1e-9)
                    low, high = ratio.range
                    words = f"{ratio.over} over {ratio.under} of '{mount.name}' is {got:.3g}"
                    lines.append(f"size.ratio[{index + 1}]: {words}; must be {low:g} to {high:g}")
        return lines
