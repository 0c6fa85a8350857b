"""The bench that answers many sets of mounts, of a vehicle on wheels, against the model that answers one."""

from __future__ import annotations

import math

import numpy as np

from tests.cases import CONFIGS
from tests.sizing.test_bench import changed
from vibsim.inputs.loader import load_case
from vibsim.solver.linearise import linearise
from vibsim.solver.order_response import order_response
from vibsim.solver.packed import pack
from vibsim.solver.steady import mean_torque
from vibsim.structure.modes import modes_of
from vibsim.studies.alike import run_at
from vibsim.studies.sizing.problem import Problem
from vibsim.studies.sizing.size import with_spec

SPEED = 3300.0 * math.pi / 30.0
SPEC = """
[size]
speeds_rpm = [3300, 3300]
orders = [0.5, 1]
[[size.variable]]
mounts = ["front left", "front right"]
key = "stiffness_N_per_mm"
axis = "x"
range = [40, 220]
[[size.goal]]
kind = "sensor"
sensor = "rider"
[[size.goal]]
kind = "mount_force"
mount = "rear left"
[[size.limit]]
kind = "mode_frequency"
direction = "pitch"
most_Hz = 100
"""


def test_many_mount_sets_on_wheels_are_answered_as_one_is():
    case_file = with_spec(load_case(CONFIGS / "v3-80-trike-road.toml"), SPEC, "spec")
    problem = Problem(case_file)
    low, high = problem.space.low, problem.space.high
    x = low + np.array([[0.1], [0.9]]) * (high - low)
    found, answers = problem.values(x).goals, problem.answers(x)
    for n in range(2):
        turned = run_at(changed(case_file, problem, x[n]), SPEED)
        packed = pack(turned.case, turned.folder)
        one = order_response(packed, turned.case.sensor, SPEED, mean_torque(packed, SPEED), turned.case.mount)
        square = np.zeros(2)
        for order in (0.5, 1.0):
            moved = one.displacement(order, one.excitation(order))
            square[0] += 0.5 * np.sum(np.abs(one.sensors(order, moved)[1]) ** 2)
            square[1] += 0.5 * np.sum(np.abs(one.mounts(order, moved)[2]) ** 2)
        # the bench leaves masses as the case's own rest turns them, by less than a thousandth of a radian
        np.testing.assert_allclose(found[n], np.sqrt(square), rtol=3e-4)
        linear = linearise(packed, crank="locked")
        modes = modes_of(linear.mass, 0.0 * linear.damping, linear.stiffness, heights=len(packed.part_names))
        np.testing.assert_allclose(np.sort(answers.frequency[n]), np.sort(modes.frequency), rtol=2e-3)
        assert answers.energy[n].shape == modes.energy.shape
