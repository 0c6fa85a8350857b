"""The case packed into arrays for the jitted code."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from vibsim.engine.accessories import no_losses, pack_losses
from vibsim.engine.air_path import AirPath
from vibsim.engine.charging.added_mass import with_added_mass
from vibsim.engine.drivetrain import Drivetrain, drivetrain
from vibsim.engine.layout import Layout, resolve_layout
from vibsim.engine.load_target import with_load
from vibsim.engine.moving_mass import CYLINDER, ECCENTRIC, MovingMass, Train, moving_mass, pack_train
from vibsim.engine.operating_point import OperatingPoint, charging_loss, doubts, operating_point
from vibsim.engine.packed_gas import Gas
from vibsim.engine.pressure import Operating, depends_on_speed, no_gas, pack_gas
from vibsim.engine.trace_report import Remarks, trace_remarks
from vibsim.engine.traces import some_point, speed_nodes
from vibsim.inputs.case_checks import GROUND, inertia_matrix, why_not_an_inertia
from vibsim.inputs.charging_models import Charged
from vibsim.inputs.errors import InputError
from vibsim.inputs.flexible_checks import CHAIN
from vibsim.inputs.models import Body, Case, ConstantLoad, CycleGas, DynamometerLoad, Engine, RoadLoad, TraceGas
from vibsim.inputs.steps import made_ready, stepped
from vibsim.jit import kernel
from vibsim.late import prepare
from vibsim.solver.crank_drive import NO_DRIVE, Drive
from vibsim.solver.driven import StarterMotor, drive_states, is_driven, starter_of
from vibsim.solver.fed import NOT_FED, SPEED_NODES, Fed, MoreState, fed_engine, takes_from_crank, varies
from vibsim.solver.outlet_pack import pack_outlet
from vibsim.solver.rotor_motion import Rotors
from vibsim.solver.rotor_pack import carried_inertias, pack_rotors
from vibsim.solver.step_speeds import speeds_of_run
from vibsim.structure.flexible import ALL_RIGID, Flex, Flexible, flexible_of
from vibsim.structure.mount_pack import PackedMounts, pack_mounts
from vibsim.structure.vertical_pack import PackedParts, pack_parts
from vibsim.structure.vertical_parts import Parts

STANDARD_GRAVITY = 9.80665
AVERAGE_POINTS = 96  # the mean of a smooth periodic function converges beyond any power of the step
PLACE_FLOOR, SPEED_FLOOR = 1e-3, 0.1  # m, m/s: the scales that tolerance is a share of
STATES_PER_BODY = 13  # place (3), quaternion (4), momentum and angular momentum in own axes (3 + 3)


Triple = tuple[float, float, float]
LoadLaw = tuple[float, float, float, float]

# one record per body: about the case's centre of mass in the body's own axes, which are vehicle axes as drawn, or
# engine axes for the body that carries the engine; there mass and inertia are the block's
ENTRIES = {"xx": (0, 0), "yy": (1, 1), "zz": (2, 2), "xy": (0, 1), "xz": (0, 2), "yz": (1, 2)}
BODY = np.dtype(
    [("mass", float)] + [(entry, float) for entry in ENTRIES] + [(f"inverse_{entry}", float) for entry in ENTRIES]
)


class Model(NamedTuple):
    """Everything the equations of motion need, SI units.

    `bodies` records; `carrier` the body with the engine (−1 none), `block_moment` its block's first moment and
    `crank_origin` the crank's origin, both from that body's reference point in engine axes; `mounts` records and the
    `mount_numbers` they point to;
    `losses` records of friction at each node of the gas, then all plain accessories that the block reacts as one, then
    the others; `load` torque a + b·speed + c·speed·|speed| + d·sign(speed) at the crank, reacted by body
    `reactor` (−1 ground); `air` the air path, where its states are among those of the run, and `air_at` where they
    begin; `flex` the elastic modes of bodies, `outlet` (1) the chain or differential that the output torque leaves by
    (then `reactor` is the carrier), `parts` wheels, anti-roll bars and occupants, `rotors` what turns beside
    the crank; `drive` what else drives or holds the crank in the run, and `drive_at` where its states begin.
    """

    bodies: np.ndarray
    carrier: int
    block_moment: Triple
    crank_origin: Triple
    train: Train
    mounts: np.ndarray
    mount_numbers: np.ndarray
    gas: Gas
    losses: np.ndarray
    load: LoadLaw
    reactor: int
    gravity: float
    air: AirPath | None = None
    air_at: int = 0
    flex: Flex | None = None
    outlet: np.ndarray | None = None
    parts: Parts | None = None
    rotors: Rotors | None = None
    drive: Drive | None = None
    drive_at: int = 0


class Packed(NamedTuple):
    """A model with what is needed to read its states: names, drawn places, own axes, layout, names of
    accessories.

    States are those of the bodies, then `more_states`, of elastic modes first, then of the mounts, of wheels and
    occupants and of the air path, then crank angle and momentum. `remarks` say what was done to measured data and what
    of it is doubtful, `mount_notes` how laws were fitted and modes cut off. `load` is the run's, found where torque or
    power was asked for; `point` the steady state of throttle and charger, where the case has them; `folder` that of the
    case's CSV files; `borrowed` nodes of the air path at which no working cycle closes. `repeats` working cycles, of
    misfire, are a period. `part_names` and `part_places` (n, 3) m as drawn are those of what moves up and
    down by itself, wheels and then `occupants`; `drivetrain` says what the rotors are, where there are any. Those of
    rotors and shafts stand before the air path's, those of what drives the crank last. `starter` is the case's, in runs
    that have one.
    """

    model: Model
    names: list[str]
    centres: np.ndarray
    axes: np.ndarray
    layout: Layout | None
    accessories: tuple[str, ...] = ()
    remarks: Remarks = Remarks()
    more_states: tuple[MoreState, ...] = ()
    load: float = 1.0
    point: OperatingPoint | None = None
    folder: Path = Path()
    borrowed: np.ndarray | None = None
    repeats: int = 1
    mount_notes: tuple[str, ...] = ()
    flexible: Flexible = ALL_RIGID
    part_names: tuple[str, ...] = ()
    part_places: np.ndarray = np.zeros((0, 3))
    occupants: tuple[str, ...] = ()
    drivetrain: Drivetrain | None = None
    starter: StarterMotor | None = None

    def with_drive(self, drive: Drive) -> Packed:
        return self._replace(model=self.model._replace(drive=drive))

    def with_air(self, air: AirPath) -> Packed:
        return self._replace(model=self.model._replace(air=air))

    @property
    def air_states(self) -> tuple[MoreState, ...]:
        return self.more_states[self.model.air_at - STATES_PER_BODY * len(self.names) :]

    def felt_on(self, name: str) -> tuple[int, int]:
        """What a sensor on a body or an occupant of that name sits on: the body, and the occupant whose frame it
        follows along Z (−1 for none)."""
        if name in self.names or self.model.parts is None:
            return self.names.index(name), -1
        occupant = self.occupants.index(name)
        return int(self.model.parts.occupants[occupant]["body"]), occupant

    def frame_unknown(self, occupant: int) -> int:
        """The unknown of the linear model that is the height of an occupant's frame."""
        return self.unknowns - 3 * (len(self.occupants) - occupant)

    @property
    def unknowns(self) -> int:
        """Unknowns of the linear model: six per body, the modal coordinates, the heights of wheels and occupants."""
        return self.moved + len(self.part_names)

    @property
    def moved(self) -> int:
        """Of these, those of the bodies: six each and the modal coordinates."""
        return 6 * len(self.names) + self.flexible.count

    @property
    def modal_unknowns(self) -> slice:
        return slice(6 * len(self.names), self.moved)

    @property
    def period(self) -> float:
        """Crank angle after which the gas repeats, rad."""
        return self.repeats * self.cycle

    @property
    def cycle(self) -> float:
        return self.layout.cycle if self.layout else 4.0 * math.pi

    def unknowns_of(self, bodies: list[int]) -> np.ndarray:
        """Numbers of the unknowns of some bodies, their modal coordinates last."""
        own = [np.arange(6 * b, 6 * b + 6) for b in bodies]
        for b in bodies:
            modes, at = self.flexible.of(b), 6 * len(self.names) + self.flexible.column(b)
            own += [np.arange(at, at + modes.count)] if modes is not None else []
        return np.concatenate(own or [np.zeros(0, np.int64)])

    @property
    def state_size(self) -> int:
        return STATES_PER_BODY * len(self.names) + len(self.more_states) + 2


