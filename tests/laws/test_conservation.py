"""Momentum and energy of a run, against a model of the same engine made of particles alone."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.integrate import trapezoid
from scipy.spatial.transform import Rotation

from tests.cases import accessories, mount, packed, single, skewed
from vibsim.inputs.models import Body, Case, Engine
from vibsim.inputs.mount_models import ProgressiveMount
from vibsim.solver.invariants import kinetic_energy, momentum, weight_energy
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.observe import Observed, observe
from vibsim.solver.packed import STATES_PER_BODY, Packed
from vibsim.solver.start import equilibrium, error_control, state_at
from vibsim.solver.stepper import REACHED_TIME, advance, grid, no_grid, start_stepper
from vibsim.structure.rotation import matrix_of

TIGHT = 1e-9  # relative tolerance of the runs
TILTS = ([0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.3, 0.8, 0.1], [-0.5, 0.2, 0.9])
Parts = tuple[np.ndarray, np.ndarray]  # masses (n) kg and places (n, 3) m, vehicle axes as drawn


# the engine as particles: derived; equal mass, first and second moments make equal momentum and energy
def pair(mass: float, centre: np.ndarray, reach: np.ndarray, second: float = 1.0) -> list[tuple[float, np.ndarray]]:
    """Two particles of mass and second·mass at centre ± reach."""
    return [(mass, centre + reach), (second * mass, centre - reach)]


def block_parts(body: Body) -> list[tuple[float, np.ndarray]]:
    """Six particles on the principal axes with the body's mass, centre and inertia."""
    xx, yy, zz, xy, xz, yz = body.inertia
    inertia = np.array([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]])
    second, directions = np.linalg.eigh(0.5 * np.trace(inertia) * np.eye(3) - inertia)
    centre, parts = np.array(body.centre_of_mass), []
    for moment, direction in zip(second, directions.T, strict=True):
        parts += pair(body.mass / 6.0, centre, math.sqrt(3.0 * max(moment, 0.0) / body.mass) * direction)
    return parts


def engine_parts(engine: Engine, theta: float) -> list[tuple[float, np.ndarray]]:
    """Pistons, rods, crank, counterweights and shafts at crank angle theta (rad)."""
    x, z = (np.array(v) / np.linalg.norm(v) for v in (engine.crank_direction, engine.reference_direction))
    origin, parts = np.array(engine.origin), []

    def towards(angle: float) -> np.ndarray:
        return math.cos(angle) * z + math.sin(angle) * np.cross(x, z)

    def rotor(inertia: float, centre: np.ndarray, angle: float) -> None:
        """A ring that turns, less a line along its axis: inertia about the axis alone, no mass."""
        radius = 0.1
        for turn in (0.0, 0.5 * math.pi):
            parts.extend(pair(inertia / (4.0 * radius**2), centre, radius * towards(angle + turn)))
        parts.extend(pair(-inertia / (2.0 * radius**2), centre, radius / math.sqrt(2.0) * x))

    def eccentric(unbalance: float, centre: np.ndarray, angle: float) -> None:
        """A mass and its negative on the other side: first moment alone."""
        parts.extend(pair(unbalance / 0.1, centre, 0.05 * towards(angle), -1.0))

    for cylinder in engine.cylinder:
        rod, piston = cylinder.rod or engine.rod, cylinder.piston or engine.piston
        length, offset = cylinder.rod_length or engine.rod_length, cylinder.piston_pin_offset
        along, across = towards(cylinder.bank), towards(cylinder.bank + 0.5 * math.pi)
        pin = 0.5 * (cylinder.stroke or engine.stroke) * towards(theta + cylinder.pin)
        height = pin @ along + math.sqrt(length**2 - (offset - pin @ across) ** 2)
        wrist = height * along + offset * across
        place, line = origin + cylinder.at * x, (wrist - pin) / length
        parts.append((piston.mass, place + wrist))
        reach = math.sqrt(rod.inertia / rod.mass) * line
        parts += pair(0.5 * rod.mass, place + pin + rod.centre_of_mass * line, reach)
    rotor(engine.crank.inertia, origin, theta)
    for weight in engine.crank.counterweight:
        eccentric(weight.unbalance, origin + weight.at * x, theta + weight.angle)
    for shaft in engine.balance_shaft:
        centre = origin + shaft.at * x + shaft.position[0] * np.cross(z, x) + shaft.position[1] * z
        rotor(shaft.inertia, centre, shaft.ratio * theta)
        eccentric(shaft.unbalance, centre, shaft.ratio * theta + shaft.angle)
    for accessory in engine.accessory:
        rotor(accessory.inertia, origin, accessory.ratio * theta)
    return parts


