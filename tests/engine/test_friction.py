"""Friction laws, peak pressures and oil, against values by hand and against what another pack of the case gives."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_bvp
from scipy.interpolate import CubicHermiteSpline

from tests.cases import packed, single, skewed
from vibsim.engine.friction import friction_at, friction_law, friction_records, friction_torque, peak_pressures
from vibsim.engine.oil import CONDUCTIVITY, DENSITY, VOGEL, film_share, thickening, viscosity
from vibsim.engine.packed_gas import cylinder_pressures
from vibsim.solver.packed import Packed
from vibsim.studies.losses import friction_in_words

RPM = math.pi / 30.0
SWEPT = 0.25 * math.pi * 0.072**2 * 0.0585  # m³
PER_ANGLE = SWEPT / (4.0 * math.pi)


def rubbing(friction: dict[str, Any], **engine: Any) -> Packed:
    raw = single()
    raw["engine"] |= {"friction": friction, **engine}
    return packed(raw)[1]


def coefficients(model: Packed) -> tuple[float, float, float]:
    return friction_at(0.0, model.model.losses, model.model.gas)


def torque_of(model: Packed, speed: float) -> float:
    return float(friction_torque(speed, model.model.losses, model.model.gas))


def test_chen_flynn_by_hand() -> None:
    """Derived: 4000 rpm and a stroke of 58.5 mm make a mean piston speed of 7.8 m/s; no gas, so 1.01325 bar at peak."""
    model = rubbing({"law": "chen_flynn"})
    pressure = 0.4 + 0.005 * 1.01325 + 0.09 * 7.8 + 0.0009 * 7.8**2
    assert pressure == pytest.approx(1.16182225, rel=1e-12)
    # rounding of a few products
    assert torque_of(model, 4000.0 * RPM) == pytest.approx(1e5 * pressure * PER_ANGLE, rel=1e-12)
    assert torque_of(model, -4000.0 * RPM) == pytest.approx(-1e5 * pressure * PER_ANGLE, rel=1e-12)
    assert torque_of(model, 0.0) == 0.0


def test_chen_flynn_defaults_lie_in_the_band_of_the_trade() -> None:
    """Common practice, no source: 0.8 to 2 bar for a petrol engine, here from 1500 to 6000 rpm at a 60 bar peak."""
    for piston in (2.925, 11.7):
        assert 0.8 < 0.4 + 0.005 * 60.0 + 0.09 * piston + 0.0009 * piston**2 < 2.0
    given = rubbing({"law": "chen_flynn", "A_bar": 0.4, "B": 0.005, "C_bar_s_per_m": 0.09, "D_bar_s2_per_m2": 9e-4})
    default = rubbing({"law": "chen_flynn"})
    np.testing.assert_allclose(coefficients(default), coefficients(given), rtol=1e-12)


def test_simple_friction_by_hand() -> None:
    """Derived: a mean effective pressure p does the work p·V over a cycle of 4π."""
    keys = {"torque_N_m": 2.0, "viscous_N_m_s": 0.01, "mean_effective_pressure_bar": 0.7}
    model = rubbing(keys | {"mean_effective_pressure_rise_bar_per_rpm": 1e-4})
    expected = 2.0 + 0.01 * 3000.0 * RPM + (0.7 + 0.3) * 1e5 * PER_ANGLE
    assert torque_of(model, 3000.0 * RPM) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("gas", ["motored", "cycle"])
def test_peak_pressure_is_the_highest_of_each_curve(gas: str) -> None:
    """Reference: the same curves read every 0.001 rad, between which a peak can hide h²/8 times its curvature."""
    raw = skewed()
    raw["engine"] |= {"gas": {"source": gas}, "firing_order": ["1", "2", "3"]}
    raw["engine"]["cylinder"][2]["compression_ratio"] = 9.0
    _, model = packed(raw)
    gases = model.model.gas
    angle = np.arange(0.0, gases.cycle, 1e-3)
    peaks = peak_pressures(gases)
    assert peaks.shape == (gases.nodes.size, 3)
    for speed, found in zip(gases.nodes.speeds, peaks, strict=True):
        read = cylinder_pressures(angle, float(speed), gases).max(axis=0)
        assert np.all(found >= read * (1.0 - 1e-14))
        # p''/p at the peak of a motored curve is n·V''/V, some 20; of a burning one up to 30
        np.testing.assert_allclose(found, read, rtol=30.0 * 1e-6 / 8.0)
    assert np.ptp(peaks[0]) > 1e5


def test_peak_between_the_points_of_a_trace(tmp_path) -> None:
    """Derived: a cosine over the cycle, its top between two points; a spline through 8° is within 1e-6 of it."""
    angle = np.arange(-360.0, 360.0, 8.0) + 4.0
    pressure = 20.0 + 15.0 * np.cos(np.radians(angle) / 2.0)
    rows = [f"{a},{p}" for a, p in zip(angle, pressure, strict=True)]
    path = tmp_path / "trace.csv"
    path.write_text("crank_angle_deg,pressure_bar\n" + "\n".join(rows) + "\n", encoding="utf-8")
    model = rubbing({"law": "chen_flynn"}, gas={"source": "trace", "file": str(path)})
    assert peak_pressures(model.model.gas)[0, 0] == pytest.approx(35e5, rel=1e-6)


def test_peak_pressure_of_a_free_run_follows_the_speed() -> None:
    """Law: at a speed the gas was computed for, friction is that of a case packed at this speed; in between that
    of the cubic through neighbours (reference: SciPy)."""
    raw = single()
    raw["engine"] |= {"gas": {"source": "cycle"}, "friction": {"law": "chen_flynn"}}
    free = packed(raw)[1].model
    raw["run"] |= {"kind": "steady", "speed_rpm": 4500.0}
    steady = packed(raw)[1].model
    gas, speeds = free.gas, free.gas.nodes.speeds
    node = int(np.argmin(np.abs(speeds - 4500.0 * RPM)))
    found = friction_at(4500.0 * RPM, free.losses, gas)
    # the speed of the node and that of the run differ by rounding
    assert found == pytest.approx(friction_at(0.0, steady.losses, steady.gas), rel=1e-9)
    dry = free.losses["dry"][: speeds.size]
    middle = friction_at(0.5 * (speeds[node] + speeds[node + 1]), free.losses, gas)[0]
    between = CubicHermiteSpline(speeds, dry, np.gradient(dry, speeds))(0.5 * (speeds[node] + speeds[node + 1]))
    assert middle == pytest.approx(between, rel=1e-12)
    assert np.ptp(dry) > 1e-3 * dry[0]
    assert friction_at(1e4, free.losses, gas)[0] == dry[-1]
    assert friction_at(0.0, free.losses, gas)[0] == dry[0]


def test_cold_factor_multiplies_friction_at_every_speed() -> None:
    warm, cold = rubbing({"law": "chen_flynn"}), rubbing({"law": "chen_flynn", "cold_factor": 2.5})
    for speed in (20.0, 300.0):
        assert torque_of(cold, speed) == pytest.approx(2.5 * torque_of(warm, speed), rel=1e-14)


def test_cold_oil_thickens_what_rises_with_speed() -> None:
    """Derived from Vogel's equation for 10W-30: at 20 °C √exp(869.72/124.4 − 869.72/194.4) = 3.521."""
    assert thickening("10W-30", 293.15) == pytest.approx(3.521, abs=5e-4)
    assert thickening("10W-30", 363.15) == 1.0
    for keys in ({"law": "chen_flynn"}, {"torque_N_m": 1.0, "viscous_N_m_s": 0.01}):
        warm = coefficients(rubbing(keys))
        cold = coefficients(rubbing(keys | {"oil_temperature_degC": 20.0}))
        assert cold[1] / warm[1] == pytest.approx(thickening("10W-30", 293.15), rel=1e-14)
        assert cold[0] == warm[0]
        assert cold[2] == warm[2]


