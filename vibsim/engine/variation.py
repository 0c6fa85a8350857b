"""Cycles that differ: series of indicated mean pressure over its mean, and the shares of burning that give them.

With pressure = unfired + share·(fired − unfired) work is linear in the share, so the gross indicated mean pressure of a
cycle is U + share·(F − U), F that of the fired and U that of the unfired cycle: share = 1 + (x − 1)·F/(F − U) gives x
times F (derived). Gross is over compression and expansion, in a two-stroke the whole cycle; a share changes before and
after that, in a two-stroke about bottom dead centre, where next to no work is done. Unfired is a cylinder that never
fires, without the burnt gas that one before would leave it. Friction stays that of the plain cycle.
"""

from __future__ import annotations

import math

import numpy as np

from vibsim.engine.layout import Layout
from vibsim.engine.packed_gas import BLEND, Gas, cylinder_pressures
from vibsim.engine.volume import cylinder_volume
from vibsim.inputs.errors import InputError
from vibsim.inputs.variation_models import Misfire, Variation

LEAD = 2  # cycles that are under way, or may be, as a run starts
GAUSS = np.polynomial.legendre.leggauss(4)  # exact for a cubic times a slope all but straight in a segment
LAGS = 400  # summed over; correlations of at most 0.95 have died away by then


def underlying_correlation(variation: Variation) -> float:
    """Lag-one correlation of the normal series below.

    Lognormal x = exp(σ·z − σ²/2), σ² = ln(1 + c²), has the correlation (exp(σ²·ρ) − 1)/(exp(σ²) − 1) where z has ρ
    (Aitchison & Brown 1957, from memory), which is solved for ρ.
    """
    if variation.distribution == "normal":
        return variation.lag_correlation
    square = variation.coefficient_of_variation**2
    return math.log1p(variation.lag_correlation * square) / math.log1p(square)


def relative_series(variation: Variation, cycles: int, cylinders: int) -> np.ndarray:
    """Gross indicated mean pressure over its mean (cycles, cylinders); each cylinder varies for itself.

    A stationary first-order autoregression z' = ρ·z + √(1 − ρ²)·ε of normal numbers (Box & Jenkins, from memory), from
    PCG64 with the seed, row by row: a longer series begins with the shorter.
    """
    from scipy.signal import lfilter  # loading it takes a second

    rho = underlying_correlation(variation)
    noise = np.random.default_rng(variation.seed).standard_normal((cycles, cylinders))
    noise[1:] *= math.sqrt(1.0 - rho**2)
    z, spread = lfilter([1.0], [1.0, -rho], noise, axis=0), variation.coefficient_of_variation
    if variation.distribution == "normal":
        return 1.0 + spread * z
    sigma = math.sqrt(math.log1p(spread**2))
    return np.exp(sigma * z - 0.5 * sigma**2)


def found_variation(relative: np.ndarray) -> float:
    """Coefficient of variation of a sample, any shape."""
    return float(relative.std(ddof=1) / relative.mean())


def variation_scatter(variation: Variation, cycles: int, cylinders: int) -> float:
    """Standard deviation of `found_variation` over samples of so many cycles, for large samples.

    Derived by the delta method from the covariances of (x, x²) with (x', x'²) summed over all lags.
    """
    c = variation.coefficient_of_variation
    rho = underlying_correlation(variation) ** np.arange(LAGS)
    if variation.distribution == "normal":
        both = [c**2 * rho, 2.0 * c**2 * rho, 4.0 * c**2 * rho + 2.0 * c**4 * rho**2]
    else:
        s = math.log1p(c**2)
        both = [np.expm1(s * rho), (1 + c**2) * np.expm1(2 * s * rho), (1 + c**2) ** 2 * np.expm1(4 * s * rho)]
    first, cross, second = (2.0 * terms.sum() - terms[0] for terms in both)
    by_mean, by_square = -(1.0 + c**2) / c, 0.5 / c
    variance = by_mean**2 * first + 2.0 * by_mean * by_square * cross + by_square**2 * second
    return math.sqrt(variance / (cycles * cylinders))


def burning_pattern(misfire: Misfire, names: list[str]) -> np.ndarray:
    """1 where a cycle burns, 0 where it misfires (cycles of the pattern, cylinders)."""
    burns = np.array(misfire.burns, dtype=float)[:, None]
    return np.where([name in misfire.cylinders for name in names], burns, 1.0)


def gross_works(gas: Gas, layout: Layout, speed: float) -> np.ndarray:
    """Work of compression and expansion (2, cylinders), J: fired, and unfired; the gas has unfired partners."""
    plain = gas._replace(shares=np.zeros((0, 0)))
    rows = [plain, plain._replace(coefficients=gas.unfired)]
    works = np.zeros((2, len(layout.cylinders)))
    for i, cylinder in enumerate(layout.cylinders):
        breaks = gas.breaks[gas.charges["curve"][i]]
        breaks = np.unique(np.concatenate([breaks[np.isfinite(breaks)], [math.pi, gas.cycle - math.pi]]))
        half, middle = 0.5 * np.diff(breaks), 0.5 * (breaks[1:] + breaks[:-1])
        gross = (middle < math.pi) | (middle > gas.cycle - math.pi)
        angle = (middle[gross, None] + half[gross, None] * GAUSS[0]).ravel()
        weight = (half[gross, None] * GAUSS[1]).ravel() * cylinder_volume(cylinder, angle)[1]
        works[:, i] = [weight @ cylinder_pressures(cylinder.firing + angle, speed, row)[:, i] for row in rows]
    return works


def shares_of(relative: np.ndarray, gas: Gas, layout: Layout, speed: float) -> np.ndarray:
    """Shares of burning (cycles, cylinders) for gross indicated mean pressures over those of the plain cycle.

    Raises InputError where a cylinder does no work, or a cycle would have to burn less than nothing.
    """
    fired, unfired = gross_works(gas, layout, speed)
    for cylinder, work in zip(layout.cylinders, fired, strict=True):
        if not work > 0.0:
            raise InputError(f"run.variation: cylinder '{cylinder.name}' does no gross work, which could vary")
    shares = 1.0 + (relative - 1.0) * fired / (fired - unfired)
    if shares.min() < 0.0:
        raise InputError(
            f"run.variation.coefficient_of_variation: in cycle {int(shares.min(axis=1).argmin()) + 1} of the normal "
            'series less than nothing would burn; allowed: a smaller one, or distribution = "lognormal"'
        )
    return shares


def with_shares(gas: Gas, shares: np.ndarray, lead: int = 0) -> Gas:
    """The gas with shares (cycles, cylinders) in force; `lead` of the rows stand for cycles before the first.

    A cylinder's first cycle begins at its first dead centre of gas exchange after crank angle zero, half a cycle before
    a firing, with all of the passage to it.
    """
    charges = gas.charges.copy()
    before = 0.5 - charges["firing"] / gas.cycle
    charges["begins"] = charges["firing"] + (np.ceil(before + BLEND) - 0.5 - lead) * gas.cycle
    return gas._replace(charges=charges, shares=np.ascontiguousarray(shares, dtype=float))


def whole_cycles(gas: Gas, angle: float, lead: int) -> int:
    """Cycles that every cylinder has been through, from its first, at a crank angle (rad)."""
    return max(int(np.floor((angle - gas.charges["begins"]) / gas.cycle).min()) - lead, 0)
