"""The usual layouts: banks, crankpins and places of their cylinders. Geometry alone; what it does is computed.

Angles in degrees from the reference direction, places in throw spacings. Two cylinders side by side on one pin stand
a rod's width apart.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

ROD_WIDTH = 0.22  # of the throw spacing; common practice, no source

Place = tuple[float, float, float]


@dataclass(frozen=True)
class LayoutPlan:
    """A layout in words and its cylinders as (bank, pin, place); `masses` reciprocating masses over the first's."""

    words: str
    cylinders: tuple[Place, ...]
    masses: tuple[float, ...] = ()


def _line(pins: tuple[float, ...]) -> tuple[Place, ...]:
    return tuple((0.0, pin, float(n)) for n, pin in enumerate(pins))


def _vee(bank: float, pins: tuple[float, ...], splay: float = 0.0) -> tuple[Place, ...]:
    """Pairs side by side; the leading bank's pin set back by `splay` from the trailing bank's."""
    half = 0.5 * bank
    pairs = [((half, pin - 0.5 * splay, n), (-half, pin + 0.5 * splay, n + ROD_WIDTH)) for n, pin in enumerate(pins)]
    return tuple(cylinder for pair in pairs for cylinder in pair)


def _flat(pins: tuple[float, ...]) -> tuple[Place, ...]:
    """Opposed cylinders, each on a pin of its own opposite its partner's, half a spacing apart."""
    pairs = [((90.0, pin, float(n)), (-90.0, pin + 180.0, n + 0.5)) for n, pin in enumerate(pins)]
    return tuple(cylinder for pair in pairs for cylinder in pair)


def _pair_and_single(bank: float, set_back: float) -> tuple[Place, ...]:
    """A pair in the leading bank on pins of one angle, a single between them in the trailing bank, its pin `set_back`
    from the pair's seen from the pair's side: that is ahead of it in the direction of rotation."""
    half = 0.5 * bank
    return (half, 0.0, 0.0), (-half, set_back, 1.0), (half, 0.0, 2.0)


V5_BANK = math.degrees(math.acos(0.25))  # where four cylinders' backward parts sum to one's: 4·cos(bank) = 1
TWICE = (1.0, 2.0, 1.0)

LAYOUTS: dict[str, LayoutPlan] = {
    "single": LayoutPlan("single cylinder", _line((0,))),
    "twin-360": LayoutPlan("parallel twin, pins together", _line((0, 0))),
    "twin-180": LayoutPlan("parallel twin, pins opposite", _line((0, 180))),
    "twin-270": LayoutPlan("parallel twin, pins a quarter turn apart", _line((0, 90))),
    "v2-45": LayoutPlan("45° V-twin on one pin", _vee(45, (0,))),
    "v2-45-offset": LayoutPlan("45° V-twin, pins 90° apart", _vee(45, (0,), splay=90)),
    "v2-60": LayoutPlan("60° V-twin on one pin", _vee(60, (0,))),
    "v2-60-offset": LayoutPlan("60° V-twin, pins 60° apart", _vee(60, (0,), splay=60)),
    "v2-75": LayoutPlan("75° V-twin on one pin", _vee(75, (0,))),
    "v2-75-offset": LayoutPlan("75° V-twin, pins 30° apart", _vee(75, (0,), splay=30)),
    "v2-90": LayoutPlan("90° V-twin on one pin", _vee(90, (0,))),
    "inline-3": LayoutPlan("inline three", _line((0, 240, 120))),
    "v3-45": LayoutPlan(
        "45° V3, a pair and a single that is at bottom when they are at top", _pair_and_single(45, set_back=135)
    ),
    "v3-45-heavy-single": LayoutPlan(
        "45° V3, a pair and a single of twice the mass", _pair_and_single(45, set_back=90), TWICE
    ),
    "v3-80": LayoutPlan(
        "80° V3, a pair and a single that is at bottom when they are at top", _pair_and_single(80, set_back=100)
    ),
    "v3-80-heavy-single": LayoutPlan(
        "80° V3, a pair and a single of twice the mass", _pair_and_single(80, set_back=20), TWICE
    ),
    "v3-90": LayoutPlan(
        "90° V3, a pair and a single that is at bottom when they are at top", _pair_and_single(90, set_back=90)
    ),
    "v3-90-heavy-single": LayoutPlan(
        "90° V3, a pair and a single of twice the mass", _pair_and_single(90, set_back=0), TWICE
    ),
    "inline-4": LayoutPlan("inline four, flat-plane", _line((0, 180, 180, 0))),
    "inline-4-cross": LayoutPlan("inline four, cross-plane", _line((0, 270, 90, 180))),
    "v4-65": LayoutPlan("65° V4, pins opposite", _vee(65, (0, 180))),
    "v4-65-offset": LayoutPlan("65° V4, pins opposite and split by 50°", _vee(65, (0, 180), splay=50)),
    "v4-65-360": LayoutPlan("65° V4, pins together", _vee(65, (0, 0))),
    "v4-65-360-offset": LayoutPlan("65° V4, pins together and split by 50°", _vee(65, (0, 0), splay=50)),
    "v4-90": LayoutPlan("90° V4, pins opposite", _vee(90, (0, 180))),
    "v4-90-offset": LayoutPlan("90° V4, pins opposite and split by 90°", _vee(90, (0, 180), splay=90)),
    "v4-90-360": LayoutPlan("90° V4, pins together", _vee(90, (0, 0))),
    "v5-75": LayoutPlan(
        "75.5° V5, two pairs on shared pins and a single",
        (
            *((bank, 0.0, place + shift) for place in (0, 2) for bank, shift in ((0.0, 0.0), (V5_BANK, ROD_WIDTH))),
            (0.0, 180.0 - V5_BANK, 1.0 + 0.5 * ROD_WIDTH),
        ),
    ),
    "inline-5": LayoutPlan("inline five", _line((0, 216, 144, 72, 288))),
    "inline-6": LayoutPlan("inline six", _line((0, 240, 120, 120, 240, 0))),
    "v6-60": LayoutPlan("60° V6, six pins", _vee(60, (0, 240, 120), splay=60)),
    "v6-90": LayoutPlan("90° V6 on three common pins", _vee(90, (0, 240, 120))),
    "v6-90-split": LayoutPlan("90° V6, pins split by 30°", _vee(90, (0, 240, 120), splay=30)),
    "flat-2": LayoutPlan("flat twin", _flat((0,))),
    "flat-4": LayoutPlan("flat four", ((90, 0, 0), (-90, 180, 0.5), (90, 180, 1), (-90, 0, 1.5))),
    "flat-6": LayoutPlan("flat six", _flat((0, 240, 120))),
    "v8-cross": LayoutPlan("90° V8, cross-plane", _vee(90, (0, 90, 270, 180))),
    "v8-flat": LayoutPlan("90° V8, flat-plane", _vee(90, (0, 180, 180, 0))),
    "v12-60": LayoutPlan("60° V12", _vee(60, (0, 240, 120, 120, 240, 0))),
}


