"""Load cases and preloads: what mounts carry is what loads them, told by laws and an independent assembly."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import root
from scipy.spatial.transform import Rotation

from tests import cases
from vibsim.inputs.errors import RunFailure
from vibsim.inputs.loader import load_case
from vibsim.inputs.mount_models import ProgressiveMount
from vibsim.inputs.statics_models import Driveline, Grip
from vibsim.studies.load_cases import deliver, held_bodies
from vibsim.studies.mount_curves import mount_curves, mount_rates
from vibsim.studies.statics import Statics, envelope, find_statics

GRAVITY = 9.80665
DEMO = cases.CONFIGS / "v3-80-trike.toml"
CITY = cases.CONFIGS / "inline-3-city-car.toml"


def block(mounts: list[dict[str, Any]], **more: Any) -> dict[str, Any]:
    """A body of 80 kg on mounts to the ground, its centre of mass at (20, -10, 120) mm."""
    body = {
        "name": "block",
        "mass_kg": 80.0,
        "centre_of_mass_mm": [20.0, -10.0, 120.0],
        "inertia_kg_m2": [2.0, 3.0, 3.5, 0.1, -0.2, 0.05],
    }
    return {"body": [body], "mount": mounts} | more


def stop_like(name: str, at: list[float], doubling_mm: float) -> dict[str, Any]:
    """Soft for a fraction of a millimetre, then ever stiffer, along axes of its own."""
    return cases.mount(
        name,
        between=["ground", "block"],
        at_mm=at,
        law="progressive",
        axes_deg=[10.0, -25.0, 5.0],
        stiffness_N_per_mm=[60.0, 40.0, 110.0],
        doubling_deflection_mm=[doubling_mm] * 3,
    )


CORNERS = ([300.0, 200.0, 0.0], [280.0, -220.0, 30.0], [-350.0, 20.0, -20.0], [-100.0, 240.0, 60.0])
HARD = [
    {"name": "bump", "acceleration_g": [0.0, 0.0, 2.0]},
    {"name": "kerb", "acceleration_g": [-5.0, 1.0, 2.0]},
    {"name": "up", "acceleration_g": [1.0, -1.0, -8.0]},
]


def independent(raw: dict[str, Any], acceleration: np.ndarray) -> np.ndarray:
    """Displacement (6) by SciPy's root finding on forces assembled here from the case's own numbers."""
    body = raw["body"][0]
    centre, mass = 1e-3 * np.array(body["centre_of_mass_mm"]), body["mass_kg"]

    def forces(x: np.ndarray, share: float) -> np.ndarray:
        turn = Rotation.from_rotvec(x[3:]).as_matrix()
        total = np.concatenate([share * mass * (np.array([0.0, 0.0, -GRAVITY]) - acceleration), np.zeros(3)])
        for mount in raw["mount"]:
            at = 1e-3 * np.array(mount["at_mm"])
            own = Rotation.from_euler("xyz", mount["axes_deg"], degrees=True).as_matrix()
            arm = turn @ (at - centre)
            stretch = own.T @ (centre + x[:3] + arm - at)
            doubling = 1e-3 * np.array(mount["doubling_deflection_mm"])
            push = own @ (-1e3 * np.array(mount["stiffness_N_per_mm"]) * stretch * (1 + (stretch / doubling) ** 2 / 3))
            total += np.concatenate([push, np.cross(arm, push)])
        return total

    x = np.zeros(6)
    for share in np.linspace(0.05, 1.0, 20):
        found = root(forces, x, args=(share,), method="hybr", options={"xtol": 1e-13})
        x = found.x
    # closed to a thousandth of what is compared below
    assert np.abs(forces(x, 1.0)).max() < 1e-9 * mass * 10.0 * GRAVITY
    return x


@pytest.mark.parametrize("doubling_mm", [0.3, 2.0])
@pytest.mark.parametrize("case", HARD, ids=lambda case: case["name"])
def test_continuation_finds_what_scipy_finds(doubling_mm: float, case: dict[str, Any]) -> None:
    """Reference: SciPy's root finding with the load brought on in twenty steps, forces assembled independently. At
    0.3 mm the mounts are engaged stops: their stiffness grows a hundredfold on the way."""
    raw = block([stop_like(f"m{n}", at, doubling_mm) for n, at in enumerate(CORNERS)], load_case=[case])
    statics = find_statics(cases.as_file(raw))
    expected = independent(raw, GRAVITY * np.array(case["acceleration_g"]))
    # forces are closed to 1e-8 of the load by either; a stop passes that on to a third of it in displacement
    assert statics.loads[0].displacement[0] == pytest.approx(expected, abs=1e-7 * np.abs(expected).max())


def engine_on(statics: Statics) -> np.ndarray:
    """Sign (mounts) of each mount's force on the engine's body; 0 where it does not act on it."""
    return np.array(
        [0.0 if statics.moving not in pair else 2.0 * pair.index(statics.moving) - 1.0 for pair in statics.between]
    )


@pytest.mark.parametrize("path", [DEMO, CITY], ids=lambda path: path.stem)
@pytest.mark.parametrize("chassis", ["held", "carried"])
def test_mounts_carry_the_inertial_load(path, chassis) -> None:
    """Law (d'Alembert): the mounts' forces on the engine's body sum to mass × (acceleration − g)."""
    case_file = load_case(path)
    statics = find_statics(case_file, chassis)
    mass = case_file.case.body[0].mass  # moving parts included
    for standing in statics.gears + statics.loads:
        load = mass * (np.array([0.0, 0.0, -GRAVITY]) - np.array(standing.case.acceleration))
        carried = engine_on(statics) @ standing.force
        whole = (mass + sum(body.mass for body in case_file.case.body[1:])) * 10.0 * GRAVITY
        assert carried + load == pytest.approx(np.zeros(3), abs=1e-8 * whole)  # closed to 1e-8 of the whole load
        if chassis == "held":
            assert standing.load == pytest.approx(load, rel=1e-12)


def test_the_suspension_carries_everything() -> None:
    """Law (d'Alembert): with the chassis carried, the forces from the ground sum to all mass × (acceleration − g)."""
    case_file = load_case(DEMO)
    statics = find_statics(case_file, "carried")
    mass = sum(body.mass for body in case_file.case.body)
    from_ground = np.array(["ground" in pair for pair in statics.between], dtype=float)
    for standing in statics.loads:
        load = mass * (np.array([0.0, 0.0, -GRAVITY]) - np.array(standing.case.acceleration))
        assert from_ground @ standing.force + load == pytest.approx(np.zeros(3), abs=1e-7 * np.linalg.norm(load))


@pytest.mark.parametrize(("path", "leaves"), [(DEMO, "gearbox"), (CITY, "final_drive")])
def test_mounts_react_what_the_driveline_delivers(path, leaves: str) -> None:
    """Law: the mounts' moments about the engine's centre of mass sum to the torque that leaves it."""
    case_file = load_case(path)
    statics = find_statics(case_file)
    driveline, body = case_file.case.driveline, case_file.case.body[0]
    assert driveline is not None
    assert driveline.leaves_at == leaves
    for gear, standing in enumerate(statics.gears[1:5]):
        ratio = driveline.gear_ratios[gear] * driveline.gearbox_efficiency
        if leaves == "final_drive":
            ratio *= driveline.final_drive_ratio * driveline.final_drive_efficiency
        assert standing.delivery is not None
        torque = ratio * statics.engine_torque
        assert standing.delivery.torque == pytest.approx(torque, rel=1e-12)
        assert not standing.delivery.grip_limits
        rest = standing.displacement[0]
        centre = np.array(body.centre_of_mass) + rest[:3]
        # the force acts where the second body, held as drawn, has the mount
        arms = np.array([mount.at for mount in case_file.case.mount[: len(statics.mounts)]]) - centre
        moment = np.cross(arms, engine_on(statics)[:, None] * standing.force).sum(axis=0)
        out = Rotation.from_rotvec(rest[3:]).apply(standing.delivery.direction)
        # moving parts stand off the mean by grams times millimetres at crank angle zero: below 0.2 N m of their weight
        assert moment == pytest.approx(torque * out, abs=0.2)


def test_held_and_carried_load_the_engine_mounts_alike() -> None:
    """Derived: the engine's mounts feel the chassis only by its turns: forces turn with it, as the load in its axes."""
    case_file = load_case(CITY)
    held, carried = find_statics(case_file, "held"), find_statics(case_file, "carried")
    for one, other in zip(held.loads, carried.loads, strict=True):
        turn = float(np.linalg.norm(other.displacement[1, 3:]))
        size = np.linalg.norm(one.load) + np.linalg.norm(one.force, axis=1).sum()
        count = len(held.mounts)
        assert np.abs(one.force - other.force[:count]).max() <= (turn + 1e-6) * size


def four_corners() -> dict[str, Any]:
    mounts = [
        cases.mount(f"{x} {y}", between=["ground", "block"], at_mm=[20.0 + x, -10.0 + y, 120.0])
        for x in (-300.0, 300.0)
        for y in (-200.0, 200.0)
    ]
    return block(mounts)


def test_clearance_of_a_block_that_sinks() -> None:
    """Derived: four like mounts level with the centre of mass give δ = m·(g + a)/(4·k), straight down."""
    raw = four_corners()
    raw["load_case"] = [{"name": "bump", "acceleration_g": [0.0, 0.0, 2.0]}]
    raw["point"] = [
        {"name": "any", "body": "block", "at_mm": [100.0, 0.0, 0.0], "clearance_mm": 5.0},
        {"name": "ways", "body": "block", "at_mm": [0.0, 0.0, 0.0], "clearance_each_way_mm": [9, 9, 9, 9, 1, 2]},
        {"name": "tight", "body": "block", "at_mm": [0.0, 0.0, 0.0], "clearance_each_way_mm": [9, 9, 9, 9, 9, 2.1]},
        {"name": "free", "body": "block", "at_mm": [0.0, 0.0, 0.0]},
    ]
    statics = find_statics(cases.as_file(raw))
    sinks = 80.0 * 3.0 * GRAVITY / (4.0 * 250e3)
    any_way, ways, tight, free = statics.loads[0].points
    assert any_way.move == pytest.approx([0.0, 0.0, -sinks], abs=1e-9)
    assert any_way.left == pytest.approx(5e-3 - sinks, abs=1e-9)
    assert (ways.towards, ways.left) == ("-Z", pytest.approx(2e-3 - sinks, abs=1e-9))
    assert ways.left is not None and ways.left < 0.0  # it touches
    assert tight.left == pytest.approx(2.1e-3 - sinks, abs=1e-9)
    assert free.left is None
    assert free.move == pytest.approx(any_way.move, abs=1e-9)


def test_points_turn_with_their_body_and_are_seen_from_the_other() -> None:
    """Law: a point moves by its body's shift and turn; seen from a body that moves as it does, it stays."""
    case_file = load_case(CITY)
    statics = find_statics(case_file, "carried")
    drawn = np.array(case_file.case.point[0].at)
    for standing in statics.loads:
        places = []
        for body, move in zip(case_file.case.body, standing.displacement, strict=True):
            centre = np.array(body.centre_of_mass)
            places.append((centre, move[:3], Rotation.from_rotvec(move[3:])))
        (engine, shift, turn), (chassis, sway, lean) = places
        now = engine + shift + turn.apply(drawn - engine)
        seen = chassis + lean.inv().apply(now - chassis - sway)
        assert standing.points[0].move == pytest.approx(seen - drawn, abs=1e-12)


def test_envelope_holds_every_case() -> None:
    statics = find_statics(load_case(DEMO))
    standings = statics.gears + statics.loads
    for n, found in enumerate(envelope(statics)):
        force = np.array([standing.force[n] for standing in standings])
        assert found.least == pytest.approx(force.min(axis=0))
        assert found.greatest == pytest.approx(force.max(axis=0))
        worst = next(standing for standing in standings if standing.case.name == found.size_in)
        assert np.linalg.norm(worst.force[n]) == pytest.approx(found.size)
        for axis in range(3):
            named = next(standing for standing in standings if standing.case.name == found.greatest_in[axis])
            assert named.force[n, axis] == found.greatest[axis]


def test_own_axes_turn_with_the_first_body() -> None:
    """Law: a linear mount's force in its own axes is its rates times its deflection there."""
    case_file = load_case(DEMO)
    statics = find_statics(case_file)
    for standing in statics.loads:
        for n in (0, 1):  # the linear ones, first body the engine
            rates = np.array(case_file.case.mount[n].stiffness)
            assert standing.own_force[n] == pytest.approx(-rates * standing.own_deflection[n], abs=1e-9)


def test_load_deflection_curves_are_the_laws() -> None:
    """Reference: the laws' own formulas, linear and progressive, and every load case's point lies on them."""
    case_file = load_case(DEMO)
    statics = find_statics(case_file)
    for n, curve in enumerate(mount_curves(case_file, statics)):
        mount = case_file.case.mount[n]
        assert curve.name == mount.name
        for axis in range(3):
            stretch = curve.deflection[axis]
            expected = mount.stiffness[axis] * stretch
            if isinstance(mount, ProgressiveMount):
                expected = expected * (1.0 + (stretch / mount.doubling_deflection[axis]) ** 2 / 3.0)
            assert curve.force[axis] == pytest.approx(expected, abs=1e-9 * np.abs(expected).max())
            for standing in statics.loads:
                on_curve = np.interp(standing.own_deflection[n, axis], stretch, curve.force[axis])
                # linear between 81 points: the curvature of a law that doubles, over 1/40 of the travel
                assert -standing.own_force[n, axis] == pytest.approx(on_curve, abs=1e-3 * curve.force[axis].max())


def test_tangent_rates_are_the_mounts_own() -> None:
    """Law: as drawn a linear and a progressive mount have the rates they are given."""
    case_file = load_case(CITY)
    expected = [mount.stiffness for mount in case_file.case.mount]
    # the progressive one's stiffness, averaged over 1e-5 m, rises by (1e-5 / 6e-3)²/3
    assert mount_rates(case_file) == pytest.approx(np.array(expected), rel=2e-6)


def line_up(**changes: Any) -> Driveline:
    given: dict[str, Any] = {"gear_ratios": (3.0, 2.0), "reverse_ratio": 3.5, "final_drive_ratio": 4.0}
    return Driveline(**(given | changes))


def delivered(driveline: Driveline, gear: int | str, torque: float):
    case, packed = cases.packed(cases.single())
    assert case.engine is not None and packed.layout is not None
    return deliver(driveline, case.engine, packed.layout, gear, torque)


def test_driveline_keeps_the_power_that_is_not_lost() -> None:
    """Derived: torque × speed at the wheels is the engine's times the efficiencies; in overrun the other way round."""
    driveline = line_up(gearbox_efficiency=0.9, final_drive_efficiency=0.8)
    assert delivered(driveline, 1, 100.0).at_wheels == pytest.approx(100.0 * 12.0 * 0.72)
    assert delivered(driveline, "reverse", 100.0).at_wheels == pytest.approx(-100.0 * 14.0 * 0.72)
    assert delivered(driveline, 2, -30.0).at_wheels == pytest.approx(-30.0 * 8.0 / 0.72)
    assert delivered(driveline, "neutral", 100.0).at_wheels == 0.0


@pytest.mark.parametrize(
    ("leaves_at", "torque", "direction"),
    [("crank", 100.0, [0, 1, 0]), ("gearbox", 300.0, [0, 1, 0]), ("final_drive", 1200.0, [0, 1, 0])],
)
def test_where_the_torque_leaves(leaves_at: str, torque: float, direction: list[float]) -> None:
    found = delivered(line_up(leaves_at=leaves_at), 1, 100.0)
    assert found.torque == pytest.approx(torque)
    assert found.direction == pytest.approx(direction)
    turned = delivered(line_up(leaves_at=leaves_at, output_direction=(-3.0, 0.0, 4.0)), 1, 100.0)
    assert turned.direction == pytest.approx([-0.6, 0.0, 0.8])


def test_grip_bounds_the_torque() -> None:
    """Derived: friction coefficient × axle load × radius, at the wheels; upstream in proportion."""
    driveline = line_up(grip=Grip(friction_coefficient=0.9, axle_load=400.0, wheel_radius=0.3), leaves_at="gearbox")
    most = 0.9 * 400.0 * GRAVITY * 0.3
    found = delivered(driveline, 1, 100.0)
    assert found.grip_limits
    assert found.at_wheels == pytest.approx(most)
    assert found.torque == pytest.approx(most / 4.0)
    assert not delivered(driveline, 1, 10.0).grip_limits


def test_what_is_held() -> None:
    """The chassis is held, the engine never; where that would leave nothing to move, nothing is held."""
    assert held_bodies(load_case(DEMO).case) == (1,)
    assert held_bodies(cases.as_file(four_corners()).case) == ()


def test_a_load_case_nothing_holds_is_named() -> None:
    raw = four_corners()
    for mount in raw["mount"]:
        mount["stiffness_N_per_mm"] = [0.0, 150.0, 250.0]
    raw["load_case"] = [{"name": "bump", "acceleration_g": [0, 0, 2]}, {"name": "brake", "acceleration_g": [-1, 0, 0]}]
    with pytest.raises(RunFailure, match=r"load case 'brake': no static equilibrium: body 'block' is not held in X"):
        find_statics(cases.as_file(raw))


def test_residual_is_small_and_told() -> None:
    statics = find_statics(load_case(DEMO))
    assert all(standing.residual < 1e-8 * 62.0 * 10.0 * GRAVITY for standing in statics.loads)
    assert math.isfinite(statics.engine_torque)
