"""Contributions to a sensor: they add up, against forces put on another model by hand, against a run in time."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tests.cases import CONFIGS, as_file, mount, skewed
from tests.conftest import DEMO
from tests.mount_cases import law_mount
from vibsim.engine.cycle import solve_at
from vibsim.engine.cycle_setup import conditions_of
from vibsim.engine.layout import resolve_layout
from vibsim.engine.volume import cylinder_volume
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile, build_case, load_case
from vibsim.results.labelled import Group
from vibsim.solver.frequency import frequency_model
from vibsim.solver.frequency_push import cycle_push
from vibsim.solver.order_response import order_response
from vibsim.solver.packed import pack
from vibsim.solver.paths import paths_of
from vibsim.solver.push_parts import push_parts
from vibsim.studies.contributions import EVERY, PAST, contributions
from vibsim.studies.run import run_case

SPEED = 3000.0 * math.pi / 30.0
THREE = (CONFIGS / "inline-3-city-car.toml").read_text(encoding="utf-8")


def odd() -> dict[str, Any]:
    """Unlike cylinders, balance shafts, a hydraulic mount among those of the engine, a chassis on its own mounts."""
    raw = skewed()
    raw["engine"] |= {"gas": {"source": "motored"}, "firing_order": ["1", "3", "2"]}
    raw["body"].append(
        {
            "name": "chassis",
            "mass_kg": 300.0,
            "centre_of_mass_mm": [100.0, 0.0, 0.0],
            "inertia_kg_m2": [20.0, 60.0, 70.0, 0.0, 0.0, 0.0],
        }
    )
    chassis = {"between": ["powertrain", "chassis"], "damping_N_s_per_mm": [0.3, 0.2, 0.3]}
    raw["mount"] = [
        mount("front", **chassis, at_mm=[200.0, 100.0, 0.0]),
        mount("left", **chassis, at_mm=[-100.0, 200.0, 20.0], stiffness_N_per_mm=[90.0, 70.0, 120.0]),
        mount("right", **chassis, at_mm=[-150.0, -200.0, -30.0], stiffness_N_per_mm=[60.0, 80.0, 110.0]),
        mount("wheel left", between=["ground", "chassis"], at_mm=[600.0, 500.0, -200.0]),
        mount("wheel right", between=["ground", "chassis"], at_mm=[600.0, -500.0, -200.0]),
        mount("wheel rear", between=["ground", "chassis"], at_mm=[-600.0, 30.0, -200.0]),
    ]
    raw["sensor"] = [
        {"name": "seat", "body": "chassis", "at_mm": [0.0, 50.0, 300.0]},
        {"name": "head", "body": "powertrain", "at_mm": [10.0, 20.0, 200.0]},
    ]
    raw["run"] = {"kind": "steady", "speed_rpm": 3000.0, "gravity": False}
    return raw


def three(**run: Any) -> CaseFile:
    """The even-firing inline three."""
    raw = tomllib.loads(THREE)
    raw["run"] |= {"duration_s": 0.1, "settle_tolerance": 1e-3, **run}
    return CaseFile(build_case(raw), THREE, CONFIGS, "three")


def test_pushes_of_all_sources_are_the_push_of_the_engine() -> None:
    """Derived: see push_parts; equal but for rounding."""
    case = build_case(odd())
    packed = pack(case, CONFIGS)
    whole, parts = cycle_push(packed, SPEED), push_parts(packed, case.engine, SPEED)
    assert [source.kind for source in parts.sources].count("balance shaft") == 2
    np.testing.assert_allclose(parts.amplitude.sum(axis=0), whole.amplitude, atol=1e-9 * np.abs(whole.amplitude).max())


@pytest.mark.parametrize("sensor", ["seat", "head"])
@pytest.mark.parametrize("law", ["linear", "hydraulic"])
def test_contributions_add_up(sensor: str, law: str) -> None:
    """Law: mounts, cylinders, sources and orders each make the whole; solved in one piece apart. Rounding alone."""
    raw = odd()
    raw["mount"][1] = law_mount(law, **{key: raw["mount"][1][key] for key in ("between", "at_mm")})
    found = contributions(as_file(raw), sensor, SPEED)
    assert found.gap < 1e-9
    for what in EVERY:
        items = found.by(what)
        assert sum(item.share for item in items) == pytest.approx(1.0, abs=1e-9)
        whole = sum(item.amplitude for item in items)
        np.testing.assert_allclose(whole, found.total, atol=1e-9 * np.abs(found.total).max())
    past = next(item for item in found.by("mount") if item.name == PAST)
    assert past.rms < 1e-9 * found.rms if sensor == "seat" else past.rms > 0.1 * found.rms


def test_path_is_mount_force_times_transfer_from_there() -> None:
    """Independent: the force of each mount, put by hand on a chassis that was built without engine and engine mounts.
    Without weight and torque the mounts are not preloaded, so nothing but forces passes; slopes taken by differences
    of 1e-6 m are good to 1e-8."""
    raw = odd()
    case = build_case(raw)
    packed = pack(case, CONFIGS)
    response = order_response(packed, case.sensor, SPEED, 0.0, case.mount)
    paths, rate = paths_of(response), 1.5 * SPEED
    push = response.excitation(1.5)
    forces = response.mounts(1.5, response.displacement(1.5, push))
    bare = raw | {"mount": raw["mount"][3:], "body": raw["body"][1:], "sensor": raw["sensor"][:1]}
    alone_case = build_case({key: value for key, value in bare.items() if key not in ("engine", "run")})
    unloaded = pack(alone_case, CONFIGS)
    unloaded = unloaded._replace(model=unloaded.model._replace(gravity=0.0))
    alone = frequency_model(unloaded, alone_case.sensor, mounts=alone_case.mount)
    felt = paths.felt(rate, push)
    for n in paths.cut:
        place = 1e-3 * np.array(raw["mount"][n]["at_mm"])
        expected = alone.sensors(rate, alone.displacement(rate, alone.force_at(0, place) @ forces[n]))[0]
        np.testing.assert_allclose(felt[n, 0], expected, atol=1e-6 * np.abs(expected).max())


def test_total_is_that_of_the_run_in_time(demo_results: Group) -> None:
    """The linear model leaves out what test_order_response says, 1 % of the orders that matter."""
    file = load_case(DEMO)
    found = contributions(file, "seat", file.case.run.speed, results=demo_results)
    assert found.gap < 1e-6
    assert found.run_gap is not None
    assert found.run_gap < 0.01
    # the resultant's mean square is the sum over orders (Parseval); orders above the twelfth are left out
    assert found.rms == pytest.approx(demo_results["sensors/resultant_rms"][0], rel=0.01)


def test_uneven_firing_is_put_down_to_the_cylinder_that_is_uneven() -> None:
    """The trike's cylinders 1 and 3 fire a turn apart, which cancels order 1/2 in their gas; cylinder 2 is left with
    it (derived: e^{iπ} = −1)."""
    file = load_case(DEMO)
    half = contributions(file, "handlebar", file.case.run.speed).at((0.5,))
    blame = half.by("cylinder")
    assert blame[0].name == "cylinder 2"
    assert blame[0].share > 0.9


def missing(file: CaseFile, index: int) -> np.ndarray:
    """Complex amplitude of orders 1/2, 1, 3/2 ... of the torque that burning in one cylinder gives, solved apart."""
    engine = file.case.engine
    assert engine is not None
    cylinder = resolve_layout(engine).cylinders[index]
    at = conditions_of(engine, file.case.run.speed, file.case.run.load)
    fired, unfired = (solve_at(engine, cylinder, point) for point in (at, replace(at, fuelling=0.0)))
    angle = fired.angle[:-1]
    own = (fired.pressure - unfired.pressure)[:-1] * cylinder_volume(cylinder, angle)[1]
    lines = 2.0 * np.fft.rfft(own)[1:13] / len(own)
    return lines * np.exp(-0.5j * np.arange(1, 13) * cylinder.firing)


@pytest.fixture(scope="module")
def dead() -> tuple[Group, Group]:
    """Runs of the even-firing inline three in time: sound, and with cylinder 2 misfiring."""
    return run_case(three()), run_case(three(misfire={"cylinder": "2", "pattern": [0]}))


def gas_orders(results: Group) -> np.ndarray:
    """Complex amplitude of the gas torque at orders 1/2 to 6."""
    return 2.0 * np.fft.rfft(results["cycle/gas_torque"])[1:13] / len(results["cycle/gas_torque"])


def test_misfire_raises_the_orders_that_even_firing_cancels(dead: tuple[Group, Group]) -> None:
    """Derived: three equal cylinders 240° apart leave only multiples of 3/2. Without one's burning every other order
    is that of the burning missed, and the multiples lose one such phasor of their three. The cycle's table of 2° and
    the pressure's cubics leave 5e-4, as in test_misfire."""
    sound, broken = (gas_orders(results) for results in dead)
    orders, lost = 0.5 * np.arange(1, 13), missing(three(), 1)
    cancelled = np.mod(orders, 1.5) > 1e-9
    assert np.abs(sound[cancelled]).max() < 1e-6 * np.abs(sound).max()
    tolerance = 5e-4 * np.abs(lost).max()
    np.testing.assert_allclose(broken[cancelled], -lost[cancelled], atol=tolerance)
    np.testing.assert_allclose(broken[~cancelled], (sound - lost)[~cancelled], atol=tolerance)
    assert np.all(np.abs(broken[cancelled]) > 10.0 * tolerance)


