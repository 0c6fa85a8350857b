"""Mass on a spring and damper under a turning unbalance, car on two springs, rigid-body modes: closed forms."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import numpy as np
import pytest

from tests import cases
from vibsim.solver.linearise import Linear, linearise
from vibsim.solver.simulate import simulate
from vibsim.solver.start import equilibrium
from vibsim.structure.modes import Modes, modes_of

SQRT2 = math.sqrt(2.0)
MASS, NATURAL = 10.0, 100.0  # kg, rad/s
UNBALANCE_KG_MM = 0.1  # of the counterweight and again of the shaft
SETTLING = 5.0  # s, which leaves e⁻²⁵ of the transient at damping 0.05; with no damping it is fitted away


def unbalanced_mass(ratio: float, damping: float) -> dict[str, Any]:
    """A block on one vertical spring and damper, shaken along Z alone at `ratio` times its natural frequency.

    A counterweight and an equal shaft turning backwards, both on the axis through the centre of mass, push along Z with
    2·u·ω²·cos ωt. Piston and rod weigh nothing; a crank of 1e4 kg m² does not feel the torque that shaking asks of it,
    nor a block of that inertia, which nothing else holds in roll, the reaction.
    """
    raw = cases.single()
    engine, body = raw["engine"], raw["body"][0]
    engine |= {"piston": {"mass_g": 0.0}, "rod": {"mass_g": 0.0}, "origin_mm": [0.0, 0.0, 50.0]}
    weight = {"angle_deg": 0.0, "at_mm": 0.0, "unbalance_kg_mm": UNBALANCE_KG_MM}
    engine["crank"] = {"inertia_kg_m2": 1e4, "counterweight": [weight]}
    engine["balance_shaft"] = [weight | {"ratio": -1.0}]
    body |= {"mass_kg": MASS, "moving_parts": "separate", "inertia_kg_m2": [1e4, 1e4, 1e4, 0.0, 0.0, 0.0]}
    rates = {
        "stiffness_N_per_mm": [0.0, 0.0, 1e-3 * MASS * NATURAL**2],
        "damping_N_s_per_mm": [0.0, 0.0, 2e-3 * damping * MASS * NATURAL],
    }
    raw["mount"] = [cases.mount("mount", between=["ground", "powertrain"], at_mm=[0.0, 0.0, 50.0], **rates)]
    rpm = ratio * NATURAL * 30.0 / math.pi
    raw["run"] |= {
        "speed_rpm": rpm,
        "duration_s": SETTLING + 1.0,
        "sample_rate_Hz": 2000.0,
        "relative_tolerance": 1e-10,
    }
    return raw


@cache
def amplitudes(ratio: float, damping: float) -> tuple[float, float]:
    """Settled amplitudes of displacement over 2·u/m and of mount force over 2·u·ω², from a run of the solver."""
    solution = simulate(cases.packed(unbalanced_mass(ratio, damping))[0])
    late = solution.time >= SETTLING
    time, seen, omega = solution.time[late], solution.over_time, ratio * NATURAL
    columns = [np.cos(omega * time), np.sin(omega * time)]
    if damping == 0.0:
        columns += [np.cos(NATURAL * time), np.sin(NATURAL * time)]
    signals = np.column_stack([seen.body_displacement[late, 0, 2], seen.mount_force[late, 0, 2]])
    fit = np.linalg.lstsq(np.column_stack(columns), signals, rcond=None)[0]
    unbalance = 2.0 * 1e-3 * UNBALANCE_KG_MM
    return (
        float(np.hypot(fit[0, 0], fit[1, 0])) * MASS / unbalance,
        float(np.hypot(fit[0, 1], fit[1, 1])) / (unbalance * omega**2),
    )


# The step tolerance, 1e-10 of 1e-3 m, is 1e-8 of an amplitude of 1e-5 m, and the fit averages it over 2000 points; the
# crank's speed changes by 1e-9.
RUN_TOLERANCE = 1e-8
LAST_FIGURE = 6e-7  # of the closed forms as given


@pytest.mark.parametrize(
    ("ratio", "damping", "expected"),
    [
        (SQRT2, 0.1, 1.0),
        (SQRT2, 0.05, 1.0),
        (2.0, 0.0, 1.0 / 3.0),
        (3.0, 0.0, 1.0 / 8.0),
        (4.0, 0.0, 1.0 / 15.0),
        (5.0, 0.0, 1.0 / 24.0),
        (1.0, 0.1, 5.099020),
        (2.0, 0.1, 0.355862),
        (3.0, 0.1, 0.145366),
        (5.0, 0.1, 0.058874),
        (1.0, 0.05, 10.049876),
        (2.0, 0.05, 0.339182),
        (3.0, 0.05, 0.130412),
        (5.0, 0.05, 0.046575),
    ],
)
def test_transmissibility(ratio: float, damping: float, expected: float) -> None:
    """Force on the ground over shaking force. Source: √2 in Den Hartog, Thomson, Rao (P-); the rest derived."""
    assert amplitudes(ratio, damping)[1] == pytest.approx(expected, rel=RUN_TOLERANCE, abs=LAST_FIGURE)


@pytest.mark.parametrize(("ratio", "expected"), [(1.0, 5.0), (2.0, 1.321637), (0.5, 0.330409)])
def test_rotating_unbalance(ratio: float, expected: float) -> None:
    """M·X/(m·e) at damping 0.1. Source: derived, r²/√((1 − r²)² + (2ζr)²)."""
    assert amplitudes(ratio, 0.1)[0] == pytest.approx(expected, rel=RUN_TOLERANCE, abs=LAST_FIGURE)


def rigid_body(mass: float, inertia: list[float], mounts: list[tuple], gravity: bool = False) -> dict[str, Any]:
    """One body without an engine; mounts as (place mm, stiffness N/mm), from its drawn centre of mass at the origin."""
    body = {"name": "body", "mass_kg": mass, "centre_of_mass_mm": [0.0, 0.0, 0.0], "inertia_kg_m2": inertia}
    held = [
        cases.mount(f"mount {n}", between=["ground", "body"], at_mm=list(place), stiffness_N_per_mm=list(stiffness))
        for n, (place, stiffness) in enumerate(mounts)
    ]
    return {"body": [body], "mount": held, "run": {"kind": "free", "speed_rpm": 0.0, "gravity": gravity}}


def linear_of(raw: dict[str, Any]) -> Linear:
    return linearise(cases.packed(raw)[1])


def modes(raw: dict[str, Any]) -> Modes:
    linear = linear_of(raw)
    return modes_of(linear.mass, linear.damping, linear.stiffness)


# 1e-6 as stated with the values; the stiffness by central differences of a linear force is good to 1e-9
MODE_TOLERANCE = 1e-6

CASE_S = (
    100.0,
    [2.0, 4.0, 5.0, 0.0, 0.0, 0.0],
    [((x, y, -150.0), (50.0, 60.0, 100.0)) for x in (300.0, -300.0) for y in (200.0, -200.0)],
)
CASE_A = (
    100.0,
    [2.0, 4.0, 5.0, 0.0, -0.3, 0.0],
    [
        ((300.0, 200.0, -150.0), (40.0, 40.0, 120.0)),
        ((280.0, -220.0, -100.0), (40.0, 40.0, 120.0)),
        ((-350.0, 20.0, -50.0), (60.0, 30.0, 90.0)),
    ],
)


def test_modes_of_a_symmetric_block() -> None:
    """Case S. Source: derived; the closed form in Harris' handbook (P-) agrees."""
    expected = sorted([10.065842, 6.623450, 16.225281, 6.526282, 17.006896, 12.245626])
    assert modes(rigid_body(*CASE_S)).frequency == pytest.approx(expected, rel=MODE_TOLERANCE)


