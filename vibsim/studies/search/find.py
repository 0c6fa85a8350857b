"""Crankpin and bank angles for the least shaking under limits: the layouts among which a choice has to be made."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from vibsim.engine.balance import primary_force, throw_spacing
from vibsim.engine.firing import intervals_of, most_even_firing
from vibsim.engine.layout import Layout, resolve_layout
from vibsim.engine.leftover import MEASURES, Yardstick, measure, yardstick
from vibsim.engine.package import main_bearings, stations, width_across
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.search.choose import WORDS, choose, named, spans
from vibsim.studies.search.front import FINE, Front, beaten, cells_of
from vibsim.studies.search.refine import nearby, refine
from vibsim.studies.search.scan import AS_DRAWN, PIECE, Limits, layouts_of, scan
from vibsim.studies.search.space import Space, find_space

REAL_GAIN = 0.5  # of a cell, in some objective: less is not worth leaving the grid for
OTHERS = 0.02  # weight of the other objectives beside the one a layout is best at
LOOSE = 0.1  # of the span: how much worse the others may get beside the one a layout is best at


@dataclass(frozen=True)
class Candidate:
    """A layout: `words` what it is best at, `values` (4) as MEASURES, angle between the `bank`s, `banks` and `pins`
    (cylinders) rad, `fired` (cylinders) rad of its most even firing, main `bearings`, `width` m, and
    whether it is `refined`, off the grid."""

    words: tuple[str, ...]
    values: np.ndarray
    bank: float
    banks: np.ndarray
    pins: np.ndarray
    fired: np.ndarray
    bearings: int
    width: float
    refined: bool = False


@dataclass(frozen=True)
class Search:
    """`rows` the layouts to choose from, by rising force, with the case as `drawn` for comparison; `front` all that
    nothing beats. Of `tried` layouts `passed` kept within the limits. `unit` N is F at `speed` rad/s, None without."""

    layout: Layout
    space: Space
    yard: Yardstick
    limits: Limits
    drawn: Candidate
    rows: tuple[Candidate, ...]
    front: Front
    tried: int
    passed: int
    speed: float | None
    unit: float | None

    @property
    def couple_word(self) -> str:
        return "F·a" if throw_spacing(self.layout) else "F·bore"

    @property
    def drawn_breaks_limits(self) -> bool:
        return not _within(self.drawn, self.limits)


def find_search(
    case_file: CaseFile,
    limits: Limits,
    bank_range: tuple[float, float] | None = None,
    step: float | None = None,
    most_splay: float | None = None,
    highest: int = 4,
    radius: float | None = None,
    progress: Progress = no_progress,
    piece: int = PIECE,
) -> Search:
    """Search the crankpin angles of a case, and the angle between its two banks over `bank_range` (rad, from and to).

    `step` (rad) of the grid; `most_splay` (rad) between the pins of cylinders side by side; `highest` order counted;
    `radius` (m) of the counterweights; `piece` layouts at once in memory. Raises InputError when the case has no
    engine, when there is nothing to turn, and when the limits leave nothing.
    """
    engine, run = case_file.case.engine, case_file.case.run
    if engine is None:
        raise InputError("engine: is missing; a search needs an [engine] table")
    layout = resolve_layout(engine)
    space = find_space(layout, bank_range, step, most_splay)
    if limits.width < math.inf and space.turned is None and len({cylinder.bank for cylinder in layout.cylinders}) > 1:
        raise InputError("--widest-mm: is given, but the width is known for one or two banks only")
    yard = yardstick(engine, layout, highest, radius)
    front, tally, cell = scan(space, yard, limits, progress, piece)
    chosen = choose(front.values, cell)
    found = layouts_of(space, front.key[list(chosen)])
    rows = []
    for done, (row, words) in enumerate(chosen.items()):
        grid_row = _candidate(space, yard, words, *found[int(front.key[row])])
        rows.append(_refined(space, yard, limits, grid_row, spans(front.values, cell), cell))
        progress("refining", done + 1, len(chosen))
    speed = abs(run.speed) if run is not None and run.speed != 0.0 else None
    return Search(
        layout=layout,
        space=space,
        yard=yard,
        limits=limits,
        drawn=_candidate(space, yard, (), *layouts_of(space, np.zeros(0))[AS_DRAWN]),
        rows=_settled(rows, cell),
        front=front,
        tried=tally.tried,
        passed=tally.passed,
        speed=speed,
        unit=None if speed is None else primary_force(layout, speed),
    )


def _candidate(
    space: Space, yard: Yardstick, words: tuple[str, ...], bank: float, banks: np.ndarray, pins: np.ndarray
) -> Candidate:
    return Candidate(
        words=words,
        values=measure(yard, banks, pins),
        bank=bank,
        banks=banks,
        pins=pins,
        fired=most_even_firing(banks + yard.top - pins, yard.cycle),
        bearings=int(main_bearings(stations(space.layout), pins)),
        width=float(width_across(space.layout, bank)),
    )


def _within(row: Candidate, limits: Limits) -> bool:
    got = (row.values[2], row.bearings, row.width, row.values[3])
    most = (limits.uneven, limits.bearings, limits.width, limits.added)
    return all(value <= limit * (1.0 + 1e-9) for value, limit in zip(got, most, strict=True))


def _refined(
    space: Space, yard: Yardstick, limits: Limits, row: Candidate, span: np.ndarray, cell: np.ndarray
) -> Candidate:
    """The row moved off the grid if that gains something real.

    A row that is best at something gains in that, the others held within LOOSE of the span; any other row must get no
    worse in anything.
    """
    near = nearby(space, yard, row.bank, row.banks, row.pins)
    best_at = [number for number, words in enumerate(WORDS) if words in row.words]
    weights, most = 1.0 / span, row.values + 1e-6
    if best_at:
        others = [number for number in range(len(MEASURES)) if number not in best_at]
        weights[others] *= OTHERS
        most[others] += LOOSE * span[others]
    most = np.minimum(most, np.maximum([math.inf, math.inf, limits.uneven, limits.added], row.values + 1e-6))
    x = refine(near, weights, most)
    banks, pins = near.angles(x)
    bank = float(x[0]) if near.with_bank else row.bank
    moved = replace(_candidate(space, yard, row.words, bank, banks, pins), refined=True)
    gain = (row.values - moved.values) / cell
    real = gain[best_at].max() if best_at else gain.max()
    keeps = np.all(moved.values <= most + 0.1 * cell) and float(weights @ (gain * cell)) > 0.0
    return moved if real > REAL_GAIN and keeps and _within(moved, limits) else row


def _settled(rows: list[Candidate], cell: np.ndarray) -> tuple[Candidate, ...]:
    """By rising force, named anew, without rows that another has overtaken off the grid or come near to."""
    values = np.array([row.values for row in rows])
    fine = cells_of(values, FINE * cell)
    lost = beaten(fine, fine)
    rows = sorted((row for row, beat in zip(rows, lost, strict=True) if not beat), key=_sorting)
    values = np.array([row.values for row in rows])
    names = named(values, cell)
    kept = list(names)
    for number in range(len(rows)):
        if all(np.max(np.abs(values[number] - values[other]) / cell) > 1.0 for other in kept):
            kept.append(number)
    return tuple(replace(rows[number], words=names.get(number, ())) for number in sorted(kept))


def _sorting(row: Candidate) -> tuple[float, ...]:
    return tuple(np.round(row.values, 6))


def as_dict(found: Search) -> dict[str, Any]:
    """Plain numbers for machines, angles in degrees."""
    return {
        "tried": found.tried,
        "within_limits": found.passed,
        "unbeaten": len(found.front.key),
        "step_deg": math.degrees(found.space.step),
        "highest_order": found.yard.highest,
        "throw_spacing_mm": 1e3 * throw_spacing(found.layout),
        "couples_in": found.couple_word,
        "weight_radius_mm": 1e3 * found.yard.radius,
        "primary_force_of_one_cylinder_N": found.unit,
        "speed_rpm": None if found.speed is None else found.speed * 30.0 / math.pi,
        "as_drawn": _row(found, found.drawn) | {"within_limits": not found.drawn_breaks_limits},
        "layouts": [_row(found, row) for row in found.rows],
    }


def _row(found: Search, row: Candidate) -> dict[str, Any]:
    order, intervals = intervals_of(row.fired, found.yard.cycle)
    names = [cylinder.name for cylinder in found.layout.cylinders]
    force, couple, uneven, added = (float(value) for value in row.values)
    return {
        "best_at": list(row.words),
        "force_F": force,
        "couple": couple,
        "uneven": uneven,
        "added_kg": added,
        "bank_deg": None if found.space.turned is None else math.degrees(row.bank),
        "bank_deg_of": dict(zip(names, np.degrees(row.banks).round(6).tolist(), strict=True)),
        "pin_deg_of": dict(zip(names, np.mod(np.degrees(row.pins).round(6), 360.0).tolist(), strict=True)),
        "firing_order": [names[index] for index in order],
        "firing_intervals_deg": np.degrees(intervals).round(6).tolist(),
        "main_bearings": row.bearings,
        "width_mm": 1e3 * row.width,
        "off_the_grid": row.refined,
    }
