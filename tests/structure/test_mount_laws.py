"""Each mount law against its closed form or an independent derivation."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.interpolate import PchipInterpolator

from tests.mount_cases import HYDRAULIC, LAWS, law_mount, model, on_ground, write_curve
from vibsim.inputs.loader import build_case
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.packed import STATES_PER_BODY, pack
from vibsim.solver.start import state_at
from vibsim.structure.bouc_wen import loop_energy, loop_stiffness, turning_point
from vibsim.structure.loss_chain import loss_chain
from vibsim.structure.mount_dynamics import alone, drive, driven_stiffness, dynamic_stiffness

MM = 1e-3


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_curve(tmp_path)
    return tmp_path


def still(law: str, d: list[float], folder: Path, speed: float = 0.0, **changes) -> np.ndarray:
    """Force that deflects a mount held at d (mm)."""
    held = np.tile(MM * np.array(d), (3, 1))
    return -drive(alone(model(law_mount(law, **changes)), folder), held, 0.0 * held, 1e-4, speed)[0]


def test_bump_stop_is_linear_in_its_gap_and_stiff_beyond_its_onset(folder: Path) -> None:
    """Derived: the integral of 3s² − 2s³ over the onset is half of it; beyond, the whole stiffness."""
    inside, _, _ = still("bump_stop", [2.9, 0.0, 0.0], folder)
    assert inside == pytest.approx(200.0 * 2.9, rel=1e-12)
    beyond, _, other = still("bump_stop", [6.0, 0.0, -4.0], folder)
    assert beyond == pytest.approx(200.0 * 6.0 + 600.0 * (3.0 - 0.75), rel=1e-12)
    assert other == pytest.approx(-250.0 * 4.0 - 500.0 * (3.0 - 0.75), rel=1e-12)
    onset = [still("bump_stop", [3.0 + s, 0.0, 0.0], folder)[0] - 200.0 * (3.0 + s) for s in np.linspace(0, 1.5, 7)]
    exact = [quad(lambda x: 600.0 * (3 * (x / 1.5) ** 2 - 2 * (x / 1.5) ** 3), 0, s)[0] for s in np.linspace(0, 1.5, 7)]
    assert onset == pytest.approx(exact, rel=1e-9, abs=1e-9)


def test_measured_curve_is_met_monotone_and_goes_on_with_its_end_slope(folder: Path) -> None:
    data = np.loadtxt(folder / "force-deflection.csv", delimiter=",", skiprows=1)
    places = np.linspace(-10.0, 12.0, 60)
    found = np.array([still("table", [x, 0.0, x], folder)[[0, 2]] for x in places])
    for column in range(2):
        assert found[:, column] == pytest.approx(PchipInterpolator(data[:, 0], data[:, column + 1])(places), rel=1e-9)
    slope = PchipInterpolator(data[:, 0], data[:, 1]).derivative()(12.0)
    beyond, across, _ = still("table", [15.0, 2.0, 0.0], folder)
    assert beyond == pytest.approx(data[-1, 1] + 3.0 * slope, rel=1e-9)
    assert across == pytest.approx(150.0 * 2.0, rel=1e-12)  # no column: the stiffness


def test_torque_rod_pulls_along_its_line_alone(folder: Path) -> None:
    """Two bushings in series; of a move across the line only the elongation by geometry is felt."""
    line = np.array(LAWS["torque_rod"]["to_mm"])
    unit = line / np.linalg.norm(line)
    assert still("torque_rod", list(2.0 * unit), folder) == pytest.approx(2.0 * 200.0 * unit, rel=1e-9)
    across = np.cross(unit, [0.0, 0.0, 1.0])
    longer = math.hypot(np.linalg.norm(line), 5.0) - np.linalg.norm(line)
    force = still("torque_rod", list(5.0 * across / np.linalg.norm(across)), folder)
    assert np.linalg.norm(force) == pytest.approx(200.0 * longer, rel=1e-9)


@pytest.mark.parametrize(("rpm", "stiffness"), [(0.0, 100.0), (1500.0, 100.0), (4000.0, 300.0), (9000.0, 300.0)])
def test_scheduled_rates_follow_the_speed_and_hold_beyond_the_table(rpm: float, stiffness: float, folder: Path) -> None:
    force = still("scheduled", [1.0, 0.0, 0.0], folder, rpm * math.pi / 30.0)
    assert force[0] == pytest.approx(stiffness, rel=1e-12)


def test_cross_stiffness_is_the_matrix_given(folder: Path) -> None:
    matrix = np.array([[200.0, 40.0, -30.0], [40.0, 150.0, 20.0], [-30.0, 20.0, 250.0]])
    d = np.array([1.0, -2.0, 3.0])
    assert still("linear", list(d), folder) == pytest.approx(matrix @ d, rel=1e-12)


def complex_modulus(frequency: float, stiffness: float) -> complex:
    """Tschoegl 1989, from memory: k·(1 + Σ r·iωτ/(1 + iωτ))."""
    turn = 2j * math.pi * frequency * np.array([8e-3, 1e-3])
    return stiffness * (1.0 + np.sum(np.array([0.3, 0.5]) * turn / (1.0 + turn)))


def forced(raw: dict, folder: Path, amplitude: float, frequency: float, cycles: int) -> complex:
    """Complex stiffness along Z from the solver's own equations: the body moved as a sine, its mount's states left to
    them, the force read from the rate of its momentum."""
    case = build_case(on_ground(raw))
    packed = pack(case, folder)
    model_, first = packed.model, STATES_PER_BODY
    count, turn, mass = len(packed.more_states), 2.0 * math.pi * frequency, case.body[0].mass
    y, (w, e), out = state_at(packed, np.zeros((1, 6))), scratch(1), np.zeros(packed.state_size)

    def rates(t: float, z: np.ndarray) -> np.ndarray:
        y[2], y[9] = amplitude * math.sin(turn * t), mass * amplitude * turn * math.cos(turn * t)
        y[first : first + count] = z
        derivatives(y, model_, w, e, out)
        return out[first : first + count].copy()

    phase = np.linspace(cycles - 1.0, cycles, 201)[:-1]
    scale = np.array([state.floor for state in packed.more_states])
    rest = y[first : first + count].copy()
    done = solve_ivp(rates, (0.0, cycles / frequency), rest, "DOP853", phase / frequency, rtol=1e-9, atol=1e-10 * scale)
    forces = []
    for t, z in zip(done.t, done.y.T, strict=True):
        rates(t, z)
        forces.append(out[9] + mass * 9.80665)  # the rate of momentum less the weight
    return complex(-2j * np.mean(np.array(forces) * np.exp(-2j * math.pi * phase)) / amplitude)


@pytest.mark.parametrize("frequency", [3.0, 20.0, 90.0])
def test_long_sine_through_the_solver_gives_the_closed_form_of_relaxation(frequency: float, folder: Path) -> None:
    found = forced(law_mount("relaxation"), folder, 1e-4, frequency, cycles=30)
    assert found == pytest.approx(complex_modulus(frequency, 250e3), rel=1e-6)


def fluid_stiffness(frequency: np.ndarray) -> np.ndarray:
    """CHECKS section 8, form of Singh, Kim and Ravindra 1992, from memory."""
    s = 2j * math.pi * np.asarray(frequency)
    area, c1, c2, inertance, loss = 2.5e-3, 3e-11, 2.6e-9, 3.8e6, 1.05e8
    own = inertance * s**2 + loss * s
    return 225e3 + area**2 / c1 * (own + 1.0 / c2) / (own + 1.0 / c1 + 1.0 / c2)


def test_hydraulic_mount_has_the_notch_and_peak_of_its_closed_form() -> None:
    """CHECKS section 8, derived: |K| least 154.017 N/mm at 9.634 Hz, greatest 874.317 at 15.807; loss angle 86.483° at
    12.737 Hz; K(0) 227.3764 N/mm."""
    frequency = np.linspace(0.1, 100.0, 99_901)
    raw = law_mount("hydraulic", **HYDRAULIC)
    for key in [key for key in raw if key.startswith(("decoupler", "track_quadratic"))]:
        raw.pop(key)
    found = dynamic_stiffness(model(raw), frequency)[:, 2, 2]
    assert found == pytest.approx(fluid_stiffness(frequency), rel=1e-7)
    size, angle = 1e-3 * np.abs(found), np.degrees(np.angle(found))
    assert (frequency[size.argmin()], size.min()) == pytest.approx((9.634, 154.017), rel=1e-4)
    assert (frequency[size.argmax()], size.max()) == pytest.approx((15.807, 874.317), rel=1e-4)
    assert (frequency[angle.argmax()], angle.max()) == pytest.approx((12.737, 86.483), rel=2e-4)
    at_rest = dynamic_stiffness(model(raw), 1e-6)[2, 2]
    assert at_rest == pytest.approx(227.3764e3, rel=1e-6)


def test_long_sine_through_the_solver_gives_the_closed_form_of_the_fluid(folder: Path) -> None:
    raw = {key: value for key, value in law_mount("hydraulic").items() if not key.startswith(("decoup", "track_quad"))}
    found = forced(raw, folder, 1e-4, 12.0, cycles=40)
    assert found == pytest.approx(complex(fluid_stiffness(np.array(12.0))), rel=1e-6)


def test_decoupler_frees_the_fluid_at_small_amplitude_and_not_at_large() -> None:
    """Far above the track's resonance the fluid can only pass the plate: soft within its free travel, as stiff as the
    closed chamber with its seats beyond."""
    mount = alone(model(law_mount("hydraulic")), Path())
    small, large = (abs(driven_stiffness(mount, 60.0, x * MM, 2, np.zeros(3))) for x in (0.02, 2.0))
    assert small < 290e3
    assert large > 390e3


@pytest.mark.parametrize("exponent", [1.0, 2.0, 1.5])
@pytest.mark.parametrize("share", [0.5, 1.0, 4.0])
def test_bouc_wen_loop_loses_the_energy_of_its_closed_form(exponent: float, share: float) -> None:
    """Closed forms of the rising branch, derived: for n = 1 z = u(1 − e^{−s/u}), for n = 2 z = u·tanh(s/u)."""
    k, u = 150e3, 0.4 * MM
    amplitude = share * u
    z = turning_point(u, exponent, amplitude)
    energy = loop_energy(k, u, exponent, amplitude)
    s = 2.0 * amplitude - z
    if exponent == 1.0:
        assert energy == pytest.approx(2.0 * k * (u * s - u * z - z * z / 2.0), rel=1e-9)
    if exponent == 2.0:
        assert energy == pytest.approx(2.0 * k * (u * u * math.log(math.cosh(s / u)) - z * z / 2.0), rel=1e-9)
    raw = law_mount("friction", exponent=exponent, stiffness_N_per_mm=[0.0, 0.0, 0.0])
    count, cycles = 2000, 30  # the loop comes to its middle over some cycles
    phase = np.linspace(0.0, 2.0 * math.pi * cycles, 2 * cycles * count + 1)
    motion, rate = np.zeros((phase.size, 3)), np.zeros((phase.size, 3))
    motion[:, 2], rate[:, 2] = amplitude * np.sin(phase), amplitude * np.cos(phase)
    force = -drive(alone(model(raw), Path()), motion, rate, 2.0 * math.pi / count)[-count - 1 :, 2]
    lost = np.trapezoid(force, motion[::2, 2][-count - 1 :])
    assert lost == pytest.approx(energy, rel=1e-4)  # of the integration: kinks between steps
    equal = loop_stiffness(k, u, exponent, amplitude)
    assert equal.imag == pytest.approx(energy / (math.pi * amplitude**2), rel=1e-9)
    turn = np.exp(-1j * phase[::2][-count:])
    driven = 2j * np.mean(force[1:] * turn) / amplitude
    assert equal == pytest.approx(complex(driven), rel=1e-3)


def test_loss_chain_keeps_the_loss_factor_over_its_band() -> None:
    """What is reported is what the mount does: error within the band, stiffness as given at its middle."""
    chain = loss_chain(0.2, (5.0, 200.0), 3)
    frequency = np.geomspace(5.0, 200.0, 61)
    found = dynamic_stiffness(model(law_mount("loss_factor")), frequency)[:, 2, 2]
    worst = np.abs(found.imag / found.real / 0.2 - 1.0).max()
    assert worst == pytest.approx(chain.error, rel=1e-6)
    assert worst < 0.06  # three elements ripple by a twentieth; measured once, as a bound
    middle = dynamic_stiffness(model(law_mount("loss_factor")), math.sqrt(1000.0))[2, 2]
    assert middle.real == pytest.approx(250e3, rel=1e-6)
    assert found.real[[0, -1]] / 250e3 == pytest.approx(chain.rise, rel=1e-6)


@pytest.mark.parametrize("law", [law for law in LAWS if law not in ("friction", "hydraulic", "torque_rod")])
def test_dynamic_stiffness_is_that_of_a_small_driven_motion(law: str, folder: Path) -> None:
    """At a preload and a speed, along z, against the law driven in the time domain."""
    mount, preload, speed = model(law_mount(law)), np.array([0.5, -0.4, 0.8]) * MM, 314.0
    found = dynamic_stiffness(mount, 40.0, preload, folder, speed=speed)[2, 2]
    packed, amplitude, count, cycles = alone(mount, folder), 1e-6, 400, 12
    phase = np.linspace(0.0, 2.0 * math.pi * cycles, 2 * cycles * count + 1)
    motion, rate = np.tile(preload, (phase.size, 1)), np.zeros((phase.size, 3))
    motion[:, 2] += amplitude * np.sin(phase)
    rate[:, 2] = 80.0 * math.pi * amplitude * np.cos(phase)
    force = -drive(packed, motion, rate, 1.0 / (40.0 * count), speed)[-count:, 2]
    driven = 2j * np.mean(force * np.exp(-1j * phase[::2][-count:])) / amplitude
    assert found == pytest.approx(complex(driven), rel=1e-5)
