"""Every measure at rest and of modes against closed forms and against `vibsim statics`."""

from __future__ import annotations

import numpy as np
import pytest

from tests.cases import CONFIGS
from vibsim.inputs.loader import load_case, parse_case
from vibsim.studies.sizing.problem import Problem, Values
from vibsim.studies.sizing.size import with_spec
from vibsim.studies.statics import find_statics

# case S of the shared checks, section 8: four alike mounts, two planes of symmetry, no weight
SYMMETRIC = """
[[body]]
name = "block"
mass_kg = 100
centre_of_mass_mm = [0, 0, 0]
inertia_kg_m2 = [2, 4, 5, 0, 0, 0]
[run]
speed_rpm = 1000
gravity = false
"""
CORNERS = [(x, y) for x in (300, -300) for y in (200, -200)]
MODES = """
[[size.variable]]
mounts = ["m0", "m1", "m2", "m3"]
key = "stiffness_N_per_mm"
axis = "x"
range = [10, 200]
[[size.goal]]
kind = "mode_frequency"
direction = "Z"
[[size.goal]]
kind = "order_gap"
direction = "yaw"
order = 1.5
speed_rpm = 900
[[size.goal]]
kind = "separation"
[[size.goal]]
kind = "decoupling"
"""


def symmetric() -> Problem:
    text = SYMMETRIC
    for n, (x, y) in enumerate(CORNERS):
        text += f'[[mount]]\nname = "m{n}"\nbetween = ["block", "ground"]\nat_mm = [{x}, {y}, -150]\n'
        text += "stiffness_N_per_mm = [50, 60, 100]\n"
    return Problem(parse_case(text + MODES))


def test_measures_of_modes_are_those_of_the_closed_form():
    """Harris, Shock and Vibration Handbook, rigid bodies, closed form for two planes of symmetry (shared checks)."""
    problem = symmetric()
    bounce, gap, separation, decoupling = problem.values(problem.space.before[None]).goals[0]
    assert bounce == pytest.approx(10.065842, rel=1e-6)
    assert gap == pytest.approx(22.5 - 12.245626, rel=1e-6)
    assert separation == pytest.approx(6.623450 - 6.526282, abs=1e-5)
    # the least decoupled of the coupled pairs x-pitch and y-roll, from their 2 x 2 eigenvectors
    assert decoupling == pytest.approx(_least_decoupled(), rel=1e-6)


def _least_decoupled() -> float:
    shares = []
    for k, inertia, arm in ((50e3, 4.0, 0.3), (60e3, 2.0, 0.2)):
        mass = np.diag([100.0, inertia])
        stiffness = 4.0 * np.array([[k, 0.15 * k], [0.15 * k, 0.15**2 * k + arm**2 * 100e3]])
        root = np.diag(1.0 / np.sqrt(np.diag(mass)))
        _, shapes = np.linalg.eigh(root @ stiffness @ root)
        shares += (shapes**2).max(axis=0).tolist()
    return min(shares)


REST = """
[size]
speeds_rpm = [4000, 4000]
[[size.variable]]
mounts = ["front left", "front right", "rear left", "rear right"]
key = "stiffness_N_per_mm"
axis = "x"
range = [40, 220]
[[size.goal]]
kind = "rest_force"
mount = "rear left"
load_case = "bump 3 g"
[[size.goal]]
kind = "clearance"
point = "oil pan to skid plate"
load_case = "wide open, first gear"
[[size.goal]]
kind = "deflection"
mount = "front right"
along = "Z"
acceleration_g = [0, 0, 2]
[[size.goal]]
kind = "movement"
body = "powertrain"
at_mm = [90, 0, 265]
against = "chassis"
measured_from = "drawn"
load_case = "wide open, first gear"
"""


@pytest.fixture(scope="module")
def at_rest() -> tuple[Problem, Values]:
    problem = Problem(with_spec(load_case(CONFIGS / "v3-80-trike.toml"), REST, "spec"))
    x = problem.space.before.copy()
    x[:] = 90e3
    return problem, problem.values(x[None])


def test_measures_at_rest_are_those_of_statics(at_rest):
    """Reference: `vibsim statics`, the chassis carried by its suspension, one load case after the other."""
    problem, values = at_rest
    case = problem.case_file.case
    mounts = problem.space.mounts_at(np.array([90e3]))
    file = problem.case_file.__class__(case.model_copy(update={"mount": mounts}), "", problem.case_file.folder, "x")
    statics = find_statics(file, "carried")
    bump = next(load for load in statics.loads if load.case.name == "bump 3 g")
    first = next(load for load in statics.loads if load.case.name == "wide open, first gear")
    force, room, sunk, moved = values.goals[0]
    names = statics.mounts
    # both are closed to 1e-7 of the weight over stiffnesses of 1e5 N/m
    assert force == pytest.approx(np.linalg.norm(bump.force[names.index("rear left")]), rel=1e-5)
    point = next(point for point in first.points if point.name == "oil pan to skid plate")
    assert room == pytest.approx(point.left, abs=1e-7)
    assert sunk == pytest.approx(abs(bump.deflection[names.index("front right"), 2]), abs=1e-7)
    # seen along the vehicle, not along the chassis as it leans: by its turn of 0.01 rad
    assert moved == pytest.approx(float(np.linalg.norm(point.move)), rel=0.05)


def test_weighted_levels_count_less_where_the_weighting_does():
    """ISO 2631-1: at 66.7 Hz Wd passes 0.03 and Wk about 0.18 of what is there (shared checks, section 1)."""
    goal = '[[size.goal]]\nkind = "sensor"\nsensor = "seat"\norders = [1]\n'
    head = REST[: REST.index("[[size.goal]]")]
    spec = head + goal + goal.replace('"seat"\n', '"seat"\ncontact = "seat"\n')
    problem = Problem(with_spec(load_case(CONFIGS / "v3-80-trike.toml"), spec, "spec"))
    plain, weighted = problem.values(problem.space.before[None]).goals[0]
    assert 0.028 * plain < weighted < 0.18 * plain
