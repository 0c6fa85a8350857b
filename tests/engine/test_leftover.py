"""What the best counterweights leave, against the exact mechanism over the revolution with those counterweights on."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.cases import CONFIGS, packed, skewed
from vibsim.engine.balance import free_forces
from vibsim.engine.layout import resolve_layout
from vibsim.engine.leftover import measure, yardstick
from vibsim.inputs.loader import CaseFile, parse_case
from vibsim.inputs.models import Engine
from vibsim.studies.balance import find_balance
from vibsim.studies.new_case import new_case


def bare(raw: dict) -> dict:
    """Without crank counterweights, and with shafts of whole orders alone."""
    raw["engine"]["crank"] = {"inertia_kg_m2": 0.02}
    raw["engine"]["balance_shaft"] = raw["engine"]["balance_shaft"][:1]
    return raw


def with_weights(raw: dict, weights: list[tuple[complex, float]]) -> dict:
    """With counterweights: complex unbalance (kg m) and place along the crank (m)."""
    raw["engine"]["crank"]["counterweight"] = [
        {"unbalance_kg_mm": 1e3 * abs(u), "angle_deg": math.degrees(np.angle(u)), "at_mm": 1e3 * at}
        for u, at in weights
    ]
    return raw


def rms_by_mechanism(raw: dict, middle: float) -> tuple[float, float]:
    """Root mean square of force (kg m) and couple (kg m²) over the revolution, at unit speed."""
    free = free_forces(packed(raw)[1].model.train, 1.0).about(np.array([middle, 0.0, 0.0]))
    force = free.force - free.force.mean()
    couple = free.couple - free.couple.mean()
    return float(np.sqrt(np.mean(np.abs(force) ** 2))), float(np.sqrt(np.mean(np.abs(couple) ** 2)))


def engine_of(raw: dict) -> Engine:
    engine = packed(raw)[0].engine
    assert engine is not None
    return engine


def test_rms_is_that_of_the_mechanism_with_the_best_counterweights():
    """Unlike cylinders with pin offsets and a shaft; the orders above 8 are the difference, below 1e-5 here."""
    raw = bare(skewed())
    engine = engine_of(raw)
    layout = resolve_layout(engine)
    yard = yardstick(engine, layout, 8)
    banks, pins = (np.array([getattr(c, key) for c in layout.cylinders]) for key in ("bank", "pin"))
    force, couple, _, added = measure(yard, banks, pins)
    free = free_forces(packed(raw)[1].model.train, 1.0).about(np.array([yard.middle, 0.0, 0.0]))
    push, turn = np.fft.fft(free.force)[1] / len(free.force), np.fft.fft(free.couple)[1] / len(free.force)
    left, right = np.linalg.solve([[1.0, 1.0], yard.planes], [-push, -turn])
    places = [yard.middle + plane for plane in yard.planes]
    found = rms_by_mechanism(with_weights(raw, list(zip((left, right), places, strict=True))), yard.middle)
    assert force * yard.unit == pytest.approx(found[0], rel=1e-5)
    assert couple * yard.unit * yard.arm == pytest.approx(found[1], rel=1e-5)
    assert added == pytest.approx((abs(left) + abs(right)) / layout.cylinders[0].radius, rel=1e-9)
    rng = np.random.default_rng(3)
    for _ in range(8):  # no other pair leaves less of either
        change = 0.05 * (left + right) * (rng.normal(size=2) + 1j * rng.normal(size=2))
        other = [(u + du, at) for u, du, at in zip((left, right), change, places, strict=True)]
        worse = rms_by_mechanism(with_weights(raw, other), yard.middle)
        assert worse[0] > found[0] * (1.0 - 1e-9) and worse[1] > found[1] * (1.0 - 1e-9)


def test_added_mass_is_what_balance_says_at_the_throw_radius():
    raw = bare(skewed())
    engine = engine_of(raw)
    layout = resolve_layout(engine)
    banks, pins = (np.array([getattr(c, key) for c in layout.cylinders]) for key in ("bank", "pin"))
    case, _ = packed(raw)
    weights = find_balance(CaseFile(case, "", CONFIGS, "x")).counterweights
    for radius, scale in ((None, layout.cylinders[0].radius), (0.05, 0.05)):
        added = measure(yardstick(engine, layout, 4, radius), banks, pins)[3]
        assert added == pytest.approx(sum(weight.unbalance for weight in weights) / scale, rel=1e-6)


@pytest.mark.parametrize(
    # in F and F·a: CHECKS section 4, the backward half of the first order and the seconds times the rod's own A2;
    # with order 1 alone only the former
    ("name", "force", "couple"),
    [
        ("single", 0.5, 0.0),
        ("inline-3", 0.0, 0.5 * math.sqrt(3.0)),
        ("inline-4", 0.0, 0.0),
        ("inline-4-cross", 0.0, 0.5 * math.sqrt(10.0)),
        ("inline-5", 0.0, 0.5 * 0.44903),
        ("inline-6", 0.0, 0.0),
        ("v2-60", 0.5, None),
        ("v8-cross", 0.0, 0.0),
    ],
)
def test_known_layouts_of_first_order(name, force, couple):
    engine = parse_case(new_case(name, 900.0)).case.engine
    assert engine is not None
    layout = resolve_layout(engine)
    banks, pins = (np.array([getattr(c, key) for c in layout.cylinders]) for key in ("bank", "pin"))
    found = measure(yardstick(engine, layout, 1), banks, pins)
    assert found[0] == pytest.approx(force, abs=1e-3)  # places are written to 0.1 mm
    if couple is not None:
        assert found[1] == pytest.approx(couple, abs=5e-3)