def test_a_sheared_film_warms_and_thins() -> None:
    """Independent: heat conduction in plane Couette flow solved as a boundary-value problem by SciPy, its stress
    over that of oil at the walls' temperature, x² = Na/8."""
    k, first, second = VOGEL["10W-30"]
    temperature, sliding = 273.15, 6.0
    steepness = first / second**2
    nahme = steepness * DENSITY * k * math.exp(first / second) * sliding**2 / CONDUCTIVITY

    def warming(y, state, parameter):  # θ'' = −δ·e^θ, and the speed over δ-stress: ∫ e^θ dy
        return np.vstack([state[1], -parameter[0] * np.exp(state[0]), np.exp(state[0])])

    def walls(low, high, parameter):  # Na = δ·(∫ e^θ dy)²
        return np.array([low[0], high[0], low[2], nahme - parameter[0] * high[2] ** 2])

    y = np.linspace(0.0, 1.0, 101)
    guess = np.vstack([3.0 * y * (1.0 - y), 3.0 * (1.0 - 2.0 * y), y])
    found = solve_bvp(warming, walls, y, guess, p=[2.0], tol=1e-8, max_nodes=20000)
    assert found.success
    assert film_share("10W-30", temperature, sliding) == pytest.approx(math.sqrt(found.p[0] / nahme), rel=1e-5)
    assert film_share("10W-30", temperature, 0.0) == 1.0


