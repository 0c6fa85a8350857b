"""The engine's layout resolved: each cylinder with its own geometry, throws, axes and firing angles."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.engine.kinematics import bottom_dead_centre, top_dead_centre
from vibsim.inputs.errors import InputError
from vibsim.inputs.models import Cylinder, Engine

TURN = 2.0 * math.pi


@dataclass(frozen=True)
class ResolvedCylinder:
    """One cylinder with the engine's defaults and its own overrides, SI units, angles in rad."""

    name: str
    bank: float
    pin: float
    at: float
    offset: float
    radius: float
    rod_length: float
    bore: float
    compression_ratio: float | None
    piston_mass: float
    rod_mass: float
    rod_centre: float
    rod_inertia: float
    firing: float = 0.0
    fuelling: float = 1.0
    burn_shift: float = 0.0

    @property
    def area(self) -> float:
        return 0.25 * math.pi * self.bore**2

    @property
    def top(self) -> float:
        """Wrist-pin height at top dead centre, m."""
        return top_dead_centre(self.radius, self.rod_length, self.offset)[1]

    @property
    def top_angle(self) -> float:
        """Crank angle of a top dead centre in [0, 2π)."""
        angle = self.bank - self.pin + top_dead_centre(self.radius, self.rod_length, self.offset)[0]
        angle = math.fmod(angle, TURN)
        angle = angle + TURN if angle < 0.0 else angle
        return 0.0 if TURN - angle < 1e-9 else angle

    @property
    def swept_volume(self) -> float:
        return self.area * (self.top - bottom_dead_centre(self.radius, self.rod_length, self.offset)[1])

    @property
    def clearance_volume(self) -> float:
        """Volume at top dead centre, m³; the swept volume over (compression ratio − 1)."""
        if self.compression_ratio is None:
            return 0.0
        return self.swept_volume / (self.compression_ratio - 1.0)

    @property
    def small_end_mass(self) -> float:
        """The part of the rod that moves with the wrist pin (two equivalent masses)."""
        return self.rod_mass * self.rod_centre / self.rod_length

    @property
    def big_end_mass(self) -> float:
        return self.rod_mass - self.small_end_mass

    @property
    def rod_correction(self) -> float:
        """Inertia of the rod less that of its two equivalent masses, kg·m²: J − m·a·(l − a)."""
        return self.rod_inertia - self.rod_mass * self.rod_centre * (self.rod_length - self.rod_centre)


@dataclass(frozen=True)
class Layout:
    """Cylinders in file order, cycle length (rad), engine axes as columns (3, 3) in vehicle axes, origin (3,) m."""

    cylinders: tuple[ResolvedCylinder, ...]
    cycle: float
    axes: np.ndarray
    origin: np.ndarray
    throws: tuple[tuple[int, ...], ...]

    @property
    def swept_volume(self) -> float:
        return sum(cylinder.swept_volume for cylinder in self.cylinders)

    def firing_sequence(self) -> list[tuple[str, float]]:
        """Cylinder names and firing angles (rad), in order of firing."""
        fired = [(cylinder.name, cylinder.firing % self.cycle) for cylinder in self.cylinders]
        return sorted(fired, key=lambda item: item[1])

    def firing_intervals(self) -> list[float]:
        """Angles (rad) from each firing to the next, closing the cycle."""
        angles = [angle for _, angle in self.firing_sequence()]
        return [after - before for before, after in zip(angles, [*angles[1:], angles[0] + self.cycle], strict=True)]


def resolve_layout(engine: Engine) -> Layout:
    """Apply overrides, find throws and firing angles.

    Raises InputError when a firing angle is no top dead centre or the firing order does not close.
    """
    cylinders = [_resolve(engine, cylinder) for cylinder in engine.cylinder]
    cycle = 0.5 * engine.strokes * TURN
    firing = _firing_angles(engine, cylinders, cycle)
    fired = tuple(ResolvedCylinder(**vars(c) | {"firing": angle}) for c, angle in zip(cylinders, firing, strict=True))
    return Layout(fired, cycle, engine_axes(engine), np.array(engine.origin), _throws(fired))


def engine_axes(engine: Engine) -> np.ndarray:
    """Engine axes x (crank), y, z (reference direction) as the columns of a rotation matrix (3, 3)."""
    size = math.hypot(*engine.crank_direction)
    x = np.array([part / size for part in engine.crank_direction])
    z = np.array(engine.reference_direction) - (x @ engine.reference_direction) * x
    z /= math.sqrt(z @ z)
    y = (z[1] * x[2] - z[2] * x[1], z[2] * x[0] - z[0] * x[2], z[0] * x[1] - z[1] * x[0])  # z × x
    return np.array([x, y, z]).T


