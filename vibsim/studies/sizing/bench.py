"""Many sets of mounts answered at once: rest under loads, matrices, orders at sensors and mounts, modes."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from vibsim.inputs.loader import CaseFile
from vibsim.inputs.mount_models import WITH_STATES
from vibsim.solver.fed import MoreState
from vibsim.solver.frequency import feel_of, gyroscopic, linear_beside, local_rates, special_mount
from vibsim.solver.frequency_batch import rest_many
from vibsim.solver.frequency_lanes import orders_many
from vibsim.solver.frequency_mounts import DynamicStiffness, dynamic_stiffness, stiffness_in
from vibsim.solver.frequency_push import CyclePush
from vibsim.solver.linearise import Linear, linearise
from vibsim.solver.outlet_pack import in_gear
from vibsim.solver.packed import STATES_PER_BODY, Model, Packed, pack
from vibsim.solver.rotor_push import engine_push
from vibsim.solver.start import equilibrium, no_preload, state_at, static_model
from vibsim.solver.steady import mean_torque
from vibsim.solver.vertical_linear import widened
from vibsim.structure.modes import without_modal
from vibsim.studies.alike import run_at
from vibsim.studies.modes import speed_of_schedules
from vibsim.studies.sizing.records import Records, held, packed_sets
from vibsim.studies.sizing.space import Mounts

SAME_TORQUE = 1e-3  # of the greatest: then one preload serves all speeds
NOTHING2, NOTHING3, NOTHING4 = np.zeros((0, 0)), np.zeros((0, 0, 0)), np.zeros((0, 0, 0, 0))


@dataclass(frozen=True)
class Load:
    """What bodies rest under beside weight: output torque (N m) with accessories as at a speed (rad/s), the vehicle's
    acceleration (3) m/s², moments (bodies, 3) N m; the gear of a chain or differential, None that of the run."""

    torque: float = 0.0
    speed: float = 0.0
    acceleration: tuple[float, ...] = (0.0, 0.0, 0.0)
    moment: tuple[tuple[float, ...], ...] = ()
    gear: int | str | None = None


WEIGHT = Load()


@dataclass
class Needs:
    """What measures ask of the bench: `loads` to rest under, (speed, order) pairs, mount forces, modes."""

    loads: list[Load] = field(default_factory=list)
    lanes: dict[tuple[float, float], int] = field(default_factory=dict)
    mounts: bool = False
    modes: bool = False

    def load(self, load: Load) -> int:
        if load not in self.loads:
            self.loads.append(load)
        return self.loads.index(load)

    def lane(self, speed: float, order: float) -> int:
        return self.lanes.setdefault((speed, order), len(self.lanes))


@dataclass(frozen=True)
class Rest:
    """Candidates at rest: `at` (n, bodies, 6), `force` and `deflection` (n, mounts, 3), vehicle axes."""

    at: np.ndarray
    force: np.ndarray
    deflection: np.ndarray


@dataclass(frozen=True)
class Answers:
    """What n candidates do: a `Rest` per load, `felt` (n, lanes, sensors, 3) m/s², `mount` (n, lanes, mounts, 3) N,
    `frequency` (n, modes) Hz and `energy` (n, modes, bodies, 6) shares. NaN for those that do not stand."""

    rests: list[Rest]
    felt: np.ndarray
    mount: np.ndarray
    frequency: np.ndarray
    energy: np.ndarray


class Bench:
    """Answers of a case for sets of mounts. The excitation does not depend on them and is computed once.

    Matrices for orders stand under the least and the greatest mean torque of the speeds asked, and between them on a
    straight line; masses as the case's own rest has them; orders are counted over time.
    """

    def __init__(
        self,
        case_file: CaseFile,
        needs: Needs,
        load: float | None = None,
        stiffness_of: DynamicStiffness = dynamic_stiffness,
    ):
        self._case, self._needs = case_file.case, needs
        self._stiffness_of = stiffness_in(case_file.folder, stiffness_of)
        self._special = [
            index
            for index, mount in enumerate(case_file.case.mount)
            if stiffness_of is not dynamic_stiffness or isinstance(mount, WITH_STATES)
        ]
        self.packed = pack(case_file.case, case_file.folder)
        size = self.packed.unknowns
        self._start = state_at(self.packed, np.zeros((len(self.packed.names), 6)))
        self._guess: dict[Load, np.ndarray] = {}
        self._carried: dict[Load, Linear] = {}
        self._locked = linearise(self.packed, crank="locked").mass if needs.modes else np.zeros((size, size))
        self._orders: _Orders | None = None
        if needs.lanes:
            self._orders = _orders(case_file, self.packed, needs, load)

    def answer(self, candidates: list[Mounts]) -> Answers:
        """Answers of sets of mounts."""
        records = packed_sets(candidates, self._case.mount, self.packed)
        modes = self._needs.load(Load(speed=speed_of_schedules(self._case))) if self._needs.modes else -1
        rests, slope = [], NOTHING3
        for number, load in enumerate(self._needs.loads):
            rest, found, *_ = self._rest(records, load, matrices=number == modes)
            rests.append(rest)
            slope = found if number == modes else slope
        felt, mount = self._answer_orders(records, candidates)
        frequency, energy = self._modes(slope)
        return Answers(rests, felt, mount, frequency, energy)

    def _rest(
        self, records: Records, load: Load, matrices: bool, rows: bool = False
    ) -> tuple[Rest, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Rest under a load; slope and drag (n, square) if asked, those of the mounts (n, mounts, 3, unknowns) too."""
        model, mounts_held = self._model(records, load), held(records, self.packed.model, load.speed)
        count, size, mounts = len(mounts_held), 6 * len(self.packed.names), len(model.mounts)
        at, force, deflection = np.empty((count, size)), np.empty((count, mounts, 3)), np.empty((count, mounts, 3))
        wide = self.packed.moved
        shape = (count, wide, wide)
        slope, drag = (np.full(shape, np.nan), np.full(shape, np.nan)) if matrices else (NOTHING3, NOTHING3)
        rates = (count, mounts, 3, wide)
        stiff, damp = (np.full(rates, np.nan), np.full(rates, np.nan)) if rows else (NOTHING4, NOTHING4)
        force[:], deflection[:] = np.nan, np.nan
        moment = np.array(load.moment) if load.moment else no_preload(self.packed).moment
        field = -np.array(load.acceleration)
        total = float(model.bodies["mass"].sum()) + model.train.mass
        scale = max(total * (model.gravity + float(np.linalg.norm(field))), abs(load.torque), 1.0)
        guess = self._first_guess(load)
        start = np.insert(self._start, self.packed.model.air_at, np.zeros(records.states))
        rest_many(
            mounts_held, records.numbers, model, start, guess, field, moment, scale,
            at, force, deflection, slope, drag, stiff, damp,
        )  # fmt: skip
        if self.packed.part_names:
            slope, drag, stiff, damp = self._with_parts(load, slope, drag, stiff, damp)
        return Rest(at.reshape(count, -1, 6), force, deflection), slope, drag, stiff, damp

    def _with_parts(self, load: Load, slope: np.ndarray, drag: np.ndarray, *rows: np.ndarray) -> tuple[np.ndarray, ...]:
        """Matrices of the bodies with the heights of wheels and occupants beside, which mounts do not feel."""
        heights = len(self.packed.part_names)
        wider = [np.pad(row, [(0, 0)] * 3 + [(0, heights)]) if row.size else row for row in rows]
        if not slope.size:
            return slope, drag, *wider
        if load not in self._carried:
            self._carried[load] = linearise(self.packed, load.torque, crank="free", speed=load.speed)
        carried = self._carried[load]
        return *widened(slope, drag, carried.stiffness, carried.damping), *wider

    def _model(self, records: Records, load: Load) -> Model:
        model = static_model(self._geared(load).model, load.torque, load.speed)
        return model._replace(
            mounts=model.mounts.copy(),
            mount_numbers=np.zeros(records.numbers.shape[1]),
            air_at=model.air_at + records.states,
        )

    def _geared(self, load: Load) -> Packed:
        return self.packed if load.gear is None else in_gear(self.packed, self._case, load.gear)

    def _first_guess(self, load: Load) -> np.ndarray:
        """Where the case itself rests under the weight and torque of a load."""
        if load not in self._guess:
            self._guess[load] = equilibrium(self._geared(load), load.torque, load.speed).displacement.ravel()
        return self._guess[load]

    def _answer_orders(self, records: Records, candidates: list[Mounts]) -> tuple[np.ndarray, np.ndarray]:
        orders, count = self._orders, len(candidates)
        if orders is None:
            return NOTHING4.astype(complex), NOTHING4.astype(complex)
        rows = self._needs.mounts or bool(self._special)
        found = [self._rest(records, load, True, rows) for load in orders.loads]
        slope, drag = np.array([item[1] for item in found]), np.array([item[2] for item in found])
        lanes, size = len(orders.rate), slope.shape[-1]
        feel = orders.feel.reshape(-1, size)
        felt = np.empty((count, lanes, len(feel)), complex)
        moved = np.empty((count, lanes, size) if self._needs.mounts else (0, 0, 0), complex)
        specials = self._specials(records, candidates, found, orders) if self._special else []
        added = _added(specials, size, orders.turning, count)
        orders_many(
            slope, drag, orders.mass, orders.gyration, orders.share, orders.speed, orders.rate, orders.push, added,
            feel, felt, moved,
        )  # fmt: skip
        mount = NOTHING4.astype(complex)
        if self._needs.mounts:
            mount = _mount_force([item[3] for item in found], [item[4] for item in found], orders, moved)
            for index, across, more in specials:
                stretch = np.einsum("nai,nli->nla", across, moved)
                mount[:, :, index] -= np.einsum("nlab,nlb->nla", more, stretch)
        return felt.reshape(count, lanes, -1, 3), mount

    def _specials(
        self, records: Records, candidates: list[Mounts], found: list[tuple], orders: _Orders
    ) -> list[tuple[int, np.ndarray, np.ndarray]]:
        """Per mount whose stiffness depends on frequency: its number, deflection per displacement (n, 3, unknowns) and
        what its stiffness has beyond the linear model's (n, lanes, 3, 3), vehicle axes; about the last load's rest."""
        frequency, which = np.unique(orders.rate / (2.0 * math.pi), return_inverse=True)
        turning = 1j * orders.rate[:, None, None]
        kept = []
        for index in self._special:
            across, more = [], []
            for n, mounts in enumerate(candidates):
                packed = self._packed_with(records, n)
                at = np.nan_to_num(found[-1][0].at[n])
                special = special_mount(packed, at, index, mounts[index])
                whole = self._stiffness_of(mounts[index], frequency, special.preload)[which]
                held, drag = (
                    local_rates(packed, index, _between(np.array([item[k][n, index] for item in found]), orders.share))
                    for k in (3, 4)
                )
                across.append(special.across)
                more.append(special.axes.T @ whole @ special.axes - held - turning * drag)
            kept.append((index, np.array(across), np.array(more)))
        return kept

    def _packed_with(self, records: Records, n: int) -> Packed:
        """The case with candidate n of the mounts."""
        packed, model = self.packed, self.packed.model
        before = model.air_at - STATES_PER_BODY * len(packed.names)
        more = (MoreState("mount", 0.0, 1.0),) * records.states
        return packed._replace(
            model=model._replace(
                mounts=records.mounts[n], mount_numbers=records.numbers[n], air_at=model.air_at + records.states
            ),
            more_states=(*packed.more_states[:before], *more, *packed.more_states[before:]),
        )

    def _modes(self, slope: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Undamped frequencies (n, modes) and kinetic-energy shares (n, modes, bodies, 6), crank locked."""
        if not self._needs.modes:
            return NOTHING2, NOTHING4
        root = np.linalg.cholesky(self._locked)
        inverse = np.linalg.inv(root)
        stands = np.isfinite(slope).all(axis=(1, 2))
        stiffness = np.where(stands[:, None, None], -0.5 * (slope + slope.transpose(0, 2, 1)), np.eye(len(root)))
        square, vectors = np.linalg.eigh(inverse @ stiffness @ inverse.T)
        shapes = np.einsum("ij,njk->nki", inverse.T, vectors)
        energy = shapes * np.einsum("ij,nkj->nki", self._locked, shapes)
        frequency = np.sqrt(np.maximum(square, 0.0)) / (2.0 * math.pi)
        frequency[~stands], energy[~stands] = np.nan, np.nan
        return frequency, without_modal(energy, self.packed.flexible.count, len(self.packed.part_names))


@dataclass(frozen=True)
class _Orders:
    """Lanes (l), one per speed and order: pushes (l, unknowns), the loads their matrices stand under, and what rotors
    add to these (l, unknowns, unknowns)."""

    loads: list[Load]
    share: np.ndarray
    speed: np.ndarray
    rate: np.ndarray
    push: np.ndarray
    mass: np.ndarray
    gyration: np.ndarray
    feel: np.ndarray
    turning: np.ndarray | None = None


def _orders(case_file: CaseFile, packed: Packed, needs: Needs, load: float | None) -> _Orders:
    speeds = sorted({speed for speed, _ in needs.lanes})
    pushes, torques = {}, {}
    for speed in speeds:
        turned = run_at(case_file, speed, load)
        there = pack(turned.case, case_file.folder)
        torques[speed] = mean_torque(there, speed)
        pushes[speed] = engine_push(there, speed, torques[speed])
    low, high = min(speeds, key=lambda s: torques[s]), max(speeds, key=lambda s: torques[s])
    span = torques[high] - torques[low]
    ends = [high] if span <= SAME_TORQUE * max(abs(torques[high]), 1.0) else [low, high]
    loads = [Load(torques[end], end) for end in ends]
    lanes = list(needs.lanes)
    share = [(torques[s] - torques[low]) / span if len(ends) > 1 else 0.0 for s, _ in lanes]
    middle, turning = linear_beside(packed, torques[ends[-1]], ends[-1]), None
    if packed.model.rotors is not None:
        turning = np.array([_turning(pushes[speed], order) for speed, order in lanes])
    return _Orders(
        loads=loads,
        share=np.array(share),
        speed=np.array([speed for speed, _ in lanes]),
        rate=np.array([order * speed for speed, order in lanes]),
        push=np.array([pushes[speed].handed_on(order) for speed, order in lanes]),
        mass=middle.mass,
        gyration=gyroscopic(packed, 1.0),
        feel=feel_of(packed, case_file.case.sensor),
        turning=turning,
    )


def _turning(push: CyclePush, order: float) -> np.ndarray:
    """What the rotors add to the bodies' matrices (unknowns, unknowns) at an order."""
    assert push.rotors is not None
    return push.rotors.added(order * push.speed)


def _mount_force(stiff: list[np.ndarray], damp: list[np.ndarray], orders: _Orders, moved: np.ndarray) -> np.ndarray:
    """Force (n, lanes, mounts, 3) from displacements (n, lanes, unknowns); slopes (n, mounts, 3, unknowns) per load."""
    count, mounts, _, size = stiff[0].shape
    total = np.zeros((count, len(orders.rate), 3 * mounts), complex)
    one = np.ones_like(orders.share)
    weights = [one] if len(stiff) == 1 else [one - orders.share, orders.share]
    for weight, k, c in zip(weights, stiff, damp, strict=True):
        for factor, matrix in ((weight, k), (1j * orders.rate * weight, c)):
            total += factor[None, :, None] * (moved @ matrix.reshape(count, -1, size).transpose(0, 2, 1))
    return total.reshape(count, -1, mounts, 3)


def _between(ends: np.ndarray, share: np.ndarray) -> np.ndarray:
    """What lies between one or two ends (ends, ...) at shares (lanes): (lanes, ...)."""
    along = share.reshape(-1, *[1] * (ends.ndim - 1))
    return np.asarray(ends[0] + along * (ends[-1] - ends[0]))


def _added(
    specials: list[tuple[int, np.ndarray, np.ndarray]], size: int, turning: np.ndarray | None, count: int
) -> np.ndarray:
    """Stiffness (n, lanes, size, size) beside the linear model's, of all special mounts and rotors; empty without any.
    `turning` (lanes, size, size) is the same for all n candidates."""
    if turning is not None:
        total = np.repeat(turning[None], count, axis=0)
    elif specials:
        total = np.zeros((*specials[0][2].shape[:2], size, size), complex)
    else:
        return NOTHING4.astype(complex)
    for _, across, more in specials:
        total += np.einsum("nai,nlab,nbj->nlij", across, more, across, optimize=True)
    return total
