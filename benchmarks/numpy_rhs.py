"""The equations of motion a second time, in plain NumPy: a check of the jitted ones and the yardstick of their speed.

Derived apart from them. Every moving part enters the carrier's mass matrix through its Jacobian: with V = (v, ω, φ̇) in
the carrier's own axes a point r(φ) moves at G·V, G = [1, −[r]×, r'], and adds m·GᵀG; a direction u(φ) adds J·GᵀG with
G = [0, −[u]×, u']. A rod is its mass at its centre plus a slender rod's inertia on its direction; an eccentric is the
first-order limit U·(G₀ᵀG₁ + G₁ᵀG₀) of a small mass far out; a rotor is I·ggᵀ. A uniform field g pulls on all of it
with M·(g, 0, 0). Then Kirchhoff's equations with (P, L, p) = M·V (Lamb 1932, art. 124, from memory).
"""

from __future__ import annotations

import numpy as np
from scipy.constants import g as STANDARD_GRAVITY
from scipy.spatial.transform import Rotation

from benchmarks.numpy_gas import gas_pressures
from benchmarks.numpy_losses import Friction, accessory_torque
from vibsim.engine.layout import Layout, resolve_layout
from vibsim.inputs.models import Body, Case, Engine, Mount
from vibsim.solver.packed import Packed

AVERAGE_POINTS = 400  # of a revolution; the moving parts are smooth, so their mean converges to rounding
SKEW = np.cross(np.eye(3), np.eye(3)[:, None])  # SKEW[k] is the matrix of the cross product with axis k
ALONG = np.array([1.0, 0.0, 0.0])  # the crank's direction in engine axes


def skew(vectors: np.ndarray) -> np.ndarray:
    """Matrices (..., 3, 3) of the cross product with vectors (..., 3)."""
    return np.tensordot(vectors, SKEW, 1)


def pointing(angles: np.ndarray) -> np.ndarray:
    """Unit vectors (n, 3) in engine axes at crank or bank angles (n), rad: from z towards −y about x."""
    return np.stack([np.zeros_like(angles), -np.sin(angles), np.cos(angles)], axis=-1)


def jacobian(carried: np.ndarray, turned: np.ndarray, rate: np.ndarray) -> np.ndarray:
    """G (3 n, 7) = [carried·1, −[turned]×, rate] of n points or directions; carried (n), the vectors (n, 3)."""
    return np.concatenate([carried[:, None, None] * np.eye(3), -skew(turned), rate[:, :, None]], axis=2).reshape(-1, 7)


