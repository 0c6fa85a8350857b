"""Driving over roads against derivations of their own: the contact's filter, delay, a quarter car, a flat road."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicSpline, PPoly

from tests.cases import CONFIGS, as_file, packed
from tests.road_cases import ROUGH, quarter_over, run_over, vehicle_over
from tests.vehicle_cases import car
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case
from vibsim.solver.packed import pack
from vibsim.solver.road import contact_lengths, on_road
from vibsim.solver.start import equilibrium, error_control, state_at
from vibsim.solver.stepper import MOST_STEPS, advance, grid, no_grid, start_stepper
from vibsim.structure.road_profiles import felt
from vibsim.structure.vertical_parts import road_under
from vibsim.studies.run import run_case

SPRUNG, UNSPRUNG, SPRING, PRELOAD, TYRE, DAMPER, TYRE_DAMPER = 320.0, 30.0, 22e3, 2900.0, 190e3, 1000.0, 100.0
GRAVITY = 9.80665


def _seen(model, wheel: int, distance: np.ndarray) -> np.ndarray:
    parts = model.parts
    row = parts.wheels[wheel]
    return np.array([road_under(parts.road, row["ahead"], row["track"], d)[0] for d in distance])


@pytest.mark.parametrize("waves_in_contact", [0.1, 0.5, 0.9, 1.0, 1.5])
def test_the_contact_filters_a_sine_by_its_sinc(waves_in_contact):
    # closed form of a moving average over c: sin(πnc)/(πnc)
    contact, wave = 0.15, 0.15 / waves_in_contact
    x = np.linspace(0.0, 40.0 * wave, 40 * 60 + 1)
    sine = CubicSpline(x, np.sin(2.0 * np.pi * x / wave))
    at = np.linspace(10.0 * wave, 30.0 * wave, 500)
    height, slope = felt(PPoly(sine.c, sine.x), contact, at)
    share = float(np.sinc(waves_in_contact))
    # the cubics are good to (2π/60)⁴/384 of a wave
    assert height == pytest.approx(share * np.sin(2.0 * np.pi * at / wave), abs=1e-6)
    assert slope * wave == pytest.approx(share * 2.0 * np.pi * np.cos(2.0 * np.pi * at / wave), abs=1e-4)


def test_a_step_is_climbed_over_the_length_of_contact():
    raw = quarter_over({"profile": "step", "height_mm": 40.0, "at_m": 2.0}, contact_mm=200.0)
    case, quarter = packed(raw)
    driven = on_road(case, case.run, quarter)
    at = np.array([0.0, 1.88, 1.95, 2.0, 2.05, 2.12, 9.0])
    # between points 12.5 mm apart the two corners are rounded
    assert _seen(driven.packed.model, 0, at) == pytest.approx([0, 0, 0.01, 0.02, 0.03, 0.04, 0.04], abs=1e-9)


def test_rear_wheels_meet_the_road_of_the_front_a_wheelbase_later():
    raw = car(contact_length_mm=140.0) | {"run": run_over(ROUGH | {"tracks": "alike"})}
    case = build_case(raw)
    driven = on_road(case, case.run, pack(case, CONFIGS))
    wheelbase = 1.3 + 1.2
    distance = np.linspace(30.0, 35.0, 777)
    front, rear = (_seen(driven.packed.model, n, distance + w) for n, w in ((0, 0.0), (2, wheelbase)))
    np.testing.assert_allclose(rear, front, rtol=0.0, atol=1e-12)  # rounding of the place alone
    assert np.ptp(front) > 5e-3
    assert driven.run_in == pytest.approx(2.0 + wheelbase / 10.0)
    assert _seen(driven.packed.model, 0, np.array([-10.0, 0.0])) == pytest.approx([0.0, 0.0], abs=1e-6)


def test_a_contact_not_given_is_the_chord_of_the_pressed_in_circle():
    case = build_case(car() | {"run": run_over(ROUGH)})
    found = pack(case, CONFIGS)
    y = state_at(found, equilibrium(found).displacement)
    wheel = found.model.parts.wheels[0]
    depth = wheel["height"] - y[wheel["state"]]
    half = math.sqrt(0.3**2 - (0.3 - depth) ** 2)  # Pythagoras
    assert contact_lengths(case, found)[0] == pytest.approx(2.0 * half, rel=1e-9)


def _bump_mean(x: float, height: float, length: float, begin: float, contact: float) -> tuple[float, float]:
    """Closed form of a half sine's mean over a contact, and its slope."""

    def whole(s: float) -> float:
        inside = min(max(s - begin, 0.0), length)
        return height * length / math.pi * (1.0 - math.cos(math.pi * inside / length))

    def at(s: float) -> float:
        return height * math.sin(math.pi * (s - begin) / length) if begin < s < begin + length else 0.0

    ends = x + 0.5 * contact, x - 0.5 * contact
    return (whole(ends[0]) - whole(ends[1])) / contact, (at(ends[0]) - at(ends[1])) / contact