@pytest.mark.parametrize(
    ("index", "along"),
    [(0, {1, 3}), (1, {0, 4}), (2, {2}), (3, {5}), (4, {0, 4}), (5, {1, 3})],
    ids=["sway and roll", "surge and pitch", "bounce", "yaw", "pitch and surge", "roll and sway"],
)
def test_directions_of_a_symmetric_block(index: int, along: set[int]) -> None:
    """Two planes of symmetry couple Y with roll and X with pitch alone (case S). Source: derived."""
    energy = modes(rigid_body(*CASE_S)).energy[index, 0]
    others = [entry for entry in range(6) if entry not in along]
    assert np.abs(energy[others]).max() < 1e-8  # differences leave 1e-9 of coupling; its energy goes as the square
    assert energy.sum() == pytest.approx(1.0, rel=1e-12)


def test_modes_of_an_asymmetric_block() -> None:
    """Case A. Source: derived by an independent script only."""
    expected = [4.681609, 5.772734, 8.065328, 8.235159, 12.982240, 15.031100]
    found = modes(rigid_body(*CASE_A)).frequency
    assert found == pytest.approx(expected, rel=MODE_TOLERANCE)
    assert np.sum(found**2) == pytest.approx(582.58181, rel=MODE_TOLERANCE)  # trace(M⁻¹K)/4π²


