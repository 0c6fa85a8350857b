"""Periodic states of cases with dry friction, shafts that twist and elastic bodies."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.linalg import eigvals

from tests.flexible_cases import on_flexible
from tests.rotor_cases import TORSION, rotor, shaft
from tests.solver.test_held_by import _apart, _both
from tests.solver.test_periodic import TIGHT, _raw
from vibsim.inputs.loader import build_case
from vibsim.solver.floquet import floquet
from vibsim.solver.orbit_unknowns import orbit_unknowns
from vibsim.solver.packed import pack
from vibsim.solver.periodic import NoPeriodicState, periodic_state
from vibsim.solver.shooting import Best
from vibsim.solver.simulate import simulate
from vibsim.solver.steady_state import begin_instead


def test_dry_friction_stays_where_nothing_moves_it() -> None:
    """Law: the engine is alike on both sides of the plane that it moves in, so nothing moves it across; an offset
    there, kept by dry friction, would repeat as well. The state is the one without."""
    solution = simulate(build_case(_raw("friction")))
    assert solution.settling is not None
    assert solution.floquet is not None
    assert solution.settling.solve == "periodic"
    assert solution.settling.departure is not None
    assert solution.settling.departure < 1e-3
    assert solution.over_angle is not None
    across = solution.over_angle.mount_force[:, :, 1]
    assert np.abs(across).max() < 1e-6 * np.abs(solution.over_angle.mount_force).max()
    assert solution.floquet.hardly_damped
    assert any("dry friction of mounts keeps" in line for line in solution.warnings)


def test_dry_friction_is_that_of_a_settled_run() -> None:
    raw = _raw("friction", settle_tolerance=1e-5, relative_tolerance=1e-9)
    # slopes with kinks; departures fall to 0.7 a cycle, so that 1e-5 leaves three times that of either
    assert _apart(*_both(raw)) < 1e-4


def _driven(**run: Any) -> dict[str, Any]:
    """A crank that twists, a damper pulley, a clutch in two stages, lash and wheels."""
    raw = _raw(gas="cycle", **run)
    raw["body"][0]["moving_parts"] = "separate"
    raw["engine"]["crank"]["torsion"] = TORSION | {
        "stiffness_N_m_per_rad": TORSION["stiffness_N_m_per_rad"][:2],
        "damping_N_m_s_per_rad": 1.5,
        "throw_inertia_kg_m2": 0.002,
    }
    raw["rotor"] = [rotor("pulley", 0.002), rotor("gearbox", 0.004), rotor("wheels", 0.9, ratio=0.3, body="block")]
    raw["rotor"][2]["body"] = raw["body"][0]["name"]
    raw["shaft"] = [
        shaft("nose", "pulley", 4e3, damping_N_m_s_per_rad=0.8),
        {
            "between": ["flywheel", "gearbox"],
            "stage_twist_deg": [0.0, 3.0, 15.0],
            "stage_torque_N_m": [0.0, 6.0, 150.0],
            "damping_N_m_s_per_rad": 0.4,
        },
        shaft("gearbox", "wheels", 2e3, lash_deg=0.4, damping_N_m_s_per_rad=0.8),
    ]
    return raw


@pytest.mark.slow
def test_shafts_are_those_of_a_settled_run() -> None:
    """Law: both are the same motion. Kinks of stages and lash keep settling from agreeing closer than 1e-7 a cycle,
    and a change of that with a multiplier of 0.93 stands 1.4e-6 off: 5e-6 of the rms."""
    periodic, settled = _both(_driven(**TIGHT | {"settle_tolerance": 1e-7}))
    assert periodic.over_angle is not None
    assert settled.over_angle is not None
    assert periodic.floquet is not None
    assert periodic.floquet.largest < 0.99
    assert _apart(periodic, settled) < 5e-6
    mine, other = periodic.over_angle.shaft_torque, settled.over_angle.shaft_torque
    assert mine is not None
    assert other is not None
    rms = np.sqrt(((other - other.mean(axis=0)) ** 2).mean(axis=0)).max()
    assert np.abs(mine - other).max() < 5e-6 * rms


def test_twists_that_follow_are_no_unknowns() -> None:
    """Derived: with one throw its own shaft's twist follows from the throw's lead; the others stay."""
    packed = pack(build_case(_driven()), Path())
    size = packed.state_size - 1 - len(packed.names)
    unknowns = orbit_unknowns(packed, np.ones(size))
    assert unknowns.kept.size == size - 1
    assert np.linalg.matrix_rank(unknowns.follow) == size - 1


@pytest.mark.slow
def test_multipliers_of_shafts_are_those_of_the_linear_case() -> None:
    """Reference: eigenvalues of two rotors on a shaft, exp(λ·T) with λ of J·φ̈ + c·φ̇ + k·φ = 0 of the reduced inertia
    (derived). On a heavy block; second order in moving over whole mass, as in the test without shafts: 1e-2."""
    stiffness, damping, inertia = 4e3, 2.0, 0.02
    raw = _raw(gas="none", gravity=False, **TIGHT)
    raw["engine"]["crank"]["inertia_kg_m2"] = 50.0
    raw["body"][0] |= {"mass_kg": 600.0, "inertia_kg_m2": [60.0, 90.0, 70.0, 0.0, 0.0, 0.0]}
    raw["rotor"] = [rotor("ring", inertia, body="ground")]
    raw["shaft"] = [shaft("crank", "ring", stiffness, damping_N_m_s_per_rad=damping)]
    case = build_case(raw)
    packed = pack(case, Path())
    assert case.run is not None
    found = periodic_state(case, case.run, packed)
    mine = floquet(case, case.run, packed, found).multipliers
    reduced = inertia * 50.0 / (inertia + 50.0)
    rates = eigvals(np.array([[0.0, 1.0], [-stiffness / reduced, -damping / reduced]]))
    for value in np.exp(rates * packed.cycle / case.run.speed):
        assert np.abs(mine - value).min() < 1e-2


@pytest.mark.slow
def test_elastic_modes_are_those_of_a_settled_run() -> None:
    raw = on_flexible()
    raw["run"] = {"kind": "steady", "speed_rpm": 3000.0, "duration_s": 0.05} | TIGHT
    periodic, settled = _both(raw)
    assert _apart(periodic, settled) < 1e-6


def test_settling_begins_with_the_best_of_a_search() -> None:
    state = np.arange(3.0)
    start, words = begin_instead(NoPeriodicState("none", Best(state, 2.0, 0.01, 0.5)))
    assert start is not None
    assert start[1] == 2.0
    assert start[0] is state
    assert "from the best state of the search, which changed by 0.01 a cycle" in words
    assert begin_instead(NoPeriodicState("none", Best(state, 2.0, 0.4, 0.5))) == (None, "")
    assert begin_instead(NoPeriodicState("none")) == (None, "")
