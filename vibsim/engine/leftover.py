"""What the best crank counterweights leave of a layout's free forces, and what they weigh: many layouts at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.engine.balance import middle_of_throws, primary_force, throw_spacing
from vibsim.engine.firing import longest_interval
from vibsim.engine.kinematics import top_dead_centre
from vibsim.engine.layout import Layout
from vibsim.engine.phasors import Cylinders, cylinders_of, order_phasors
from vibsim.engine.shafts import shaft_phasors
from vibsim.inputs.models import Engine

MEASURES = ("force", "couple", "uneven", "added")


@dataclass(frozen=True)
class Yardstick:
    """What layouts of one engine are measured by, the same for all of them.

    `parts` the cylinders; `middle` m along the crank, about which couples are taken; `planes` the two places of
    counterweights from there, m; `unit` kg m, one cylinder's primary force at unit speed; `arm` m, the throw spacing or
    with one throw the bore; `radius` m of a counterweight's centre of mass; `shafts` (orders, 2, 2) what the balance
    shafts add; `highest` order counted; `top` rad, each cylinder's top dead centre from its bank; `cycle` rad.
    """

    parts: Cylinders
    middle: float
    planes: tuple[float, float]
    unit: float
    arm: float
    radius: float
    shafts: np.ndarray
    highest: int
    top: np.ndarray
    cycle: float


def yardstick(engine: Engine, layout: Layout, highest: int, radius: float | None = None) -> Yardstick:
    """The yardstick of an engine as drawn; `radius` (m) of the counterweights is the throw's unless given.

    The counterweights stand in the planes of the outermost throws, or a bore apart with one throw.
    """
    first, middle = layout.cylinders[0], middle_of_throws(layout)
    places = [cylinder.at for cylinder in layout.cylinders]
    half = max(0.5 * (max(places) - min(places)), 0.5 * first.bore)
    return Yardstick(
        parts=cylinders_of(layout, highest),
        middle=middle,
        planes=(-half, half),
        unit=primary_force(layout, 1.0),
        arm=throw_spacing(layout) or first.bore,
        radius=first.radius if radius is None else radius,
        shafts=np.array([shaft_phasors(engine, order, middle) for order in range(1, highest + 1)]),
        highest=highest,
        top=np.array([top_dead_centre(c.radius, c.rod_length, c.offset)[0] for c in layout.cylinders]),
        cycle=layout.cycle,
    )


def phasors_of(yard: Yardstick, bank: np.ndarray, pin: np.ndarray, only: tuple[int, ...] | None = None) -> np.ndarray:
    """Phasors (..., orders, force or couple, forward or backward) kg m and kg m² at unit speed, without shafts.

    For banks and pins (..., cylinders) rad; `only` some of the cylinders push. They add up over cylinders.
    """
    pushes = np.ones(len(yard.top)) if only is None else np.isin(np.arange(len(yard.top)), only).astype(float)
    arms = (pushes, pushes * (yard.parts.at - yard.middle))
    orders = range(1, yard.highest + 1)
    found = [[order_phasors(yard.parts, order, bank, pin, arm) for arm in arms] for order in orders]
    return np.moveaxis(np.array(found), (0, 1, 2), (-3, -2, -1))


def after_counterweights(yard: Yardstick, phasors: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Force in F, couple in F·a and mass (kg) of the two best counterweights, each (...), for phasors of the whole.

    The measure of force is its root mean square over the revolution: of Σ P·e^{inθ} + Q·e^{−inθ} the mean square is
    Σ |P|² + |Q|² (Parseval), so orders that differ in size count as they are felt in all directions and no crank angle
    is singled out. The counterweights take away the forward first order of both force and couple, which is the least
    this measure can have (closed form: U₁ + U₂ = −P, x₁·U₁ + x₂·U₂ = −K at unit speed).
    """
    push, turn = phasors[..., 0, 0, 0], phasors[..., 0, 1, 0]
    first, second = yard.planes
    right = (first * push - turn) / (second - first)
    added = (np.abs(push + right) + np.abs(right)) / yard.radius
    square = phasors.real**2 + phasors.imag**2
    sizes = np.sqrt(square[..., 1].sum(axis=-2) + square[..., 1:, :, 0].sum(axis=-2))
    return sizes[..., 0] / yard.unit, sizes[..., 1] / (yard.unit * yard.arm), added


def unevenness(yard: Yardstick, bank: np.ndarray, pin: np.ndarray) -> np.ndarray:
    """Longest firing interval over the even one (...), of the most even firing there is; 1 is even."""
    return longest_interval(bank + yard.top - pin, yard.cycle) / (yard.cycle / len(yard.top))


def measure(yard: Yardstick, bank: np.ndarray, pin: np.ndarray) -> np.ndarray:
    """MEASURES (..., 4) of layouts with banks and pins (..., cylinders), rad."""
    force, couple, added = after_counterweights(yard, phasors_of(yard, bank, pin) + yard.shafts)
    return np.stack([force, couple, unevenness(yard, bank, pin), added], axis=-1)
