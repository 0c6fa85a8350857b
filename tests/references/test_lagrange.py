"""Equations of motion derived a second way: Lagrange's equations with sympy (derived).

A two-cylinder engine on a mounted block. Coordinates q: displacement of the block's centre of mass (X, Y, Z), Euler
angles (turns about fixed X, then Y, then Z), crank angle. Every velocity is the time derivative of a place, so neither
mass sums nor angular momenta enter. The rod is its centre of mass plus a slender inertia; an eccentric is the limit
m → ∞, ρ → 0 with m·ρ = u of +m on a radius ρ and −m on the axis: ½m(|v + ρw|² − |v|²) tends to u·v·w.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import pytest
import sympy as sp

from tests import cases
from vibsim.inputs.models import BalanceShaft, Case, Counterweight, Cylinder, Engine, Sensor
from vibsim.inputs.mount_models import ThreeAxisMount
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.observe import observe
from vibsim.solver.packed import Packed
from vibsim.structure.rotation import quaternion_of_matrix

GRAVITY = 9.80665  # m/s²
X, Y, Z, ROLL, PITCH, YAW, THETA = Q = sp.symbols("X Y Z roll pitch yaw theta", real=True)
QD = sp.symbols("Xd Yd Zd rolld pitchd yawd thetad", real=True)
PLACE = sp.Matrix([X, Y, Z])
TURN = sp.rot_ccw_axis3(YAW) * sp.rot_ccw_axis2(PITCH) * sp.rot_ccw_axis1(ROLL)

Expression = sp.Expr


def rate(vector: sp.Matrix) -> sp.Matrix:
    """Time derivative of a vector of coordinates."""
    return vector.jacobian(Q) * sp.Matrix(QD)


def square(vector: sp.Matrix) -> Expression:
    return vector.dot(vector)


class Frame:
    """Engine axes in the block: turns vectors and places from them to the vehicle's."""

    def __init__(self, engine: Engine, centre: tuple[float, ...]):
        x = np.array(engine.crank_direction) / np.linalg.norm(engine.crank_direction)
        z = np.array(engine.reference_direction) - x * (x @ np.array(engine.reference_direction))
        z /= np.linalg.norm(z)
        self.axes = sp.Matrix(np.column_stack([x, np.cross(z, x), z]))
        self.origin = sp.Matrix(np.subtract(engine.origin, centre))

    def vector(self, *own: Expression | float) -> sp.Matrix:
        return TURN * (self.axes * sp.Matrix(own))

    def place(self, *own: Expression | float) -> sp.Matrix:
        return PLACE + TURN * (self.origin + self.axes * sp.Matrix(own))


def pointing(angle: Expression | float) -> tuple[Expression, Expression]:
    """y and z of the unit vector at an angle from the reference direction, positive with the crank's rotation."""
    return -sp.sin(angle), sp.cos(angle)


def cylinder_energies(frame: Frame, engine: Engine, cylinder: Cylinder) -> tuple[Expression, Expression]:
    """Kinetic and potential energy of piston and rod."""
    piston, rod = cylinder.piston or engine.piston, cylinder.rod or engine.rod
    length, radius = cylinder.rod_length or engine.rod_length, 0.5 * (cylinder.stroke or engine.stroke)
    pin = sp.Matrix([radius * part for part in pointing(THETA + cylinder.pin)])
    along = sp.Matrix(pointing(cylinder.bank))
    across = sp.Matrix(pointing(cylinder.bank + 0.5 * np.pi))
    lateral = cylinder.piston_pin_offset - pin.dot(across)  # of the wrist pin from the crankpin
    wrist = (pin.dot(along) + sp.sqrt(length**2 - lateral**2)) * along + cylinder.piston_pin_offset * across
    middle = pin + (wrist - pin) * (rod.centre_of_mass / length)
    piston_place, rod_place = frame.place(cylinder.at, *wrist), frame.place(cylinder.at, *middle)
    direction = frame.vector(0, *((wrist - pin) / length))
    kinetic = piston.mass * square(rate(piston_place)) + rod.mass * square(rate(rod_place))
    kinetic += rod.inertia * square(rate(direction))
    return kinetic / 2, GRAVITY * (piston.mass * piston_place[2] + rod.mass * rod_place[2])


def eccentric_energies(frame: Frame, part: Counterweight | BalanceShaft) -> tuple[Expression, Expression]:
    """Kinetic and potential energy of a counterweight's or balance shaft's unbalance."""
    ratio, axis = (part.ratio, part.position) if isinstance(part, BalanceShaft) else (1.0, (0.0, 0.0))
    arm = frame.vector(0, *pointing(ratio * THETA + part.angle))
    return part.unbalance * rate(frame.place(part.at, *axis)).dot(rate(arm)), GRAVITY * part.unbalance * arm[2]


