"""What holds the mean speed of a steady run: the load's torque, the engine's share of full load, or a governor.

Each is a number that settling and the search change, with the model at it: a torque (N m) added to the load's law, or
the load (0 to 1) whose gas and friction the model takes while the load's law stands as it is. A governor leaves no such
number: its states, throttle and intake are among those that repeat, and the mean speed is what comes of them.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vibsim.engine.air_path import AHEAD
from vibsim.engine.air_steady import looked_up
from vibsim.engine.load_target import TARGETS, at_load, load_for_torque
from vibsim.inputs.errors import InputError, RunFailure
from vibsim.inputs.models import Case, Run
from vibsim.solver.crank_drive import CLOCK, GOVERNED, INTEGRAL, NO_DRIVE
from vibsim.solver.motion import load_torque
from vibsim.solver.orbit_slopes import with_added_load
from vibsim.solver.orbit_unknowns import number_of
from vibsim.solver.packed import Packed, pack
from vibsim.solver.starting import governor_law, idle_opening, mean_surplus
from vibsim.solver.varied import with_misfire

NOTICED = 0.05  # N m, by which the nearest opening may miss
LOAD_STEP = 0.01  # by which the load is changed to see what comes of it
RPM = 9.549296585513721  # per rad/s


@dataclass(frozen=True, eq=False)
class HeldByTorque:
    """By a constant torque (N m) added to the load's law of the model `packed`."""

    packed: Packed
    start: float = 0.0
    searched = True
    left_out: tuple[int, ...] = ()

    def model(self, value: float) -> Packed:
        return with_added_load(self.packed, value)

    def other(self, value: float) -> tuple[Packed, float]:
        """The model at another value, and by how much it is another."""
        return self.model(value + 1.0), 1.0

    def per_torque(self, value: float) -> float:
        """By how much it changes for 1 N m that is left over for the crank."""
        return 1.0


@dataclass(frozen=True, eq=False)
class HeldByLoad:
    """By the engine's share of full load: the gas and losses of the case at it, the load's law that of `packed`."""

    case: Case
    packed: Packed
    start: float
    searched = True
    left_out: tuple[int, ...] = ()
    made: dict[float, Packed] = field(default_factory=dict)

    def model(self, value: float) -> Packed:
        """Raises RunFailure for a load that there is not."""
        if not 0.0 <= value <= 1.0:
            raise RunFailure(f"the search for run.load came to {value:.3g}, beyond the 0 to 1 that there are")
        if value not in self.made:
            assert self.case.run is not None
            run = at_load(self.case.run, float(value))
            fresh = with_misfire(pack(self.case.model_copy(update={"run": run}), self.packed.folder), run)
            model = self.packed.model._replace(gas=fresh.model.gas, losses=fresh.model.losses)
            remarks, point = fresh.remarks, fresh.point
            self.made[value] = self.packed._replace(model=model, load=float(value), remarks=remarks, point=point)
        return self.made[value]

    def other(self, value: float) -> tuple[Packed, float]:
        step = LOAD_STEP if value + LOAD_STEP <= 1.0 else -LOAD_STEP
        return self.model(value + step), step

    def per_torque(self, value: float) -> float:
        assert self.case.run is not None
        other, step = self.other(value)
        speed = self.case.run.speed
        more = mean_surplus(other, speed, other.model.gas.intake) - mean_surplus(
            self.model(value), speed, self.packed.model.gas.intake
        )
        return -step / more


@dataclass(frozen=True, eq=False)
class HeldByGovernor:
    """By the case's governor in a closed loop; nothing is left to find but the state. `air` (n) the air path's states
    at the opening that should hold the speed."""

    packed: Packed
    left_out: tuple[int, ...]
    air: np.ndarray
    start: float = 0.0
    searched = False

    def model(self, value: float) -> Packed:
        return self.packed

    def other(self, value: float) -> tuple[Packed, float]:
        return self.packed, 1.0

    def per_torque(self, value: float) -> float:
        return 0.0


HeldBy = HeldByTorque | HeldByLoad | HeldByGovernor


def held_by(case: Case, run: Run, packed: Packed) -> HeldBy:
    """What holds the speed of a steady run of the model packed for it.

    Raises InputError for a torque that the engine does not give, a governor that cannot hold its speed.
    """
    if run.held_by == "load":
        return _held_by_load(case, run, packed)
    if run.held_by == "governor":
        return _held_by_governor(case, run, packed)
    return HeldByTorque(packed)


def _held_by_load(case: Case, run: Run, packed: Packed) -> HeldByLoad:
    own, wanted = float(load_torque(run.speed, packed.model.load)), _wanted(run, packed)
    if wanted is not None:
        # what a run asks for has been found already
        return HeldByLoad(case, with_added_load(packed, wanted - own), packed.load)
    start = load_for_torque(case, packed.folder, own, "engine.load (its torque at run.speed)")
    return HeldByLoad(case, packed, start)


def _wanted(run: Run, packed: Packed) -> float | None:
    """Torque (N m) that a run asks for."""
    named = [name for name in TARGETS if getattr(run, name) is not None]
    if not named or packed.layout is None:
        return None
    per = {"torque": 1.0, "power": 1.0 / run.speed, "bmep": packed.layout.swept_volume / packed.layout.cycle}
    return float(getattr(run, named[0]) * per[named[0]])


def _held_by_governor(case: Case, run: Run, packed: Packed) -> HeldByGovernor:
    engine, path, at = case.engine, packed.model.air, packed.model.drive_at
    assert engine is not None and engine.governor is not None
    out = [at + CLOCK] + ([at + INTEGRAL] if engine.governor.integral == 0.0 else [])
    if path is None:
        law = governor_law(engine, 0.0)
        _check_torque(packed, run.speed, law.most)
        found, air = packed, np.zeros(0)
    else:
        opening, air = idle_opening(packed, run.speed)
        law = governor_law(engine, opening)
        path = path._replace(command=path.command._replace(opening=law.base))
        gas = packed.model.gas._replace(intake=looked_up(air, path)[0])
        found = packed._replace(model=packed.model._replace(air=path, gas=gas))
        _check_throttle(found, run.speed, opening, law.most)
        out += [at + GOVERNED, packed.model.air_at + AHEAD]
    found = found.with_drive(NO_DRIVE._replace(governor=law))
    return HeldByGovernor(found, tuple(number_of(found, state) for state in out), air)


def _check_torque(packed: Packed, speed: float, most: float) -> None:
    lacking = abs(mean_surplus(packed, speed, packed.model.gas.intake))
    if lacking > most:
        raise InputError(
            f"engine.governor.greatest_torque: got {most:.4g} N m; holding {speed * RPM:.0f} rpm takes "
            f"{lacking:.3g} N m"
        )


def _check_throttle(packed: Packed, speed: float, opening: float, most: float) -> None:
    """Raise InputError where the throttle that comes nearest to holding a speed (rad/s) does not hold it."""
    surplus = mean_surplus(packed, speed, packed.model.gas.intake)
    cannot = f"engine.governor: cannot hold {speed * RPM:.0f} rpm"
    if opening <= 0.0 and surplus > NOTICED:
        raise InputError(f"{cannot}; with the throttle shut {surplus:.3g} N m are left over; give engine.load more")
    if surplus < -NOTICED:
        raise InputError(f"{cannot}; with the throttle wide open {-surplus:.3g} N m are lacking; give engine.load less")
    if opening > most:
        raise InputError(f"{cannot} with a greatest_opening of {most:.3g}; it takes {opening:.3g}")
