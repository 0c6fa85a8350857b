"""Torque that leaves by a chain or a differential: laws of force, moment and power, and rest against the run's mean."""

from __future__ import annotations

import copy
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.cases import packed
from tests.flexible_cases import on_flexible
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile, build_case
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.order_response import order_response
from vibsim.solver.outlet_pack import in_gear
from vibsim.solver.simulate import simulate
from vibsim.solver.start import equilibrium, state_at
from vibsim.structure.rotation import matrix_of
from vibsim.studies.statics import find_statics

CHAIN: dict[str, Any] = {
    "body": "chassis",
    "sprocket_mm": [-150, 60, 20],
    "driven_sprocket_mm": [-700, 80, -40],
    "sprocket_radius_mm": 38.0,
    "driven_sprocket_radius_mm": 105.0,
    "ratio": 4.2,
}
DIFFERENTIAL: dict[str, Any] = {
    "body": "chassis",
    "ratio": 2.1,
    "final_drive_ratio": 3.7,
    "propshaft_direction": [1, 0, 0.05],
}
TORQUE = 25.0


def driven(kind: str, torque: float = TORQUE, **changes: Any) -> dict[str, Any]:
    raw = on_flexible()
    table = copy.deepcopy(CHAIN if kind == "chain" else DIFFERENTIAL) | changes
    raw["engine"]["load"] = {"law": "constant", "torque_N_m": torque, kind: table}
    if kind == "chain":
        for mode, shape in zip(raw["body"][1]["mode"], ([0.02, 0.01, -0.05], [0.05, 0.0, 0.06]), strict=True):
            mode["shape"]["chain"] = shape
    return raw


def wrenches(raw: dict[str, Any], seed: int = 2) -> tuple[np.ndarray, np.ndarray, Any]:
    """Force and moment about the vehicle origin (bodies, 6) that the drive alone puts on the bodies of a displaced
    case, vehicle axes; the state and the model."""
    model = packed(raw)[1]
    random = np.random.default_rng(seed)
    y = state_at(model, random.normal(0.0, 5e-3, (2, 6)), 0.4, 200.0)
    found = []
    for drive in (model.model.outlet, None):
        whole = model.model._replace(outlet=drive)
        (w, e), out = scratch(2), np.zeros(y.size)
        derivatives(y, whole, w, e, out)
        rows = []
        for b in range(2):
            own = matrix_of(y[13 * b + 3 : 13 * b + 7])
            push, spin = own @ out[13 * b + 7 : 13 * b + 10], own @ out[13 * b + 10 : 13 * b + 13]
            rows.append(np.concatenate([push, spin + np.cross(y[13 * b : 13 * b + 3], push)]))
        found.append(np.array(rows))
    return found[0] - found[1], y, model


@pytest.mark.parametrize("torque", [TORQUE, -TORQUE])
def test_a_chain_pulls_two_bodies_along_one_line(torque):
    """Law: where the second body takes the wheel's torque too, force and reaction lie on one line, so that neither
    momentum nor angular momentum is made; the pull is torque × ratio / radius, towards the other body in either way."""
    found, y, model = wrenches(driven("chain", torque, wheel_torque_reacted_by="chassis"))
    assert found[0] + found[1] == pytest.approx(np.zeros(6), abs=1e-9 * np.abs(found).max())
    pull = np.linalg.norm(found[0, :3])
    assert pull == pytest.approx(abs(torque) * 4.2 / 0.038, rel=3e-3)  # the run stands a little aslant
    assert found[0, 0] < 0.0 < found[1, 0]
    own = matrix_of(y[3:7])
    first = y[:3] + own @ np.array([model.model.outlet[0][f"first_{axis}"] for axis in "xyz"])
    about = (found[0, 3:] - np.cross(first, found[0, :3])) @ _turns_about(model, own)
    assert about == pytest.approx(-torque * 4.2, rel=1e-9)


def _turns_about(model: Any, own: np.ndarray) -> np.ndarray:
    return own @ np.array([model.model.outlet[0][f"way_{axis}"] for axis in "xyz"])


