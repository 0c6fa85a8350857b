"""Strength load cases of common practice, and what the driveline makes of the engine's torque."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from vibsim.engine.layout import Layout
from vibsim.inputs.case_checks import GROUND
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import Case, Engine, NoGas
from vibsim.inputs.statics_models import Driveline, LoadCase
from vibsim.solver.crank_torque import mean_torque
from vibsim.solver.outlet_pack import gear_ratio, in_gear
from vibsim.solver.packed import STANDARD_GRAVITY, Packed, pack
from vibsim.solver.start import Preload

Chassis = Literal["held", "carried"]

SOURCE = "common practice, no source: the vehicle maker's own load cases come first"
G = STANDARD_GRAVITY


def _case(name: str, x: float = 0.0, y: float = 0.0, z: float = 0.0, gear: int | str = "neutral") -> LoadCase:
    share = 0.0 if gear == "neutral" else 1.0
    return LoadCase(name=name, acceleration=(x * G, y * G, z * G), gear=gear, torque_share=share)


# accelerations come on top of the weight: bump 3 g is three times the weight in all (common practice, no source)
COMMON_PRACTICE = (
    _case("idle"),
    _case("wide open, first gear", gear=1),
    _case("wide open, reverse", gear="reverse"),
    _case("bump 3 g", z=2.0),
    _case("braking 1 g", x=-1.0),
    _case("cornering left 1 g", y=1.0),
    _case("cornering right 1 g", y=-1.0),
    _case("kerb strike 5 g", x=-5.0, z=2.0),
    _case("rough road, up", x=-1.0, y=1.0, z=3.0),
    _case("rough road, down", x=1.0, y=-1.0, z=-3.0),
)


@dataclass(frozen=True)
class Delivery:
    """Torque (N m) that leaves the engine's body about `direction` (3, vehicle axes), that at the wheels, and whether
    the tyres' grip is what limits them; `at_crank` the engine's own torque that gives it."""

    torque: float
    direction: np.ndarray
    at_wheels: float
    grip_limits: bool
    at_crank: float


def load_cases_of(case: Case) -> tuple[tuple[LoadCase, ...], str]:
    """The case's own load cases, or those of common practice as far as its driveline goes; and a remark on them."""
    if case.load_case:
        return case.load_case, "load cases as given in the case file"
    driveline = case.driveline
    possible = {"neutral"}
    if driveline is not None:
        possible |= {"1"} | ({"reverse"} if driveline.reverse_ratio is not None else set())
    kept = tuple(load for load in COMMON_PRACTICE if str(load.gear) in possible)
    left_out = [load.name for load in COMMON_PRACTICE if load not in kept]
    remark = f"load cases: {SOURCE}"
    if left_out:
        key = "[driveline]" if driveline is None else "driveline.reverse_ratio"
        remark += f"; left out for want of {key}: {', '.join(left_out)}"
    return kept, remark


def load_cases_text(case: Case) -> str:
    """The load cases of a case as text of a case file, to be edited."""
    loads, remark = load_cases_of(case)
    lines = [f"# {remark}", "# acceleration of the vehicle along X, Y, Z, its weight acting besides"]
    for load in loads:
        values = ", ".join(f"{value / G:g}" for value in load.acceleration)
        lines += ["[[load_case]]", f'name = "{load.name}"', f"acceleration_g = [{values}]"]
        if load.gear != "neutral":
            gear = load.gear if isinstance(load.gear, int) else f'"{load.gear}"'
            lines += [f"gear = {gear}", f"torque_share = {load.torque_share:g}"]
        lines.append("")
    return "\n".join(lines)


def gear_cases(driveline: Driveline | None) -> tuple[LoadCase, ...]:
    """Weight alone, then weight and full engine torque in each gear."""
    rest = LoadCase(name="weight alone")
    if driveline is None:
        return (rest,)
    gears: list[int | str] = list(range(1, len(driveline.gear_ratios) + 1))
    if driveline.reverse_ratio is not None:
        gears.append("reverse")
    return (rest, *(LoadCase(name=gear_words(gear), gear=gear, torque_share=1.0) for gear in gears))


def gear_words(gear: int | str) -> str:
    return f"gear {gear}" if isinstance(gear, int) else gear


