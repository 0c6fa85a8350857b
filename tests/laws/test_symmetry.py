"""A case mirrored, turned, moved or weighed another way runs the same; cylinders that oppose each other cancel."""

from __future__ import annotations

import copy
import math
from typing import Any

import numpy as np
import pytest

from tests.cases import mount, packed, single
from tests.laws.test_conservation import (
    TILTS,
    drawn_parts,
    mounted,
    particle_momentum,
    run_states,
    separate,
    start,
    two_bodies,
)
from vibsim.inputs.loader import build_case
from vibsim.solver.observe import Observed, observe
from vibsim.solver.simulate import simulate

MIRROR = np.diag([1.0, -1.0, 1.0])  # about the X–Z plane
TURN_DEG = 37.0
TURN = np.array(
    [
        [math.cos(math.radians(TURN_DEG)), -math.sin(math.radians(TURN_DEG)), 0.0],
        [math.sin(math.radians(TURN_DEG)), math.cos(math.radians(TURN_DEG)), 0.0],
        [0.0, 0.0, 1.0],
    ]
)
# Runs of one case in two sets of axes take other steps, with errors of 1e-9 of 0.1 m/s, 0.1 rad/s, 1 mm and 1e-3 rad
# each; a thousand of them put the crank some 1e-8 rad apart, and what is as steep as gas torque some 1e-6 of its size.
SAME = 3e-6


def whole_case() -> dict[str, Any]:
    """Two bodies, mounts at odd angles to each other and to ground, gas, friction, chassis load, gravity, a sensor."""
    raw = two_bodies()
    corners = ([300, 200, -350], [280, -220, -320], [-310, 10, -300])
    raw["mount"] += [
        mount(
            f"g{n}",
            between=["ground", "chassis"] if n else ["chassis", "ground"],
            at_mm=at,
            axes_deg=[20.0 * n, 15.0, -40.0],
            law="progressive",
            doubling_deflection_mm=[2.0, 3.0, 4.0],
            damping_N_s_per_mm=[0.1, 0.2, 0.3],
        )
        for n, at in enumerate(corners)
    ]
    raw["mount"].append(mount("third", between=["powertrain", "chassis"], at_mm=[-20, 210, -140]))
    raw["sensor"] = [{"name": "seat", "body": "chassis", "at_mm": [-300.0, 120.0, -150.0]}]
    raw["run"] |= {"gravity": True, "start": "static", "duration_s": 0.1, "relative_tolerance": 1e-9}
    return raw


def move_vectors(raw: dict[str, Any], matrix: np.ndarray, shift: np.ndarray) -> dict[str, Any]:
    """Every place of a case moved by matrix and shift (mm), every inertia by matrix."""
    raw = copy.deepcopy(raw)
    for table, key in (("body", "centre_of_mass_mm"), ("mount", "at_mm"), ("sensor", "at_mm")):
        for entry in raw[table]:
            entry[key] = (matrix @ np.array(entry[key], dtype=float) + shift).tolist()
    engine = raw["engine"]
    engine["origin_mm"] = (matrix @ np.array(engine["origin_mm"]) + shift).tolist()
    for body in raw["body"]:
        xx, yy, zz, xy, xz, yz = body["inertia_kg_m2"]
        turned = matrix @ np.array([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]]) @ matrix.T
        body["inertia_kg_m2"] = [*np.diag(turned).tolist(), *(float(turned[i, j]) for i, j in ((0, 1), (0, 2), (1, 2)))]
    return raw


def mirrored(raw: dict[str, Any]) -> dict[str, Any]:
    """Places change sign along Y; a sense of rotation is a pseudo-vector and changes sign along X and Z.

    The crank turns the mirrored way, so bank, pin and eccentric angles and pin offsets stay; places along the crank,
    counted along its mirrored direction, change sign. Turns of mount axes are pseudo-vectors too.
    """
    raw = move_vectors(raw, MIRROR, np.zeros(3))
    engine = raw["engine"]
    engine["crank_direction"] = (-MIRROR @ engine["crank_direction"]).tolist()
    engine["reference_direction"] = (MIRROR @ engine["reference_direction"]).tolist()
    for item in (*engine["cylinder"], *engine["crank"]["counterweight"], *engine["balance_shaft"]):
        item["at_mm"] *= -1.0
    for item in raw["mount"]:
        about_x, about_y, about_z = item.get("axes_deg", [0.0, 0.0, 0.0])
        item["axes_deg"] = [-about_x, about_y, -about_z]
    return raw