def pack(case: Case, folder: Path) -> Packed:
    """Resolve a checked case into arrays.

    Raises InputError for what only shows once the engine is resolved: firing angles, throws, traces, and moving parts
    heavier than the weighed whole that includes them.
    """
    case = _seating(_carrying(with_load(made_ready(case), folder)))
    engine = case.engine
    names = [body.name for body in case.body]
    centres = [np.array(body.centre_of_mass) for body in case.body]
    axes = [np.eye(3) for _ in names]
    layout, train, carrier, driven = None, _no_train(), -1, None
    mass = np.array([body.mass for body in case.body])
    moment, origin = np.zeros(3), np.zeros(3)
    together = _Together()
    if engine is not None:
        layout, carrier = resolve_layout(engine), names.index(engine.body)
        axes[carrier] = layout.axes
        origin = layout.axes.T @ (layout.origin - centres[carrier])
        with together:
            train = pack_train(engine, layout)
    inertia = np.array([own.T @ _inertia(body) @ own for body, own in zip(case.body, axes, strict=True)])
    if layout is not None:
        where = f"body[{carrier + 1}] ('{names[carrier]}')"
        with together:
            block = _block(case.body[carrier], where, inertia[carrier], train, origin)
            mass[carrier], moment, inertia[carrier] = block
        with together:
            driven = drivetrain(case, layout, train)
            inertia = carried_inertias(case, driven, inertia, axes, layout.axes[:, 0])
    remarks, point, fed = Remarks(), None, NOT_FED
    with together:
        point = _conditions(case, folder)
        fed = fed_engine(case, layout, folder)
        gas = _gas(case, layout, folder, point) if fed.gas is None else fed.gas
        remarks = _remarks(engine, layout, folder, point)
    mounts, flexible, first = PackedMounts(np.zeros(0), np.zeros(0), (), ()), ALL_RIGID, STATES_PER_BODY * len(names)
    with together:
        flexible = flexible_of(case, folder, first)
        first += 2 * flexible.count
        mounts = pack_mounts(case.mount, names, centres, axes, folder, first, flexible)
    sprocket, outlet, numbers = _sprocket(case, names, flexible), None, mounts.numbers
    with together:
        outlet, numbers = pack_outlet(case, names, centres, axes, numbers, sprocket)
    first += len(mounts.states)
    parts = PackedParts()
    with together:
        parts = pack_parts(case, names, centres, axes, mass, inertia, carrier, first)
    together.raise_if_any()
    first += len(parts.states)
    rotors, turning = _rotors(case, driven, names, axes, carrier, first)
    model = Model(
        bodies=_body_records(mass, inertia),
        carrier=carrier,
        block_moment=_triple(moment),
        crank_origin=_triple(origin),
        train=train,
        mounts=mounts.records,
        mount_numbers=numbers,
        gas=gas,
        losses=_losses(engine, layout, gas, names, carrier, None if fed.path else point),
        load=load_coefficients(engine) if engine else (0.0, 0.0, 0.0, 0.0),
        reactor=_reactor(engine.load.reacted_by if engine else None, names, carrier),
        gravity=STANDARD_GRAVITY if case.run is None or case.run.gravity else 0.0,
        air=fed.path,
        air_at=first + len(turning),
        flex=flexible.packed(),
        outlet=outlet,
        parts=parts.parts,
        rotors=rotors,
        drive=NO_DRIVE if is_driven(case) else None,
        drive_at=first + len(turning) + len(fed.states),
    )
    if np.any(mounts.records["special"]):
        prepare()
    states = tuple(MoreState(state.name, 0.0, state.floor, 0.0) for state in mounts.states)
    states += tuple(MoreState(*state) for state in parts.states)
    return Packed(
        model=model,
        names=names,
        centres=np.array(centres),
        axes=np.array(axes),
        layout=layout,
        accessories=_driven_by_crank(engine, point, fed),
        remarks=replace(remarks, warnings=(*remarks.warnings, *flexible.warnings, *parts.remarks)),
        more_states=(
            *_elastic_states(flexible),
            *states,
            *turning,
            *fed.states,
            *(drive_states() if is_driven(case) else ()),
        ),
        load=case.run.load if case.run else 1.0,
        point=point,
        folder=folder,
        borrowed=fed.borrowed,
        mount_notes=(*mounts.notes, *flexible.notes),
        flexible=flexible,
        part_names=parts.names,
        part_places=parts.places,
        occupants=tuple(occupant.name for occupant in case.occupant),
        drivetrain=driven,
        starter=starter_of(case),
    )


