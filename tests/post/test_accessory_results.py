"""A run with accessories, from results file to table."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
import tomlkit

from tests.cases import accessories, single
from vibsim.inputs.loader import parse_case
from vibsim.post.summary import summarise
from vibsim.results.labelled import Group
from vibsim.show.figures import torque_figure
from vibsim.studies.run import run_case


def case_text() -> str:
    raw = single()
    raw["engine"] |= {"gas": {"source": "motored"}, "friction": {"law": "chen_flynn", "A_bar": 0.2}}
    raw["engine"]["accessory"] = accessories()
    return tomlkit.dumps(raw)


@pytest.fixture(scope="module")
def results() -> Group:
    return run_case(parse_case(case_text()))


def test_net_torque_is_less_what_the_accessories_take(results: Group) -> None:
    assert results.groups["torque"].labels("torque") == ["gas", "inertia", "friction", "accessory", "net"]
    assert results.groups["torque"].attributes["net"].startswith("gas + inertia - friction - accessory")
    braking = results["friction_torque"] + results["accessory_torque"]
    net = results["gas_torque"] + results["inertia_torque"] - braking
    assert results["torque/mean"][4] == pytest.approx(net.mean(), rel=1e-12)
    assert [row["name"] for row in summarise(results)["torque"]][3] == "accessory"
    # a run of nothing else but these: what they take at its speed, by the laws of the four, added by hand; the speed
    # swings and falls by some hundredths
    speed = results["crank_speed"]
    water = 800.0 * 1.2**3 * speed**2 / (4000.0 * math.pi / 30.0) ** 3
    oil = 0.7 * 5e5 * 12e-6 / (0.8 * 2.0 * math.pi)
    alternator = np.minimum(700.0 / 0.6 / speed, 2.5 * 3.0)
    np.testing.assert_allclose(results["accessory_torque"], water + oil + alternator + 0.9, rtol=1e-12)


def test_results_without_accessories_have_none(demo_results: Group) -> None:
    assert "accessory_torque" not in demo_results


def test_torque_figure_names_the_losses(results: Group) -> None:
    titles = [axes.get_title(loc="left") for axes in torque_figure(results).axes]
    assert any(title.endswith("net = gas + inertia − losses") for title in titles)


def test_check_splits_friction(tmp_path: Path, command) -> None:
    path = tmp_path / "driven.toml"
    path.write_text(case_text(), encoding="utf-8")
    _, out, _ = command("check", path)  # exit code 1: nothing holds it up
    for words in ("Chen–Flynn (A 0.2 bar", "rubbing", "water pump", "mean effective pressure", "all"):
        assert words in out
    losses = json.loads(command("check", path, "--json")[1])["losses"]
    assert [row["name"] for row in losses] == ["rubbing", "water", "oil", "alternator", "fan"]
    rubbing = losses[0]
    # by hand, at 3000 rpm: 5.85 m/s of piston speed, and the peak pressure of the motored cylinder
    peak = (rubbing["mean_effective_pressure_bar"] - 0.2 - 0.09 * 5.85 - 0.0009 * 5.85**2) / 0.005
    assert 20.0 < peak < 30.0  # 11.5**1.32 is 25
    swept = 0.25 * math.pi * 0.072**2 * 0.0585
    for row in losses:
        assert row["power_kW"] == pytest.approx(1e-3 * row["torque_N_m"] * 100.0 * math.pi, rel=1e-12)
        work = 1e5 * row["mean_effective_pressure_bar"] * swept
        assert 4.0 * math.pi * row["torque_N_m"] == pytest.approx(work, rel=1e-12)
