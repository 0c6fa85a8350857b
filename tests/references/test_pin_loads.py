"""Wrist pin, wall and crankpin forces against two rigid bodies held by constraints, solved by Lagrange multipliers."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from tests.cases import skewed
from vibsim.engine.layout import ResolvedCylinder
from vibsim.inputs.loader import CaseFile, build_case
from vibsim.studies.loads import find_loads

SPEED = 350.0  # rad/s


def constrained(c: ResolvedCylinder, psi: float, gas: float) -> tuple[complex, float, complex]:
    """Force on the piston at its pin, of the piston on the wall, and of the rod on the crankpin, cylinder's plane, N.

    Derived: bodies piston (x, y, turn) and rod (x, y, turn), mass matrix M, constraints C(q, t) = 0 with Jacobian K:
    the piston on its line and upright, wrist pin closed, big end on the pin that goes round; K·q̈ = −K̇·q̇ − C_tt and
    M·q̈ = Q + Kᵀ·λ. No use is made of the slider-crank's own formulas.
    """
    far = c.rod_length - c.rod_centre
    turn = math.asin((c.offset - c.radius * math.sin(psi)) / c.rod_length)
    along = np.array([math.cos(turn), math.sin(turn)])
    across = np.array([-along[1], along[0]])
    pin = c.radius * np.array([math.cos(psi), math.sin(psi)])
    jacobian = np.zeros((6, 6))
    jacobian[0, 1] = jacobian[1, 2] = 1.0
    jacobian[2:4, 0:2], jacobian[2:4, 3:5], jacobian[2:4, 5] = -np.eye(2), np.eye(2), far * across
    jacobian[4:6, 3:5], jacobian[4:6, 5] = np.eye(2), -c.rod_centre * across
    pin_rate = SPEED * np.array([-pin[1], pin[0]])
    rate = np.linalg.solve(jacobian, np.concatenate([np.zeros(4), pin_rate]))[5]
    right = np.concatenate([[0.0, 0.0], far * along * rate**2, -c.rod_centre * along * rate**2 - SPEED**2 * pin])
    acceleration = np.linalg.solve(jacobian, right)
    mass = np.array([c.piston_mass, c.piston_mass, 1.0, c.rod_mass, c.rod_mass, c.rod_inertia])
    applied = np.array([-gas, 0.0, 0.0, 0.0, 0.0, 0.0])
    found = np.linalg.solve(jacobian.T, mass * acceleration - applied)
    return complex(-found[2], -found[3]), -found[0], complex(-found[4], -found[5])


@pytest.mark.parametrize("degrees", [0.0, 37.5, 90.0, 144.0, 180.5, 271.0, 333.0, 380.0, 402.5, 700.0])
def test_against_lagrange_multipliers(degrees):
    """Source: derived. Cylinders with pin offsets, unlike rods and pistons; rod's inertia not that of two masses."""
    raw = skewed()
    raw["engine"]["firing_order"], raw["engine"]["gas"] = ["1", "2", "3"], {"source": "motored"}
    raw["engine"]["cylinder"][0]["rod"] = {"mass_g": 500.0, "centre_of_mass_mm": 45.0, "inertia_kg_mm2": 2500.0}
    loads = find_loads(CaseFile(build_case(raw), "", Path(), "case"), SPEED)
    n = round(2.0 * degrees)
    assert math.degrees(loads.pins.angle[n]) == pytest.approx(degrees)
    for index, c in enumerate(loads.layout.cylinders):
        psi = loads.pins.pin_angle[n, index] - c.bank
        wrist, wall, crankpin = constrained(c, psi, loads.pins.gas_force[n, index])
        close = {"abs": 1e-9 * np.abs(loads.pins.total.wrist_pin).max()}  # rounding of two exact solutions
        assert loads.pins.total.wrist_pin[n, index] == pytest.approx(wrist, **close)
        assert loads.pins.total.side_thrust[n, index] == pytest.approx(wall, **close)
        assert loads.pins.total.crankpin[n, index] * np.exp(-1j * c.bank) == pytest.approx(crankpin, **close)
