"""Torque over crank angle and speed against independent derivations and a run."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline

from tests import cases
from tests.conftest import DEMO
from vibsim.engine.cycle import solve_cycle
from vibsim.engine.layout import resolve_layout
from vibsim.engine.operating_point import operating_point
from vibsim.engine.volume import cylinder_volume
from vibsim.inputs.charging_models import DrivenCharging, ElectricCharging, TurbineCharging
from vibsim.inputs.loader import CaseFile, build_case, load_case
from vibsim.post.torque import ripple_of, torque_group
from vibsim.solver.crank_torque import torque_course
from vibsim.solver.packed import pack
from vibsim.studies.charging_choices import with_charging
from vibsim.studies.torque_curve import peak_of, torque_curves, torque_point

RPM = math.pi / 30.0
SPEED = 4000.0 * RPM
CHARGING = {
    "electric": ElectricCharging(source="electric", boost_pressure=33e3),
    "exhaust_turbine": TurbineCharging(source="exhaust_turbine", boost_pressure=33e3),
    "engine_driven": DrivenCharging(source="engine_driven", boost_pressure=33e3),
}


@cache
def demo() -> CaseFile:
    return load_case(DEMO)


def odd_engine() -> CaseFile:
    """Three unlike cylinders with pin offsets and a balance shaft each way, burning petrol."""
    raw = cases.skewed()
    raw["engine"]["gas"] = {"source": "cycle"}
    raw["engine"]["firing_order"] = ["1", "2", "3"]
    raw["engine"]["accessory"] = cases.accessories()
    raw["engine"]["friction"] = {"mean_effective_pressure_bar": 0.8}
    raw["run"] = {"kind": "steady", "speed_rpm": 4000.0, "load": 0.7}
    return CaseFile(build_case(raw), text="", folder=cases.CONFIGS, name="odd")


def slope(values: np.ndarray, period: float) -> np.ndarray:
    """Derivative of what repeats after `period`, by its Fourier series."""
    order = np.fft.fftfreq(len(values), period / (2.0 * math.pi * len(values)))
    found = np.fft.ifft(1j * order * np.fft.fft(values))
    return found if np.iscomplexobj(values) else found.real


def by_hand(case_file: CaseFile, speed: float, load: float, angles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Gas torque from pressures times the slope of volumes, and inertia torque from the slope of the kinetic energy of
    pistons and rods, ½Σ m|v|² + ½ΣI·β'², both differentiated numerically (N m at angles over one cycle)."""
    engine = case_file.case.engine
    layout = resolve_layout(engine)
    gas, energy = np.zeros_like(angles), np.zeros_like(angles)
    for cylinder, given in zip(layout.cylinders, engine.cylinder, strict=True):
        cycle = solve_cycle(engine, cylinder, speed, load)
        pressure = CubicHermiteSpline(cycle.angle, cycle.pressure, cycle.pressure_slope)
        own = angles - cylinder.firing
        volume = cylinder_volume(cylinder, own)[0]
        gas += (pressure(own % layout.cycle) - engine.gas.ambient_pressure) * slope(volume, layout.cycle)
        # places in the plane of the crank turned so that the cylinder stands along the real axis
        pin = cylinder.radius * np.exp(1j * (angles + cylinder.pin - cylinder.bank))
        across = cylinder.offset - pin.imag
        wrist = pin.real + np.sqrt(cylinder.rod_length**2 - across**2) + 1j * cylinder.offset
        rod, piston = given.rod or engine.rod, given.piston or engine.piston
        middle = pin + rod.centre_of_mass / cylinder.rod_length * (wrist - pin)
        tilt = np.unwrap(np.angle(wrist - pin))
        energy += 0.5 * piston.mass * np.abs(slope(wrist, layout.cycle)) ** 2
        energy += 0.5 * rod.mass * np.abs(slope(middle, layout.cycle)) ** 2
        energy += 0.5 * rod.inertia * slope(tilt, layout.cycle) ** 2
    return gas, -slope(energy, layout.cycle) * speed**2


