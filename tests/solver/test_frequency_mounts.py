"""Mounts with states of their own in the linear model, against the equations of motion made linear as a whole."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.cases import packed
from tests.mount_cases import law_mount, on_ground
from vibsim.solver.frequency import frequency_model
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.packed import STATES_PER_BODY, Packed
from vibsim.solver.start import AtRest
from vibsim.structure.rotation import matrix_of

CORNERS = {"left": [200.0, 150.0, 0.0], "right": [200.0, -150.0, 0.0], "rear": [-200.0, 0.0, 30.0]}
ROD = law_mount("torque_rod", name="rod", at_mm=[0.0, 0.0, 100.0], to_mm=[150.0, 20.0, 130.0])
TURNED = {"axes_deg": [10.0, -20.0, 15.0], "damping_N_s_per_mm": [0.2, 0.1, 0.3]}
STEPS = {"place": 1e-6, "turn": 1e-6, "momentum": 1e-3, "state": 1e-5}


def slopes(whole: Packed, y: np.ndarray) -> np.ndarray:
    """How the rates of all states change with all states, by central differences."""
    w, e = scratch(len(whole.names))
    floors = [state.floor * STEPS["state"] for state in whole.more_states]
    steps = np.array([STEPS["place"]] * 3 + [STEPS["turn"]] * 4 + [STEPS["momentum"]] * 6 + floors)
    columns = []
    for n, step in enumerate(steps):
        sides = []
        for sign in (1.0, -1.0):
            other, out = y.copy(), np.zeros(y.size)
            other[n] += sign * step
            derivatives(other, whole.model, w, e, out)
            sides.append(out[: steps.size])
        columns.append((sides[0] - sides[1]) / (2.0 * step))
    return np.array(columns).T


@pytest.mark.parametrize("law", ["relaxation", "hydraulic", "loss_factor", "bump_stop"])
def test_the_linear_model_is_that_of_all_states(law: str) -> None:
    """Reference: (iω − J)⁻¹ with J of the equations of motion, states of mounts among theirs; a rod beside them. The
    quaternion's length is a state that the force does not reach."""
    raw = on_ground(*[law_mount(law, name=name, at_mm=at, **TURNED) for name, at in CORNERS.items()], ROD)
    case, whole = packed(raw)
    rest = AtRest(whole)
    y = rest.state(rest.equilibrium().displacement)
    own, found = matrix_of(y[3:7]), slopes(whole, y)
    assert len(found) == STATES_PER_BODY + len(whole.more_states)
    model = frequency_model(whole, (), mounts=case.mount)
    assert len(model.special) == (0 if law == "bump_stop" else 3)
    for frequency in (5.0, 12.0, 60.0):
        rate = 2.0 * math.pi * frequency
        push = np.zeros((len(found), 3), complex)
        push[7:10] = own.T
        expected = np.linalg.solve(1j * rate * np.eye(len(found)) - found, push)[:3]
        moved = model.displacement(rate, model.force_at(0, whole.centres[0]))[:3]
        np.testing.assert_allclose(moved, expected, atol=2e-4 * np.abs(expected).max())


@pytest.mark.parametrize("law", ["relaxation", "hydraulic", "loss_factor"])
def test_at_rest_the_linear_model_is_the_static_one(law: str) -> None:
    """Law: a mount given time to relax has its static tangent. To 1e-3 of the greatest, which a thousandth of a hertz
    against relaxation in milliseconds stays below."""
    case, whole = packed(on_ground(*[law_mount(law, name=name, at_mm=at) for name, at in CORNERS.items()]))
    model = frequency_model(whole, (), mounts=case.mount)
    size = np.abs(model.linear.stiffness).max()
    np.testing.assert_allclose(model.dynamic_stiffness(0.0), model.linear.stiffness, atol=1e-3 * size)
