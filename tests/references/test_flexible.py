"""Flexible bodies against directly assembled systems: a chain of masses, a beam of finite elements."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.linalg import eigh

from tests.cases import mount, packed
from tests.flexible_cases import on_flexible
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile, build_case
from vibsim.solver.linearise import linearise
from vibsim.solver.order_response import order_response
from vibsim.solver.simulate import simulate
from vibsim.studies.modes import find_modes
from vibsim.studies.response import Shake, force_response

BETA_L = (4.730041, 7.853205, 10.995608, 14.137165, 17.278760)  # free-free beam (Blevins; Rao, tables; from memory)
WEIGHTLESS = {"kind": "free", "speed_rpm": 100.0, "gravity": False}
LENGTH, BENDING, MASS = 3.0, 4.0e5, 120.0  # m, N m², kg


def body(modes: list[dict[str, Any]], mass: float) -> dict[str, Any]:
    return {
        "name": "frame",
        "mass_kg": mass,
        "centre_of_mass_mm": [0, 0, 0],
        "inertia_kg_m2": [1.0, mass * LENGTH**2 / 12.0, mass * LENGTH**2 / 12.0, 0, 0, 0],
        "mode": modes,
    }


def chain_modes(masses: np.ndarray, springs: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Stiffness (n, n) of a free chain, its squared frequencies and mass-normalised shapes (columns)."""
    stiffness = np.zeros((len(masses),) * 2)
    for n, k in enumerate(springs):
        stiffness[n : n + 2, n : n + 2] += k * np.array([[1.0, -1.0], [-1.0, 1.0]])
    squares, shapes = eigh(stiffness, np.diag(masses))
    return stiffness, squares, shapes


def test_all_modes_of_a_chain_give_the_chain_itself():
    """Reference: masses on springs in a row, held to the ground at three of them, assembled directly. No mode is left
    out, so the sum of modes is exact; 1e-6 is what differences leave of stiffness."""
    masses, springs = np.array([10.0, 20.0, 5.0, 15.0, 8.0]), np.array([4e5, 9e5, 2e5, 6e5])
    stiffness, squares, shapes = chain_modes(masses, springs)
    held = {f"m{n}": (n, k) for n, k in ((0, 3e5), (2, 8e5), (4, 1e5))}
    modes = [
        {
            "frequency_Hz": math.sqrt(squares[r]) / (2.0 * math.pi),
            "damping_ratio": 0.0,
            "shape": {name: [shapes[n, r], 0, 0] for name, (n, _) in held.items()},
        }
        for r in range(1, len(masses))
    ]
    raw = {"body": [body(modes, float(masses.sum()))], "run": WEIGHTLESS}
    raw["mount"] = [
        mount(
            name,
            between=["frame", "ground"],
            at_mm=[0, 100 * (n - 2), 20 * n % 30],
            stiffness_N_per_mm=[1e-3 * k, 0.0, 0.0],
        )
        for name, (n, k) in held.items()
    ]
    linear = linearise(packed(raw)[1])
    along = [0, 6, 7, 8, 9]
    found = eigh(linear.stiffness[np.ix_(along, along)], linear.mass[np.ix_(along, along)])[0]
    for n, k in held.values():
        stiffness[n, n] += k
    assert found == pytest.approx(eigh(stiffness, np.diag(masses))[0], rel=1e-6)


def beam_shape(root: float, x: np.ndarray) -> np.ndarray:
    """Free-free Euler–Bernoulli shape of βL = root at x/L (n), its mean square over the length 1 (Rao, Mechanical
    Vibrations, transverse vibration of beams; from memory)."""
    sigma = (math.cosh(root) - math.cos(root)) / (math.sinh(root) - math.sin(root))
    return np.cosh(root * x) + np.cos(root * x) - sigma * (np.sinh(root * x) + np.sin(root * x))