def throws_of(plan: LayoutPlan) -> list[list[int]]:
    """Cylinders (indices) that share a crankpin: side by side, on pins of one angle, in different banks."""
    throws: list[list[int]] = []
    for index in sorted(range(len(plan.cylinders)), key=lambda index: plan.cylinders[index][2]):
        if throws and _side_by_side(plan.cylinders[throws[-1][0]], plan.cylinders[index]):
            throws[-1].append(index)
        else:
            throws.append([index])
    return throws


def _side_by_side(first: Place, other: Place) -> bool:
    return first[0] != other[0] and first[1] == other[1] and other[2] - first[2] < 1.01 * ROD_WIDTH


def most_even_order(plan: LayoutPlan, strokes: int) -> tuple[list[int], list[float]]:
    """Firing order (indices) with the most even intervals, and the firing angles (deg) in that order.

    Each cylinder of a four-stroke may fire at either of its two top dead centres; every choice is tried (the first
    cylinder's is fixed by where the cycle starts). Taken is the one with the least longest interval, then the greatest
    shortest, then the fewest different ones, then the one whose firings jump farthest along the crank, which spares
    bearings and breathing (common practice, no source).
    """
    cycle = 180.0 * strokes
    tops = [round((bank - pin) % 360.0, 9) % 360.0 for bank, pin, _ in plan.cylinders]
    places = [place for *_, place in plan.cylinders]
    later = (0.0,) if strokes == 2 else (360.0, 0.0)
    best: tuple[float, ...] | None = None
    found: tuple[list[int], list[float]] = [], []
    for turns in itertools.product((0.0,), *([later] * (len(tops) - 1))):
        angles = [(top + turn - tops[0]) % cycle for top, turn in zip(tops, turns, strict=True)]
        order = sorted(range(len(angles)), key=lambda index: (angles[index], index))
        fired = [angles[index] for index in order]
        intervals = [round(after - before, 6) for before, after in zip(fired, [*fired[1:], cycle], strict=True)]
        jumps = sum(abs(places[a] - places[b]) for a, b in zip(order, [*order[1:], order[0]], strict=True))
        told = all(
            interval <= 360.0 for interval in intervals[:-1]
        )  # an order alone says "at its next top dead centre"
        merit = told, -max(intervals), min(intervals), -len(set(intervals)), round(jumps, 6)
        if best is None or merit > best:
            best, found = merit, (order, [angle + tops[0] for angle in fired])
    return found