def deliver(driveline: Driveline, engine: Engine, layout: Layout, gear: int | str, torque: float) -> Delivery:
    """What leaves the engine's body when the engine gives `torque` (N m) in a gear.

    Losses take from the driving side: with torque from the engine the wheels get less, in overrun the engine does
    (derived from power). Grip bounds the torque at the wheels by friction coefficient × axle load × radius.
    Raises InputError for a gear there is none of.
    """
    ratio, final = gear_ratio(driveline, gear), driveline.final_drive_ratio
    drives = 1.0 if torque >= 0.0 else -1.0
    after_gearbox = torque * ratio * driveline.gearbox_efficiency**drives
    at_wheels = after_gearbox * final * driveline.final_drive_efficiency**drives
    share, grip = 1.0, driveline.grip
    if grip is not None:
        most = grip.friction_coefficient * grip.axle_load * STANDARD_GRAVITY * grip.wheel_radius
        share = min(1.0, most / abs(at_wheels)) if at_wheels else 1.0
    stages = {"crank": torque, "gearbox": after_gearbox, "final_drive": at_wheels}
    return Delivery(
        torque=share * stages[driveline.leaves_at],
        direction=_direction(driveline, layout),
        at_wheels=share * at_wheels,
        grip_limits=share < 1.0,
        at_crank=share * torque,
    )


def _direction(driveline: Driveline, layout: Layout) -> np.ndarray:
    if driveline.output_direction is not None:
        given = np.array(driveline.output_direction, dtype=float)
        return given / np.linalg.norm(given)
    return np.array([0.0, 1.0, 0.0]) if driveline.leaves_at == "final_drive" else layout.axes[:, 0]


def full_torque(case_file: CaseFile) -> tuple[float, str]:
    """Full engine torque (N m) and where it comes from: as given, or the mean at full load at the run's speed.

    Raises InputError when it is neither given nor can be computed.
    """
    case = case_file.case
    assert case.engine is not None
    if case.driveline is not None and case.driveline.engine_torque is not None:
        return case.driveline.engine_torque, "as given"
    if isinstance(case.engine.gas, NoGas) or case.run is None or case.run.speed == 0.0:
        raise InputError(
            "driveline.engine_torque_N_m: is missing; it is computed only with an [engine.gas] and a run.speed"
        )
    run = case.run.model_copy(update={"load": 1.0, "kind": "steady"})
    packed = pack(case.model_copy(update={"run": run}), case_file.folder)
    torque = mean_torque(packed, abs(run.speed))
    if torque <= 0.0:
        raise InputError(
            f"driveline.engine_torque_N_m: is missing; full load at the run's speed gives {torque:.3g} N m"
        )
    return torque, f"computed, full load at {abs(run.speed) * 30.0 / np.pi:.0f} rpm"


def pack_for_statics(case_file: CaseFile) -> Packed:
    """The case without its gas, which does not act at rest, so that no working cycle is computed."""
    case = case_file.case
    if case.engine is not None:
        engine = case.engine.model_copy(update={"gas": NoGas()})
        steady = None if case.run is None else case.run.model_copy(update={"kind": "steady"})  # which has no air path
        case = case.model_copy(update={"engine": engine, "run": steady})
    return pack(case, case_file.folder)


def preload_of(packed: Packed, case: Case, load: LoadCase, delivery: Delivery | None, chassis: Chassis) -> Preload:
    """A load case as what acts on the bodies: acceleration, and the torque that leaves against what takes it, unless a
    chain or differential hands it on (see `in_gear`)."""
    moment = np.zeros((len(packed.names), 3))
    carrier = packed.model.carrier
    if delivery is not None and packed.model.outlet is None:
        own = packed.axes[carrier].T @ (delivery.torque * delivery.direction)
        moment[carrier] -= own
        by = case.engine.load.reacted_by if case.engine is not None else None
        if by is not None and by != GROUND:
            moment[packed.names.index(by)] += own
    held = held_bodies(case) if chassis == "held" else ()
    return Preload(np.array(load.acceleration), moment, held)


def geared(packed: Packed, case: Case, gear: int | str, delivery: Delivery | None) -> tuple[Packed, float]:
    """The model with its chain or differential in a gear, and the torque (N m) at the crank that it then hands on; the
    model as it is and 0 without either."""
    if packed.model.outlet is None or delivery is None:
        return packed, 0.0
    return in_gear(packed, case, gear), delivery.at_crank


def held_bodies(case: Case) -> tuple[int, ...]:
    """What "held" holds: the bodies that stand on the ground by a mount or a wheel, save the engine's own; none if that
    leaves nothing to move."""
    names = [body.name for body in case.body]
    own = case.engine.body if case.engine is not None else None
    standing = {name for mount in case.mount if GROUND in mount.between for name in mount.between}
    standing = (standing | {wheel.body for wheel in case.wheel}) - {GROUND, own}
    return tuple(names.index(name) for name in names if name in standing) if len(standing) < len(names) else ()