class Sliders:
    """Rods and pistons: their share of the carrier's mass matrix, and the pistons' travel by crank angle."""

    def __init__(self, layout: Layout, origin: np.ndarray):
        def numbers(name: str) -> np.ndarray:
            return np.array([getattr(cylinder, name) for cylinder in layout.cylinders])

        self.pin, self.throw, self.length = numbers("pin"), numbers("radius")[:, None], numbers("rod_length")
        self.up, self.side = pointing(numbers("bank")), pointing(numbers("bank") + 0.5 * np.pi)
        self.offset, self.area = numbers("offset"), 0.25 * np.pi * numbers("bore") ** 2
        self.share = (numbers("rod_centre") / self.length)[:, None]
        self.foot = origin + numbers("at")[:, None] * ALONG
        weights = [numbers("rod_mass"), numbers("piston_mass"), numbers("rod_inertia")]
        self.weights = np.repeat(np.concatenate(weights), 3)[:, None]
        self.carried = np.repeat([1.0, 1.0, 0.0], len(layout.cylinders))
        self.still = np.zeros_like(self.carried)

    def travel(self, crankpin: np.ndarray, crankpin1: np.ndarray, crankpin2: np.ndarray) -> tuple:
        """Wrist-pin height s (n) and its first two derivatives by φ, from |wrist pin − crankpin| = rod length.

        Differentiating the constraint: w·(s'·a − c') = 0 and w·(s''·a − c'') + |s'·a − c'|² = 0, w the rod's vector.
        """
        across = self.offset - np.sum(crankpin * self.side, axis=1)
        height = np.sum(crankpin * self.up, axis=1) + np.sqrt(self.length**2 - across**2)
        rod = height[:, None] * self.up + self.offset[:, None] * self.side - crankpin
        lean = np.sum(rod * self.up, axis=1)
        slope = np.sum(rod * crankpin1, axis=1) / lean
        swing = slope[:, None] * self.up - crankpin1
        bend = (np.sum(rod * crankpin2, axis=1) - np.sum(swing * swing, axis=1)) / lean
        return height, slope, bend

    def mass_matrix(self, phi: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """M and dM/dφ (7, 7) of rods and pistons, and the slopes s' (n) of the pistons' travel, m."""
        outward, onward = pointing(phi + self.pin), pointing(phi + self.pin + 0.5 * np.pi)
        c, c1, c2 = self.throw * outward, self.throw * onward, -self.throw * outward
        height, slope, bend = self.travel(c, c1, c2)
        piston = height[:, None] * self.up + self.offset[:, None] * self.side
        piston1, piston2 = slope[:, None] * self.up, bend[:, None] * self.up
        length = self.length[:, None]
        place = [self.foot + c + self.share * (piston - c), self.foot + piston, (piston - c) / length]
        first = np.concatenate([c1 + self.share * (piston1 - c1), piston1, (piston1 - c1) / length])
        second = np.concatenate([c2 + self.share * (piston2 - c2), piston2, (piston2 - c2) / length])
        moves = jacobian(self.carried, np.concatenate(place), first)
        weighted = (self.weights * moves).T
        half = weighted @ jacobian(self.still, first, second)
        return weighted @ moves, half + half.T, slope


class Eccentrics:
    """Counterweights and balance-shaft weights: mass·radius = unbalance as mass and mass·radius² go to zero."""

    def __init__(self, engine: Engine, layout: Layout, origin: np.ndarray):
        rows = throw_rows(engine, layout)
        rows += [(1.0, w.angle, w.at, 0.0, 0.0, w.unbalance) for w in engine.crank.counterweight]
        rows += [(s.ratio, s.angle, s.at, *s.position, s.unbalance) for s in engine.balance_shaft]
        table = np.array(rows, dtype=float).reshape(-1, 6)
        self.ratio, self.angle, self.unbalance = table[:, 0], table[:, 1], np.repeat(table[:, 5], 3)[:, None]
        self.still = np.zeros(len(table))
        self.hub = jacobian(np.ones(len(table)), origin + table[:, 2:5], np.zeros((len(table), 3)))

    def mass_matrix(self, phi: float) -> tuple[np.ndarray, np.ndarray]:
        """M and dM/dφ (7, 7) at crank angle φ."""
        angle, ratio = self.ratio * phi + self.angle, self.ratio[:, None]
        outward, onward = pointing(angle), ratio * pointing(angle + 0.5 * np.pi)
        weighted = (self.unbalance * self.hub).T
        half = weighted @ jacobian(self.still, outward, onward)
        half1 = weighted @ jacobian(self.still, onward, -(ratio**2) * outward)
        return half + half.T, half1 + half1.T


def throw_rows(engine: Engine, layout: Layout) -> list[tuple[float, ...]]:
    """Turns per crank turn, angle, place (3) and unbalance of each throw's own counterweight, opposite its pin."""
    given, throws = engine.crank.unbalance, [[layout.cylinders[i] for i in throw] for throw in layout.throws]
    if given is None:
        return []
    each = given if isinstance(given, tuple) else [given] * len(throws)
    return [
        (1.0, throw[0].pin + np.pi, float(np.mean([member.at for member in throw])), 0.0, 0.0, unbalance)
        for throw, unbalance in zip(throws, each, strict=True)
    ]


class Carrier:
    """The body with the engine: its mass matrix over crank angle, own axes, about the case's centre of mass."""

    def __init__(self, engine: Engine, layout: Layout, body: Body):
        origin = layout.axes.T @ (layout.origin - np.array(body.centre_of_mass))
        self.sliders, self.eccentrics = Sliders(layout, origin), Eccentrics(engine, layout, origin)
        self.fixed = np.zeros((7, 7))
        self.fixed[:3, :3] = body.mass * np.eye(3)
        self.fixed[3:6, 3:6] = layout.axes.T @ inertia(body) @ layout.axes
        if body.moving_parts == "included":
            turn = np.linspace(0.0, 2.0 * np.pi, AVERAGE_POINTS, endpoint=False)
            self.fixed[:6, :6] -= np.mean([self.sliders.mass_matrix(phi)[0][:6, :6] for phi in turn], axis=0)
        geared = [(s.ratio, s.inertia) for s in (*engine.balance_shaft, *engine.accessory)]
        for ratio, axial in [(1.0, engine.crank.inertia), *geared]:
            turns = np.array([0.0, 0.0, 0.0, 1.0, 0.0, 0.0, ratio])
            self.fixed += axial * np.outer(turns, turns)
            if body.moving_parts == "included":  # weighed in already, as if it did not turn in the block
                self.fixed[3, 3] -= axial

    def mass_matrix(self, phi: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """M and dM/dφ (7, 7) at crank angle φ, and the slopes of the pistons' travel (n), m."""
        moving, moving1, slope = self.sliders.mass_matrix(phi)
        weights, weights1 = self.eccentrics.mass_matrix(phi)
        return self.fixed + moving + weights, moving1 + weights1, slope


def inertia(body: Body) -> np.ndarray:
    """Inertia matrix (3, 3) about the centre of mass, vehicle axes."""
    xx, yy, zz, *products = body.inertia
    xy, xz, yz = (-p if body.inertia_products == "integral" else p for p in products)
    return np.array([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]])


class Mounts:
    """All mounts at once; the ground is the last body, at rest at the origin."""

    def __init__(self, mounts: tuple[Mount, ...], names: list[str], centres: np.ndarray, axes: np.ndarray):
        assert all(mount.law in ("linear", "progressive") for mount in mounts)
        bodies = [*names, "ground"]
        self.first = np.array([bodies.index(mount.between[0]) for mount in mounts], dtype=int)
        self.second = np.array([bodies.index(mount.between[1]) for mount in mounts], dtype=int)
        at, self.stiffness, self.damping = (
            np.array([getattr(mount, key) for mount in mounts]).reshape(-1, 3) for key in ("at", "stiffness", "damping")
        )
        self.first_point = rotated(axes[self.first].swapaxes(1, 2), at - centres[self.first])
        self.second_point = rotated(axes[self.second].swapaxes(1, 2), at - centres[self.second])
        drawn = Rotation.from_euler("xyz", [mount.axes for mount in mounts]).as_matrix() if mounts else np.eye(3)
        self.frame = axes[self.first].swapaxes(1, 2) @ drawn
        # cubic over linear stiffness, 1/m²: the tangent doubles where 3·h·d² = 1
        doubling = [getattr(mount, "doubling_deflection", (np.inf, np.inf, np.inf)) for mount in mounts]
        self.hardening = 1.0 / (3.0 * np.array(doubling).reshape(-1, 3) ** 2)

    def loads(self, place: np.ndarray, turn: np.ndarray, velocity: np.ndarray, spin: np.ndarray) -> tuple:
        """Forces and moments about the reference points on bodies and ground, vehicle axes, each (bodies + 1, 3).

        Takes places, own-to-vehicle matrices, velocities and spins in vehicle axes. The rate is the change of the
        deflection seen from the first body, so a rigid turn of both bodies together makes no force.
        """
        a, b = self.first, self.second
        arm_a, arm_b = rotated(turn[a], self.first_point), rotated(turn[b], self.second_point)
        deflection = place[b] + arm_b - place[a] - arm_a
        rate = velocity[b] + np.cross(spin[b], arm_b) - velocity[a] - np.cross(spin[a], arm_a + deflection)
        frame = turn[a] @ self.frame
        d, v = rotated(frame.swapaxes(1, 2), deflection), rotated(frame.swapaxes(1, 2), rate)
        force = rotated(frame, -self.stiffness * (d + self.hardening * d**3) - self.damping * v)
        forces, moments = np.zeros_like(place), np.zeros_like(place)
        np.add.at(forces, b, force)
        np.subtract.at(forces, a, force)
        np.add.at(moments, b, np.cross(arm_b, force))
        np.subtract.at(moments, a, np.cross(arm_a + deflection, force))
        return forces, moments


def rotated(matrices: np.ndarray, vectors: np.ndarray) -> np.ndarray:
    """Matrices (n, 3, 3) times vectors (n, 3)."""
    return (matrices @ vectors[:, :, None])[:, :, 0]


def rotation_matrices(quaternions: np.ndarray) -> np.ndarray:
    """Matrices (n, 3, 3) of quaternions (n, 4): ((w² − u·u)·1 + 2·uuᵀ + 2·w·[u]×) over the squared length."""
    w, u = quaternions[:, :1, None], quaternions[:, 1:]
    dot = np.sum(u * u, axis=1)[:, None, None]
    return ((w * w - dot) * np.eye(3) + 2.0 * u[:, :, None] * u[:, None, :] + 2.0 * w * skew(u)) / (w * w + dot)


def quaternion_rates(quaternions: np.ndarray, spin: np.ndarray) -> np.ndarray:
    """½·q·(0, ω) (n, 4), ω in own axes."""
    w, u = quaternions[:, :1], quaternions[:, 1:]
    return 0.5 * np.concatenate([-np.sum(u * spin, axis=1, keepdims=True), w * spin + np.cross(u, spin)], axis=1)


class EquationsOfMotion:
    """dy/dt of the solver's state vector; callable as f(t, y).

    Everything comes from the case but the gas curves and the coefficients of the load, which a steady run adjusts.
    """

    def __init__(self, packed: Packed, case: Case):
        assert case.engine is not None
        self.gas, self.load = packed.model.gas, packed.model.load
        engine, layout = case.engine, resolve_layout(case.engine)
        names = [body.name for body in case.body]
        centres = np.array([body.centre_of_mass for body in case.body] + [(0.0, 0.0, 0.0)])
        axes = np.array([layout.axes if name == engine.body else np.eye(3) for name in [*names, "ground"]])
        self.index = names.index(engine.body)
        self.reactor = [*names, "ground"].index(engine.load.reacted_by or engine.body)
        self.friction, self.accessories = Friction(engine, layout, self.gas), engine.accessory
        self.carriers = [[*names, "ground"].index(item.reacted_by or engine.body) for item in engine.accessory]
        self.carrier = Carrier(engine, layout, case.body[self.index])
        self.mass = np.array([body.mass for body in case.body])[:, None]
        self.inertia = np.array([inertia(body) for body in case.body])
        self.mounts = Mounts(case.mount, names, centres, axes)
        self.gravity = STANDARD_GRAVITY if case.run is None or case.run.gravity else 0.0
        self.firing = np.array([cylinder.firing for cylinder in layout.cylinders])

    def __call__(self, t: float, y: np.ndarray) -> np.ndarray:
        phi, states = y[-2], y[:-2].reshape(-1, 13)
        momentum, angular = states[:, 7:10], states[:, 10:13]
        matrix, matrix1, slope = self.carrier.mass_matrix(phi)
        velocity, spin = momentum / self.mass, np.linalg.solve(self.inertia, angular[:, :, None])[:, :, 0]
        moving = np.linalg.solve(matrix, np.concatenate([momentum[self.index], angular[self.index], y[-1:]]))
        velocity[self.index], spin[self.index], speed = moving[:3], moving[3:6], moving[6]
        turn = rotation_matrices(states[:, 3:7])
        force, moment, pull = self.loads(states, turn, velocity, spin, speed, matrix)
        out = np.empty_like(y)
        rates = out[:-2].reshape(-1, 13)
        rates[:, :3] = rotated(turn, velocity)
        rates[:, 3:7] = quaternion_rates(states[:, 3:7], spin)
        rates[:, 7:10] = force - np.cross(spin, momentum)
        rates[:, 10:13] = moment - np.cross(spin, angular) - np.cross(velocity, momentum)
        out[-2] = speed
        out[-1] = 0.5 * moving @ matrix1 @ moving + pull + self.crank_torque(phi, speed, slope)
        return out

    def loads(self, states: np.ndarray, turn: np.ndarray, velocity: np.ndarray, spin: np.ndarray, speed, matrix):
        """Forces and moments (bodies, 3 each) in own axes, and the weight's torque on the crank."""
        motion = np.stack([states[:, :3], rotated(turn, velocity), rotated(turn, spin)])
        place, *rates = np.concatenate([motion, np.zeros((3, 1, 3))], axis=1)
        forces, moments = self.mounts.loads(place, np.concatenate([turn, np.eye(3)[None]]), *rates)
        taken = [accessory_torque(item, speed) for item in self.accessories]
        for body, size in [(self.reactor, self.load_torque(speed)), *zip(self.carriers, taken, strict=True)]:
            if body != self.index:
                torque = size * turn[self.index] @ ALONG
                moments[self.index] -= torque
                moments[body] += torque
        force, moment = (rotated(turn.swapaxes(1, 2), part[:-1]) for part in (forces, moments))
        field = -self.gravity * turn[:, 2]
        pull = matrix[:, :3] @ field[self.index]
        field = self.mass * field
        field[self.index] = pull[:3]
        moment[self.index] += pull[3:6]
        return force + field, moment, pull[6]

    def load_torque(self, speed: float) -> float:
        constant, linear, quadratic, dry = self.load
        return constant + linear * speed + quadratic * speed * abs(speed) + dry * np.tanh(speed)

    def crank_torque(self, phi: float, speed: float, slope: np.ndarray) -> float:
        """Gas less friction and load, N m: the gas does work as the volume grows, which it does as s falls."""
        driven = sum(accessory_torque(item, speed) for item in self.accessories)
        loss = self.friction(speed) + driven + self.load_torque(speed)
        over = gas_pressures(phi, speed, self.gas, self.firing) - self.gas.ambient if self.gas.active else 0.0 * slope
        return float(-(over * self.carrier.sliders.area) @ slope) - loss


def right_hand_side(packed: Packed, case: Case) -> EquationsOfMotion:
    """f(t, y) → dy (n) for the state y (n) of `vibsim.solver.motion`; needs a case with an engine."""
    return EquationsOfMotion(packed, case)