def test_cold_oil_is_less_thick_at_speed() -> None:
    """Warm oil stays the reference at every speed; cold friction rises with speed, but by less than the bulk's."""
    assert thickening("10W-30", 363.15, 8.0) == 1.0
    factors = [thickening("10W-30", 253.15, piston) for piston in (0.0, 0.5, 2.0, 8.0)]
    assert factors[0] == thickening("10W-30", 253.15) > 15.0
    assert factors == sorted(factors, reverse=True)
    assert factors[3] < factors[0] / 3.0
    losses = [piston * factor for piston, factor in zip((0.5, 2.0, 8.0), factors[1:], strict=True)]
    assert losses == sorted(losses)


def test_friction_of_cold_oil_at_several_speeds_is_that_at_each() -> None:
    """One record for each node: at a node the whole is what a record of that speed alone gives."""
    raw = single()
    raw["engine"]["friction"] = {"law": "chen_flynn", "oil_temperature_degC": -10.0}
    case, model = packed(raw)
    speeds = np.array([100.0, 300.0, 600.0])
    peaks = np.full((3, 1), 50e5)
    together = friction_records(case.engine, model.layout, peaks, speeds)
    for speed, record in zip(speeds, together, strict=True):
        alone = friction_records(case.engine, model.layout, peaks[:1], np.array([speed]))[0]
        torques = [friction_law(speed, r["dry"], together["viscous"][0] if r is record else r["viscous"], r["square"])
                   for r in (record, alone)]  # fmt: skip
        assert torques[0] == pytest.approx(torques[1], rel=1e-12)


def test_oils_have_the_viscosity_of_their_grade() -> None:
    """Kinematic viscosity at 100 °C by SAE J300, mm²/s: published, P-, from memory."""
    bands = {"20": (5.6, 9.3), "30": (9.3, 12.5), "40": (12.5, 16.3), "50": (16.3, 21.9)}
    for oil in VOGEL:
        low, high = bands[oil[-2:]]
        assert low < 1e6 * viscosity(oil, 373.15) < high


def test_words_say_what_friction_was_given() -> None:
    cold = {"law": "chen_flynn", "A_bar": 0.3, "oil_temperature_degC": -10.0, "oil": "5W-40"}
    words = friction_in_words(packed_friction(cold), rubbing(cold), 300.0)
    assert "A 0.3 bar" in words
    assert "mean peak pressure 1.0 bar" in words
    assert "5W-40 oil at -10 °C" in words
    assert friction_in_words(packed_friction({}), rubbing({}), 300.0) == "none"
    simple = {"torque_N_m": 1.0, "cold_factor": 2.0}
    assert friction_in_words(packed_friction(simple), rubbing(simple), None) == "torque, cold factor 2"


def packed_friction(friction: dict[str, Any]):
    raw = single()
    raw["engine"]["friction"] = friction
    return packed(raw)[0].engine.friction
