"""Laws that hold with a flexible body: momentum, energy, statics, limits."""

from __future__ import annotations

import numpy as np
import pytest

from tests.cases import packed
from tests.flexible_cases import on_flexible, rigid
from vibsim.solver.invariants import kinetic_energy, momentum, strain_energy
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.observe import observe
from vibsim.solver.packed import STATES_PER_BODY
from vibsim.solver.start import AtRest, equilibrium, error_control, state_at
from vibsim.solver.stepper import REACHED_TIME, advance, grid, no_grid, start_stepper

TIGHT = 1e-10


def moving(model, seed: int = 3) -> np.ndarray:
    """A state with everything displaced by mm and moving by dm/s."""
    random = np.random.default_rng(seed)
    y = state_at(model, random.normal(0.0, 2e-3, (len(model.names), 6)), 0.3, 150.0)
    for b in range(len(model.names)):
        at = STATES_PER_BODY * b
        y[at + 7 : at + 13] += random.normal(0.0, 3.0, 6)
    for mode in model.model.flex.modes:
        y[mode["at"]], y[mode["rate"]] = random.normal(0.0, 2e-2), random.normal(0.0, 3.0)
    return y


def run_on(model, y: np.ndarray, duration: float) -> np.ndarray:
    """States (n) of a run from y."""
    stepper = start_stepper(y, model.model, 1e-5)
    derivatives(stepper.y, model.model, stepper.w, stepper.e, stepper.f)
    times = grid(0.0, duration / 40, 41, model.state_size)
    status = advance(stepper, model.model, error_control(model, TIGHT, 100_000), duration, np.inf, times, no_grid())
    assert status == REACHED_TIME
    return times.states


def spring_energy(case, model, states: np.ndarray) -> np.ndarray:
    """Energy (n) in springs, from the force–deflection laws: k·d²/2, and k·d⁴/(12·d₂²) besides of a progressive one."""
    from vibsim.solver.rest import deflections

    total = np.zeros(len(states))
    for n, y in enumerate(states):
        for mount, d in zip(case.mount, deflections(y, model.model), strict=True):
            k = np.array(mount.stiffness)
            total[n] += 0.5 * k @ d**2
            if hasattr(mount, "doubling_deflection"):
                total[n] += k @ (d**4 / np.array(mount.doubling_deflection) ** 2) / 12.0
    return total


def test_nothing_is_lost_or_made_without_damping():
    """Law: energy, and momentum of what floats, are constant while motion goes to and fro between modes and bodies."""
    case, model = packed(on_flexible(damped=0.0, ground=False))
    states = run_on(model, moving(model), 0.1)
    kinetic = np.array([kinetic_energy(y, model) for y in states])
    strain = np.array([strain_energy(y, model) for y in states])
    total = kinetic + strain + spring_energy(case, model, states)
    assert np.ptp(strain) > 1.0  # J: the modes take part
    assert np.ptp(total) < 1e-6 * total[0]  # a thousand steps at a tolerance of 1e-10
    push, spin = (np.array(item) for item in zip(*(momentum(y, model) for y in states), strict=True))
    assert np.abs(push - push[0]).max() < 1e-9 * np.abs(push).max()
    assert np.abs(spin - spin[0]).max() < 1e-7 * np.abs(spin).max()


def test_what_damping_takes_is_what_goes():
    """Law: with dampers in mounts and modes energy falls all the time."""
    case, model = packed(on_flexible(ground=False))
    states = run_on(model, moving(model), 0.05)
    total = [kinetic_energy(y, model) + strain_energy(y, model) for y in states] + spring_energy(case, model, states)
    assert np.all(np.diff(total) < 0.0)


def test_sensor_acceleration_is_that_of_its_place():
    """Derived: second differences over time of x + R·(p + Σφq); to the differences' own error of order step²."""
    case, model = packed(on_flexible())
    y = moving(model)
    stepper = start_stepper(y, model.model, 1e-6)
    derivatives(stepper.y, model.model, stepper.w, stepper.e, stepper.f)
    step = 1e-4
    times = grid(0.0, step, 5, model.state_size)
    advance(stepper, model.model, error_control(model, 1e-12, 100_000), 4.0 * step, np.inf, times, no_grid())
    from vibsim.structure.rotation import matrix_of

    point = np.array(case.sensor[0].at) - model.centres[1]
    modes, places = model.model.flex.modes, []
    for state in times.states:
        u = model.flexible.shape(1, "seat") @ state[modes["at"]]
        places.append(state[13:16] + matrix_of(state[16:20]) @ (point + u))
    x = np.array(places)
    expected = (-x[0] + 16.0 * x[1] - 30.0 * x[2] + 16.0 * x[3] - x[4]) / (12.0 * step**2)
    found = observe(times.states, model, case.sensor).sensor_acceleration[2, 0]
    assert found == pytest.approx(expected, abs=2e-4 * np.abs(expected).max())


def test_modes_at_rest_are_held_by_the_forces_of_mounts():
    """Derived: ω²q = Σφ·f at rest, f the forces of mounts on the body in its own axes."""
    raw = on_flexible()
    raw["run"]["gravity"] = True
    case, model = packed(raw)
    rest = AtRest(model)
    state = rest.state(equilibrium(model).displacement)
    force = observe(state[None], model, ()).mount_force[0]
    from vibsim.structure.rotation import matrix_of

    own = matrix_of(state[16:20])
    expected = np.zeros(2)
    for mount, pull in zip(case.mount, force, strict=True):
        if "chassis" in mount.between:
            sign = 1.0 if mount.between[1] == "chassis" else -1.0
            expected += model.flexible.shape(1, mount.name).T @ (own.T @ (sign * pull))
    modes = model.model.flex.modes
    assert state[modes["at"]] * modes["square"] == pytest.approx(expected, rel=1e-9)
    assert np.abs(state[modes["at"]]).max() > 1e-5


def test_a_body_stiff_in_itself_is_a_rigid_one():
    """Limit: modes at 30 times the frequency leave 1/900 of the elastic motion; rest and forces go over into those of
    the rigid body."""
    soft, stiff = on_flexible(), on_flexible()
    for raw, factor in ((soft, 1.0), (stiff, 30.0)):
        raw["run"]["gravity"] = True
        for mode in raw["body"][1]["mode"]:
            mode["frequency_Hz"] *= factor
    found = []
    for raw in (soft, stiff, rigid(stiff)):
        model = packed(raw)[1]
        state = AtRest(model).state(equilibrium(model).displacement)
        found.append(observe(state[None], model, ()).mount_force[0])
    differ = np.abs(found[0] - found[2]).max()
    assert differ > 0.1  # N: what flexibility does
    assert np.abs(found[1] - found[2]).max() == pytest.approx(differ / 900.0, rel=0.05)


def test_plain_bodies_carry_nothing_of_it():
    """A case without elastic modes packs as before: no states, no special mounts."""
    _, model = packed(rigid(on_flexible()))
    assert model.model.flex is None and model.unknowns == 12
    assert not np.any(model.model.mounts["special"])
    w, e = scratch(2)
    out = np.zeros(model.state_size)
    derivatives(state_at(model, np.zeros((2, 6))), model.model, w, e, out)
    assert np.all(np.isfinite(out))
