"""What a search may turn: crankpins all round, pins of one station against each other, and one bank against the other.

The grid of a pin holds whole steps from the first pin and, besides, the angles at which its top dead centre falls whole
steps from that of the first cylinder, so that even firing is on the grid at any bank angle.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from vibsim.engine.layout import Layout
from vibsim.engine.package import TURN, stations, wrapped
from vibsim.engine.turned import Turned, turn
from vibsim.inputs.errors import InputError

MOST_BY_DEFAULT = 2_100_000  # candidates that a default step may lead to
MOST = 50_000_000
FINEST = 360  # steps to a turn
FEWEST_BANKS = 12  # steps over the range of bank angles


@dataclass(frozen=True)
class Pin:
    """A crankpin with its cylinders (indices). `lead` is the pin of its station that it is splayed from, None for one
    that goes all round."""

    cylinders: tuple[int, ...]
    lead: int | None = None


@dataclass(frozen=True)
class Space:
    """The layouts to be searched. `pins`, the first of which stays; `splay` (rad) the most between pins of a station;
    `turned` how one bank is turned, None when banks stay, over `bank_range` (rad, from and to); `step` rad."""

    layout: Layout
    pins: tuple[Pin, ...]
    splay: float
    turned: Turned | None
    bank_range: tuple[float, float] | None
    step: float

    @property
    def pin_angles(self) -> np.ndarray:
        """Pins (cylinders) as drawn, rad."""
        return np.array([cylinder.pin for cylinder in self.layout.cylinders])

    def bank_angles(self, bank: np.ndarray | float) -> np.ndarray:
        """Banks (..., cylinders) rad for angles (...) between the two banks."""
        drawn = np.array([cylinder.bank for cylinder in self.layout.cylinders])
        if self.turned is None:
            return drawn + np.zeros_like(np.asarray(bank, dtype=float))[..., None]
        moves = np.isin(np.arange(len(drawn)), self.turned.moved)
        return drawn + moves * (self.turned.side * (np.asarray(bank) - self.turned.bank))[..., None]

    @property
    def banks(self) -> np.ndarray:
        """Angles between the banks on the grid, with the one as drawn, rad; 0 alone when there is no second bank."""
        drawn = self.drawn_bank
        if self.bank_range is None:
            return np.array([drawn])
        low, high = self.bank_range
        count = math.ceil((high - low) / min(self.step, (high - low) / FEWEST_BANKS) - 1e-9)
        grid = np.linspace(low, high, count + 1)
        inside = low < drawn < high and np.abs(grid - drawn).min() > 1e-9
        return np.sort(np.append(grid, drawn)) if inside else grid

    @property
    def drawn_bank(self) -> float:
        """Angle between the banks as drawn, rad; 0 when there are not two."""
        return 0.0 if self.turned is None else self.turned.bank

    @property
    def holds_drawn(self) -> bool:
        """Whether the case as drawn keeps to the bank angles and the splay."""
        low, high = self.bank_range or (self.drawn_bank, self.drawn_bank)
        pins = self.pin_angles
        splays = [
            float(wrapped(pins[pin.cylinders[0]] - pins[self.pins[pin.lead].cylinders[0]]))
            for pin in self.pins
            if pin.lead is not None
        ]
        inside = low - 1e-9 <= self.drawn_bank <= high + 1e-9
        return inside and all(abs(splay) <= self.splay + 1e-9 for splay in splays)

    def choices(self, bank: float) -> list[np.ndarray]:
        """Candidate angles of each pin (rad): absolute, or from its lead. The first pin has one."""
        banks, pins = self.bank_angles(bank), self.pin_angles
        steps = self.step * np.arange(round(TURN / self.step + 0.499))
        found = [pins[[self.pins[0].cylinders[0]]]]
        for pin in self.pins[1:]:
            first = self.pins[0 if pin.lead is None else pin.lead].cylinders[0]
            offset = banks[pin.cylinders[0]] - banks[first]
            angles = wrapped(_different(np.concatenate([steps, offset - steps])))
            if pin.lead is None:
                found.append(pins[first] + angles)
            else:
                found.append(angles[np.abs(angles) <= self.splay + 1e-9])
        return found

    def count(self) -> int:
        """How many layouts the grid holds."""
        return sum(math.prod(len(angles) for angles in self.choices(float(bank))) for bank in self.banks)


def _different(angles: np.ndarray) -> np.ndarray:
    """Angles without those that are the same on a circle."""
    _, index = np.unique(np.round(np.mod(angles + 1e-9, TURN), 7), return_index=True)
    return angles[np.sort(index)]


def two_banks(layout: Layout) -> Turned | None:
    """How the bank that is not the first cylinder's is turned; None for any other number of banks than two."""
    cylinders = layout.cylinders
    away = [math.remainder(c.bank - cylinders[0].bank, TURN) for c in cylinders]
    moved = tuple(index for index, angle in enumerate(away) if abs(angle) > 1e-9)
    if not moved or any(abs(math.remainder(away[index] - away[moved[0]], TURN)) > 1e-9 for index in moved):
        return None
    return turn(layout, moved)


def find_space(
    layout: Layout, bank_range: tuple[float, float] | None, step: float | None, splay: float | None
) -> Space:
    """The space of a layout: `bank_range` (rad) and `step` (rad) or None for their defaults.

    Without a most `splay` (rad), cylinders that share a crankpin keep sharing it and every other pin goes all round;
    with one, the cylinders side by side may stand that far apart. Raises InputError when there is nothing to turn, no
    second bank to turn, or too much to try.
    """
    turned = two_banks(layout)
    if bank_range is not None and turned is None:
        raise InputError("--bank-deg: is given, but the case has not two banks of cylinders to turn against each other")
    pins = _pins(layout, splay is not None)

    def with_step(value: float) -> Space:
        return Space(layout, pins, splay or 0.0, turned, bank_range, value)

    if bank_range is None and len(pins) == 1:
        raise InputError(
            "engine.cylinder: there is one crankpin and nothing to turn; give --bank-deg or --most-splay-deg"
        )
    if step is None:
        return _by_default(with_step, len(layout.cylinders))
    space = with_step(step)
    if space.count() > MOST:
        raise InputError(
            f"--step-deg: got {math.degrees(step):g}; makes {space.count():.3g} layouts to try, at most {MOST:g} can be"
        )
    return space


def _pins(layout: Layout, split: bool) -> tuple[Pin, ...]:
    groups: list[list[tuple[int, ...]]]
    if split:
        groups = [[(index,) for index in sorted(station)] for station in stations(layout)]
    else:
        groups = [[(*sorted(throw),)] for throw in layout.throws]
    pins: list[Pin] = []
    for group in sorted(groups):
        lead = len(pins)
        pins += [Pin(cylinders, None if n == 0 else lead) for n, cylinders in enumerate(group)]
    return tuple(pins)


def _by_default(with_step: Callable[[float], Space], cylinders: int) -> Space:
    """The finest whole part of a turn that keeps within MOST_BY_DEFAULT, with quarter turns and even firing on it if
    that can be."""
    for unit in (math.lcm(4, cylinders), cylinders, 1):
        parts = [n for n in range(unit, FINEST + 1, unit) if n > 1]
        fit = bisect_right(parts, MOST_BY_DEFAULT, key=lambda n: with_step(TURN / n).count())
        if fit:
            return with_step(TURN / parts[fit - 1])
    raise InputError("engine.cylinder: there are too many free crankpins to try even half turns; hold some together")