def drawn_parts(case: Case, body: Body, theta: float) -> Parts:
    """Everything a body carries, moving_parts = "separate"."""
    parts = block_parts(body)
    if case.engine is not None and body.name == case.engine.body:
        parts = parts + engine_parts(case.engine, theta)
    return np.array([mass for mass, _ in parts]), np.array([place for _, place in parts])


def places(y: np.ndarray, case: Case, model: Packed) -> Parts:
    """All particles where the state puts them."""
    masses, points = [], []
    for b, body in enumerate(case.body):
        mass, drawn = drawn_parts(case, body, y[-2])
        at = STATES_PER_BODY * b
        turn = matrix_of(y[at + 3 : at + 7]) @ model.axes[b].T
        masses.append(mass)
        points.append(y[at : at + 3] + (drawn - model.centres[b]) @ turn.T)
    return np.concatenate(masses), np.concatenate(points)


def particle_motion(y: np.ndarray, case: Case, model: Packed) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Masses, places and velocities of all particles; velocities by a fourth-order difference along the motion."""
    w, e = scratch(len(model.names))
    rate, h = np.zeros(y.size), 1e-6  # a turn of 3e-4 rad: truncation 1e-15, rounding 1e-10 m/s
    derivatives(y, model.model, w, e, rate)
    rate[-1] = 0.0  # the places do not hang on the crank's momentum
    far, near = ((places(y + n * h * rate, case, model)[1] - places(y - n * h * rate, case, model)[1]) for n in (2, 1))
    return *places(y, case, model), (8.0 * near - far) / (12.0 * h)


def particle_momentum(y: np.ndarray, case: Case, model: Packed) -> np.ndarray:
    """Linear (N s) and angular momentum about the vehicle origin (N m s), six numbers."""
    mass, place, velocity = particle_motion(y, case, model)
    return np.concatenate([mass @ velocity, mass @ np.cross(place, velocity)])


# runs and energies
def run_states(model: Packed, y: np.ndarray, end: float, points: int) -> tuple[np.ndarray, np.ndarray]:
    """Times (points) from zero to `end` (s) and the states there."""
    stepper, times = start_stepper(y, model.model, 1e-5), grid(0.0, end / (points - 1), points, model.state_size)
    control = error_control(model, TIGHT, 1_000_000)
    beyond = end * (1.0 + 1e-9)  # so that the last point lies inside the last step
    assert advance(stepper, model.model, control, beyond, math.inf, times, no_grid()) == REACHED_TIME
    assert np.isfinite(times.states).all()
    return times.times, times.states


def start(case: Case, model: Packed) -> np.ndarray:
    assert case.run is not None
    static = case.run.start == "static"
    displacement = equilibrium(model).displacement if static else np.zeros((len(model.names), 6))
    return state_at(model, displacement, 0.0, case.run.speed)


def in_mount_axes(vectors: np.ndarray, case: Case, seen: Observed) -> np.ndarray:
    """Vectors (n, mount, 3) from vehicle axes into each mount's own, which turn with its first body."""
    names, out = [body.name for body in case.body], np.empty_like(vectors)
    for m, item in enumerate(case.mount):
        turn = Rotation.identity()
        if item.between[0] in names:
            turn = Rotation.from_rotvec(seen.body_rotation[:, names.index(item.between[0])])
        out[:, m] = (turn * Rotation.from_euler("xyz", item.axes)).inv().apply(vectors[:, m])
    return out


def spring_energy(case: Case, seen: Observed) -> np.ndarray:
    """Energy (J) in all mounts: ½·k·d², and k·d⁴/(12·d₂²) more where stiffness is k·(1 + (d/d₂)²)."""
    energy, deflection = np.zeros(len(seen.crank_angle)), in_mount_axes(seen.mount_deflection, case, seen)
    for m, item in enumerate(case.mount):
        d = deflection[:, m]
        energy += 0.5 * d**2 @ np.array(item.stiffness)
        if isinstance(item, ProgressiveMount):
            energy += d**4 @ (np.array(item.stiffness) / (12.0 * np.array(item.doubling_deflection) ** 2))
    return energy


def total_energy(states: np.ndarray, case: Case, model: Packed, seen: Observed) -> np.ndarray:
    moving = np.array([kinetic_energy(y, model) + weight_energy(y, model) for y in states])
    return moving + spring_energy(case, seen)