def spin() -> sp.Matrix:
    """Angular velocity in the block's drawn axes, from the skew matrix Rᵀ·Ṙ."""
    turning = sp.zeros(3, 3)
    for coordinate, coordinate_rate in zip(Q, QD, strict=True):
        turning += TURN.diff(coordinate) * coordinate_rate
    skew = TURN.T * turning
    return sp.Matrix([skew[2, 1], skew[0, 2], skew[1, 0]])


def mount_potential(mount: ThreeAxisMount, centre: tuple[float, ...]) -> Expression:
    """½·Σ k·d² in the mount's axes, which turn with the first of its two bodies; the other one is the ground."""
    held, drawn = sp.Matrix(mount.at), sp.Matrix(centre)
    moving = drawn + PLACE + TURN * (held - drawn)
    deflection = moving - held if mount.between[0] == "ground" else TURN.T * (held - moving)
    roll, pitch, yaw = mount.axes
    own = sp.rot_ccw_axis3(yaw) * sp.rot_ccw_axis2(pitch) * sp.rot_ccw_axis1(roll)
    return sum(k * part**2 for k, part in zip(mount.stiffness, own.T * deflection, strict=True)) / 2


def energies(case: Case) -> tuple[Expression, Expression]:
    """Kinetic and potential energy of block, crank train and mounts; no gas, friction or load."""
    engine, body = case.engine, case.body[0]
    assert engine is not None and body.moving_parts == "separate"
    frame, omega = Frame(engine, body.centre_of_mass), spin()
    xx, yy, zz, xy, xz, yz = body.inertia
    inertia = sp.Matrix([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]])
    kinetic = (body.mass * square(rate(PLACE)) + (omega.T * inertia * omega)[0]) / 2
    about_crank = omega.dot(frame.axes[:, 0])
    kinetic += engine.crank.inertia * (QD[6] + about_crank) ** 2 / 2
    kinetic += sum(shaft.inertia * (shaft.ratio * QD[6] + about_crank) ** 2 for shaft in engine.balance_shaft) / 2
    potential = GRAVITY * body.mass * Z + sum(mount_potential(mount, body.centre_of_mass) for mount in case.mount)
    parts = [cylinder_energies(frame, engine, cylinder) for cylinder in engine.cylinder]
    parts += [eccentric_energies(frame, part) for part in (*engine.crank.counterweight, *engine.balance_shaft)]
    return kinetic + sum(part[0] for part in parts), potential + sum(part[1] for part in parts)


@cache
def twin() -> tuple[Case, Packed]:
    """Two unlike cylinders on a tilted crank, one counterweight, one balance shaft, two mounts on a lone block."""
    raw: dict[str, Any] = cases.skewed()
    engine, body = raw["engine"], raw["body"][0]
    engine["cylinder"] = engine["cylinder"][:2]
    engine["cylinder"][0]["piston"] = {"mass_g": 410.0}
    engine["cylinder"][1]["rod"] = {"mass_g": 290.0, "centre_of_mass_mm": 31.0, "inertia_kg_mm2": 420.0}
    engine["balance_shaft"] = engine["balance_shaft"][:1]
    body["moving_parts"] = "separate"
    body["inertia_kg_m2"] = [1.5, 1.2, 1.4, 0.05, -0.08, 0.1]
    raw["mount"] = [
        cases.mount(
            "left", between=["ground", "powertrain"], at_mm=[100.0, 150.0, -30.0], axes_deg=[10.0, 20.0, -30.0]
        ),
        cases.mount("right", between=["powertrain", "ground"], at_mm=[-80.0, -60.0, 90.0], axes_deg=[-5.0, 15.0, 40.0]),
    ]
    raw["run"]["gravity"] = True
    return cases.packed(raw)


@cache
def lagrange() -> tuple[Callable, Callable]:
    """Functions of (q, q̇): (∂T/∂q̇, turn from drawn, ω = E·(angle rates), E, Ė·(angle rates)) and q̈."""
    kinetic, potential = energies(twin()[0])
    momenta = sp.Matrix([kinetic.diff(speed) for speed in QD])
    force = sp.Matrix([(kinetic - potential).diff(coordinate) for coordinate in Q])
    parts = sp.lambdify([Q, QD], [momenta.jacobian(QD), momenta.jacobian(Q), force], cse=True)
    turning = [TURN, spin(), spin().jacobian(QD[3:6]), rate(spin())]
    motion = sp.lambdify([Q, QD], [momenta, *turning], cse=True)

    def accelerations(q: np.ndarray, qd: np.ndarray) -> np.ndarray:
        mass, drift, push = (np.array(part, dtype=float) for part in parts(q, qd))
        return np.linalg.solve(mass, push[:, 0] - drift @ qd)

    return motion, accelerations


