"""Engines as built: as drawn they are those of the mechanism, one with errors is the case file with those errors."""

from __future__ import annotations

import copy
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from tests.cases import CONFIGS, packed, single, skewed
from vibsim.engine.as_built import ORDERS, assemble, no_errors, phasors_as_built, rotor_unbalance, slopes
from vibsim.engine.balance import free_forces, split
from vibsim.engine.tolerances import KEYS, UNBALANCES
from vibsim.inputs.loader import CaseFile, build_case, load_case
from vibsim.studies.balance import find_balance
from vibsim.studies.new_case import new_case
from vibsim.studies.tolerance import draw

SPEED = 100.0
HALF_WIDTHS = {"piston": 0.02, "small_end": 0.01, "big_end": 0.03, "crank": 1e-3, "shaft": 5e-4} | dict.fromkeys(
    ("pin", "bank", "shaft_angle"), 0.05
)


def vee_with_shafts() -> dict:
    """A V-twin on one pin, a third cylinder on another, unlike masses, two listed counterweights and two shafts."""
    raw = single()
    engine = raw["engine"]
    engine["cylinder"] = [
        {"name": "1", "pin_deg": 10.0, "bank_deg": 30.0, "at_mm": -50.0, "piston_pin_offset_mm": 2.0},
        {"name": "2", "pin_deg": 10.0, "bank_deg": -40.0, "at_mm": -30.0, "piston": {"mass_g": 350.0}},
        {"name": "3", "pin_deg": 190.0, "bank_deg": 30.0, "at_mm": 60.0, "stroke_mm": 64.0},
    ]
    engine["crank"]["counterweight"] = [
        {"at_mm": -40.0, "angle_deg": 200.0, "unbalance_kg_mm": 14.0},
        {"at_mm": 60.0, "angle_deg": 10.0, "unbalance_kg_mm": 9.0},
    ]
    engine["balance_shaft"] = [
        {"ratio": -1.0, "angle_deg": 70.0, "unbalance_kg_mm": 4.0, "at_mm": 10.0, "position_mm": [50.0, -20.0]},
        {"ratio": 2.0, "angle_deg": -20.0, "unbalance_kg_mm": 1.0, "at_mm": -10.0, "position_mm": [-50.0, 30.0]},
    ]
    return raw


def _assembly(raw: dict):
    case, found = packed(raw)
    middle = float(np.mean([np.mean([found.layout.cylinders[i].at for i in throw]) for throw in found.layout.throws]))
    return assemble(case.engine, found.layout, middle), middle


def _from_text(layout: str) -> CaseFile:
    return CaseFile(build_case(tomllib.loads(new_case(layout, 900.0))), "", Path(), layout)


CASES = {
    "demo": lambda: load_case(CONFIGS / "v3-80-trike.toml"),
    "skewed": lambda: CaseFile(build_case(skewed()), "", Path(), "skewed"),
    "shafts": lambda: CaseFile(build_case(vee_with_shafts()), "", Path(), "shafts"),
    **{name: (lambda name=name: _from_text(name)) for name in ("inline-3", "v6-90-split", "flat-4", "v8-cross")},
}


@pytest.mark.parametrize("name", CASES)
def test_as_drawn_is_find_balance(name):
    # derived: both are Fourier coefficients of the same smooth function, equal to rounding
    case_file = CASES[name]()
    balance = find_balance(case_file, SPEED)
    assembly = assemble(case_file.case.engine, balance.layout, balance.middle)
    for order in ORDERS:
        index = int(np.argmin(np.abs(balance.force.order - order)))
        for couple, expected, unit in ((False, balance.force, balance.unit), (True, balance.couple, balance.unit)):
            forward, backward = phasors_as_built(assembly, no_errors(assembly), order, couple)
            assert SPEED**2 * forward[0] == pytest.approx(expected.forward[index], abs=1e-10 * unit)
            assert SPEED**2 * backward[0] == pytest.approx(expected.backward[index], abs=1e-10 * unit)


def _case_with(raw: dict, errors: dict) -> dict:
    """The case file of one engine as built."""
    raw = copy.deepcopy(raw)
    engine = raw["engine"]
    rod, length = engine["rod"], engine["rod_length_mm"]
    for index, cylinder in enumerate(engine["cylinder"]):
        piston = cylinder.get("piston", engine["piston"])["mass_g"]
        small = rod["mass_g"] * rod["centre_of_mass_mm"] / length + 1e3 * errors["small_end"][0, index]
        mass = rod["mass_g"] + 1e3 * (errors["small_end"] + errors["big_end"])[0, index]
        cylinder["piston"] = {"mass_g": piston + 1e3 * errors["piston"][0, index]}
        cylinder["rod"] = rod | {"mass_g": mass, "centre_of_mass_mm": small * length / mass}
        pin = 0 if index < 2 else 1
        bank = 1 if index == 1 else 0
        cylinder["pin_deg"] += math.degrees(errors["pin"][0, pin])
        cylinder["bank_deg"] += math.degrees(errors["bank"][0, bank])
    eccentrics = [(weight, errors["crank"][0, n], 0.0) for n, weight in enumerate(engine["crank"]["counterweight"])]
    shafts = zip(engine["balance_shaft"], errors["shaft"][0], errors["shaft_angle"][0], strict=True)
    for weight, error, turn in (*eccentrics, *shafts):
        drawn = 1e-3 * weight["unbalance_kg_mm"] * np.exp(1j * math.radians(weight["angle_deg"]))
        built = (drawn + error) * np.exp(1j * turn)
        weight["unbalance_kg_mm"], weight["angle_deg"] = 1e3 * abs(built), math.degrees(np.angle(built))
    return raw