def beam_elements(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Mass and stiffness (2·(count + 1) square) of a free beam of cubic elements (textbook matrices)."""
    h = LENGTH / count
    k = np.array([[12, 6 * h, -12, 6 * h], [6 * h, 4 * h * h, -6 * h, 2 * h * h]])
    k = BENDING / h**3 * np.vstack([k, [-12, -6 * h, 12, -6 * h], [6 * h, 2 * h * h, -6 * h, 4 * h * h]])
    m = np.array([[156, 22 * h, 54, -13 * h], [22 * h, 4 * h * h, 13 * h, -3 * h * h]])
    m = np.vstack([m, [54, 13 * h, 156, -22 * h], [-13 * h, -3 * h * h, -22 * h, 4 * h * h]])
    m = m * MASS / LENGTH * h / 420.0
    mass, stiffness = np.zeros((2 * count + 2,) * 2), np.zeros((2 * count + 2,) * 2)
    for n in range(count):
        at = slice(2 * n, 2 * n + 4)
        mass[at, at] += m
        stiffness[at, at] += k
    return mass, stiffness


def test_a_free_beam_has_its_published_frequencies():
    """The reference itself: (βL)² of its elements' modes against published 4.730, 7.853, 10.996."""
    mass, stiffness = beam_elements(40)
    rates = np.sqrt(np.maximum(eigh(stiffness, mass)[0], 0.0))[2:5]
    assert np.sqrt(rates / math.sqrt(BENDING / MASS / LENGTH**3)) == pytest.approx(BETA_L[:3], rel=1e-5)


def test_a_beam_on_springs_from_its_free_modes():
    """Reference: finite elements with springs at the quarter points and the ends. Five modes of the free beam
    (published coefficients and shapes) give its lowest four frequencies to 0.3 %: modes left out would still yield."""
    springs = {"a": (0.0, 2e5), "b": (0.25, 4e5), "c": (0.75, 3e5), "d": (1.0, 2e5)}
    scale = math.sqrt(BENDING / MASS / LENGTH**3)
    modes = [
        {
            "frequency_Hz": root**2 * scale / (2.0 * math.pi),
            "damping_ratio": 0.0,
            "modal_mass_kg": MASS,
            "shape": {name: [0, 0, float(beam_shape(root, np.array(x)))] for name, (x, _) in springs.items()},
        }
        for root in BETA_L
    ]
    raw = {"body": [body(modes, MASS)], "run": WEIGHTLESS}
    raw["mount"] = [
        mount(
            name,
            between=["frame", "ground"],
            at_mm=[1e3 * LENGTH * (x - 0.5), 0, 0],
            stiffness_N_per_mm=[50, 50, 1e-3 * k],
        )
        for name, (x, k) in springs.items()
    ]
    linear = linearise(packed(raw)[1])
    upright = [2, 4, *range(6, 11)]
    found = eigh(linear.stiffness[np.ix_(upright, upright)], linear.mass[np.ix_(upright, upright)])[0]
    mass, stiffness = beam_elements(40)
    for x, k in springs.values():
        stiffness[2 * round(40 * x), 2 * round(40 * x)] += k
    expected = eigh(stiffness, mass)[0]
    assert np.sqrt(found[:4]) == pytest.approx(np.sqrt(expected[:4]), rel=3e-3)
    assert np.all(found[:4] >= expected[:4])  # Rayleigh: fewer shapes never soften


@pytest.fixture(scope="module")
def file() -> CaseFile:
    raw = on_flexible(damped=2.0)
    raw["run"] = {"kind": "steady", "speed_rpm": 1900.0, "duration_s": 0.5, "settle_tolerance": 1e-5}
    return CaseFile(build_case(raw), "", Path(), "flexible")


def test_linear_model_and_run_agree_to_one_per_cent(file):
    """Two routes: orders that matter (31.7 Hz is at the first elastic mode), at the seat and in the mounts."""
    solution = simulate(file.case)
    response = order_response(
        solution.packed, file.case.sensor, file.case.run.speed, solution.settling.load_torque, file.case.mount
    )
    sensors, mounts = response.over_angle()
    for found, values in (
        (sensors, solution.over_angle.sensor_acceleration),
        (mounts, solution.over_angle.mount_force),
    ):
        spectrum = 2.0 * np.fft.fft(values, axis=0) / len(values)
        checked = [n for n in range(1, 9) if np.abs(spectrum[n]).max() > 0.1 * np.abs(spectrum[1:]).max()]
        assert checked
        for n in checked:
            assert np.abs(found[n] - spectrum[n]).max() < 0.01 * np.abs(spectrum[n]).max()


def test_a_force_at_an_elastic_frequency_meets_its_closed_form():
    """Derived: a nearly free body at the natural frequency of a mode with damping ζ: acceleration per force
    i·φ²/(2ζ) of that mode, and 1/m + z²/J besides of the rigid body; the other mode adds φ²·r²/(1 − r²)·(−1), r its
    frequency ratio. To 1 %: mounts a thousand times softer than these bodies' inertia at 32 Hz."""
    raw = on_flexible()
    for entry in raw["mount"]:
        entry["stiffness_N_per_mm"] = [0.3, 0.3, 0.3]
        entry["damping_N_s_per_mm"] = [0.0, 0.0, 0.0]
    raw["run"]["gravity"], seat = False, (0.5, 0.1, 0.3)
    file = CaseFile(build_case(raw), "", Path(), "free")
    found = force_response(file, np.array([32.0]), Shake("chassis", "Z", seat)).sensor[0, 0, 2]
    rigid = 1.0 / 250.0 + 0.1**2 / 20.0 + 0.2**2 / 60.0
    ratio = 32.0 / 110.0
    other = -0.25 * 0.03**2 * ratio**2 / (1.0 - ratio**2)
    assert found == pytest.approx(rigid + 0.06**2 / (2 * 0.02) * 1j + other, abs=1e-3)
    with pytest.raises(InputError, match="shape"):
        force_response(file, np.array([32.0]), Shake("chassis", "Z", (0.5, 0.0, 0.0)))


def test_modes_list_the_elastic_ones_coupled_with_mounts(file):
    """Shares of kinetic energy, elastic ones among them, sum to one; the elastic modes are named and stiffened."""
    result = find_modes(file)
    whole = result.modes.energy.sum(axis=(1, 2)) + result.modes.elastic_energy.sum(axis=1)
    assert whole == pytest.approx(np.ones(14), rel=1e-9)
    moved = [result.dominant(n)[:2] for n in range(14)]
    assert ("chassis", "elastic 1") in moved and ("chassis", "elastic 2") in moved
    assert result.modes.frequency[moved.index(("chassis", "elastic 1"))] > 32.0
    assert "elastic" in result.table()[0]["energy"]
