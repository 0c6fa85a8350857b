"""Unit suffixes; factors by definition of the units (SI brochure, 1959 international inch and pound)."""

from __future__ import annotations

import math

import pytest

from vibsim.inputs import units as u
from vibsim.inputs.loader import build_case


@pytest.mark.parametrize(
    ("value", "suffix", "unit", "expected"),
    [
        (72.0, "mm", u.LENGTH, 0.072),
        (1.0, "in", u.LENGTH, 0.0254),
        (180.0, "N_per_mm", u.STIFFNESS, 180e3),
        (1.0, "lbf_per_in", u.STIFFNESS, 0.45359237 * 9.80665 / 0.0254),
        (0.4, "N_s_per_mm", u.DAMPING, 400.0),
        (700.0, "kg_mm2", u.SMALL_INERTIA, 7e-4),
        (90.0, "deg", u.ANGLE, math.pi / 2),
        (0.25, "turn", u.ANGLE, math.pi / 2),
        (0.25, "rev", u.ANGLE, math.pi / 2),
        (2.0, "rev_per_s", u.SPEED, 4 * math.pi),
        (60.0, "rpm", u.SPEED, 2 * math.pi),
        (1.0, "Hz", u.SPEED, 2 * math.pi),  # one turn a second, not one radian
        (2.0, "rad_per_s", u.SPEED, 2.0),
        (20.0, "degC", u.TEMPERATURE, 293.15),
        (1.0, "bar", u.PRESSURE, 1e5),
        (10.0, "kHz", u.FREQUENCY, 1e4),
        (5, "g_mm", u.UNBALANCE, 5e-6),
    ],
)
def test_conversion(value, suffix, unit, expected):
    assert u.to_si(value, suffix, unit) == pytest.approx(expected, rel=1e-14)  # rounding of two products


KNOWN = [unit for unit in vars(u).values() if isinstance(unit, u.Unit)]


@pytest.mark.parametrize(
    ("unit", "suffix"), [(unit, suffix) for unit in KNOWN for suffix in (unit.example, *unit.common)]
)
def test_every_suffix_the_schema_offers_is_taken(unit, suffix):
    assert math.isfinite(u.to_si(1.0, suffix, unit))


def test_decimal_millimetres_stay_decimal():
    assert u.to_si([72.0, 58.5], "mm", u.LENGTH) == [0.072, 0.0585]


def test_any_unit_of_the_dimension_gives_the_same_case():
    from tests.cases import single

    metric, inches = single(), single()
    inches["engine"]["bore_in"] = inches["engine"].pop("bore_mm") / 25.4
    assert build_case(inches).engine.bore == pytest.approx(build_case(metric).engine.bore, rel=1e-14)
