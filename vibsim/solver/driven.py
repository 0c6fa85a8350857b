"""What drives or holds the crank, from the case: states, and the starter motor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vibsim.inputs.models import Case
from vibsim.inputs.steps import is_prescribed, stepped, steps_of
from vibsim.solver.crank_drive import NO_STARTER, STATES, Starter
from vibsim.solver.fed import MoreState

if TYPE_CHECKING:
    from vibsim.inputs.starting_models import StarterTable


@dataclass(frozen=True)
class StarterMotor:
    """A direct-current motor felt at the crank (derived; magnets' flux constant): torque k·I, current
    (U − k·ω)/R with k = U/ω₀ and R = k·U/stall, so that the torque falls straight from stall to no-load speed ω₀.

    `stall` N m and `no_load` rad/s at the crank, `voltage` V of the battery, its `resistance` ohm."""

    stall: float
    no_load: float
    voltage: float
    resistance: float

    def law(self, on: bool) -> Starter:
        return Starter(on, self.stall, self.no_load)

    def current(self, torque: np.ndarray) -> np.ndarray:
        """Current (A) of a torque at the crank (N m)."""
        return torque * (self.no_load / self.voltage)

    def seen(self, torque: np.ndarray, speed: np.ndarray) -> dict[str, np.ndarray]:
        """Quantities over time from the torque (n) N m at the crank."""
        current = self.current(torque)
        return {
            "starter_torque": torque,
            "starter_current": current,
            "battery_voltage": self.voltage - self.resistance * current,
        }


def starter_motor(table: StarterTable) -> StarterMotor:
    """The motor of a case's table, felt at the crank."""
    return StarterMotor(
        table.stall_torque * table.ratio,
        table.no_load_speed / table.ratio,
        table.battery_voltage,
        table.battery_resistance,
    )


def starter_of(case: Case) -> StarterMotor | None:
    """The starter of a run that has one to turn the crank over."""
    run, engine = case.run, case.engine
    if run is None or engine is None or engine.starter is None or not stepped(run):
        return None
    return starter_motor(engine.starter) if any(step.kind == "start" for step in steps_of(run)) else None


def starter_law(motor: StarterMotor | None, on: bool) -> Starter:
    return NO_STARTER if motor is None else motor.law(on)


def is_driven(case: Case) -> bool:
    """Whether anything but engine and load has a say in the crank's speed, or the run is one of steps."""
    run = case.run
    return (
        run is not None
        and case.engine is not None
        and (stepped(run) or is_prescribed(run) or run.held_by == "governor")
    )


def drive_states() -> tuple[MoreState, ...]:
    """States of the drive: seconds of the step, integral of the speed missing to the governor, its torque."""
    names = ("time of the step", "the governor's integral", "the governor's torque")
    assert len(names) == STATES
    return tuple(MoreState(name, 0.0, 1.0) for name in names)
