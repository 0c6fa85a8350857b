"""Stations, main bearings and width across."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vibsim.engine.layout import resolve_layout
from vibsim.engine.package import CROWN_OVER_BORE, main_bearings, stations, width_across
from vibsim.inputs.loader import parse_case
from vibsim.studies.new_case import new_case


def layout_of(name: str):
    engine = parse_case(new_case(name, 900.0)).case.engine
    assert engine is not None
    return resolve_layout(engine)


@pytest.mark.parametrize(
    ("name", "bearings"),  # common practice, no source; the counts those layouts usually have
    [("single", 2), ("inline-3", 4), ("inline-4", 5), ("v2-60", 2), ("v6-60", 4), ("v8-cross", 5), ("v6-90-split", 4)],
)
def test_bearings_of_usual_layouts(name, bearings):
    layout = layout_of(name)
    pins = np.array([cylinder.pin for cylinder in layout.cylinders])
    assert main_bearings(stations(layout), pins) == bearings


def test_pins_far_apart_need_a_bearing_between():
    layout = layout_of("v2-60")
    apart = np.radians([[0.0, 0.0], [0.0, 60.0], [0.0, 61.0], [0.0, -61.0], [0.0, 330.0], [350.0, 40.0]])
    assert main_bearings(stations(layout), apart).tolist() == [2, 2, 3, 3, 2, 2]


@pytest.mark.parametrize("bank", [0.0, 45.0, 80.0, 90.0, 120.0, 180.0])
def test_width_is_that_of_the_outermost_corners(bank):
    """Derived: corners of both bores at the crowns, drawn and measured."""
    layout = layout_of("v2-60")
    cylinder = layout.cylinders[0]
    height, half = cylinder.top + CROWN_OVER_BORE * cylinder.bore, 0.5 * cylinder.bore
    corners = []
    for side in (-0.5, 0.5):
        along = np.exp(1j * math.radians(side * bank))
        corners += [along * (height + 1j * half), along * (height - 1j * half)]
    across = np.imag(corners)
    assert width_across(layout, math.radians(bank)) == pytest.approx(np.ptp(across))
