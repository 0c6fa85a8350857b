"""Wheels, anti-roll bars and occupants against derivations of their own: eigenvalues, transfer functions, moments."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.linalg import eigvals

from tests.cases import as_file, packed
from tests.vehicle_cases import SEAT, car, place, quarter_car
from vibsim.inputs.models import Sensor
from vibsim.solver.failure import explain_failure
from vibsim.solver.frequency import frequency_model
from vibsim.solver.linearise import linearise
from vibsim.solver.observe import observe
from vibsim.solver.packed import Packed
from vibsim.solver.start import AtRest, Preload, equilibrium, error_control, state_at
from vibsim.solver.stepper import MOST_STEPS, STEP_TOO_SMALL, advance, grid, no_grid, start_stepper
from vibsim.structure.modes import modes_of
from vibsim.structure.vertical_pack import FIRST, FITTED_MASS, FRAME, SECOND, apparent_mass, road_table
from vibsim.studies.response import Shake, force_response

SPRUNG, UNSPRUNG, SPRING, TYRE, DAMPER, TYRE_DAMPER = 320.0, 30.0, 22e3, 190e3, 1000.0, 100.0


def _on_road(packed_case: Packed, distance: np.ndarray, height: np.ndarray, speed: float) -> Packed:
    parts = packed_case.model.parts
    assert parts is not None
    parts = parts._replace(road=road_table(distance, height, speed))
    return packed_case._replace(model=packed_case.model._replace(parts=parts))


def _over_time(packed_case: Packed, y: np.ndarray, duration: float, rate: float, tolerance: float = 1e-8) -> np.ndarray:
    """States at a sample rate from a state on."""
    stepper = start_stepper(y, packed_case.model, 1e-5)
    points = grid(0.0, 1.0 / rate, round(duration * rate) + 1, packed_case.state_size)
    control = error_control(packed_case, tolerance, MOST_STEPS)
    assert advance(stepper, packed_case.model, control, duration, math.inf, points, no_grid()) == 0
    return points.states


def _harmonic(values: np.ndarray, frequency: float, rate: float) -> np.ndarray:
    """Complex amplitude at a frequency of whole periods."""
    time = np.arange(len(values)) / rate
    return np.asarray(2.0 * np.exp(-2j * np.pi * frequency * time) @ values / len(values))


@pytest.mark.parametrize(("bump", "rebound"), [(1000.0, 1000.0), (600.0, 1400.0)])
def test_a_quarter_car_has_the_eigenvalues_of_two_masses(bump, rebound):
    # derived: two masses on two springs; about rest an uneven damper counts with its mean rate
    raw = quarter_car(bump_damping_N_s_per_m=bump, rebound_damping_N_s_per_m=rebound)
    del raw["wheel"][0]["bump_damping_N_s_per_mm"], raw["wheel"][0]["rebound_damping_N_s_per_mm"]
    linear = linearise(packed(raw)[1])
    both = np.ix_([2, 6], [2, 6])
    modes = modes_of(linear.mass[both], linear.damping[both], linear.stiffness[both], heights=2)
    m, k = np.diag([SPRUNG, UNSPRUNG]), np.array([[SPRING, -SPRING], [-SPRING, SPRING + TYRE]])
    c = np.array([[DAMPER, -DAMPER], [-DAMPER, DAMPER + TYRE_DAMPER]])
    zero, one = np.zeros((2, 2)), np.eye(2)
    roots = eigvals(np.block([[zero, one], [-k, -c]]), np.block([[one, zero], [zero, m]]))
    roots = sorted(roots[roots.imag > 0.0], key=abs)
    # slopes are differences over 1e-6 m and 1e-4 m/s: rounding leaves 1e-8 of them
    assert 2.0 * np.pi * modes.frequency == pytest.approx(np.abs(roots), rel=1e-6)
    assert modes.damping == pytest.approx([-root.real / abs(root) for root in roots], rel=1e-5)


@pytest.mark.parametrize("frequency", [1.0, 2.5, 12.0])
def test_a_sine_road_moves_a_quarter_car_by_its_transfer_function(frequency):
    # derived: (ks + iωcs)(kt + iωct) / det; a road of 1 mm keeps the tyre on it
    _, quarter = packed(quarter_car())
    speed, rate, amplitude = 10.0, 2000.0, 1e-3
    distance = np.linspace(0.0, 60.0, 6001)
    rise = np.minimum(distance / 2.0, 1.0)
    road = amplitude * rise * np.sin(2.0 * np.pi * frequency * distance / speed)
    start = state_at(quarter, equilibrium(quarter).displacement)
    states = _over_time(_on_road(quarter, distance, road, speed), start, 6.0, rate)
    last = states[round(4.0 * rate) : -1]
    s = 2j * np.pi * frequency
    spring, tyre = SPRING + s * DAMPER, TYRE + s * TYRE_DAMPER
    over = SPRUNG * s**2 + spring
    body = spring * tyre / (over * (UNSPRUNG * s**2 + spring + tyre) - spring**2)
    parts = quarter.model.parts
    assert parts is not None
    found = _harmonic(last[:, [2, parts.at]], frequency, rate) / _harmonic(
        amplitude * np.sin(2.0 * np.pi * frequency * np.arange(len(last)) / rate)[:, None], frequency, rate
    )
    # what is left of the start after 4 s, and the road's cubics over 10 mm
    assert found == pytest.approx([body, body * over / spring], rel=5e-3)


def test_frequency_domain_agrees_with_time_domain_on_a_shaken_car():
    # the same car, all wheels on a road that rises and falls together, as a ground that shakes along Z does
    raw = car()
    raw["sensor"] = [{"name": "on the floor", "body": "chassis", "at_mm": [900.0, -300.0, 200.0]}]
    raw["sensor"] += [{"name": "under the driver", "body": "driver", "at_mm": [100.0, 300.0, 500.0]}]
    case, vehicle = packed(raw)
    frequency, amplitude, speed, rate = 4.0, 2e-4, 1.0, 1000.0
    distance = np.linspace(0.0, 8.0, 8001)
    rise = np.minimum(distance, 1.0)
    road = amplitude * rise * np.sin(2.0 * np.pi * frequency * distance / speed)
    parts = vehicle.model.parts
    assert parts is not None
    parts.wheels["ahead"] = 0.0
    start = state_at(vehicle, equilibrium(vehicle).displacement)
    states = _over_time(_on_road(vehicle, distance, road, speed), start, 6.0, rate)[round(5.0 * rate) : -1]
    seen = observe(states, vehicle, case.sensor)
    model = frequency_model(vehicle, case.sensor)
    turning = 2.0 * np.pi * frequency
    moved = model.displacement(turning, model.ground_at(turning)[:, 2])
    expected = amplitude * model.sensors(turning, moved) / 1j  # of a sine
    found = _harmonic(seen.sensor_acceleration.reshape(len(states), -1), frequency, rate).reshape(2, 3)
    biggest = np.abs(expected).max()
    assert np.abs(found - expected).max() <= 0.01 * biggest
    assert found[1, 2] == pytest.approx(expected[1, 2], rel=0.01)


@pytest.mark.parametrize("acceleration", [(0.0, 0.0, 0.0), (-4.0, 0.0, 0.0), (0.0, 3.0, 2.0)])
def test_wheel_loads_at_rest_follow_from_moments(acceleration):
    # derived: forces and moments of all weights, inertia forces (d'Alembert) and tyre forces where they are
    _, vehicle = packed(car())
    felt = np.array(acceleration)
    rest = AtRest(vehicle, preload=Preload(felt, np.zeros((1, 3))))
    y = rest.state(rest.equilibrium().displacement)
    parts, gravity = vehicle.model.parts, vehicle.model.gravity
    assert parts is not None
    tyre = observe(y[None], vehicle, ()).parts["tyre_force"][0]
    weights = [(float(vehicle.model.bodies[0]["mass"]), y[:3])]
    forces = []
    for wheel, force in zip(parts.wheels, tyre, strict=True):
        hub = place(y, vehicle, 0, np.array([wheel[a] for a in "xyz"]))
        foot = place(y, vehicle, 0, np.array([wheel["foot_" + a] for a in "xyz"]))
        weights.append((float(wheel["mass"]), hub))
        forces += [(np.array([0.0, 0.0, force[2]]), hub), (np.array([force[0], force[1], 0.0]), foot)]
    seat = parts.occupants[0]
    at = place(y, vehicle, 0, np.array([seat[a] for a in "xyz"]))
    weights.append((0.73 * SEAT["mass_kg"], at))
    forces += [(-mass * (felt - np.array([0.0, 0.0, -gravity])), there) for mass, there in weights]
    total = sum(mass for mass, _ in weights) * (gravity + felt[2])
    # the rest is found to 1e-8 of the load
    assert np.abs(sum(force for force, _ in forces)).max() <= 1e-7 * total
    assert np.abs(sum(np.cross(there, force) for force, there in forces)).max() <= 1e-6 * total
    assert total == pytest.approx((600.0 + 4 * 30.0 + 75.0) * (gravity + felt[2]), rel=1e-12)
    assert tyre[:, 2].sum() == pytest.approx(total, rel=1e-7)


def _axle(bar: float) -> dict[str, Any]:
    """A body at the height of its wheels' centres, held along X and Y there: it rolls on springs alone."""
    raw = quarter_car()
    raw["body"][0]["centre_of_mass_mm"] = [0.0, 0.0, 300.0]
    raw["mount"][0] |= {"at_mm": [0.0, 0.0, 300.0], "torsional_stiffness_N_m_per_rad": [0.0, 1e5, 1e5]}
    corner = raw["wheel"][0] | {
        "suspension_preload_N": 1569.0,
        "tyre_lateral_stiffness_N_per_mm": 0.0,
        "tyre_longitudinal_stiffness_N_per_mm": 0.0,
    }
    raw["wheel"] = [
        corner | {"name": name, "at_mm": [0.0, y, 300.0]} for name, y in (("left", 650.0), ("right", -650.0))
    ]
    if bar:
        raw["anti_roll_bar"] = [{"name": "bar", "between": ["left", "right"], "stiffness_N_per_m": bar}]
    return raw


