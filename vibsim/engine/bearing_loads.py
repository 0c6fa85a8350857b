"""Loads on the crank's main bearings, the crank taken as statically determinate spans.

Each crankpin load and each rotating load is shared between its two neighbouring bearings by the lever rule, as if every
span were cut and simply supported (classical method, from memory). With two bearings that is exact; with more, the
stiffness of crank and block and the clearances shift loads from bearing to bearing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.engine.layout import Layout
from vibsim.engine.moving_mass import crank_weights
from vibsim.engine.pin_loads import PinLoads
from vibsim.inputs.models import Engine

LONE_HALF_SPAN = 0.6  # of the bore, as in rows of cylinders 1.2 bores apart (common practice, no source)


@dataclass(frozen=True)
class BearingLoads:
    """Force of the crank on each main bearing, that is on the block, (n, bearings) complex N in engine axes.

    `places` (bearings) m along the crank; `gas` from gas pressure, `inertia` from pistons and rods, `crank` from the
    crank's own unbalance and counterweights.
    """

    places: np.ndarray
    gas: np.ndarray
    inertia: np.ndarray
    crank: np.ndarray

    @property
    def without_weights(self) -> np.ndarray:
        """What would be left if the crank had neither unbalance nor counterweights."""
        return self.gas + self.inertia

    @property
    def total(self) -> np.ndarray:
        return self.without_weights + self.crank


def bearing_loads(engine: Engine, layout: Layout, pins: PinLoads) -> BearingLoads:
    """Loads over the same crank angles as the pins'.

    Webs and pins themselves count as balanced: what they lack of it belongs in the crank's `unbalance`.
    """
    places = bearing_places(engine, layout)
    shares = lever_shares(places, np.array([cylinder.at for cylinder in layout.cylinders]))
    return BearingLoads(
        places=places,
        gas=pins.gas.crankpin @ shares.T,
        inertia=pins.inertia.crankpin @ shares.T,
        crank=_weight_loads(engine, layout, pins, places),
    )


def _weight_loads(engine: Engine, layout: Layout, pins: PinLoads, places: np.ndarray) -> np.ndarray:
    rows = np.array(crank_weights(engine, layout)).reshape(-1, 3)
    angle, at, unbalance = rows.T
    pull = pins.speed**2 * unbalance * np.exp(1j * (pins.angle[:, None] + angle))
    return pull @ lever_shares(places, at).T


def lever_shares(bearings: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Share (bearings, loads) that each bearing, at rising places (m), takes of a load at each of `places` (m).

    Beyond the outermost bearings the load overhangs: the last span's lever carries it, the far bearing is lifted.
    """
    first = np.clip(np.searchsorted(bearings, places, side="right") - 1, 0, len(bearings) - 2)
    second_share = (places - bearings[first]) / (bearings[first + 1] - bearings[first])
    shares = np.zeros((len(bearings), len(places)))
    loads = np.arange(len(places))
    shares[first, loads] = 1.0 - second_share
    shares[first + 1, loads] = second_share
    return shares


def bearing_places(engine: Engine, layout: Layout) -> np.ndarray:
    """Places of the main bearings (m) along the crank, rising: as given, or derived from the throws.

    Derived ones stand midway between neighbouring stations (cylinders within half a bore along the crank) and as far
    again outside the end ones; a lone station has one 0.6 bores to either side.
    """
    given = engine.crank.main_bearings_at
    if given is not None:
        return np.array(given)
    found = stations(layout)
    if len(found) == 1:
        half = LONE_HALF_SPAN * max(cylinder.bore for cylinder in layout.cylinders)
        return np.array([found[0] - half, found[0] + half])
    middles = 0.5 * (found[:-1] + found[1:])
    return np.array([2.0 * found[0] - middles[0], *middles, 2.0 * found[-1] - middles[-1]])


def stations(layout: Layout) -> np.ndarray:
    """Places (m) along the crank, rising, at which rods work: means of cylinders within half a bore of the first."""
    groups: list[list[float]] = []
    for cylinder in sorted(layout.cylinders, key=lambda one: one.at):
        if groups and cylinder.at - groups[-1][0] <= 0.5 * cylinder.bore:
            groups[-1].append(cylinder.at)
        else:
            groups.append([cylinder.at])
    return np.array([float(np.mean(group)) for group in groups])