def test_the_tight_run_is_the_upper_one_driving_and_the_lower_one_in_overrun():
    """Geometry: a sprocket that rolls forward is pulled at its top when it drives."""
    for torque, side in ((TORQUE, 1.0), (-TORQUE, -1.0)):
        raw = driven("chain", torque=torque, driven_sprocket_mm=[-700, 60, 20], driven_sprocket_radius_mm=38.0)
        model = packed(raw)[1]
        y, out, (w, e) = state_at(model, np.zeros((2, 6))), np.zeros(model.state_size), scratch(2)
        moments = []
        for drive in (model.model.outlet, None):
            derivatives(y, model.model._replace(outlet=drive), w, e, out)
            moments.append(matrix_of(y[3:7]) @ out[10:13])
        pull = TORQUE * 4.2 / 0.038  # backward, at a height of 20 mm ± radius, mass centre at 50 mm
        assert (moments[0] - moments[1])[1] == pytest.approx(-pull * (0.02 + side * 0.038 - 0.05), rel=1e-9)


def test_a_wheel_on_the_ground_takes_its_torque_away():
    """Law: then the bodies are left with the wheel's torque about its axle and no force; torque × both ratios."""
    found, _, _ = wrenches(driven("chain"))
    total = found[0] + found[1]
    assert total[:3] == pytest.approx(np.zeros(3), abs=1e-9 * np.abs(found).max())
    assert np.linalg.norm(total[3:]) == pytest.approx(TORQUE * 4.2 * 105.0 / 38.0, rel=2e-3)
    assert total[4] < 0.0  # the wheel is turned forward, the vehicle backward


def test_a_differential_hands_the_shaft_torque_over_and_gives_the_axle_torque_away():
    """Law: −T·i about the shaft on the engine's body, its reaction less T·i·i_f about the axle on the other."""
    found, y, model = wrenches(driven("differential"))
    shaft = matrix_of(y[3:7]) @ model.axes[0].T @ (np.array([1, 0, 0.05]) / math.hypot(1, 0.05))
    axle = matrix_of(y[16:20]) @ np.array([0.0, 1.0, 0.0])
    assert np.abs(found[:, :3]).max() < 1e-9 * np.abs(found).max()
    assert found[0, 3:] == pytest.approx(-TORQUE * 2.1 * shaft, abs=1e-9)
    assert found[1, 3:] == pytest.approx(TORQUE * 2.1 * shaft - TORQUE * 2.1 * 3.7 * axle, abs=1e-9)
    closed = wrenches(driven("differential", axle_torque_reacted_by="chassis"))[0]
    assert closed[0] + closed[1] == pytest.approx(np.zeros(6), abs=1e-9)


def test_a_differential_in_the_engines_body_is_the_axle_torque_alone():
    """The gearbox's own torque stays inside."""
    found, y, _ = wrenches(driven("differential", body="powertrain", axle_torque_reacted_by="chassis"))
    axle = matrix_of(y[3:7]) @ packed(driven("differential"))[1].axes[0].T @ np.array([0.0, 1.0, 0.0])
    assert found[0, 3:] == pytest.approx(-TORQUE * 2.1 * 3.7 * axle, abs=1e-9)


def test_the_crank_loses_what_leaves():
    """The crank's own equation does not know how its torque leaves."""
    raw = driven("chain")
    plain = copy.deepcopy(raw)
    del plain["engine"]["load"]["chain"]
    for mode in plain["body"][1]["mode"]:
        del mode["shape"]["chain"]
    rates = []
    for item in (raw, plain):
        _, model = packed(item)
        y, out, (w, e) = state_at(model, np.zeros((2, 6)), 0.3, 100.0), np.zeros(model.state_size), scratch(2)
        derivatives(y, model.model, w, e, out)
        rates.append(out[-1])
    assert rates[0] == pytest.approx(rates[1], rel=1e-12)


