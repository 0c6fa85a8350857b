"""Every layout of the grid measured, in pieces that fit in memory."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from vibsim.engine.firing import longest_interval
from vibsim.engine.leftover import Yardstick, after_counterweights, phasors_of
from vibsim.engine.package import main_bearings, stations, width_across
from vibsim.inputs.errors import InputError
from vibsim.solver.simulate import Progress
from vibsim.studies.search.front import Front, best_at_each, empty_front, joined, together
from vibsim.studies.search.space import Space

PIECE = 16384  # layouts measured at once
AS_DRAWN = -1  # number of the case as drawn
CELL = (0.02, 0.02, 0.02, 0.05)  # candidates closer than this are one: in F, F·a, evenness, F's mass


@dataclass(frozen=True)
class Limits:
    """What a layout may have at most: unevenness, main bearings, width (m), counterweight mass (kg)."""

    uneven: float = math.inf
    bearings: float = math.inf
    width: float = math.inf
    added: float = math.inf

    def measured(self, uneven: np.ndarray, bearings: np.ndarray, width: np.ndarray, added: np.ndarray) -> dict:
        """What each limit in force is held against."""
        found = {"uneven": uneven, "bearings": bearings, "width": width, "added": added}
        return {name: values for name, values in found.items() if math.isfinite(getattr(self, name))}


# option, format of a value, and what the least of it is called
LIMIT_WORDS = {
    "uneven": ("--most-uneven", "{:.4g}", "the most even firing there is has {:.4g}"),
    "bearings": ("--most-bearings", "{:.0f}", "the fewest there are is {:.0f}"),
    "width": ("--widest-mm", "{:.4g}", "the narrowest there is has {:.4g}"),
    "added": ("--most-added-kg", "{:.4g}", "the lightest there is has {:.4g}"),
}


@dataclass
class Tally:
    """What the limits let through: the least of each quantity, how many layouts were tried and how many passed."""

    limits: Limits
    least: dict[str, float] = field(default_factory=dict)
    tried: int = 0
    passed: int = 0

    def pass_mask(self, measured: dict[str, np.ndarray], count: int) -> np.ndarray:
        """Which of `count` layouts keep within every limit (with rounding in their favour)."""
        inside = np.ones(count, dtype=bool)
        for name, values in measured.items():
            self.least[name] = min(self.least.get(name, math.inf), float(np.min(values)))
            inside &= values <= getattr(self.limits, name) * (1.0 + 1e-9)
        self.tried += count
        self.passed += int(inside.sum())
        return inside

    def complain(self) -> None:
        """Raise InputError when nothing passed, with the limit that did it."""
        if self.passed:
            return
        given = []
        for name, least in self.least.items():
            option, form, words = LIMIT_WORDS[name]
            scale, limit = (1e3 if name == "width" else 1.0), getattr(self.limits, name)
            if least > limit * (1.0 + 1e-9):
                value = form.format(limit * scale)
                raise InputError(f"{option}: got {value}; leaves no layout, {words.format(least * scale)}")
            given.append(f"{option} {form.format(limit * scale)}")
        raise InputError(f"{', '.join(given)}: each leaves some layouts, together they leave none")


@dataclass(frozen=True)
class Piece:
    """Neighbouring layouts of the grid: angle between banks, banks and pins (k, cylinders) rad, and phasors."""

    bank: float
    banks: np.ndarray
    pins: np.ndarray
    phasors: np.ndarray
    key: np.ndarray


def pieces(space: Space, yard: Yardstick, size: int = PIECE) -> Iterator[Piece]:
    """All layouts of the grid in pieces; they are numbered on over the bank angles.

    A pin's phasors are worked out once for each of its angles and added up over pins.
    """
    begin = 0
    for bank in space.banks:
        choices, banks = space.choices(float(bank)), space.bank_angles(float(bank))
        dims = tuple(len(angles) for angles in choices)
        tables = [_table(space, yard, banks, choices, number) for number in range(len(choices))]
        total = math.prod(dims)
        for start in range(0, total, size):
            number = np.arange(start, min(start + size, total))
            places = np.unravel_index(number, dims)
            pins = np.empty((len(number), len(banks)))
            phasors = np.broadcast_to(yard.shafts, (len(number), *yard.shafts.shape)).copy()
            for (angles, table), pin, place in zip(tables, space.pins, places, strict=True):
                row = place if pin.lead is None else places[pin.lead] * len(choices[space.pins.index(pin)]) + place
                pins[:, list(pin.cylinders)] = angles[row, None]
                phasors += table[row]
            yield Piece(float(bank), banks, pins, phasors, begin + number)
        begin += total


def _table(
    space: Space, yard: Yardstick, banks: np.ndarray, choices: list[np.ndarray], number: int
) -> tuple[np.ndarray, np.ndarray]:
    """Absolute angles (n) of a pin and its phasors (n, orders, 2, 2): for each own choice, or for each choice of its
    lead and itself."""
    pin, angles = space.pins[number], choices[number]
    if pin.lead is not None:
        angles = (choices[pin.lead][:, None] + angles[None, :]).ravel()
    all_pins = np.repeat(angles[:, None], len(banks), axis=1)
    return angles, phasors_of(yard, banks, all_pins, pin.cylinders)


def _drawn(space: Space, yard: Yardstick) -> list[Piece]:
    """The case as drawn, if it is one of the space."""
    if not space.holds_drawn:
        return []
    banks, pins = space.bank_angles(space.drawn_bank), space.pin_angles[None]
    phasors = phasors_of(yard, banks, pins) + yard.shafts
    return [Piece(space.drawn_bank, banks, pins, phasors, np.array([AS_DRAWN]))]


def scan(
    space: Space, yard: Yardstick, limits: Limits, progress: Progress, size: int = PIECE
) -> tuple[Front, Tally, np.ndarray]:
    """Front of the grid within the limits with the best at each objective, what the limits let through, cell sizes.

    The case as drawn takes part, on the grid or not, if it keeps to the space. Raises InputError when the limits leave
    nothing.
    """
    cell = np.array(CELL) * np.array([1.0, 1.0, 1.0, yard.unit / yard.radius])
    front, tally, total = empty_front(len(CELL)), Tally(limits), space.count()
    champions = empty_front(len(CELL))
    groups, even = stations(space.layout), yard.cycle / len(yard.top)
    for piece in itertools.chain(pieces(space, yard, size), _drawn(space, yard)):
        force, couple, added = after_counterweights(yard, piece.phasors)
        uneven = longest_interval(piece.banks + yard.top - piece.pins, yard.cycle) / even
        width = width_across(space.layout, piece.bank)
        bearings = main_bearings(groups, piece.pins)
        inside = tally.pass_mask(limits.measured(uneven, bearings, width, added), len(force))
        values = np.stack([force, couple, uneven, added], axis=-1)[inside]
        if len(values):
            front = joined(front, values, piece.key[inside], cell)
            champions = best_at_each(champions, values, piece.key[inside], cell)
        progress("searching", tally.tried, total)
    tally.complain()
    return together(front, champions), tally, cell


def layouts_of(space: Space, keys: np.ndarray) -> dict[int, tuple[float, np.ndarray, np.ndarray]]:
    """Angle between banks, banks and pins (cylinders) rad of layouts by their numbers."""
    found = {AS_DRAWN: (space.drawn_bank, space.bank_angles(space.drawn_bank), space.pin_angles)}
    begin = 0
    for bank in space.banks:
        choices, banks = space.choices(float(bank)), space.bank_angles(float(bank))
        dims = tuple(len(angles) for angles in choices)
        total = math.prod(dims)
        for key in keys[(keys >= begin) & (keys < begin + total)]:
            places = np.unravel_index(int(key) - begin, dims)
            pins = np.empty(len(banks))
            for number, pin in enumerate(space.pins):
                angle = choices[number][places[number]]
                if pin.lead is not None:
                    angle = angle + choices[pin.lead][places[pin.lead]]
                pins[list(pin.cylinders)] = angle
            found[int(key)] = (float(bank), banks, pins)
        begin += total
    return found
