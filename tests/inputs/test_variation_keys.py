"""What is wrong with variation or misfire is said in a line that names the key."""

from __future__ import annotations

from typing import Any

import pytest

from tests.cases import CONFIGS, single
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case
from vibsim.solver.packed import pack
from vibsim.solver.varied import with_variation

VARIATION = {"coefficient_of_variation": 0.03}


def raw(run: dict[str, Any], gas: dict[str, Any] | None = None, **cylinder: Any) -> dict[str, Any]:
    case = single()
    case["engine"]["gas"] = {"source": "cycle"} if gas is None else gas
    case["engine"]["cylinder"][0] |= cylinder
    case["run"] |= run
    return case


def test_good_keys_are_taken():
    build_case(
        raw({"variation": VARIATION | {"lag_correlation": 0.2, "seed": 4}, "misfire": {"cylinder": "1", "every": 5}})
    )
    build_case(raw({"misfire": {"cylinder": ["1"], "pattern": [1, 0, 1]}}))


BAD = [
    (raw({"variation": VARIATION}, {"source": "motored"}), "engine.gas.source: got 'motored'", "run.variation needs"),
    (raw({"misfire": {"cylinder": "1", "every": 2}}, {"source": "none"}), "engine.gas.source", "run.misfire needs"),
    (raw({"variation": VARIATION}, {"source": "cycle", "fuel_cut": True}), "engine.gas.fuel_cut", "needs fuel to burn"),
    (raw({"variation": VARIATION, "load": 0.0}, {"source": "cycle", "fuel": "diesel"}), "run.load", "at load 0"),
    (raw({"misfire": {"cylinder": "1", "every": 2}}, None, fuelling=0.0), "engine.cylinder[1].fuelling", "needs fuel"),
    (raw({"misfire": {"cylinder": "7", "every": 2}}), "run.misfire.cylinder: got '7'", "allowed: 1"),
    (raw({"misfire": {"cylinder": "1"}}), "run.misfire.pattern", "give either pattern or every"),
    (raw({"misfire": {"cylinder": "1", "every": 2, "pattern": [0]}}), "run.misfire.pattern", "either pattern or every"),
    (raw({"misfire": {"cylinder": "1", "pattern": [1, 1]}}), "run.misfire.pattern", "nothing misfires"),
    (raw({"misfire": {"cylinder": "1", "pattern": [2]}}), "run.misfire.pattern", "0 or 1"),
    (raw({"variation": {}}), "run.variation.coefficient_of_variation", "is missing"),
    (raw({"variation": {"coefficient_of_variation": 0.9}}), "run.variation.coefficient_of_variation", "0.5"),
    (raw({"variation": {"coefficient_of_variation": 0.5, "lag_correlation": -0.9}}), "lag_correlation", "below -0.800"),
]


@pytest.mark.parametrize(("case", "key", "words"), BAD)
def test_mistakes_are_named(case: dict[str, Any], key: str, words: str):
    with pytest.raises(InputError) as error:
        build_case(case)
    line = next(line for line in error.value.problems if key in line)
    assert words in line


def test_run_too_long_for_a_series_is_refused():
    case = build_case(raw({"variation": VARIATION, "duration_s": 1500.0, "sample_rate_Hz": 100.0}))
    assert case.run is not None
    with pytest.raises(InputError, match=r"run.variation.cycles: got none; the run may take \d+ cycles; give at most"):
        with_variation(pack(case, CONFIGS), case.run)
