"""Scatter: hand formulas, and the first-order forecast beside the engines built. Derived; errors stated beside each."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np
import pytest

from tests.cases import CONFIGS, single
from tests.engine.test_as_built import vee_with_shafts
from vibsim.engine.tolerances import KEYS
from vibsim.inputs.loader import CaseFile, build_case, load_case
from vibsim.studies.tolerance import Plan, Rotor, draw, find_scatter, spread_of
from vibsim.studies.tolerance_rows import PARTS, as_dict, ranked, residual_rows, rms_forecast, source_rows

NOTHING = dict.fromkeys(KEYS, 0.0)
SPEED = 300.0
SAMPLES = 4000
RADIUS = 0.5 * 0.0585


def _case_file(raw: dict) -> CaseFile:
    return CaseFile(build_case(raw), "", Path(), "case")


def _twin() -> dict:
    raw = single()
    raw["engine"]["cylinder"] = [
        {"name": str(n), "pin_deg": 180.0 * n, "at_mm": 80.0 * n, "bank_deg": 0.0} for n in range(2)
    ]
    return raw


def _rows(raw: dict, half_widths: dict, **changes):
    plan = Plan(NOTHING | half_widths, **({"samples": SAMPLES} | changes))
    return {
        (row["order"], row["what"], row["part"]): row
        for row in residual_rows(find_scatter(_case_file(raw), plan, SPEED))
    }


@pytest.mark.parametrize(("distribution", "spread"), [("uniform", 1.0 / math.sqrt(3.0)), ("normal", 1.0 / 3.0)])
def test_piston_scatter_by_hand(distribution, spread):
    # derived: a piston heavier by δ adds δ·r·ω²/2 to each of forward and backward first order; opposed pistons on a
    # flat twin add up independently, and to the couple with half the spacing as arm
    half = 0.004
    one = 0.5 * spread * half * RADIUS * SPEED**2
    rows = _rows(_twin(), {"piston": half}, distribution=distribution)
    for part in ("forward", "backward"):
        force, couple = (rows[1, what, part]["rms_change"] for what in ("force", "couple"))
        assert force["first_order"] == pytest.approx(math.sqrt(2.0) * one, rel=1e-9)
        assert couple["first_order"] == pytest.approx(math.sqrt(2.0) * one * 0.04, rel=1e-9)
        # four times the error of a root mean square, 1/√(2N) for the sum of two even or normal errors or less
        assert force["monte_carlo"] == pytest.approx(force["first_order"], rel=4.0 / math.sqrt(2.0 * SAMPLES))


def test_crank_unbalance_by_hand():
    # derived: evenly over a circle of radius u the mean square is u²/2, forward alone
    rows = _rows(single(), {"crank": 1e-4})
    expected = 1e-4 * SPEED**2 / math.sqrt(2.0)
    found = rows[1, "force", "forward"]["rms_change"]
    assert found["first_order"] == pytest.approx(expected, rel=1e-9)
    # √E|Δ|² of an even circle: the square is even over (0, u²), error of the root 1/(2√3·√N)
    assert found["monte_carlo"] == pytest.approx(expected, rel=4.0 / math.sqrt(12.0 * SAMPLES))
    for key in ((1, "force", "backward"), (2, "force", "largest"), (1, "couple", "largest")):
        assert rows[key]["rms_change"]["monte_carlo"] == pytest.approx(0.0, abs=1e-9)


def _demo() -> CaseFile:
    return load_case(CONFIGS / "v3-80-trike.toml")


@pytest.mark.parametrize("distribution", ["uniform", "normal"])
@pytest.mark.parametrize("make", [_demo, lambda: _case_file(vee_with_shafts())])
def test_forecast_is_what_is_built(make, distribution):
    # four sampling errors; the change leaves out half the angle (under 0.01 rad) of it, at right angles: below 1e-4
    scatter = find_scatter(make(), Plan({}, distribution, SAMPLES), SPEED)
    rows = iter(residual_rows(scatter))
    standing = 0
    for residual, part in itertools.product(scatter.residuals, PARTS):
        row = next(rows)
        change, size, deviation = row["rms_change"], row["rms_of_phasors"], row["standard_deviation"]
        assert change["first_order"] > 0.0
        error = 4.0 * change["sampling_error"] + 1e-4 * change["first_order"]
        assert change["monte_carlo"] == pytest.approx(change["first_order"], abs=error)
        assert size["monte_carlo"] == pytest.approx(size["forecast"], abs=4.0 * size["sampling_error"])
        if deviation["first_order"] is not None:
            # |P + Δ| = |P| + Δ∥ + Δ⊥²/2|P|, the last of deviation √2·E[Δ⊥²]/2|P| or less if normal
            standing += 1
            least = min(abs(residual.drawn[index]) for index in PARTS[part])
            bend = change["first_order"] ** 2 / (math.sqrt(2.0) * least)
            error = 4.0 / math.sqrt(2.0 * SAMPLES) * deviation["first_order"] + bend
            assert deviation["monte_carlo"] == pytest.approx(deviation["first_order"], abs=error)
    assert standing >= 3


def test_turning_alone_does_not_grow():
    # derived: the phasor of one cylinder's pin angle alone only turns; its mean square stays, which the second-order
    # term of the forecast takes back
    scatter = find_scatter(_case_file(single()), Plan(NOTHING | {"pin": math.radians(8.0)}, samples=SAMPLES), SPEED)
    row = residual_rows(scatter)[0]
    assert row["rms_change"]["monte_carlo"] > 0.05 * row["as_drawn"]
    assert rms_forecast(scatter.residuals[0], "forward") == pytest.approx(row["as_drawn"], rel=1e-12)
    assert row["rms_of_phasors"]["monte_carlo"] == pytest.approx(row["as_drawn"], rel=1e-12)
    # nor does it count as scatter of the size
    shares = [on["share_of_variance"] for on in source_rows(scatter)[4]["on"]]
    assert shares[0] is None


def test_shares_add_up_and_rank():
    scatter = find_scatter(_case_file(vee_with_shafts()), Plan({}, samples=200), SPEED)
    rows = source_rows(scatter)
    assert len(rows) == len(KEYS)
    for index in range(4):
        assert sum(row["on"][index]["share_of_variance"] for row in rows) == pytest.approx(1.0, abs=1e-12)
    total = math.sqrt(sum(row["on"][0]["rms_change"] ** 2 for row in rows))
    assert total == pytest.approx(residual_rows(scatter)[2]["rms_change"]["first_order"], rel=1e-12)
    # a tolerance tenfold tops the list, and its rms change is tenfold
    loud = find_scatter(_case_file(vee_with_shafts()), Plan({"small_end": 0.015}, samples=200), SPEED)
    assert ranked(source_rows(loud))[0]["source"] == "rod small end"
    assert source_rows(loud)[1]["on"][0]["rms_change"] == pytest.approx(10.0 * rows[1]["on"][0]["rms_change"])


def test_no_tolerance_no_spread():
    for (order, what, part), row in _rows(vee_with_shafts(), {}, samples=100).items():
        assert row["p99"] == pytest.approx(row["as_drawn"], rel=1e-12, abs=1e-9), (order, what, part)
        assert row["rms_change"]["first_order"] == 0.0
        assert row["rms_change"]["monte_carlo"] == pytest.approx(0.0, abs=1e-9)


def test_the_seed_makes_the_draw():
    def found(seed: int, samples: int = 300) -> list:
        return residual_rows(find_scatter(_demo(), Plan({}, samples=samples, seed=seed), SPEED))

    assert found(3) == found(3)
    assert found(3)[2]["mean"] != found(4)[2]["mean"]


@pytest.mark.parametrize("distribution", ["uniform", "normal"])
def test_errors_lie_as_said(distribution):
    scatter = find_scatter(_case_file(vee_with_shafts()), Plan({}, samples=100), SPEED)
    half_widths = dict.fromkeys(KEYS, 2.0)
    count = 20_000
    errors = draw(np.random.default_rng(2), scatter.assembly, half_widths, distribution, count)
    for key, values in errors.items():
        spread = 2.0 * spread_of(key, distribution)
        parts = (values.real, values.imag) if np.iscomplexobj(values) else (values,)
        for part in parts:
            # four sampling errors of a standard deviation over the independent values
            assert part.std() == pytest.approx(spread, rel=4.0 / math.sqrt(2.0 * values.size))
        if distribution == "uniform":
            assert 1.99 < np.abs(values).max() <= 2.0
    # one half-width more leaves the others' draws alone
    other = draw(np.random.default_rng(2), scatter.assembly, half_widths | {"piston": 7.0}, distribution, count)
    assert np.array_equal(other["shaft_angle"], errors["shaft_angle"])
    assert np.array_equal(other["piston"], 3.5 * errors["piston"])


def test_share_of_cranks_within_the_grade():
    # derived: one big end off by ±h evenly, the throw midway between the planes: each takes half, and the share within
    # is what is permissible over h·r, here a half; four errors of a share, √(p(1 − p)/N)
    half, grade, mass = 0.010, 16.0, 5.0
    speed = 2.0 * 1e-3 * grade * mass / (half * RADIUS)
    plan = Plan(NOTHING | {"big_end": half}, samples=SAMPLES)
    scatter = find_scatter(_case_file(single()), plan, speed, Rotor(grade, mass))
    assert scatter.rotor.within == pytest.approx(0.5, abs=4.0 * 0.5 / math.sqrt(SAMPLES))
    row = as_dict(scatter)["rotor"]
    assert row["permissible_unbalance_g_mm"] == pytest.approx(0.5e6 * half * RADIUS, rel=1e-12)
    assert [plane["at_mm"] for plane in row["planes"]] == pytest.approx([-36.0, 36.0])
    assert [plane["permissible_g_mm"] for plane in row["planes"]] == pytest.approx([0.25e6 * half * RADIUS] * 2)
    assert row["planes"][0]["p99_g_mm"] == pytest.approx(0.99 * 0.5e6 * half * RADIUS, rel=0.01)
    # a rotor heavier at one end: that plane is allowed more, the other less
    loaded = find_scatter(_case_file(single()), plan, speed, Rotor(grade, mass, 0.009)).rotor
    assert loaded.allotted == pytest.approx((0.375 * loaded.whole, 0.625 * loaded.whole))


def test_unbalance_in_two_planes():
    # derived: a crank error at an outer throw is all in that plane; even over a circle of radius u, a quarter of the
    # cranks stay below u/2, which is what the plane is allowed; four errors of a share, √(p(1 − p)/N)
    raw = _twin()
    raw["engine"]["crank"]["counterweight"] = [{"at_mm": 80.0, "angle_deg": 0.0, "unbalance_kg_mm": 1.0}]
    plan = Plan(NOTHING | {"crank": 1e-4}, samples=SAMPLES)
    scatter = find_scatter(_case_file(raw), plan, SPEED, Rotor(16.0, 1e-4 * SPEED / 16e-3))
    assert scatter.rotor.planes == pytest.approx((0.0, 0.08))
    assert scatter.rotor.allotted == pytest.approx((0.5e-4, 0.5e-4))
    assert scatter.rotor.unbalance[0] == pytest.approx(0.0, abs=1e-15)
    errors = draw(np.random.default_rng(1), scatter.assembly, scatter.half_widths, "uniform", SAMPLES)
    assert scatter.rotor.unbalance[1] == pytest.approx(np.abs(errors["crank"][:, 0]), rel=1e-12)
    assert scatter.rotor.within == pytest.approx(0.25, abs=4.0 * math.sqrt(0.25 * 0.75 / SAMPLES))