def test_one_engine_as_built_is_its_case_file():
    # brute force: the errors put into the case file and through the exact mechanism
    raw = vee_with_shafts()
    assembly, middle = _assembly(raw)
    assert [assembly.count(key) for key in KEYS] == [3, 3, 3, 2, 2, 2, 2, 2]
    errors = draw(np.random.default_rng(5), assembly, HALF_WIDTHS, "uniform", 1)
    _, found = packed(_case_with(raw, errors))
    free = free_forces(found.model.train, SPEED)
    centred = free.about(np.array([middle, 0.0, 0.0]))
    unit = 0.3 * 0.03 * SPEED**2
    for order in ORDERS:
        for couple, values in ((False, free.force), (True, centred.couple)):
            expected = split(values, free.turns)
            forward, backward = phasors_as_built(assembly, errors, order, couple)
            drawn = phasors_as_built(assembly, no_errors(assembly), order, couple)
            assert SPEED**2 * forward[0] == pytest.approx(expected.forward[order - 1], abs=1e-9 * unit)
            assert SPEED**2 * backward[0] == pytest.approx(expected.backward[order - 1], abs=1e-9 * unit)
            assert abs(forward[0] - drawn[0][0]) * SPEED**2 > 1e-4 * unit


@pytest.mark.parametrize("couple", [False, True])
@pytest.mark.parametrize("order", ORDERS)
def test_slopes_are_central_differences(order, couple):
    # first derivative off by k²·h²/6 of itself, k ≤ 3; second by 1/12 of that and rounding over h²
    step = 1e-4
    assembly, _ = _assembly(vee_with_shafts())
    found = slopes(assembly, order, couple)
    drawn = np.array(phasors_as_built(assembly, no_errors(assembly), order, couple))[:, 0]
    size = np.abs([found.forward, found.backward]).max()
    assert np.abs(drawn).max() > 0.0
    for key in KEYS:
        mine = found.key == key
        count = assembly.count(key)
        pushes = [(n, 1.0) for n in range(count)] + [(n, 1.0j) for n in range(count) if key in UNBALANCES]
        assert np.count_nonzero(mine) == len(pushes)
        for column, (n, direction) in zip(np.flatnonzero(mine), pushes, strict=True):
            values = []
            for sign in (1.0, -1.0):
                errors = no_errors(assembly)
                errors[key][0, n] = sign * step * direction
                values.append(np.array(phasors_as_built(assembly, errors, order, couple))[:, 0])
            first = (values[0] - values[1]) / (2.0 * step)
            second = (values[0] + values[1] - 2.0 * drawn) / step**2
            slope = np.array([found.forward[column], found.backward[column]])
            assert first == pytest.approx(slope, abs=2.0 * step**2 * size)
            bend = 1j * found.turns[:, column] * slope
            assert second == pytest.approx(bend, abs=1e-7 * size + 4e-16 * np.abs(drawn).max() / step**2)


def test_where_the_crank_is_off():
    raw = vee_with_shafts()
    assert _assembly(raw)[0].crank_places == 2  # the two listed
    raw["engine"]["crank"]["unbalance_kg_mm"] = [5.0, 4.0]
    assert _assembly(raw)[0].crank_places == 4  # and one on each throw
    raw["engine"]["crank"] = {"inertia_kg_m2": 0.02}
    bare, middle = _assembly(raw)
    assert bare.eccentrics.at[: bare.crank_places] + middle == pytest.approx([-0.04, 0.06])  # else at each throw
    raw["engine"]["balance_shaft"][0]["ratio"] = 1.5
    assert _assembly(raw)[0].count("shaft") == 1  # of the first two orders
    raw["engine"]["cylinder"] = raw["engine"]["cylinder"][:1]
    assert _assembly(raw)[0].count("bank") == 0  # a single bank is what the angles are measured from


def test_turning_parts_by_hand():
    # derived: a heavier big end adds m·r at its pin, a turned pin i·ε·m·r, a crank error itself; pistons nothing
    assembly, middle = _assembly(vee_with_shafts())
    errors = no_errors(assembly)
    errors["piston"][0, 0] = errors["shaft"][0, 0] = 0.01
    errors["big_end"][0, 2], errors["crank"][0, 0], errors["pin"][0, 1] = 0.003, 2e-4j, 1e-5
    pin = np.exp(1j * math.radians(190.0))
    big_end = 0.340 * (1.0 - 36.0 / 118.0)
    third = (0.003 + 1e-5j * (big_end + 0.003)) * 0.032 * pin
    unbalance, moment = rotor_unbalance(assembly, errors)
    # the pin's angle squared, 1e-10 of 8e-3 kg m, is left out
    assert unbalance[0] == pytest.approx(third + 2e-4j, abs=1e-11)
    assert moment[0] == pytest.approx(third * (0.06 - middle) + 2e-4j * (-0.04 - middle), abs=1e-12)
