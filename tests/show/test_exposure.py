"""Exposure and spectra: the commands, their tables, files, pictures and complaints."""

from __future__ import annotations

import json

import h5py
import numpy as np
import pytest
import tomlkit
from matplotlib.image import imread

from tests.cases import mount, single
from vibsim.inputs.loader import CaseFile, parse_case
from vibsim.results.hdf5 import read_results, write_results
from vibsim.studies.exposure import at_duty, duty_exposure
from vibsim.studies.run import run_case

PLACES = {"grip": [300.0, 200.0, 300.0], "seat": [0.0, 0.0, 200.0], "footrest": [200.0, 100.0, -200.0]}


def case_text(contacts: bool = True, duty: bool = True) -> str:
    """A single on mounts that someone sits on."""
    raw = single()
    raw["engine"] |= {"gas": {"source": "motored"}}
    raw["mount"] = [
        mount(f"mount {n}", between=["ground", "powertrain"], at_mm=place, damping_N_s_per_mm=[1.0, 1.0, 1.0])
        for n, place in enumerate(([200.0, 150.0, 0.0], [200.0, -150.0, 0.0], [-200.0, 0.0, 50.0]))
    ]
    raw["sensor"] = [
        {"name": f"the {word}", "body": "powertrain", "at_mm": place} | ({"contact": word} if contacts else {})
        for word, place in PLACES.items()
    ]
    if duty:
        raw["duty"] = [
            {"name": "slow", "speed_rpm": 1500.0, "load": 1.0, "hours": 2.0},
            {"speed_rpm": 3000.0, "load": 1.0, "hours": 3.0},
        ]
    raw["run"] = {"kind": "steady", "speed_rpm": 2400.0, "duration_s": 0.3}
    return tomlkit.dumps(raw)


@pytest.fixture(scope="module")
def sat_on() -> CaseFile:
    return parse_case(case_text())


@pytest.fixture(scope="module")
def results(sat_on, tmp_path_factory):
    target = tmp_path_factory.mktemp("exposure") / "ride.h5"
    write_results(run_case(sat_on), target)
    return target


def test_day_of_a_case(sat_on, tmp_path, command):
    path = tmp_path / "ride.toml"
    path.write_text(sat_on.text, encoding="utf-8")
    code, out, err = command("exposure", path, "-o", tmp_path / "seen")
    assert (code, err) == (0, "")
    for words in (
        "2 operating points, 5 h of a day",
        "Daily exposure, Directive 2002/44/EC",
        "slow: 1500 rpm, load 1, 2 h",
        "3000 rpm, load 1: 3000 rpm, load 1, 3 h",
        "the grip",
        "seat, backrest and feet together",
        "exact lines of one cycle",
        "Defer to local codes and competent persons",
        "licensed practice",
    ):
        assert words in " ".join(out.split())
    for name in ("exposure.png", "exposure-bands.png"):
        assert float((imread(tmp_path / "seen" / name)[..., :3].min(axis=2) < 0.95).mean()) > 0.03


def test_every_point_is_its_own_run(sat_on):
    # reference: the run at the second point, by hand: the square law over its hours
    found = duty_exposure(sat_on)
    alone = [run_case(at_duty(sat_on, duty))["exposure/a8"] for duty in sat_on.case.duty]
    grip = next(day for day in found.days if day.contact == "grip")
    assert grip.level == pytest.approx(np.sqrt((2.0 * alone[0][0] ** 2 + 3.0 * alone[1][0] ** 2) / 8.0), rel=1e-9)
    assert grip.shares[0] == pytest.approx(2.0 * alone[0][0] ** 2 / 8.0 / grip.level**2, rel=1e-9)


def test_results_as_points_of_a_day(results, tmp_path, command):
    once = json.loads(command("exposure", results, "--json")[1])
    assert once["hours"] == 8.0
    code, out, err = command("exposure", results, results, "--hours", 2, 6, "--json")
    assert (code, err) == (0, "")
    found = json.loads(out)
    daily, alone = found["daily"], once["daily"]
    assert [row["contact"] for row in daily] == [row["contact"] for row in alone]
    # 2 h and 6 h of the same are 8 h of it
    assert [row["a8_m_per_s2"] for row in daily] == pytest.approx([row["a8_m_per_s2"] for row in alone], rel=1e-12)
    assert [row["vdv_m_per_s1_75"] for row in daily if row["vdv_m_per_s1_75"]] == pytest.approx(
        [row["vdv_m_per_s1_75"] for row in alone if row["vdv_m_per_s1_75"]], rel=1e-12
    )
    felt = {row["sensor"]: row for row in once["points"][0]["felt"]}
    stored = read_results(results).groups["exposure"]
    assert stored["rms"][1].tolist() == pytest.approx(felt["the seat"]["weighted_m_per_s2"], rel=1e-12)
    assert felt["the footrest"]["for_health_m_per_s2"] is None
    assert felt["the grip"]["comfort"] is None
    assert "competent persons" in found["caution"]