@pytest.mark.parametrize("rpm", [1500.0, 6000.0])
@pytest.mark.parametrize("make", [demo, odd_engine])
def test_course_is_that_of_volumes_and_kinetic_energy(make, rpm):
    """Derived: power of the gas p·dV/dt; constant speed takes the change of the parts' kinetic energy from it."""
    case_file, speed = make(), rpm * RPM
    run = case_file.case.run.model_copy(update={"speed": speed, "load": 0.7})
    packed = pack(case_file.case.model_copy(update={"run": run}), case_file.folder)
    course = torque_course(packed, speed)
    gas, inertia = by_hand(case_file, speed, 0.7, course.angle)
    # the same cubics between nodes, series exact to rounding; pressures of large numbers leave 1e-9 of the greatest
    assert course.gas == pytest.approx(gas, abs=1e-7 * np.abs(gas).max())
    assert course.inertia == pytest.approx(inertia, abs=1e-7 * np.abs(inertia).max())
    state = operating_point(case_file.case.engine, case_file.folder, speed, 0.7)
    losses = state.friction_torque + state.accessory_torque
    assert course.losses == pytest.approx(losses, rel=1e-9)
    assert course.net == pytest.approx(gas + inertia - losses, abs=1e-6 * np.abs(gas).max())


@pytest.mark.parametrize("load", [0.3, 1.0])
@pytest.mark.parametrize("source", ["none", *CHARGING])
def test_mean_of_the_course_is_the_brake_torque(source, load):
    """Independent: the cycle integrates its work as it goes, the course sums 1440 pressures; inertia means nothing."""
    case_file = demo() if source == "none" else with_charging(demo(), CHARGING[source])
    point = torque_point(case_file, SPEED, load)
    state = operating_point(case_file.case.engine, case_file.folder, SPEED, load)
    assert point.torque == state.brake_torque
    assert point.power == state.brake_power
    assert point.mean_pressure == pytest.approx(state.brake_mean_pressure, rel=1e-12)
    assert point.ripple.mean == pytest.approx(state.brake_torque, abs=1e-4 * state.indicated_torque)


def test_orders_hold_the_whole_ripple():
    """Parseval: half the sum of squared amplitudes is the mean square; the strongest is named with its amplitude."""
    packed = pack(demo().case, demo().folder)
    net = torque_course(packed, SPEED).net
    ripple = ripple_of(net, packed.cycle)
    amplitude = 2.0 * np.abs(np.fft.rfft(net))[1:] / len(net)
    amplitude[-1] *= 0.5  # the last line is its own mirror
    assert 0.5 * (amplitude**2).sum() + 0.5 * amplitude[-1] ** 2 == pytest.approx(ripple.rms**2, rel=1e-12)
    assert ripple.amplitude == pytest.approx(amplitude.max(), rel=1e-12)
    assert ripple.order == (1 + int(amplitude.argmax())) / 2.0
    assert (ripple.least, ripple.greatest) == (net.min(), net.max())


def test_ripple_of_known_waves():
    angles = np.linspace(0.0, 4.0 * math.pi, 1440, endpoint=False)
    ripple = ripple_of(10.0 + 3.0 * np.cos(1.5 * angles) + 2.0 * np.sin(2.0 * angles), 4.0 * math.pi)
    assert (ripple.order, ripple.amplitude) == (1.5, pytest.approx(3.0))
    assert (ripple.mean, ripple.rms) == (pytest.approx(10.0), pytest.approx(math.sqrt(0.5 * (9.0 + 4.0))))
    assert ripple.greatest_over_mean == pytest.approx(ripple.greatest / 10.0)
    # equal amplitudes: the lower order is named; a two-stroke's cycle is one turn
    equal = ripple_of(np.cos(angles / 2.0) + np.cos(angles) * (1.0 + 1e-9) - 1.0, 2.0 * math.pi)
    assert equal.order == 0.25 * 4.0 / 2.0 * 2.0
    assert equal.greatest_over_mean is None


