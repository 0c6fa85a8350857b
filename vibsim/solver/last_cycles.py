"""The last whole working cycles of a step on the crank-angle grid, kept as the step goes on; memory does not grow."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from vibsim.inputs.models import Case, Run
from vibsim.inputs.step_models import Step
from vibsim.inputs.steps import is_prescribed
from vibsim.solver.observe import Observed, observe
from vibsim.solver.packed import Packed
from vibsim.solver.stepper import Grid, grid, no_grid

MOST_CYCLES = 8  # kept at the end of a step
AHEAD = 1.5  # times the time that those take, from which on before its end a step is watched


@dataclass(frozen=True)
class Excerpt:
    """Whole cycles at the end of a step: `angle` (n) rad from `first_angle`, a whole number of cycles, quantities."""

    angle: np.ndarray
    first_angle: float
    over_angle: Observed


@dataclass
class LastCycles:
    """Collects states (n, state) at equal steps of the crank angle; the first is number `first` from angle zero."""

    case: Case
    run: Run
    step: Step
    first: int = 0
    states: list[np.ndarray] = field(default_factory=list)

    def room(self, packed: Packed, angle: float, speed: float, left: float, chunk: float) -> Grid:
        """A grid for the next `chunk` (s) of a step that begins at a crank angle (rad) and speed (rad/s) with so many
        seconds left; of no points where it is too early, or the step has no cycles worth it."""
        open_ended = self.step.speed_to is not None and not is_prescribed(self.step)
        needed = AHEAD * MOST_CYCLES * packed.cycle / max(speed, 1.0)
        if self.step.kind == "stop" or speed <= 0.0 or (left - chunk > needed and not open_ended):
            self.states.clear()
            return no_grid()
        width = packed.cycle / self.run.points_per_cycle
        begin = math.ceil(angle / width - 1e-9)
        points = math.ceil(2.0 * (speed + 1.0) * chunk / width) + 1
        return grid(begin * width, width, points, packed.state_size)

    def take(self, found: Grid) -> None:
        """Add what a chunk passed; what does not join on to it is dropped, and so is what is more than enough."""
        count = int(found.next[0])
        if not count:
            return
        begin, kept = round(found.start / found.step), sum(len(part) for part in self.states)
        if kept and begin != self.first + kept:
            self.states.clear()
            kept = 0
        if not kept:
            self.first = begin
        self.states.append(found.states[:count].copy())
        most = (MOST_CYCLES + 1) * self.run.points_per_cycle
        while self.states and kept + count - len(self.states[0]) >= most:
            self.first += len(self.states[0])
            count -= len(self.states.pop(0))

    def whole(self, packed: Packed) -> Excerpt | None:
        """The last whole cycles, at most MOST_CYCLES; None where there is none."""
        per, kept = self.run.points_per_cycle, sum(len(part) for part in self.states)
        last = (self.first + kept) // per
        first = max(-(-self.first // per), last - MOST_CYCLES)
        if last <= first:
            return None
        states = np.concatenate(self.states)[first * per - self.first : last * per - self.first]
        width = packed.cycle / per
        states[:, -2] -= first * packed.cycle
        return Excerpt(width * np.arange(len(states)), first * packed.cycle, observe(states, packed, self.case.sensor))