def test_misfire_is_felt_at_those_orders_and_put_down_to_gas(dead: tuple[Group, Group]) -> None:
    """At the seat: half order, silent while all fire, leads; contributions with the misfire in force are those of the
    run, and its gas is that of the two that burn, to what the linear model leaves out (1 %, of a misfire 3 %)."""
    file = three(misfire={"cylinder": "2", "pattern": [0]})
    sensor = file.case.sensor[0].name
    speed = file.case.run.speed
    before = contributions(three(), sensor, speed, results=dead[0])
    after = contributions(file, sensor, speed, results=dead[1])
    assert before.run_gap < 0.03
    assert after.run_gap < 0.03
    assert (before.misfire, after.misfire) == ("", "2")
    for found, leads in ((before, False), (after, True)):
        half = found.at((0.5,))
        assert (half.rms > 10.0 * before.at((0.5,)).rms) == leads
    assert after.at((0.5,)).by("source")[0].name == "gas"


def test_misfire_of_every_other_cycle_has_quarter_orders_felt() -> None:
    """Derived: the period is two cycles, so orders come in quarters; the parts still add up."""
    file = three(misfire={"cylinder": "2", "every": 2})
    found = contributions(file, file.case.sensor[0].name, file.case.run.speed)
    assert found.orders[0] == 0.25
    assert found.gap < 1e-9
    assert found.at((0.25,)).rms > 0.0


