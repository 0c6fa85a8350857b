"""Runs with mounts that are more than springs and dampers, from the case to the results."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.cases import mount, packed, single
from tests.mount_cases import law_mount
from vibsim.inputs.loader import CaseFile, build_case
from vibsim.solver.failure import state_name
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.start import state_at
from vibsim.studies.modes import find_modes
from vibsim.studies.overview import overview
from vibsim.studies.run import run_case

CORNERS = {"left": [200.0, 150.0, 0.0], "right": [200.0, -150.0, 0.0], "rear": [-200.0, 0.0, 0.0]}


def mounted(law: str, **changes: Any) -> CaseFile:
    """The single on three mounts of a law, let go under its weight."""
    raw = single()
    raw["mount"] = [law_mount(law, name=name, at_mm=at, **changes) for name, at in CORNERS.items()]
    raw["run"] |= {"duration_s": 0.05, "start": "static", "gravity": True}
    return CaseFile(build_case(raw), "", Path(), "case")


def test_one_more_path_gives_the_same_forces() -> None:
    """Torsion so weak that nothing of it is left in double precision sends a linear mount the way of the other laws."""
    random, rates = np.random.default_rng(2), []
    for weak in (0.0, 1e-30):
        raw = single()
        raw["mount"] = [
            mount(
                name,
                at_mm=at,
                axes_deg=[10.0, 20.0, 30.0],
                damping_N_s_per_mm=[0.3, 0.2, 0.1],
                torsional_stiffness_N_m_per_rad=[weak] * 3,
                between=["ground", "powertrain"] if name == "rear" else ["powertrain", "ground"],
            )
            for name, at in CORNERS.items()
        ]
        _, whole = packed(raw)
        assert bool(np.all(whole.model.mounts["special"])) == (weak > 0.0)
        random = np.random.default_rng(2)
        y = state_at(whole, 0.01 * random.standard_normal((1, 6)), 1.0, 300.0)
        y[7:13] += random.standard_normal(6)
        (w, e), out = scratch(1), np.zeros(y.size)
        derivatives(y, whole.model, w, e, out)
        rates.append(out)
    assert rates[1] == pytest.approx(rates[0], rel=1e-12, abs=1e-9)  # roundings of forces of 1e4 N


def test_results_hold_the_notes_of_fitted_laws_and_the_moments_of_torsion() -> None:
    case = mounted("loss_factor", torsional_stiffness_N_m_per_rad=[100.0, 200.0, 300.0])
    results = run_case(case)
    notes = str(results.attributes["mount_notes"])
    assert "mount 'left': loss factor 0.2 by 3 relaxation elements" in notes
    assert notes.splitlines()[0] in overview(case).notes
    moment = results["mount_moment"]
    assert moment.shape == results["mount_force"].shape
    assert np.abs(moment).max() > 0.0
    assert "mount_moment" not in run_case(mounted("relaxation"))


def test_states_of_mounts_come_after_the_bodies_and_have_names() -> None:
    whole = packed({**single(), "mount": [law_mount("friction"), law_mount("hydraulic")]})[1]
    assert whole.model.mounts["state"].tolist() == [13, 16]
    assert state_name(13, whole) == "friction along x of mount 'friction'"
    assert state_name(17, whole) == "flow through the track of mount 'hydraulic'"
    assert state_name(19, whole) == "crank angle"


def test_modes_say_of_which_mounts_the_static_stiffness_was_taken() -> None:
    assert find_modes(mounted("hydraulic")).tangent == tuple(CORNERS)
    assert find_modes(mounted("bump_stop")).tangent == ()


def test_modes_of_scheduled_mounts_are_those_of_the_runs_speed() -> None:
    raw = single()
    raw["mount"] = [law_mount("scheduled", name=name, at_mm=at) for name, at in CORNERS.items()]
    found = []
    for rpm in (500.0, 4000.0):
        raw["run"] |= {"speed_rpm": rpm, "gravity": True}
        found.append(find_modes(CaseFile(build_case(raw), "", Path(), "case")).modes.frequency)
    assert found[1].max() > 1.3 * found[0].max()


def test_too_fast_relaxation_becomes_a_damper_and_says_so() -> None:
    case = mounted("relaxation", relaxation_time_ms=[8.0, 0.01])
    whole = packed({**single(), "mount": [law_mount("relaxation", relaxation_time_ms=[8.0, 0.01])]})[1]
    assert len(whole.more_states) == 3
    assert whole.model.mounts["damp_z"][0] == pytest.approx(0.5 * 250e3 * 1e-5)
    assert any("relaxation in 0.01 ms is taken as a damper" in note for note in overview(case).notes)


STIFF = {
    "relaxation": {"relaxation_time_ms": [8.0, 1e-4]},
    "hydraulic": {"decoupler_resistance_kPa_s_per_L": 1e-3},
}


@pytest.mark.parametrize("law", STIFF)
def test_stiff_states_of_mounts_do_not_set_the_step(law: str) -> None:
    """Relaxation in 0.1 µs and a decoupler that hardly resists would ask for hundreds of times the work of mild ones;
    as they are taken they ask for less than twice: accuracy still has the fastest flow of the fluid followed."""
    taken = [
        int(run_case(case).attributes["solver_evaluations"]) for case in (mounted(law, **STIFF[law]), mounted(law))
    ]
    assert taken[0] < 2.0 * taken[1]