def test_a_quarter_car_over_a_bump_moves_as_scipy_has_it():
    speed, bump = 10.0, {"height": 0.03, "length": 0.8, "begin": 1.0, "contact": 0.15}
    case, quarter = packed(quarter_over({"profile": "bump", "height_mm": 30.0, "length_m": 0.8, "at_m": 1.0}))
    driven = on_road(case, case.run, quarter).packed
    y = state_at(driven, equilibrium(driven).displacement)
    stepper = start_stepper(y, driven.model, 1e-5)
    points = grid(0.0, 1e-3, 1001, driven.state_size)
    control = error_control(driven, 1e-9, MOST_STEPS)
    assert advance(stepper, driven.model, control, 1.0, math.inf, points, no_grid()) == 0

    def rates(t: float, s: np.ndarray) -> np.ndarray:
        road, slope = _bump_mean(speed * t, **bump)
        travel, rate = s[1] - s[0], s[3] - s[2]
        up = PRELOAD + SPRING * travel + DAMPER * rate
        depth, closing = road - s[1], slope * speed - s[3]
        push = max(TYRE * depth + TYRE_DAMPER * closing, 0.0) if depth > 0.0 else 0.0
        return np.array([s[2], s[3], up / SPRUNG - GRAVITY, (push - up) / UNSPRUNG - GRAVITY])

    sag = (SPRUNG + UNSPRUNG) * GRAVITY / TYRE
    rest = [-sag - (SPRUNG * GRAVITY - PRELOAD) / SPRING, -sag, 0.0, 0.0]
    found = solve_ivp(rates, (0.0, 1.0), rest, t_eval=points.times, rtol=1e-9, atol=1e-11, max_step=2e-3)
    ours = np.stack([points.states[:, 2] - 0.6, points.states[:, driven.model.parts.at] - 0.3], axis=1)
    # cubics over 9 mm of the road (1e-7 m), corners of the bump within one of them
    assert ours == pytest.approx(found.y[:2].T, abs=2e-6)
    assert np.ptp(ours[:, 1]) > 0.02


def test_a_road_file_is_followed_by_track(tmp_path):
    (tmp_path / "road.csv").write_text(
        "distance_m,left_height_mm,right_height_mm\n5,1,2\n6,1,2\n7,11,2\n30,11,2\n", encoding="utf-8"
    )
    case = build_case(car(contact_length_mm=100.0) | {"run": run_over({"profile": "file", "file": "road.csv"})})
    model = on_road(case, case.run, pack(case, tmp_path)).packed.model
    at = np.array([0.5, 1.5, 2.0, 3.0])
    # on its straight lines the mean is the height; at a corner an eighth of contact times bend less
    assert _seen(model, 0, at) == pytest.approx([0.0, 0.005, 0.01 - 0.01 * 0.1 / 8.0, 0.01], abs=1e-9)
    assert _seen(model, 1, at) == pytest.approx(np.zeros(4), abs=1e-12)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("distance_m,height_mm\n0,0\n5,1\n4,0\n50,0\n", "line 4: distance must rise"),
        ("distance_m,height_mm\n0,0\n5,1\n", "is 5 m long; the record drives over 10 m"),
        ("distance_m,level_mm\n0,0\n50,1\n", "must have one column height_mm"),
        ("distance_m,height_mm\n0,0\n", "has 1 points"),
    ],
)
def test_a_bad_road_file_is_named(tmp_path, text, line):
    (tmp_path / "road.csv").write_text(text, encoding="utf-8")
    case = build_case(quarter_over({"profile": "file", "file": "road.csv"}))
    with pytest.raises(InputError) as caught:
        on_road(case, case.run, pack(case, tmp_path))
    assert line in str(caught.value) and str(caught.value).startswith("run.road.file: ")


def test_a_road_with_too_many_points_is_refused():
    case, quarter = packed(quarter_over({"profile": "bump", "height_mm": 3.0, "length_m": 0.001}, duration_s=1000.0))
    with pytest.raises(InputError, match=r"run\.duration: 1000 s is 1e\+04 m of road"):
        on_road(case, case.run, quarter)


def test_on_a_flat_road_a_run_is_a_steady_run():
    raw = vehicle_over({"profile": "step", "height_mm": 50.0, "at_m": 1000.0}, duration_s=0.3)
    flat = run_case(as_file(raw))
    steady = vehicle_over({}, duration_s=0.3)
    del steady["run"]["road"], steady["run"]["vehicle_speed_km_per_h"]
    steady["run"]["kind"] = "steady"
    same = run_case(as_file(steady))
    assert not flat["road_height"].any() and "road_height" not in same
    for name in ("sensor_acceleration", "mount_force", "tyre_force"):
        # the load grows with the crank's speed, which swings by some per cent: that much of the swing
        swing = np.ptp(same[name], axis=0).max()
        assert np.abs(flat[name] - same[name]).max() < 0.02 * swing


def test_a_rough_road_reaches_tyres_and_seat_and_repeats_by_its_seed():
    raw = vehicle_over(ROUGH | {"run_in_s": 0.2}, duration_s=1.0)
    found, again = run_case(as_file(raw)), run_case(as_file(raw))
    np.testing.assert_array_equal(found["sensor_acceleration"], again["sensor_acceleration"])
    assert found["crank_angle"][0] == 0.0 and found["time"].size == 1001
    assert np.ptp(found["road_height"], axis=0).min() > 2e-3
    road = found.groups["road"]
    assert road.attributes["road_class"] == "C" and road["force_rms"].min() > 50.0
    assert road["force_mean"].sum() == pytest.approx((62.0 + 600.0 + 120.0 + 75.0) * GRAVITY, rel=0.03)
    assert found.groups["exposure"]["a8"][0] > 0.1
    flat = vehicle_over({"profile": "step", "height_mm": 0.0, "at_m": 1000.0})
    assert found["exposure/a8"][0] > 3.0 * run_case(as_file(flat))["exposure/a8"][0]
