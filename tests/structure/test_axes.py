"""Elastic centre, elastic axes, torque roll axis and kinetic energy along them."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import least_squares

from tests import cases
from tests.published.test_small_systems import CASE_A, CASE_S, linear_of, rigid_body
from vibsim.inputs.loader import load_case
from vibsim.solver.linearise import linearise
from vibsim.solver.simulate import simulate
from vibsim.structure.elastic_axes import elastic_axes, moved_to, shift_matrix
from vibsim.structure.energy import energy_along
from vibsim.structure.modes import modes_of
from vibsim.structure.torque_roll_axis import axes_along, screw_axis, torque_roll_axis
from vibsim.studies.modes import find_modes

ORIGIN = np.zeros(3)
# mounts in no symmetry at all, but of one proportion of rates: their elastic centre is the mean place, weighted by rate
PROPORTIONAL = [
    ((310.0, 190.0, -150.0), 1.0),
    ((280.0, -230.0, -90.0), 0.8),
    ((-350.0, 40.0, -40.0), 1.7),
    ((20.0, 15.0, 210.0), 0.3),
]


def stiffness_of(mounts: list[tuple]) -> np.ndarray:
    return linear_of(rigid_body(100.0, CASE_A[1], mounts)).stiffness


def proportional() -> list[tuple]:
    return [(place, (60.0 * share, 40.0 * share, 110.0 * share)) for place, share in PROPORTIONAL]


def test_elastic_centre_of_mounts_of_one_proportion() -> None:
    """Closed form (derived): Σ k·r / Σ k, exact whatever the places."""
    found = elastic_axes(stiffness_of(proportional()), ORIGIN)
    assert found is not None
    shares = np.array([share for _, share in PROPORTIONAL])
    mean = 1e-3 * shares @ np.array([place for place, _ in PROPORTIONAL]) / shares.sum()
    # stiffnesses by central differences are good to 1e-9
    assert found.centre == pytest.approx(mean, abs=1e-9)
    assert found.lever_arm == pytest.approx(0.0, abs=1e-9)
    assert found.stiffness == pytest.approx(1e3 * shares.sum() * np.array([60.0, 40.0, 110.0]), rel=1e-8)


def test_a_force_through_the_elastic_centre_turns_nothing() -> None:
    """Property: solved with the whole stiffness, a force at that point shifts the body and does not turn it; a moment
    turns it and leaves that point where it is."""
    stiffness = stiffness_of(proportional())
    found = elastic_axes(stiffness, ORIGIN)
    assert found is not None
    for force in np.eye(3):
        motion = np.linalg.solve(stiffness, np.concatenate([force, np.cross(found.centre, force)]))
        assert np.abs(motion[3:]).max() < 1e-8 * np.abs(motion[:3]).max() / 0.1
        turned = np.linalg.solve(stiffness, np.concatenate([ORIGIN, force]))
        at_centre = turned[:3] + np.cross(turned[3:], found.centre)
        assert np.abs(at_centre).max() < 1e-8 * np.abs(turned[3:]).max()


def test_elastic_centre_of_a_symmetric_block() -> None:
    """Case S: four like mounts in one plane. Source: derived; torsional rates Σ k·a² about the plane's middle."""
    found = elastic_axes(stiffness_of(CASE_S[2]), ORIGIN)
    assert found is not None
    assert found.centre == pytest.approx([0.0, 0.0, -0.15], abs=1e-9)
    about = [4.0 * 100e3 * 0.2**2, 4.0 * 100e3 * 0.3**2, 4.0 * (50e3 * 0.2**2 + 60e3 * 0.3**2)]
    assert found.turning_stiffness == pytest.approx(about, rel=1e-8)


def test_elastic_axes_of_inclined_mounts() -> None:
    """Derived: all mounts turned alike have elastic axes along the mounts' own, with the sums of their rates."""
    raw = rigid_body(80.0, CASE_A[1], [(place, (90.0, 40.0, 150.0)) for place, _ in PROPORTIONAL])
    for item in raw["mount"]:
        item["axes_deg"] = [0.0, 25.0, 0.0]
    found = elastic_axes(linear_of(raw).stiffness, ORIGIN)
    assert found is not None
    slope = math.radians(25.0)
    expected = [[math.cos(slope), 0.0, -math.sin(slope)], [0.0, 1.0, 0.0], [math.sin(slope), 0.0, math.cos(slope)]]
    assert pytest.approx(np.array(expected), abs=1e-8) == found.axes.T
    assert found.stiffness == pytest.approx([360e3, 160e3, 600e3], rel=1e-8)


