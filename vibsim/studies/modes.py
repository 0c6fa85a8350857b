"""Natural frequencies of the mounted bodies about static equilibrium, and the axes their mounts give them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.linalg import eigh

from vibsim.engine.drivetrain import Drivetrain
from vibsim.engine.torsion import mode_rows, torsion_modes
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import Case
from vibsim.inputs.mount_models import WITH_STATES, ScheduledMount
from vibsim.inputs.statics_models import LoadCase
from vibsim.solver.linearise import Crank, Linear, linearise
from vibsim.solver.packed import Packed
from vibsim.solver.start import Preload, state_at
from vibsim.structure.elastic_axes import ElasticAxes, elastic_axes
from vibsim.structure.energy import decoupling, energy_along
from vibsim.structure.modes import Modes, modes_of, without_modal
from vibsim.structure.torque_roll_axis import Axis, axes_along, torque_roll_axis
from vibsim.structure.vertical_parts import part_bodies, part_heights
from vibsim.studies.load_cases import (
    Chassis,
    deliver,
    full_torque,
    geared,
    held_bodies,
    pack_for_statics,
    preload_of,
)

DIRECTIONS = ("X", "Y", "Z", "roll", "pitch", "yaw")
ROLL_AXES = ("along", "across", "up", "roll", "turn across", "turn up")
ELASTIC = ("first", "second", "third", "turn first", "turn second", "turn third")
FREE_BELOW = 0.01  # Hz
FREE_SHARE = 1e-10  # of the greatest squared frequency, what differences leave of a zero
RIGID_ABOVE = 1000.0  # Hz: no rubber mount holds an engine that stiffly


@dataclass(frozen=True)
class BodyAxes:
    """Axes of the engine's body (or the first one without an engine), vehicle axes.

    Places are those in the drawing: found as the body stands, then taken back with it by its static shift. `centre`
    (3) m its centre of mass; `elastic` None when nothing holds it in some direction, `torque_roll` None without an
    engine; `elastic_energy`, `roll_energy` (modes, 6) share of kinetic energy in those axes: along three
    and about three; `decoupling` of roll about the torque roll axis and the mode (index) that has most of it.
    """

    body: str
    centre: np.ndarray
    elastic: ElasticAxes | None
    elastic_energy: np.ndarray | None
    torque_roll: Axis | None
    roll_energy: np.ndarray | None
    decoupling: tuple[float, int] | None


@dataclass(frozen=True)
class ModesResult:
    """Modes of the bodies that are free to move, with their names and static displacement (bodies, 6: m, rad).

    `preload` says in words what they stand under; `held` names the bodies held as drawn; `places` (bodies, 3) m
    their centres of mass as drawn; `tangent` names the mounts whose stiffness hangs on frequency or amplitude, of which
    the static one was taken; `elastic` names the elastic modes of bodies. `drivetrain` twists by itself, apart from
    the bodies, under `torque` (N m, at the crank); None of a rigid crank.
    """

    bodies: list[str]
    modes: Modes
    displacement: np.ndarray
    axes: BodyAxes
    places: np.ndarray
    preload: str
    held: list[str]
    tangent: tuple[str, ...] = ()
    elastic: tuple[str, ...] = ()
    drivetrain: Drivetrain | None = None
    torque: float = 0.0

    def dominant(self, index: int) -> tuple[str, str, float]:
        """Body, direction and share of kinetic energy of the largest entry of a mode."""
        shares, own = self.modes.energy[index], self.modes.elastic_energy[index]
        if own.size and own.max() > shares.max():
            return *_elastic_words(self.elastic[int(own.argmax())]), float(own.max())
        body, direction = np.unravel_index(int(shares.argmax()), shares.shape)
        return self.bodies[int(body)], DIRECTIONS[int(direction)], float(shares[body, direction])

    def warnings(self) -> list[str]:
        """What in the modes is doubtful."""
        fast = [n for n, value in enumerate(self.modes.frequency) if value > RIGID_ABOVE]
        return [
            f"mode {n + 1} at {self.modes.frequency[n]:.0f} Hz ({' '.join(self.dominant(n)[:2])}): a mount holds it as "
            "stiffly as a rigid joint; check mount stiffness_N_per_mm"
            for n in fast
        ]

    def table(self) -> list[dict]:
        """One row per mode: frequency, damping, dominant motion, kinetic-energy share per body and direction."""
        rows = []
        for index, frequency in enumerate(self.modes.frequency):
            body, direction, share = self.dominant(index)
            energy = {
                name: dict(zip(DIRECTIONS, self.modes.energy[index, b].tolist(), strict=True))
                for b, name in enumerate(self.bodies)
            }
            shape: dict[str, Any] = {
                name: {
                    "real": self.modes.shape[index, b].real.tolist(),
                    "imaginary": self.modes.shape[index, b].imag.tolist(),
                }
                for b, name in enumerate(self.bodies)
            }
            if self.elastic:
                energy["elastic"] = dict(zip(self.elastic, self.modes.elastic_energy[index].tolist(), strict=True))
                moved = self.modes.elastic[index]
                shape["elastic"] = {
                    "names": list(self.elastic),
                    "real": moved.real.tolist(),
                    "imaginary": moved.imag.tolist(),
                }
            row = {
                "mode": index + 1,
                "frequency_Hz": float(frequency),
                "damped_frequency_Hz": float(frequency * np.sqrt(max(1.0 - self.modes.damping[index] ** 2, 0.0))),
                "damping_ratio": float(self.modes.damping[index]),
                "moves_most": f"{body} {direction}",
                "energy_share": share,
                "energy": energy,
                "shape": shape,
            }
            for key, names, shares in (
                ("energy_torque_roll_axis", ROLL_AXES, self.axes.roll_energy),
                ("energy_elastic_axes", ELASTIC, self.axes.elastic_energy),
            ):
                if shares is not None:
                    row[key] = dict(zip(names, shares[index].tolist(), strict=True))
            rows.append(row)
        return rows


def find_modes(
    case_file: CaseFile,
    crank: Crank = "locked",
    gear: int | str | None = None,
    torque: float | None = None,
    chassis: Chassis = "carried",
) -> ModesResult:
    """Modes of a case about its static equilibrium under weight and, if asked for, torque; see `linearise` for what
    crank and mounts do. Scheduled mounts are as at the run's speed.

    `gear` brings on what the driveline delivers in that gear, `torque` (N m, at the crank) replaces full load, or acts
    as `engine.load` says without a gear. With the chassis "held" the bodies that stand on the ground stay as drawn.
    Raises RunFailure when there is no equilibrium, InputError for a gear there is none of and for a body that is free
    to move (a mode at zero frequency).
    """
    case, packed = case_file.case, pack_for_statics(case_file)
    preload, words, at_crank, packed = _preload(case_file, packed, gear, torque, chassis)
    linear = linearise(packed, at_crank, crank, speed=speed_of_schedules(case), preload=preload)
    return replace(modes_result(case, packed, linear, preload.held, words), torque=at_crank)


def modes_result(case: Case, packed: Packed, linear: Linear, held: tuple[int, ...], words: str) -> ModesResult:
    """Modes of the bodies that are not held, from the linear model, with the axes of the engine's body."""
    free = [b for b in range(len(packed.names)) if b not in held]
    carried, own = _parts_on(packed, held), packed.unknowns_of(free)
    moving = np.concatenate([own, packed.moved + carried.numbers])
    mass, damping, stiffness = (
        matrix[np.ix_(moving, moving)] for matrix in (linear.mass, linear.damping, linear.stiffness)
    )
    names = [packed.names[b] for b in free] + carried.names
    heights = len(carried.names)
    elastic = tuple(linear.elastic[n - 6 * len(packed.names)] for n in own[6 * len(free) :])
    _require_held(mass, stiffness, names, len(elastic), heights)
    modes = modes_of(mass, damping, stiffness, len(elastic), heights)
    places = np.concatenate([packed.centres[free], carried.places])
    carrier = packed.model.carrier
    body = free.index(carrier) if carrier in free else 0
    crank = packed.axes[carrier][:, 0] if carrier >= 0 else None
    axes = _body_axes(modes, mass, stiffness, names, places, body, crank)
    still = state_at(packed, linear.equilibrium.displacement)
    return ModesResult(
        names,
        modes,
        np.concatenate([linear.equilibrium.displacement[free], carried.moves(still)]),
        axes,
        places,
        words,
        [packed.names[b] for b in held],
        tuple(mount.name for mount in case.mount if isinstance(mount, WITH_STATES)),
        elastic,
        packed.drivetrain,
    )


