"""A small-motion steady run against the complex linear solution of the same mounts.

Reference (derived): (M − b·bᵀ/c)·x'' + (C + G)·x' + K·x = f + b·c'·Ω²/2c per engine order. f = −Ω²·d²/dθ² of the moving
parts' first moment and −Ω²·d/dθ of their angular momentum, taken from the slider-crank by Fourier transform; G is the
gyroscopic couple of the crank; b and c, the crank's coupling to roll and its inertia, come from eliminating its own
equation c·φ'' + b·x'' = −c'·Ω²/2. Left out is what is second order: moving mass over body mass and the fluctuation of
speed, both about 1e-3 here; hence 5e-3.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from tests.cases import mount, single
from vibsim.inputs.loader import CaseFile, build_case
from vibsim.inputs.models import Case
from vibsim.post.quantities import post_process
from vibsim.results.collect import collect
from vibsim.solver.simulate import simulate

MASS, INERTIA, CRANK_INERTIA = 500.0, (40.0, 35.0, 45.0), 1.0
SPEED = 2400.0 * math.pi / 30.0
POINTS = 720
MOUNTS = {
    "a": ([350.0, 250.0, -120.0], [4000.0, 3000.0, 6000.0], [8.0, 6.0, 9.0]),
    "b": ([380.0, -270.0, -90.0], [4200.0, 2500.0, 6000.0], [8.0, 6.0, 9.0]),
    "c": ([-360.0, 20.0, -150.0], [7000.0, 5000.0, 9000.0], [9.0, 7.0, 12.0]),
}
CYLINDERS = {"1": (0.0, 0.0, -60.0), "2": (60.0, 140.0, 60.0)}  # bank, pin (deg), place along the crank (mm)


def _case() -> Case:
    raw = single()
    raw["engine"]["crank"] = {"inertia_kg_m2": CRANK_INERTIA}
    raw["engine"]["cylinder"] = [
        {"name": name, "bank_deg": bank, "pin_deg": pin, "at_mm": at} for name, (bank, pin, at) in CYLINDERS.items()
    ]
    raw["engine"]["origin_mm"] = [20.0, 0.0, -40.0]
    raw["body"][0] |= {"mass_kg": MASS, "centre_of_mass_mm": [0.0, 0.0, 0.0], "moving_parts": "included"}
    raw["body"][0]["inertia_kg_m2"] = [*INERTIA, 0.0, 0.0, 0.0]
    raw["mount"] = [
        mount(name, at_mm=at, stiffness_N_per_mm=k, damping_N_s_per_mm=c) for name, (at, k, c) in MOUNTS.items()
    ]
    raw["run"] = {
        "kind": "steady",
        "speed_rpm": SPEED * 30.0 / math.pi,
        "duration_s": 0.1,
        "gravity": False,
        "settle_tolerance": 1e-7,
        "relative_tolerance": 1e-9,
    }
    return build_case(raw)


def _cross(vector: np.ndarray) -> np.ndarray:
    x, y, z = vector
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def _moving_points(theta: np.ndarray) -> list[tuple[float, np.ndarray]]:
    """Masses and places (n, 3) in vehicle axes about the centre of mass: rod ends and piston; crank along Y, z up."""
    radius, length, piston, rod, centre = 0.02925, 0.118, 0.280, 0.340, 0.036
    points = []
    for bank, pin, at in CYLINDERS.values():
        beta, alpha = math.radians(bank), theta + math.radians(pin)
        psi = alpha - beta
        height = radius * np.cos(psi) + np.sqrt(length**2 - (radius * np.sin(psi)) ** 2)
        small = rod * centre / length
        for mass, along, angle in ((rod - small, radius, alpha), (piston + small, height, beta + 0.0 * theta)):
            # an angle from Z towards X, the direction of rotation about Y
            place = np.stack([along * np.sin(angle), 0.0 * theta + 1e-3 * at, along * np.cos(angle)], axis=1)
            points.append((mass, place + np.array([0.020, 0.0, -0.040])))
    return points


def _forcing() -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
    """Orders, complex amplitude (orders, 6) of force and moment on the body, coupling b (6) and crank inertia c."""
    theta = np.linspace(0.0, 2.0 * math.pi, POINTS, endpoint=False)
    order = np.arange(POINTS // 2 + 1)

    def derivative(values: np.ndarray) -> np.ndarray:
        return np.fft.irfft(1j * order[:, None] * np.fft.rfft(values, axis=0), POINTS, axis=0)

    momentum, polar = np.zeros((POINTS, 6)), np.full((POINTS, 1), CRANK_INERTIA)
    for mass, place in _moving_points(theta):
        rate = derivative(place)
        momentum += mass * np.hstack([rate, np.cross(place, rate)])
        polar += mass * (rate**2).sum(axis=1, keepdims=True)
    tilt, tilt_polar = _rod_correction(theta)
    momentum[:, 4] += tilt + CRANK_INERTIA
    polar[:, 0] += tilt_polar
    coupling, inertia = momentum.mean(axis=0), float(polar.mean())
    force = SPEED**2 * (-derivative(momentum) + 0.5 * derivative(polar) * coupling / inertia)
    return order, 2.0 * np.fft.rfft(force, axis=0) / POINTS, coupling, inertia


def _rod_correction(theta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Angular momentum per crank speed and polar inertia that two-mass rods lack: (J − m·a·(l − a)) and their tilt."""
    radius, length, rod, centre, inertia = 0.02925, 0.118, 0.340, 0.036, 7e-4
    lacking = inertia - rod * centre * (length - centre)
    momentum, polar = np.zeros_like(theta), np.zeros_like(theta)
    for bank, pin, _ in CYLINDERS.values():
        psi = theta + math.radians(pin - bank)
        sine = -radius * np.sin(psi) / length
        turn = -radius * np.cos(psi) / length / np.sqrt(1.0 - sine**2)
        momentum, polar = momentum + lacking * turn, polar + lacking * turn**2
    return momentum, polar


