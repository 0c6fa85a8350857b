"""Some cylinders of a layout turned about the crank together, their crankpins too, and what is then left free.

A turned cylinder pushes with the same harmonics as before, only turned: its part of order n keeps its size and takes
the phase (1 − n)·Δbank + n·Δpin forward and (1 + n)·Δbank − n·Δpin backward (derived from the phases in `phasors`). So
a whole map needs the sums over the still and the turned cylinders once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.engine.balance import middle_of_throws, primary_force, throw_spacing
from vibsim.engine.layout import Layout
from vibsim.engine.phasors import cylinders_of, order_phasors
from vibsim.engine.shafts import shaft_phasors
from vibsim.inputs.models import Engine

ORDERS = (1, 2)
FORWARD, BACKWARD = 0, 1


@dataclass(frozen=True)
class Turned:
    """Which cylinders (indices) are turned, measured from where.

    `leader` is the first of them, `reference` the first that stays. `bank` (rad, 0 to π) is the angle between their
    banks as drawn and `side` the sense in which the leader's leads away (+1 in the direction of rotation); `pin` (rad,
    −π to π) is the leader's pin less the reference's.
    """

    moved: tuple[int, ...]
    reference: int
    leader: int
    bank: float
    side: float
    pin: float


def turn(layout: Layout, moved: tuple[int, ...]) -> Turned:
    """Angles as drawn of the moved cylinders (indices in file order; neither none nor all) from those that stay."""
    cylinders = layout.cylinders
    leader = moved[0]
    reference = next(index for index in range(len(cylinders)) if index not in moved)
    bank = math.remainder(cylinders[leader].bank - cylinders[reference].bank, 2.0 * math.pi)
    pin = math.remainder(cylinders[leader].pin - cylinders[reference].pin, 2.0 * math.pi)
    return Turned(moved, reference, leader, abs(bank), -1.0 if bank < -1e-9 else 1.0, pin)


def angles_at(layout: Layout, turned: Turned, bank: float, pin: float) -> tuple[np.ndarray, np.ndarray]:
    """Banks and pins (cylinders), rad, with the moved ones turned to `bank` and `pin` as in `Turned`."""
    banks, pins = (np.array([getattr(c, key) for c in layout.cylinders]) for key in ("bank", "pin"))
    moved = list(turned.moved)
    banks[moved] += turned.side * (bank - turned.bank)
    pins[moved] += pin - turned.pin
    return banks, pins


@dataclass(frozen=True)
class Parts:
    """Sums over the still (`still`) and the turned cylinders (`moving`), complex (order, force or couple, sense).

    Forces over one cylinder's primary force, couples over that times the throw spacing (the bore with one throw), both
    about the middle of the throws; balance shafts are among what is still, crank counterweights are left out.
    """

    turned: Turned
    still: np.ndarray
    moving: np.ndarray


def parts_of(engine: Engine, layout: Layout, turned: Turned) -> Parts:
    """The sums of an engine's layout."""
    cylinders = cylinders_of(layout, max(ORDERS))
    middle = middle_of_throws(layout)
    unit = primary_force(layout, 1.0)
    scales = np.array([unit, unit * (throw_spacing(layout) or layout.cylinders[0].bore)])
    moves = np.isin(np.arange(len(layout.cylinders)), turned.moved)
    arms = (np.ones(len(moves)), cylinders.at - middle)
    sums = {True: np.zeros((len(ORDERS), 2, 2), complex), False: np.zeros((len(ORDERS), 2, 2), complex)}
    for n, order in enumerate(ORDERS):
        for what, arm in enumerate(arms):
            for moving, held in sums.items():
                weight = arm * (moves == moving)
                held[n, what] = order_phasors(cylinders, order, cylinders.bank, cylinders.pin, weight)
        sums[False][n] += np.array(shaft_phasors(engine, order, middle))
    return Parts(turned, sums[False] / scales[:, None], sums[True] / scales[:, None])


def left_over(parts: Parts, bank: np.ndarray, pin: np.ndarray) -> np.ndarray:
    """What no crank counterweight reaches, (4, ...): first-order force and couple, second-order force and couple.

    At angles (...) rad that broadcast. Of the first order the part that turns against the crank, since two
    counterweights take away all that turns with it; of the second order the largest, forward and backward together.
    """
    leans = parts.turned.side * (np.asarray(bank) - parts.turned.bank), np.asarray(pin) - parts.turned.pin
    first = [abs(_phasor(parts, 0, what, BACKWARD, *leans)) for what in (0, 1)]
    second = [sum(abs(_phasor(parts, 1, what, sense, *leans)) for sense in (FORWARD, BACKWARD)) for what in (0, 1)]
    return np.array(np.broadcast_arrays(*first, *second))


def _phasor(parts: Parts, n: int, what: int, sense: int, bank: np.ndarray, pin: np.ndarray) -> np.ndarray:
    """One phasor for banks and pins turned by these angles; the phases of bank and pin apart, as a map has few of
    each."""
    order = ORDERS[n]
    banks, pins = (1 - order, order) if sense == FORWARD else (1 + order, -order)
    lean = parts.moving[n, what, sense] * np.exp(1j * banks * bank) * np.exp(1j * pins * pin)
    return parts.still[n, what, sense] + lean
