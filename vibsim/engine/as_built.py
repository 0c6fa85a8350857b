"""First and second order of a crank train whose parts are off by small errors, many engines at once.

Errors by key (see `tolerances`), one row per engine: masses (..., cylinders) kg; unbalances (..., places) complex kg m
at crank angle zero; angles (..., pins), (..., banks), (..., shafts) rad. Cylinders on one pin share its error. A pin's
error moves rod and piston, not the counterweight, which is drilled in the web.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from vibsim.engine.layout import Layout
from vibsim.engine.moving_mass import throw_unbalances
from vibsim.engine.phasors import Cylinders, Eccentrics, cylinders_of, eccentric_phasors, order_phasors
from vibsim.engine.tolerances import KEYS, MASSES, UNBALANCES
from vibsim.inputs.models import Engine

Errors = Mapping[str, np.ndarray]
Pair = tuple[np.ndarray, np.ndarray]
ORDERS = (1, 2)


@dataclass(frozen=True)
class Assembly:
    """A crank train to be built many times; all places are from the middle of the throws, m.

    `radius` (cylinders) m; `throws` (pins, cylinders) and `banks` (banks, cylinders) are 1 where a cylinder belongs;
    `eccentrics` (n) are the crank's, `crank_places` of them, then the balance shafts of the first two orders.
    """

    cylinders: Cylinders
    radius: np.ndarray
    throws: np.ndarray
    banks: np.ndarray
    eccentrics: Eccentrics
    crank_places: int

    def count(self, key: str) -> int:
        """How many errors of one kind the engine has."""
        if key in MASSES:
            return len(self.radius)
        shafts = len(self.eccentrics.at) - self.crank_places
        counts = {"crank": self.crank_places, "pin": len(self.throws), "bank": len(self.banks)}
        return counts.get(key, shafts)

    def weights(self, couple: bool) -> tuple[np.ndarray, np.ndarray]:
        """What multiplies the push of cylinders and eccentrics: places for the couple, ones for the force."""
        places = self.cylinders.at, self.eccentrics.at
        return places if couple else (np.ones_like(places[0]), np.ones_like(places[1]))


def assemble(engine: Engine, layout: Layout, middle: float) -> Assembly:
    """The parts of an engine about the middle of its throws (m along the crank).

    The crank is off wherever the case gives it an unbalance, or at each throw if it gives none. A single bank has no
    error: the angles are measured from it.
    """
    parts = cylinders_of(layout)
    throws = np.zeros((len(layout.throws), len(layout.cylinders)))
    for index, throw in enumerate(layout.throws):
        throws[index, list(throw)] = 1.0
    sides = [round(math.degrees(math.remainder(bank, 2.0 * math.pi)), 6) % 360.0 for bank in parts.bank]
    banks = np.array([[1.0 if side == bank else 0.0 for side in sides] for bank in dict.fromkeys(sides)])
    crank = throw_unbalances(engine, layout)
    crank += [(weight.angle, weight.at, weight.unbalance) for weight in engine.crank.counterweight]
    if not crank:
        crank = [(0.0, float(np.mean(parts.at[throw > 0.0])), 0.0) for throw in throws]
    shafts = [shaft for shaft in engine.balance_shaft if abs(shaft.ratio) in ORDERS]
    rows = [(1.0, *weight) for weight in crank] + [(s.ratio, s.angle, s.at, s.unbalance) for s in shafts]
    eccentrics = Eccentrics(
        ratio=np.array([row[0] for row in rows]),
        unbalance=np.array([cmath.rect(row[3], row[1]) for row in rows]),
        at=np.array([row[2] for row in rows]) - middle,
    )
    return Assembly(
        cylinders=replace(parts, at=parts.at - middle),
        radius=np.array([c.radius for c in layout.cylinders]),
        throws=throws,
        banks=banks if len(banks) > 1 else banks[:0],
        eccentrics=eccentrics,
        crank_places=len(crank),
    )


def no_errors(assembly: Assembly) -> dict[str, np.ndarray]:
    """One engine as drawn."""
    return {key: np.zeros((1, assembly.count(key)), complex if key in UNBALANCES else float) for key in KEYS}


def phasors_as_built(assembly: Assembly, errors: Errors, order: int, couple: bool) -> Pair:
    """Forward and backward phasors (...) of the force (kg m) or the couple (kg m²) at unit speed, order 1 or 2."""
    cylinder_weight, eccentric_weight = assembly.weights(couple)
    parts = assembly.cylinders
    heavier = replace(parts, slider=parts.slider + errors["piston"] + errors["small_end"])
    forward, backward = _cylinder_phasors(assembly, heavier, errors, order, cylinder_weight)
    unbalance = _unbalance_as_built(assembly, errors)
    ahead, against = eccentric_phasors(assembly.eccentrics.ratio, unbalance, order, eccentric_weight)
    return forward + ahead, backward + against


def rotor_unbalance(assembly: Assembly, errors: Errors) -> Pair:
    """Unbalance (...) kg m of the turning parts as built less that as drawn, and its moment (...) kg m².

    The moment is about the middle of the throws. The turning parts are the crank with its counterweights and the rods'
    big ends; pistons, small ends and balance shafts are not on the balancing machine.
    """
    sums = []
    for couple in (False, True):
        cylinder_weight, eccentric_weight = assembly.weights(couple)
        bare = replace(assembly.cylinders, slider=np.zeros_like(assembly.cylinders.slider))
        built = _cylinder_phasors(assembly, bare, errors, 1, cylinder_weight)[0]
        drawn = _cylinder_phasors(assembly, bare, no_errors(assembly), 1, cylinder_weight)[0]
        crank = np.sum(eccentric_weight[: assembly.crank_places] * errors["crank"], axis=-1)
        sums.append(built - drawn + crank)
    return sums[0], sums[1]


def _cylinder_phasors(assembly: Assembly, parts: Cylinders, errors: Errors, order: int, weight: np.ndarray) -> Pair:
    turned = replace(parts, rotating=parts.rotating + assembly.radius * errors["big_end"])
    bank, pin = parts.bank + errors["bank"] @ assembly.banks, parts.pin + errors["pin"] @ assembly.throws
    return order_phasors(turned, order, bank, pin, weight)


def _unbalance_as_built(assembly: Assembly, errors: Errors) -> np.ndarray:
    drawn, count = assembly.eccentrics.unbalance, assembly.crank_places
    shafts = (drawn[count:] + errors["shaft"]) * np.exp(1j * errors["shaft_angle"])
    return np.concatenate([drawn[:count] + errors["crank"], shafts], axis=-1)


@dataclass(frozen=True)
class Slopes:
    """Derivatives (v) of the phasors of one order by every error as drawn; an unbalance counts as two errors, along the
    direction at crank angle zero and a quarter turn ahead. `key` (v) its kind; `forward` and `backward` complex kg m
    (kg m²) per SI unit. An angle turns a phasor's part by k times itself, so its second derivative is i·k times the
    first: `turns` (2, v) holds k for forward and backward, zero for masses and unbalances.
    """

    key: np.ndarray
    forward: np.ndarray
    backward: np.ndarray
    turns: np.ndarray


def slopes(assembly: Assembly, order: int, couple: bool) -> Slopes:
    """Derivatives of one order's phasors at unit speed.

    Derived from the sum in `order_phasors`: it is linear in the masses; a pin's angle turns its part of the forward
    phasor by n and of the backward one by −n, a bank's by 1 − n and 1 + n, a balance shaft's its own by 1.
    """
    parts, (cylinder_weight, eccentric_weight) = assembly.cylinders, assembly.weights(couple)
    each, nothing = np.diag(cylinder_weight), np.zeros_like(assembly.radius)

    def push(slider: np.ndarray, rotating: np.ndarray) -> np.ndarray:
        laden = replace(parts, slider=slider, rotating=rotating)
        return np.array(order_phasors(laden, order, parts.bank, parts.pin, each))

    whole = push(parts.slider, parts.rotating)
    sliding = push(nothing + 1.0, nothing)
    ratio, count = assembly.eccentrics.ratio, assembly.crank_places
    turning = np.array(eccentric_phasors(ratio, np.ones_like(ratio), order, np.diag(eccentric_weight)))
    crank, shafts = turning[:, :count], turning[:, count:]
    pin, bank = np.array([order, -order]), np.array([1 - order, 1 + order])
    own = np.ones(2)
    none = np.zeros(2)
    found = {
        "piston": (sliding, none),
        "small_end": (sliding, none),
        "big_end": (push(nothing, assembly.radius), none),
        "crank": (np.hstack([crank, 1j * crank]), none),
        "pin": (1j * pin[:, None] * (whole @ assembly.throws.T), pin),
        "bank": (1j * bank[:, None] * (whole @ assembly.banks.T), bank),
        "shaft": (np.hstack([shafts, 1j * shafts]), none),
        "shaft_angle": (1j * shafts * assembly.eccentrics.unbalance[count:], own),
    }
    slope = np.hstack([found[key][0] for key in KEYS])
    turns = np.hstack([np.repeat(found[key][1][:, None], found[key][0].shape[1], axis=1) for key in KEYS])
    return Slopes(np.repeat(KEYS, [found[key][0].shape[1] for key in KEYS]), slope[0], slope[1], turns)
