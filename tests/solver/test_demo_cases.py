"""The shipped demo vehicles: they load, stand on their mounts, and run to a steady state."""

from __future__ import annotations

import numpy as np
import pytest

from tests.cases import CONFIGS
from vibsim.engine.operating_point import operating_point
from vibsim.inputs.loader import load_case
from vibsim.results.hdf5 import read_results
from vibsim.solver.crank_torque import mean_inertia
from vibsim.solver.simulate import simulate
from vibsim.studies.modes import find_modes
from vibsim.studies.overview import overview
from vibsim.studies.run import run_case, run_to_file

DEMOS = sorted(CONFIGS.glob("*.toml"))
LONG = ("v3-80-trike-journey", "v3-80-trike-programme")  # to compile
ELECTRIC = CONFIGS / "v3-80-trike-electric.toml"
PROGRAMME = CONFIGS / "v3-80-trike-programme.toml"
ROUGH = CONFIGS / "v3-80-trike-class-c.toml"
JOURNEY = CONFIGS / "v3-80-trike-journey.toml"
STANDING = [pytest.param(path, marks=pytest.mark.slow if path.stem in LONG else ()) for path in DEMOS]
CRUISING = [path for path in DEMOS if load_case(path).case.run.kind == "steady"]
SHIPPED = [*CRUISING, *sorted((CONFIGS / "layouts").glob("*.toml"))]


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_demo_is_marked_invented_and_whole(path):
    assert "# Demo data, invented: no real engine or vehicle." in path.read_text(encoding="utf-8").splitlines()[:5]
    case = load_case(path).case
    assert case.case.notes == "Demo data, invented."
    assert [body.name for body in case.body if body.name != "subframe"] == ["powertrain", "chassis"]
    assert len(case.sensor) >= 3
    assert {sensor.body for sensor in case.sensor} - {person.name for person in case.occupant} == {"chassis"}


@pytest.mark.parametrize("path", STANDING, ids=lambda path: path.stem)
def test_demo_stands_on_its_mounts(path):
    seen = overview(load_case(path))
    assert seen.statics_problem == ""
    weight = 9.80665 * sum(row["mass_kg"] for row in seen.masses)
    on_ground = [mount for mount in seen.mounts if "ground" in mount.between]
    feet = [mount.force[2] for mount in on_ground] + [wheel.force[2] for wheel in seen.wheels]
    assert sum(feet) == pytest.approx(weight, rel=1e-6)
    # bands of common practice, no source: engine mounts sag a few millimetres, no wheel is lifted
    assert all(1e-3 < mount.sag < 15e-3 for mount in seen.mounts if "powertrain" in mount.between)
    assert all(force > 0.1 * weight for force in feet)


@pytest.mark.parametrize("path", CRUISING, ids=lambda path: path.stem)
def test_demo_powertrain_modes(path):
    # isolation begins above √2 of a natural frequency (Den Hartog, from memory): the first order at the run's speed
    # is isolated in every mode of the powertrain; the lower bound is common practice, no source
    case_file = load_case(path)
    rows = find_modes(case_file).table()
    share = [sum(row["energy"]["powertrain"].values()) for row in rows]
    mounted = [row["frequency_Hz"] for row, part in zip(rows, share, strict=True) if part > 0.6]
    assert len(mounted) >= 4
    assert min(mounted) > 5.0
    assert max(mounted) < case_file.case.run.speed / (2.0 * np.pi) / np.sqrt(2.0)
    assert all(0.02 < row["damping_ratio"] < 1.0 for row in rows)


@pytest.mark.slow
@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_case_settles(path):
    results = run_case(load_case(path))
    assert results.attributes["settled"]
    torque = results["torque/mean"][results.groups["torque"].labels("torque").index("net")]
    assert torque == pytest.approx(results.attributes["steady_load_torque_N_m"], rel=1e-3)
    assert torque > 0.0
    if path in CRUISING:  # what a chassis feels of a well-mounted engine: common practice, no source
        assert 1e-3 < results["sensors/resultant_rms"].max() < 1.0


def test_the_electric_trike_is_the_trike_with_a_compressor():
    """Beside engine and run nothing differs; its step meets the boost and ends at the steady full load, which the
    crank's swing shifts by 2e-3."""
    electric, plain = (load_case(path).case for path in (ELECTRIC, CONFIGS / "v3-80-trike.toml"))
    parts = ("body", "mount", "sensor", "driveline", "point")
    assert all(getattr(electric, part) == getattr(plain, part) for part in parts)
    results = run_case(load_case(ELECTRIC))
    found = results.groups["load_step"].attributes
    full = operating_point(electric.engine, CONFIGS, electric.run.speed, 1.0)
    assert found["brake_torque_after_N_m"] == pytest.approx(full.brake_torque, rel=4e-3)
    assert found["boost_after_Pa"] == pytest.approx(33e3, rel=5e-3)
    assert found["time_to_50_percent_of_target_s"] < found["time_to_90_percent_of_target_s"] < 1.0


