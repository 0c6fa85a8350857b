"""The working cycle: the command, its tables, pictures, curves and complaints."""

from __future__ import annotations

import csv
import json
import math

import numpy as np
import pytest
from matplotlib.image import imread

from tests.conftest import DEMO
from vibsim.engine.course import Valve
from vibsim.inputs.errors import VibsimError
from vibsim.inputs.loader import load_case
from vibsim.inputs.trace import read_trace
from vibsim.show.cycle_parts import open_parts
from vibsim.studies.gas_overview import gas_overview

CHARGED = '[engine.charging]\nsource = "engine_driven"\nboost_pressure_kPa = 33.0\n\n'
PICTURES = ("pressure", "volume", "temperature", "heat", "energy")


def changed(tmp_path, demo_text, old, new, count=1):
    path = tmp_path / "case.toml"
    assert old in demo_text
    path.write_text(demo_text.replace(old, new, count), encoding="utf-8")
    return path


def ink(path):
    """Share of a picture that is not white."""
    return float((imread(path)[..., :3].min(axis=2) < 0.95).mean())


def test_tables(command):
    code, out, err = command("cycle", DEMO, "--load", 0.2, 1)
    assert (code, err) == (0, "")
    for words in (
        "Working cycle · Two-seat trike",
        "cylinders 1, 2, 3",
        "IMEP net, bar",
        "50 % burned, °",
        "indicated fuel consumption, g/kWh",
        "knock margin ± 5, octane numbers",
        "may knock",
        "does not knock",
        "of gas exchange",
        "closure error",
        "least squares in log p–log V",
        "licensed practice",
    ):
        assert words in out
    assert "injection" not in out
    assert "delivering the charge" not in out


def test_what_the_whole_engine_gives(command):
    """Brake is indicated less what is lost (definition); the cycle says how many it took."""
    point = json.loads(command("cycle", DEMO, "--json", "--load", 0.6)[1])["points"][0]
    whole = point["engine"]
    lost = sum(whole[f"{name}_mean_pressure_bar"] for name in ("friction", "accessory", "charger"))
    assert whole["brake_mean_pressure_bar"] == pytest.approx(point["indicated_mean_pressure_bar"] - lost, rel=1e-9)
    assert whole["brake_power_kW"] == pytest.approx(1e-3 * whole["brake_torque_N_m"] * 4000.0 * math.pi / 30.0)
    mechanical = whole["brake_mean_pressure_bar"] / point["indicated_mean_pressure_bar"]
    assert whole["brake_efficiency"] == pytest.approx(point["efficiency"] * mechanical, rel=1e-9)
    per_work = point["indicated_fuel_consumption_g_per_kWh"]
    assert whole["brake_fuel_consumption_g_per_kWh"] == pytest.approx(per_work / mechanical, rel=1e-9)
    assert 2 <= point["cycles_to_close"] < 40
    out = command("cycle", DEMO, "--load", 0.6)[1]
    for words in ("BMEP, bar", "cycles until it closed", "come back to 2e-05 of themselves"):
        assert words in out


def test_a_compressor_too_small_to_serve_is_said(tmp_path, command, demo_text):
    small = '[engine.charging]\nsource = "electric"\nboost_pressure_kPa = 33.0\n'
    small += "[engine.charging.compressor]\nwheel_diameter_mm = 12.0\n\n[engine.friction]"
    path = changed(tmp_path, demo_text, "[engine.friction]", small)
    out = command("cycle", path, "--load", 1)[1]
    assert "compressor stands, fed past it, limited by compressor too small for the flow" in " ".join(out.split())


def test_pictures_are_whole_and_not_blank(tmp_path, command):
    found = json.loads(command("cycle", DEMO, "--json", "-o", tmp_path)[1])
    names = {f"cycle-{name}.png" for name in PICTURES}
    assert {path.name for path in tmp_path.iterdir()} == names  # none left half written
    assert {name.rsplit("/", 1)[-1] for name in found["files"]} == names
    for name in names:
        assert ink(tmp_path / name) > 0.03


def test_a_folder_that_is_a_file(tmp_path, command):
    place = tmp_path / "taken"
    place.write_text("", encoding="utf-8")
    for option in ("-o", "--csv"):
        code, _, err = command("cycle", DEMO, option, place)
        assert code == 1
        assert "cannot be written" in err
        assert len(err.strip().splitlines()) == 1


