"""The grid of a search, measured piece by piece, against each of its layouts measured alone."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from tests.cases import packed, skewed
from vibsim.engine.firing import longest_interval
from vibsim.engine.layout import Layout, resolve_layout
from vibsim.engine.layout_table import LAYOUTS
from vibsim.engine.leftover import Yardstick, after_counterweights, measure, yardstick
from vibsim.engine.package import wrapped
from vibsim.inputs.loader import parse_case
from vibsim.inputs.models import Engine
from vibsim.solver.simulate import no_progress
from vibsim.studies.new_case import new_case
from vibsim.studies.search.front import best_at_each, cells_of, empty_front, joined
from vibsim.studies.search.scan import CELL, Limits, layouts_of, pieces, scan
from vibsim.studies.search.space import MOST_BY_DEFAULT, Space, find_space

DEGREE = math.pi / 180.0
FREE = Limits()


def engine_of(name: str) -> Engine:
    engine = parse_case(new_case(name, 900.0)).case.engine if name != "skewed" else packed(skewed())[0].engine
    assert engine is not None
    return engine


def space_of(name: str, step: float, banks=None, splay=None) -> tuple[Layout, Space, Yardstick]:
    engine = engine_of(name)
    layout = resolve_layout(engine)
    bank_range = None if banks is None else (banks[0] * DEGREE, banks[1] * DEGREE)
    space = find_space(layout, bank_range, step * DEGREE, None if splay is None else splay * DEGREE)
    return layout, space, yardstick(engine, layout, 4)


def unbeaten_by_hand(values: np.ndarray, cell: np.ndarray) -> set[tuple[int, ...]]:
    """Cells that no other cell is as good as in everything, by comparing each with each."""
    cells = {tuple(int(n) for n in row) for row in cells_of(values, cell).T}
    return {a for a in cells if not any(b != a and all(m <= n for m, n in zip(b, a, strict=True)) for b in cells)}


@pytest.mark.parametrize(
    ("name", "step", "banks", "splay"),
    [("skewed", 40.0, None, None), ("v5-75", 60.0, (60.0, 90.0), None), ("v6-90-split", 60.0, (80.0, 90.0), 60.0)],
)
def test_pieces_are_measured_like_single_layouts(name, step, banks, splay):
    """Tables added up over pins, shafts and pin offsets included; equal to rounding."""
    _, space, yard = space_of(name, step, banks, splay)
    rng = np.random.default_rng(5)
    for piece in itertools.islice(pieces(space, yard, 500), 0, None, 4):
        rows = rng.integers(0, len(piece.key), 3)
        found = np.stack(after_counterweights(yard, piece.phasors))[:, rows]
        alone = measure(yard, piece.banks, piece.pins[rows])
        assert found == pytest.approx(alone[:, [0, 1, 3]].T, abs=1e-10)
        again = layouts_of(space, piece.key[rows])
        for row in rows:
            bank, angles, pins = again[int(piece.key[row])]
            assert bank == piece.bank
            assert np.array_equal(angles, piece.banks)
            assert pins == pytest.approx(piece.pins[row], abs=1e-12)


def test_every_layout_of_the_grid_is_there_once():
    layout, space, yard = space_of("inline-3", 30.0)
    pins = np.concatenate([piece.pins for piece in pieces(space, yard, 50)])
    assert space.count() == len(pins) == 12**2
    turned = np.round(np.mod(wrapped(pins - layout.cylinders[0].pin) + 1e-9, 2 * math.pi) / (30.0 * DEGREE)).astype(int)
    assert {tuple(row) for row in turned % 12} == set(itertools.product([0], range(12), range(12)))


def test_splay_stays_within_its_limit_and_shared_pins_shared():
    _, space, yard = space_of("v6-60", 30.0, splay=40.0)
    pins = np.concatenate([piece.pins for piece in pieces(space, yard)])
    for first, other in ((0, 1), (2, 3), (4, 5)):
        assert np.abs(wrapped(pins[:, first] - pins[:, other])).max() <= 40.0 * DEGREE + 1e-9
    _, shared, yard = space_of("v8-cross", 30.0)
    for piece in pieces(shared, yard):
        for throw in layout_throws(shared.layout):
            assert np.ptp(piece.pins[:, throw], axis=1).max() == 0.0


def layout_throws(layout: Layout) -> list[list[int]]:
    return [list(throw) for throw in layout.throws]


@pytest.mark.parametrize("name", ["v2-60-offset", "v3-80", "v5-75", "v6-60", "v6-90-split"])
def test_even_firing_is_on_the_grid_at_any_bank_angle(name):
    """Every pin of its own, so that even firing is there; a bank angle of no whole steps."""
    layout, space, yard = space_of(name, 720.0 / len(LAYOUTS[name].cylinders) / 2.0, (61.7, 75.3), 180.0)
    even = yard.cycle / len(layout.cylinders)
    least = min(float(longest_interval(p.banks + yard.top - p.pins, yard.cycle).min()) for p in pieces(space, yard))
    assert least == pytest.approx(even)


@pytest.mark.parametrize("name", [name for name, plan in LAYOUTS.items() if len(plan.cylinders) > 1])
def test_default_step_keeps_within_what_is_stated(name):
    engine = engine_of(name)
    layout = resolve_layout(engine)
    space = find_space(layout, None, None, 30.0 * DEGREE)
    parts = 2.0 * math.pi / space.step
    assert parts == pytest.approx(round(parts))
    assert 1 < space.count() <= MOST_BY_DEFAULT
    if len(layout.cylinders) < 8:  # otherwise there may be too many pins for it
        assert round(parts) % 4 == 0
        assert round(parts) % len(layout.cylinders) == 0


@pytest.mark.parametrize(("name", "step", "banks"), [("inline-3", 10.0, None), ("v3-80", 20.0, (60.0, 100.0))])
def test_front_is_what_comparing_each_with_each_leaves(name, step, banks):
    _, space, yard = space_of(name, step, banks)
    front, tally, cell = scan(space, yard, FREE, no_progress, 100)
    every = np.concatenate([measure(yard, piece.banks, piece.pins) for piece in pieces(space, yard)])
    assert len(every) == space.count()
    assert tally.tried == tally.passed == len(every) + 1  # the case as drawn too
    drawn = measure(yard, space.bank_angles(space.drawn_bank), space.pin_angles)
    every = np.vstack([every, drawn])  # so that its number, −1, finds it
    expected = unbeaten_by_hand(every, cell)
    found = {tuple(int(n) for n in row) for row in cells_of(front.values, cell).T}
    assert expected <= found
    assert len(front.key) <= len(expected) + 4  # besides, the best at each objective
    # nothing beats any of them, and each is its layout
    for values in front.values:
        assert not np.any((every <= values - 1e-8).all(axis=1))
    assert front.values == pytest.approx(every[front.key], abs=1e-8)
    for objective in range(4):
        assert front.values[:, objective].min() <= every[:, objective].min() + 0.05 * cell[objective]
    # and everything is matched by one of them to within a cell
    for values in every[::7]:
        assert np.any((front.values <= values + cell).all(axis=1))


@pytest.mark.parametrize("size", [1, 37, 1000])
def test_front_does_not_depend_on_the_pieces(size):
    _, space, yard = space_of("v3-80", 60.0, (70.0, 90.0))
    whole, _, _ = scan(space, yard, FREE, no_progress)
    cut, _, _ = scan(space, yard, FREE, no_progress, size)
    assert np.array_equal(whole.key, cut.key)
    assert np.array_equal(whole.values, cut.values)


def test_front_does_not_depend_on_the_order_of_joining():
    """Many equal values and numbers out of order."""
    rng = np.random.default_rng(2)
    values, key = np.round(rng.uniform(0.0, 0.3, (400, 4)), 2), rng.permutation(400)
    cell = np.array(CELL)
    once = joined(empty_front(4), values, key, cell), best_at_each(empty_front(4), values, key, cell)
    front, best = empty_front(4), empty_front(4)
    for part in np.array_split(rng.permutation(400), 23):
        front = joined(front, values[part], key[part], cell)
        best = best_at_each(best, values[part], key[part], cell)
    assert sorted(front.key) == sorted(once[0].key)
    assert np.array_equal(best.key, once[1].key)
    assert {tuple(map(int, row)) for row in cells_of(front.values, cell).T} == unbeaten_by_hand(values, cell)