def _sprocket(case: Case, names: list[str], flexible: Flexible) -> list[float]:
    """The attachment of the driven sprocket, if a chain pulls at a flexible body."""
    chain = case.engine.load.chain if case.engine is not None else None
    return [] if chain is None else flexible.attachment(names.index(chain.body), CHAIN)


def _elastic_states(flexible: Flexible) -> tuple[MoreState, ...]:
    """Modal coordinates, then their rates, body after body; floors such that points are as exact as bodies."""
    states: list[MoreState] = []
    for modes in flexible.sets:
        at = flexible.column(modes.body)
        reach = max(flexible.reach(), 1e-12)
        for what, scale in (("coordinate", PLACE_FLOOR), ("rate", SPEED_FLOOR)):
            states += [
                MoreState(f"modal {what} of {name}", 0.0, scale / reach, 0.0)
                for name in flexible.names[at : at + modes.count]
            ]
    return tuple(states)


def _body_records(mass: np.ndarray, inertia: np.ndarray) -> np.ndarray:
    """Records (BODY) of masses (n) kg and inertias (n, 3, 3) kg m²."""
    bodies = np.zeros(len(mass), dtype=BODY)
    bodies["mass"], inverse = mass, np.linalg.inv(inertia)
    for entry, (row, column) in ENTRIES.items():
        bodies[entry], bodies[f"inverse_{entry}"] = inertia[:, row, column], inverse[:, row, column]
    return bodies


