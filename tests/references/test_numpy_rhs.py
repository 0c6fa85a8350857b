"""The jitted equations of motion against a NumPy right-hand side derived apart from them (benchmarks/numpy_rhs.py)."""

from __future__ import annotations

import tomllib
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from benchmarks.numpy_rhs import right_hand_side
from tests.cases import CONFIGS, accessories, mount, skewed
from tests.cases import packed as build
from vibsim.inputs.loader import load_case
from vibsim.inputs.models import Case
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.packed import Packed, pack
from vibsim.solver.varied import with_variation

# Both sides evaluate the same closed-form expressions in double precision. What they lose is cancellation: between the
# mass matrix and what moves with it, and between forces of 10⁵ N at mounts displaced far beyond use. That is a few
# hundred roundings, 1e-13 of a block's largest entry; 1e-9 leaves room for states where a block nearly cancels.
TOLERANCE = 1e-9
STATES = 40
DEMO = CONFIGS / "v3-80-trike.toml"


def skewed_with_frame(**load: Any) -> dict[str, Any]:
    """The skewed engine on a frame that comes first in the file; every kind of force at work."""
    raw = skewed()
    raw["body"][0] |= {"inertia_kg_m2": [1.5, 1.2, 1.4, 0.1, -0.07, 0.05], "centre_of_mass_mm": [20.0, 10.0, 50.0]}
    frame = {
        "name": "frame",
        "mass_kg": 140.0,
        "centre_of_mass_mm": [150.0, -30.0, 90.0],
        "inertia_kg_m2": [12.0, 25.0, 28.0, 0.8, -1.3, 0.4],
        "inertia_products": "integral",
    }
    raw["body"].insert(0, frame)
    hard = {"law": "progressive", "doubling_deflection_mm": [8.0, 5.0, 12.0], "damping_N_s_per_mm": [0.3, 0.1, 0.2]}
    raw["mount"] = [
        mount("left", between=["powertrain", "frame"], at_mm=[90.0, 150.0, 20.0], axes_deg=[20, -35, 50], **hard),
        mount("right", between=["frame", "powertrain"], at_mm=[-60.0, -140.0, 10.0], axes_deg=[-15, 25, 70], **hard),
        mount("front", between=["frame", "ground"], at_mm=[600.0, 200.0, -90.0], damping_N_s_per_mm=[0.4, 0.6, 0.9]),
        mount("rear", between=["ground", "frame"], at_mm=[-500.0, -80.0, -70.0], axes_deg=[5, 10, -30], **hard),
    ]
    raw["engine"]["crank"]["unbalance_kg_mm"] = [9.0, 11.0, 7.0]
    raw["engine"] |= {"gas": {"source": "motored"}, "firing_order": ["1", "2", "3"]}
    raw["engine"]["friction"] = {"torque_N_m": 4.0, "mean_effective_pressure_rise_bar_per_rpm": 1.2e-4}
    raw["engine"]["load"] = {"law": "constant", "torque_N_m": 37.0, **load}
    raw["run"]["gravity"] = True
    return raw


def included() -> tuple[Case, Packed]:
    return build(skewed_with_frame(reacted_by="ground"))


def separate() -> tuple[Case, Packed]:
    raw = skewed_with_frame(reacted_by="frame")
    raw["body"][1]["moving_parts"] = "separate"
    return build(raw)


def reacted_on_block() -> tuple[Case, Packed]:
    return build(skewed_with_frame())


def with_accessories() -> tuple[Case, Packed]:
    """Chen and Flynn's friction, and an accessory of every kind, on block, frame and ground."""
    raw = skewed_with_frame(reacted_by="frame")
    raw["engine"]["friction"] = {"law": "chen_flynn", "B": 0.01, "cold_factor": 1.3}
    raw["engine"]["accessory"] = accessories()
    raw["engine"]["accessory"][2]["reacted_by"] = "frame"
    raw["engine"]["accessory"][3]["reacted_by"] = "ground"
    return build(raw)


