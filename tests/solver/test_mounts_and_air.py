"""States of mounts and of the air path in one run: each where the equations take them from, neither in the other's."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests import cases
from tests.mount_cases import LAWS
from tests.solver.test_load_step import trike
from vibsim.inputs.loader import build_case
from vibsim.solver.failure import _fastest_mount, state_name
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.packed import STATES_PER_BODY, Packed, pack
from vibsim.solver.simulate import simulate
from vibsim.solver.start import state_at

MOUNT = 0
WEAK = {"relaxation_ratio": [1e-9], "relaxation_time_ms": [5.0]}  # its force is lost in the run's error


def stepped(law: str, **changes: Any) -> dict[str, Any]:
    """A load step of the trike with an electric charger, one of its mounts of a law."""
    raw = trike("electric", duration_s=0.4)
    raw["mount"][MOUNT] |= {"law": law, **LAWS[law], **changes}
    return raw


def whole(law: str) -> Packed:
    return pack(build_case(stepped(law)), cases.CONFIGS)


def rates(packed: Packed, y: np.ndarray) -> np.ndarray:
    (w, e), out = scratch(len(packed.names)), np.zeros(y.size)
    derivatives(y, packed.model, w, e, out)
    return out


@pytest.mark.parametrize("law", ["relaxation", "friction", "hydraulic"])
def test_mounts_come_first_then_the_air_path(law: str) -> None:
    plain, packed = whole("linear"), whole(law)
    bodies = STATES_PER_BODY * len(packed.names)
    count = len(packed.more_states) - len(plain.more_states)
    assert count > 0 and plain.model.air_at == bodies and packed.model.air_at == bodies + count
    assert packed.air_states == plain.air_states == plain.more_states
    y = state_at(packed, np.zeros((len(packed.names), 6)))
    assert y[packed.model.air_at : -2].tolist() == [state.start for state in plain.more_states]
    name = stepped(law)["mount"][MOUNT]["name"]
    assert all(state_name(n, packed).endswith(f"of mount '{name}'") for n in range(bodies, bodies + count))
    assert state_name(packed.model.air_at, packed) == plain.more_states[0].name
    case = build_case(stepped(law))
    assert {_fastest_mount(case, packed, n).split(".")[0] for n in range(bodies, bodies + count)} == {
        f"mount[{MOUNT + 1}]"
    }


@pytest.mark.parametrize("law", ["relaxation", "friction", "hydraulic"])
def test_rates_of_mounts_and_of_the_air_path_are_their_own(law: str) -> None:
    """Law: at the same crank speed the air path is the same whatever the mounts, and no mount feels the air."""
    plain, packed = whole("linear"), whole(law)
    bodies, air = STATES_PER_BODY * len(packed.names), packed.model.air_at
    random = np.random.default_rng(3)
    moved = 1e-3 * random.standard_normal((len(packed.names), 6))
    y, one = state_at(packed, moved, 1.0, 260.0), state_at(plain, moved, 1.0, 260.0)
    y[7:13] += 5.0
    one[7:13] += 5.0
    y[air:-2] *= 1.0 + 0.05 * random.random(y.size - 2 - air)
    one[bodies:-2] = y[air:-2]
    found = rates(packed, y)
    np.testing.assert_array_equal(found[air:-2], rates(plain, one)[bodies:-2])
    assert np.abs(found[air:-2]).max() > 0.0
    other = y.copy()
    other[bodies:air] += 1e-3 * np.array([state.floor for state in packed.more_states[: air - bodies]])
    np.testing.assert_array_equal(rates(packed, other)[air:-2], found[air:-2])
    assert np.any(rates(packed, other)[bodies:air] != found[bodies:air])
    other = y.copy()
    other[air:-2] *= 1.1
    np.testing.assert_array_equal(rates(packed, other)[bodies:air], found[bodies:air])


def test_a_load_step_gives_the_same_air_path_on_a_mount_with_states() -> None:
    """Reference: the same step on linear mounts. Both start from cycles that repeat within the settle tolerance."""
    raw = stepped("linear")
    raw["mount"][MOUNT].pop("cross_stiffness_N_per_mm")
    damping = raw["mount"][MOUNT]["damping_N_s_per_mm"]
    linear = simulate(build_case(raw), cases.CONFIGS)
    other = simulate(build_case(stepped("relaxation", damping_N_s_per_mm=damping, **WEAK)), cases.CONFIGS)
    assert linear.case.run is not None and linear.over_time.air is not None and other.over_time.air is not None
    tolerance = linear.case.run.settle_tolerance
    for name, values in linear.over_time.air.items():
        if name != "compressor_flags":
            size = max(float(np.ptp(values)), 1e-6 * float(np.abs(values).max()))
            np.testing.assert_allclose(other.over_time.air[name], values, atol=tolerance * size, err_msg=name)
    assert np.ptp(linear.over_time.air["intake_pressure"]) > 4e4
    assert np.ptp(other.over_time.air["winding_temperature"]) > 0.0