# cases
def separate(raw: dict[str, Any], **run: Any) -> dict[str, Any]:
    raw["body"][0]["moving_parts"] = "separate"
    raw["run"] |= run
    return raw


def mounted(crank: list[float], law: str, damping: float = 0.0, **run: Any) -> dict[str, Any]:
    """The skewed engine on four unlike mounts at odd angles, crank along `crank`, gravity on."""
    raw = separate(skewed(), gravity=True, start="static", **run)
    raw["engine"] |= {"crank_direction": crank, "reference_direction": np.cross(crank, [0.6, 0.3, -0.7]).tolist()}
    more = {"law": law, "damping_N_s_per_mm": [damping, 0.5 * damping, damping]}
    if law == "progressive":
        more["doubling_deflection_mm"] = [2.0, 3.0, 4.0]
    corners = ([300, 200, -50], [280, -220, -20], [-310, 180, 60], [-260, -210, 10])
    raw["mount"] = [
        mount(f"m{n}", at_mm=at, axes_deg=[20.0 * n, -35.0 + 10.0 * n, 50.0], **more) for n, at in enumerate(corners)
    ]
    raw["mount"][1]["between"] = ["ground", "powertrain"]
    return raw


def two_bodies() -> dict[str, Any]:
    """The skewed engine and a chassis, afloat, joined by damped mounts; gas, friction, accessories, one of them and the
    load on the chassis."""
    raw = separate(skewed())
    inertia = [3.0, 4.0, 5.0, 0.2, -0.3, 0.1]
    raw["body"].append(
        {"name": "chassis", "mass_kg": 90.0, "centre_of_mass_mm": [100.0, 20.0, -300.0], "inertia_kg_m2": inertia}
    )
    raw["mount"] = [
        mount(f"m{n}", between=between, at_mm=at, axes_deg=[10.0, 30.0 * n, -20.0], damping_N_s_per_mm=[0.4, 0.9, 0.2])
        for n, (between, at) in enumerate(
            ((["powertrain", "chassis"], [200, 150, -150]), (["chassis", "powertrain"], [-200, -100, -170]))
        )
    ]
    raw["engine"] |= {"firing_order": ["1", "2", "3"], "gas": {"source": "motored"}, "friction": {"torque_N_m": 4.0}}
    raw["engine"]["load"] = {"law": "constant", "torque_N_m": 30.0, "reacted_by": "chassis"}
    raw["engine"]["accessory"] = accessories()
    raw["engine"]["accessory"][1]["inertia_kg_mm2"] = 400.0
    raw["engine"]["accessory"][2]["reacted_by"] = "chassis"
    return raw


# laws
@pytest.mark.parametrize("raw", [mounted(TILTS[0], "linear"), two_bodies()], ids=["mounted", "two bodies"])
def test_energy_and_momentum_of_a_state_are_those_of_its_particles(raw: dict[str, Any]) -> None:
    """Derived: a rigid body and particles with its moments have the same momentum and energy."""
    case, model = packed(raw)
    y = run_states(model, start(case, model), 0.05, 7)[1][-1]
    mass, place, velocity = particle_motion(y, case, model)
    energy = 0.5 * mass @ np.sum(velocity**2, axis=1)
    # difference quotient: 1e-10 m/s of rounding on parts of 1e3 kg in all (rotor rings count) and speeds of 30 m/s
    assert kinetic_energy(y, model) == pytest.approx(energy, rel=1e-8)
    assert np.concatenate(momentum(y, model)) == pytest.approx(particle_momentum(y, case, model), abs=1e-7)
    # sums of a few dozen terms in double precision
    assert weight_energy(y, model) == pytest.approx(model.model.gravity * (mass @ place[:, 2]), abs=1e-9)


@pytest.mark.parametrize("raw", [separate(single()), separate(skewed()), two_bodies()], ids=["1", "skewed", "two"])
def test_momentum_of_a_floating_engine_is_constant(raw: dict[str, Any]) -> None:
    """Law: internal forces (mounts, dampers, gas, friction, chain load) leave momentum about a fixed point alone."""
    case, model = packed(raw)
    _, states = run_states(model, start(case, model), 0.2, 11)
    held = np.array([particle_momentum(y, case, model) for y in states])
    # error of a step: 1e-9 of floors of 10 N s and 0.2 N m s; a few thousand steps that mostly cancel
    assert np.abs(held - held[0]).max() < 3e-8


