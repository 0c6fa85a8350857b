"""Free forces and couples of the crank train at constant speed on a still block, from the exact mechanism.

Forces and couples in the plane across the crank are complex numbers: real part along the reference direction z,
imaginary part a quarter turn further in the direction of rotation (−y). Order n then splits into P·e^{inθ}, which
turns with the crank, and Q·e^{−inθ}, which turns against it; a crank counterweight touches only P of the first order.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np

from vibsim.engine.layout import Layout
from vibsim.engine.moving_mass import Train, moving_mass
from vibsim.jit import kernel

POINTS_PER_TURN = 360
HIGHEST_ORDER = 12.0
MOST_TURNS = 8  # a shaft whose ratio repeats later than this is cut off there


@dataclass(frozen=True)
class FreeForces:
    """Over crank angle (n) rad, on the block, for a crank at `speed` (rad/s), engine axes.

    `force` (n) complex N; `couple` (n) complex N m, Σ x·force about the crank origin: it turns the block about y with
    −Re and about z with −Im; `roll` (n) N m about the crank axis x, with the torque that pistons and rods take from a
    flywheel heavy enough to hold the speed; `torque` (n) N m that pistons and rods put on the crank; `turns` crank
    turns covered.
    """

    angle: np.ndarray
    force: np.ndarray
    couple: np.ndarray
    roll: np.ndarray
    torque: np.ndarray
    speed: float
    turns: int

    def about(self, point: np.ndarray) -> FreeForces:
        """The same forces with couple and roll about another point (3), m, engine axes.

        Derived: M_p = M_0 − p×F; a couple Σ x·f loses x_p·f, the roll loses y_p·F_z − z_p·F_y.
        """
        x, y, z = (float(value) for value in point)
        across, along = -self.force.imag, self.force.real  # F_y, F_z
        roll = self.roll - (y * along - z * across)
        return replace(self, couple=self.couple - x * self.force, roll=roll)


@dataclass(frozen=True)
class Phasors:
    """One order split by sense of rotation: `forward` and `backward` complex amplitudes (n) of a turning vector."""

    order: np.ndarray
    forward: np.ndarray
    backward: np.ndarray

    @property
    def major(self) -> np.ndarray:
        """Long half axis of the ellipse the order draws."""
        return np.abs(self.forward) + np.abs(self.backward)

    @property
    def minor(self) -> np.ndarray:
        """Short half axis, positive when the vector goes round with the crank, negative against it."""
        return np.abs(self.forward) - np.abs(self.backward)

    @property
    def direction(self) -> np.ndarray:
        """Angle (rad) of the long axis from the reference direction, in the direction of rotation, in (−π/2, π/2]."""
        angle = 0.5 * (np.angle(self.forward) + np.angle(self.backward))
        return np.pi / 2.0 - np.mod(np.pi / 2.0 - angle, np.pi)

    def at(self, order: float) -> tuple[complex, complex]:
        """Forward and backward amplitude of an order, 0 if it does not occur."""
        index = int(np.argmin(np.abs(self.order - order)))
        if abs(self.order[index] - order) > 1e-9:
            return 0j, 0j
        return complex(self.forward[index]), complex(self.backward[index])


@kernel
def _sweep(angles, train, force, couple, roll, torque):
    for n in range(angles.size):
        m = moving_mass(angles[n], train)
        force[n] = -(m.z2 - 1j * m.y2)
        couple[n] = -(m.xz2 - 1j * m.xy2)
        roll[n] = 0.5 * m.polar1 - m.spin1
        torque[n] = -0.5 * m.polar1


def free_forces(train: Train, speed: float, turns: int | None = None) -> FreeForces:
    """Free forces over whole crank turns, as many as the balance shafts need to repeat (at most 8).

    Derived: force = −Ω²·d²S/dθ² and moment = −Ω²·dB/dθ of the moving parts' first moment S and angular momentum B per
    unit crank speed; the torque on the crank is −½·Ω²·dC/dθ, whose reaction comes to the roll.
    """
    turns = turns or _turns(train)
    return forces_at(
        train, speed, np.linspace(0.0, 2.0 * math.pi * turns, POINTS_PER_TURN * turns, endpoint=False), turns
    )


def forces_at(train: Train, speed: float, angles: np.ndarray, turns: int = 0) -> FreeForces:
    """Free forces at any crank angles (n), rad; `turns` says how many whole turns they cover evenly, 0 for none."""
    force, couple = np.empty(len(angles), dtype=complex), np.empty(len(angles), dtype=complex)
    roll, torque = np.empty(len(angles)), np.empty(len(angles))
    _sweep(angles, train, force, couple, roll, torque)
    square = speed * speed
    return FreeForces(angles, square * force, square * couple, square * roll, square * torque, speed, turns)


def _turns(train: Train) -> int:
    for turns in range(1, MOST_TURNS):
        steps = train.eccentrics["ratio"] * turns
        if np.all(np.abs(steps - np.round(steps)) < 1e-9):
            return turns
    return MOST_TURNS


def split(values: np.ndarray, turns: int, highest: float = HIGHEST_ORDER) -> Phasors:
    """Forward- and backward-turning phasors per order of complex values (n) over whole crank turns."""
    transform = np.fft.fft(values) / len(values)
    steps = np.arange(1, int(highest * turns) + 1)
    return Phasors(steps / turns, transform[steps], transform[-steps])


@dataclass(frozen=True)
class Conditions:
    """What decides whether counterweights alone can cancel the first order (derived: the backward phasor of the first
    order is half of these sums times r·ω²). kg and kg m, complex; `scale` and `couple_scale` the sums of the sizes.

    `force` = Σ m·e^{i(2·bank − pin)}, `couple` the same weighted with the place along the crank about its mean.
    """

    force: complex
    couple: complex
    scale: float
    couple_scale: float


def cancellation_sums(layout: Layout) -> Conditions:
    """The sums over cylinders, mass taken with its throw so that unlike strokes count right (kg at the first throw)."""
    first = layout.cylinders[0].radius
    mass = np.array([(c.piston_mass + c.small_end_mass) * c.radius / first for c in layout.cylinders])
    turn = np.exp(1j * np.array([2.0 * c.bank - c.pin for c in layout.cylinders]))
    place = np.array([c.at for c in layout.cylinders])
    place = place - np.average(place, weights=mass) if mass.sum() > 0.0 else place
    return Conditions(
        force=complex(np.sum(mass * turn)),
        couple=complex(np.sum(mass * place * turn)),
        scale=float(mass.sum()),
        couple_scale=float(np.sum(mass * np.abs(place))),
    )


def primary_force(layout: Layout, speed: float) -> float:
    """Primary force of one cylinder, N: m_rec·r·ω² of the first cylinder, the unit layouts are compared in."""
    cylinder = layout.cylinders[0]
    return (cylinder.piston_mass + cylinder.small_end_mass) * cylinder.radius * speed**2


def throw_spacing(layout: Layout) -> float:
    """Least distance between neighbouring throws, those of cylinders side by side taken as one, m; 0 for one."""
    half = 0.5 * min(cylinder.bore for cylinder in layout.cylinders)
    groups: list[list[float]] = []
    for at in sorted(cylinder.at for cylinder in layout.cylinders):
        if groups and at - groups[-1][0] <= half:
            groups[-1].append(at)
        else:
            groups.append([at])
    places = [sum(group) / len(group) for group in groups]
    return min((after - before for before, after in itertools.pairwise(places)), default=0.0)


def throw_places(layout: Layout) -> list[float]:
    """Place of each throw along the crank, m: the mean of the cylinders on it."""
    return [sum(layout.cylinders[index].at for index in throw) / len(throw) for throw in layout.throws]


def middle_of_throws(layout: Layout) -> float:
    """Mean place of the throws along the crank, m; couples are taken about it."""
    return sum(throw_places(layout)) / len(layout.throws)
