"""The timing wheel: every firing once, where it belongs, none hiding another."""

from __future__ import annotations

import itertools
import math
import tomllib

import pytest

from tests.cases import single
from vibsim.engine.layout import Layout, resolve_layout
from vibsim.engine.layout_table import LAYOUTS
from vibsim.inputs.loader import build_case
from vibsim.show.timing_wheel import CLEAR, DISC, Event, disc_rows, draw_timing, events_of, place, timing_words
from vibsim.studies.new_case import new_case


def _layout(name: str, strokes: int = 4) -> Layout:
    return resolve_layout(build_case(tomllib.loads(new_case(name, 700.0, strokes))).engine)


@pytest.mark.parametrize("strokes", [2, 4])
@pytest.mark.parametrize("name", sorted(LAYOUTS))
def test_every_cylinder_fires_once_and_none_hides_another(name, strokes):
    layout = _layout(name, strokes)
    events = events_of(layout)
    assert sorted(name for event in events for name in event.names) == sorted(c.name for c in layout.cylinders)
    assert sum(event.interval for event in events) == pytest.approx(layout.cycle)
    discs = [
        place(event.angle, DISC + CLEAR * (row + n), layout.cycle)
        for event, row in zip(events, disc_rows(events, layout.cycle), strict=True)
        for n in range(len(event.names))
    ]
    assert all(math.dist(one, other) > 0.85 * CLEAR for one, other in itertools.combinations(discs, 2))


def test_firings_at_once_are_one_event():
    # pins together: a two-stroke fires both cylinders at once
    layout = _layout("twin-360", 2)
    events = events_of(layout)
    assert [event.names for event in events] == [("1", "2")]
    assert "at once: 1 + 2" in timing_words(events, layout)


def test_events_a_little_apart_get_discs_further_out():
    events = [Event(0.0, ("1",), 0.1), Event(0.1, ("2", "3"), 4.0 * math.pi - 0.1)]
    assert disc_rows(events, 4.0 * math.pi) == [0, 1]


def test_firings_at_once_across_the_end_of_the_cycle():
    raw = single()
    raw["engine"]["cylinder"] = [
        {"name": "a", "pin_deg": 0.0, "at_mm": -40.0},
        {"name": "b", "pin_deg": 0.02, "at_mm": 40.0, "fires_at_deg": 719.98},
    ]
    (event,) = events_of(resolve_layout(build_case(raw).engine))
    assert sorted(event.names) == ["a", "b"]
    assert event.interval == pytest.approx(4.0 * math.pi)


def test_words_say_how_even():
    # derived: an 80° V3 with its single 100° back fires at 180 / 360 / 180; even would be 240
    layout = _layout("v3-80")
    words = " ".join(timing_words(events_of(layout), layout))
    for part in ("longest 360°", "1.50 × the even 240°", "shortest 180°", "0.75", "shortest / longest 0.50"):
        assert part in words
    layout = _layout("inline-3")
    assert timing_words(events_of(layout), layout) == ["4-stroke, 720° a cycle", "even: 240° throughout"]
    layout = _layout("single", 2)
    assert timing_words(events_of(layout), layout) == ["2-stroke, 360° a cycle", "one firing a cycle"]


def test_picture(tmp_path):
    (path,) = draw_timing(_layout("v8-cross"), "a $title$", tmp_path)
    assert path.name == "timing.png"
    assert path.read_bytes().startswith(b"\x89PNG")
    assert list(tmp_path.iterdir()) == [path]
