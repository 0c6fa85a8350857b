"""Compare: rows are those of single runs, whatever stands beside them."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import load_case
from vibsim.studies.compare import compare
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


def test_command(cases, tmp_path, command):
    code, out, err = command("compare", *cases, "--speeds-rpm", 2000, 3000, "-o", tmp_path / "figures")
    assert (code, err) == (0, "")
    assert all(words in out for words in ("inline-3", "v3-80", "evenness", "worst mount", "licensed practice"))
    assert (tmp_path / "figures" / "compare.png").read_bytes().startswith(b"\x89PNG")
    found = json.loads(command("compare", *cases, "--speeds-rpm", 2000, "--json")[1])
    assert [row["case"] for row in found["layouts"]] == ["inline-3", "v3-80"]
    assert len(found["speeds"]) == 2
    assert command("compare", *cases, "--speeds-rpm", 0)[0] == 2
