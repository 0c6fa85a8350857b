"""The bench that answers many sets of mounts against the model that answers one."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.cases import CONFIGS
from vibsim.inputs.loader import CaseFile, load_case
from vibsim.solver.frequency_mounts import dynamic_stiffness
from vibsim.solver.linearise import linearise
from vibsim.solver.order_response import order_response
from vibsim.solver.packed import pack
from vibsim.solver.start import equilibrium
from vibsim.solver.steady import mean_torque
from vibsim.structure.modes import modes_of
from vibsim.studies.alike import run_at
from vibsim.studies.sizing.problem import Problem
from vibsim.studies.sizing.size import with_spec

SPEED = 3300.0
SPEC = """
[size]
speeds_rpm = [3300, 3300]
orders = [0.5, 1, 2]
[[size.variable]]
mounts = ["front left", "front right"]
key = "stiffness_N_per_mm"
axis = "x"
range = [40, 220]
[[size.variable]]
mounts = ["rear left"]
key = "damping_N_s_per_mm"
axis = "z"
range = [0.1, 2]
[[size.variable]]
mounts = ["rear left", "rear right"]
key = "at_mm"
axis = "y"
range = [100, 220]
mirror = true
[[size.variable]]
mounts = ["front left"]
key = "axes_deg"
axis = "z"
range = [-60, 60]
[[size.goal]]
kind = "sensor"
sensor = "handlebar"
[[size.goal]]
kind = "mount_force"
mount = "rear left"
[[size.limit]]
kind = "deflection"
mount = "front left"
torque_N_m = 60
most_mm = 50
[[size.limit]]
kind = "mode_frequency"
direction = "pitch"
most_Hz = 100
"""


@pytest.fixture(scope="module")
def case_file() -> CaseFile:
    return with_spec(load_case(CONFIGS / "v3-80-trike.toml"), SPEC, "spec")


@pytest.fixture(scope="module")
def sets(case_file) -> tuple[Problem, np.ndarray]:
    problem = Problem(case_file)
    low, high = problem.space.low, problem.space.high
    return problem, low + np.array([[0.1, 0.8, 0.3, 0.9], [0.7, 0.2, 0.9, 0.1]]) * (high - low)


def changed(case_file: CaseFile, problem: Problem, x: np.ndarray) -> CaseFile:
    return replace(case_file, case=case_file.case.model_copy(update={"mount": problem.space.mounts_at(x)}))


def one_by_one(file: CaseFile) -> list[float]:
    """The two goals by the model that answers one case."""
    turned = run_at(file, SPEED * math.pi / 30.0)
    packed = pack(turned.case, turned.folder)
    speed = SPEED * math.pi / 30.0
    response = order_response(packed, turned.case.sensor, speed, mean_torque(packed, speed))
    square = np.zeros(2)
    for order in (0.5, 1.0, 2.0):
        moved = response.displacement(order, response.excitation(order))
        square[0] += 0.5 * np.sum(np.abs(response.sensors(order, moved)[2]) ** 2)
        square[1] += 0.5 * np.sum(np.abs(response.mounts(order, moved)[2]) ** 2)
    return np.sqrt(square).tolist()


@pytest.mark.parametrize("row", [0, 1])
def test_levels_are_those_of_the_model_for_one_case(case_file, sets, row):
    """To 3e-4: the bench leaves masses as the case's own rest turns them, by less than a thousandth of a radian."""
    problem, x = sets
    found = problem.values(x).goals[row]
    np.testing.assert_allclose(found, one_by_one(changed(case_file, problem, x[row])), rtol=3e-4)


def test_rest_and_modes_are_those_of_one_case(case_file, sets):
    problem, x = sets
    file = changed(case_file, problem, x[0])
    packed = pack(file.case, file.folder)
    rest = equilibrium(packed, 60.0).displacement
    limits = problem.values(x).limits[0]
    answers = problem.answers(x)
    # both rests are closed to 1e-7 of the weight over stiffnesses of 1e5 N/m
    np.testing.assert_allclose(answers.rests[0].at[0], rest, atol=1e-8)
    assert limits[0] == pytest.approx(float(np.linalg.norm(answers.rests[0].deflection[0, 0])), rel=1e-12)
    linear = linearise(packed)
    modes = modes_of(linear.mass, 0.0 * linear.damping, linear.stiffness)
    pitch = modes.frequency[modes.energy[:, 0, 4].argmax()]
    assert limits[1] == pytest.approx(pitch, rel=2e-3)  # masses turned; stiffness made symmetric


def test_mirrored_places_lie_across_the_middle(sets):
    problem, x = sets
    left, right = problem.space.mounts_at(x[0])[2:4]
    assert left.at[1] == pytest.approx(x[0, 2]) and right.at[1] == pytest.approx(-x[0, 2])
    assert problem.space.mounts_at(x[0])[1].axes[2] == 0.0  # the front right's is not turned


def by_law(mount, frequency, preload):
    return dynamic_stiffness(mount, frequency, preload)


def test_a_stiffness_given_by_frequency_finds_the_same(case_file, sets):
    """Reference: spring and damper as a dynamic stiffness go the way of a mount that has nothing else."""
    problem, x = sets
    np.testing.assert_allclose(Problem(case_file, by_law).values(x).goals, problem.values(x).goals, rtol=1e-5)


def test_a_hysteretic_mount_lowers_what_is_felt_at_resonance(case_file, sets):
    problem, x = sets

    def lossy(mount, frequency, preload):
        return dynamic_stiffness(mount, frequency, preload) + 0.3j * np.diag(mount.stiffness)

    found = Problem(case_file, lossy).values(x).goals
    assert not np.allclose(found, problem.values(x).goals, rtol=0.01)
    assert np.isfinite(found).all()


def test_mounts_that_hold_nothing_have_no_value(case_file):
    text = SPEC.replace("range = [40, 220]", "range = [0, 220]")
    problem = Problem(with_spec(case_file, text, "spec"))
    mounts = [
        mount.model_copy(update={"stiffness": (0.0, 0.0, 0.0)}) if "suspension" not in mount.name else mount
        for mount in problem.space.mounts
    ]
    found = problem.of([tuple(mounts), problem.space.mounts])
    assert not np.isfinite(found.goals[0]).any() and found.broken[0] >= 1e3
    assert np.isfinite(found.goals[1]).all()


def test_modes_of_undamped_bodies_agree_with_the_damped_solver(case_file, sets):
    """Reference: the first-order eigenvalues of the same matrices without damping."""
    problem, x = sets
    file = changed(case_file, problem, x[1])
    linear = linearise(pack(file.case, file.folder))
    plain = modes_of(linear.mass, 0.0 * linear.damping, linear.stiffness)
    found = np.sort(problem.answers(x).frequency[1])
    np.testing.assert_allclose(found, np.sort(plain.frequency), rtol=2e-3)  # masses turned; stiffness made symmetric