def geared(kind: str, **changes: Any) -> CaseFile:
    raw = driven(kind, **changes)
    del raw["engine"]["load"][kind]["ratio"]
    raw["engine"]["load"]["gear"] = 2
    raw["driveline"] = {
        "gear_ratios": [3.1, 2.1],
        "reverse_ratio": 2.8,
        "final_drive_ratio": 3.7,
        "gearbox_efficiency": 0.95,
        "leaves_at": "gearbox",
        "engine_torque_N_m": TORQUE,
    }
    raw["run"] = {"kind": "steady", "speed_rpm": 2400.0, "duration_s": 0.3, "gravity": True, "settle_tolerance": 1e-5}
    raw["engine"]["gas"] = {"source": "none"}
    return CaseFile(build_case(raw), "", Path(), kind)


@pytest.mark.parametrize("kind", ["chain", "differential"])
def test_statics_in_the_runs_gear_are_the_rest_that_the_run_swings_about(kind):
    """Statics of gear 2 under the torque of the run equal the equilibrium of the run's own model; those of gear 1 take
    its ratio; reverse turns the chain's pull to the other run."""
    file = geared(kind)
    case, model = packed_file(file)
    found = {standing.case.name: standing for standing in find_statics(file, "carried").gears}
    expected = equilibrium(model, TORQUE).displacement
    assert found["gear 2"].displacement == pytest.approx(expected, abs=1e-9)
    first = equilibrium(in_gear(model, case, 1), TORQUE).displacement
    assert found["gear 1"].displacement == pytest.approx(first, abs=1e-9)
    assert np.abs(first - expected).max() > 1e-5
    assert in_gear(model, case, "reverse").model.outlet["gearbox"][0] == pytest.approx(-2.8 * 0.95)


def packed_file(file: CaseFile):
    from vibsim.solver.packed import pack

    return file.case, pack(file.case, file.folder)


def test_mean_of_a_run_is_the_rest_under_its_mean_torque_and_orders_agree():
    """Two routes, a chain to a flexible body: mean mount forces of a steady run against statics under its mean load,
    and its orders against the linear model; 1 %, of the greatest."""
    raw = driven("chain", torque=0.0)
    raw["engine"]["gas"] = {"source": "motored"}
    raw["run"] = {"kind": "steady", "speed_rpm": 2400.0, "duration_s": 0.3, "gravity": True, "settle_tolerance": 1e-5}
    case = build_case(raw)
    solution = simulate(case)
    torque = solution.settling.load_torque
    response = order_response(solution.packed, case.sensor, case.run.speed, torque, case.mount)
    from vibsim.solver.observe import observe
    from vibsim.solver.start import AtRest

    rest = AtRest(solution.packed, torque)
    state = rest.state(rest.equilibrium().displacement)
    standing = observe(state[None], solution.packed, ()).mount_force[0]
    mean = solution.over_angle.mount_force.mean(axis=0)
    assert np.abs(mean - standing).max() < 0.01 * np.abs(standing).max()
    spectrum = 2.0 * np.fft.fft(solution.over_angle.mount_force, axis=0) / len(solution.over_angle.mount_force)
    found = response.over_angle()[1]
    checked = [n for n in range(1, 9) if np.abs(spectrum[n]).max() > 0.1 * np.abs(spectrum[1:9]).max()]
    for n in checked:
        assert np.abs(found[n] - spectrum[n]).max() < 0.01 * np.abs(spectrum[n]).max()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda raw: raw["engine"]["load"]["chain"].update(body="powertrain"), "another body"),
        (lambda raw: raw["engine"]["load"]["chain"].update(body="chasis"), "chassis"),
        (lambda raw: raw["engine"]["load"]["chain"].update(driven_sprocket_mm=[-200, 60, 20]), "overlap"),
        (lambda raw: raw["engine"]["load"].update(reacted_by="chassis"), "keep one"),
        (lambda raw: raw["engine"]["load"]["chain"].pop("ratio"), "is missing"),
        (lambda raw: raw["engine"]["load"].update(differential=DIFFERENTIAL), "keep one"),
        (lambda raw: raw["engine"]["load"]["chain"].update(direction=[0, 0, 0]), "zero"),
        (lambda raw: raw["engine"]["load"].update(gear=2), "keep one"),
    ],
)
def test_mistakes_are_named(change, words):
    raw = driven("chain")
    change(raw)
    with pytest.raises(InputError, match=words):
        build_case(raw)