def test_a_run_swings_as_the_course_does(demo_results):
    """What constant speed leaves out: inertia torque goes with the squared speed, which varies by twice the
    fluctuation, and pistons and rods take their share of the felt inertia of what speeds the crank up (derived)."""
    group, run = torque_group(demo_results), demo().case.run
    net = list(group["torque"]).index("net")
    point = torque_point(demo(), run.speed, run.load)
    packed = pack(demo().case, demo().folder)
    felt = torque_course(packed, run.speed).felt
    taken = 1.0 - packed.model.train.rotor_inertia / felt.max()
    allowed = taken + 2.0 * group.attributes["speed_fluctuation"]
    assert allowed < 0.1
    swing = point.ripple.greatest - point.ripple.least
    assert swing == pytest.approx(group["swing"][net], rel=allowed)
    assert point.ripple.rms == pytest.approx(group["rms"][net], rel=allowed)
    assert group["mean"][net] == pytest.approx(point.torque, rel=2e-3)  # friction and gas at the uneven speed


def test_more_load_gives_more_torque():
    curves = torque_curves(demo(), speeds=np.array([2000.0, 5000.0, 8000.0]) * RPM)
    assert [line.load for line in curves.lines] == [1.0, 0.75, 0.5, 0.25]
    torque = np.array([line.torque for line in curves.lines])
    assert (np.diff(torque, axis=0) < 0.0).all()
    for row, last in zip(curves.without_load, torque[-1], strict=True):
        assert row.cut < row.idle < last
        assert row.cut < 0.0


@pytest.mark.parametrize("own", ["none", "engine_driven"])
@pytest.mark.parametrize("charging", [False, True])
def test_lines_with_and_without_charging(own, charging):
    case_file = demo() if own == "none" else with_charging(demo(), CHARGING[own])
    curves = torque_curves(case_file, speeds=np.array([SPEED]), loads=[0.5], charging=charging)
    found = [(line.source, line.load) for line in curves.lines]
    every = [(source, 1.0) for source in ("none", *CHARGING)]
    other = [] if own == "none" else [("none", 1.0)]
    assert found == [(own, 0.5), *(every if charging else other)]
    if charging:
        assert "33 kPa above ambient" in curves.notes[0]


def test_a_knock_margin_is_kept_by_a_later_burn():
    free = torque_curves(demo(), speeds=np.array([2000.0 * RPM]), loads=[1.0]).main.points[0]
    kept = torque_curves(demo(), speeds=np.array([2000.0 * RPM]), loads=[1.0], margin=0.0).main.points[0]
    assert free.state.margin < -5.0
    assert kept.state.margin == pytest.approx(0.0, abs=0.05)
    assert kept.state.conditions.late > 0.0
    assert kept.torque < free.torque
    assert kept.ripple.mean == pytest.approx(kept.torque, abs=1e-4 * kept.state.indicated_torque)


def test_what_the_run_asks_for_does_not_matter():
    run = demo().case.run.model_copy(update={"torque": 20.0, "kind": "free"})
    asked = replace(demo(), case=demo().case.model_copy(update={"run": run}))
    without = replace(demo(), case=demo().case.model_copy(update={"run": None}))
    expected = torque_point(demo(), SPEED, 1.0)
    assert torque_point(asked, SPEED, 1.0).torque == expected.torque
    assert torque_point(without, SPEED, 1.0).ripple == expected.ripple


def test_peaks():
    x = np.array([1.0, 2.0, 4.0, 5.0])
    peak = peak_of(x, 7.0 - (x - 2.6) ** 2)
    assert (peak.speed, peak.value, peak.inside) == (pytest.approx(2.6), pytest.approx(7.0), True)
    assert peak_of(x, x).speed == 5.0
    assert not peak_of(x, x).inside
    assert peak_of(x[:1], x[:1]).value == 1.0
    assert peak_of(x, np.ones(4)).value == 1.0


def test_traces_give_the_torque_of_their_curves():
    """The folder's own speeds and loads; at a measured point the mean is that of the file's pressures."""
    case_file = load_case(cases.CONFIGS / "measured" / "single.toml")
    curves = torque_curves(case_file)
    assert [line.load for line in curves.lines] == [1.0, 0.3]
    assert curves.speeds[[0, -1]] / RPM == pytest.approx([1500.0, 4500.0])
    assert curves.without_load == ()
    assert all(point.state is None for line in curves.lines for point in line.points)
    assert curves.lines[0].torque.min() > curves.lines[1].torque.max() > 0.0
