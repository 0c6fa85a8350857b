"""Where the bodies come to rest under weight, torque and acceleration, and what every mount then carries."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vibsim.inputs.case_checks import GROUND
from vibsim.inputs.errors import RunFailure
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import Case
from vibsim.inputs.statics_models import LoadCase, Point
from vibsim.solver.frequency import modal_coordinates
from vibsim.solver.observe import observe
from vibsim.solver.packed import STATES_PER_BODY, Packed
from vibsim.solver.start import AtRest
from vibsim.structure.rotation import matrix_of, quaternion_of_vector
from vibsim.structure.vertical_parts import part_bodies, part_masses
from vibsim.studies.load_cases import (
    Chassis,
    Delivery,
    deliver,
    full_torque,
    gear_cases,
    geared,
    held_bodies,
    load_cases_of,
    pack_for_statics,
    preload_of,
)

WAYS = ("+X", "-X", "+Y", "-Y", "+Z", "-Z")


@dataclass(frozen=True)
class PointMove:
    """How far a point has moved (3) m against another body, in that body's axes as drawn; the room left (m, None
    without a clearance; negative: it touches) and towards where."""

    name: str
    move: np.ndarray
    left: float | None
    towards: str


@dataclass(frozen=True)
class Standing:
    """The bodies at rest under one load case.

    `displacement` (bodies, 6) m and rotation vector rad; `force` (mounts, 3) N on the second body and `deflection`
    (mounts, 3) m in vehicle axes; `own_force`, `own_deflection` the same in the mount's axes; `load` (3) N weight less
    mass times acceleration of all bodies that are free to move; `residual` the largest force left over, N; `tyre`
    (wheels, 3) N of the road on every wheel, none where the chassis is held.
    """

    case: LoadCase
    delivery: Delivery | None
    displacement: np.ndarray
    force: np.ndarray
    deflection: np.ndarray
    own_force: np.ndarray
    own_deflection: np.ndarray
    points: tuple[PointMove, ...]
    load: np.ndarray
    residual: float
    tyre: np.ndarray = field(default_factory=lambda: np.zeros((0, 3)))


@dataclass(frozen=True)
class Statics:
    """Preloads per gear and strength load cases of a case; only the mounts of bodies that move are listed.

    `mounts` names, `between` their bodies; `bodies` names of all bodies, `held` of those that stay as drawn;
    `engine_torque` N m (0 where none is needed) and `torque_source`; `remark` says where the load cases come from.
    """

    bodies: list[str]
    moving: str
    held: list[str]
    mounts: list[str]
    between: list[tuple[str, str]]
    gears: list[Standing]
    loads: list[Standing]
    engine_torque: float
    torque_source: str
    remark: str
    wheels: tuple[str, ...] = ()


def find_statics(case_file: CaseFile, chassis: Chassis = "held", strength: bool = True) -> Statics:
    """Rest under weight, under full torque in each gear, and, for `strength`, under each load case.

    Every body of mass m feels m·(g − a), its weight and the vehicle's acceleration a by d'Alembert, at its centre of
    mass. With the chassis "held" the bodies that stand on the ground stay as drawn; the engine's mounts then carry
    exactly the load of what they hold. "carried" lets the suspension take it as well: the same forces but for the small
    turns of the chassis. Raises RunFailure, naming the load case, when there is no equilibrium, and InputError.
    """
    case, packed = case_file.case, pack_for_statics(case_file)
    gears = gear_cases(case.driveline)
    loads, remark = load_cases_of(case)
    torque, source = 0.0, "not needed"
    if any(load.torque_share for load in (*gears, *loads)):
        torque, source = full_torque(case_file)
    held = held_bodies(case) if chassis == "held" else ()
    names = [body.name for body in case.body]
    kept = [n for n, mount in enumerate(case.mount) if _moves(mount.between, names, held)]
    stand = _Stand(case, packed, chassis, torque, kept)
    free = [name for n, name in enumerate(names) if n not in held]
    return Statics(
        bodies=names,
        moving=case.engine.body if case.engine is not None else free[0],
        held=[names[index] for index in held],
        mounts=[case.mount[n].name for n in kept],
        between=[case.mount[n].between for n in kept],
        gears=[stand.under(load) for load in gears],
        loads=[stand.under(load) for load in loads] if strength else [],
        engine_torque=torque,
        torque_source=source,
        remark=remark,
        wheels=() if held else tuple(wheel.name for wheel in case.wheel),
    )


def _moves(between: tuple[str, str], names: list[str], held: tuple[int, ...]) -> bool:
    return any(name != GROUND and names.index(name) not in held for name in between)


@dataclass(frozen=True)
class _Stand:
    case: Case
    packed: Packed
    chassis: Chassis
    torque: float
    kept: list[int]

    def under(self, load: LoadCase) -> Standing:
        """The bodies at rest under one load case."""
        case, packed = self.case, self.packed
        delivery = None
        if load.torque_share and case.driveline is not None and case.engine is not None and packed.layout is not None:
            engine_torque = load.torque_share * self.torque
            delivery = deliver(case.driveline, case.engine, packed.layout, load.gear, engine_torque)
        preload = preload_of(packed, case, load, delivery, self.chassis)
        packed, torque = geared(packed, case, load.gear, delivery)
        rest = AtRest(packed, torque, preload=preload)
        try:
            found = rest.equilibrium()
        except RunFailure as failure:
            lifted = "; or in this case it tips over on its wheels" if case.wheel and not preload.held else ""
            raise RunFailure(f"load case '{load.name}': {failure}{lifted}") from None
        state = rest.state(found.displacement)
        seen = observe(state[None], packed, ())
        force, deflection = seen.mount_force[0][self.kept], seen.mount_deflection[0][self.kept]
        turns, bend = mount_axes(packed, state)[self.kept], modal_coordinates(packed, state)
        felt = np.array([0.0, 0.0, -packed.model.gravity]) - preload.acceleration
        return Standing(
            case=load,
            delivery=delivery,
            displacement=found.displacement,
            force=force,
            deflection=deflection,
            own_force=np.einsum("nij,nj->ni", turns, force),
            own_deflection=np.einsum("nij,nj->ni", turns, deflection),
            points=tuple(point_move(point, case, packed, found.displacement, bend) for point in case.point),
            load=felt * _free_mass(packed, preload.held),
            residual=found.residual,
            tyre=seen.parts["tyre_force"][0] if case.wheel and not preload.held else np.zeros((0, 3)),
        )


def _mass(packed: Packed, body: int) -> float:
    model = packed.model
    return float(model.bodies[body]["mass"]) + (model.train.mass if body == model.carrier else 0.0)


def _free_mass(packed: Packed, held: tuple[int, ...]) -> float:
    """Mass (kg) of all bodies that are not held, with the wheels and occupants they carry."""
    total, parts = sum(_mass(packed, b) for b in range(len(packed.names)) if b not in held), packed.model.parts
    if parts is not None:
        moving = zip(part_masses(parts), part_bodies(parts), strict=True)
        total += sum(float(mass) for mass, body in moving if body not in held)
    return total


def mount_axes(packed: Packed, state: np.ndarray) -> np.ndarray:
    """Matrices (mounts, 3, 3) from vehicle axes to each mount's own, which turn with its first body."""
    found = []
    for mount in packed.model.mounts:
        matrix = np.array([mount[a + b] for a in "xyz" for b in "xyz"]).reshape(3, 3)
        if mount["first"] >= 0:
            at = STATES_PER_BODY * mount["first"] + 3
            matrix = matrix @ matrix_of(state[at : at + 4]).T
        found.append(matrix)
    return np.array(found).reshape(-1, 3, 3)