def _remarks(engine: Engine | None, layout: Layout | None, folder: Path, point: OperatingPoint | None) -> Remarks:
    """What was done to measured traces, and what is doubtful of them and of the operating point."""
    if engine is None or layout is None:
        return Remarks()
    found = trace_remarks(engine, layout, folder)
    return found if point is None else replace(found, warnings=(*found.warnings, *doubts(point)))


def _driven_by_crank(engine: Engine | None, point: OperatingPoint | None, fed: Fed) -> tuple[str, ...]:
    """Names of accessories, with the charger where it takes a torque."""
    names = tuple(accessory.name for accessory in engine.accessory) if engine else ()
    charged = (point is not None and point.charging_torque) or (fed.path is not None and takes_from_crank(fed.path))
    return (*names, "charging") if charged else names


class _Together:
    """Collects the InputErrors of several steps, so that all are reported at once."""

    def __init__(self) -> None:
        self.problems: list[str] = []

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: object) -> bool:
        if isinstance(error, InputError):
            self.problems += error.problems
            return True
        return False

    def raise_if_any(self) -> None:
        if self.problems:
            raise InputError(self.problems)


def _triple(vector: np.ndarray) -> Triple:
    return float(vector[0]), float(vector[1]), float(vector[2])


def _inertia(body: Body) -> np.ndarray:
    return inertia_matrix(np.array(body.inertia), body.inertia_products == "integral")


