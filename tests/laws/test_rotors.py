"""Laws that rotors, shafts and twisting throws keep in the equations of motion."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.integrate import trapezoid

from tests.cases import mount, packed, single
from tests.rotor_cases import TORSION, driven, rotor, shaft
from vibsim.engine.torsion import torsion_modes
from vibsim.solver.invariants import kinetic_energy, momentum, weight_energy
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.observe import observe
from vibsim.solver.packed import Packed
from vibsim.solver.start import error_control, state_at
from vibsim.solver.stepper import REACHED_TIME, advance, grid, no_grid, start_stepper

KICK = [0.02, 0.05, 0.03]  # rad in the last shafts


def run(
    model: Packed, y: np.ndarray, end: float, points: int, tolerance: float = 1e-9
) -> tuple[np.ndarray, np.ndarray]:
    """Times and states."""
    stepper, times = start_stepper(y, model.model, 1e-6), grid(0.0, end / (points - 1), points, model.state_size)
    control = error_control(model, tolerance, 2_000_000)
    assert advance(stepper, model.model, control, end * (1.0 + 1e-9), math.inf, times, no_grid()) == REACHED_TIME
    return times.times, times.states


def kicked(raw: dict[str, Any], speed: float = 300.0) -> tuple[Packed, np.ndarray]:
    """A model and its state at a crank speed (rad/s), the last three shafts twisted."""
    model = packed(raw)[1]
    y = state_at(model, np.zeros((len(model.names), 6)), 0.0, speed)
    assert model.model.rotors is not None
    y[model.model.rotors.shafts["state"][-3:]] += KICK
    return model, y


def spring_energy(states: np.ndarray, model: Packed) -> np.ndarray:
    assert model.model.rotors is not None
    shafts = model.model.rotors.shafts
    return 0.5 * states[:, shafts["state"]] ** 2 @ shafts["slope"]


@pytest.mark.parametrize("torsion", [False, True], ids=["rigid crank", "twisting crank"])
def test_energy_and_momentum_of_a_floating_engine_are_constant(torsion: bool) -> None:
    """Law: shafts, gears and bearings are inner forces; without losses energy stays too."""
    model, y = kicked(driven(torsion))
    _, states = run(model, y, 0.05, 11)
    energy = np.array([kinetic_energy(state, model) for state in states]) + spring_energy(states, model)
    held = np.array([np.concatenate(momentum(state, model)) for state in states])
    # 1e-9 a step of parts that swing by a tenth of the energy, over 1e4 steps that mostly cancel
    assert np.abs(energy - energy[0]).max() < 1e-9 * energy[0]
    assert np.abs(held - held[0]).max() < 1e-9
    shaken = np.ptp(states[:, 26 + len(model.more_states) - 6 :], axis=0)
    assert shaken.min() > 0.0  # every rotor took part


def test_energy_falls_by_what_shafts_lose() -> None:
    """Law: damper and dry friction take ∫ torque·rate, lash and stages take nothing."""
    raw = driven()
    raw["shaft"][0] |= {"damping_N_m_s_per_rad": 0.4}
    raw["shaft"][1] = {
        "between": ["flywheel", "gearbox"],
        "stage_twist_deg": [0.0, 3.0, 9.0],
        "stage_torque_N_m": [0.0, 20.0, 300.0],
        "friction_N_m": 4.0,
    }
    raw["shaft"][2] |= {"lash_deg": 1.0, "damping_N_m_s_per_rad": 1.5}
    model, y = kicked(raw)
    time, states = run(model, y, 0.05, 10001)
    seen = observe(states, model, ())
    assert model.drivetrain is not None and seen.shaft_torque is not None and seen.shaft_twist is not None
    laws = [link.law for link in model.drivetrain.links]
    spring = np.array([[law.torque(t) for law, t in zip(laws, row, strict=True)] for row in seen.shaft_twist])
    rate = np.gradient(seen.shaft_twist, time, axis=0)
    lost = trapezoid(np.sum((seen.shaft_torque - spring) * rate, axis=1), time)
    stored = 0.0
    for n in range(len(laws)):
        way = np.linspace(states[0, model.model.rotors.shafts["state"][n]], seen.shaft_twist[-1, n], 20001)
        stored += trapezoid([laws[n].torque(float(at)) for at in way], way)
    moving = kinetic_energy(states[-1], model) - kinetic_energy(states[0], model)
    assert lost > 1.0
    # differences and trapezoids at 5e-6 s: friction's turn of sign takes 1e-4 s or more
    assert moving + stored == pytest.approx(-lost, rel=2e-3)


def test_very_stiff_shafts_make_one_rigid_crank() -> None:
    """Limit: throws and rotors on very stiff shafts move block and crank as one crank of their summed inertia does."""
    stiff = driven()
    stiff["engine"]["crank"]["torsion"] |= {"stiffness_N_m_per_rad": [3e7] * 4}
    stiff["rotor"], stiff["shaft"] = [rotor("drum", 0.05)], [shaft("flywheel", "drum", 3e7)]
    stiff["engine"] |= {"firing_order": ["1", "2", "3"], "gas": {"source": "motored"}}
    whole = driven(False)
    whole["rotor"] = whole["shaft"] = []
    whole["engine"] |= {"firing_order": ["1", "2", "3"], "gas": {"source": "motored"}}
    whole["engine"]["crank"]["inertia_kg_m2"] += 0.05
    ends = []
    for raw in (stiff, whole):
        model = packed(raw)[1]
        y = state_at(model, np.zeros((2, 6)), 0.0, 300.0)
        states = run(model, y, 0.02, 3, 1e-8)[1]
        ends.append(observe(states, model, ()))
    # twists are torque over stiffness: 200 N m / 3e7 N m/rad, and ring on at that size
    assert ends[0].crank_angle == pytest.approx(ends[1].crank_angle, abs=1e-5)
    assert ends[0].body_rotation == pytest.approx(ends[1].body_rotation, abs=1e-6)
    assert ends[0].body_displacement == pytest.approx(ends[1].body_displacement, abs=1e-7)


@pytest.mark.parametrize("torsion", [False, True], ids=["rigid crank", "twisting crank"])
def test_small_motion_has_the_frequencies_of_the_linear_model(torsion: bool) -> None:
    """Reference: eigenvalues of the equations of motion, differenced about rest with a block that cannot move, are the
    natural frequencies of the linear model, sliders at rest."""
    raw = driven(torsion)
    raw["body"][0] |= {"mass_kg": 1e9, "inertia_kg_m2": [1e9, 1e9, 1e9, 0, 0, 0]}
    raw["body"][1] |= {"mass_kg": 1e9, "inertia_kg_m2": [1e9, 1e9, 1e9, 0, 0, 0]}
    for cylinder in raw["engine"]["cylinder"]:
        cylinder |= {"piston": {"mass_g": 0.0}}
    raw["engine"]["rod"] |= {
        "mass_g": 0.0,
        "inertia_kg_mm2": 0.0,
    }  # felt inertia constant
    model = packed(raw)[1]
    y = state_at(model, np.zeros((2, 6)))
    moving = np.arange(26, y.size)
    (w, e), rows = scratch(2), []
    for k in moving:
        ends = []
        for sign in (1.0, -1.0):
            near, out = y.copy(), np.zeros(y.size)
            near[k] += sign * 1e-3
            derivatives(near, model.model, w, e, out)
            ends.append(out[moving].copy())
        rows.append((ends[0] - ends[1]) / 2e-3)
    roots = np.linalg.eigvals(np.array(rows).T)
    found = np.sort(np.unique(np.round(np.abs(roots.imag[roots.imag > 1.0]), 6)))
    assert model.drivetrain is not None
    wanted = 2.0 * math.pi * torsion_modes(model.drivetrain).frequency
    # a linear system: differences leave rounding alone; the block follows by 1e-9
    assert found == pytest.approx(wanted[wanted > 1.0], rel=1e-6)


def test_a_gear_leans_on_its_casing() -> None:
    """Law: a shaft's torque T drives a rotor by r·T behind a gear, whose casing takes T·(1 − r)."""
    raw = single()
    raw["engine"] |= {"piston": {"mass_g": 0.0}, "rod": {"mass_g": 0.0}, "crank_direction": [1, 0, 0]}
    raw["body"][0] |= {"moving_parts": "separate"}
    raw["rotor"], raw["shaft"] = [rotor("output", 0.05, ratio=0.25)], [shaft("crank", "output", 1e3)]
    model = packed(raw)[1]
    y = state_at(model, np.zeros((1, 6)))
    y[model.model.rotors.shafts["state"][0]] = 0.1  # 100 N m, ratio 4 from crank to output
    seen = observe(y[None], model, ())
    (w, e), out = scratch(1), np.zeros(y.size)
    derivatives(y, model.model, w, e, out)
    assert seen.shaft_torque[0, 0] == pytest.approx(100.0)
    assert out[model.model.rotors.parts["state"][1]] == pytest.approx(400.0)  # momentum of the output
    assert out[-1] == pytest.approx(-100.0)
    assert out[10] == pytest.approx(0.0, abs=1e-12)  # nothing outside acts: the casing takes 300 N m the other way
    turned = out.copy()
    derivatives(y + 1e-3 * turned, model.model, w, e, out)
    spin = w[0, 12]  # rad/s about the crank after 1 ms
    assert spin * 1.5 == pytest.approx(1e-3 * (100.0 - 400.0), rel=1e-6)


