"""Ways of charging side by side: the command, its tables, picture and complaints."""

from __future__ import annotations

import json
import math

import pytest
from matplotlib.image import imread

from tests.cases import without_engine
from tests.conftest import DEMO

QUICK = ("--speeds-rpm", 3000, 6000, "--no-runs")
MOTORED = ('source = "cycle"\nclosed_throttle_pressure_kPa = 28.0', 'source = "motored"')


def test_tables(command):
    code, out, err = command("boost", DEMO, *QUICK)
    assert (code, err) == (0, "")
    for words in (
        "keep 0 octane numbers before knock",
        "At 4000 rpm",
        "uncharged",
        "electric compressor: ",
        "the crank pays for all of it at once, by the alternator, unless engine.charging.battery.share is given",
        "driven by the crank",
        "limited by drive ratio",
        "of every",
        "Boost kPa and net power kW over speed",
        "Energy per cycle of the engine at 4000 rpm",
        "of the charger: alternator loss",
        "its maker's limits",
        "licensed practice",
    ):
        assert words in out
    assert "worst mount" not in out


def test_json_and_picture(tmp_path, command):
    code, out, err = command("boost", DEMO, "--json", *QUICK, "--source", "electric", "-o", tmp_path / "seen")
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert set(found) == {"knock_margin_kept", "main_speed_rpm", "points", "runs", "load_steps", "files"}
    assert found["runs"] == found["load_steps"] == []
    assert [(point["source"], round(point["speed_rpm"])) for point in found["points"]] == [
        (source, rpm) for rpm in (3000, 4000, 6000) for source in ("none", "electric")
    ]
    plain, boosted = found["points"][:2]
    assert set(plain) == {
        "source",
        "speed_rpm",
        "boost_kPa",
        "charge_temperature_K",
        "air_flow_kg_per_h",
        "air_gain_percent",
        "burn_later_deg",
        "knock_margin",
        "knock_margin_uncertainty",
        "peak_pressure_bar",
        "back_pressure_kPa",
        "exhaust_temperature_K",
        "torque_N_m",
        "power_kW",
        "gain_percent",
        "fuel_g_per_kWh",
        "crank_pays_kW",
        "charger_rpm",
        "notes",
        "energy",
        "charger_energy",
    }
    more = {"electric_kW", "bus_current_A", "battery_current_A", "alternator_kW"}
    lasting = {"until_derating_s", "until_battery_empty_s", "lasting_duty", "periodic_duty"}
    assert set(boosted) == set(plain) | more | lasting
    assert plain["gain_percent"] == 0.0
    assert boosted["boost_kPa"] == pytest.approx(33.0, abs=0.01)
    picture = tmp_path / "seen" / "charging.png"
    assert found["files"] == [str(picture)]
    assert {path.name for path in picture.parent.iterdir()} == {"charging.png"}  # none left half written
    assert float((imread(picture)[..., :3].min(axis=2) < 0.95).mean()) > 0.05


def test_other_targets(command):
    options = ("--speed-rpm", 5000, "--speeds-rpm", 5000, "--boost-kPa", 20, "--knock-margin", 3, "--no-runs", "--json")
    found = json.loads(command("boost", DEMO, "--source", "exhaust_turbine", *options)[1])
    assert (found["knock_margin_kept"], round(found["main_speed_rpm"])) == (3.0, 5000)
    assert [point["source"] for point in found["points"]] == ["none", "exhaust_turbine"]
    assert found["points"][1]["boost_kPa"] == pytest.approx(20.0, abs=0.01)
    assert all(point["knock_margin"] > 2.95 for point in found["points"])


def test_a_folder_that_is_a_file(tmp_path, command):
    place = tmp_path / "taken"
    place.write_text("", encoding="utf-8")
    code, _, err = command("boost", DEMO, "--speeds-rpm", 4000, "--no-runs", "--source", "electric", "-o", place)
    assert code == 1
    assert "cannot be written" in err
    assert len(err.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("change", "words", "expected"),
    [
        (None, ("--source", "roots"), "--source: got 'roots'; allowed: electric, exhaust_turbine, engine_driven"),
        (None, ("--boost-kPa", 0), "--boost-kPa: got 0; must be 1 to 400"),
        (None, ("--knock-margin", 99), "--knock-margin: got 99; must be -50 to 50"),
        (None, ("--speed-rpm", 0), "--speed-rpm: got 0; must be more than 0"),
        (None, ("--speeds-rpm", 4000, -1), "--speeds-rpm: got -1; must be more than 0"),
        (None, ("--speeds-rpm", 20), "--speeds-rpm: got 20; the working cycle needs at least"),
        (MOTORED, (), "engine.gas.source: got 'motored'; charging needs 'cycle'"),
        (("[run]", "[ran]"), (), "ran: unknown key"),
    ],
)
def test_bad_input(tmp_path, command, demo_text, change, words, expected):
    path = DEMO
    if change is not None:
        path = tmp_path / "case.toml"
        assert change[0] in demo_text
        path.write_text(demo_text.replace(*change, 1), encoding="utf-8")
    code, _, err = command("boost", path, "--no-runs", *words)
    assert code == 2
    assert expected in err
    assert len(err.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("cut", "expected"),
    [
        (without_engine, "engine: is missing; charging needs an [engine] table"),
        (lambda text: text[: text.index("[run]")], "run.speed: is missing; give it, or --speed-rpm"),
    ],
)
def test_what_is_missing(tmp_path, command, demo_text, cut, expected):
    path = tmp_path / "case.toml"
    path.write_text(cut(demo_text), encoding="utf-8")
    code, _, err = command("boost", path, "--no-runs")
    assert (code, err) == (2, f"vibsim: {expected}\n")


@pytest.mark.slow
def test_load_steps_and_runs(tmp_path, command):
    """The step of a run ends at the steady full-load point: the crank's swing shifts means by its square, and the usual
    throttle takes half a per cent that a case without one does not."""
    words = ("--speeds-rpm", 2500, "--speed-rpm", 2500, "--source", "electric")
    code, out, err = command("boost", DEMO, "--json", *words, "-o", tmp_path)
    assert (code, err) == (0, "")
    found = json.loads(out)
    plain, boosted = found["load_steps"]
    for step, point in zip((plain, boosted), found["points"], strict=True):
        assert step["torque_after_N_m"] == pytest.approx(point["torque_N_m"], rel=0.01)
        assert step["boost_after_kPa"] == pytest.approx(point["boost_kPa"], abs=0.6)
    assert plain["time_to_90_percent_of_target_s"] is None
    half, most = (boosted[f"time_to_{percent}_percent_of_target_s"] for percent in (50, 90))
    assert 0.1 < half < most < 1.0
    assert plain["time_to_90_percent_of_torque_s"] < half
    steady = found["points"][1]["crank_pays_kW"] * 1e3 / (2500.0 * math.pi / 30.0)
    assert boosted["greatest_charging_torque_N_m"] > 2.0 * steady  # spinning up
    assert (tmp_path / "load-step.png").stat().st_size > 20_000
    assert [row["source"] for row in found["runs"]] == ["none", "electric"]
    assert found["runs"][0]["change_percent"] == dict.fromkeys(found["runs"][0]["change_percent"], 0.0)
    assert found["runs"][1]["change_percent"]["torque_swing_N_m"] > 5.0
