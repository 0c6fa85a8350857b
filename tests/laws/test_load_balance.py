"""Loads inside the engine add up to what leaves it: free forces, couples and torque, and known limits."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from tests.cases import single, skewed
from vibsim.engine.balance import free_forces
from vibsim.engine.bearing_loads import bearing_loads
from vibsim.engine.kinematics import slider_crank
from vibsim.engine.layout import ResolvedCylinder
from vibsim.engine.moving_mass import moving_mass
from vibsim.engine.pin_loads import in_crank_frame, pin_loads
from vibsim.inputs.loader import CaseFile, build_case
from vibsim.solver.motion import gas_torque
from vibsim.solver.packed import pack
from vibsim.studies.loads import Loads, find_loads
from vibsim.studies.new_case import new_case

SPEED = 400.0  # rad/s
MOTORED = {"source": "motored"}
ROUNDING = 1e-9  # of the greatest value: sums of exact expressions on both sides


def case_of(raw: dict) -> CaseFile:
    return CaseFile(build_case(raw), "", Path(), "case")


def odd_engine() -> dict:
    raw = skewed()
    raw["engine"]["firing_order"], raw["engine"]["gas"] = ["1", "2", "3"], MOTORED
    return raw


def usual_engine(layout: str) -> dict:
    raw = tomllib.loads(new_case(layout, 1200.0))
    raw["engine"]["gas"] = MOTORED
    return raw


ENGINES = [odd_engine, lambda: usual_engine("v2-90"), lambda: usual_engine("v6-90-split")]


def heights(c: ResolvedCylinder, psi: np.ndarray) -> np.ndarray:
    """Wrist-pin heights (n) m."""
    return np.array([slider_crank(math.cos(p), math.sin(p), c.radius, c.rod_length, c.offset)[0] for p in psi])


def on_block(raw: dict, loads: Loads) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Force, couple Σ x·force and moment about the crank axis on the block, (n): bearings, walls, heads and shafts."""
    pins, layout = loads.pins, loads.layout
    cylinders = layout.cylinders
    bank, at, offset = (np.array([getattr(c, name) for c in cylinders]) for name in ("bank", "at", "offset"))
    psi = pins.pin_angle - bank
    height = np.column_stack([heights(c, psi[:, index]) for index, c in enumerate(cylinders)])
    wall_and_head = pins.gas_force + 1j * pins.total.side_thrust
    walls = wall_and_head * np.exp(1j * bank)
    force = loads.bearings.total.sum(axis=1) + walls.sum(axis=1)
    couple = loads.bearings.total @ loads.bearings.places + walls @ at
    roll = (np.conj(height + 1j * offset) * wall_and_head).imag.sum(axis=1)
    for shaft in build_case(raw).engine.balance_shaft:
        pull = shaft.unbalance * (shaft.ratio * SPEED) ** 2 * np.exp(1j * (shaft.ratio * pins.angle + shaft.angle))
        y, z = shaft.position
        force, couple, roll = force + pull, couple + shaft.at * pull, roll + y * pull.real + z * pull.imag
    return force, couple, roll