def turned(raw: dict[str, Any]) -> dict[str, Any]:
    """The whole case turned about Z; the last of a mount's turns about fixed axes is about Z."""
    raw = move_vectors(raw, TURN, np.zeros(3))
    for key in ("crank_direction", "reference_direction"):
        raw["engine"][key] = (TURN @ raw["engine"][key]).tolist()
    for item in raw["mount"]:
        about_x, about_y, about_z = item.get("axes_deg", [0.0, 0.0, 0.0])
        item["axes_deg"] = [about_x, about_y, about_z + TURN_DEG]
    return raw


def moved(raw: dict[str, Any]) -> dict[str, Any]:
    return move_vectors(raw, np.eye(3), np.array([1500.0, -700.0, 400.0]))


def seen_over_time(raw: dict[str, Any]) -> Observed:
    return simulate(build_case(raw)).over_time


@pytest.fixture(scope="module")
def original() -> Observed:
    return seen_over_time(whole_case())


def far_apart(one: np.ndarray, other: np.ndarray) -> float:
    """Largest difference over the largest value."""
    return float(np.abs(one - other).max() / np.abs(other).max())


@pytest.mark.parametrize(
    ("change", "matrix", "spin"),
    [(mirrored, MIRROR, -MIRROR), (turned, TURN, TURN), (moved, np.eye(3), np.eye(3))],
    ids=["mirrored", "turned", "moved"],
)
def test_a_case_changed_as_a_whole_runs_the_same(change, matrix, spin, original: Observed) -> None:
    """Law: mechanics has no left and right, no preferred heading and no preferred place."""
    other = seen_over_time(change(whole_case()))
    for name in ("mount_force", "mount_deflection", "body_velocity", "body_acceleration", "sensor_acceleration"):
        assert far_apart(getattr(other, name), getattr(original, name) @ matrix.T) < SAME, name
    assert far_apart(other.body_rotation, original.body_rotation @ spin.T) < SAME
    assert far_apart(other.crank_speed, original.crank_speed) < SAME
    assert far_apart(other.gas_torque, original.gas_torque) < SAME


# shaking forces and couples
ROD_RATIO = 0.25
A2 = 0.2540250  # second order of the piston's acceleration over r·ω² at λ = 0.25; derived, exact slider-crank
SPACING = 0.1  # m between cylinders
STEADY = 100.0  # rad/s


def inline(pins: list[float]) -> dict[str, Any]:
    """A floating inline engine of massless rods on so heavy a block and crank that both hardly stir."""
    raw = separate(single(), speed_rpm=STEADY * 30.0 / math.pi, duration_s=0.15, relative_tolerance=1e-10)
    engine = raw["engine"]
    engine |= {"stroke_mm": 60.0, "rod_length_mm": 30.0 / ROD_RATIO, "piston": {"mass_g": 500.0}}
    engine |= {"rod": {"mass_g": 0.0}, "crank": {"inertia_kg_m2": 1e2}}
    middle = 0.5 * (len(pins) - 1)
    engine["cylinder"] = [
        {"name": str(n), "pin_deg": pin, "at_mm": 1e3 * SPACING * (n - middle)} for n, pin in enumerate(pins)
    ]
    raw["body"][0] |= {"mass_kg": 1e6, "centre_of_mass_mm": [0.0, 0.0, 0.0]}
    raw["body"][0]["inertia_kg_m2"] = [1e6, 1e6, 1e6, 0.0, 0.0, 0.0]
    raw["sensor"] = [{"name": str(y), "body": "powertrain", "at_mm": [0.0, y, 0.0]} for y in (-1000.0, 1000.0)]
    return raw


def orders(values: np.ndarray) -> np.ndarray:
    """Amplitudes of orders 1 and 2 of a signal over two revolutions."""
    return 2.0 * np.abs(np.fft.rfft(values, axis=0) / len(values))[[2, 4]]


