"""What is known of every layout in the table: free forces and couples of the first two orders, firing.

F1 = m·r·ω² of one cylinder, F2 that times the mechanism's second harmonic, a the spacing of the throws; cylinders side
by side on a throw put into one plane, rotating parts and counterweights left out, couples about mid-engine. Numbers are
(long half axis, short half axis), the short one negative where the vector turns against the crank. Firing intervals in
degrees, four-stroke, from the first firing on.

"handbook" = classical tables (Taylor; Den Hartog), from memory, recomputed as phasor sums; "derived" = phasor sums by
hand. With bank angle γ and pins split by s a pair sums to |cos s/2| with and |cos(γ + s/2)| against the crank in the
first order, |cos(γ/2 + s)| and |cos(3γ/2 + s)| in the second; for pins split by 180° − 2γ that is sin γ and 0, then
|cos 3γ/2| and |cos γ/2|.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

Axes = tuple[float, float]
NONE: Axes = (0.0, 0.0)
S2, S3, S6, S10 = math.sqrt(2), math.sqrt(3), math.sqrt(6), math.sqrt(10)


@dataclass(frozen=True)
class Known:
    """One row: two forces, two couples, firing order and intervals, where the row comes from."""

    force: tuple[Axes, Axes]
    couple: tuple[Axes, Axes]
    order: str
    intervals: tuple[float, ...]
    source: str

    @property
    def backward(self) -> float:
        """First-order force that turns against the crank, in F1: what no counterweight reaches."""
        return 0.5 * (self.force[0][0] - self.force[0][1])


def _cos(degrees: float) -> float:
    return abs(math.cos(math.radians(degrees)))


def _axes(forward: float, backward: float, times: float = 1.0) -> Axes:
    return times * (forward + backward), times * (forward - backward)


def _one_pin(bank: float, times: float = 1.0) -> tuple[Axes, Axes]:
    return _split_pins(bank, 0.0, times)


def _split_pins(bank: float, splay: float, times: float = 1.0) -> tuple[Axes, Axes]:
    first = _axes(_cos(0.5 * splay), _cos(bank + 0.5 * splay), times)
    return first, _axes(_cos(0.5 * bank + splay), _cos(1.5 * bank + splay), times)


def _balanced_pins(bank: float, times: float = 1.0) -> tuple[Axes, Axes]:
    size = math.sin(math.radians(bank))
    return (times * size, times * size), _axes(_cos(1.5 * bank), _cos(0.5 * bank), times)


def _light_single(bank: float) -> tuple[Axes, Axes]:
    """Derived: both parts of the first order are ½·√(5 − 4·cos γ), of the second ½·√(5 + 4·cos γ): straight lines."""
    cosine = math.cos(math.radians(bank))
    return (math.sqrt(5.0 - 4.0 * cosine), 0.0), (math.sqrt(5.0 + 4.0 * cosine), 0.0)


STILL = (NONE, NONE)
HANDBOOK, DERIVED = "handbook, from memory, recomputed", "derived"
ROOT85 = math.sqrt(8.5)
V5 = math.degrees(math.acos(0.25))


def _v2(bank: float) -> Known:
    source = DERIVED if bank == 75 else HANDBOOK
    return Known(_one_pin(bank), STILL, "1-2", (360.0 - bank, 360.0 + bank), source)


def _v2_offset(bank: float) -> Known:
    return Known(_balanced_pins(bank), STILL, "1-2", (180.0 + bank, 540.0 - bank), DERIVED)


def _v3(bank: float) -> Known:
    return Known(_light_single(bank), STILL, "1-3-2", (360.0, 180.0, 180.0), DERIVED)


def _v3_heavy(bank: float) -> Known:
    return Known(_balanced_pins(bank, 2.0), STILL, "1-3-2", (360.0, 180.0 + bank, 180.0 - bank), DERIVED)


def _even(count: int) -> tuple[float, ...]:
    return (720.0 / count,) * count


KNOWN: dict[str, Known] = {
    "single": Known(((1, 0), (1, 0)), STILL, "1", (720,), HANDBOOK),
    "twin-360": Known(((2, 0), (2, 0)), STILL, "1-2", (360, 360), HANDBOOK),
    "twin-180": Known((NONE, (2, 0)), ((1, 0), NONE), "1-2", (180, 540), HANDBOOK),
    "twin-270": Known(((S2, 0), NONE), ((S2 / 2, 0), (1, 0)), "1-2", (270, 450), DERIVED),
    "v2-45": _v2(45),
    "v2-45-offset": _v2_offset(45),
    "v2-60": _v2(60),
    "v2-60-offset": _v2_offset(60),
    "v2-75": _v2(75),
    "v2-75-offset": _v2_offset(75),
    "v2-90": _v2(90),
    "inline-3": Known(STILL, ((S3, 0), (S3, 0)), "1-3-2", _even(3), HANDBOOK),
    "v3-45": _v3(45),
    "v3-45-heavy-single": _v3_heavy(45),
    "v3-80": _v3(80),
    "v3-80-heavy-single": _v3_heavy(80),
    "v3-90": _v3(90),
    "v3-90-heavy-single": _v3_heavy(90),
    "inline-4": Known((NONE, (4, 0)), STILL, "1-3-4-2", _even(4), HANDBOOK),
    "inline-4-cross": Known(STILL, ((S10, 0), NONE), "1-4-2-3", (180, 270, 180, 90), DERIVED),
    # pins opposite: the pairs' first orders make a couple, their second orders add; pins together: both add
    "v4-65": Known((NONE, _one_pin(65, 2.0)[1]), (_one_pin(65)[0], NONE), "1-4-2-3", (115, 180, 245, 180), DERIVED),
    "v4-65-offset": Known(
        (NONE, _balanced_pins(65, 2.0)[1]), (_balanced_pins(65)[0], NONE), "1-3-4-2", (180, 245, 180, 115), DERIVED
    ),
    "v4-65-360": Known(_one_pin(65, 2.0), STILL, "1-4-3-2", (295, 65, 295, 65), DERIVED),
    "v4-65-360-offset": Known(_balanced_pins(65, 2.0), STILL, "1-4-3-2", (245, 115, 245, 115), DERIVED),
    "v4-90": Known((NONE, (2 * S2, 0)), ((1, 1), NONE), "1-4-2-3", (90, 180, 270, 180), DERIVED),
    "v4-90-offset": Known(
        (NONE, _split_pins(90, 90, 2.0)[1]), (_split_pins(90, 90)[0], NONE), "1-3-4-2", _even(4), DERIVED
    ),
    "v4-90-360": Known(((2, 2), (2 * S2, 0)), STILL, "1-4-3-2", (270, 90, 270, 90), DERIVED),
    # first order: with the crank ½·√(17 − 8·cos γ) = ½·√15, against it ½·|4·cos γ − 1| = 0; second √8.5 / 2 and 1 / 2
    "v5-75": Known(
        ((math.sqrt(15) / 2, math.sqrt(15) / 2), (0.5 * (ROOT85 + 1), 0.5 * (ROOT85 - 1))),
        STILL,
        "1-4-3-2-5",
        (V5, 360.0 - V5, V5, 180.0, 180.0 - V5),
        DERIVED,
    ),
    "inline-5": Known(STILL, ((0.4490280, 0), (4.9797966, 0)), "1-2-4-5-3", _even(5), HANDBOOK),
    "inline-6": Known(STILL, STILL, "1-5-3-6-2-4", _even(6), HANDBOOK),
    "v6-60": Known(STILL, ((1.5, 1.5), (1.5, -1.5)), "1-6-2-4-3-5", _even(6), HANDBOOK),
    "v6-90": Known(STILL, ((S3, S3), (S6, 0)), "1-6-5-4-3-2", (150, 90) * 3, HANDBOOK),
    "v6-90-split": Known(STILL, ((1.5 * S2, S6 / 2), (1.5 * S2, -S6 / 2)), "1-6-2-4-3-5", _even(6), DERIVED),
    # opposed cylinders stand half a spacing apart: b = a / 2
    "flat-2": Known(STILL, ((0.5, 0), (0.5, 0)), "1-2", _even(2), HANDBOOK),
    "flat-4": Known(STILL, (NONE, (1, 0)), "1-4-2-3", _even(4), HANDBOOK),
    "flat-6": Known(STILL, STILL, "1-4-6-2-3-5", _even(6), HANDBOOK),
    "v8-cross": Known(STILL, ((S10, S10), NONE), "1-8-4-2-6-5-7-3", _even(8), HANDBOOK),
    "v8-flat": Known((NONE, (4 * S2, 0)), STILL, "1-6-5-2-7-4-3-8", _even(8), HANDBOOK),
    "v12-60": Known(STILL, STILL, "1-10-3-8-7-2-11-4-9-6-5-12", _even(12), HANDBOOK),
}