def test_torque_roll_axis() -> None:
    """Case A turned by a torque about X. Source: derived (concept of Jeong & Singh, JSV 234)."""
    turn = np.linalg.inv(linear_of(rigid_body(*CASE_A)).mass)[3:, 3]
    assert turn / np.linalg.norm(turn) == pytest.approx([0.998205, 0.0, 0.059892], abs=MODE_TOLERANCE)


@pytest.mark.parametrize("stiffness", [20.0, 300.0])
def test_static_deflection_rule(stiffness: float) -> None:
    """f·√δ = 15.7609 Hz·√mm at g = 9.80665 m/s². Source: handbook rule 15.76 (P-)."""
    places = [(x, y, 0.0) for x in (300.0, -300.0) for y in (200.0, -200.0)]
    raw = rigid_body(80.0, CASE_S[1], [(place, (stiffness,) * 3) for place in places], gravity=True)
    down = -equilibrium(cases.packed(raw)[1]).displacement[0, 2]
    linear = linear_of(raw)
    frequency = math.sqrt(linear.stiffness[2, 2] / linear.mass[2, 2]) / (2.0 * math.pi)
    assert frequency * math.sqrt(1e3 * down) == pytest.approx(15.7609, abs=1e-4)  # as given


@cache
def car() -> tuple[np.ndarray, np.ndarray]:
    """Speeds (rad/s) and x/θ of bounce and pitch: a body on springs level with its centre of mass.

    Each end's spring is two halves; along X and Y they are so stiff that bounce and pitch are the two slowest modes.
    """
    ends = ((1000.0, 9.0), (-1500.0, 11.0))
    springs = [((x, y, 0.0), (5e3, 5e3, half)) for x, half in ends for y in (-700.0, 700.0)]
    found = modes(rigid_body(1000.0, [30.0, 810.0, 800.0, 0.0, 0.0, 0.0], springs))
    shape = found.shape[:2, 0].real
    return 2.0 * math.pi * found.frequency[:2], shape[:, 2] / shape[:, 4]


@pytest.mark.parametrize(("mode", "speed", "ratio"), [(0, 5.8593, -2.6461), (1, 9.4341, 0.3061)])
def test_car_bounce_and_pitch(mode: int, speed: float, ratio: float) -> None:
    """1000 kg, radius of gyration 0.9 m. Source: Rao, Mechanical Vibrations, automobile example (P-)."""
    speeds, ratios = car()
    assert speeds[mode] == pytest.approx(speed, abs=1e-4)  # the figures given
    assert ratios[mode] == pytest.approx(ratio, abs=1e-4)
