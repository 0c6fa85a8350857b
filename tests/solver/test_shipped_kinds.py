"""Every kind of run has a shipped case, or is a step of one; so has every way that torque leaves or speed is seen."""

from __future__ import annotations

import typing
from collections.abc import Iterator

import pytest

from tests.cases import CONFIGS
from vibsim.inputs.loader import load_case
from vibsim.inputs.models import Case, Run
from vibsim.inputs.step_models import Step
from vibsim.solver.packed import pack
from vibsim.studies.run import run_case

KINDS = sorted((CONFIGS / "kinds").glob("*.toml"))
SHIPPED = [*sorted(CONFIGS.glob("*.toml")), *KINDS]


def cases() -> Iterator[Case]:
    for path in SHIPPED:
        yield load_case(path).case


def literals(model: type) -> set[str]:
    return set(typing.get_args(model.model_fields["kind"].annotation))  # type: ignore[attr-defined]


def test_every_kind_of_run_and_step_is_shipped() -> None:
    runs = {case.run.kind for case in cases() if case.run is not None}
    steps = {step.kind for case in cases() if case.run is not None for step in case.run.step}
    assert literals(Step) == steps
    assert literals(Run) == runs | steps


def test_every_way_out_and_what_reads_speed_is_shipped() -> None:
    engines = [case.engine for case in cases() if case.engine is not None]
    loads = [engine.load for engine in engines]
    assert any(load.chain is not None for load in loads) and any(load.differential is not None for load in loads)
    assert any(load.rotor is not None for load in loads) and any(engine.tooth_wheel for engine in engines)
    assert any(case.run is not None and case.run.clutch is not None for case in cases())


@pytest.mark.parametrize("path", KINDS, ids=lambda path: path.stem)
def test_small_case_is_marked_invented_and_packs(path) -> None:
    assert "# Demo data, invented: no real engine or vehicle." in path.read_text(encoding="utf-8").splitlines()[:5]
    case = load_case(path).case
    assert case.case.notes == "Demo data, invented."
    parted = case.model_copy(update={"engine": None, "run": None, "rotor": (), "shaft": ()})
    assert pack(parted, CONFIGS).names == ["powertrain", "chassis"]


@pytest.mark.slow
@pytest.mark.parametrize("path", KINDS, ids=lambda path: path.stem)
def test_small_case_runs(path) -> None:
    results = run_case(load_case(path))
    assert results.attributes.get("settled", 1)
    expected = {"misfire": "tooth_wheel", "cyclic": "cyclic", "load_step": "clutch"}
    assert expected.get(str(results.attributes["run_kind"]), "torque") in results.groups
    if "clutch" in results.groups:
        found = results.groups["clutch"].attributes
        assert found["holds"] and found["lost_energy_J"] > 0.0 and found["greatest_torque_N_m"] <= 330.0 * (1.0 + 1e-9)
