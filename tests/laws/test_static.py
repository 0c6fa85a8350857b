"""Statics: what holds the weight and the torque, and that a body at rest stays at rest."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from tests.cases import mount, packed, single
from tests.laws.test_conservation import TILTS, mounted, separate
from tests.laws.test_symmetry import whole_case
from vibsim.inputs.errors import RunFailure
from vibsim.inputs.loader import build_case
from vibsim.inputs.models import Case
from vibsim.solver.observe import Observed, observe
from vibsim.solver.simulate import simulate
from vibsim.solver.start import equilibrium, state_at

GRAVITY = 9.80665
RATE = 100_000.0  # Hz, of the runs that are differentiated


def still_case() -> dict[str, Any]:
    """A floating single's block on four mounts in a plane; its moving parts balance about the crank at angle zero."""
    raw = separate(single(), gravity=True, start="static", speed_rpm=0.0)
    raw["mount"] = [mount(f"m{x}{y}", at_mm=[x, y, 20.0]) for x in (-300.0, 300.0) for y in (-200.0, 200.0)]
    return raw


def standing(raw: dict[str, Any], torque: float = 0.0) -> tuple[Case, np.ndarray, Observed]:
    """Case, equilibrium (bodies, 6) and what is observed there, the crank at rest at angle zero."""
    case, model = packed(raw)
    displacement = equilibrium(model, torque).displacement
    return case, displacement, observe(state_at(model, displacement)[None], model, case.sensor)


@pytest.mark.parametrize("raw", [mounted(TILTS[2], "progressive"), whole_case()], ids=["one body", "two bodies"])
def test_forces_on_the_ground_are_the_weight(raw: dict[str, Any]) -> None:
    """Law: at rest the mounts' forces on the ground sum to the weight of everything."""
    raw["engine"]["load"] = {"law": "none"}
    case, _, seen = standing(raw)
    sides = [(item.between.index("ground") if "ground" in item.between else None) for item in case.mount]
    signs = np.array([0.0 if side is None else 2.0 * side - 1.0 for side in sides])
    _, model = packed(raw)
    weight = GRAVITY * (sum(body.mass for body in case.body) + model.model.train.mass)
    # equilibrium is closed to 1e-8 of the weight for each body
    assert signs @ seen.mount_force[0] == pytest.approx([0.0, 0.0, -weight], abs=3e-8 * weight)


def test_moments_of_the_mounts_vanish() -> None:
    """Law: four like mounts about a centre of mass to one side share the weight so that no moment is left."""
    raw = still_case()
    raw["body"][0]["centre_of_mass_mm"] = [60.0, -30.0, 50.0]
    raw["engine"]["piston"], raw["engine"]["rod"] = {"mass_g": 0.0}, {"mass_g": 0.0}
    case, displacement, seen = standing(raw)
    force, places = seen.mount_force[0], np.array([item.at for item in case.mount])
    centre = np.array(case.body[0].centre_of_mass) + displacement[0, :3]
    weight = 62.0 * GRAVITY
    # the force acts where the second body, the ground, has the mount; closed to 1e-8 of the weight times metres
    assert np.cross(places - centre, force).sum(axis=0) == pytest.approx(np.zeros(3), abs=1e-8 * weight)
    assert abs(force[0, 2] - force[-1, 2]) > 1.0  # the loads differ: the centre of mass lies to one side


@pytest.mark.parametrize("doubling_mm", [0.2, 1.0, 20.0])
def test_progressive_sag_is_the_root_of_the_cubic(doubling_mm: float) -> None:
    """Derived: four mounts with k·d·(1 + d²/(3·d₂²)) carry the weight above them, straight down."""
    raw = still_case()
    more = {"law": "progressive", "doubling_deflection_mm": [5.0, 5.0, doubling_mm]}
    raw["mount"] = [item | more for item in raw["mount"]]
    _, displacement, _ = standing(raw)
    stiffness, doubling = 4.0 * 250e3, 1e-3 * doubling_mm
    weight = GRAVITY * (62.0 + 0.280 + 0.340)
    roots = np.roots([stiffness / (3.0 * doubling**2), 0.0, stiffness, -weight])
    sag = roots[np.abs(roots.imag) < 1e-12].real[0]
    # closed to 1e-8 of the weight
    assert displacement[0] == pytest.approx([0.0, 0.0, -sag, 0.0, 0.0, 0.0], abs=2e-8 * sag)