def _linear_response() -> tuple[np.ndarray, np.ndarray]:
    """Orders and complex mount forces (orders, mounts, 3) on the ground."""
    mass = np.diag([MASS] * 3 + list(INERTIA))
    stiffness, damping = np.zeros((6, 6)), np.zeros((6, 6))
    maps = []
    for at, k, c in MOUNTS.values():
        arm = np.hstack([np.eye(3), -_cross(1e-3 * np.array(at))])  # displacement of the mount's point
        stiffness += arm.T @ np.diag(1e3 * np.array(k)) @ arm
        damping += arm.T @ np.diag(1e3 * np.array(c)) @ arm
        maps.append((arm, 1e3 * np.array(k), 1e3 * np.array(c)))
    order, force, coupling, inertia = _forcing()
    mass = mass - np.outer(coupling, coupling) / inertia  # the crank stays behind in roll
    gyroscopic = np.zeros((6, 6))
    gyroscopic[3:, 3:] = -_cross(coupling[3:] * SPEED)
    felt = []
    for n, amplitude in zip(order[:7], force[:7], strict=True):
        s = 1j * n * SPEED
        motion = np.linalg.solve(mass * s**2 + (damping + gyroscopic) * s + stiffness, amplitude)
        felt.append([(k + s * c) * (arm @ motion) for arm, k, c in maps])
    return order[:7], np.array(felt)


@pytest.mark.parametrize("order", [1, 2, 3, 4])
def test_steady_mount_forces_equal_the_linear_solution(order, steady_forces):
    _, expected = _linear_response()
    scale = np.abs(expected[order]).max()
    assert scale > 1e-2  # N: the order is there
    second_order = 1e-5 * np.abs(expected).max()  # products of the first order's motion (3e-5 m) with moving mass
    assert np.abs(steady_forces[2 * order] - expected[order]).max() < 5e-3 * scale + second_order


@pytest.fixture(scope="module", params=["settle", "periodic"])
def steady_forces(request: pytest.FixtureRequest) -> np.ndarray:
    """Complex amplitude (half orders, mounts, 3) of the forces on the ground from the time-domain solver."""
    case = _case()
    assert case.run is not None
    case = case.model_copy(update={"run": case.run.model_copy(update={"solve": request.param})})
    results = post_process(collect(simulate(case), CaseFile(case, "", Path(), "linear")))
    amplitude, phase = results["orders/mount_force_amplitude"], results["orders/mount_force_phase"]
    return amplitude * np.exp(1j * phase)
