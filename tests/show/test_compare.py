"""Compare: rows are those of single runs, whatever stands beside them."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import load_case
from vibsim.studies.compare import basis, compare
from vibsim.studies.new_case import new_case
from vibsim.studies.run import run_case


@pytest.fixture
def cases(tmp_path):
    paths = []
    for name in ("inline-3", "v3-80"):
        paths.append(tmp_path / f"{name}.toml")
        paths[-1].write_text(new_case(name, 700.0), encoding="utf-8")
    return paths


def test_each_point_is_the_run_of_its_own(cases):
    speeds = np.array([2500.0, 3000.0]) * math.pi / 30.0
    first, second = compare([load_case(path) for path in cases], speeds)
    assert first.evenness == pytest.approx(1.0, abs=1e-6)
    assert second.evenness == pytest.approx(0.5, abs=1e-6)
    assert first.settled.all() and second.settled.all()
    alone = run_case(load_case(cases[1]))  # the case's own speed is 3000 rpm
    # both settled to 1e-4 of the swing, recorded at different times after that
    assert second.mount_rms[1] == pytest.approx(alone["mount_forces/resultant_rms"].max(), rel=1e-3)
    assert second.torque_swing[1] == pytest.approx(alone["torque/swing"][3], rel=1e-3)
    # an inline three has no free force of the first two orders, the V3 has
    assert abs(first.balance.force.major[:2]).max() < 1e-3 * first.balance.unit
    assert second.balance.force.major[0] > 0.9 * second.balance.unit


def test_names_must_differ(cases):
    with pytest.raises(InputError, match=r"compare: got .*must differ"):
        compare([load_case(cases[0])] * 2, np.array([300.0]))


def test_same_displacement_is_said_and_leaves_the_first_alone(tmp_path, cases):
    cases.append(tmp_path / "single.toml")
    cases[-1].write_text(new_case("single", 300.0), encoding="utf-8")
    given, single = (load_case(path) for path in cases[::2])
    speeds = np.array([300.0])
    as_given, scaled = (compare([given, single], speeds, same) for same in (None, "displacement"))
    assert scaled[0].load_torque == pytest.approx(as_given[0].load_torque, rel=1e-12)
    volumes = [case.balance.layout.swept_volume for case in scaled]
    assert volumes[1] == pytest.approx(volumes[0], rel=1e-12)
    factor = scaled[1].factor
    assert factor**3 == pytest.approx(volumes[0] / as_given[1].balance.layout.swept_volume, rel=1e-12)
    assert scaled[1].width == pytest.approx(factor * as_given[1].width, rel=1e-12)
    line, vehicle = basis(scaled, "displacement")
    assert f"single × {factor:.3f}" in line and "Bodies, mounts and vehicle stay as given" in vehicle


def test_same_power(cases, tmp_path, command):
    small = tmp_path / "single.toml"
    small.write_text(new_case("single", 60.0), encoding="utf-8")
    words = ("compare", *cases, small, "--speeds-rpm", 3000, "--same", "power")
    found = json.loads(command(*words, "--json", "-o", tmp_path / "figures")[1])
    first, second, third = found["speeds"]
    assert first["load"] == 0.5  # its own
    # the loads are set on a still block; on mounts a share of the power goes into damping and speed swings
    assert second["power_kW"] == pytest.approx(first["power_kW"], rel=2e-3)
    assert first["note"] == second["note"] == ""
    assert third["load"] == 1.0
    assert third["note"] == f"falls short: {third['power_kW']:.1f} of {first['power_kW']:.1f} kW"
    assert found["basis"] == ["Same power: at each speed every load is set to give what inline-3 gives at load 0.5."]
    out = command(*words)[1]
    assert "falls short" in out and "Same power" in out


def test_same_power_needs_a_throttle(cases, tmp_path, command):
    text = cases[1].read_text(encoding="utf-8")
    for name, gas in (("motored", 'source = "motored"'), ("fixed", 'source = "cycle"\nintake_pressure_kPa = 80')):
        path = tmp_path / f"{name}.toml"
        path.write_text(text.replace('source = "cycle"', gas), encoding="utf-8")
        code, _, err = command("compare", cases[0], path, "--same", "power")
        assert code == 2
        assert f"{name}: engine.gas." in err
    assert command("compare", *cases, "--same", "torque")[0] == 2


def test_sensors_and_mounts_of_every_case_by_name(cases, command):
    text = cases[1].read_text(encoding="utf-8")
    more = '\n[[sensor]]\nname = "head [left]"\nbody = "powertrain"\nat_mm = [0, 0, 300]\n'
    cases[1].write_text(text.replace("\n[run]", more + "\n[run]"), encoding="utf-8")
    out = command("compare", *cases, "--speeds-rpm", 3000)[1]
    assert "head [left]" in out
    rows = json.loads(command("compare", *cases, "--speeds-rpm", 3000, "--json")[1])["speeds"]
    assert list(rows[0]["sensors_rms_m_per_s2"]) == ["crankcase"]
    assert list(rows[1]["sensors_rms_m_per_s2"]) == ["crankcase", "head [left]"]
    for row in rows:
        assert max(row["mounts_rms_N"].values()) == row["mount_rms_N"]
        assert row["sensors_rms_m_per_s2"][row["worst_sensor"]] == row["sensor_rms_m_per_s2"]


def test_command(cases, tmp_path, command):
    code, out, err = command("compare", *cases, "--speeds-rpm", 2000, 3000, "-o", tmp_path / "figures")
    assert (code, err) == (0, "")
    assert all(words in out for words in ("inline-3", "v3-80", "evenness", "worst mount", "licensed practice"))
    assert (tmp_path / "figures" / "compare.png").read_bytes().startswith(b"\x89PNG")
    found = json.loads(command("compare", *cases, "--speeds-rpm", 2000, "--json")[1])
    assert [row["case"] for row in found["layouts"]] == ["inline-3", "v3-80"]
    assert len(found["speeds"]) == 2
    assert found["basis"] == []
    assert command("compare", *cases, "--speeds-rpm", 0)[0] == 2
