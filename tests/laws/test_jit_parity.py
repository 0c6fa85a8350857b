"""The equations of motion give the same numbers as plain Python and as compiled code."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from numba import config

from tests.cases import packed
from tests.laws.test_symmetry import whole_case
from tests.mount_cases import LAWS, law_mount
from vibsim.engine.node_grid import Nodes
from vibsim.engine.variation import with_shares
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.packed import STATES_PER_BODY, Packed
from vibsim.solver.start import state_at

STATES = 8
TORSION = {"torsional_stiffness_N_m_per_rad": [60.0, 200.0, 90.0], "torsional_damping_N_m_s_per_rad": [0.1, 0.2, 0.3]}
PLAIN = "import json; from tests.laws.test_jit_parity import rates; print(json.dumps(rates().tolist()))"


def readable(model: Packed) -> Packed:
    """The model with records whose fields plain Python, too, can read as attributes."""
    m, record = model.model, np.recarray
    train = m.train._replace(cylinders=m.train.cylinders.view(record), eccentrics=m.train.eccentrics.view(record))
    gas = m.gas._replace(charges=m.gas.charges.view(record))
    whole = {name: getattr(m, name).view(record) for name in ("bodies", "mounts", "losses")}
    return model._replace(model=m._replace(train=train, gas=gas, **whole))


def with_nodes(whole: Packed) -> Packed:
    """The model with gas and friction at several nodes of speed and intake pressure, and cycles that differ."""
    model, grid = whole.model, Nodes(np.array([100.0, 250.0, 400.0]), np.array([5e4, 1e5]), np.array([1e5]))
    scale = np.linspace(0.7, 1.2, grid.size)[:, None]
    gas = model.gas._replace(nodes=grid, intake=7e4, coefficients=model.gas.coefficients * scale)
    gas = with_shares(gas._replace(unfired=0.6 * gas.coefficients), np.array([[1.0, 0.0, 0.8], [0.9, 1.1, 1.0]]))
    losses = np.concatenate([np.repeat(model.losses[:1], grid.size), model.losses[1:]])
    losses["dry"][: grid.size] *= scale[:, 0]
    return whole._replace(model=model._replace(gas=gas, losses=losses))


def rates() -> np.ndarray:
    """Derivatives (states, n) with one curve of gas, and (states, n) with several nodes and shares."""
    model = packed(_with_all_laws())[1]
    return np.concatenate([_rates(model), _rates(with_nodes(model))])


def _with_all_laws() -> dict:
    raw = whole_case()
    raw["mount"] += [
        law_mount(law, name=law, between=[raw["body"][0]["name"], "ground"], **(TORSION if law != "torque_rod" else {}))
        for law in LAWS
        if law != "table"  # its curve is read from a file; `scheduled` takes the same function
    ]
    return raw


def _rates(model: Packed) -> np.ndarray:
    """Derivatives (states, n) of fixed random states: bodies displaced by mm and hundredths of a rad, all moving."""
    model = readable(model) if config.DISABLE_JIT else model
    random, rows = np.random.default_rng(7), []
    w, e = scratch(len(model.names))
    for _ in range(STATES):
        y = state_at(model, random.normal(0.0, 0.01, (len(model.names), 6)), random.uniform(0.0, 12.0), 300.0)
        for b in range(len(model.names)):
            at = STATES_PER_BODY * b
            y[at + 7 : at + 13] += random.normal(0.0, 5.0, 6)
        for index, state in enumerate(model.more_states, start=STATES_PER_BODY * len(model.names)):
            y[index] += random.normal(0.0, 1e-3 * state.floor)
        out = np.zeros(y.size)
        derivatives(y, model.model, w, e, out)
        rows.append(out)
    return np.array(rows)


@pytest.fixture(scope="module")
def plain() -> np.ndarray:
    """The same from an interpreter that does not compile."""
    done = subprocess.run(
        [sys.executable, "-c", PLAIN],
        env=os.environ | {"NUMBA_DISABLE_JIT": "1"},
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    return np.array(json.loads(done.stdout))


def test_compiled_equations_equal_plain_ones(plain: np.ndarray) -> None:
    """Law: compiling changes no formula."""
    compiled = rates()
    # fused multiply–adds round once where plain code rounds twice: some tens of 1e-16 of the largest of the states
    # of one kind, as forces of mounts and gas cancel in the sums
    scale = np.abs(compiled).max(axis=0)
    assert np.abs(compiled).min(axis=0).max() > 0.0
    assert np.abs((compiled - plain) / scale).max() < 1e-12
