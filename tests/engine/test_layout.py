"""Firing angles, intervals and throws; worked by hand from the stated rules ("derived")."""

from __future__ import annotations

import math

import pytest

from tests.cases import single
from vibsim.engine.layout import resolve_layout
from vibsim.engine.moving_mass import throw_unbalances
from vibsim.inputs.loader import build_case


def _layout(
    pins: dict[str, float], order: list[str], strokes: int = 4, banks: dict[str, float] | None = None, **engine
):
    raw = single()
    raw["engine"] |= {"strokes": strokes, "firing_order": order, **engine}
    raw["engine"]["cylinder"] = [
        {"name": name, "pin_deg": pin, "bank_deg": (banks or {}).get(name, 0.0), "at_mm": 85.0 * n}
        for n, (name, pin) in enumerate(pins.items())
    ]
    case = build_case(raw)
    return case.engine, resolve_layout(case.engine)


@pytest.mark.parametrize(
    ("pins", "order", "strokes", "expected"),
    [
        ({"1": 0, "2": 180, "3": 180, "4": 0}, ["1", "3", "4", "2"], 4, [180, 180, 180, 180]),
        ({"1": 0, "2": 120, "3": 240}, ["1", "3", "2"], 4, [120, 120, 480]),
        ({"1": 0, "2": 120, "3": 240}, ["1", "2", "3"], 4, [240, 240, 240]),
        ({"1": 0, "2": 180}, ["1", "2"], 4, [180, 540]),
        ({"1": 0, "2": 0}, ["1", "2"], 4, [360, 360]),
        ({"1": 0, "2": 270}, ["1", "2"], 4, [90, 630]),
        ({"1": 0, "2": 180}, ["1", "2"], 2, [180, 180]),
        ({"1": 0, "2": 240, "3": 120}, ["1", "2", "3"], 2, [120, 120, 120]),
    ],
)
def test_intervals_from_the_order(pins, order, strokes, expected):
    _, layout = _layout(pins, order, strokes)
    found = [math.degrees(angle) for angle in layout.firing_intervals()]
    assert found == pytest.approx(expected, abs=1e-9)


def test_order_starts_at_the_first_dead_centre_at_or_after_zero():
    _, layout = _layout({"1": 0, "2": 180}, ["2", "1"])
    firing = {name: math.degrees(angle) for name, angle in layout.firing_sequence()}
    assert firing == pytest.approx({"2": 180.0, "1": 360.0}, abs=1e-9)


def test_fires_at_overrides_the_order():
    raw = single()
    raw["engine"]["firing_order"] = ["1", "2"]
    raw["engine"]["cylinder"] = [
        {"name": "1", "pin_deg": 0, "at_mm": 0},
        {"name": "2", "pin_deg": 0, "at_mm": 85, "fires_at_deg": 0},
    ]
    layout = resolve_layout(build_case(raw).engine)
    assert [cylinder.firing for cylinder in layout.cylinders] == pytest.approx([0.0, 0.0], abs=1e-12)


def test_bank_and_pin_shift_top_dead_centre():
    _, layout = _layout({"1": 30.0}, [], banks={"1": 75.0})
    assert math.degrees(layout.cylinders[0].top_angle) == pytest.approx(45.0, abs=1e-9)


def test_pin_offset_moves_top_dead_centre_to_where_crank_and_rod_line_up():
    raw = single()
    raw["engine"]["cylinder"][0]["piston_pin_offset_mm"] = 5.0
    cylinder = resolve_layout(build_case(raw).engine).cylinders[0]
    assert cylinder.top_angle == pytest.approx(math.asin(5.0 / (118.0 + 29.25)), rel=1e-12)


def test_cylinders_side_by_side_on_one_pin_share_a_throw():
    raw = single()
    raw["engine"]["cylinder"] = [
        {"name": "left", "pin_deg": 0, "bank_deg": -45, "at_mm": -12},
        {"name": "right", "pin_deg": 360, "bank_deg": 45, "at_mm": 12},
        {"name": "far", "pin_deg": 0, "bank_deg": 45, "at_mm": 110},
        {"name": "split", "pin_deg": 30, "bank_deg": -45, "at_mm": 112},
    ]
    engine = build_case(raw).engine
    assert resolve_layout(engine).throws == ((0, 1), (2,), (3,))


def test_throw_unbalance_is_opposite_its_pin_at_the_middle_of_the_throw():
    raw = single()
    raw["engine"]["cylinder"] = [
        {"name": "left", "pin_deg": 20, "bank_deg": -45, "at_mm": -10},
        {"name": "right", "pin_deg": 20, "bank_deg": 45, "at_mm": 14},
        {"name": "next", "pin_deg": 200, "bank_deg": 45, "at_mm": 110},
    ]
    raw["engine"]["crank"]["unbalance_kg_mm"] = [5.0, 7.0]
    engine = build_case(raw).engine
    first, second = throw_unbalances(engine, resolve_layout(engine))
    assert first == pytest.approx((math.radians(200.0), 0.002, 0.005), rel=1e-12)
    assert second == pytest.approx((math.radians(380.0), 0.110, 0.007), rel=1e-12)


def test_one_unbalance_serves_every_throw():
    engine, layout = _layout({"1": 0, "2": 180}, ["1", "2"], crank={"inertia_kg_m2": 0.02, "unbalance_kg_mm": 5.0})
    assert [row[2] for row in throw_unbalances(engine, layout)] == [0.005, 0.005]


def test_swept_volume():
    # derived: bore² · π/4 · stroke, exact without pin offset
    _, layout = _layout({"1": 0.0}, [])
    assert layout.swept_volume == pytest.approx(math.pi / 4 * 0.072**2 * 0.0585, rel=1e-12)