@dataclass(frozen=True)
class _Carried:
    """Wheels and occupants on bodies that are free to move: `numbers` among all such masses, names, places (n, 3) m as
    drawn and `states` that are their heights."""

    numbers: np.ndarray
    names: list[str]
    places: np.ndarray
    states: list[int]

    def moves(self, state: np.ndarray) -> np.ndarray:
        """Displacements (n, 6) m from as drawn in a state."""
        found = np.zeros((len(self.names), 6))
        found[:, 2] = state[self.states] - self.places[:, 2]
        return found


def _parts_on(packed: Packed, held: tuple[int, ...]) -> _Carried:
    parts = packed.model.parts
    if parts is None:
        return _Carried(np.zeros(0, dtype=np.int64), [], np.zeros((0, 3)), [])
    numbers = [n for n, body in enumerate(part_bodies(parts)) if body not in held]
    heights = part_heights(parts)
    names = [packed.part_names[n] for n in numbers]
    return _Carried(
        np.array(numbers, dtype=np.int64), names, packed.part_places[numbers], [heights[n] for n in numbers]
    )


def speed_of_schedules(case: Case) -> float:
    """Crank speed (rad/s) that scheduled mounts are taken at."""
    follows = case.run is not None and any(isinstance(mount, ScheduledMount) for mount in case.mount)
    return abs(case.run.speed) if case.run is not None and follows else 0.0


