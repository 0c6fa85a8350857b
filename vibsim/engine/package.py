"""What a layout costs in room: main bearings and width across. Rules of thumb, stated where they are."""

from __future__ import annotations

import math

import numpy as np

from vibsim.engine.layout import Layout

TURN = 2.0 * math.pi
BRIDGED_SPLAY = math.radians(60.0)  # pins this far apart share a web without a bearing; common practice, no source
CROWN_OVER_BORE = 0.5  # from the wrist pin to the crown of the piston; common practice, no source


def stations(layout: Layout) -> tuple[tuple[int, ...], ...]:
    """Cylinders (indices) that stand side by side along the crank, whatever their pins: within half a bore and in
    different banks, like those of one crankpin."""
    cylinders = layout.cylinders
    found: list[list[int]] = []
    for index in sorted(range(len(cylinders)), key=lambda n: cylinders[n].at):
        home = next((station for station in found if _side_by_side(layout, station, index)), None)
        if home is None:
            found.append([index])
        else:
            home.append(index)
    return tuple(tuple(station) for station in found)


def _side_by_side(layout: Layout, station: list[int], index: int) -> bool:
    cylinders, own = layout.cylinders, layout.cylinders[index]
    first = cylinders[station[0]]
    near = abs(first.at - own.at) <= 0.5 * min(first.bore, own.bore)
    return near and all(abs(math.remainder(cylinders[n].bank - own.bank, TURN)) > 1e-9 for n in station)


def main_bearings(groups: tuple[tuple[int, ...], ...], pins: np.ndarray) -> np.ndarray:
    """Main bearings (...) for stations and pin angles (..., cylinders), rad.

    One more than there are stations, and one more for each whose pins stand further apart than BRIDGED_SPLAY (common
    practice, no source).
    """
    count = np.full(pins.shape[:-1], len(groups) + 1)
    for group in groups:
        apart = np.zeros(pins.shape[:-1])
        for n, first in enumerate(group):
            for other in group[n + 1 :]:
                apart = np.maximum(apart, np.abs(wrapped(pins[..., first] - pins[..., other])))
        count += apart > BRIDGED_SPLAY + 1e-9
    return count


def wrapped(angle: np.ndarray) -> np.ndarray:
    """Angles in [−π, π), rad."""
    return np.mod(angle + math.pi, TURN) - math.pi


def width_across(layout: Layout, bank: np.ndarray | float) -> np.ndarray:
    """Width (...) m of the cylinders across the plane midway between two banks `bank` apart (...), rad; 0 for one bank.

    Derived: the outer corner of a bore at the height h of the crown at top dead centre stands h·sin(bank/2) +
    (bore/2)·cos(bank/2) from that plane; twice that, with the greatest h and bore. Heads and crankcase come on top.
    """
    height = max(c.top + CROWN_OVER_BORE * c.bore for c in layout.cylinders)
    bore = max(c.bore for c in layout.cylinders)
    half = 0.5 * np.asarray(bank)
    return 2.0 * height * np.sin(half) + bore * np.abs(np.cos(half))
