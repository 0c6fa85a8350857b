"""Engines made alike: similarity laws of a scaled engine (derived), loads found for one power."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.cases import skewed
from vibsim.engine.balance import free_forces
from vibsim.engine.layout import resolve_layout
from vibsim.engine.moving_mass import pack_train
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case, parse_case
from vibsim.solver.motion import gas_torque
from vibsim.solver.packed import pack
from vibsim.studies.alike import brake_torque, loads_of_same_power, same_displacement, similar_engine
from vibsim.studies.new_case import new_case

FACTOR = 1.37
CASES = ("single", "v2-60", "inline-4")


def every_key():
    """Overrides, pin offsets, counterweights, shafts, throw unbalances, friction of both kinds."""
    raw = skewed()
    raw["engine"]["crank"]["unbalance_kg_mm"] = [1.0, 2.0, 3.0]
    raw["engine"]["cylinder"][0] |= {
        "bore_mm": 60.0,
        "rod": {"mass_g": 300.0, "centre_of_mass_mm": 30.0, "inertia_kg_mm2": 650.0},
    }
    raw["engine"]["gas"] = {"source": "motored"}
    raw["engine"]["friction"] = {"torque_N_m": 2.0, "viscous_N_m_s": 0.01, "mean_effective_pressure_bar": 0.5}
    raw["engine"]["firing_order"] = ["1", "2", "3"]
    return build_case(raw)


def test_free_forces_of_the_similar_engine():
    # derived: at one speed forces go with mass times length, s⁴, couples and roll torque with s⁵; swept volume with s³
    engine = every_key().engine
    larger = similar_engine(engine, FACTOR)
    layouts = [resolve_layout(item) for item in (engine, larger)]
    small, large = (free_forces(pack_train(e, lay), 200.0) for e, lay in zip((engine, larger), layouts, strict=True))
    assert layouts[1].swept_volume == pytest.approx(FACTOR**3 * layouts[0].swept_volume, rel=1e-12)
    for name, power in (("force", 4), ("couple", 5), ("roll", 5)):
        expected = FACTOR**power * getattr(small, name)
        np.testing.assert_allclose(getattr(large, name), expected, atol=1e-11 * np.abs(expected).max())


def test_gas_and_friction_torque_of_the_similar_engine(tmp_path):
    # derived: the same pressures on s² the area at s the throw; a polytropic compression knows no size
    case = every_key()
    larger = case.model_copy(update={"engine": similar_engine(case.engine, FACTOR)})
    small, large = (pack(item, tmp_path).model for item in (case, larger))
    for angle in np.linspace(0.0, 12.0, 25):
        assert gas_torque(angle, 200.0, large) == pytest.approx(FACTOR**3 * gas_torque(angle, 200.0, small), rel=1e-9)
    for name in ("dry", "viscous"):
        assert large.losses[name] == pytest.approx(FACTOR**3 * small.losses[name], rel=1e-12)
    assert large.train.rotor_inertia == pytest.approx(FACTOR**5 * small.train.rotor_inertia, rel=1e-12)


def test_flow_areas_and_the_rest():
    raw = skewed()
    raw["engine"] |= {"compression_ratio": 10.0, "firing_order": ["1", "2", "3"]}
    raw["engine"]["gas"] = {"source": "cycle", "intake_flow_area_mm2": 500.0}
    raw["engine"]["load"] = {"law": "constant", "torque_N_m": 5.0}
    engine = build_case(raw).engine
    larger = similar_engine(engine, 2.0)
    assert larger.gas.intake_flow_area == pytest.approx(4.0 * 500e-6)
    assert larger.gas.exhaust_flow_area is None
    # what belongs to the vehicle, and what has no length in it
    for key in ("origin", "crank_direction", "load", "compression_ratio", "firing_order"):
        assert getattr(larger, key) == getattr(engine, key)


def _cases(*names, volume=600.0):
    return [parse_case(new_case(name, volume + 50.0 * n), name=name) for n, name in enumerate(names)]


def test_same_displacement():
    scaled, factors = same_displacement(_cases(*CASES))
    volumes = [resolve_layout(item.case.engine).swept_volume for item in scaled]
    assert volumes == pytest.approx([volumes[0]] * 3, rel=1e-12)
    assert factors[0] == 1.0
    for before, after in zip(_cases(*CASES), scaled, strict=True):
        assert (after.case.body, after.case.mount, after.case.sensor) == (
            before.case.body,
            before.case.mount,
            before.case.sensor,
        )


def test_scaled_parts_that_do_not_fit_their_body():
    first, second = parse_case(new_case("single", 20_000.0), name="big"), parse_case(new_case("single", 20.0), name="s")
    with pytest.raises(InputError, match=r"^s: with its engine scaled by 10\.\d+ in length: body\[1\] .*mass: got"):
        same_displacement([first, second])


def test_loads_of_same_power():
    cases = _cases(*CASES)
    speeds = np.array([2000.0, 5000.0]) * math.pi / 30.0
    loads, missing = loads_of_same_power(cases, speeds)
    assert loads[0] == pytest.approx(0.5)
    assert not missing.any()
    for row, case_file in enumerate(cases):
        for column, speed in enumerate(speeds):
            wanted = brake_torque(cases[0], speed)
            # load is found to 1e-7 of full load, at which the torque is of the order of twice that wanted
            assert brake_torque(case_file, speed, loads[row, column]) == pytest.approx(wanted, rel=1e-6)


def test_loads_at_the_stops():
    small, large = (parse_case(new_case("single", cc), name=str(cc)) for cc in (50.0, 2000.0))
    speed = np.array([300.0])
    loads, missing = loads_of_same_power([large, small], speed)
    assert (loads[1, 0], missing[1, 0]) == (1.0, 1)
    loads, missing = loads_of_same_power([small, large], speed)
    assert brake_torque(large, 300.0, 0.0) > brake_torque(small, 300.0)  # the case is what it is meant to be
    assert (loads[1, 0], missing[1, 0]) == (0.0, -1)