def _preload(
    case_file: CaseFile, packed: Packed, gear: int | str | None, torque: float | None, chassis: Chassis
) -> tuple[Preload, str, float, Packed]:
    """Preload, the same in words, the torque at the crank that acts as `engine.load` says, the model in that gear."""
    case = case_file.case
    held = held_bodies(case) if chassis == "held" else ()
    plain = Preload(np.zeros(3), np.zeros((len(packed.names), 3)), held)
    if gear is None:
        if torque is None:
            return plain, "weight", 0.0, packed
        if case.engine is None:
            raise InputError("--torque-N-m: the case has no [engine] to give it")
        by = case.engine.load.reacted_by
        unfelt = packed.model.outlet is None and packed.drivetrain is None
        if unfelt and (by is None or by == case.engine.body):
            raise InputError(
                "--torque-N-m: needs engine.load.reacted_by; a torque that the engine's own body takes loads no mount"
            )
        return plain, f"weight and {torque:g} N m at the crank", torque, packed
    if case.driveline is None or case.engine is None or packed.layout is None:
        raise InputError(f"--gear: got {gear}; needs a [driveline] table with gear_ratios")
    given, source = full_torque(case_file) if torque is None else (torque, "")
    delivery = deliver(case.driveline, case.engine, packed.layout, gear, given)
    words = f"weight and {given:.4g} N m from the engine in gear {gear}"
    load = LoadCase(name="modes")
    preload = preload_of(packed, case, load, delivery, chassis)
    packed, at_crank = geared(packed, case, gear, delivery)
    return preload, words + (f" ({source})" if source else ""), at_crank, packed


