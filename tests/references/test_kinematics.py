"""The slider-crank against an independent derivation: sympy derivatives and numerical dead centres."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
import sympy as sp
from scipy.integrate import quad
from scipy.optimize import minimize_scalar

from tests import cases
from vibsim.engine.kinematics import bottom_dead_centre, slider_crank, top_dead_centre
from vibsim.engine.layout import ResolvedCylinder
from vibsim.engine.volume import cylinder_volume

RADIUS, ROD = 0.02925, 0.118  # m
OFFSETS = [0.0, 0.004, -0.0075]  # m
ANGLES = [0.0, 0.3, 1.5707963267948966, 2.1, 3.141592653589793, 4.4, 5.9, -17.3]
NAMES = ["s", "s'", "s''", "kappa", "kappa'", "kappa''", "sigma", "sigma'", "sigma''"]


@cache
def reference():
    """The nine outputs as functions of (ψ, r, l, δ), from the triangle of throw and rod, differentiated by sympy.

    The wrist pin lies on the cylinder axis at lateral place δ and at distance l from the crankpin, on the far side.
    """
    psi, radius, rod, offset, height = sp.symbols("psi r l delta s", real=True)
    pin = sp.Matrix([radius * sp.cos(psi), radius * sp.sin(psi)])
    distance = (height - pin[0]) ** 2 + (offset - pin[1]) ** 2 - rod**2
    wrist = sp.Matrix([sp.solve(distance, height)[-1], offset])
    direction = (wrist - pin) / rod
    entries = [sp.diff(entry, psi, order) for entry in (wrist[0], *direction) for order in range(3)]
    return sp.lambdify([psi, radius, rod, offset], entries)


@pytest.mark.parametrize("output", range(9), ids=NAMES)
@pytest.mark.parametrize("offset", OFFSETS)
@pytest.mark.parametrize("psi", ANGLES)
def test_slider_crank_and_its_derivatives(psi: float, offset: float, output: int) -> None:
    """Source: derived (the circle about the crankpin cut by the cylinder axis, differentiated with sympy)."""
    found = slider_crank(math.cos(psi), math.sin(psi), RADIUS, ROD, offset)[output]
    # exact on both sides; rounding only, of numbers no larger than 1
    assert found == pytest.approx(reference()(psi, RADIUS, ROD, offset)[output], rel=1e-12, abs=1e-15)


def height(psi: float, offset: float) -> float:
    return slider_crank(math.cos(psi), math.sin(psi), RADIUS, ROD, offset)[0]


@pytest.mark.parametrize("offset", OFFSETS)
@pytest.mark.parametrize(
    ("dead_centre", "sign", "near"),
    [(top_dead_centre, -1.0, 0.0), (bottom_dead_centre, 1.0, math.pi)],
    ids=["top", "bottom"],
)
def test_dead_centres_are_the_extremes(dead_centre, sign: float, near: float, offset: float) -> None:
    """Greatest and least wrist-pin height found numerically. Source: derived (SciPy's minimiser)."""
    bounds, fine = (near - 1.0, near + 1.0), {"xatol": 1e-10}
    found = minimize_scalar(lambda psi: sign * height(psi, offset), bounds=bounds, method="bounded", options=fine)
    angle, extreme = dead_centre(RADIUS, ROD, offset)
    # near an extreme the height is flat: rounding of 1e-17 m hides angles below sqrt(1e-17 m/r) = 2e-8
    assert angle == pytest.approx(found.x, abs=2e-7)
    assert extreme == pytest.approx(sign * found.fun, rel=1e-14)
    assert slider_crank(math.cos(angle), math.sin(angle), RADIUS, ROD, offset)[1] == pytest.approx(0.0, abs=1e-16)


def offset_cylinder(offset_mm: float) -> ResolvedCylinder:
    raw = cases.single()
    raw["engine"]["cylinder"][0] |= {"bank_deg": 20.0, "pin_deg": 55.0, "piston_pin_offset_mm": offset_mm}
    layout = cases.packed(raw)[1].layout
    assert layout is not None
    return layout.cylinders[0]


@pytest.mark.parametrize("offset_mm", [0.0, 4.0, -7.5])
@pytest.mark.parametrize("angle", [0.0, 0.7, 2.9, 3.6, 9.1])
def test_volume_is_the_integral_of_its_derivative(angle: float, offset_mm: float) -> None:
    """V(θ) − V(0) against the integral of dV/dθ. Source: derived (SciPy's quadrature)."""
    cylinder = offset_cylinder(offset_mm)
    swept = quad(lambda at: float(cylinder_volume(cylinder, np.array(at))[1]), 0.0, angle, epsabs=1e-16)[0]
    volume = cylinder_volume(cylinder, np.array([0.0, angle]))[0]
    # quadrature is asked for 1e-16 m³; rounding of volumes of 3e-4 m³ adds 1e-19
    assert volume[1] - volume[0] == pytest.approx(swept, abs=1e-15)


@pytest.mark.parametrize("offset_mm", [0.0, 4.0, -7.5])
def test_volume_runs_from_clearance_to_compression_ratio(offset_mm: float) -> None:
    """Least volume, at angle 0, times the compression ratio is the greatest. Source: derived (definition)."""
    cylinder = offset_cylinder(offset_mm)
    angles = np.linspace(0.0, 2.0 * math.pi, 20001)
    volume = cylinder_volume(cylinder, angles)[0]
    # the greatest grid value misses the maximum by (V''/2)·(grid step/2)²: 5e-9 of the volume
    assert volume.argmin() in (0, 20000)
    assert volume.max() / volume[0] == pytest.approx(11.5, rel=1e-8)
