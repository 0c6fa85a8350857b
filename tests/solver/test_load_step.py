"""Load steps: where they end, what they cost, and their equations against an integrator from outside."""

from __future__ import annotations

import copy
import math
import tomllib
from functools import cache
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from tests import cases
from vibsim.engine.air_path import INTAKE_MASS
from vibsim.engine.charging.electric import motor_loss
from vibsim.engine.operating_point import OperatingPoint, operating_point
from vibsim.inputs.errors import InputError, RunFailure
from vibsim.inputs.loader import CaseFile, build_case
from vibsim.inputs.models import Case
from vibsim.post.load_step import cycle_mean, whole_cycles
from vibsim.post.quantities import post_process
from vibsim.post.summary import summarise
from vibsim.results.collect import collect
from vibsim.results.hdf5 import read_results, write_results
from vibsim.results.labelled import Group
from vibsim.show.figures import draw_figures
from vibsim.show.load_step_figures import steps_load
from vibsim.show.run_tables import load_step_lines
from vibsim.solver.crank_torque import mean_inertia
from vibsim.solver.fed import after_step, held_at
from vibsim.solver.invariants import kinetic_energy
from vibsim.solver.motion import derivatives, load_torque, scratch
from vibsim.solver.observe import observe
from vibsim.solver.packed import STATES_PER_BODY, Packed, pack
from vibsim.solver.simulate import simulate
from vibsim.solver.solution import Solution
from vibsim.solver.start import error_control, state_at
from vibsim.solver.steady import holding_speed
from vibsim.solver.stepper import MOST_STEPS, REACHED_TIME, advance, grid, no_grid, start_stepper

STEP = {"kind": "load_step", "speed_rpm": 2500.0, "load": 0.3, "load_after": 1.0}
DEMO = tomllib.loads((cases.CONFIGS / "v3-80-trike.toml").read_text(encoding="utf-8"))


def trike(source: str, **run: Any) -> dict[str, Any]:
    """The demo trike with a throttle and a charger of this source."""
    raw = copy.deepcopy(DEMO)
    raw["engine"]["gas"] = {"source": "cycle", "throttle": {"diameter_mm": 36.0}}
    if source != "none":
        raw["engine"]["charging"] = {"source": source, "boost_pressure_kPa": 33.0}
    raw["run"] = STEP | {"duration_s": 1.4, "sample_rate_Hz": 5000.0} | run
    return raw


def floating(source: str, **run: Any) -> dict[str, Any]:
    """A single on a free block without weight: nothing but the crank's torques does work."""
    raw = cases.single()
    raw["engine"]["gas"] = {"source": "cycle", "throttle": {"diameter_mm": 24.0}}
    raw["engine"]["crank"]["inertia_kg_m2"] = 0.08
    raw["engine"]["charging"] = {"source": source, "boost_pressure_kPa": 25.0} | (
        {"motor": {"inertia_kg_mm2": 15.0}, "intake_volume_L": 0.9, "bypass_area_mm2": 250.0}
        if source == "electric"
        else {}
    )
    raw["engine"]["charging"]["compressor"] = {"wheel_diameter_mm": 26.0}
    raw["run"] = STEP | {"duration_s": 0.9, "sample_rate_Hz": 20000.0, "start": "drawn", "gravity": False} | run
    return raw


@cache
def solved(source: str) -> Solution:
    return simulate(build_case(trike(source)), cases.CONFIGS)


def at_end(solution: Solution, name: str) -> float:
    """Mean of a quantity over the last whole cycle."""
    seen = solution.over_time
    values = seen.air[name] if seen.air and name in seen.air else getattr(seen, name)
    inside = seen.crank_angle >= seen.crank_angle[-1] - 4.0 * math.pi
    return float(np.trapezoid(values[inside], solution.time[inside]) / np.ptp(solution.time[inside]))


def work_at_end(solution: Solution) -> float:
    """Brake torque as work over crank angle of the last whole cycle."""
    seen = solution.over_time
    inside = seen.crank_angle >= seen.crank_angle[-1] - 4.0 * math.pi
    return float(np.trapezoid(seen.load_torque[inside], seen.crank_angle[inside]) / np.ptp(seen.crank_angle[inside]))