def _require_held(mass: np.ndarray, stiffness: np.ndarray, names: list[str], elastic: int, heights: int) -> None:
    """Raise InputError for a motion that nothing holds, saying which body moves how."""
    squares, shapes = eigh(0.5 * (stiffness + stiffness.T), mass)
    least = max((2.0 * np.pi * FREE_BELOW) ** 2, FREE_SHARE * float(squares[-1]))
    for square, shape in zip(squares, shapes.T, strict=True):
        if square < least:
            shares = without_modal(shape * (mass @ shape), elastic, heights)
            body, direction = np.unravel_index(int(shares.argmax()), shares.shape)
            motion = _motion(DIRECTIONS[int(direction)])
            what = "a mount, or give one stiffness_N_per_mm"
            if heights:
                what = "a mount, or give a mount stiffness_N_per_mm or a wheel's tyre its lateral or longitudinal one"
            raise InputError(f"mount: body '{names[body]}' is free to {motion}, a mode at 0 Hz; add {what} that way")


def _elastic_words(name: str) -> tuple[str, str]:
    """Body and mode of the name of an elastic mode."""
    body, _, number = name.rpartition(" elastic ")
    return body, f"elastic {number}"


def _motion(direction: str) -> str:
    return f"move along {direction}" if len(direction) == 1 else direction


def _body_axes(
    modes: Modes,
    mass: np.ndarray,
    stiffness: np.ndarray,
    names: list[str],
    places: np.ndarray,
    body: int,
    crank: np.ndarray | None,
) -> BodyAxes:
    at, place = slice(6 * body, 6 * body + 6), places[body]
    own = mass[at, at]
    away = np.array([own[2, 4] - own[1, 5], own[0, 5] - own[2, 3], own[1, 3] - own[0, 4]]) * -0.5 / own[0, 0]
    elastic = elastic_axes(stiffness[at, at], place)
    elastic_energy = roll_energy = roll = index = None
    if elastic is not None:
        elastic_energy = energy_along(modes, mass, body, elastic.centre - place, elastic.axes)
    if crank is not None:
        roll = torque_roll_axis(own, place, crank)
        roll_energy = energy_along(modes, mass, body, roll.point - place, axes_along(roll.direction))
        index = decoupling(roll_energy[:, 3])
    return BodyAxes(names[body], place + away, elastic, elastic_energy, roll, roll_energy, index)


def torsion_rows(result: ModesResult) -> dict[str, Any]:
    """Torsional modes as plain numbers, where the crank is not rigid and alone."""
    found = result.drivetrain
    return {} if found is None else {"torsional_modes": mode_rows(found, torsion_modes(found, result.torque))}


def axes_dict(axes: BodyAxes) -> dict[str, Any]:
    """Plain numbers for machines, lengths in mm."""
    found: dict[str, Any] = {"body": axes.body, "centre_of_mass_mm": (1e3 * axes.centre).tolist()}
    if axes.elastic is not None:
        elastic = axes.elastic
        found["elastic_centre"] = {
            "at_mm": (1e3 * elastic.centre).tolist(),
            "lever_arm_left_mm": 1e3 * elastic.lever_arm,
            "lever_arm_along_axes_mm": (1e3 * elastic.along_axes).tolist(),
        }
        found["elastic_axes"] = {
            "directions": elastic.axes.T.tolist(),
            "stiffness_N_per_mm": (1e-3 * elastic.stiffness).tolist(),
            "turning_directions": elastic.turning.T.tolist(),
            "turning_stiffness_N_m_per_deg": (elastic.turning_stiffness * np.pi / 180.0).tolist(),
        }
    if axes.torque_roll is not None and axes.decoupling is not None:
        found["torque_roll_axis"] = {
            "through_mm": (1e3 * axes.torque_roll.point).tolist(),
            "direction": axes.torque_roll.direction.tolist(),
        }
        found["roll_decoupling"] = {"share": axes.decoupling[0], "mode": axes.decoupling[1] + 1}
    return found
