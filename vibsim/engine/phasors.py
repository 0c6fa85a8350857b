"""Free forces per order straight from the angles of banks and pins, as array operations over many layouts at once.

A cylinder pushes along its own axis with the same harmonics wherever it stands, so a layout's order is a sum of turned
copies: exact for any rod length, and cheap enough for maps, searches and scatter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.engine.layout import Layout, ResolvedCylinder

SAMPLES = 128  # per turn; the harmonics of the exact mechanism fall by about (radius / rod length)² per two orders
HIGHEST = 12


@dataclass(frozen=True)
class Cylinders:
    """What pushes, per cylinder: `slider` kg, `rotating` kg m (big end times radius), `stroke_form` (cylinders, orders)
    complex m, coefficients of e^{inψ} in −d²s/dψ² for n = 1, 2, ...; `at` m along the crank; `bank`, `pin` rad."""

    slider: np.ndarray
    rotating: np.ndarray
    stroke_form: np.ndarray
    at: np.ndarray
    bank: np.ndarray
    pin: np.ndarray


def cylinders_of(layout: Layout, highest: int = HIGHEST) -> Cylinders:
    """The cylinders of a layout as arrays."""
    found = layout.cylinders
    forms: dict[tuple[float, float, float], np.ndarray] = {}
    for c in found:
        key = (c.radius, c.rod_length, c.offset)
        if key not in forms:
            forms[key] = _stroke_form(c, highest)
    return Cylinders(
        slider=np.array([c.piston_mass + c.small_end_mass for c in found]),
        rotating=np.array([c.big_end_mass * c.radius for c in found]),
        stroke_form=np.array([forms[c.radius, c.rod_length, c.offset] for c in found]),
        at=np.array([c.at for c in found]),
        bank=np.array([c.bank for c in found]),
        pin=np.array([c.pin for c in found]),
    )


def _stroke_form(cylinder: ResolvedCylinder, highest: int) -> np.ndarray:
    """Harmonics of −s'', from the exact s = r·cos ψ + √(l² − (δ − r·sin ψ)²): −s'' has the coefficients n²·s_n."""
    psi = np.linspace(0.0, 2.0 * np.pi, SAMPLES, endpoint=False)
    reach = cylinder.rod_length**2 - (cylinder.offset - cylinder.radius * np.sin(psi)) ** 2
    place = cylinder.radius * np.cos(psi) + np.sqrt(reach)
    order = np.arange(1, highest + 1)
    return order**2 * np.fft.fft(place)[order] / SAMPLES


def order_phasors(
    parts: Cylinders, order: int, bank: np.ndarray, pin: np.ndarray, weight: np.ndarray | float = 1.0
) -> tuple[np.ndarray, np.ndarray]:
    """Forward and backward phasors (...) of one order at unit speed (kg m) for banks and pins (..., cylinders), rad.

    `weight` (cylinders) multiplies each cylinder's force: places along the crank (m) give the couple (kg m²). The
    masses of `parts` may be (..., cylinders) too, one set for each layout.
    Derived: a cylinder pushes with e^{iβ}·(m_rot·r·e^{iψ} + m·Σ s_n·e^{inψ}), ψ = θ + α − β.
    """
    lean = order * (pin - bank)
    push = parts.slider * parts.stroke_form[:, order - 1]
    turning = push + parts.rotating if order == 1 else push
    forward = np.sum(weight * turning * np.exp(1j * (bank + lean)), axis=-1)
    backward = np.sum(weight * np.conj(push) * np.exp(1j * (bank - lean)), axis=-1)
    return forward, backward


@dataclass(frozen=True)
class Eccentrics:
    """Counterweights and balance shafts: turns per crank turn, complex unbalance (kg m) at crank angle zero, place (m)
    along the crank, each (n)."""

    ratio: np.ndarray
    unbalance: np.ndarray
    at: np.ndarray


def eccentric_phasors(
    ratio: np.ndarray, unbalance: np.ndarray, order: int, weight: np.ndarray | float = 1.0
) -> tuple[np.ndarray, np.ndarray]:
    """Forward and backward phasors (...) of one order at unit speed (kg m) for unbalances (..., n) complex kg m.

    `ratio` (n) turns per crank turn; `weight` as in `order_phasors`.
    Derived: an eccentric pushes with ρ²·U·e^{iρθ}, the whole of it in the order |ρ|.
    """
    push = weight * order**2 * unbalance
    return np.sum(push * (ratio == order), axis=-1), np.sum(push * (ratio == -order), axis=-1)