@pytest.mark.slow
def test_the_trike_is_started_idled_run_up_and_stopped():
    """Beside what starts and holds it nothing differs from the trike. From key to idle, and from key-off to rest, the
    works of the recorded torques are the crank's kinetic energy (½·I·φ̇², I what is felt on a still block)."""
    programme, plain = (load_case(path).case for path in (PROGRAMME, CONFIGS / "v3-80-trike.toml"))
    assert all(getattr(programme, part) == getattr(plain, part) for part in ("body", "mount", "sensor"))
    solution = simulate(programme, CONFIGS)
    outcomes = {outcome.kind: outcome for outcome in solution.outcomes}
    assert [o.kind for o in solution.outcomes] == ["start", "idle", "run_up", "coast_down", "idle", "stop"]
    for kind, sign in (("start", 1.0), ("stop", -1.0)):
        found = outcomes[kind].figures
        work = sum(found.get(f"{name}_work_J", 0.0) for name in ("gas", "starter"))
        work -= sum(found[f"{name}_work_J"] for name in ("load", "friction", "accessory"))
        speed = found["last_speed_rad_per_s" if sign > 0 else "first_speed_rad_per_s"]
        energy = sign * 0.5 * mean_inertia(solution.packed) * speed**2
        # felt inertia swings by 5 % over a turn, and the block takes up to as much again: 10 %, and 0.1 % of the works
        assert work == pytest.approx(energy, abs=0.1 * abs(energy) + 1e-3 * found["friction_work_J"]), kind
    assert abs(outcomes["idle"].figures["speed_error_rad_per_s"]) < 0.05 * 115.0
    assert outcomes["stop"].figures["reversals"] >= 1.0
    at_rest = solution.over_time.sensor_acceleration[-50:]
    assert np.abs(at_rest).max() < 0.05


@pytest.mark.slow
def test_the_trike_over_a_class_c_road_is_the_trike_on_wheels():
    """Beside the run and who touches what nothing differs; the road shakes the seat far more than the engine does."""
    rough, plain = (load_case(path).case for path in (ROUGH, CONFIGS / "v3-80-trike-road.toml"))
    parts = ("engine", "body", "mount", "wheel", "anti_roll_bar", "occupant", "driveline", "point")
    assert all(getattr(rough, part) == getattr(plain, part) for part in parts)
    results = run_case(load_case(ROUGH))
    assert results.attributes["settled"] and results["time"][-1] == 20.0
    weight = 9.80665 * sum(row["mass_kg"] for row in overview(load_case(ROUGH)).masses)
    assert results["road/force_mean"].sum() == pytest.approx(weight, rel=0.01)  # no rise or fall over 20 s
    felt = results.groups["exposure"].labels("felt_at").index("rider")
    # a seat on a class C road at 60 km/h: band of common practice for light vehicles, no source
    assert 0.3 < results["exposure/a8"][felt] < 2.0


@pytest.mark.slow
def test_the_trike_is_started_run_up_driven_over_a_road_and_stopped(tmp_path):
    """One file, one run: the trike on wheels with the programme's starter and governor. Wheels and people are in the
    record on disk; the road is level outside its step; the tyres carry the weight; a brake holds the crank."""
    journey, rough, programme = (load_case(path).case for path in (JOURNEY, ROUGH, PROGRAMME))
    parts = ("body", "mount", "wheel", "anti_roll_bar", "occupant", "sensor", "driveline", "point")
    assert all(getattr(journey, part) == getattr(rough, part) for part in parts)
    assert (journey.engine.starter, journey.engine.governor) == (programme.engine.starter, programme.engine.governor)
    run_to_file(load_case(JOURNEY), tmp_path / "journey.h5")
    results = read_results(tmp_path / "journey.h5")
    kinds = ["start", "idle", "run_up", "road", "coast_down", "idle", "stop"]
    assert [results.groups["steps"].groups[str(n + 1)].attributes["kind"] for n in range(7)] == kinds
    over, found = results["step"] == 3, results.groups["steps"].groups["4"].attributes
    assert np.abs(results["road_height"][~over]).max() < 1e-6 < 3e-3 < results["road_height"][over].std()
    weight = 9.80665 * sum(row["mass_kg"] for row in overview(load_case(JOURNEY)).masses)
    pressed = results["tyre_force"][over][:, :, 2].sum(axis=1).mean()
    assert pressed == pytest.approx(weight, rel=0.02)  # rise and fall over 8 s
    assert abs(found["speed_error_rad_per_s"]) < 0.01 * found["mean_speed_rad_per_s"]
    assert (
        results["occupant_acceleration"][over].std()
        > 3.0 * results["occupant_acceleration"][results["step"] == 1].std()
    )