def test_elastic_centre_of_a_general_block_turns_least() -> None:
    """Case A has no exact centre: the one given leaves the least lever arms over all forces, found here by a search."""
    stiffness = stiffness_of(CASE_A[2])
    found = elastic_axes(stiffness, ORIGIN)
    assert found is not None

    def arms(point: np.ndarray) -> np.ndarray:
        """Moment about the point, per force, that keeps the body from turning."""
        about = moved_to(stiffness, point)
        return (about[3:, :3] @ np.linalg.inv(about[:3, :3])).ravel()

    best = least_squares(arms, ORIGIN, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    assert found.centre == pytest.approx(best.x, abs=1e-8)  # the search closes to about the root of rounding
    left = arms(found.centre).reshape(3, 3)
    assert left == pytest.approx(left.T, abs=1e-9)
    assert found.lever_arm == pytest.approx(np.linalg.norm(left, 2), rel=1e-6)
    assert found.lever_arm > 1e-3


def test_no_elastic_centre_where_nothing_holds() -> None:
    assert elastic_axes(stiffness_of([(place, (50.0, 0.0, 70.0)) for place, _ in PROPORTIONAL]), ORIGIN) is None


def off_centre_engine() -> dict[str, Any]:
    """A floating engine whose moving parts are weighed apart: its centre of mass is not the drawn one."""
    raw = cases.skewed()
    raw["body"][0] |= {"moving_parts": "separate", "inertia_kg_m2": [1.5, 1.2, 1.4, 0.1, -0.2, 0.15]}
    return raw


@pytest.mark.parametrize("raw", [cases.single(), off_centre_engine()], ids=["single", "off centre"])
def test_torque_roll_axis_is_what_a_free_engine_turns_about(raw: dict[str, Any]) -> None:
    """Property: a torque about the crank on a free body gives pure roll about the axis, whose points stay where they
    are. Source: derived; J⁻¹·u through the centre of mass, Jeong & Singh, JSV 234 (concept, from memory)."""
    _, packed = cases.packed(raw)
    mass = linearise(packed).mass
    crank = packed.axes[0][:, 0]
    axis = torque_roll_axis(mass, packed.centres[0], crank)
    acceleration = np.linalg.solve(mass, np.concatenate([ORIGIN, crank]))
    assert np.cross(axis.direction, acceleration[3:]) == pytest.approx(ORIGIN, abs=1e-12)
    for along in (-0.4, 0.0, 0.7):
        point = axis.point + along * axis.direction - packed.centres[0]
        moves = acceleration[:3] + np.cross(acceleration[3:], point)
        assert np.abs(moves).max() < 1e-12 * np.abs(acceleration[3:]).max()
    away = np.array([mass[1, 5], mass[2, 3], mass[0, 4]]) / mass[0, 0]  # of the centre of mass, from the first moment
    inertia = moved_to(mass, away)[3:, 3:]
    expected = np.linalg.solve(inertia, crank)
    assert axis.direction == pytest.approx(expected / np.linalg.norm(expected), abs=1e-9)
    gap = np.cross(axis.point - packed.centres[0] - away, axis.direction)
    assert np.abs(gap).max() < 1e-12


def test_a_floating_engine_rolls_about_its_torque_roll_axis() -> None:
    """Law: run by the solver from rest, the crank driven against the block, block and axis agree. The pistons weigh
    nothing, so the crank is a plain rotor; it stays behind, as with the crank free in `linearise`."""
    raw = cases.single()
    engine = raw["engine"]
    engine |= {"piston": {"mass_g": 0.0}, "rod": {"mass_g": 0.0}, "crank": {"inertia_kg_m2": 0.3}}
    engine["load"] = {"law": "constant", "torque_N_m": -5.0}
    raw["body"][0] |= {"moving_parts": "separate", "inertia_kg_m2": [1.5, 1.2, 1.4, 0.25, -0.1, 0.3]}
    raw["run"] |= {"speed_rpm": 0.0, "duration_s": 0.02, "relative_tolerance": 1e-10}
    case, packed = cases.packed(raw)
    turned = simulate(case).over_time.body_rotation[-1, 0]
    axis = torque_roll_axis(linearise(packed, crank="free").mass, packed.centres[0], packed.axes[0][:, 0])
    size = np.linalg.norm(turned)
    # no momentum in all, so that no gyroscopic moment disturbs it: the run's tolerance, 1e-10 of the scales
    assert turned / size == pytest.approx(np.sign(turned @ axis.direction) * axis.direction, abs=1e-8)
    assert np.degrees(np.arccos(abs(axis.direction[1]))) > 10.0  # far from the crank's own direction


def test_screw_axis_of_a_screw() -> None:
    """Derived: turn about a line, shift along it."""
    direction = np.array([0.2, -0.5, 0.9]) / np.linalg.norm([0.2, -0.5, 0.9])
    point, pitch = np.array([0.3, 0.1, -0.2]), 0.07
    motion = np.concatenate([np.cross(direction, -point) + pitch * direction, direction])
    axis = screw_axis(motion, ORIGIN)
    assert axis.pitch == pytest.approx(pitch, rel=1e-12)
    assert np.cross(axis.point - point, direction) == pytest.approx(ORIGIN, abs=1e-14)
    with pytest.raises(ValueError, match="without a turn"):
        screw_axis(np.array([1.0, 0.0, 0.0, 0.0, 0.0, 0.0]), ORIGIN)


@pytest.mark.parametrize("direction", [[0.0, 2.0, 0.0], [1.0, 0.3, -0.2], [0.0, 0.1, 5.0]])
def test_axes_along_are_right_handed(direction: list[float]) -> None:
    axes = axes_along(np.array(direction))
    assert axes.T @ axes == pytest.approx(np.eye(3), abs=1e-15)
    assert np.linalg.det(axes) == pytest.approx(1.0)


def test_energy_of_a_body_does_not_depend_on_axes() -> None:
    """Law: the kinetic energy of a body is one number in any axes, and over all bodies each mode has all of it."""
    rng = np.random.default_rng(3)
    root = rng.normal(size=(12, 12))
    body = np.diag([3.0] * 3 + [1.0, 2.0, 2.5])
    shift = shift_matrix(np.array([0.1, -0.2, 0.3]))
    mass = np.zeros((12, 12))
    mass[:6, :6], mass[6:, 6:] = shift.T @ body @ shift, 2.0 * body
    stiffness = root @ root.T + np.eye(12)
    modes = modes_of(mass, 1e-3 * stiffness, stiffness)
    axes = axes_along(np.array([0.3, 0.8, -0.4]))
    moved = energy_along(modes, mass, 0, np.array([0.4, 0.2, -0.1]), axes).sum(axis=1)
    assert moved == pytest.approx(modes.energy[:, 0].sum(axis=1), rel=1e-9)
    assert moved + modes.energy[:, 1].sum(axis=1) == pytest.approx(np.ones(12), rel=1e-9)


@pytest.mark.parametrize("name", ["v3-80-trike", "inline-3-city-car"])
def test_energies_of_the_demos_sum_to_one(name: str) -> None:
    """Kinetic energies sum to 100 % per mode, in vehicle, torque-roll-axis and elastic axes."""
    result = find_modes(load_case(cases.CONFIGS / f"{name}.toml"))
    engine, chassis = (result.modes.energy[:, n].sum(axis=1) for n in (0, 1))
    assert engine + chassis == pytest.approx(np.ones(12), rel=1e-12)
    for shares in (result.axes.roll_energy, result.axes.elastic_energy):
        assert shares is not None
        assert shares.sum(axis=1) == pytest.approx(engine, abs=1e-12)


def test_a_mode_about_the_torque_roll_axis_is_decoupled() -> None:
    """Derived: like mounts about a plane through the centre of mass across a principal axis hold roll on its own."""
    raw = cases.single()
    raw["body"][0] |= {"centre_of_mass_mm": [0.0, 0.0, 0.0], "moving_parts": "separate"}
    raw["engine"] |= {"piston": {"mass_g": 0.0}, "rod": {"mass_g": 0.0}}
    raw["mount"] = [
        cases.mount(f"{x} {y}", at_mm=[x, y, 0.0], stiffness_N_per_mm=[90.0, 60.0, 120.0])
        for x in (-300.0, 300.0)
        for y in (-200.0, 200.0)
    ]
    result = find_modes(cases.as_file(raw))
    assert result.axes.decoupling is not None
    share, mode = result.axes.decoupling
    assert share == pytest.approx(1.0, abs=1e-8)
    roll = math.sqrt(4.0 * 120e3 * 0.3**2 / (1.2 + 0.02)) / (2.0 * math.pi)  # block and locked crank
    assert result.modes.frequency[mode] == pytest.approx(roll, rel=1e-8)
