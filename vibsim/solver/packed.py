"""The case packed into arrays for the jitted code."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from vibsim.engine.accessories import no_losses, pack_losses
from vibsim.engine.air_path import AirPath
from vibsim.engine.drivetrain import Drivetrain, drivetrain
from vibsim.engine.layout import Layout, resolve_layout
from vibsim.engine.load_target import with_load
from vibsim.engine.moving_mass import CYLINDER, ECCENTRIC, Train, pack_train
from vibsim.engine.operating_point import OperatingPoint, charging_loss
from vibsim.engine.packed_gas import Gas
from vibsim.engine.trace_report import Remarks
from vibsim.inputs.case_checks import GROUND
from vibsim.inputs.errors import InputError
from vibsim.inputs.flexible_checks import CHAIN
from vibsim.inputs.models import Case, ConstantLoad, DynamometerLoad, Engine, RoadLoad
from vibsim.inputs.steps import made_ready
from vibsim.late import prepare
from vibsim.solver.block import Triple, block_of, body_records, carrying, inertia_of, seating, triple
from vibsim.solver.clutch_pack import pack_clutch
from vibsim.solver.crank_drive import NO_DRIVE, Drive
from vibsim.solver.driven import StarterMotor, drive_states, is_driven, starter_of
from vibsim.solver.fed import NOT_FED, Fed, MoreState, fed_engine, takes_from_crank
from vibsim.solver.gas_of_case import conditions_of, gas_of, remarks_of
from vibsim.solver.outlet_pack import pack_outlet
from vibsim.solver.rotor_motion import Rotors
from vibsim.solver.rotor_pack import carried_inertias, pack_rotors, rubber_notes
from vibsim.structure.flexible import ALL_RIGID, Flex, Flexible, flexible_of
from vibsim.structure.mount_pack import PackedMounts, pack_mounts
from vibsim.structure.vertical_pack import PackedParts, pack_parts
from vibsim.structure.vertical_parts import Parts

STANDARD_GRAVITY = 9.80665
PLACE_FLOOR, SPEED_FLOOR = 1e-3, 0.1  # m, m/s: the scales that tolerance is a share of
STATES_PER_BODY = 13  # place (3), quaternion (4), momentum and angular momentum in own axes (3 + 3)


LoadLaw = tuple[float, float, float, float]


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
    case = seating(carrying(with_load(made_ready(case), folder)))
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
    inertia = np.array([own.T @ inertia_of(body) @ own for body, own in zip(case.body, axes, strict=True)])
    if layout is not None:
        where = f"body[{carrier + 1}] ('{names[carrier]}')"
        with together:
            block = block_of(case.body[carrier], where, inertia[carrier], train, origin)
            mass[carrier], moment, inertia[carrier] = block
        with together:
            driven = drivetrain(case, layout, train)
            inertia = carried_inertias(case, driven, inertia, axes, layout.axes[:, 0])
    remarks, point, fed = Remarks(), None, NOT_FED
    with together:
        point = conditions_of(case, folder)
        fed = fed_engine(case, layout, folder)
        gas = gas_of(case, layout, folder, point) if fed.gas is None else fed.gas
        remarks = remarks_of(engine, layout, folder, point)
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
        bodies=body_records(mass, inertia),
        carrier=carrier,
        block_moment=triple(moment),
        crank_origin=triple(origin),
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
        mount_notes=(*mounts.notes, *flexible.notes, *rubber_notes(driven)),
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
    rotors, states = pack_rotors(driven, names, axes, axes[carrier][:, 0], reactor, first)
    rotors, more = pack_clutch(case, driven, rotors, first + len(states))
    return rotors, (*states, *more)


def _no_train() -> Train:
    return Train(np.zeros(0, CYLINDER), np.zeros(0, ECCENTRIC), 0.0, 0.0, 0.0, 1.0, 1.0, 0.0)