def _resolve(engine: Engine, cylinder: Cylinder) -> ResolvedCylinder:
    piston, rod = cylinder.piston or engine.piston, cylinder.rod or engine.rod
    return ResolvedCylinder(
        name=cylinder.name,
        bank=cylinder.bank,
        pin=cylinder.pin,
        at=cylinder.at,
        offset=cylinder.piston_pin_offset,
        radius=0.5 * (cylinder.stroke or engine.stroke),
        rod_length=cylinder.rod_length or engine.rod_length,
        bore=cylinder.bore or engine.bore,
        compression_ratio=cylinder.compression_ratio or engine.compression_ratio,
        piston_mass=piston.mass,
        rod_mass=rod.mass,
        rod_centre=rod.centre_of_mass,
        rod_inertia=rod.inertia,
        fuelling=cylinder.fuelling,
        burn_shift=cylinder.burn_shift,
    )


def _firing_angles(engine: Engine, cylinders: list[ResolvedCylinder], cycle: float) -> list[float]:
    """Crank angle of each cylinder's firing top dead centre; from the order, or as given on the cylinder."""
    angles = [cylinder.top_angle for cylinder in cylinders]
    by_name = {cylinder.name: index for index, cylinder in enumerate(cylinders)}
    problems: list[str] = []
    given = {
        index: _given_angle(cylinder, cylinders[index], problems)
        for index, cylinder in enumerate(engine.cylinder)
        if cylinder.fires_at is not None
    }
    if problems:
        raise InputError(problems)
    previous = None
    for name in engine.firing_order:
        index = by_name[name]
        if index in given:
            angles[index] = given[index]
        elif previous is not None:
            turns = math.floor((previous - angles[index]) / TURN + 1e-9) + 1
            angles[index] += max(turns, 0) * TURN
        previous = angles[index]
    if engine.firing_order and previous is not None:
        first = angles[by_name[engine.firing_order[0]]]
        if previous - first > cycle - 1e-9:
            raise InputError(
                f"engine.firing_order: got {list(engine.firing_order)}; takes {math.degrees(previous - first):.0f} deg "
                f"from first to last firing, must close within one cycle of {math.degrees(cycle):.0f} deg"
            )
    return [given.get(index, angle) for index, angle in enumerate(angles)]


def _given_angle(cylinder: Cylinder, resolved: ResolvedCylinder, problems: list[str]) -> float:
    assert cylinder.fires_at is not None
    turns = round((cylinder.fires_at - resolved.top_angle) / TURN)
    nearest = resolved.top_angle + turns * TURN
    if abs(cylinder.fires_at - nearest) > math.radians(0.5):
        problems.append(
            f"engine.cylinder ('{cylinder.name}').fires_at_deg: got {math.degrees(cylinder.fires_at):g}; must be a top "
            f"dead centre, the nearest is {math.degrees(nearest):g} deg"
        )
    return nearest


def _throws(cylinders: tuple[ResolvedCylinder, ...]) -> tuple[tuple[int, ...], ...]:
    """Group cylinders that share a crankpin.

    Derived from the drawing: same pin angle and throw radius, different banks, and side by side on the pin, that is
    within half a bore along the crank. Cylinders of one bank cannot share a place, so each has its own throw.
    """
    order = sorted(range(len(cylinders)), key=lambda index: cylinders[index].at)
    throws: list[list[int]] = []
    for index in order:
        home = next((throw for throw in throws if _share_pin(cylinders, throw, index)), None)
        if home is None:
            throws.append([index])
        else:
            home.append(index)
    return tuple(tuple(throw) for throw in throws)


def _share_pin(cylinders: tuple[ResolvedCylinder, ...], throw: list[int], index: int) -> bool:
    first, other = cylinders[throw[0]], cylinders[index]
    return (
        abs(math.remainder(first.pin - other.pin, TURN)) < 1e-9
        and abs(first.radius - other.radius) < 1e-12
        and abs(first.at - other.at) <= 0.5 * min(first.bore, other.bore)
        and all(abs(math.remainder(cylinders[member].bank - other.bank, TURN)) > 1e-9 for member in throw)
    )
