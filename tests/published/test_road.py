"""ISO 8608 roads against the standard's figures: level by class, slope, rms height, density of the vertical speed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.fft import next_fast_len
from scipy.signal import periodogram

from vibsim.inputs.road_models import RoughRoad
from vibsim.structure.road_profiles import isotropic_coherence, random_heights, roughness

# geometric means Gd(n0), 1e-6 m³, from memory; each is √(lower·upper) of the limits in a public list citing
# Agostinacchio et al., Eur. Transp. Res. Rev. 6 (2014)
MEANS = {"A": 16, "B": 64, "C": 256, "D": 1024, "E": 4096, "F": 16384, "G": 65536, "H": 262144}
UPPER = {"A": 32, "B": 128, "C": 512, "D": 2048, "E": 8192, "F": 32768, "G": 131072}
SPAN = 40.0 / 0.011


def _rough(**keys) -> RoughRoad:
    return RoughRoad(profile="iso_8608", **({"road_class": "C"} | keys))


def _points(span: float = SPAN) -> int:
    return next_fast_len(math.ceil(8.0 * 2.83 * span), real=True)


def _density(road: RoughRoad, across=(0.0,)) -> tuple[np.ndarray, np.ndarray]:
    heights = random_heights(road, np.array(across), SPAN, _points())
    n, density = periodogram(heights, _points() / SPAN)
    inside = (n > 0.02) & (n < 2.8)
    return n[inside], density[:, inside]


def test_classes_have_the_geometric_means_of_the_standard():
    for name, mean in MEANS.items():
        assert roughness(_rough(road_class=name), np.array(0.1)) == pytest.approx(1e-6 * mean, rel=1e-12)
        lower = 8.0 if name == "A" else UPPER[chr(ord(name) - 1)]
        if name in UPPER:
            assert math.sqrt(lower * UPPER[name]) == pytest.approx(mean, rel=1e-12)


@pytest.mark.parametrize("name", MEANS)
def test_a_profile_has_the_slope_and_level_of_its_class(name):
    n, density = _density(_rough(road_class=name, seed=ord(name)))
    lines = n.size
    # every line of a Gaussian profile is exponential about its mean: its scatter 1, of the mean of lines 1/√lines
    level = float(np.mean(density * n**2) / 0.1**2)
    assert level == pytest.approx(1e-6 * MEANS[name], rel=4.0 / math.sqrt(lines))
    # log of an exponential scatters by π/√6; least squares of a line through such points
    x = np.log(n) - np.log(n).mean()
    slope = float(x @ np.log(density[0]) / (x @ x))
    assert slope == pytest.approx(-2.0, abs=4.0 * math.pi / math.sqrt(6.0 * (x @ x)))


def test_rms_height_over_the_whole_range_of_wave_numbers():
    # derived: √(256e-6·0.01·(1/0.011 − 1/2.83)) = 15.2257 mm; the mean square of one profile scatters by
    # √(Σp²)/Σp = √(Δn/(3·0.011)) (derived), that of 64 by an eighth of it
    squares = [float(random_heights(_rough(seed=seed), np.zeros(1), SPAN, _points()).var()) for seed in range(64)]
    assert math.sqrt(256e-8 * (1.0 / 0.011 - 1.0 / 2.83)) == pytest.approx(15.2257e-3, rel=1e-5)
    scatter = math.sqrt(1.0 / SPAN / (3.0 * 0.011)) / 8.0
    assert np.mean(squares) == pytest.approx(15.2257e-3**2, rel=4.0 * scatter)


def test_the_density_of_the_vertical_speed_is_flat():
    # (2π)²·Gd(n0)·n0²·v at every frequency: class C at 20 m/s 2.021295e-3 (m/s)²/Hz (derived, f = v·n)
    speed = 20.0
    n, density = _density(_rough(seed=3))
    of_speed = (2.0 * np.pi * n * speed) ** 2 * density[0] / speed
    assert (2.0 * np.pi) ** 2 * 256e-6 * 0.1**2 * speed == pytest.approx(2.021295e-3, rel=1e-6)
    for part in np.array_split(of_speed, 8):
        assert part.mean() == pytest.approx(2.021295e-3, rel=4.0 / math.sqrt(part.size))


def test_tracks_side_by_side_are_as_coherent_as_on_an_isotropic_road():
    apart = 1.3
    n, density = _density(_rough(seed=4), (0.0, apart))
    heights = random_heights(_rough(seed=4), np.array([0.0, apart]), SPAN, _points())
    lines = np.fft.rfft(heights, axis=1)[:, 1:][:, : round(2.8 * SPAN)]
    wave = np.arange(1, lines.shape[1] + 1) / SPAN
    for low, high in ((0.02, 0.05), (0.08, 0.12), (0.2, 0.3), (1.0, 2.0)):
        inside = (wave > low) & (wave < high)
        first, second = lines[:, inside] * wave[inside]
        found = (first * second.conj()).sum().real / (np.linalg.norm(first) * np.linalg.norm(second))
        expected = isotropic_coherence(wave[inside], apart, 2.0).mean()
        assert found == pytest.approx(expected, abs=4.0 / math.sqrt(inside.sum()))
    assert density.shape == (2, n.size)
    # derived by quadrature across: ∫ (k² + q²)^−3/2 cos(q·d) dq over the same at d = 0, for w = 2
    k, q = 2.0 * np.pi * 0.1, np.linspace(0.0, 400.0, 2_000_001)
    plane = (k**2 + q**2) ** -1.5
    across = np.trapezoid(plane * np.cos(q * apart), q) / np.trapezoid(plane, q)
    assert isotropic_coherence(np.array([0.1]), apart, 2.0)[0] == pytest.approx(across, abs=1e-5)


def test_the_same_seed_makes_the_same_road():
    one, same, other = (random_heights(_rough(seed=s), np.array([-0.5, 0.5]), 100.0, _points(100.0)) for s in (7, 7, 8))
    np.testing.assert_array_equal(one, same)
    assert np.abs(one - other).max() > 1e-3