def point_move(
    point: Point, case: Case, packed: Packed, displacement: np.ndarray, bend: np.ndarray | None = None
) -> PointMove:
    """How far a point of a body has moved against another body (taken as rigid), and what is left of its clearance;
    `bend` the modal coordinates of elastic modes."""
    drawn = np.array(point.at)
    own, other = packed.names.index(point.body), _other_body(point, case, packed.names)
    bent = drawn if bend is None else drawn + packed.axes[own] @ packed.flexible.shape(own, point.name) @ bend
    moved = _carried(bent, packed.centres[own], displacement[own])
    if other >= 0:
        turn = matrix_of(quaternion_of_vector(displacement[other, 3:]))
        moved = packed.centres[other] + turn.T @ (moved - packed.centres[other] - displacement[other, :3])
    move = moved - drawn
    left, towards = _room(point, move)
    return PointMove(point.name, move, left, towards)


def _carried(point: np.ndarray, centre: np.ndarray, displacement: np.ndarray) -> np.ndarray:
    turn = matrix_of(quaternion_of_vector(displacement[3:]))
    return centre + displacement[:3] + turn @ (point - centre)


def _other_body(point: Point, case: Case, names: list[str]) -> int:
    by = point.relative_to
    if by is None:
        pairs = [mount.between for mount in case.mount if point.body in mount.between]
        by = next((name for pair in pairs for name in pair if name != point.body), GROUND)
    return -1 if by == GROUND else names.index(by)


def _room(point: Point, move: np.ndarray) -> tuple[float | None, str]:
    """The least room left (m) and towards where it is."""
    found: list[tuple[float, str]] = []
    if point.clearance is not None:
        found.append((point.clearance - float(np.linalg.norm(move)), "any"))
    if point.clearance_each_way is not None:
        ways = np.stack([move, -move], axis=1).ravel()
        found += [
            (room - max(float(way), 0.0), name)
            for room, way, name in zip(point.clearance_each_way, ways, WAYS, strict=True)
        ]
    return min(found) if found else (None, "")


@dataclass(frozen=True)
class Extremes:
    """One mount over all cases: least and greatest force (3) N in vehicle axes with their cases, the greatest size."""

    least: np.ndarray
    least_in: list[str]
    greatest: np.ndarray
    greatest_in: list[str]
    size: float
    size_in: str
    travel: float
    travel_in: str


def envelope(statics: Statics) -> list[Extremes]:
    """What every mount must bear over all gears and load cases."""
    cases = statics.gears + statics.loads
    names = [standing.case.name for standing in cases]
    force = np.array([standing.force for standing in cases])
    travel = np.linalg.norm([standing.deflection for standing in cases], axis=2)
    found = []
    for n in range(len(statics.mounts)):
        low, high = force[:, n].argmin(axis=0), force[:, n].argmax(axis=0)
        sizes = np.linalg.norm(force[:, n], axis=1)
        found.append(
            Extremes(
                least=force[low, n, range(3)],
                least_in=[names[index] for index in low],
                greatest=force[high, n, range(3)],
                greatest_in=[names[index] for index in high],
                size=float(sizes.max()),
                size_in=names[int(sizes.argmax())],
                travel=float(travel[:, n].max()),
                travel_in=names[int(travel[:, n].argmax())],
            )
        )
    return found