def test_seven_points_show_six(tmp_path, command):
    loads = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7]
    code, out, err = command("cycle", DEMO, "--json", "--load", *loads, "-o", tmp_path)
    assert (code, err) == (0, "vibsim: warning: the pictures show the first 6 of 7 operating points\n")
    assert [point["load"] for point in json.loads(out)["points"]] == loads
    assert ink(tmp_path / "cycle-pressure.png") > 0.03


def test_without_fuel(tmp_path, command, demo_text):
    path = changed(tmp_path, demo_text, 'source = "cycle"', 'source = "cycle"\nfuel_cut = true')
    code, out, err = command("cycle", path, "-o", tmp_path)
    assert (code, err) == (0, "")
    assert "note: no fuel at 4000 rpm, load 0.35" in out
    assert "efficiency" not in out
    assert {item.name for item in tmp_path.glob("*.png")} == {
        "cycle-pressure.png",
        "cycle-volume.png",
        "cycle-temperature.png",
    }


def test_json(command):
    found = json.loads(command("cycle", DEMO, "--json", "--speed-rpm", 2000, 6000, "--load", 0.3, 1)[1])
    points = found["points"]
    assert [(round(point["speed_rpm"]), point["load"]) for point in points] == [
        (2000, 0.3),
        (2000, 1.0),
        (6000, 0.3),
        (6000, 1.0),
    ]
    assert set(points[0]) >= {
        "indicated_mean_pressure_bar",
        "gross_mean_pressure_bar",
        "pumping_mean_pressure_bar",
        "peak_pressure_bar",
        "peak_angle_deg",
        "ignition_deg",
        "burned_10_deg",
        "burned_50_deg",
        "burned_90_deg",
        "burn_duration_deg",
        "efficiency",
        "trapped_mass_mg",
        "residual_share",
        "fuel_mass_mg",
        "indicated_fuel_consumption_g_per_kWh",
        "exhaust_temperature_K",
        "knock_margin_octane_numbers",
        "knock_margin_uncertainty",
        "wall_heat_J",
        "energy",
    }
    energy = points[1]["energy"]
    parts = ("net_work_J", "scavenging_work_J", "wall_heat_J", "exhaust_J", "unburned_J", "closure_error_J")
    assert sum(energy[key] for key in parts) == pytest.approx(energy["fuel_J"])
    assert energy["exhaust_J"] == pytest.approx(energy["exhaust_port_heat_J"] + energy["exhaust_past_port_J"])
    assert abs(energy["closure_error_share"]) < 1e-4


def test_the_run_is_what_check_says(command):
    case = load_case(DEMO).case
    assert case.engine is not None
    overview = gas_overview(case, DEMO.parent)
    point = json.loads(command("cycle", DEMO, "--json")[1])["points"][0]
    assert {key: point[key] for key in overview[0].as_dict()} == overview[0].as_dict()


def test_curves(tmp_path, command):
    found = json.loads(command("cycle", DEMO, "--json", "--load", 0.5, "--csv", tmp_path)[1])
    path = tmp_path / "cycle-4000rpm-load0.5.csv"
    assert found["files"] == [str(path)]
    with path.open(encoding="utf-8", newline="") as file:
        names, *rows = csv.reader(file)
    assert names == [
        "crank_angle_deg",
        "volume_cm3",
        "pressure_bar",
        "temperature_K",
        "burned_share",
        "heat_release_J_per_deg",
        "wall_heat_J_per_deg",
    ]
    table = dict(zip(names, np.array(rows, dtype=float).T, strict=True))
    assert table["crank_angle_deg"] == pytest.approx(np.arange(-360.0, 360.0, 0.5))
    assert table["pressure_bar"].max() == pytest.approx(found["points"][0]["peak_pressure_bar"], rel=1e-3)
    assert 0.5 * table["heat_release_J_per_deg"].sum() == pytest.approx(
        found["points"][0]["energy"]["fuel_J"] * 0.98, rel=0.01
    )
    trace = read_trace(path, 4.0 * math.pi)  # fit to be named by a case in turn
    assert trace.pressures.max() == pytest.approx(1e5 * table["pressure_bar"].max())


