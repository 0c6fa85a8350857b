"""Runs on a folder of traces: curves of the momentary speed, the measured range, what is left in the results."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.cases import mount, single
from tests.traces import CYCLE, RPM, as_measured, computed, linear_map, linear_trace, write, write_folder
from vibsim.engine.trace_windows import periodic_spline
from vibsim.inputs.errors import InputError, RunFailure
from vibsim.inputs.loader import CaseFile, build_case
from vibsim.results.labelled import Group
from vibsim.solver.packed import pack
from vibsim.solver.simulate import simulate
from vibsim.studies.run import run_case

SPEEDS = (1000.0, 2000.0, 3500.0)


def _case(torque: float, **run: object) -> dict:
    raw = single()
    raw["engine"] |= {
        "gas": {"source": "trace", "folder": "map"},
        "load": {"law": "constant", "torque_N_m": torque},
    }
    del raw["engine"]["compression_ratio"]  # the traces are of no engine
    raw["engine"]["crank"]["inertia_kg_m2"] = 0.1
    raw["run"] |= {"load": 0.5, "duration_s": 0.3, "sample_rate_Hz": 2000.0} | run
    return raw


def _run(raw: dict, folder: Path) -> Group:
    return run_case(CaseFile(build_case(raw), "", folder, "case"))


@pytest.fixture
def traced(tmp_path):
    write_folder(tmp_path / "map", linear_map([(rpm, load) for rpm in SPEEDS for load in (0.2, 1.0)]))
    return tmp_path


def test_a_free_run_feels_the_traces_of_its_speed(traced):
    results = _run(_case(60.0), traced)
    rpm, angle = results["crank_speed"] / RPM, results["crank_angle"]
    assert rpm.max() > 2900.0
    assert rpm.min() < 1900.0  # through a node
    for n in range(0, len(rpm), 37):
        expected = float(periodic_spline(linear_trace(rpm[n], 0.5), CYCLE)(angle[n]))
        # linear in speed between nodes and beyond them none: rounding of angle and speed
        assert results["cylinder_pressure"][n, 0] == pytest.approx(expected, rel=1e-6)
    assert results.attributes["warnings"] == ""
    assert "pressure traces in map: 6 from 1000 to 3500 rpm, load 0.2 to 1; bilinear" in results.attributes["gas_notes"]


def test_a_free_run_past_the_measured_range_fails(traced):
    with pytest.raises(RunFailure, match=r"past the 3500 rpm that engine.gas was measured for"):
        _run(_case(-150.0), traced)


def test_a_free_run_below_the_measured_range_warns(traced):
    results = _run(_case(80.0, duration_s=0.5), traced)
    assert results["crank_speed"].min() < 980.0 * RPM
    assert "below the 1000 rpm that engine.gas was measured for" in results.attributes["warnings"]


@pytest.mark.parametrize("kind", ["free", "steady"])
@pytest.mark.parametrize(("rpm", "load"), [(4000.0, 0.5), (3000.0, 0.1)])
def test_a_run_outside_the_measured_points_is_refused(kind, rpm, load, traced):
    with pytest.raises(InputError, match=f"engine.gas.folder: 'map': {rpm:.0f} rpm at load {load:g} is not measured"):
        simulate(build_case(_case(20.0, kind=kind, speed_rpm=rpm, load=load)), traced)


def test_a_case_without_a_run_needs_no_point(traced):
    raw = _case(0.0)
    del raw["run"]
    gas = pack(build_case(raw), traced).model.gas
    assert gas.active
    assert gas.coefficients.shape[0] == 1


def test_one_measured_speed_serves_that_speed(tmp_path):
    write_folder(tmp_path / "map", linear_map([(3000.0, 0.2), (3000.0, 1.0)]))
    assert "below the 3000 rpm" in _run(_case(80.0), tmp_path).attributes["warnings"]
    with pytest.raises(InputError, match="at that load the traces cover 3000 rpm alone"):
        simulate(build_case(_case(80.0, speed_rpm=2500.0)), tmp_path)


def test_a_steady_run_takes_the_trace_of_its_point(traced):
    raw = _case(0.0, kind="steady", speed_rpm=1700.0, load=0.6, start="static", duration_s=0.1)
    places = {"under": [0.0, -250.0, 0.0], "left": [200.0, 200.0, 0.0], "right": [-200.0, 200.0, 50.0]}
    raw["mount"] = [mount(name, at_mm=at, damping_N_s_per_mm=[0.5, 0.5, 0.5]) for name, at in places.items()]
    results = _run(raw, traced)
    cycle = results.groups["cycle"]
    expected = periodic_spline(linear_trace(1700.0, 0.6), CYCLE)(cycle["crank_angle"])
    np.testing.assert_allclose(cycle["cylinder_pressure"][:, 0], expected, rtol=1e-6)


def test_warnings_of_a_trace_are_kept_with_the_results(tmp_path):
    write(tmp_path / "p.csv", as_measured(computed(3000.0, 1.0), level=0.4e5))
    raw = single()
    raw["engine"]["gas"] = {"source": "trace", "file": "p.csv"}
    raw["run"] |= {"duration_s": 0.05, "sample_rate_Hz": 1000.0}
    attributes = _run(raw, tmp_path).attributes
    assert attributes["warnings"].startswith("trace p.csv: compression follows exponent 1.")
    assert "pressure level: as in the files" in attributes["gas_notes"]
