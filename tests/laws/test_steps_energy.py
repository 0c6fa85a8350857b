"""Energy and constraint of runs in which the crank is driven, held, started and stopped."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from tests.cases import CONFIGS, mount, packed, single
from vibsim.inputs.loader import build_case
from vibsim.inputs.models import Case
from vibsim.solver.crank_drive import NO_DRIVE, Ramp
from vibsim.solver.crank_torque import torque_course
from vibsim.solver.invariants import kinetic_energy, momentum
from vibsim.solver.motion import DRIVE_, derivatives, scratch
from vibsim.solver.packed import pack
from vibsim.solver.simulate import simulate
from vibsim.solver.solution import Solution
from vibsim.solver.start import error_control, state_at
from vibsim.solver.stepper import REACHED_TIME, advance, grid, no_grid, start_stepper

STARTER = {"stall_torque_N_m": 4.0, "no_load_speed_rpm": 9000.0, "ratio": 25.0}
FRICTION = {"torque_N_m": 2.0, "viscous_N_m_per_rpm": 1e-3}


def floating(run: dict[str, Any], gas: str = "motored", **engine: Any) -> dict[str, Any]:
    """A single afloat, nothing outside acting on it: the work of the torques is all that changes its energy."""
    raw = single()
    raw["engine"] |= {"gas": {"source": gas}, "friction": FRICTION} | engine
    raw["run"] = {"gravity": False, "start": "drawn", "relative_tolerance": 1e-8} | run
    return raw


def two_bodies(run: dict[str, Any]) -> dict[str, Any]:
    """The same afloat, on mounts to a second body that takes the output torque."""
    raw = floating(run)
    raw["engine"]["crank_direction"], raw["engine"]["reference_direction"] = [0.3, 0.8, 0.1], [0.8, -0.3, 0.0]
    raw["engine"]["load"] = {"law": "constant", "torque_N_m": 5.0, "reacted_by": "chassis"}
    inertia = [3.0, 4.0, 5.0, 0.2, -0.3, 0.1]
    raw["body"].append(
        {"name": "chassis", "mass_kg": 90.0, "centre_of_mass_mm": [100.0, 20.0, -300.0], "inertia_kg_m2": inertia}
    )
    raw["mount"] = [
        mount(f"m{n}", between=["powertrain", "chassis"], at_mm=at, damping_N_s_per_mm=[0.4, 0.9, 0.2])
        for n, at in enumerate(([200, 150, -150], [-200, -100, -170]))
    ]
    return raw


def gained(solution: Solution) -> float:
    """Kinetic energy (J) gained from the first to the last point: of the crank and the block, from what was seen.

    Afloat and without mounts the block's motion hangs on the crank alone: momentum is nothing throughout, so that the
    energy is ½·C_eff(φ)·φ̇² with the inertia that is felt on a free block."""
    energies = []
    for n in (0, -1):
        y = state_at(solution.packed, np.zeros((1, 6)), float(solution.over_time.crank_angle[n]), 0.0)
        w, e = scratch(1)
        y[-1] = 1.0
        rates = np.zeros_like(y)
        bare = solution.packed._replace(model=solution.packed.model._replace(drive=NO_DRIVE))
        derivatives(y, bare.model, w, e, rates)
        felt = 1.0 / rates[-2]  # dφ̇/dp at no other momentum
        energies.append(0.5 * felt * float(solution.over_time.crank_speed[n]) ** 2)
    return energies[1] - energies[0]


def put_in(solution: Solution) -> float:
    """Work (J) of the recorded torques over the whole run."""
    total = 0.0
    signs = {"gas": 1.0, "starter": 1.0, "load": -1.0, "friction": -1.0, "accessory": -1.0}
    for outcome in solution.outcomes:
        total += sum(sign * outcome.figures.get(f"{name}_work_J", 0.0) for name, sign in signs.items())
    return total


@pytest.mark.parametrize("reactor", [None, "chassis"])
def test_prescribed_speed_is_met_exactly_and_keeps_momentum(reactor: str | None) -> None:
    """Law: whatever prescribes the speed acts between crank and reactor, so that a floating whole keeps its momentum;
    the speed itself is a constraint, exact to rounding."""
    raw = two_bodies({"kind": "steady", "speed_rpm": 1500.0, "speed_is": "prescribed"})
    if reactor is None:
        del raw["engine"]["load"]["reacted_by"]
    _, model = packed(raw)
    first, rate = 150.0, 400.0
    model = model.with_drive(NO_DRIVE._replace(ramp=Ramp(True, first, rate, 1e9)))
    stepper = start_stepper(state_at(model, np.zeros((2, 6)), 0.0, first), model.model, 1e-5)
    times = grid(0.0, 1e-3, 201, model.state_size)
    held = [np.concatenate(momentum(stepper.y, model))]
    control = error_control(model, 1e-9, 1_000_000)
    assert advance(stepper, model.model, control, 0.2 + 1e-9, math.inf, times, no_grid()) == REACHED_TIME
    w, e = scratch(2)
    speeds, rates = [], np.zeros(model.state_size)
    for y in times.states:
        derivatives(y, model.model, w, e, rates)
        speeds.append(rates[-2])
        held.append(np.concatenate(momentum(y, model)))
    t = times.times
    assert np.allclose(speeds, first + rate * t, rtol=1e-12)
    # the angle is the integral of a straight line, which the method meets but for rounding and interpolation
    assert np.allclose(times.states[:, -2], first * t + 0.5 * rate * t**2, rtol=0.0, atol=1e-9)
    # 1e-9 of floors of 15 N s and 0.5 N m s a step, over a few hundred steps
    assert np.abs(np.array(held) - held[0]).max() < 1e-6


def test_prescribed_speed_is_the_limit_of_a_great_driven_inertia() -> None:
    """Law: an inertia J that the output turns takes J·φ̈; as J grows the crank keeps its speed, and the torque becomes
    that of a prescribed speed, but for a share of 1/J (the crank's own inertia is 0.02 kg m²)."""
    _, model = packed(two_bodies({"kind": "steady", "speed_rpm": 1500.0, "speed_is": "prescribed"}))
    y = state_at(model, np.full((2, 6), 1e-3) * [[1.0], [-1.0]], 0.7, 150.0)
    found = []
    for drive in (NO_DRIVE._replace(ramp=Ramp(True, 150.0, 0.0, 150.0)), NO_DRIVE._replace(inertia=1e6)):
        (w, e), rates = scratch(2), np.zeros_like(y)
        derivatives(y, model.with_drive(drive).model, w, e, rates)
        found.append((rates.copy(), e[DRIVE_]))
    (held, torque), (heavy, of_inertia) = found
    assert abs(torque) > 1.0
    assert of_inertia == pytest.approx(torque, rel=1e-6)
    scale = np.abs(held).max()
    assert np.allclose(np.delete(heavy, -3), np.delete(held, -3), rtol=1e-6, atol=1e-7 * scale)


def test_torque_that_holds_a_prescribed_speed_is_that_of_the_crank_on_a_still_block() -> None:
    """Independent: at constant speed on a still block the output is gas − ½C'φ̇² − losses (`crank_torque`)."""
    raw = floating({"kind": "steady", "speed_rpm": 2000.0, "speed_is": "prescribed", "duration_s": 0.2})
    raw["body"][0] |= {"mass_kg": 1e7, "inertia_kg_m2": [1e7, 1e7, 1e7, 0.0, 0.0, 0.0], "moving_parts": "separate"}
    raw["mount"] = [mount("stiff", between=["powertrain", "ground"], damping_N_s_per_mm=[1e3, 1e3, 1e3])]
    solution = simulate(build_case(raw), CONFIGS)
    assert solution.settling is not None and solution.settling.settled and solution.over_angle is not None
    seen, course = solution.over_angle, torque_course(solution.packed, 2000.0 * math.pi / 30.0)
    assert np.allclose(seen.crank_speed, 2000.0 * math.pi / 30.0, rtol=1e-12)
    expected = np.interp(solution.angle, course.angle, course.net)  # type: ignore[arg-type]
    # a block of 1e7 kg moves by a share of 1e-7; angle of a settled cycle to 1e-6 rad of torques that swing by 100 N m
    assert np.abs(seen.load_torque - expected).max() < 2e-3 * np.ptp(expected)
    assert solution.settling.load_torque == pytest.approx(course.net.mean(), abs=1e-3 * np.ptp(expected))


def run(raw: dict[str, Any]) -> tuple[Case, Solution]:
    case = build_case(raw)
    return case, simulate(case, CONFIGS)


def test_energy_of_a_start_is_the_work_of_starter_and_gas_less_losses() -> None:
    """Law: kinetic energy at the end of a start = work of the recorded torques. From rest on a motored gas."""
    raw = floating({"kind": "start", "duration_s": 1.0, "sample_rate_Hz": 20000.0}, starter=STARTER)
    _, solution = run(raw)
    (figures,) = (outcome.figures for outcome in solution.outcomes)
    assert figures["starter_work_J"] > 20.0 and figures["turns"] > 2.0
    # trapezoid over angle at 20 kHz: steps of 2 mrad where torques bend over 0.1 rad, 1e-4 of works of 100 J
    moved = abs(figures["starter_work_J"]) + abs(figures["friction_work_J"])
    assert gained(solution) == pytest.approx(put_in(solution), abs=3e-4 * moved)


def test_energy_of_a_stop_is_lost_to_friction_and_gas() -> None:
    """Law: the kinetic energy the crank has as its fuel goes is what friction and gas take until it rests."""
    raw = floating({"kind": "stop", "speed_rpm": 900.0, "duration_s": 2.0, "sample_rate_Hz": 20000.0}, gas="cycle")
    raw["engine"]["friction"] = {"torque_N_m": 3.0}
    _, solution = run(raw)
    (outcome,) = solution.outcomes
    assert outcome.figures["reversals"] >= 1.0 and outcome.figures["crank_at_rest_after_s"] < 2.0
    assert abs(solution.over_time.crank_speed[-1]) < 1.0
    # nothing burns: no pressure beyond that of compression, but for what is under way as the key is turned
    late = solution.time > 0.3
    assert solution.over_time.cylinder_pressure[late].max() < 0.5 * solution.over_time.cylinder_pressure.max()
    assert gained(solution) == pytest.approx(put_in(solution), abs=3e-4 * outcome.figures["friction_work_J"])


def test_energy_of_a_free_run_up_goes_into_crank_and_driven_inertia() -> None:
    """Law: the gas's work less friction is the kinetic energy of crank, block and driven inertia; the output torque is
    that of the inertia, J·φ̈."""
    up = {"kind": "run_up", "speed_rpm": 1500.0, "speed_to_rpm": 2500.0, "driven_inertia_kg_m2": 0.05}
    _, solution = run(floating(up | {"duration_s": 3.0, "sample_rate_Hz": 20000.0}, gas="cycle"))
    (figures,) = (outcome.figures for outcome in solution.outcomes)
    speed = solution.over_time.crank_speed
    assert 2400.0 < speed[-1] * 30.0 / math.pi < 3000.0 and not solution.warnings
    stored = 0.5 * 0.05 * (speed[-1] ** 2 - speed[0] ** 2)
    assert figures["load_work_J"] == pytest.approx(stored, rel=1e-3)
    assert gained(solution) == pytest.approx(put_in(solution), abs=1e-3 * figures["gas_work_J"])


def test_slow_run_up_passes_through_the_steady_points() -> None:
    """Reference: at a low rate the mean torque over a cycle is that of the steady point less the inertia times the
    rate; with gas that does not hang on speed nothing else differs."""
    rate, at = 20.0 * math.pi / 3.0, 2000.0 * math.pi / 30.0  # rad/s², 200 rpm/s
    up = {"kind": "run_up", "speed_rpm": 1900.0, "speed_to_rpm": 2100.0, "rate_rpm_per_s": 200.0}
    _, solution = run(floating(up))
    angle, load = solution.over_time.crank_angle, solution.over_time.load_torque
    middle = float(np.interp(at, solution.over_time.crank_speed, angle))
    fine = np.linspace(middle - 2.0 * math.pi, middle + 2.0 * math.pi, 4001)
    mean = np.interp(fine, angle, load)[:-1].mean()
    steady = {"kind": "steady", "speed_rpm": 2000.0, "speed_is": "prescribed", "duration_s": 0.1}
    _, point = run(floating(steady))
    felt = torque_course(pack(build_case(floating(steady)), CONFIGS), at).felt.mean()
    assert point.settling is not None
    # felt on a still block, where it is free: a few per cent of rate·inertia, 0.4 N m; grid of 1e-4 s: 1e-3 N m
    assert mean == pytest.approx(point.settling.load_torque - felt * rate, abs=0.05)


def test_kinetic_energy_of_the_first_state_is_that_of_the_crank_on_a_free_block() -> None:
    """The energies that the balances above go by are those of the solver's own states."""
    _, solution = run(floating({"kind": "stop", "speed_rpm": 900.0, "duration_s": 0.05}))
    model = solution.packed
    y = state_at(model, np.zeros((1, 6)), 0.0, 94.0)
    assert kinetic_energy(y, model._replace(model=model.model._replace(drive=NO_DRIVE))) > 0.0
