"""What shall become small, as complex numbers that answer linearly to an unbalance.

An eccentric of complex unbalance U (kg m, angle as its argument) at a ratio ρ pushes with U·(ρΩ)²·e^{iρθ}. For ρ < 0
the goals below take conj(U), so that all they hold turns with e^{i|ρ|θ} and is linear in one number (derived).
"""

from __future__ import annotations

import cmath
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from scipy.optimize import minimize

from vibsim.post.weighting import Contact, axis_weights
from vibsim.solver.order_response import OrderResponse
from vibsim.studies.balance import Balance, value_at

Kind = Literal["force", "couple", "sensor"]
SECOND, THIRD = 1e-3, 1e-5  # weights of what is settled by the freedom the first leaves, moving it by a millionth


@dataclass(frozen=True)
class Eccentric:
    """A counterweight (ratio 1) or shaft: unbalance (kg m), angle (rad) like a pin angle, place (3) m, engine axes."""

    ratio: float
    unbalance: float
    angle: float
    place: tuple[float, float, float]


class Goal(Protocol):
    """Rows of complex numbers to make small, at the order `abs(ratio)` of the eccentrics."""

    @property
    def now(self) -> np.ndarray: ...

    def effect(self, ratio: float, place: np.ndarray) -> np.ndarray: ...


@dataclass(frozen=True)
class FreeGoal:
    """Free force first and couple second, or the other way round; roll about the crank last.

    Rows: force with and against the crank (in one cylinder's primary force), couple the same about mid-throws (in that
    force times the throw spacing), roll (in the same) of inertia and gas on the block.
    """

    balance: Balance
    order: float
    kind: Kind

    @property
    def _scales(self) -> np.ndarray:
        force, couple = (1.0, SECOND) if self.kind == "force" else (SECOND, 1.0)
        arm = self.balance.couple_unit
        return np.array([force, force, couple, couple, THIRD]) / ([self.balance.unit] * 2 + [arm] * 3)

    @property
    def now(self) -> np.ndarray:
        balance = self.balance
        push, against = balance.force.at(self.order)
        turn, turn_against = balance.couple.at(self.order)
        inertia = value_at(balance.roll_order, balance.roll, self.order)
        gas = value_at(balance.gas_order, balance.gas, self.order)
        return self._scales * [push, np.conj(against), turn, np.conj(turn_against), inertia - gas]

    def effect(self, ratio: float, place: np.ndarray) -> np.ndarray:
        size = (ratio * self.balance.about_crank.speed) ** 2
        x, y, z = place[0] - self.balance.middle, place[1], place[2]
        rows = [1.0, 0.0, x, 0.0, y - 1j * z] if ratio > 0.0 else [0.0, 1.0, 0.0, x, y + 1j * z]
        return self._scales * (size * np.array(rows))


@dataclass(frozen=True)
class SensorGoal:
    """Weighted acceleration of one sensor at an order, over one or several speeds; rows: its axes at every speed."""

    responses: tuple[OrderResponse, ...]
    sensor: int
    contact: Contact
    order: float

    @property
    def now(self) -> np.ndarray:
        return np.concatenate([self._felt(response, response.excitation(self.order)) for response in self.responses])

    def effect(self, ratio: float, place: np.ndarray) -> np.ndarray:
        across = 1j if ratio > 0.0 else -1j
        rows = []
        for response in self.responses:
            size = (ratio * response.speed) ** 2
            push = response.arm(place) @ np.array([0.0, across, 1.0]) * size
            rows.append(self._felt(response, push))
        return np.concatenate(rows)

    def _felt(self, response: OrderResponse, push: np.ndarray) -> np.ndarray:
        weights = axis_weights(self.contact, self.order * response.speed / (2.0 * np.pi))
        return weights * response.sensors(self.order, response.displacement(self.order, push))[self.sensor]


def best_unbalances(goal: Goal, ratios: list[float], places: np.ndarray, most: float | None) -> np.ndarray:
    """Complex unbalances (k, kg m) at places (k, 3) that make a goal least squared; each at most `most`.

    Linear least squares, the smallest unbalances where several do; with a limit that binds, a convex programme.
    """
    effect = np.column_stack([goal.effect(ratio, place) for ratio, place in zip(ratios, places, strict=True)])
    now = goal.now
    found = np.linalg.lstsq(effect, -now, rcond=1e-12)[0]
    if most is not None and np.abs(found).max() > most:
        found = _within(effect, now, found, most)
    return np.asarray(np.where(np.array(ratios) < 0.0, np.conj(found), found))


def _within(effect: np.ndarray, now: np.ndarray, start: np.ndarray, most: float) -> np.ndarray:
    scale = float(np.linalg.norm(now))
    first = start * np.minimum(1.0, most / np.maximum(np.abs(start), 1e-300)) / most

    def complex_of(x: np.ndarray) -> np.ndarray:
        return most * (x[: len(start)] + 1j * x[len(start) :])

    def rest(x: np.ndarray) -> float:
        return float(np.sum(np.abs(effect @ complex_of(x) + now) ** 2)) / scale**2

    limit = {"type": "ineq", "fun": lambda x: 1.0 - x[: len(start)] ** 2 - x[len(start) :] ** 2}
    begin = np.concatenate([first.real, first.imag])
    found = complex_of(minimize(rest, begin, method="SLSQP", constraints=[limit], options={"ftol": 1e-14}).x)
    return found * np.minimum(1.0, most / np.maximum(np.abs(found), 1e-300))


def residual(goal: Goal, ratios: list[float], places: np.ndarray, unbalances: np.ndarray) -> float:
    """Root of the sum of squares of a goal with eccentrics added."""
    left = goal.now.astype(complex)
    for ratio, place, unbalance in zip(ratios, places, unbalances, strict=True):
        left = left + goal.effect(ratio, place) * (np.conj(unbalance) if ratio < 0.0 else unbalance)
    return float(np.linalg.norm(left))


def eccentric(ratio: float, unbalance: complex, place: np.ndarray) -> Eccentric:
    """An eccentric from its complex unbalance."""
    return Eccentric(
        ratio, float(abs(unbalance)), cmath.phase(unbalance), (float(place[0]), float(place[1]), float(place[2]))
    )