@pytest.mark.parametrize("bar", [0.0, 15e3])
def test_an_anti_roll_bar_adds_its_roll_stiffness(bar):
    # derived: ½·t²·k with k = (ks + 2·kb) in series with the tyre; bounce does not feel the bar
    _, axle = packed(_axle(bar))
    rest = AtRest(axle)
    slope = rest.slope(rest.equilibrium().displacement)
    track, spring = 1.3, SPRING + 2.0 * bar
    roll = 0.5 * track**2 * spring * TYRE / (spring + TYRE)
    assert -slope[3, 3] == pytest.approx(roll, rel=1e-6)
    assert -slope[2, 2] == pytest.approx(2.0 * SPRING * TYRE / (SPRING + TYRE), rel=1e-6)


def test_the_seat_feels_the_apparent_mass_of_its_occupant():
    # derived: M(ω) of two bodies on a frame; here as force of the cushion over acceleration of the frame
    raw = quarter_car()
    raw["occupant"] = [SEAT | {"at_mm": [0.0, 0.0, 700.0]}]
    _, quarter = packed(raw)
    sensor = (Sensor(name="seat", body="driver", at=(0.0, 0.0, 0.7)),)
    model = frequency_model(quarter, sensor)
    frequencies = np.array([0.5, 2.0, 4.5, 5.0, 7.5, 12.0, 20.0])
    found = []
    for turning in 2.0 * np.pi * frequencies:
        moved = model.displacement(turning, model.ground_at(turning)[:, 2])
        force = (60e3 + 1j * turning * 400.0) * (moved[2] - moved[quarter.frame_unknown(0)])
        found.append(force / model.sensors(turning, moved)[0, 2])
    assert np.array(found) == pytest.approx(apparent_mass(frequencies, 0.73 * 75.0), rel=1e-5)
    # derived: what a mass m on a spring carries of the frame's motion z is m·z₁/z
    turning, by_hand = 2j * np.pi * frequencies, np.full(len(frequencies), FRAME, complex)
    for m, k, c in (FIRST, SECOND):
        by_hand += m * (k + turning * c) / (m * turning**2 + turning * c + k)
    assert apparent_mass(frequencies, FITTED_MASS) == pytest.approx(by_hand, rel=1e-12)