@pytest.mark.parametrize("make", ENGINES, ids=["odd engine", "V2, shared pin", "V6, split pins"])
def test_sum_on_the_block_is_the_free_force(make):
    # law (momentum): bearings, walls, heads and shaft bearings together are the free force, couple and roll of the
    # moving masses' momentum, and the reaction of the gas torque
    raw = make()
    loads = find_loads(case_of(raw), SPEED)
    packed = pack(build_case(raw), Path())
    free = free_forces(packed.model.train, SPEED, turns=round(packed.cycle / (2.0 * math.pi)))
    every = slice(None, None, len(loads.pins.angle) // len(free.angle))
    assert loads.pins.angle[every] == pytest.approx(free.angle, abs=1e-12)
    gas = np.array([gas_torque(angle, SPEED, packed.model) for angle in free.angle])
    assert np.abs(gas).max() > 10.0
    force, couple, roll = (values[every] for values in on_block(raw, loads))
    assert np.abs(force - free.force).max() < ROUNDING * np.abs(free.force).max()
    assert np.abs(couple - free.couple).max() < ROUNDING * np.abs(free.couple).max()
    assert np.abs(roll - (free.roll - gas)).max() < ROUNDING * np.abs(gas).max()


@pytest.mark.parametrize("make", ENGINES, ids=["odd engine", "V2, shared pin", "V6, split pins"])
def test_crankpin_forces_turn_the_crank_by_gas_and_inertia_torque(make):
    # law (virtual work): moment of the crankpin forces about the crank axis = gas torque − ½·Ω²·dC/dθ
    loads = find_loads(case_of(make()), SPEED)
    packed = pack(build_case(make()), Path())
    radius = np.array([c.radius for c in loads.layout.cylinders])
    ahead = in_crank_frame(loads.pins.total.crankpin, loads.pins.pin_angle).imag
    every = slice(None, None, 16)
    expected = np.array(
        [
            gas_torque(angle, SPEED, packed.model) - 0.5 * SPEED**2 * moving_mass(angle, packed.model.train).polar1
            for angle in loads.pins.angle[every]
        ]
    )
    assert np.abs((ahead @ radius)[every] - expected).max() < ROUNDING * np.abs(expected).max()


def test_gas_and_inertia_superpose():
    # law: the motored pressure does not depend on speed, so gas at almost no speed plus inertia without gas is both
    both = find_loads(case_of(odd_engine()), SPEED)
    slow = find_loads(case_of(odd_engine()), 1e-6).bearings.total
    quiet = odd_engine()
    quiet["engine"]["gas"] = {"source": "none"}
    inertia = find_loads(case_of(quiet), SPEED).bearings.total
    scale = np.abs(both.bearings.total).max()
    assert np.abs(both.bearings.total - slow - inertia).max() < ROUNDING * scale
    assert np.abs(both.bearings.gas - slow).max() < ROUNDING * scale


def test_massless_rod_carries_a_force_along_itself():
    # limit: F/cos φ in the rod, F·tan φ on the wall, φ the rod's lean
    raw = odd_engine()
    raw["engine"]["rod"] = {"mass_g": 0.0}
    pins = find_loads(case_of(raw), SPEED).pins
    layout = pack(build_case(raw), Path()).layout
    for index, c in enumerate(layout.cylinders):
        lean = np.arcsin((c.offset - c.radius * np.sin(pins.pin_angle[:, index] - c.bank)) / c.rod_length)
        along = pins.total.wrist_pin[:, index].real
        scale = np.abs(along).max()
        assert np.abs(pins.total.side_thrust[:, index] - along * np.tan(lean)).max() < ROUNDING * scale
        assert np.abs(np.abs(pins.total.crankpin[:, index]) - np.abs(along) / np.cos(lean)).max() < ROUNDING * scale
        push = np.exp(1j * (lean + c.bank)) * along / np.cos(lean)
        assert np.abs(pins.total.crankpin[:, index] + push).max() < ROUNDING * scale


def test_inertia_at_top_dead_centre():
    # limit (exact): m·r·ω²·(1 + λ), away from the crank, of the piston on its pin, of piston and small end on the
    # crankpin, and m·r·ω² of the big end
    raw = single()
    loads = find_loads(case_of(raw), SPEED)
    c = loads.layout.cylinders[0]
    unit = c.radius * SPEED**2
    lean = 1.0 + c.radius / c.rod_length
    assert loads.pins.inertia.wrist_pin[0, 0] == pytest.approx(-c.piston_mass * unit * lean, rel=1e-12)
    expected = (c.piston_mass + c.small_end_mass) * unit * lean + c.big_end_mass * unit
    assert loads.pins.inertia.crankpin[0, 0] == pytest.approx(expected, rel=1e-12)


def test_rotating_mass_pulls_outward_all_round():
    # limit: a rod whose mass sits at the big end, no piston: m·r·ω² constant in the crank's frame
    raw = single()
    raw["engine"] |= {"piston": {"mass_g": 0.0}}
    raw["engine"]["rod"] = {"mass_g": 400.0, "centre_of_mass_mm": 0.0, "inertia_kg_mm2": 0.0}
    raw["body"][0]["moving_parts"] = "separate"
    pins = find_loads(case_of(raw), SPEED).pins
    turned = in_crank_frame(pins.total.crankpin, pins.pin_angle)
    assert turned == pytest.approx(np.full_like(turned, 0.4 * 0.02925 * SPEED**2), rel=1e-12)


def test_counterweight_takes_its_pull_from_the_bearings():
    # law: an unbalance opposite the pin that equals the rotating mass leaves the bearings the reciprocating part alone
    raw = single()
    bare = find_loads(case_of(raw), SPEED)
    c = bare.layout.cylinders[0]
    raw["engine"]["crank"]["unbalance_kg_mm"] = 1e3 * c.big_end_mass * c.radius
    loads = find_loads(case_of(raw), SPEED)
    rotating = c.big_end_mass * c.radius * SPEED**2 * np.exp(1j * loads.pins.angle)[:, None] / 2.0
    assert np.abs(loads.bearings.total - (bare.bearings.total - rotating)).max() < ROUNDING * np.abs(rotating).max()
    assert loads.bearings.without_weights == pytest.approx(bare.bearings.total, rel=1e-12)


@pytest.mark.parametrize("make", ENGINES, ids=["odd engine", "V2, shared pin", "V6, split pins"])
def test_other_bearing_places_leave_force_and_couple(make):
    # law: wherever the bearings stand, they pass the same force and the same couple to the block
    engine = build_case(make()).engine
    packed = pack(build_case(make()), Path())
    pins = pin_loads(packed.layout, packed.model.gas, SPEED)
    moved = engine.crank.model_copy(update={"main_bearings_at": (-0.2, -0.05, 0.01, 0.3)})
    first = bearing_loads(engine, packed.layout, pins)
    other = bearing_loads(engine.model_copy(update={"crank": moved}), packed.layout, pins)
    scale = np.abs(first.total).max()
    assert np.abs(first.total.sum(axis=1) - other.total.sum(axis=1)).max() < ROUNDING * scale
    assert np.abs(first.total @ first.places - other.total @ other.places).max() < ROUNDING * scale