@pytest.mark.parametrize(
    ("pins", "force", "couple"),
    [
        ([0.0, 180.0, 180.0, 0.0], (0.0, 4.0), (0.0, 0.0)),
        ([0.0, 90.0, 270.0, 180.0], (0.0, 0.0), (math.sqrt(10.0), 0.0)),
        ([0.0, 120.0, 240.0], (0.0, 0.0), (math.sqrt(3.0), math.sqrt(3.0))),
        ([0.0, 180.0], (0.0, 2.0), (1.0, 0.0)),
    ],
    ids=["flat four", "cross four", "three", "twin 180"],
)
def test_inline_engines_shake_as_their_cranks_say(pins, force, couple) -> None:
    """Classical tables of free forces and couples, from memory, recomputed; in F1 = m·r·ω², F2 = A2·F1, couples × a."""
    case, _ = packed(inline(pins))
    seen = simulate(case).over_angle
    assert seen is not None
    unit = np.array([1.0, A2]) * 0.5 * 0.03 * STEADY**2
    shaking = (1e6 + 0.5 * len(pins)) * seen.body_acceleration[:, 0, 2]
    rolling = 1e6 * (seen.sensor_acceleration[:, 1, 2] - seen.sensor_acceleration[:, 0, 2]) / 2.0
    # m·r² is 5e-6 of the crank's inertia: its speed swings by so much; its gyroscopic couples are 1e-8 of the block's
    assert orders(shaking) == pytest.approx(unit * force, abs=3e-5 * unit[0])
    assert orders(rolling) == pytest.approx(unit * couple * SPACING, abs=3e-5 * unit[0] * SPACING)


# gas, and what "included" means
def test_gas_leaves_momentum_alone_and_turns_the_crank() -> None:
    """Law: pressure acts on piston and head alike."""
    raw = separate(single())
    raw["engine"]["gas"] = {"source": "motored", "intake_pressure_kPa": 300.0}
    case, model = packed(raw)
    _, states = run_states(model, start(case, model), 0.1, 11)
    held = np.array([particle_momentum(y, case, model) for y in states])
    torque = observe(states, model, ()).gas_torque
    assert np.abs(torque).max() > 100.0
    # error of a step: 1e-9 of floors of 6 N s and 0.2 N m s; a thousand steps that mostly cancel
    assert np.abs(held - held[0]).max() < 3e-8


def included(raw: dict[str, Any]) -> dict[str, Any]:
    """The same engine weighed whole: the block's numbers with the moving parts' average over a revolution added.

    Eccentrics average to nothing over their own turn and are left out of the average.
    """
    bare = copy.deepcopy(raw)
    bare["engine"]["crank"]["counterweight"] = []
    for shaft in bare["engine"]["balance_shaft"]:
        shaft["unbalance_kg_mm"] = 0.0
    case = build_case(bare)
    angles = np.linspace(0.0, 2.0 * math.pi, 720, endpoint=False)
    parts = [drawn_parts(case, case.body[0], angle) for angle in angles]
    mass = float(np.mean([m.sum() for m, _ in parts]))
    centre = np.mean([m @ p for m, p in parts], axis=0) / mass
    second = np.mean([(p - centre).T @ (m[:, None] * (p - centre)) for m, p in parts], axis=0)
    inertia = np.trace(second) * np.eye(3) - second
    raw = copy.deepcopy(raw)
    raw["body"][0] |= {"mass_kg": mass, "centre_of_mass_mm": (1e3 * centre).tolist(), "moving_parts": "included"}
    products = [float(inertia[i, j]) for i, j in ((0, 1), (0, 2), (1, 2))]
    raw["body"][0]["inertia_kg_m2"] = [*np.diag(inertia).tolist(), *products]
    return raw


@pytest.mark.parametrize("crank", TILTS[1:3])
def test_weighed_whole_or_block_alone_run_the_same(crank: list[float]) -> None:
    """Derived: the averages of the moving parts, put in by one and taken out by the other."""
    raw = mounted(crank, "progressive", 0.5, duration_s=0.1, relative_tolerance=1e-9)
    raw["sensor"] = [{"name": "head", "body": "powertrain", "at_mm": [50.0, 80.0, 300.0]}]
    block, whole = seen_over_time(raw), seen_over_time(included(raw))
    for name in ("mount_force", "sensor_acceleration", "crank_speed"):
        assert far_apart(getattr(whole, name), getattr(block, name)) < SAME, name