def matched(solution: Solution, load: float) -> OperatingPoint:
    case = solution.case
    assert case.engine is not None and case.run is not None
    return operating_point(case.engine, cases.CONFIGS, case.run.speed, load)


@pytest.mark.parametrize("source", ["none", "electric", "engine_driven"])
def test_a_load_step_ends_at_the_matched_point(source):
    """Reference: throttle, charger and cylinders matched as a whole, at constant speed. The run's crank swings by 7 %
    about that speed, which shifts means by the square of it, 2e-3."""
    solution, point = solved(source), matched(solved(source), 1.0)
    assert at_end(solution, "intake_pressure") == pytest.approx(point.conditions.intake_pressure, rel=5e-4)
    assert at_end(solution, "intake_temperature") == pytest.approx(point.conditions.intake_temperature, rel=5e-4)
    assert at_end(solution, "air_mass_flow") == pytest.approx(point.air_flow, rel=4e-3)
    assert work_at_end(solution) == pytest.approx(point.brake_torque, rel=4e-3)
    assert at_end(solution, "crank_speed") == pytest.approx(point.speed, rel=4e-3)
    assert solution.over_time.air is not None
    assert solution.over_time.air["throttle_opening"][-1] == pytest.approx(1.0, abs=1e-6)
    if source != "none":
        assert point.boost is not None and point.boost.charge is not None
        assert at_end(solution, "charger_speed") == pytest.approx(point.boost.charge.speed, rel=4e-3)
        assert at_end(solution, "charger_torque") == pytest.approx(point.charging_torque, rel=2e-2)


def test_a_load_step_begins_at_the_matched_point():
    solution = solved("electric")
    point, before = matched(solution, 0.3), solution.time < 0.2
    seen = solution.over_time
    assert seen.air is not None and point.opening is not None
    assert seen.air["intake_pressure"][before].mean() == pytest.approx(point.conditions.intake_pressure, rel=5e-4)
    assert seen.load_torque[before].mean() == pytest.approx(point.brake_torque, rel=2e-2)  # part of a cycle in it
    assert seen.air["charger_speed"][before].max() == 0.0
    assert seen.air["battery_energy"][before].max() == 0.0


def test_a_turbine_comes_late():
    """Lag: the throttle fills the intake within a tenth of a second, the rotor takes seconds."""
    solution = solved("exhaust_turbine")
    seen, time = solution.over_time.air, solution.time
    assert seen is not None
    full = np.flatnonzero(seen["intake_pressure"] > 0.99 * 101325.0)[0]
    assert time[full] - 0.2 < 0.15
    assert seen["charger_speed"][-1] > 2.0 * seen["charger_speed"][full]
    assert np.all(np.diff(seen["charger_speed"][full:]) > 0.0)
    assert seen["exhaust_pressure"][-1] > 1.05 * seen["exhaust_pressure"][0]


def test_the_energy_of_an_electric_charger_closes():
    """Law: crank and battery pay for the compressor's work, the losses, and the rotor's kinetic energy; over the whole
    record, by the trapezoidal rule on 5000 points a second."""
    solution = solved("electric")
    seen, time, path = solution.over_time.air, solution.time, solution.packed.model.air
    assert seen is not None and path is not None
    parts = path.charger.parts[0]
    motor, supply = parts.motor, parts.supply
    after = slice(int(np.searchsorted(time, 0.2, side="right")), None)

    def total(power: np.ndarray) -> float:
        return float(np.trapezoid(power[after], time[after]))

    current, speed, torque = seen["battery_current"], seen["charger_speed"], seen["motor_torque"]
    alternator = seen["charger_torque"] * solution.over_time.crank_speed * supply.efficiency
    from_battery = total(supply.voltage * current)
    assert seen["battery_energy"][-1] == pytest.approx(from_battery, rel=1e-3)
    bus = total(alternator) + from_battery - total(supply.resistance * current**2)
    assert bus == pytest.approx(total(seen["bus_power"]), rel=1e-4)
    winding = seen["winding_temperature"]
    lost = [motor_loss(*row, motor) for row in zip(torque, speed, winding, strict=True)]
    assert bus == pytest.approx((1.0 + motor.inverter) * total(torque * speed + np.array(lost)), rel=1e-3)
    gained = 0.5 * motor.inertia * (speed[-1] ** 2 - speed[after][0] ** 2)
    assert total(torque * speed) == pytest.approx(total(seen["compressor_power"]) + gained, rel=1e-3)
    heat = (1.0 + motor.inverter) * np.array(lost) + motor.inverter * torque * speed
    stored = motor_heat(solution)
    assert 0.0 < stored < total(heat)


