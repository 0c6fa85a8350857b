"""vibsim from Python: cases, keys, runs, arrays, notebooks."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

import vibsim
from tests.conftest import DEMO
from tests.test_architecture import HEAVY
from vibsim.inputs.errors import InputError, VibsimError
from vibsim.inputs.loader import parse_case
from vibsim.results.labelled import Group

ROOT = Path(__file__).parents[2]
BAD = '<script>alert("1")</script> & <b>'


@pytest.fixture(scope="module")
def results(demo_results: Group) -> vibsim.Results:
    return vibsim.Results(demo_results.variables, demo_results.attributes, demo_results.groups)


def test_import_loads_nothing_heavy():
    code = f"import sys, vibsim\nassert 'load' in dir(vibsim)\nprint([n for n in {HEAVY!r} if n in sys.modules])"
    found = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
    with pytest.raises(AttributeError, match="no attribute 'simulat'"):
        _ = vibsim.simulat


def test_keys_are_read_and_changed():
    case = vibsim.load(DEMO)
    changed = case.with_value("run.speed_rpm", 5000).with_value("mount[front left].stiffness_N_per_mm[3]", 81.5)
    assert (case["run.speed_rpm"], changed["run.speed_rpm"]) == (4000, 5000)
    assert changed["mount[1].stiffness_N_per_mm"] == [140, 70, 81.5]
    assert changed.file.case.mount[0].stiffness[2] == pytest.approx(81500.0)
    assert changed.with_value("run.load", np.float64(0.5))["run.load"] == 0.5
    assert changed.with_value("mount[2].at_mm", [330.0, -170.0, 420.0]).file.case.mount[1].at[1] == -0.17
    assert changed.with_value("case.title", "mine").file.case.case.title == "mine"
    halved = case.scaled("mount[*].damping_N_s_per_mm[*]", 0.5)
    whole = np.array(case["mount[*].damping_N_s_per_mm[*]"])
    assert np.array(halved["mount[*].damping_N_s_per_mm[*]"]) == pytest.approx(0.5 * whole)
    assert case["mount[*].name"][:2] == ["front left", "front right"]


def test_a_changed_case_keeps_its_text_otherwise(tmp_path):
    case = vibsim.load(DEMO)
    changed = case.with_value("run.speed_rpm", 5000)
    before, after = case.text.splitlines(), changed.text.splitlines()
    assert len(before) == len(after)
    assert [pair for pair in zip(before, after, strict=True) if pair[0] != pair[1]] == [
        ("speed_rpm = 4000", "speed_rpm = 5000")
    ]
    assert vibsim.load(changed.save(tmp_path / "new.toml"))["run.speed_rpm"] == 5000
    with pytest.raises(VibsimError, match="cannot be written"):
        changed.save(tmp_path / "new.toml")


@pytest.mark.parametrize(
    ("key", "value", "line"),
    [
        ("run.sped_rpm", 1, "run.sped_rpm: unknown key; did you mean speed_rpm?"),
        ("runn.load", 1, "runn.load: the case has no 'runn' there; did you mean run?"),
        ("mount[front].at_mm[1]", 1, "mount[front].at_mm[1]: got [front]; did you mean"),
        ("run.load", "much", "run.load: got 'much'"),
        ("run.speed_rpm", -1e9, "run.speed_rpm: got '-1e+09 rpm'"),
        ("mount[1].stiffness_N_per_mm", 5, "is a list of 3; choose one by [1], or all by [*]"),
    ],
)
def test_wrong_keys_and_values_are_named(key, value, line):
    with pytest.raises(InputError, match=re.escape(line)) as error:
        vibsim.load(DEMO).with_value(key, value)
    assert "--over" not in str(error.value)


def test_reading_a_key_that_is_not_there():
    with pytest.raises(InputError, match=r"run.loud: is not in the case; did you mean load\?"):
        _ = vibsim.load(DEMO)["run.loud"]


def test_a_run_is_that_of_the_changed_case(results):
    changed = vibsim.run(vibsim.load(DEMO).with_value("run.speed_rpm", 4200))
    assert np.mean(changed["crank_speed"]) == pytest.approx(4200 * np.pi / 30, rel=1e-3)
    assert "speed_rpm = 4200" in changed.attributes["case_text"]
    assert changed.attributes["case_sha256"] != results.attributes["case_sha256"]
    assert changed.summary()["mean_speed_rpm"] == pytest.approx(4200, rel=1e-3)


def test_arrays_with_labels(results):
    whole = results.to_xarray()
    assert whole.mount_force.dims == ("time", "mount", "axis") and whole.mount_force.attrs["units"] == "N"
    picked = whole.mount_force.sel(mount="rear left", axis="Z")
    assert (picked.values == results["mount_force"][:, results.labels("mount").index("rear left"), 2]).all()
    orders = results.to_xarray("orders")
    first = orders.mount_force_amplitude.sel(order=1.0, mount="front left", axis="X")
    assert first.item() == results["orders/mount_force_amplitude"][2, 0, 0]
    assert orders.attrs["over"] == "crank angle, not time"
    assert results.to_xarray("torque/swing").sel(torque="net").item() == results["torque/swing"][-1]
    for wrong in ("order", "orders/mount_forse", "none/x"):
        with pytest.raises(InputError, match=f"to_xarray: got '{wrong}'"):
            results.to_xarray(wrong)


def test_without_xarray(results, monkeypatch):
    monkeypatch.setitem(sys.modules, "xarray", None)
    with pytest.raises(VibsimError, match=r"pip install 'vibsim\[notebook\]'"):
        results.to_xarray()


def test_saved_read_and_exported(results, tmp_path):
    again = vibsim.read(results.save(tmp_path / "run.h5"))
    assert isinstance(again, vibsim.Results)
    assert (again["orders/mount_force_phase"] == results["orders/mount_force_phase"]).all()
    (path,) = again.export(tmp_path / "t.json", "json", ["torque"])
    assert path.exists()
    with pytest.raises(InputError, match="to: got 'xls'; allowed: csv, uff, json"):
        again.export(tmp_path / "t", "xls")


def test_a_run_without_one_speed_is_shown(results, monkeypatch):
    short = {"title": "to and fro", "run_kind": "run_up", "mounts": [{"name": "m", "rms_N": 2.0}]}
    monkeypatch.setattr("vibsim.show.html_tables.summarise", lambda _: short)
    words = Checker(results._repr_html_()).words
    assert "run up run" in words and "rpm" not in words and "2.0" in words


def test_sweep_from_python(tmp_path):
    case = vibsim.load(DEMO)
    found = vibsim.sweep(case, {"run.speed_rpm": [3600, 4000], "run.load": [0.35]}, tmp_path / "s.h5")
    assert found.to_xarray().sensor_rms.sel(speed_rpm=4000, load=0.35, sensor="seat", axis="Z").item() > 0.0
    assert "2 of 2 points over speed_rpm, load" in found._repr_html_()
    with pytest.raises(InputError, match=r"run\.lod"):
        vibsim.sweep(case, ["run.lod=1,2"], tmp_path / "t.h5")


def test_sweeps_are_compared_as_the_command_does(tmp_path, command):
    found = []
    for n, factor in enumerate((1.0, 0.5)):
        case = vibsim.load(DEMO).scaled("mount[*].stiffness_N_per_mm[*]", factor)
        found.append(vibsim.sweep(case, {"run.speed_rpm": [3600, 4000]}, tmp_path / f"{n}.h5"))
    compared = vibsim.compare(*found, names=("firm", "soft"))
    words = Checker(compared._repr_html_()).words
    assert "2 points in common over run.speed_rpm (rpm)" in words and "sensor_resultant_rms[seat]" in words
    _, out, _ = command("compare", tmp_path / "0.h5", tmp_path / "1.h5", "--json")
    for one, other in zip(compared.differences, json.loads(out)["differences"], strict=True):
        assert one.after.tolist() == other["after"] and one.quantity == other["quantity"]
    (only,) = vibsim.compare(*found, of=["peak_pressure"]).differences
    assert only.quantity == "peak_pressure"
    with pytest.raises(InputError, match="of: is for sweeps"):
        vibsim.compare(vibsim.Results(), vibsim.Results(), of=["x"])


def test_sweeps_and_runs_do_not_mix(results, tmp_path):
    swept = vibsim.Results({}, {"run_kind": "sweep", "case_name": "a\nb"})
    with pytest.raises(InputError, match="got runs and sweeps; a, b is a sweep"):
        vibsim.compare(results, swept)


def test_a_programme_shows_its_steps(monkeypatch):
    both = {"begin_s": 0.0, "end_s": 1.0, "first_speed_rpm": 0.0, "last_speed_rpm": 900.0, "gas_work_J": 1500.0}
    start = both | {"kind": "start", "cranking_speed_rpm": 394.0}
    idle = both | {"kind": "idle", "mean_speed_rpm": 901.0, "speed_error_rpm": 1.0, "speed_fluctuation": 0.031}
    idle |= {"worst_mount": "<left>", "worst_mount_rms_N": 31.0}
    short = {"title": "key to key", "run_kind": "programme", "duration_s": 2.0, "steps": [start, idle]}
    monkeypatch.setattr("vibsim.show.html_tables.summarise", lambda _: short)
    words = Checker(vibsim.Results()._repr_html_()).words
    for line in ("cranked at 394 rpm", "2 idle", "holds 901 rpm", "fluctuates by 3.1 %", "<left>: 31", "1.500"):
        assert line in words


class Checker(HTMLParser):
    """Every tag that is opened is closed, and none but those of tables stands there."""

    def __init__(self, text: str):
        super().__init__()
        self.tags: list[str] = []
        self.seen: set[str] = set()
        self.words = ""
        self.feed(text)
        self.close()
        assert not self.tags

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.seen.add(tag)

    def handle_endtag(self, tag):
        assert self.tags.pop() == tag

    def handle_data(self, data):
        self.words += data


def test_notebooks_show_tables_and_no_markup_of_a_case(results, demo_text):
    named = demo_text.replace('name = "front left"', f"name = '{BAD}'").replace('name = "seat"', f"name = '{BAD}'")
    case = vibsim.Case(parse_case(named, DEMO.parent)).with_value("case.title", BAD).with_value("case.notes", BAD)
    run = vibsim.run(case)
    for shown in (case, run, vibsim.compare(run, results)):
        page = Checker(shown._repr_html_())
        allowed = {"div", "strong", "p", "table", "caption", "thead", "tbody", "tr", "th", "td"}
        assert page.seen <= allowed and BAD in page.words
    words = Checker(results._repr_html_()).words
    assert "A(8) of 8 h" in words and "action value" in words
    assert "front right" in words and "steady run, 4000 rpm" in words and "not a certificate" in words
    assert repr(results).startswith("<vibsim.Results steady: ") and repr(case).startswith("<vibsim.Case case: ")
