"""The bench that answers many sets of mounts, with laws that have states and numbers of their own."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tests.cases import CONFIGS
from tests.mount_cases import LAWS
from vibsim.inputs.loader import CaseFile, build_case, load_case
from vibsim.inputs.mount_models import HydraulicMount, ScheduledMount
from vibsim.solver.order_response import order_response
from vibsim.solver.packed import pack
from vibsim.solver.start import equilibrium
from vibsim.solver.steady import mean_torque
from vibsim.studies.alike import run_at
from vibsim.studies.sizing.bench import WEIGHT, Bench, Load, Needs
from vibsim.studies.sizing.robust import scaled
from vibsim.studies.sizing.space import Mounts

SPEED = 3300.0 * math.pi / 30.0


def mixed() -> CaseFile:
    """The trike with a hydraulic, a bump-stopped and a relaxing mount and a scheduled one."""
    file = load_case(CONFIGS / "v3-80-trike.toml")
    laws = ["hydraulic", "bump_stop", "relaxation", "scheduled"]
    mounts = []
    for old, law in zip(file.case.mount, laws, strict=False):
        raw: dict[str, Any] = {"name": old.name, "between": list(old.between), "at_mm": [1e3 * x for x in old.at]}
        rates = {"stiffness_N_per_mm": [1e-3 * k for k in old.stiffness], "damping_N_s_per_mm": [0.2, 0.1, 0.2]}
        mounts.append(raw | {"law": law} | ({} if law == "scheduled" else rates) | LAWS[law])
    body = {"name": "x", "mass_kg": 1.0, "centre_of_mass_mm": [0, 0, 0], "inertia_kg_m2": [1, 1, 1, 0, 0, 0]}
    names = [{**body, "name": item.name} for item in file.case.body]
    read = build_case({"body": names, "mount": mounts}).mount
    return replace(file, case=file.case.model_copy(update={"mount": (*read, *file.case.mount[4:])}))


def others(file: CaseFile) -> list[Mounts]:
    """The case's own mounts; stiffer ones; and a set in which all numbers and one count of states differ."""
    own = file.case.mount
    stiff = tuple(scaled(mount, 1.2, 0.8) for mount in own)
    turned = own[2].model_copy(update={"relaxation_ratio": (0.3, 0.5, 0.2), "relaxation_time": (8e-3, 1e-3, 4e-3)})
    crossed = own[1].model_copy(update={"cross_stiffness": (1e4, 0.0, 0.0)})
    return [own, stiff, (own[0], crossed, turned, own[3].model_copy(update={"at": (-0.14, -0.17, 0.43)}), *own[4:])]


@pytest.fixture(scope="module")
def answered() -> tuple[CaseFile, list[Mounts], Any, tuple[float, ...]]:
    file, needs, orders = mixed(), Needs(mounts=True), (0.5, 1.0, 2.0)
    needs.load(WEIGHT)
    needs.load(Load(torque=40.0, speed=SPEED))
    for order in orders:
        needs.lane(SPEED, order)
    sets = others(file)
    return file, sets, Bench(file, needs).answer(sets), orders


def test_rests_are_those_of_one_case(answered) -> None:
    """Both rests are closed to 1e-7 of the weight over stiffnesses of 1e5 N/m."""
    file, sets, answers, _ = answered
    for n, mounts in enumerate(sets):
        one = pack(file.case.model_copy(update={"mount": mounts}), file.folder)
        np.testing.assert_allclose(answers.rests[0].at[n], equilibrium(one).displacement, atol=1e-8)
        np.testing.assert_allclose(answers.rests[1].at[n], equilibrium(one, 40.0, SPEED).displacement, atol=1e-8)


def test_orders_are_those_of_one_case(answered) -> None:
    """To 3e-4 of the greatest: the bench leaves masses as the case's own rest turns them."""
    file, sets, answers, orders = answered
    for n, mounts in enumerate(sets):
        turned = run_at(replace(file, case=file.case.model_copy(update={"mount": mounts})), SPEED)
        one = pack(turned.case, turned.folder)
        response = order_response(one, turned.case.sensor, SPEED, mean_torque(one, SPEED), turned.case.mount)
        assert len(response.model.special) == 2
        for lane, order in enumerate(orders):
            moved = response.displacement(order, response.excitation(order))
            for found, expected in (
                (answers.felt[n, lane], response.sensors(order, moved)),
                (answers.mount[n, lane], response.mounts(order, moved)),
            ):
                np.testing.assert_allclose(found, expected, atol=3e-4 * np.abs(expected).max())


def test_scatter_scales_every_stiffness_and_damping() -> None:
    own = mixed().case.mount
    hydraulic, scheduled = scaled(own[0], 1.1, 0.5), scaled(own[3], 1.1, 0.5)
    assert isinstance(hydraulic, HydraulicMount) and isinstance(scheduled, ScheduledMount)
    assert isinstance(own[3], ScheduledMount) and own[3].damping_at_speed is not None
    assert scheduled.stiffness_at_speed[2][1] == pytest.approx(1.1 * own[3].stiffness_at_speed[2][1])
    assert scheduled.damping_at_speed is not None
    assert scheduled.damping_at_speed[0][2] == pytest.approx(0.5 * own[3].damping_at_speed[0][2])