def motor_heat(solution: Solution) -> float:
    """Heat (J) left in winding and inverter."""
    assert solution.over_time.air is not None and solution.packed.model.air is not None
    thermal, seen = solution.packed.model.air.charger.parts[0].thermal, solution.over_time.air
    rise = {part: np.ptp(seen[f"{part}_temperature"]) for part in ("winding", "inverter")}
    return thermal.winding_capacity * rise["winding"] + thermal.inverter_capacity * rise["inverter"]


def after_the_step(raw: dict[str, Any]) -> tuple[Case, Packed, np.ndarray]:
    """The model as commanded for the load after the step, and the state before it, the crank at its speed."""
    case = build_case(raw)
    packed = pack(case, cases.CONFIGS)
    assert case.run is not None and case.engine is not None and packed.model.air is not None
    path = held_at(packed.model.air, case.run, mean_inertia(packed))
    after = packed.with_air(after_step(case.engine, cases.CONFIGS, path, case.run))
    return case, after, state_at(packed, np.zeros((len(packed.names), 6)), 0.0, case.run.speed)


def integrated(packed: Packed, y: np.ndarray, end: float, points: int, tolerance: float) -> tuple[np.ndarray, ...]:
    """Times (points) from zero to `end` (s) and the states there."""
    times = grid(0.0, end / (points - 1), points, y.size)
    stepper = start_stepper(y, packed.model, 1e-5)
    control = error_control(packed, tolerance, MOST_STEPS)
    assert advance(stepper, packed.model, control, end, math.inf, times, no_grid()) == REACHED_TIME
    return times.times, times.states


@pytest.mark.parametrize("source", ["electric", "engine_driven"])
def test_the_energy_of_the_crank_closes(source):
    """Law: what gas gives less friction, charger and output is the kinetic energy of crank, pistons and block; by the
    trapezoidal rule on some five points a degree."""
    _, packed, y = after_the_step(floating(source, hold_speed=False))
    time, states = integrated(packed, y, 0.5, 40001, 1e-8)
    seen = observe(states, packed, ())
    assert seen.air is not None and seen.accessory_torque is not None
    np.testing.assert_allclose(seen.accessory_torque, seen.air["charger_torque"], atol=1e-12)
    assert seen.accessory_torque.max() > 0.1
    power = (seen.gas_torque - seen.friction_torque - seen.accessory_torque - seen.load_torque) * seen.crank_speed
    work = np.concatenate([[0.0], np.cumsum(0.5 * (power[1:] + power[:-1]) * np.diff(time))])
    energy = np.array([kinetic_energy(state, packed) for state in states[::500]])
    assert np.ptp(energy) > 100.0
    np.testing.assert_allclose(energy - energy[0], work[::500], atol=2e-5 * np.ptp(energy))


@pytest.mark.parametrize("source", ["electric", "exhaust_turbine", "engine_driven", "none"])
def test_a_solver_from_outside_agrees(source):
    """Reference: SciPy's eighth-order Runge-Kutta on the same equations, of bodies, mounts, crank and air path."""
    _, packed, y = after_the_step(trike(source))
    w, e = scratch(len(packed.names))

    def rates(_: float, state: np.ndarray) -> np.ndarray:
        out = np.empty(state.size)
        derivatives(state, packed.model, w, e, out)
        return out

    end = 0.06
    _, states = integrated(packed, y, end, 2, 1e-9)
    theirs = solve_ivp(rates, (0.0, end), y, method="DOP853", rtol=1e-10, atol=1e-13, max_step=1e-4)
    control = error_control(packed, 1.0, 1)
    size = control.floor + np.abs(theirs.y[:, -1])
    np.testing.assert_allclose(states[-1] / size, theirs.y[:, -1] / size, atol=1e-6)
    at = STATES_PER_BODY * len(packed.names)
    assert states[-1][at + INTAKE_MASS] > 1.5 * y[at + INTAKE_MASS]