def test_cylinders_that_differ(tmp_path, command, demo_text):
    path = changed(tmp_path, demo_text, "[[engine.cylinder]]\n", "[[engine.cylinder]]\nfuelling = 0.9\n")
    found = json.loads(command("cycle", path, "--json", "-o", tmp_path, "--csv", tmp_path)[1])
    assert [point["cylinders"] for point in found["points"]] == [["1"], ["2", "3"]]
    assert len(list(tmp_path.glob("*.csv"))) == 2
    assert "cylinders 2, 3" in command("cycle", path)[1]
    only = json.loads(command("cycle", path, "--json", "--cylinder", "3")[1])["points"]
    assert [point["cylinders"] for point in only] == [["3"]]
    assert only[0]["indicated_mean_pressure_bar"] == found["points"][1]["indicated_mean_pressure_bar"]


def test_blow_by_is_named(tmp_path, command, demo_text):
    path = changed(tmp_path, demo_text, 'source = "cycle"', 'source = "cycle"\nblow_by_area_mm2 = 1.0')
    assert "past the port, with blow-by" in command("cycle", path)[1]
    assert "blow-by" not in command("cycle", DEMO)[1]


def test_a_charged_cycle_is_that_behind_its_compressor(tmp_path, command, demo_text):
    path = changed(tmp_path, demo_text, "[engine.friction]", CHARGED + "[engine.friction]")
    code, out, _ = command("cycle", path, "--speed-rpm", 6000, "--load", 1)
    assert code == 0
    assert "6000 rpm, load 1: charging: compressor 102000 rpm, pressure ratio 1.33" in out
    point = json.loads(command("cycle", path, "--speed-rpm", 6000, "--load", 1, "--json")[1])["points"][0]
    assert point["intake_pressure_bar"] == pytest.approx(1.34325, abs=1e-4)


def test_a_motored_cycle_that_does_not_close(monkeypatch, command):
    def fail(*_):
        raise VibsimError("it does not close")

    monkeypatch.setattr("vibsim.studies.cycle_view.solve_at", fail)
    code, out, _ = command("cycle", DEMO)
    assert code == 0
    assert "note: no motored curve at 4000 rpm, load 0.35: it does not close" in out


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("--speed-rpm", 0), "--speed-rpm: got 0; must be more than 0"),
        (("--speed-rpm", 3000, 30), "--speed-rpm: got 30; the working cycle needs at least 48 rpm"),
        (("--load", 1.2), "--load: got 1.2; must be 0 to 1"),
        (("--load", 0.5, -0.1), "--load: got -0.1; must be 0 to 1"),
        (("--load", "nan"), "--load: got nan; must be 0 to 1"),
        (("--cylinder", "9"), "--cylinder: got '9'; allowed: 1, 2, 3"),
    ],
)
def test_points_that_cannot_be(command, words, complaint):
    code, out, err = command("cycle", DEMO, *words)
    assert (code, out) == (2, "")
    assert complaint in err
    assert len(err.strip().splitlines()) == 1


def test_case_without_a_working_cycle(tmp_path, command, demo_text):
    start = demo_text.index("[engine.gas]")
    end = demo_text.index("[engine.friction]")
    path = changed(tmp_path, demo_text, demo_text[start:end], '[engine.gas]\nsource = "motored"\n\n')
    code, out, err = command("cycle", path)
    assert (code, out) == (2, "")
    assert "engine.gas.source: got 'motored'; the working cycle needs source = \"cycle\"" in err


def test_open_parts_wrap():
    four, two = 4.0 * math.pi, 2.0 * math.pi
    intake = Valve(math.radians(350.0), math.radians(590.0), 1e-4)
    assert open_parts(intake, four) == [pytest.approx((350.0, 360.0)), pytest.approx((-360.0, -130.0))]
    port = Valve(math.radians(120.0), math.radians(240.0), 1e-4)
    assert open_parts(port, two) == [pytest.approx((120.0, 180.0)), pytest.approx((-180.0, -120.0))]
    inside = Valve(math.radians(130.0), math.radians(340.0), 1e-4)
    assert open_parts(inside, four) == [pytest.approx((130.0, 340.0))]