@pytest.mark.parametrize("raw", [separate(skewed()), two_bodies()], ids=["skewed", "two"])
def test_centre_of_mass_of_a_floating_engine_moves_in_a_straight_line(raw: dict[str, Any]) -> None:
    """Law: with no force from outside the centre of all mass moves at constant velocity."""
    case, model = packed(raw)
    time, states = run_states(model, start(case, model), 0.2, 11)
    centres = np.array([mass @ place / mass.sum() for mass, place in (places(y, case, model) for y in states)])
    line = np.polynomial.polynomial.polyfit(time, centres, 1)
    bend = centres - line[0] - np.outer(time, line[1])
    # places are held to 1e-9 of 1 mm a step, over a thousand steps
    assert np.abs(bend).max() < 1e-10


@pytest.mark.parametrize("law", ["linear", "progressive"])
@pytest.mark.parametrize("crank", TILTS)
def test_energy_is_constant_with_no_loss(crank: list[float], law: str) -> None:
    """Law: kinetic, weight and spring energy sum to a constant with no gas, friction, load or damping."""
    case, model = packed(mounted(crank, law))
    _, states = run_states(model, start(case, model), 1.1, 201)
    assert states[-1, -2] > 50.0 * 2.0 * math.pi
    energy = total_energy(states, case, model, observe(states, model, ()))
    moving = kinetic_energy(states[0], model)
    # 1e-9 a step over 5000 steps that mostly cancel
    assert np.abs(energy - energy[0]).max() < 1e-8 * moving


@pytest.mark.parametrize("crank", TILTS[2:])
def test_damping_takes_the_work_of_the_dampers(crank: list[float]) -> None:
    """Law: with damping energy only falls, by the work of the mounts beyond what their springs store."""
    case, model = packed(mounted(crank, "progressive", damping=1.0))
    _, states = run_states(model, start(case, model), 0.2, 20001)
    seen = observe(states, model, ())
    deflection, force = (in_mount_axes(v, case, seen) for v in (seen.mount_deflection, seen.mount_force))
    work = np.sum(0.5 * (force[1:] + force[:-1]) * np.diff(deflection, axis=0))
    moving = np.array([kinetic_energy(y, model) + weight_energy(y, model) for y in states[::20]])
    energy = moving + spring_energy(case, seen)[::20]
    lost = energy[0] - energy[-1]
    assert lost > 0.01 * moving[0]
    # trapezoid at 1e-5 s: (ω·h)²/12 = 8e-6 of the work that comes and goes, up to third order (1000 rad/s)
    scale = np.sum(np.abs(force[1:] * np.diff(deflection, axis=0)))
    assert moving[-1] - moving[0] == pytest.approx(work, abs=8e-6 * scale)
    assert np.diff(energy).max() < 1e-8 * moving[0]  # never rises, but for the solver's own error


@pytest.mark.parametrize(
    ("law", "friction", "driven"),
    [
        ("linear", {"torque_N_m": 4.0, "viscous_N_m_s": 0.01}, []),
        ("progressive", {"law": "chen_flynn", "oil_temperature_degC": 20.0}, accessories()),
    ],
)
def test_energy_changes_by_the_work_of_gas_losses_and_load(law: str, friction: dict, driven: list) -> None:
    """Law: all reacted by the block, energy changes by ∫ (gas − friction − accessories − load)·φ̇ dt."""
    raw = mounted(TILTS[2], law)
    raw["engine"] |= {"firing_order": ["1", "2", "3"], "gas": {"source": "motored"}}
    raw["engine"] |= {"friction": friction, "accessory": driven}
    raw["engine"]["load"] = {"law": "road", "torque_N_m": 5.0, "quadratic_N_m_s2": 1e-4}
    case, model = packed(raw)
    time, states = run_states(model, start(case, model), 0.2, 20001)
    seen = observe(states, model, ())
    losses = seen.friction_torque + (seen.accessory_torque if driven else 0.0)
    power = (seen.gas_torque - losses - seen.load_torque) * seen.crank_speed
    ends = [0, -1]
    energy = total_energy(states[ends], case, model, observe(states[ends], model, ()))
    # trapezoid at 1e-5 s: h²/12 times the change of the power's slope, which corners of the pressure curve make up
    slope = np.gradient(power, time)
    error = (time[1] - time[0]) ** 2 / 12.0 * np.abs(np.diff(slope)).sum()
    assert abs(energy[1] - energy[0]) > 0.1 * kinetic_energy(states[0], model)
    assert energy[1] - energy[0] == pytest.approx(trapezoid(power, time), abs=error)