class Motion:
    """A random state in both descriptions: q and q̇, and the solver's state with momenta from ∂T/∂q̇."""

    def __init__(self, seed: int):
        draw, packed = np.random.default_rng(seed).uniform, twin()[1]
        # centimetres, half a radian, any crank angle; m/s, rad/s, a crank at up to 600 rad/s either way
        self.q = np.concatenate([draw(-0.02, 0.02, 3), draw(-0.5, 0.5, 3), draw(0.0, 12.0, 1)])
        self.qd = np.concatenate([draw(-2.0, 2.0, 3), draw(-5.0, 5.0, 3), draw(-600.0, 600.0, 1)])
        momenta, turn, omega, rates, extra = (np.array(part, dtype=float) for part in lagrange()[0](self.q, self.qd))
        self.qdd = lagrange()[1](self.q, self.qd)
        self.turn, self.omega = turn, omega[:, 0]
        self.spin_rate = rates @ self.qdd[3:6] + extra[:, 0]
        own, axes = turn @ packed.axes[0], packed.axes[0]
        # virtual work: Eᵀ·L is the momentum of the angle rates, with ω = E·(angle rates)
        push, moment = own.T @ momenta[:3, 0], axes.T @ np.linalg.solve(rates.T, momenta[3:6, 0])
        place = packed.centres[0] + self.q[:3]
        self.state = np.concatenate([place, quaternion_of_matrix(own), push, moment, [self.q[6], momenta[6, 0]]])

    def acceleration_of(self, arm: np.ndarray) -> np.ndarray:
        """Of a point of the block, `arm` (3, m) from its centre of mass as drawn."""
        turning = np.cross(self.spin_rate, arm) + np.cross(self.omega, np.cross(self.omega, arm))
        return self.qdd[:3] + self.turn @ turning


@pytest.fixture(scope="module", params=range(6))
def moving(request: pytest.FixtureRequest) -> Motion:
    return Motion(request.param)


# Both sides are exact formulas. What is left is rounding, magnified by a mass matrix whose condition is 1e3 to 1e4.
TOLERANCE = 1e-10


def off_by(found: np.ndarray | float, expected: np.ndarray | float) -> float:
    """Largest difference as a share of the expected vector's length."""
    return float(np.linalg.norm(np.subtract(found, expected)) / np.linalg.norm(expected))


def test_velocities_follow_from_momenta(moving: Motion) -> None:
    """The solver's rates of place and crank angle at momenta ∂T/∂q̇ are q̇. Source: derived (Lagrange)."""
    packed = twin()[1]
    out, work = np.zeros(packed.state_size), scratch(1)
    derivatives(moving.state, packed.model, *work, out)
    assert off_by(out[:3], moving.qd[:3]) < TOLERANCE
    assert off_by(out[-2], moving.qd[6]) < TOLERANCE


@pytest.mark.parametrize("arm", [(0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)])
def test_block_accelerates_as_lagrange_says(moving: Motion, arm: tuple[float, float, float]) -> None:
    """Acceleration of the centre of mass and of points 1 m from it, which gives ω̇. Source: derived (Lagrange)."""
    packed = twin()[1]
    sensor = Sensor(name="point", body="powertrain", at=tuple(packed.centres[0] + arm))
    seen = observe(moving.state[None], packed, (sensor,))
    expected = moving.acceleration_of(np.array(arm))
    assert off_by(seen.sensor_acceleration[0, 0], expected) < TOLERANCE
    assert off_by(seen.body_acceleration[0, 0], moving.qdd[:3]) < TOLERANCE


def test_crank_accelerates_as_lagrange_says(moving: Motion) -> None:
    """Inertia torque, which with no gas, friction and load is I·φ̈ + (Σ I·ratio)·ω̇ₓ. Source: derived (Lagrange)."""
    case, packed = twin()
    assert case.engine is not None
    shaft, inertia = case.engine.balance_shaft[0], case.engine.crank.inertia
    felt, carried = inertia + shaft.inertia * shaft.ratio**2, inertia + shaft.inertia * shaft.ratio
    expected = felt * moving.qdd[6] + carried * float(packed.axes[0][:, 0] @ moving.spin_rate)
    assert off_by(observe(moving.state[None], packed, ()).inertia_torque[0], expected) < TOLERANCE