def test_bad_words_say_what_is_allowed() -> None:
    file = as_file(odd())
    for sensor, mounts_of, words in (
        ("sit", None, "--sensor: got 'sit'; allowed: seat, head"),
        ("seat", "chasis", "--mounts-of: got 'chasis'; no such body; did you mean chassis"),
    ):
        with pytest.raises(InputError, match=words):
            contributions(file, sensor, SPEED, mounts_of=mounts_of)
    with pytest.raises(InputError, match=r"--orders: got 0.7; must be 0.5 to 12 in steps of 0.5"):
        contributions(file, "seat", SPEED).at((0.7,))


def test_command_tells_and_draws(command, tmp_path) -> None:
    code, out, _ = command("contributions", DEMO, "--sensor", "seat", "-o", tmp_path, "--json")
    assert code == 0
    import json

    found = json.loads(out)
    assert found["sum_less_total"] < 1e-6
    assert found["verdict"].startswith("mounts front right and front left at order 1 make 52 % of what seat feels")
    assert found["blame"]["mounts"] == ["front right", "front left"]
    assert {row["by"] for row in found["contributions"]} == set(EVERY)
    assert (tmp_path / "contributions.png").stat().st_size > 10_000
    code, _, err = command("contributions", DEMO, "--sensor", "seta")
    assert code == 2
    assert "did you mean seat?" in err