def test_the_air_path_does_not_shorten_the_steps():
    """The volumes are no stiffer than the engine: a load step takes no more steps a second than the same engine in a
    steady run at full load, by a margin for the step itself."""
    raw = trike("electric")
    raw["run"] = {"kind": "steady", "speed_rpm": 2500.0, "duration_s": 1.4, "settle_cycles": 35}
    steady = simulate(build_case(raw), cases.CONFIGS)
    assert steady.settling is not None
    assert solved("electric").counts["steps"] < 1.15 * steady.counts["steps"]


def test_left_alone_the_engine_speeds_up():
    """Derived: momentum; the load keeps the torque it had, what the gas gives beyond it speeds the crank up."""
    raw = trike("electric", hold_speed=False, step_at_s=0.1, duration_s=0.45)
    solution = simulate(build_case(raw), cases.CONFIGS)
    seen, time = solution.over_time, solution.time
    after = time > 0.15
    surplus = seen.gas_torque - seen.friction_torque - seen.accessory_torque - seen.load_torque
    gained = np.trapezoid(surplus[after], time[after]) / mean_inertia(solution.packed)
    mean = cycle_mean(results_of(solution), "crank_speed")
    assert mean[-1] > 1.5 * mean[0]
    assert seen.crank_speed[-1] - seen.crank_speed[after][0] == pytest.approx(gained, rel=0.1)  # pistons turn with it
    assert np.ptp(seen.load_torque) < 1e-9


def test_a_free_run_of_a_charged_engine_carries_its_air_path():
    raw = trike("exhaust_turbine")
    raw["engine"]["load"] = {"law": "constant", "torque_N_m": 80.0, "reacted_by": "chassis"}
    raw["run"] = {"kind": "free", "speed_rpm": 5000.0, "duration_s": 0.3, "sample_rate_Hz": 5000.0}
    solution = simulate(build_case(raw), cases.CONFIGS)
    seen = solution.over_time.air
    assert seen is not None
    point = matched(solution, 1.0)
    assert seen["air_mass_flow"][:200].mean() == pytest.approx(point.air_flow, rel=0.1)
    assert seen["throttle_opening"].min() == 1.0
    assert np.ptp(seen["charger_speed"]) > 0.0


def test_runs_without_an_air_path_have_none_of_it():
    raw = trike("electric")
    raw["run"] = {"kind": "steady", "speed_rpm": 2500.0}
    plain = pack(build_case(raw), cases.CONFIGS)
    assert plain.model.air is None
    assert plain.more_states == ()
    stepped = solved("electric").packed
    assert [state.name for state in stepped.more_states] == [
        "angle that the crank has run ahead of the held speed",
        "throttle opening",
        "intake mass",
        "intake temperature",
        "charger speed",
        "winding temperature",
        "inverter temperature",
        "battery energy",
    ]
    assert stepped.state_size == plain.state_size + 8


def test_a_misfire_goes_on_through_the_step():
    raw = trike("none", duration_s=0.5)
    raw["run"]["misfire"] = {"cylinder": ["2"], "every": 2}
    solution = simulate(build_case(raw), cases.CONFIGS)
    pressure = solution.over_time.cylinder_pressure[:, 1]
    late = solution.time > 0.35
    assert solution.packed.repeats == 2
    assert pressure[late].max() > 35e5  # burns every other time
    whole = solved("none")
    assert at_end(solution, "load_torque") < at_end(whole, "load_torque") - 3.0


def results_of(solution: Solution) -> Group:
    return collect(solution, CaseFile(solution.case, "", cases.CONFIGS, "step"))


