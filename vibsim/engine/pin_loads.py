"""Forces of wrist pin, cylinder wall and crankpin at constant speed on a still block, from the exact mechanism.

In the plane of a cylinder a force is a complex number: real part along the cylinder away from the crank, imaginary part
a quarter turn further in the direction of rotation. Turned by the bank angle it is one in engine axes as in `balance`:
real part along the reference direction z, imaginary part along −y. Friction and gravity are left out.

Derived (Newton and Euler): F the gas force, W the force on the piston, u the rod's direction from crankpin to wrist
pin, χ its angle, p̈ the crankpin's acceleration, c̈ = p̈ + g·ü that of the rod's centre of mass at g from the big end.
Piston: W_a = m_p·s̈ + F. Rod about its big end: l·u×W = −(J·χ̈ + m·g·u×c̈), which gives W_c, the thrust on the wall.
Crankpin: −(W + m·c̈).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.engine.kinematics import slider_crank
from vibsim.engine.layout import TURN, Layout
from vibsim.engine.packed_gas import Gas, cylinder_pressures
from vibsim.jit import kernel

POINTS_PER_TURN = 720


@dataclass(frozen=True)
class PinForces:
    """Forces over crank angle, (n, cylinders) complex N.

    `wrist_pin` on the piston in its cylinder's plane, whose part across the cylinder is the thrust on the wall;
    `crankpin` of the rod on its crankpin, engine axes.
    """

    wrist_pin: np.ndarray
    crankpin: np.ndarray

    def __add__(self, other: PinForces) -> PinForces:
        return PinForces(self.wrist_pin + other.wrist_pin, self.crankpin + other.crankpin)

    @property
    def side_thrust(self) -> np.ndarray:
        """Of the piston on the cylinder wall (n, cylinders) N, positive in the direction of rotation."""
        return self.wrist_pin.imag


@dataclass(frozen=True)
class PinLoads:
    """One working cycle at crank angles (n) rad and a speed (rad/s): what the gas does, what inertia does, and both.

    `gas_force` (n, cylinders) N on the piston, towards the crank; `pin_angle` (n, cylinders) rad where each crankpin
    stands.
    """

    angle: np.ndarray
    speed: float
    pin_angle: np.ndarray
    gas_force: np.ndarray
    gas: PinForces
    inertia: PinForces

    @property
    def total(self) -> PinForces:
        return self.gas + self.inertia


@dataclass(frozen=True)
class _Mechanism:
    """Over (n, cylinders), in the cylinder's plane: second derivatives by crank angle of the wrist pin's height and
    the crankpin's place (m), direction of the rod and its second derivative."""

    height2: np.ndarray
    crankpin2: np.ndarray
    rod: np.ndarray
    rod2: np.ndarray


def pin_loads(layout: Layout, gas: Gas, speed: float) -> PinLoads:
    """Forces over one working cycle, 720 points per turn, at a crank speed (rad/s)."""
    points = round(POINTS_PER_TURN * layout.cycle / TURN)
    angle = np.linspace(0.0, layout.cycle, points, endpoint=False)
    gas_force = (cylinder_pressures(angle, speed, gas) - gas.ambient) * _each(layout, "area")
    mechanism = _mechanism(layout, angle)
    return PinLoads(
        angle=angle,
        speed=speed,
        pin_angle=angle[:, None] + _each(layout, "pin"),
        gas_force=gas_force,
        gas=_pin_forces(layout, mechanism, gas_force, 0.0),
        inertia=_pin_forces(layout, mechanism, np.zeros_like(gas_force), speed),
    )


def in_crank_frame(force: np.ndarray, pin_angle: np.ndarray) -> np.ndarray:
    """A force in engine axes as seen from the crank: real part outward along the throw, imaginary part ahead of it."""
    return force * np.exp(-1j * pin_angle)


def _each(layout: Layout, name: str) -> np.ndarray:
    return np.array([getattr(cylinder, name) for cylinder in layout.cylinders])


def _cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Moment about the crank's direction of b at the place a."""
    return (np.conj(a) * b).imag


def _mechanism(layout: Layout, angle: np.ndarray) -> _Mechanism:
    psi = angle[:, None] + _each(layout, "pin") - _each(layout, "bank")
    radius = _each(layout, "radius")
    found = np.empty((5, *psi.shape))
    _sweep(psi, radius, _each(layout, "rod_length"), _each(layout, "offset"), found)
    return _Mechanism(found[0], -radius * np.exp(1j * psi), found[1] + 1j * found[2], found[3] + 1j * found[4])


@kernel
def _sweep(psi, radius, rod_length, offset, out):
    for n in range(psi.shape[0]):
        for i in range(psi.shape[1]):
            cosine, sine = math.cos(psi[n, i]), math.sin(psi[n, i])
            found = slider_crank(cosine, sine, radius[i], rod_length[i], offset[i])
            out[0, n, i] = found[2]
            out[1, n, i], out[2, n, i] = found[3], found[6]
            out[3, n, i], out[4, n, i] = found[5], found[8]


def _pin_forces(layout: Layout, mechanism: _Mechanism, gas_force: np.ndarray, speed: float) -> PinForces:
    """Equilibrium of piston and rod, see the head of this file."""
    square, rod = speed * speed, mechanism.rod
    rod_mass, centre = _each(layout, "rod_mass"), _each(layout, "rod_centre")
    acceleration = square * (mechanism.crankpin2 + centre * mechanism.rod2)
    spin = square * _cross(rod, mechanism.rod2)
    moment = _each(layout, "rod_inertia") * spin + rod_mass * centre * _cross(rod, acceleration)
    along = _each(layout, "piston_mass") * square * mechanism.height2 + gas_force
    across = (rod.imag * along - moment / _each(layout, "rod_length")) / rod.real
    wrist_pin = along + 1j * across
    crankpin = -(wrist_pin + rod_mass * acceleration) * np.exp(1j * _each(layout, "bank"))
    return PinForces(wrist_pin, crankpin)
