"""What no crank counterweight reaches, over the angle between two banks and the offset of their crankpins."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from vibsim.engine.balance import primary_force, throw_spacing
from vibsim.engine.layout import Layout, resolve_layout
from vibsim.engine.turned import Parts, Turned, left_over, parts_of, turn
from vibsim.inputs.errors import InputError, nearest
from vibsim.inputs.loader import CaseFile
from vibsim.studies.balance import NEGLIGIBLE

QUANTITIES = ("first_force", "first_couple", "second_force", "second_couple")
FEWEST, MOST = 10, 1000  # points along each axis
REST = (1e-2, 1e-4, 1e-6)  # weight of what is not asked for: decides among points equally good in what is

SAME_PLACE = math.radians(0.05)


@dataclass(frozen=True)
class Point:
    """One point of the map: `words` say what it is, angles rad, `values` (4) as QUANTITIES in F and F·a."""

    words: str
    bank: float
    pin: float
    values: np.ndarray


@dataclass(frozen=True)
class AngleMap:
    """`values` (4, banks, pins) over `bank` and `pin` (rad), in F, one cylinder's primary force, and F·a.

    `arm` the throw spacing a (m, 0 for one throw, whose couples are in F·bore); `speed` rad/s and `unit` F in N at it,
    None without a speed. `points` are the case as drawn and the best found.
    """

    layout: Layout
    turned: Turned
    bank: np.ndarray
    pin: np.ndarray
    values: np.ndarray
    points: tuple[Point, ...]
    arm: float
    speed: float | None
    unit: float | None

    @property
    def couple_word(self) -> str:
        return "F·a" if self.arm else "F·bore"

    def names(self, indices: tuple[int, ...]) -> str:
        return ", ".join(self.layout.cylinders[index].name for index in indices)


def find_map(
    case_file: CaseFile,
    move: list[str] | None = None,
    banks: tuple[float, float] = (0.0, math.pi),
    pins: tuple[float, float] = (-math.pi, math.pi),
    count: int = 200,
    speed: float | None = None,
) -> AngleMap:
    """Map over bank angles and pin offsets (rad, from and to), `count` points along each.

    `move` names the cylinders to turn, by default all outside the first cylinder's bank. Raises InputError when the
    case has no engine, when there is nothing to turn, and for a name that no cylinder has.
    """
    engine = case_file.case.engine
    if engine is None:
        raise InputError("engine: is missing; a map needs an [engine] table")
    layout = resolve_layout(engine)
    turned = turn(layout, _moved(layout, move))
    parts = parts_of(engine, layout, turned)
    bank, pin = np.linspace(*banks, count), np.linspace(*pins, count)
    values = left_over(parts, bank[:, None], pin[None, :])
    if speed is None and case_file.case.run is not None:
        speed = abs(case_file.case.run.speed) or None
    return AngleMap(
        layout=layout,
        turned=turned,
        bank=bank,
        pin=pin,
        values=values,
        points=(_drawn(parts), *_best_points(parts, bank, pin)),
        arm=throw_spacing(layout),
        speed=speed,
        unit=None if speed is None else primary_force(layout, speed),
    )


def _moved(layout: Layout, move: list[str] | None) -> tuple[int, ...]:
    cylinders = layout.cylinders
    names = [cylinder.name for cylinder in cylinders]
    if move is None:
        away = [abs(math.remainder(c.bank - cylinders[0].bank, 2.0 * math.pi)) > 1e-9 for c in cylinders]
        if not any(away):
            raise InputError(
                f"--move: is missing; all cylinders are in one bank, so name those to turn, of {', '.join(names)}"
            )
        return tuple(index for index, apart in enumerate(away) if apart)
    for name in move:
        if name not in names:
            raise InputError(f"--move: got '{name}'; no cylinder has this name, {nearest(name, names)}")
    if len(set(move)) == len(names):
        raise InputError(f"--move: got {', '.join(move)}; must leave at least one cylinder to measure from")
    return tuple(index for index, name in enumerate(names) if name in move)


def _drawn(parts: Parts) -> Point:
    bank, pin = parts.turned.bank, parts.turned.pin
    return Point("as drawn", bank, pin, left_over(parts, np.array(bank), np.array(pin)))


# what is asked for of the first order, as shares of the four squared quantities
WANTED = {
    "least force": (1.0, 0.0, 0.0, 0.0),
    "least couple": (0.0, 1.0, 0.0, 0.0),
    "least of both": (1.0, 1.0, 0.0, 0.0),
}


def _best_points(parts: Parts, bank: np.ndarray, pin: np.ndarray) -> list[Point]:
    """The best of each kind inside the map, and at the bank angle as drawn if the map has it.

    A kind that is next to nothing all over the map has no best point.
    """
    there = left_over(parts, bank[:, None], pin[None, :]).max(axis=(1, 2)) > NEGLIGIBLE
    kinds = {words: np.array(share) for words, share in WANTED.items() if np.any(there & (np.array(share) > 0.0))}
    points = _merged([_best(words, parts, share, bank, pin) for words, share in kinds.items()])
    drawn = parts.turned.bank
    if bank[0] - 1e-9 <= drawn <= bank[-1] + 1e-9:
        kept = _merged([_best(words, parts, share, np.array([drawn]), pin) for words, share in kinds.items()])
        points += [replace(point, words=f"{point.words}, bank as drawn") for point in kept]
    return points


def _merged(points: list[Point]) -> list[Point]:
    """One point for each place."""
    found: list[Point] = []
    for point in points:
        same = [n for n, other in enumerate(found) if _distance(point, other) < SAME_PLACE]
        if same:
            found[same[0]] = replace(found[same[0]], words=f"{found[same[0]].words} and {point.words}")
        else:
            found.append(point)
    return found


def _distance(point: Point, other: Point) -> float:
    return max(abs(point.bank - other.bank), abs(point.pin - other.pin))


def _best(words: str, parts: Parts, wanted: np.ndarray, bank: np.ndarray, pin: np.ndarray) -> Point:
    """From the best points of the grid down to the bottom of their valley.

    Where a whole valley is as good, what is not asked for decides: its weight starts high enough to choose the place in
    the valley and ends too low to be felt.
    """
    squares = left_over(parts, bank[:, None], pin[None, :]) ** 2
    found = []
    for first in (REST[0], REST[-1]):
        row, column = np.unravel_index(np.argmin(np.tensordot(wanted + first, squares, 1)), squares.shape[1:])
        angles = np.array([bank[row], pin[column]])
        for rest in REST:
            angles = _descend(parts, wanted + rest, angles, (bank, pin))
        found.append(angles)
    values = [left_over(parts, *angles) for angles in found]
    choice = int(np.argmin([(wanted + REST[-1]) @ value**2 for value in values]))
    return Point(words, float(found[choice][0]), float(found[choice][1]), values[choice])


def _descend(parts: Parts, weights: np.ndarray, start: np.ndarray, axes: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    from scipy.optimize import minimize

    def cost(angles: np.ndarray) -> float:
        return float(weights @ left_over(parts, angles[0], angles[1]) ** 2)

    bounds = [(float(axis.min()), float(axis.max())) for axis in axes]
    found = minimize(cost, start, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-15, "gtol": 1e-9})
    return found.x if found.fun < cost(start) else start


def as_dict(found: AngleMap) -> dict[str, Any]:
    """Plain numbers for machines: angles in degrees, the four quantities over the grid and at the points."""
    return {
        "moved_cylinders": [found.layout.cylinders[index].name for index in found.turned.moved],
        "bank_from_cylinder": found.layout.cylinders[found.turned.reference].name,
        "throw_spacing_mm": 1e3 * found.arm,
        "forces_in": "F, the primary force of one cylinder",
        "couples_in": found.couple_word,
        "primary_force_of_one_cylinder_N": found.unit,
        "speed_rpm": None if found.speed is None else found.speed * 30.0 / math.pi,
        "points": [point_row(point) for point in found.points],
        "bank_deg": np.degrees(found.bank).tolist(),
        "pin_deg": np.degrees(found.pin).tolist(),
        "over_bank_and_pin": {
            key: values.round(6).tolist() for key, values in zip(QUANTITIES, found.values, strict=True)
        },
    }


def point_row(point: Point) -> dict[str, Any]:
    values = {key: float(value) for key, value in zip(QUANTITIES, point.values, strict=True)}
    return {"point": point.words, "bank_deg": math.degrees(point.bank), "pin_deg": math.degrees(point.pin)} | values