def test_a_shaft_to_another_body_turns_it() -> None:
    """Law: what leaves one body by a shaft reaches the other, as the load's torque does."""
    raw = driven(False)
    raw["rotor"], raw["shaft"] = [rotor("wheel", 0.3, body="chassis")], [shaft("crank", "wheel", 1e3)]
    raw["engine"]["load"] = {"law": "constant", "torque_N_m": 30.0, "rotor": "wheel", "reacted_by": "ground"}
    model = packed(raw)[1]
    y = state_at(model, np.zeros((2, 6)))
    y[model.model.rotors.shafts["state"][0]] = 0.1
    (w, e), out = scratch(2), np.zeros(y.size)
    derivatives(y, model.model, w, e, out)
    along = np.array(raw["engine"]["crank_direction"]) / np.linalg.norm(raw["engine"]["crank_direction"])
    # engine's body in engine axes, x along the crank; at rest no gyroscopic part
    assert out[10:13] == pytest.approx([-100.0, 0.0, 0.0], abs=1e-9)
    assert out[23:26] == pytest.approx((100.0 - 30.0) * along, abs=1e-9)
    assert out[model.model.rotors.parts["state"][1]] == pytest.approx(100.0 - 30.0)


def test_weighed_bodies_hold_their_rotors() -> None:
    """Convention: a body weighed with its rotors and one without them, to which they come on top, are the same."""
    ends = []
    for parts, more in (("included", 0.05), ("separate", 0.0)):
        raw = driven(False)
        raw["rotor"][2]["body"] = "chassis"
        raw["rotor"][2] |= {"inertia_kg_m2": 0.05, "axis_direction": [0, 1, 0]}
        raw["body"][1] |= {"moving_parts": parts, "inertia_kg_m2": [3.0, 4.0 + more, 5.0, 0.2, -0.3, 0.1]}
        model, y = kicked(raw)
        ends.append(run(model, y, 0.01, 2)[1][-1])
    assert ends[0] == pytest.approx(ends[1], abs=1e-9)


def test_gravity_turns_throws_by_their_own_weight() -> None:
    """Law: with weight, energy of motion, height and springs stays."""
    raw = driven()
    raw["run"] |= {"gravity": True}
    raw["mount"] = [mount(f"m{n}", at_mm=at) for n, at in enumerate(([300, 200, -50], [-280, 0, 20], [0, -250, 90]))]
    model, y = kicked(raw)
    _, states = run(model, y, 0.02, 5)
    seen, case = observe(states, model, ()), packed(raw)[0]
    rates = np.array([item.stiffness for item in case.mount])
    held = 0.5 * np.einsum("nma,ma->n", seen.mount_deflection**2, rates)
    moving = np.array([kinetic_energy(state, model) + weight_energy(state, model) for state in states])
    energy = moving + spring_energy(states, model) + held
    # the mounts' axes are those of the engine's body, which turns by less than 1e-2 rad: rates differ by that share
    assert np.abs(energy - energy[0]).max() < 2e-2 * held.max() + 1e-9 * energy[0]
    assert TORSION["throw_inertia_kg_m2"] == 0.003
