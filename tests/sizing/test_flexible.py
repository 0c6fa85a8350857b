"""The bench on a flexible body against the model that answers one set of mounts."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.flexible_cases import on_flexible
from vibsim.inputs.loader import CaseFile, build_case
from vibsim.solver.order_response import order_response
from vibsim.solver.packed import pack
from vibsim.solver.start import equilibrium
from vibsim.solver.steady import mean_torque
from vibsim.studies.sizing.bench import WEIGHT, Bench, Needs


@pytest.mark.slow
def test_candidates_on_a_flexible_body_are_answered_as_one_by_one():
    """Rest, sensors and mount forces of the case's own mounts and of stiffer ones; the
    bench has masses and moments of inertia as they stand in the first, milliradians away: 1e-3."""
    raw = on_flexible()
    raw["run"] = {"kind": "steady", "speed_rpm": 1900.0, "duration_s": 0.1}
    file = CaseFile(build_case(raw), "", Path(), "flexible")
    speed, needs = file.case.run.speed, Needs(mounts=True, modes=True)
    needs.load(WEIGHT)
    needs.lane(speed, 1.0)
    first = file.case.mount[0]
    other = first.model_copy(update={"stiffness": tuple(1.5 * k for k in first.stiffness)})
    sets = [file.case.mount, (other, *file.case.mount[1:])]
    answers = Bench(file, needs).answer(sets)
    for n, mounts in enumerate(sets):
        case = file.case.model_copy(update={"mount": mounts})
        packed = pack(case, file.folder)
        assert answers.rests[0].at[n] == pytest.approx(equilibrium(packed).displacement, abs=1e-8)
        response = order_response(packed, case.sensor, speed, mean_torque(packed, speed), mounts)
        moved = response.displacement(1.0, response.excitation(1.0))
        expected = response.sensors(1.0, moved)
        assert np.abs(answers.felt[n, 0] - expected).max() < 1e-3 * np.abs(expected).max()
        forces = response.mounts(1.0, moved)
        assert np.abs(answers.mount[n, 0] - forces).max() < 1e-3 * np.abs(forces).max()
    assert np.all(answers.energy[0].sum(axis=(1, 2)) < 1.0 + 1e-9)