def demo() -> tuple[Case, Packed]:
    """The trike held at speed: one gas curve, and a load torque as the governor adds it."""
    case = load_case(DEMO).case
    whole = pack(case, CONFIGS)
    return case, whole._replace(model=whole.model._replace(load=(23.0, 0.0, 0.0, 0.0)))


def demo_let_go() -> tuple[Case, Packed]:
    """The trike left alone: gas curves at several speeds, and a road load."""
    raw = tomllib.loads(DEMO.read_text(encoding="utf-8"))
    raw["run"]["kind"] = "free"
    raw["engine"]["load"] |= {"law": "road", "torque_N_m": 6.0, "quadratic_N_m_s2": 4e-5}
    return build(raw)


def chen_flynn_let_go() -> tuple[Case, Packed]:
    """The trike left alone with friction that rises with the peak pressure of every speed."""
    raw = tomllib.loads(DEMO.read_text(encoding="utf-8"))
    raw["run"]["kind"] = "free"
    raw["engine"]["friction"] = {"law": "chen_flynn", "B": 0.02}
    return build(raw)


def varied_let_go() -> tuple[Case, Packed]:
    """The trike left alone, no cycle like the last and one cylinder misfiring now and then."""
    raw = tomllib.loads(DEMO.read_text(encoding="utf-8"))
    raw["run"] |= {"kind": "free", "variation": {"coefficient_of_variation": 0.3, "cycles": 5}}
    raw["run"]["misfire"] = {"cylinder": "3", "pattern": [0, 1]}
    case, whole = build(raw)
    return case, with_variation(whole, case.run)


CASES = [included, separate, reacted_on_block, with_accessories, demo, demo_let_go, chen_flynn_let_go, varied_let_go]


def random_state(packed: Packed, random: np.random.Generator) -> np.ndarray:
    """Bodies displaced by centimetres, turned by tenths of a radian, moving; quaternions a little off unit length."""
    states = np.empty((len(packed.names), 13))
    for state, centre, own, body in zip(states, packed.centres, packed.axes, packed.model.bodies, strict=True):
        turn = Rotation.from_rotvec(0.3 * random.standard_normal(3)) * Rotation.from_matrix(own)
        state[:3] = centre + 0.02 * random.standard_normal(3)
        state[3:7] = turn.as_quat(scalar_first=True) * random.uniform(0.99, 1.01)
        state[7:10] = body["mass"] * random.standard_normal(3)
        state[10:13] = body["xx"] * 5.0 * random.standard_normal(3)
    spin = packed.model.train.rotor_inertia * random.uniform(-700.0, 700.0)
    return np.array([*states.ravel(), random.uniform(-30.0, 60.0), spin])


def largest_difference(left: np.ndarray, right: np.ndarray) -> float:
    """Largest difference as a share of the largest entry of its block: place, rotation, momenta, crank."""
    edges = np.array([0, 3, 7, 10, 13])
    bodies = (left.size - 2) // 13
    starts = [13 * body + edge for body in range(bodies) for edge in edges[:-1]] + [left.size - 2, left.size - 1]
    size = np.maximum.reduceat(np.abs(right), starts)
    return float((np.maximum.reduceat(np.abs(left - right), starts) / size).max())


@pytest.mark.parametrize("make", CASES, ids=lambda make: make.__name__)
def test_derivatives_agree_with_an_independent_numpy_derivation(make):
    case, packed = make()
    reference = right_hand_side(packed, case)
    random = np.random.default_rng(20)
    w, e = scratch(len(packed.names))
    differences = []
    for _ in range(STATES):
        y = random_state(packed, random)
        jitted = np.empty_like(y)
        derivatives(y, packed.model, w, e, jitted)
        differences.append(largest_difference(jitted, reference(0.0, y)))
    assert max(differences) < TOLERANCE