def test_results_figures_and_answer_of_a_load_step(tmp_path):
    results = post_process(results_of(solved("electric")))
    write_results(results, tmp_path / "step.h5")
    read = read_results(tmp_path / "step.h5")
    for name, units in (
        ("throttle_opening", "1"),
        ("boost", "Pa"),
        ("charger_torque", "N m"),
        ("battery_current", "A"),
    ):
        assert read.variables[name].units == units
        assert read.variables[name].dims == ("time",)
        assert read.variables[name].long_name
    found = read.groups["load_step"].attributes
    assert 0.1 < found["time_to_50_percent_of_target_s"] < found["time_to_90_percent_of_target_s"] < 1.0
    ninety = np.interp(0.2 + found["time_to_90_percent_of_target_s"], read["time"], read["boost"])
    assert ninety == pytest.approx(0.9 * 33e3, rel=2e-3)  # between two points of the record
    assert found["hottest_winding_K"] == read["winding_temperature"].max()
    assert steps_load(read)
    drawn = ("boost", "temperatures", "compressor", "torque", "pressure")
    paths = draw_figures(read, tmp_path, drawn)
    assert [path.stem for path in paths] == list(drawn)
    cycles = whole_cycles(read)
    turned = [np.ptp(read["crank_angle"][cycle.start : cycle.stop + 1]) for cycle in cycles]
    assert turned == pytest.approx([4.0 * np.pi] * len(cycles), rel=5e-3)  # to a point of the record
    lines = load_step_lines(summarise(read)["load_step"])
    assert lines[0].startswith("load 0.3 → 1 at 0.2 s: brake torque 22")
    assert "boost target 33.0 kPa: 50 % after" in lines[1]
    assert "battery gave" in lines[2]


def test_a_boost_that_is_not_reached_is_said():
    results = post_process(results_of(solved("exhaust_turbine")))
    lines = load_step_lines(summarise(results)["load_step"])
    assert "50 % not reached, 90 % not reached" in lines[1]
    assert len(lines) == 2
    unblown = load_step_lines(summarise(post_process(results_of(solved("none"))))["load_step"])
    assert len(unblown) == 1


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"load_after": None}, "run.load_after: is missing; a load step needs the load after it"),
        ({"step_at_s": 2.0}, "run.step_at_s: got '2 s'; must lie within the record"),
        ({"kind": "steady"}, 'run.load_after: got 1.0; goes with kind = "load_step"'),
        ({"kind": "free", "hold_speed": False}, 'run.hold_speed: got False; goes with kind = "load_step"'),
        ({"speed_rpm": 0.0}, "a load step needs a speed greater than 0"),
    ],
)
def test_keys_of_a_load_step(changes, said):
    raw = trike("electric", **changes)
    raw["run"] = {name: value for name, value in raw["run"].items() if value is not None}
    with pytest.raises(InputError) as caught:
        build_case(raw)
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("gas", "said"),
    [
        ({"source": "motored"}, 'a load step needs "cycle"'),
        ({"source": "cycle", "fuel": "diesel"}, "a load step is one of the throttle"),
        ({"source": "cycle", "intake_pressure_kPa": 80.0}, "goes without a load step"),
    ],
)
def test_gas_of_a_load_step(gas, said):
    raw = trike("none")
    raw["engine"]["gas"] = gas
    with pytest.raises(InputError) as caught:
        build_case(raw)
    assert said in str(caught.value)


def test_out_of_the_map_is_said():
    """A compressor far too large for its engine runs beyond its surge line, flagged and warned of."""
    raw = trike("electric")
    raw["engine"]["charging"]["compressor"] = {"wheel_diameter_mm": 70.0}
    solution = simulate(build_case(raw), cases.CONFIGS)
    assert solution.over_time.air is not None
    flags = solution.over_time.air["compressor_flags"][-1000:].astype(int)
    assert np.all(flags & 1)
    assert any("beyond the surge line" in line for line in solution.warnings)


def test_an_engine_that_stalls_is_said_to():
    raw = trike("none", load=1.0, load_after=0.0, hold_speed=False, duration_s=2.0, sample_rate_Hz=2000.0)
    with pytest.raises(RunFailure, match=r"the engine stalled \d\.\d\d s into the record; check engine\.load"):
        simulate(build_case(raw), cases.CONFIGS)


def test_a_load_that_holds_the_mean_speed_adds_nothing_there():
    """Derived: torque + (J/τ)·(ω − ω₀) is the torque at ω₀, and brings a slower crank back within τ."""
    plain = solved("none").packed
    held = holding_speed(plain, 250.0)
    torque, more = (load_torque(250.0, packed.model.load) for packed in (plain, held))
    assert more == pytest.approx(torque, abs=1e-9)
    slope = (load_torque(251.0, held.model.load) - more) - (load_torque(251.0, plain.model.load) - torque)
    assert slope == pytest.approx(mean_inertia(plain) / 0.5, rel=1e-9)
