"""What every mount law must obey: it makes no energy over a closed loop, and pushes back as hard as it pushes."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.cases import packed as build
from tests.mount_cases import LAWS, law_mount, model, on_ground, write_curve
from vibsim.inputs.loader import build_case
from vibsim.solver.linearise import linearise
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.packed import Packed, pack
from vibsim.solver.start import equilibrium, state_at
from vibsim.structure.mount_dynamics import Alone, alone, drive
from vibsim.structure.rotation import matrix_of, multiply, quaternion_of_vector

STEPS = 1500
STEP = 1e-4  # s, at most: a sixth of the shortest time constant here, of the decoupler's volume against its resistance
sizes = st.floats(0.05, 6.0)
shapes = st.lists(st.tuples(*[st.floats(-1.0, 1.0)] * 6), min_size=1, max_size=3)
TORSION = {"torsional_stiffness_N_m_per_rad": [60.0, 200.0, 90.0], "torsional_damping_N_m_s_per_rad": [0.1, 0.2, 0.3]}


@cache
def ready(law: str) -> Alone:
    folder = Path(__file__).parent / "__pycache__"
    folder.mkdir(exist_ok=True)
    write_curve(folder)
    return alone(model(law_mount(law)), folder)


@pytest.mark.parametrize("law", LAWS)
@settings(max_examples=25, deadline=None)
@example(millimetres=3.0, hertz=0.5, shape=[(0.0,) * 6, (0.0, 0.0, 0.0, 0.0, 0.0, 1.0)])  # the plate seats and lifts
@given(millimetres=sizes, hertz=st.floats(0.5, 120.0), shape=shapes)
def test_no_law_makes_energy_over_a_closed_loop(law: str, millimetres: float, hertz: float, shape: list) -> None:
    """From rest, where least is stored, along any closed path at any pace, the work put in is never negative.

    `scheduled` is driven at one speed: rates that change take their energy from what changes them.
    """
    steps = max(STEPS, math.ceil(1.0 / (hertz * STEP)))
    turns = np.arange(1, len(shape) + 1)[:, None] * np.linspace(0.0, 2.0 * math.pi, 2 * steps + 1)
    a, b = np.array(shape)[:, :3].T, np.array(shape)[:, 3:].T
    size = 1e-3 * millimetres / len(shape)
    motion = size * (a @ (1.0 - np.cos(turns)) + b @ np.sin(turns)).T
    order = np.arange(1, len(shape) + 1)
    speed = 2.0 * math.pi * hertz
    rate = size * speed * ((a * order) @ np.sin(turns) + (b * order) @ np.cos(turns)).T
    force = -drive(ready(law), motion, rate, 1.0 / (hertz * steps), speed=200.0)
    power = np.einsum("nk,nk->n", force, rate[::2])
    work = np.sum(0.5 * (power[1:] + power[:-1])) / (hertz * steps)
    passed = np.sum(np.abs(power)) / (hertz * steps)
    assert work >= -1e-5 * passed - 1e-12  # of the trapezium rule, where stops and seats bend the force


def between_bodies(law: str, folder: Path, **changes) -> Packed:
    raw = on_ground(law_mount(law, between=["powertrain", "frame"], at_mm=[120.0, -40.0, 60.0], **changes))
    frame = raw["body"][0] | {"name": "frame", "mass_kg": 140.0, "centre_of_mass_mm": [50.0, 20.0, -100.0]}
    raw["body"].append(frame)
    raw["run"] = {"speed_rpm": 1000.0, "gravity": False}
    case = build_case(raw)
    return pack(case, folder)


def moving_state(whole: Packed, random: np.random.Generator) -> np.ndarray:
    y = state_at(whole, np.zeros((2, 6)))
    for at in (0, 13):
        y[at : at + 3] += 2e-3 * random.standard_normal(3)
        y[at + 3 : at + 7] = multiply(quaternion_of_vector(0.05 * random.standard_normal(3)), y[at + 3 : at + 7])
        y[at + 7 : at + 13] += random.standard_normal(6)
    for index, state in enumerate(whole.more_states, start=26):
        y[index] += 1e-3 * state.floor * random.standard_normal()
    return y


@pytest.mark.parametrize("law", LAWS)
def test_force_and_reaction_add_to_nothing(law: str, tmp_path: Path) -> None:
    """Law: momentum and angular momentum of two bodies and the mount between them do not change."""
    write_curve(tmp_path)
    axes = {} if law == "torque_rod" else {"axes_deg": [20.0, -35.0, 50.0], **TORSION}
    whole = between_bodies(law, tmp_path, **axes)
    random, (w, e) = np.random.default_rng(4), scratch(2)
    for _ in range(5):
        y = moving_state(whole, random)
        out = np.zeros(y.size)
        derivatives(y, whole.model, w, e, out)
        force, moment, size = np.zeros(3), np.zeros(3), 0.0
        for at in (0, 13):
            own, spin_to = matrix_of(y[at + 3 : at + 7]), slice(at + 7, at + 10)
            # rate of P and L in vehicle axes: R(Ṗ + ω×P), with ω = inverse inertia · L; here all bodies are plain
            body = whole.model.bodies[at // 13]
            inverse = np.array(
                [
                    [body["inverse_xx"], body["inverse_xy"], body["inverse_xz"]],
                    [body["inverse_xy"], body["inverse_yy"], body["inverse_yz"]],
                    [body["inverse_xz"], body["inverse_yz"], body["inverse_zz"]],
                ]
            )
            omega = inverse @ y[at + 10 : at + 13]
            push = own @ (out[spin_to] + np.cross(omega, y[spin_to]))
            turn = own @ (out[at + 10 : at + 13] + np.cross(omega, y[at + 10 : at + 13]))
            force += push
            moment += turn + np.cross(y[at : at + 3], push)
            size = max(size, float(np.abs(push).max()))
        assert size > 1.0
        assert np.abs(force).max() < 1e-12 * size
        assert np.abs(moment).max() < 1e-12 * size


def test_torsion_is_the_stiffness_given_for_small_turns_and_makes_no_energy() -> None:
    """The moment against relative rotation about each axis: −k·sin θ for one turn alone, any body first."""
    raw = on_ground(law_mount("linear", stiffness_N_per_mm=[0, 0, 0], damping_N_s_per_mm=None, **TORSION))
    raw["mount"][0].pop("cross_stiffness_N_per_mm")
    raw["run"] = {"speed_rpm": 1000.0, "gravity": False}
    _, whole = build(raw)
    w, e = scratch(1)
    for axis, stiffness in enumerate(TORSION["torsional_stiffness_N_m_per_rad"]):
        displacement = np.zeros((1, 6))
        displacement[0, 3 + axis] = 0.3
        y = state_at(whole, displacement)
        out = np.zeros(y.size)
        derivatives(y, whole.model, w, e, out)
        assert out[10 + axis] == pytest.approx(-stiffness * math.sin(0.3), rel=1e-12)
    loop = np.linspace(0.0, 2.0 * math.pi, 4001)
    turns = np.array([0.4 * np.sin(loop), 0.3 * np.sin(2 * loop), 0.5 * (1 - np.cos(loop))]).T
    work, before = 0.0, None
    for turn in turns:
        y = state_at(whole, np.concatenate([np.zeros(3), turn])[None, :])
        out = np.zeros(y.size)
        derivatives(y, whole.model, w, e, out)
        own = matrix_of(y[3:7])
        if before is not None:
            step = before[0].T @ own
            small = 0.5 * np.array([step[2, 1] - step[1, 2], step[0, 2] - step[2, 0], step[1, 0] - step[0, 1]])
            work += 0.5 * (out[10:13] + before[1]) @ small
        before = (own, out[10:13].copy())
    assert abs(work) < 1e-6 * 60.0  # of the trapezium rule, over 4000 steps


@pytest.mark.parametrize("law", ["relaxation", "hydraulic", "friction", "loss_factor"])
def test_at_rest_a_mount_with_states_stays_at_rest(law: str, tmp_path: Path) -> None:
    """Static equilibrium is one of the whole state: no element relaxes, nothing flows, friction is spent."""
    raw = on_ground(law_mount(law, **TORSION))
    raw["body"][0]["mass_kg"] = 80.0
    case = build_case(raw)
    whole = pack(case, tmp_path)
    y = state_at(whole, equilibrium(whole).displacement)
    (w, e), out = scratch(1), np.zeros(y.size)
    derivatives(y, whole.model, w, e, out)
    assert np.abs(out[7:13]).max() < 1e-5  # of 785 N, as the equilibrium is found
    floors = np.array([state.floor for state in whole.more_states])
    assert np.abs(out[13:-2] / floors).max() < 1e-9


def test_linear_model_takes_the_static_tangent(tmp_path: Path) -> None:
    """CHECKS section 8, derived: at rest the fluid adds A²/(C₁ + C₂) to the rubber."""
    whole = pack(build_case(on_ground(law_mount("hydraulic", **TORSION))), tmp_path)
    assert linearise(whole).stiffness[2, 2] == pytest.approx(227.3764e3, rel=1e-6)
    whole = pack(build_case(on_ground(law_mount("relaxation", **TORSION))), tmp_path)
    assert linearise(whole).stiffness[2, 2] == pytest.approx(250e3, rel=1e-6)