def moments_about_reference(m: MovingMass, train: Train, origin: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """First moment (3) and inertia (3, 3) of the moving parts about the carrier's reference point, engine axes.

    Both are linear in the sums `m`, so that those of a mean are the mean. Without the constant axial inertia of crank
    and shafts.
    """
    first = np.array([train.moment_x, m.y, m.z])
    second = np.array([[train.moment_xx, m.xy, m.xz], [m.xy, m.yy, m.yz], [m.xz, m.yz, m.zz]])
    second = second + np.outer(origin, first) + np.outer(first, origin) + train.mass * np.outer(origin, origin)
    return train.mass * origin + first, np.trace(second) * np.eye(3) - second


def _block(
    body: Body, where: str, inertia: np.ndarray, train: Train, origin: np.ndarray
) -> tuple[float, np.ndarray, np.ndarray]:
    """Mass, first moment and inertia of the block: the body as given, less the moving parts if they were weighed in."""
    axial = np.zeros((3, 3))
    axial[0, 0] = train.axial_inertia
    if body.moving_parts == "separate":
        return body.mass, np.zeros(3), inertia + axial
    mean = mean_moving_mass(without_turning_eccentrics(train))
    first, second = moments_about_reference(mean, train, origin)
    block = inertia - second
    mass = body.mass - train.mass
    advice = 'weigh again, or say moving_parts = "separate"'
    if mass <= 0.0:
        raise InputError(
            f"{where}.mass: got {body.mass:g} kg; its moving parts alone weigh {train.mass:g} kg; {advice}"
        )
    central = block - (first @ first * np.eye(3) - np.outer(first, first)) / mass
    reason = why_not_an_inertia(central - axial) or why_not_an_inertia(central)
    if reason:
        raise InputError(f"{where}.inertia: without its moving parts {reason}; {advice}")
    return mass, -first, block


def mean_moving_mass(train: Train) -> MovingMass:
    """Mean over a crank turn."""
    total = np.zeros(len(MovingMass._fields))
    _add_up(np.linspace(0.0, 2.0 * math.pi, AVERAGE_POINTS, endpoint=False), train, total)
    return MovingMass(*total / AVERAGE_POINTS)


@kernel
def _add_up(angles, train, total):
    for n in range(angles.size):
        sums = moving_mass(angles[n], train)
        for i in range(total.size):
            total[i] += sums[i]


def without_turning_eccentrics(train: Train) -> Train:
    """For averages: an eccentric averages to nothing over its own turn, whatever its ratio, unless it stands still."""
    return train._replace(eccentrics=train.eccentrics[train.eccentrics["ratio"] == 0.0])


def _gas(case: Case, layout: Layout | None, folder: Path, point: OperatingPoint | None) -> Gas:
    if case.engine is None or layout is None:
        return no_gas([], 4.0 * math.pi)
    speed, load = (abs(case.run.speed), case.run.load) if case.run else (100.0, 1.0)
    if case.run is None and isinstance(case.engine.gas, TraceGas) and case.engine.gas.folder is not None:
        speed, load = some_point(case.engine, layout, folder)
    speeds = np.array([speed])
    if case.run and (case.run.kind == "free" or stepped(case.run)) and depends_on_speed(case.engine):
        speeds = np.unique(np.maximum(SPEED_NODES * speed, 20.0)) if case.run.kind == "free" else speeds_of_run(case)
        if isinstance(case.engine.gas, TraceGas):
            speeds = speed_nodes(case.engine, layout, speed, load, folder)
    points = [Operating(float(value), load, folder) for value in speeds]
    if point is not None:
        points = [_operating(case.engine, item, point) for item in points]
    return pack_gas(case.engine, layout, points, partner=varies(case))


def _operating(engine: Engine, at: Operating, point: OperatingPoint) -> Operating:
    found = point if at.speed == point.speed else operating_point(engine, at.folder, at.speed, at.load)
    return replace(at, conditions=found.conditions)


def _conditions(case: Case, folder: Path) -> OperatingPoint | None:
    """The steady point of the whole engine, where throttle, charger or knock have a say in it."""
    engine, run = case.engine, case.run
    if engine is None or run is None or not isinstance(engine.gas, CycleGas):
        return None
    gas = engine.gas
    if engine.charging.source == "none" and gas.throttle is None and gas.knock_margin is None:
        return None
    return operating_point(engine, folder, abs(run.speed), run.load)


def _carrying(case: Case) -> Case:
    """The case with the charger's mass put on the engine's body."""
    charging = case.engine.charging if case.engine else None
    if case.engine is None or not isinstance(charging, Charged) or not charging.added_mass:
        return case
    return _with_mass(case, case.engine.body, charging.added_mass, np.array(charging.added_mass_at))


def _seating(case: Case) -> Case:
    """The case with what of its occupants is not on their springs put on the bodies that seat them."""
    for occupant in case.occupant:
        if occupant.seated_share < 1.0:
            rigid = (1.0 - occupant.seated_share) * occupant.mass
            case = _with_mass(case, occupant.body, rigid, np.array(occupant.at))
    return case


def _with_mass(case: Case, name: str, added: float, place: np.ndarray) -> Case:
    """The case with a point mass (kg) put on a body at a place (3) m."""
    index = [body.name for body in case.body].index(name)
    body = case.body[index]
    mass, centre, inertia = with_added_mass(body.mass, np.array(body.centre_of_mass), _inertia(body), added, place)
    update = {
        "mass": mass,
        "centre_of_mass": _triple(centre),
        "inertia": tuple(float(inertia[at]) for at in ENTRIES.values()),
        "inertia_products": "matrix",
    }
    bodies = (*case.body[:index], body.model_copy(update=update), *case.body[index + 1 :])
    return case.model_copy(update={"body": bodies})


def load_coefficients(engine: Engine) -> LoadLaw:
    """Constant torque, torque per speed and per squared speed, dry torque (N m, N m s, N m s², N m)."""
    load = engine.load
    if isinstance(load, ConstantLoad):
        return load.torque, 0.0, 0.0, 0.0
    if isinstance(load, RoadLoad):
        return 0.0, load.linear, load.quadratic, load.torque
    if isinstance(load, DynamometerLoad):
        return load.torque - load.slope * load.speed, load.slope, 0.0, 0.0
    return 0.0, 0.0, 0.0, 0.0


def _losses(
    engine: Engine | None,
    layout: Layout | None,
    gas: Gas,
    names: list[str],
    carrier: int,
    point: OperatingPoint | None,
) -> np.ndarray:
    if engine is None or layout is None:
        return no_losses()
    bodies = [_reactor(accessory.reacted_by, names, carrier) for accessory in engine.accessory]
    losses = pack_losses(engine, layout, gas, bodies, carrier)
    if point is None or not point.charging_torque:
        return losses
    return np.append(losses, charging_loss(point, carrier))


def _reactor(by: str | None, names: list[str], carrier: int) -> int:
    if by is None:
        return carrier
    return -1 if by == GROUND else names.index(by)


def _rotors(
    case: Case, driven: Drivetrain | None, names: list[str], axes: list[np.ndarray], carrier: int, first: int
) -> tuple[Rotors | None, tuple[MoreState, ...]]:
    if driven is None or case.engine is None:
        return None, ()
    by = case.engine.load.reacted_by
    reactor = None if by is None else _reactor(by, names, carrier)
    return pack_rotors(driven, names, axes, axes[carrier][:, 0], reactor, first)


def _no_train() -> Train:
    return Train(np.zeros(0, CYLINDER), np.zeros(0, ECCENTRIC), 0.0, 0.0, 0.0, 1.0, 1.0, 0.0)
