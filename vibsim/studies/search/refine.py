"""From a layout of the grid to the best one near it, off the grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.engine.firing import intervals_of, most_even_firing
from vibsim.engine.leftover import Yardstick, after_counterweights, measure, phasors_of
from vibsim.engine.package import wrapped
from vibsim.studies.search.space import Space

STEP = 1e-6  # rad, of the derivatives
SMOOTH = 1e-5  # below this a size is taken as round at its bottom, F and so on
ROUNDS = 60
NO_LIMIT = 1e6  # of any value; the method takes no infinite ones


@dataclass(frozen=True)
class Nearby:
    """The angles that may vary about a layout: the one between banks if `with_bank`, then each pin but the first,
    absolute or from its lead. `start`, `low`, `high` (n) rad; `fired` (cylinders) rad when each fires at the start."""

    space: Space
    yard: Yardstick
    with_bank: bool
    start: np.ndarray
    low: np.ndarray
    high: np.ndarray
    fired: np.ndarray

    def angles(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Banks and pins (..., cylinders) at angles x (..., n)."""
        shape = x.shape[:-1]
        bank = x[..., 0] if self.with_bank else np.full(shape, self.space.drawn_bank)
        pins = np.empty((*shape, len(self.yard.top)))
        own: list[np.ndarray] = []
        for number, pin in enumerate(self.space.pins):
            if number == 0:
                angle = np.full(shape, self.space.pin_angles[pin.cylinders[0]])
            else:
                angle = x[..., number - (0 if self.with_bank else 1)]
                angle = angle if pin.lead is None else angle + own[pin.lead]
            own.append(angle)
            pins[..., list(pin.cylinders)] = angle[..., None]
        return self.space.bank_angles(bank), pins

    def sizes(self, x: np.ndarray) -> np.ndarray:
        """Force, couple, added mass and every firing interval over the even one (..., 3 + cylinders), firing in the
        order of the start."""
        banks, pins = self.angles(x)
        found = after_counterweights(self.yard, phasors_of(self.yard, banks, pins) + self.yard.shafts)
        smooth = [np.sqrt(value**2 + SMOOTH**2) for value in found]
        start_banks, start_pins = self.angles(self.start)
        fired = self.fired + (banks - start_banks) - (pins - start_pins)
        order, _ = intervals_of(self.fired, self.yard.cycle)
        fired = fired[..., order]
        intervals = np.diff(fired, axis=-1, append=fired[..., :1] + self.yard.cycle)
        even = self.yard.cycle / len(order)
        return np.concatenate([np.stack(smooth, axis=-1), intervals / even], axis=-1)


def nearby(space: Space, yard: Yardstick, bank: float, banks: np.ndarray, pins: np.ndarray) -> Nearby:
    """What may vary about a layout, within a step of the grid."""
    with_bank = space.bank_range is not None
    start, low, high = [], [], []
    if space.bank_range is not None:
        grid = float(np.diff(space.banks).max())
        start.append(bank)
        low.append(max(bank - grid, space.bank_range[0]))
        high.append(min(bank + grid, space.bank_range[1]))
    for pin in space.pins[1:]:
        angle = pins[pin.cylinders[0]]
        reach = np.inf if pin.lead is None else space.splay
        if pin.lead is not None:
            angle = float(wrapped(angle - pins[space.pins[pin.lead].cylinders[0]]))
        start.append(angle)
        low.append(max(angle - space.step, -reach))
        high.append(min(angle + space.step, reach))
    fired = most_even_firing(banks + yard.top - pins, yard.cycle)
    return Nearby(space, yard, with_bank, np.array(start), np.array(low), np.array(high), fired)


def refine(near: Nearby, weights: np.ndarray, most: np.ndarray) -> np.ndarray:
    """Angles (n) that lower Σ weights·values (4) with no value above `most` (4); the start if none are found.

    Sequential quadratic programming; the longest interval is a variable of its own above every interval.
    """
    from scipy.optimize import minimize

    count, cylinders = len(near.start), len(near.fired)
    most = np.minimum(most, NO_LIMIT)
    seen: dict[bytes, tuple[np.ndarray, np.ndarray]] = {}

    def sizes(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Sizes (3 + cylinders) and their derivatives (3 + cylinders, n)."""
        if x.tobytes() not in seen:
            seen.clear()
            many = near.sizes(x + STEP * np.vstack([np.zeros(count), np.eye(count)]))
            seen[x.tobytes()] = many[0], (many[1:] - many[0]).T / STEP
        return seen[x.tobytes()]

    plain, uneven = np.array([0, 1, 3]), 2

    def cost(z: np.ndarray) -> tuple[float, np.ndarray]:
        value, slope = sizes(z[:-1])
        total = float(weights[plain] @ value[:3] + weights[uneven] * z[-1])
        return total, np.append(weights[plain] @ slope[:3], weights[uneven])

    def room(z: np.ndarray) -> np.ndarray:
        value, _ = sizes(z[:-1])
        return np.concatenate([most[plain] - value[:3], [most[uneven] - z[-1]], z[-1] - value[3:]])

    def room_slope(z: np.ndarray) -> np.ndarray:
        _, slope = sizes(z[:-1])
        top = np.column_stack([-slope[:3], np.zeros(3)])
        middle = np.append(np.zeros(count), -1.0)
        return np.vstack([top, middle, np.column_stack([-slope[3:], np.ones(cylinders)])])

    start = np.append(near.start, near.sizes(near.start)[3:].max())
    found = minimize(
        cost,
        start,
        jac=True,
        method="SLSQP",
        bounds=[*zip(near.low, near.high, strict=True), (1.0, None)],
        constraints={"type": "ineq", "fun": room, "jac": room_slope},
        options={"maxiter": ROUNDS, "ftol": 1e-9},
    )
    x = np.clip(found.x[:-1], near.low, near.high)
    return x if np.isfinite(x).all() else near.start


def values_at(near: Nearby, x: np.ndarray) -> np.ndarray:
    """MEASURES (4) at angles x, with the most even firing there."""
    return measure(near.yard, *near.angles(x))