def test_results_file_states_methods(results):
    with h5py.File(results) as file:
        group = file["exposure"]
        assert group.attrs["weighted_by"].startswith("exact lines of one cycle")
        assert "2002/44/EC" in group.attrs["caution"]
        assert group["vdv"].attrs["units"] == "m s-1.75"
        assert list(group["weighting"].asstr()[1]) == ["Wd", "Wd", "Wk"]
        bands = file["third_octave"]
        # Parseval: the bands hold all but the mean and what lies past 2818 Hz
        rms = np.sqrt((bands["acceleration_rms"][()] ** 2).sum(axis=0))
        np.testing.assert_allclose(rms, group["raw"][()], rtol=1e-3, atol=1e-9)
        assert (file["sensors/crest_factor"][()] >= 1.0).all()


def test_spectra_of_results(results, tmp_path, command):
    code, out, err = command("spectra", results, "--segment-s", 0.1, "-o", tmp_path / "seen")
    assert (code, err) == (0, "")
    for words in ("crest", "strongest third-octave bands", "mean of 5 Hann segments of 0.1 s", "degrees of freedom"):
        assert words in out
    names = {"density.png", "third-octave.png", "short-time.png", "ride-spectra.h5"}
    assert {path.name for path in (tmp_path / "seen").iterdir()} == names
    for name in names - {"ride-spectra.h5"}:
        assert float((imread(tmp_path / "seen" / name)[..., :3].min(axis=2) < 0.95).mean()) > 0.01
    written = read_results(tmp_path / "seen" / "ride-spectra.h5")
    assert set(written.groups) == {"density", "short_time", "third_octave", "sensors"}
    rows = json.loads(command("spectra", results, "--json")[1])
    assert [row["name"] for row in rows["sensors"]] == ["the grip", "the seat", "the footrest"]
    assert rows["density"]["segments"] == 15
    strongest = rows["sensors"][0]["third_octave"]
    assert max(strongest, key=strongest.get) == "40"  # order 1 of 2400 rpm


def test_free_run_is_filtered_and_feet_may_stand():
    raw = tomlkit.parse(case_text(duty=False)).unwrap()
    raw["sensor"][2]["posture"] = "standing"
    raw["run"] = {"kind": "free", "speed_rpm": 2400.0, "duration_s": 0.3}
    found = run_case(parse_case(tomlkit.dumps(raw)))
    felt = found.groups["exposure"]
    assert felt.attributes["weighted_by"] == "digital filter over the whole record, from rest"
    assert list(felt["contact"]) == ["grip", "seat", "footrest standing"]
    assert list(felt["weighting"][2]) == ["Wd", "Wd", "Wk"]
    # 2002/44/EC annex B: the greatest axis of someone who stands, with factor
    assert felt["a8"][2] == pytest.approx((np.array([1.4, 1.4, 1.0]) * felt["rms"][2]).max())


def test_complaints(results, sat_on, tmp_path, command):
    bare, ride = tmp_path / "bare.toml", tmp_path / "ride.toml"
    bare.write_text(case_text(contacts=False), encoding="utf-8")
    ride.write_text(sat_on.text, encoding="utf-8")
    for words, line in (
        (("exposure", bare), "bare: sensor.contact: is missing from the grip, the seat, the footrest; exposure needs"),
        (("exposure", ride, "--hours", 4), "--hours: got 4; ride has its hours in [[duty]]"),
        (("exposure", ride, bare), "got 2 cases; one at a time"),
        (("exposure", ride, results), "give one case, or results files alone"),
        (("exposure", results, results), "--hours: got 0 numbers; must be 2, one per results file"),
        (("exposure", results, results, "--hours", 20, 20), "--hours: got 40 h in all; a day has 24"),
        (("exposure", results, "--hours", 0), "--hours: got 0; must be 0.001 to 24"),
        (("spectra", results, "--segment-s", 5), "--segment-s: got 5; must be 0.0016 to 0.3 s"),
        (("spectra", results, "--short-time-s", 1e-4), "--short-time-s: got 0.0001; must be"),
    ):
        code, out, err = command(*words)
        assert (code, out) == (2, "")
        assert line in err
        assert "Traceback" not in err


def test_results_without_contacts_say_so(results, tmp_path, command):
    found = read_results(results)
    del found.variables["sensor_contact"]
    write_results(found, tmp_path / "old.h5")
    code, out, err = command("exposure", tmp_path / "old.h5")
    assert (code, out) == (2, "")
    assert "old: sensor.contact: is missing from the grip, the seat, the footrest" in err
    for name in [name for name, item in found.variables.items() if "sensor" in item.dims]:
        del found.variables[name]
    found.groups = {}
    write_results(found, tmp_path / "none.h5")
    assert "none: sensor: is missing; exposure needs a [[sensor]]" in command("exposure", tmp_path / "none.h5")[2]
    assert "has no [[sensor]]; spectra are" in command("spectra", tmp_path / "none.h5")[2]


def test_duty_needs_a_run_to_take_the_rest_from(command, tmp_path, demo_text):
    head, tail = demo_text.split("[run]")
    rest = tail[tail.index("[", 1) :] if "\n[" in tail else ""
    (tmp_path / "no-run.toml").write_text(head + rest, encoding="utf-8")
    code, _, err = command("exposure", tmp_path / "no-run.toml")
    assert code == 2
    assert err == "vibsim: run: is missing; [[duty]] takes tolerances and what else holds from it\n"
