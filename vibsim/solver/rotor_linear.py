"""Rotors and shafts in the linear model: what they add to the bodies' complex stiffness, how they hand on torques.

Derived, at small motion about steady turning. Angles ε of crank, throws (in their block) and plain rotors (in their
bodies) beside the bodies' displacements x: with R the momentum of the bodies per speed of a part (B = Σ m r×r' of
crank and throws, J·a of a plain rotor about an axis a), J the felt inertias and the twist of the shafts B_x·x + B_ε·ε,

    (D + B_xᵀ·z·B_x)·x + (B_xᵀ·z·B_ε − ω²·R)·ε = f,  (B_εᵀ·z·B_x − ω²·Rᵀ)·x + (B_εᵀ·z·B_ε − ω²·J)·ε = t,

where D holds all parts as if locked in their bodies and z = k + iω·c, each shaft's slope about the mean torque and its
damping in a run, dry friction by the damper that takes as much. ε is eliminated, so that the unknowns stay those of the
bodies.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vibsim.engine.drivetrain import Drivetrain
from vibsim.engine.moving_mass import Train
from vibsim.engine.shaft_law import FRICTION_RATE, ramp_slope
from vibsim.solver.frequency_push import POINTS_PER_TURN, over_cycle
from vibsim.solver.motion import ENGINE
from vibsim.solver.moving_parts import A_, B_
from vibsim.solver.packed import Packed
from vibsim.solver.rotor_motion import Rotors

SLOWEST = 1e-2  # rad/s, taken for 0, where all turn freely


@dataclass(frozen=True, eq=False)
class RotorLinear:
    """`momentum` (unknowns, parts) R, `inertia` (parts) kg m², `on_bodies` (shafts, unknowns) B_x, `on_parts`
    (shafts, parts) B_ε, `stiffness` (shafts) N m/rad, `damping` (shafts) N m s/rad, `viscous` that without `friction`
    (shafts) N m."""

    momentum: np.ndarray
    inertia: np.ndarray
    on_bodies: np.ndarray
    on_parts: np.ndarray
    stiffness: np.ndarray
    damping: np.ndarray
    viscous: np.ndarray
    friction: np.ndarray

    def rubbing(self, speeds: np.ndarray) -> RotorLinear:
        """The same with dry friction as it damps parts that swing at speeds (n, parts) rad/s over a cycle: the damper
        that takes the same power, ∫ F·tanh(v/v₀)·v / ∫ v² (equivalent linearisation; derived)."""
        rate = speeds @ self.on_parts.T
        square = np.maximum(np.mean(rate**2, axis=0), 1e-6 * FRICTION_RATE**2)
        taken = self.friction * np.mean(np.tanh(rate / FRICTION_RATE) * rate, axis=0)
        return replace(self, damping=self.viscous + taken / square)

    def added(self, rate: float) -> np.ndarray:
        """Complex (unknowns, unknowns), added to the D of bodies with all parts locked in them, at a rate (rad/s)."""
        own, across, shafts = self._blocks(rate)
        return np.asarray(
            self.on_bodies.T @ (shafts[:, None] * self.on_bodies) - across @ np.linalg.solve(own, across.T)
        )

    def handed(self, rate: float, torque: np.ndarray) -> np.ndarray:
        """Complex push (unknowns, ...) on the bodies by torques (parts, ...) N m at a rate (rad/s)."""
        own, across, _ = self._blocks(rate)
        return np.asarray(-across @ np.linalg.solve(own, torque))

    def angles_alone(self, rates: np.ndarray, torque: np.ndarray) -> np.ndarray:
        """Complex angles (n, parts) rad under torques (n, parts) N m at rates (n) rad/s, the bodies still."""
        shafts = self.stiffness + 1j * rates[:, None] * self.damping
        own = np.einsum("nl,la,lb->nab", shafts, self.on_parts, self.on_parts, optimize=True)
        own -= rates[:, None, None] ** 2 * np.diag(self.inertia)
        return np.asarray(np.linalg.solve(own, torque[..., None])[..., 0])

    def _blocks(self, rate: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        rate = max(rate, SLOWEST)
        shafts = self.stiffness + 1j * rate * self.damping
        pulled = shafts[:, None] * self.on_parts
        own = self.on_parts.T @ pulled - rate**2 * np.diag(self.inertia)
        return own, self.on_bodies.T @ pulled - rate**2 * self.momentum, shafts


def rotor_linear(packed: Packed, torque: float) -> RotorLinear | None:
    """The rotors of a case about a mean output torque (N m); None of a rigid crank alone."""
    found, rotors = packed.drivetrain, packed.model.rotors
    if found is None or rotors is None:
        return None
    bodies, axes = rotors.parts["body"], axes_of(packed, rotors)
    momentum = np.zeros((packed.unknowns, len(found.parts)))
    for n, part in enumerate(found.parts):
        if part.train is not None:
            momentum[of_body(bodies[n], 0), n] = _mean_momentum(packed, part.train)
        elif bodies[n] >= 0:
            momentum[of_body(bodies[n], 3), n] = part.inertia * axes[n]
    damping = _dampings(found, torque)
    return RotorLinear(
        momentum=momentum,
        inertia=found.inertias,
        on_bodies=_turns_of_bodies(found, bodies, axes, packed.unknowns),
        on_parts=found.incidence,
        stiffness=found.stiffnesses(torque),
        damping=damping,
        viscous=damping,
        friction=np.array([link.friction for link in found.links]),
    )


def of_body(body: int, first: int) -> slice:
    """Unknowns of a body from its `first` on."""
    return slice(6 * int(body) + first, 6 * int(body) + 6)


def axes_of(packed: Packed, rotors: Rotors) -> np.ndarray:
    """Axes (parts, 3) in vehicle axes; those on the ground are packed so."""
    own = np.column_stack([rotors.parts[entry] for entry in ("ax", "ay", "az")])
    turned = [
        along if body < 0 else packed.axes[body] @ along for body, along in zip(rotors.parts["body"], own, strict=True)
    ]
    return np.array(turned)


def _mean_momentum(packed: Packed, train: Train) -> np.ndarray:
    """Momentum and angular momentum (6), vehicle axes, of the engine's body per speed of crank or throw, the mean over
    a turn."""
    rows = part_rows(packed, train, np.linspace(0.0, 2.0 * np.pi, POINTS_PER_TURN, endpoint=False))
    own = packed.axes[packed.model.carrier]
    return np.concatenate([own @ rows[:, at : at + 3].mean(axis=0) for at in (A_, B_)])


def part_rows(packed: Packed, train: Train, angles: np.ndarray) -> np.ndarray:
    """Sums (n, ENGINE) over the moving parts of crank or throw alone at crank angles (n) rad."""
    rows = np.zeros((len(angles), ENGINE))
    model = packed.model._replace(train=train, rotors=None)
    over_cycle(angles, 1.0, model._replace(gas=model.gas._replace(active=False)), rows, np.empty(len(angles)))
    return rows


def _turns_of_bodies(found: Drivetrain, bodies: np.ndarray, axes: np.ndarray, unknowns: int) -> np.ndarray:
    """Twist (shafts, unknowns) by the turns of the bodies that carry a shaft's rotors, about the first one's axis."""
    rows = np.zeros((len(found.links), unknowns))
    for n, link in enumerate(found.links):
        for body, sign in ((bodies[link.first], 1.0), (bodies[link.second], -1.0)):
            if body >= 0:
                rows[n, of_body(body, 3)] += sign * axes[link.first]
    return rows


def _dampings(found: Drivetrain, torque: float) -> np.ndarray:
    """N m s/rad as a run has it, which across lash is none."""
    twists = np.abs(found.mean_twists(torque))
    touch = [
        ramp_slope.py_func(twist - link.law.half_lash, link.law.lash_width) if link.law.half_lash else 1.0
        for link, twist in zip(found.links, twists, strict=True)
    ]
    return np.array([link.run_damping * share for link, share in zip(found.links, touch, strict=True)])
