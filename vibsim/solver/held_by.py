"""What holds the mean speed of a steady run: the load's torque, the engine's share of full load, or a governor.

Each is a number that settling and the search change, with the model at it: a torque (N m) added to the load's law, or
the load (0 to 1) whose gas and friction the model takes while the load's law stands as it is. A governor leaves no such
number: its states, throttle and intake are among those that repeat, and the mean speed is what comes of them.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from vibsim.engine.air_path import AHEAD
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
    """By the case's governor in a closed loop; nothing is left to find but the state."""

    packed: Packed
    left_out: tuple[int, ...]
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
    opening = 0.0
    out = [at + CLOCK, at + GOVERNED] if path is not None else [at + CLOCK]
    out += [at + INTEGRAL] if engine.governor.integral == 0.0 else []
    if path is not None:
        opening = idle_opening(packed, run.speed)[0]
        out.append(packed.model.air_at + AHEAD)
        packed = packed.with_air(path._replace(command=path.command._replace(opening=opening)))
    law = governor_law(engine, opening)
    _check_hold(packed, run.speed, opening, law.most)
    packed = packed.with_drive(NO_DRIVE._replace(governor=law))
    return HeldByGovernor(packed, tuple(number_of(packed, state) for state in out))


def _check_hold(packed: Packed, speed: float, opening: float, most: float) -> None:
    """Raise InputError for a governor that cannot hold a speed (rad/s) with an opening or a torque (N m) up to `most`.

    A torque governor drives or brakes; a throttle can do no more than open and shut.
    """
    path = packed.model.air
    where, at = "engine.governor: cannot hold", f"{speed * RPM:.0f} rpm"
    if path is None:
        lacking = -mean_surplus(packed, speed, packed.model.gas.intake)
        if abs(lacking) > most:
            raise InputError(f"{where} {at} with greatest_torque {most:.4g} N m; it takes {abs(lacking):.3g} N m")
        return
    low, high = float(path.nodes.intakes[0]), float(min(path.nodes.intakes[-1], path.ambient))
    least, greatest = mean_surplus(packed, speed, low), mean_surplus(packed, speed, high)
    if least > 0.0:
        raise InputError(
            f"{where} {at}: with the throttle shut the engine has {least:.3g} N m too much; raise the load"
        )
    if greatest < 0.0:
        raise InputError(
            f"{where} {at}: with the throttle wide open {-greatest:.3g} N m are lacking; lower engine.load"
        )
    if opening > most:
        raise InputError(f"{where} {at} with greatest_opening {most:.3g}; it takes an opening of {opening:.3g}")
