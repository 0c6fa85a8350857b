"""Cyclic speed: energy against a run, the flywheel study, figures of evenness."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.cases import as_file, mount, single
from tests.conftest import DEMO
from vibsim.engine.layout import resolve_layout
from vibsim.inputs.errors import InputError, VibsimError
from vibsim.inputs.loader import load_case
from vibsim.post.cyclic import firing_evenness, pulses_of, torque_evenness
from vibsim.post.energy_excess import fluctuation_with
from vibsim.post.output import reversals
from vibsim.solver.crank_speed import crank_speed
from vibsim.solver.crank_torque import torque_course
from vibsim.solver.packed import pack
from vibsim.studies.flywheel import flywheel_point, proof_of, size_flywheel, with_inertia
from vibsim.studies.run import run_case

RPM = math.pi / 30.0


def stiff_single(**engine):
    """A single on mounts so stiff and a block so heavy that it hardly moves."""
    raw = single()
    raw["engine"] |= {"gas": {"source": "motored"}, "crank": {"inertia_kg_m2": 0.2}} | engine
    raw["body"][0] |= {"mass_kg": 2e4, "inertia_kg_m2": [2e4, 2e4, 2e4, 0, 0, 0]}
    stiff = {"stiffness_N_per_mm": [1e6, 1e6, 1e6], "damping_N_s_per_mm": [4e3, 4e3, 4e3]}
    places = ([500.0, 500.0, 0.0], [-500.0, 500.0, 0.0], [0.0, -500.0, 300.0])
    raw["mount"] = [mount(str(n), at_mm=place, **stiff) for n, place in enumerate(places)]
    raw["run"] = {"kind": "steady", "speed_rpm": 1500.0, "duration_s": 0.1, "gravity": False}
    return as_file(raw)


ROAD = {"law": "road", "linear_N_m_s": 0.3, "quadratic_N_m_s2": 2e-3}


@pytest.mark.parametrize(("load", "law"), [({"law": "none"}, (0.0, 0.0)), (ROAD, (0.3, 2e-3))])
def test_energy_of_the_crank_train_gives_the_speed_of_a_run_on_a_still_block(load, law) -> None:
    """Independent derivation: the run integrates momenta. A block of 2e4 kg m² moves 1e-5 of what the crank does."""
    case_file = stiff_single(load=load)
    results = run_case(case_file)
    packed = pack(case_file.case, case_file.folder)
    course = torque_course(packed, 1500.0 * RPM, points=720)
    found = crank_speed(course, 1500.0 * RPM, packed.period, 0.0, law)
    run = results["cycle/crank_speed"]
    assert np.ptp(run) > 1.0  # rad/s
    np.testing.assert_allclose(found.speed - found.speed.mean(), run - run.mean(), atol=1e-3 * np.ptp(run))
    assert results.groups["cyclic"].attributes["speed_fluctuation"] == pytest.approx(found.fluctuation, rel=1e-3)


def test_excess_of_a_run_and_its_fluctuation_agree_through_the_inertia() -> None:
    """Law: Cs = ΔE/(I·ω²) of any run, I the crank's own: what pistons and rods hold is in the net torque. Second order
    in Cs, which is 0.02 here, and the mean speed is that over time."""
    case_file = stiff_single()
    results = run_case(case_file)
    cyclic = results.groups["cyclic"]
    expected = fluctuation_with(cyclic.attributes["energy_swing_J"], 1500.0 * RPM, 0.2)
    assert cyclic.attributes["speed_fluctuation"] == pytest.approx(expected, rel=0.02)


@pytest.fixture(scope="module")
def demo():
    return load_case(DEMO)


def test_estimate_and_iteration(demo) -> None:
    """The iterated inertia meets the fluctuation; the estimate at constant speed is near where fluctuation is small."""
    point = flywheel_point(demo, 0.01, "constant")
    packed = pack(with_inertia(demo, point.needed).case, demo.folder)
    course = torque_course(packed, point.speed)
    again = crank_speed(course, point.speed, packed.period, 0.0, (0.0, 0.0))
    assert again.fluctuation == pytest.approx(0.01, rel=1e-4)
    assert 1 < point.steps < 10
    assert point.estimate == pytest.approx(point.needed, rel=0.01)
    assert flywheel_point(demo, 1.5, "constant").needed == 0.0


def test_sizing_is_proved_by_a_run(demo) -> None:
    found = size_flywheel(demo, 0.015, [4000.0 * RPM], [None])
    assert found.present is not None
    assert found.present.fluctuation > 0.02
    assert found.proofs[-1].fluctuation == pytest.approx(0.015, rel=0.005)
    assert proof_of(demo, found.inertia).fluctuation == pytest.approx(0.015, rel=0.005)
    assert found.inertia > found.hardest.needed  # a block that rocks adds to the speed against it


def test_other_flywheel_leaves_the_block_alone(demo) -> None:
    """Law: about the crank the block with more flywheel is what it was; across it, there is a disc more."""
    more = with_inertia(demo, 0.135)
    (before, after) = (case.case.body[0].inertia for case in (demo, more))
    np.testing.assert_allclose(np.subtract(after, before), [0.05, 0.1, 0.05, 0, 0, 0], atol=1e-12)  # crank along Y


def test_crank_that_would_stand_still() -> None:
    case_file = stiff_single(crank={"inertia_kg_m2": 1e-4})
    packed = pack(case_file.case, case_file.folder)
    with pytest.raises(VibsimError, match="stand still"):
        crank_speed(torque_course(packed, 20.0), 20.0, packed.period, 0.0, (0.0, 0.0))


def test_no_engine(demo) -> None:
    from dataclasses import replace

    bare = replace(demo, case=demo.case.model_copy(update={"engine": None}))
    with pytest.raises(InputError, match="engine: is missing"):
        size_flywheel(bare, 0.02, [400.0], [None])


def test_firing_evenness() -> None:
    cycle = 4.0 * math.pi
    for count in (2, 3, 5, 8):
        even = np.arange(count) * cycle / count
        assert firing_evenness(even + 0.3, cycle) == pytest.approx(1.0, abs=1e-12)
        assert firing_evenness(np.full(count, 1.0), cycle) == pytest.approx(0.0, abs=1e-12)
    assert firing_evenness(np.array([2.0]), cycle) == 1.0
    # 360, 180, 180: intervals over 240 deviate by 120, -60, -60, std 84.85 of 339.41 with all at once
    assert firing_evenness(np.radians([0.0, 360.0, 540.0]), cycle) == pytest.approx(0.75, abs=1e-12)


def test_torque_evenness() -> None:
    angle = np.linspace(0.0, 4.0 * math.pi, 720, endpoint=False)
    three = 50.0 + 30.0 * np.cos(1.5 * angle) + 4.0 * np.sin(3.0 * angle)
    assert torque_evenness(three, 2.0, 3) == pytest.approx(1.0, abs=1e-12)
    assert torque_evenness(three + 10.0 * np.cos(0.5 * angle), 2.0, 3) == pytest.approx(916.0 / 1016.0, abs=1e-12)
    assert torque_evenness(np.full(720, 3.0), 2.0, 3) == 1.0


def test_pulses_and_reversals() -> None:
    angles, intervals = pulses_of(np.radians([40.0, 400.0, 400.0, 580.0]), 4.0 * math.pi)
    np.testing.assert_allclose(np.degrees(angles), [40.0, 400.0, 580.0])
    np.testing.assert_allclose(np.degrees(intervals), [360.0, 180.0, 180.0])
    assert reversals(np.array([1.0, 2.0, -1.0, 0.0, -2.0, 3.0])) == 2
    assert reversals(np.ones(5)) == 0


def test_groups_of_the_demo(demo_results, demo) -> None:
    """Law: pulses share out the work of the cycle; gears multiply torque, losses take from the driving side."""
    cyclic, output = demo_results.groups["cyclic"], demo_results.groups["output"]
    assert cyclic["pulse_work"].sum() == pytest.approx(cyclic["work"][0], rel=1e-9)
    fired = sorted(math.degrees(c.firing) for c in resolve_layout(demo.case.engine).cylinders)
    np.testing.assert_allclose(np.degrees(cyclic["pulse_angle"]), fired)
    np.testing.assert_allclose(np.degrees(cyclic["pulse_interval"]), [360.0, 180.0, 180.0])
    assert cyclic.attributes["firing_evenness"] == pytest.approx(0.75)
    assert cyclic.attributes["speed_fluctuation"] == pytest.approx(
        demo_results.groups["torque"].attributes["speed_fluctuation"], rel=1e-3
    )
    greatest = output["greatest"][1]
    assert output.labels("place")[:3] == ["crank", "gearbox, gear 1", "wheels, gear 1"]
    assert greatest[1] == pytest.approx(2.95 * 0.97 * greatest[0])
    assert greatest[2] == pytest.approx(2.95 * 0.97 * 3.2 * 0.96 * greatest[0])
    least = output["least"][1]
    assert least[1] == pytest.approx(2.95 / 0.97 * least[0])
    assert output["mean"][0, 0] == pytest.approx(demo_results["cycle/load_torque"].mean())
    assert 0.1 < output["negative_share"][1, 0] < 0.4
    assert output["reversals"][0].max() == 0.0
