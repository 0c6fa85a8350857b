"""Bearing places and the lever rule, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from tests.cases import packed, single
from vibsim.engine.bearing_loads import bearing_places, lever_shares, stations

BORE = 72.0  # mm


def places_mm(at_mm: list[float], banks: list[float] | None = None) -> list[float]:
    raw = single()
    banks = banks or [0.0] * len(at_mm)
    raw["engine"]["cylinder"] = [
        {"name": str(n), "bank_deg": bank, "pin_deg": 40.0 * n, "at_mm": at}
        for n, (at, bank) in enumerate(zip(at_mm, banks, strict=True))
    ]
    case, model = packed(raw)
    return (1e3 * bearing_places(case.engine, model.layout)).tolist()


@pytest.mark.parametrize(
    ("load_at", "shares"),
    [
        (40.0, [0.6, 0.4, 0.0]),
        (150.0, [0.0, 2.0 / 3.0, 1.0 / 3.0]),
        (100.0, [0.0, 1.0, 0.0]),
        (0.0, [1.0, 0.0, 0.0]),
        (250.0, [0.0, 0.0, 1.0]),
        (-20.0, [1.2, -0.2, 0.0]),  # overhung: the neighbour holds the end down
        (310.0, [0.0, -0.4, 1.4]),
    ],
)
def test_lever_rule_by_hand(load_at, shares):
    # source: derived by hand, bearings at 0, 100 and 250 mm
    found = lever_shares(np.array([0.0, 0.1, 0.25]), np.array([1e-3 * load_at]))
    assert found[:, 0] == pytest.approx(shares, abs=1e-12)


def test_lever_rule_keeps_force_and_moment():
    random = np.random.default_rng(3)
    bearings, places = np.sort(random.uniform(-1.0, 1.0, 5)), random.uniform(-1.5, 1.5, 200)
    shares = lever_shares(bearings, places)
    assert shares.sum(axis=0) == pytest.approx(np.ones(200), abs=1e-9)
    assert bearings @ shares == pytest.approx(places, abs=1e-9)
    assert (np.abs(shares) > 1e-12).sum(axis=0).max() == 2


def test_single_stands_between_two_bearings_and_loads_them_alike():
    # common practice, no source: 0.6 bores to either side
    assert places_mm([10.0]) == pytest.approx([10.0 - 0.6 * BORE, 10.0 + 0.6 * BORE])
    case, model = packed(single())
    shares = lever_shares(bearing_places(case.engine, model.layout), np.zeros(1))
    assert shares[:, 0] == pytest.approx([0.5, 0.5], abs=1e-12)


def test_places_between_throws():
    # by hand: midway between throws, and the same half distance outside the end ones
    assert places_mm([-90.0, 0.0, 100.0]) == pytest.approx([-135.0, -45.0, 50.0, 150.0])
    assert places_mm([100.0, -90.0, 0.0]) == pytest.approx([-135.0, -45.0, 50.0, 150.0])  # any order in the file


def test_rods_side_by_side_are_one_station():
    # within half a bore, on one pin or on split ones: no bearing between them
    assert places_mm([-10.0, 10.0], [-45.0, 45.0]) == pytest.approx([-0.6 * BORE, 0.6 * BORE])
    found = places_mm([0.0, 20.0, 90.0, 110.0], [-30.0, 30.0, -30.0, 30.0])
    assert found == pytest.approx([-35.0, 55.0, 145.0])
    _, model = packed(single())
    assert stations(model.layout) == pytest.approx([0.0])


def test_places_of_the_case_win():
    raw = single()
    raw["engine"]["crank"]["main_bearings_at_in"] = [-2.0, 1.0]
    case, model = packed(raw)
    assert bearing_places(case.engine, model.layout) == pytest.approx([-0.0508, 0.0254])