def test_a_wheel_that_is_too_stiff_is_named():
    case, vehicle = packed(car())
    assert vehicle.model.parts is not None
    stepper = start_stepper(state_at(vehicle, np.zeros((1, 6))), vehicle.model, 1e-5)
    stepper.tally[3] = vehicle.model.parts.at + 3
    line = str(explain_failure(STEP_TOO_SMALL, stepper, vehicle, case))
    assert "speed of wheel 'front right'" in line and "check stiffness and damping of [[wheel]]" in line


def test_a_shaken_ground_reaches_a_car_on_wheels():
    # far below its modes a car goes with the ground: acceleration one, of the seat too
    raw = car()
    rack = {"name": "rack", "mass_kg": 20.0, "centre_of_mass_mm": [0.0, 0.0, 900.0]}
    raw["body"].append(rack | {"inertia_kg_m2": [1.0, 1.0, 1.0, 0.0, 0.0, 0.0]})
    turning = {"torsional_stiffness_N_m_per_rad": [1e5, 1e5, 1e5], "stiffness_N_per_mm": [200.0, 200.0, 200.0]}
    raw["mount"] = [{"name": "foot", "between": ["chassis", "rack"], "at_mm": [0.0, 0.0, 900.0], **turning}]
    raw["sensor"] = [{"name": "seat", "body": "driver", "at_mm": [100.0, 300.0, 500.0]}]
    found = force_response(as_file(raw), np.array([0.05]), Shake("ground", "Z"))
    assert abs(found.sensor[0, 0, 2]) == pytest.approx(1.0, abs=0.01)
    assert abs(found.mount[0, 0, 2]) == pytest.approx(20.0, rel=0.01)  # N per m/s²: what carries the rack along
