"""Where the torque of an accessory goes."""

from __future__ import annotations

import numpy as np
import pytest

from tests.cases import packed, single
from tests.laws.test_conservation import particle_momentum, run_states, separate, start
from tests.laws.test_static import still_case
from vibsim.solver.observe import observe
from vibsim.solver.order_response import order_response
from vibsim.solver.start import equilibrium

BRAKE = {"name": "brake", "kind": "constant", "ratio": 2.0, "torque_N_m": 3.0}


def test_torque_on_the_ground_is_what_the_floating_engine_loses() -> None:
    """Law: the angular momentum about the crank falls by the torque's integral, nothing else of it changes."""
    raw = separate(single())
    raw["engine"]["accessory"] = [BRAKE | {"reacted_by": "ground"}]
    case, model = packed(raw)
    time, states = run_states(model, start(case, model), 0.1, 11)
    held = np.array([particle_momentum(y, case, model) for y in states])
    assert observe(states, model, ()).accessory_torque == pytest.approx(np.full(11, 6.0), rel=1e-12)
    expected = held[0] + np.outer(time, [0.0, 0.0, 0.0, 0.0, -6.0, 0.0])
    # as for a free engine: 1e-9 of floors of 10 N s and 0.2 N m s a step
    assert np.abs(held - expected).max() < 3e-8


def test_accessory_on_the_ground_loads_the_mounts_like_output_torque() -> None:
    """Law: at a crank speed an accessory that the ground carries pulls as a load of that size does."""
    driven, loaded = still_case(), still_case()
    driven["engine"]["accessory"] = [BRAKE | {"reacted_by": "ground"}]
    loaded["engine"]["load"] = {"law": "none", "reacted_by": "ground"}
    _, one = packed(driven)
    _, other = packed(loaded)
    expected = equilibrium(other, 6.0).displacement
    # both are closed to 1e-8 of the weight over stiffnesses of 1e6 N/m
    np.testing.assert_allclose(equilibrium(one, 0.0, 300.0).displacement, expected, rtol=0, atol=1e-9)
    assert np.abs(equilibrium(one).displacement - expected).max() > 1e-5  # at rest it takes nothing
    linear = order_response(one, (), 300.0).linear
    np.testing.assert_allclose(linear.equilibrium.displacement, expected, rtol=0, atol=1e-9)
