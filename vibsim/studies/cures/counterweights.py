"""Counterweights on the crank: least peak of force or couple over the revolution, or least felt at a sensor."""

from __future__ import annotations

import numpy as np
from scipy.optimize import minimize

from vibsim.inputs.errors import InputError
from vibsim.studies.balance import Balance, outer_planes
from vibsim.studies.cures.goals import Eccentric, Goal, Kind, best_unbalances, eccentric

NO_ARM = 1e-6  # m: a plane this near the middle of the throws has no hold on the couple


def find_counterweights(
    balance: Balance, kind: Kind, planes: np.ndarray, goal: Goal | None = None, most: float | None = None
) -> list[Eccentric]:
    """Counterweights in planes (k) m along the crank, besides those there are; for the kind "sensor" the `goal`, and
    `most` kg m each.

    Two planes or more serve force and couple both; one serves what is asked. Raises InputError if it cannot.
    """
    places = np.column_stack([planes, np.zeros((len(planes), 2))])
    if kind == "sensor":
        assert goal is not None
        found = best_unbalances(goal, [1.0] * len(planes), places, most)
    else:
        found = _least_peak(balance, kind, planes - balance.middle)
    return [eccentric(1.0, unbalance, place) for unbalance, place in zip(found, places, strict=True)]


def _least_peak(balance: Balance, kind: Kind, arms: np.ndarray) -> np.ndarray:
    square = balance.about_crank.speed**2
    centred = balance.about_crank.about(np.array([balance.middle, 0.0, 0.0]))
    force = peak_centre(centred.force, centred.angle, balance.unit)
    couple = peak_centre(centred.couple, centred.angle, balance.couple_unit)
    if len(arms) > 1 and np.ptp(arms) > NO_ARM:
        both = np.array([np.ones(len(arms)), arms])
        return np.linalg.lstsq(both, -np.array([force, couple]) / square, rcond=None)[0]
    if kind == "force":
        return np.full(len(arms), -force / square / len(arms))
    if abs(arms[0]) < NO_ARM:
        raise InputError(
            f"--planes-mm: got {1e3 * (arms[0] + balance.middle):g}; is the middle of the throws, where no "
            "counterweight touches the couple; take another place or two planes"
        )
    return np.full(len(arms), -couple / (square * arms[0]) / len(arms))


def peak_centre(values: np.ndarray, angle: np.ndarray, scale: float) -> complex:
    """What turns with the crank and, taken away, leaves the least peak of complex values (n) over crank angles (n).

    Derived: |v + U·e^{iθ}| = |v·e^{−iθ} + U|, so the best −U is the centre of the smallest circle around v·e^{−iθ}; for
    one order that is its forward phasor. `scale` is what values are measured in.
    """
    points = values * np.exp(-1j * angle) / scale
    middle = complex(points.mean())
    spread = points - middle
    if np.abs(spread).max() < 1e-9:
        return middle * scale

    def slack(x: np.ndarray) -> np.ndarray:
        return x[2] - (spread.real - x[0]) ** 2 - (spread.imag - x[1]) ** 2

    def slope(x: np.ndarray) -> np.ndarray:
        return np.column_stack([2.0 * (spread.real - x[0]), 2.0 * (spread.imag - x[1]), np.ones(len(spread))])

    begin = np.array([0.0, 0.0, float(np.abs(spread).max()) ** 2])
    found = minimize(
        lambda x: x[2],
        begin,
        jac=lambda x: np.array([0.0, 0.0, 1.0]),
        constraints=[{"type": "ineq", "fun": slack, "jac": slope}],
        method="SLSQP",
        options={"ftol": 1e-15, "maxiter": 200},
    ).x
    return (middle + complex(found[0], found[1])) * scale


def default_planes(balance: Balance) -> np.ndarray:
    """The outermost throws, or half a bore to each side of a single one, m along the crank."""
    return np.array(outer_planes(balance.layout, balance.middle))
