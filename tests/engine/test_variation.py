"""Series of cycles: mean, variation and correlation are those asked for, and shares give the work they should."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from tests.cases import CONFIGS, single
from vibsim.engine.cycle import solve_cycle
from vibsim.engine.layout import resolve_layout
from vibsim.engine.packed_gas import cylinder_pressures
from vibsim.engine.pressure import Operating, pack_gas
from vibsim.engine.variation import (
    burning_pattern,
    found_variation,
    gross_works,
    relative_series,
    shares_of,
    underlying_correlation,
    variation_scatter,
    with_shares,
)
from vibsim.engine.volume import cylinder_volume
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case
from vibsim.inputs.variation_models import Misfire, Variation

CYCLES = 40_000
GIVEN = [("normal", 0.05, 0.0), ("normal", 0.2, 0.6), ("lognormal", 0.3, 0.5), ("lognormal", 0.4, -0.4)]


def asked(distribution: str, spread: float, lag: float, seed: int = 7) -> Variation:
    words = {"distribution": distribution, "coefficient_of_variation": spread, "lag_correlation": lag, "seed": seed}
    return Variation.model_validate(words)


@pytest.mark.parametrize(("distribution", "spread", "lag"), GIVEN)
def test_series_has_what_was_asked_for(distribution: str, spread: float, lag: float) -> None:
    """Law, within four standard errors of the sample: of the mean c·√((1 + r)/(1 − r)/N) (an autoregression's; the
    lognormal's correlations fall no slower), of the variation as stated, of the correlation at most 3/√N: Bartlett's
    √((1 − r²)/N) is that of normal numbers, a skewed series has more."""
    x = relative_series(asked(distribution, spread, lag), CYCLES, 2)
    samples = x.size
    assert abs(x.mean() - 1.0) < 4.0 * spread * math.sqrt((1.0 + abs(lag)) / (1.0 - abs(lag)) / samples)
    scatter = variation_scatter(asked(distribution, spread, lag), CYCLES, 2)
    assert abs(found_variation(x) - spread) < 4.0 * scatter
    for column in x.T:
        found = np.corrcoef(column[1:], column[:-1])[0, 1]
        assert abs(found - lag) < 4.0 * 3.0 / math.sqrt(CYCLES)
    assert abs(np.corrcoef(x.T)[0, 1]) < 4.0 * (1.0 + abs(lag)) / (1.0 - abs(lag)) / math.sqrt(CYCLES)
    if distribution == "lognormal":
        assert x.min() > 0.0


@pytest.mark.parametrize(("distribution", "spread", "lag"), GIVEN)
def test_expected_scatter_is_that_of_many_samples(distribution: str, spread: float, lag: float) -> None:
    """Reference: 400 samples of 500 cycles; their own scatter is known to 1/√800, 4 % (four of it), and the delta
    method leaves out terms of 1/N."""
    samples = [found_variation(relative_series(asked(distribution, spread, lag, s), 500, 1)) for s in range(400)]
    assert np.std(samples) == pytest.approx(variation_scatter(asked(distribution, spread, lag), 500, 1), rel=0.18)


def test_underlying_correlation_by_quadrature() -> None:
    """Reference: E[x·x'] of two lognormal numbers by SciPy's quadrature over a bivariate normal density."""
    given = asked("lognormal", 0.4, 0.5)
    rho, sigma = underlying_correlation(given), math.sqrt(math.log(1.0 + 0.4**2))
    density = stats.multivariate_normal(cov=[[1.0, rho], [rho, 1.0]]).pdf

    def product(b: float, a: float) -> float:
        return math.exp(sigma * (a + b) - sigma**2) * density((a, b))

    mean, _ = integrate.dblquad(product, -8.0, 8.0, -8.0, 8.0, epsabs=1e-7)
    assert (mean - 1.0) / 0.4**2 == pytest.approx(0.5, abs=1e-5)
    assert rho > 0.5
    spread = stats.lognorm(s=sigma, scale=math.exp(-0.5 * sigma**2))
    assert (spread.mean(), spread.std()) == pytest.approx((1.0, 0.4), rel=1e-12)


def test_seed_makes_the_series_and_a_longer_begins_with_the_shorter() -> None:
    given = asked("lognormal", 0.1, 0.3)
    np.testing.assert_array_equal(relative_series(given, 50, 3)[:20], relative_series(given, 20, 3))
    assert not np.array_equal(relative_series(asked("lognormal", 0.1, 0.3, 8), 20, 3), relative_series(given, 20, 3))


def petrol(**keys):
    raw = single()
    raw["engine"] |= {"gas": {"source": "cycle"}, "strokes": 4} | keys
    engine = build_case(raw).engine
    assert engine is not None
    layout = resolve_layout(engine)
    return engine, layout, pack_gas(engine, layout, [Operating(300.0, 0.5, CONFIGS)], partner=True)


def test_gross_work_is_that_of_the_cycle() -> None:
    """Reference: the cycle sums its own work as it goes, in steps that close its energy to 1e-4 of the fuel's."""
    engine, layout, gas = petrol()
    cycle = solve_cycle(engine, layout.cylinders[0], 300.0, 0.5)
    fired, unfired = gross_works(gas, layout, 300.0)[:, 0]
    assert fired == pytest.approx(cycle.gross_work, abs=3e-4 * cycle.fuel_heat)
    assert unfired < 0.0
    assert unfired == pytest.approx(0.0, abs=0.1 * fired)


@pytest.mark.parametrize("strokes", [4, 2])
def test_work_of_each_cycle_is_that_of_the_series(strokes: int) -> None:
    """Derived: ∮p·dV over compression and expansion, by the trapezoid in steps of 0.1°, whose error is some 1e-6."""
    _, layout, gas = petrol(strokes=strokes)
    relative = relative_series(asked("lognormal", 0.2, 0.0), 12, 1)
    varied = with_shares(gas, shares_of(relative, gas, layout, 300.0))
    fired = gross_works(gas, layout, 300.0)[0, 0]
    angle = np.linspace(-math.pi, math.pi, 3601)
    first = float(varied.charges["begins"][0]) + 0.5 * gas.cycle
    slope = cylinder_volume(layout.cylinders[0], angle)[1]
    for n, wanted in enumerate(relative[:, 0]):
        pressure = cylinder_pressures(first + gas.cycle * n + angle, 300.0, varied)[:, 0]
        assert np.trapezoid(pressure * slope, angle) == pytest.approx(wanted * fired, rel=2e-5)


def test_normal_series_that_would_burn_less_than_nothing_is_refused() -> None:
    _, layout, gas = petrol()
    relative = relative_series(asked("normal", 0.5, 0.0), 500, 1)
    with pytest.raises(InputError, match=r"run.variation.coefficient_of_variation: in cycle \d+ of the normal series"):
        shares_of(relative, gas, layout, 300.0)


def test_pattern_of_misfire() -> None:
    names = ["1", "2", "3"]
    every = burning_pattern(Misfire(cylinder="2", every=3), names)
    np.testing.assert_array_equal(every, [[1, 1, 1], [1, 1, 1], [1, 0, 1]])
    given = burning_pattern(Misfire(cylinder=("1", "3"), pattern=(0, 1)), names)
    np.testing.assert_array_equal(given, [[0, 1, 0], [1, 1, 1]])