@pytest.mark.parametrize(("reacted_by", "chassis_turns"), [("chassis", 0.0), ("ground", -1.0)])
def test_mean_torque_tilts_the_engine_against_the_output(reacted_by: str, chassis_turns: float) -> None:
    """Derived: the output pushes back with −T along the crank; mounts of equal rate k at ±a give T = 2·k·a²·sin θ."""
    raw = separate(single(), gravity=False)
    raw["body"].append(
        {
            "name": "chassis",
            "mass_kg": 90.0,
            "centre_of_mass_mm": [0.0, 0.0, 50.0],
            "inertia_kg_m2": [3.0, 3.0, 3.0] + [0.0] * 3,
        }
    )
    sides = ((-250.0, 0.0), (250.0, 0.0))
    raw["mount"] = [
        mount(f"{pair[0]}{x}{y}", between=pair, at_mm=[x, y, 50.0], stiffness_N_per_mm=[200.0] * 3)
        for pair in (["powertrain", "chassis"], ["chassis", "ground"])
        for x, y in (*sides, (0.0, -100.0), (0.0, 100.0))
    ]
    raw["engine"]["load"] = {"law": "constant", "torque_N_m": 300.0, "reacted_by": reacted_by}
    _, displacement, _ = standing(raw, torque=300.0)
    tilt = math.asin(300.0 / (2.0 * 200e3 * 0.25**2))
    turned = np.zeros((2, 6))
    turned[:, 4] = tilt * (chassis_turns - 1.0), tilt * chassis_turns  # the engine's turn adds to the chassis's
    # closed to 1e-8 of the torque
    assert displacement == pytest.approx(turned, abs=3e-8 * tilt)


def slack(raw: dict[str, Any], axis: int) -> dict[str, Any]:
    """Mounts at unlike heights without stiffness along one axis: nothing holds that way, everything else is held."""
    stiffness = [200.0, 200.0, 200.0]
    stiffness[axis] = 0.0
    corners = ([300, 200, -100], [-300, 200, 200], [300, -200, 200], [-300, -200, -100])
    raw["mount"] = [mount(f"m{n}", at_mm=at, stiffness_N_per_mm=stiffness) for n, at in enumerate(corners)]
    return raw


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        (slack(still_case(), 2), r"body 'powertrain' is not held in Z;"),
        (still_case() | {"mount": []}, r"body 'powertrain' is not held in Z;"),
        (whole_case() | {"mount": whole_case()["mount"][2:5]}, r"body 'powertrain' is not held in"),
    ],
    ids=["no stiffness along Z", "no mounts", "engine left out"],
)
def test_a_body_nothing_holds_is_named(raw: dict[str, Any], message: str) -> None:
    """Design: a run that cannot start says which body is free and where."""
    raw["engine"]["load"] = {"law": "none"}
    with pytest.raises(RunFailure, match=message):
        simulate(build_case(raw))


def test_an_engine_at_rest_stays_at_rest() -> None:
    """Law: static equilibrium with the crank still and its piston at top centre is an equilibrium of the motion."""
    raw = still_case()
    raw["run"] |= {"duration_s": 0.5, "relative_tolerance": 1e-9}
    solution = simulate(build_case(raw))
    seen, frequency = solution.over_time, math.sqrt(4.0 * 250e3 / 62.0)
    # a force of 1e-8 of the weight left over makes a swing of 1e-8·g; the piston's fall grows from rounding alone
    assert np.abs(seen.body_acceleration).max() < 2e-8 * GRAVITY
    assert np.abs(seen.body_velocity).max() < 2e-8 * GRAVITY / frequency
    assert np.abs(seen.crank_speed).max() < 1e-8


@pytest.fixture(scope="module")
def shaken() -> Observed:
    """A run with everything in it, finely sampled, with a sensor at each body's centre of mass."""
    raw = whole_case()
    raw["run"] |= {"duration_s": 0.02, "sample_rate_Hz": RATE, "speed_rpm": 3000.0}
    raw["sensor"] += [
        {"name": body["name"], "body": body["name"], "at_mm": body["centre_of_mass_mm"]} for body in raw["body"]
    ]
    return simulate(build_case(raw)).over_time


def slope(values: np.ndarray) -> np.ndarray:
    """Time derivative at inner points, fourth-order central difference."""
    return RATE / 12.0 * (8.0 * (values[3:-1] - values[1:-3]) - (values[4:] - values[:-4]))


@pytest.mark.parametrize(
    ("value", "rate"), [("body_displacement", "body_velocity"), ("body_velocity", "body_acceleration")]
)
def test_rates_are_the_differences_of_what_they_are_rates_of(shaken: Observed, value: str, rate: str) -> None:
    """Law: velocity is the rate of displacement, acceleration of velocity."""
    exact, difference = getattr(shaken, rate)[2:-2], slope(getattr(shaken, value))
    # (ω·h)⁴/30 = 3e-7 of order 15; the interpolant, not smooth where steps meet, leaves 2e-7 at tolerance 1e-9
    assert difference == pytest.approx(exact, abs=1e-6 * np.abs(exact).max())


def test_a_sensor_at_the_centre_of_mass_feels_the_body(shaken: Observed) -> None:
    """Law: one point has one acceleration."""
    # the same sums in another order
    scale = np.abs(shaken.body_acceleration).max()
    assert shaken.sensor_acceleration[:, 1:] == pytest.approx(shaken.body_acceleration, abs=1e-13 * scale)
