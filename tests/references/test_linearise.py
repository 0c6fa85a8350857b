"""The jitted linear model against an assembly by hand, and modes under a preload against a closed form."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from tests import cases
from tests.laws.test_symmetry import whole_case
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import load_case
from vibsim.solver.linearise import linearise
from vibsim.solver.start import AtRest
from vibsim.structure.elastic_axes import shift_matrix
from vibsim.structure.rotation import turns_about_fixed_axes
from vibsim.studies.frequency_map import frequency_map
from vibsim.studies.modes import find_modes

RPM = math.pi / 30.0


def two_blocks(gravity: bool = False) -> dict[str, Any]:
    """Two bodies and mounts with axes of their own, some to the ground."""
    inertia = [2.0, 3.0, 3.5, 0.1, -0.2, 0.05]
    bodies = [
        {"name": name, "mass_kg": mass, "centre_of_mass_mm": at, "inertia_kg_m2": inertia}
        for name, mass, at in (("one", 60.0, [50.0, 20.0, 300.0]), ("two", 200.0, [-100.0, 0.0, 200.0]))
    ]
    pairs = [["one", "two"], ["two", "one"], ["one", "two"], ["ground", "two"], ["two", "ground"], ["one", "ground"]]
    places = [[300, 200, 100], [-250, 150, 120], [20, -240, 90], [500, 400, 0], [-600, 300, 20], [10, -500, -30]]
    mounts = [
        cases.mount(
            f"m{n}",
            between=pair,
            at_mm=place,
            axes_deg=[7.0 * n, -11.0 * n, 5.0 * n],
            stiffness_N_per_mm=[90.0 + 10.0 * n, 60.0, 120.0],
            damping_N_s_per_mm=[0.3, 0.2 + 0.1 * n, 0.4],
        )
        for n, (pair, place) in enumerate(zip(pairs, places, strict=True))
    ]
    return {"body": bodies, "mount": mounts, "run": {"kind": "free", "speed_rpm": 0.0, "gravity": gravity}}


def assembled(raw: dict[str, Any], key: str) -> np.ndarray:
    """Σ over mounts of Jᵀ·k·J about the drawn place, J the stretch per motion of both bodies (derived)."""
    names = [body["name"] for body in raw["body"]]
    total = np.zeros((6 * len(names),) * 2)
    for mount in raw["mount"]:
        turn = turns_about_fixed_axes(np.radians(mount["axes_deg"]))
        stretch = np.zeros((3, len(total)))
        for sign, name in zip((-1.0, 1.0), mount["between"], strict=True):
            if name in names:
                b = names.index(name)
                arm = 1e-3 * (np.array(mount["at_mm"]) - np.array(raw["body"][b]["centre_of_mass_mm"]))
                stretch[:, 6 * b : 6 * b + 6] += sign * np.linalg.inv(shift_matrix(arm))[:3]
        total += stretch.T @ turn @ np.diag(1e3 * np.array(mount[key])) @ turn.T @ stretch
    return total


def test_matrices_of_two_blocks() -> None:
    """Reference: assembled by hand. Central differences of linear forces: 1e-16/1e-6 of rounding, and the third
    derivative by the turns, 1e-12."""
    raw = two_blocks()
    linear = linearise(cases.packed(raw)[1])
    for found, key in ((linear.stiffness, "stiffness_N_per_mm"), (linear.damping, "damping_N_s_per_mm")):
        expected = assembled(raw, key)
        assert found == pytest.approx(expected, abs=1e-9 * np.abs(expected).max())


def test_slopes_are_the_differences_of_the_forces() -> None:
    """Law: with everything in it, at a place that is no equilibrium, under half the load."""
    _, packed = cases.packed(whole_case())
    rest = AtRest(packed, torque=40.0)
    place = 1e-3 * np.random.default_rng(5).normal(size=6 * len(packed.names))
    slope, step = rest.slope(place, 0.5), 3e-6
    for n in range(place.size):
        shift = np.zeros(place.size)
        shift[n] = step
        difference = (rest.forces(place + shift, 0.5) - rest.forces(place - shift, 0.5)) / (2.0 * step)
        # a step thrice as long: the progressive mounts' third derivative k/d₂² with d₂ of millimetres, times 1.5e-12
        assert slope[:, n] == pytest.approx(difference, abs=1e-6 * np.abs(slope).max())


def test_state_under_way_matches_the_forces() -> None:
    _, packed = cases.packed(whole_case())
    rest = AtRest(packed)
    found = rest.equilibrium()
    assert np.abs(rest.forces(found.displacement)).max() == pytest.approx(found.residual)
    assert rest.state(found.displacement)[:3] == pytest.approx(packed.centres[0] + found.displacement[0, :3])


def beam(torque: float) -> dict[str, Any]:
    """An engine held in pitch by progressive mounts at ±300 mm, that its torque winds up."""
    raw = cases.single()
    raw["engine"] |= {"piston": {"mass_g": 0.0}, "rod": {"mass_g": 0.0}}
    raw["engine"]["load"] = {"law": "constant", "torque_N_m": torque, "reacted_by": "ground"}
    raw["body"][0] |= {"centre_of_mass_mm": [0.0, 0.0, 0.0], "moving_parts": "separate"}
    raw["mount"] = [
        cases.mount(
            f"{x} {y}",
            at_mm=[x, y, 0.0],
            law="progressive",
            stiffness_N_per_mm=[90.0, 60.0, 120.0],
            doubling_deflection_mm=[1e6, 1e6, 2.0],
        )
        for x in (-300.0, 300.0)
        for y in (-200.0, 200.0)
    ]
    return raw


@pytest.mark.parametrize("torque", [0.0, 200.0])
def test_modes_stiffen_under_torque(torque: float) -> None:
    """Derived: each mount has k·(1 + (d/d₂)²) where torque T = 4·a·k·d·(1 + d²/(3·d₂²)) leaves it."""
    rate, arm, doubling = 120e3, 0.3, 2e-3
    roots = np.roots([1.0 / (3.0 * doubling**2), 0.0, 1.0, -torque / (4.0 * arm * rate)])
    stretch = float(roots[np.abs(roots.imag) < 1e-9].real[0])
    expected = math.sqrt(4.0 * arm**2 * rate * (1.0 + (stretch / doubling) ** 2) / 1.22) / (2.0 * math.pi)
    result = find_modes(cases.as_file(beam(torque)), torque=torque)
    assert result.axes.decoupling is not None
    found = result.modes.frequency[result.axes.decoupling[1]]
    # the mount's stretch is a·sin of the turn, and its arm a·cos: the square of at most 7e-3 rad
    assert found == pytest.approx(expected, rel=1e-4)


def test_modes_in_gear_stand_under_what_the_driveline_delivers() -> None:
    """Derived: with the torque leaving at the crank, in a gear of any ratio, it is the engine's own."""
    raw = beam(1.0) | {"driveline": {"gear_ratios": [3.0], "leaves_at": "crank", "engine_torque_N_m": 200.0}}
    in_gear = find_modes(cases.as_file(raw), gear=1)
    plain = find_modes(cases.as_file(beam(1.0)), torque=200.0)
    assert in_gear.modes.frequency == pytest.approx(plain.modes.frequency, rel=1e-9)
    assert in_gear.preload == "weight and 200 N m from the engine in gear 1 (as given)"
    half = find_modes(cases.as_file(raw), gear=1, torque=100.0)
    assert half.modes.frequency[-1] < in_gear.modes.frequency[-1]


def test_held_chassis_leaves_the_engine_on_its_mounts() -> None:
    """Law: with the chassis held the engine has the modes it has on mounts that stand on the ground."""
    grounded = cases.single()
    grounded["mount"] = [
        cases.mount(f"{x}", at_mm=[x, y, 0.0], between=["powertrain", "ground"], axes_deg=[0.0, 20.0, 10.0])
        for x, y in ((300.0, 100.0), (-250.0, 180.0), (30.0, -240.0))
    ]
    held = cases.single()
    chassis = {"name": "chassis", "mass_kg": 300.0, "centre_of_mass_mm": [0.0, 0.0, 0.0]}
    held["body"].append(chassis | {"inertia_kg_m2": [30.0, 60.0, 70.0, 0.0, 0.0, 0.0]})
    held["mount"] = [mount | {"between": ["powertrain", "chassis"]} for mount in grounded["mount"]]
    held["mount"] += [
        mount | {"name": f"g{mount['name']}", "between": ["ground", "chassis"]} for mount in held["mount"]
    ]
    result = find_modes(cases.as_file(held), chassis="held")
    assert (result.bodies, result.held) == (["powertrain"], ["chassis"])
    expected = find_modes(cases.as_file(grounded)).modes.frequency
    assert result.modes.frequency == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize(
    ("rates", "words"),
    [
        ([0.0, 60.0, 120.0], r"body 'powertrain' is free to move along X, a mode at 0 Hz; add a mount"),
        ([90.0, 60.0, 0.0], r"body 'powertrain' is free to move along Z, a mode at 0 Hz"),
    ],
)
def test_a_mode_at_zero_frequency_says_what_moves(rates: list[float], words: str) -> None:
    raw = beam(0.0)
    for mount in raw["mount"]:
        mount |= {"law": "linear", "stiffness_N_per_mm": rates}
        del mount["doubling_deflection_mm"]
    raw["mount"].append(cases.mount("in the middle", at_mm=[0.0, 0.0, 100.0], stiffness_N_per_mm=[0.0, 60.0, 0.0]))
    with pytest.raises(InputError, match=words):
        find_modes(cases.as_file(raw))


def test_a_joint_is_warned_of() -> None:
    raw = beam(0.0)
    raw["mount"][0]["stiffness_N_per_mm"] = [1e8, 1e8, 1e8]
    warnings = find_modes(cases.as_file(raw)).warnings()
    assert warnings
    assert all("as stiffly as a rigid joint" in line for line in warnings)


def test_crossings_lie_on_order_and_mode() -> None:
    """Law: order × speed is the mode's frequency; all crossings in the range and no others."""
    case_file = load_case(cases.CONFIGS / "v3-80-trike.toml")
    found = frequency_map(case_file, 800.0 * RPM, 3200.0 * RPM)
    assert found.orders == [n / 2 for n in range(1, 13)]
    expected = sorted(
        (2.0 * math.pi * frequency / order, order)
        for order in found.orders
        for frequency in found.modes.frequency
        if 800.0 * RPM <= 2.0 * math.pi * frequency / order <= 3200.0 * RPM
    )
    assert [crossing.speed for crossing in found.crossings] == pytest.approx([speed for speed, _ in expected])
    assert [crossing.order for crossing in found.crossings] == [order for _, order in expected]
    assert max(crossing.share for crossing in found.crossings) == 1.0
    assert any(crossing.weak for crossing in found.crossings)


def test_a_crossing_shakes_as_one_degree_of_freedom() -> None:
    """Derived: a rotor's unbalance u on a block that only bounces pushes with u·ω²; at resonance the force on the
    mounts is that push over 2ζ, times √(1 + 4ζ²) with the dampers' part, shared by four mounts."""
    raw = beam(0.0)
    weight = {"angle_deg": 0.0, "at_mm": 0.0, "unbalance_kg_mm": 0.1}
    raw["engine"]["crank"]["counterweight"] = [weight]
    raw["engine"]["balance_shaft"] = [weight | {"ratio": -1.0}]
    damping = 0.03
    natural = math.sqrt(4.0 * 120e3 / 62.0)
    for mount in raw["mount"]:
        mount["damping_N_s_per_mm"] = [0.0, 0.0, 1e-3 * 2.0 * damping * 62.0 * natural / 4.0]
        mount |= {"law": "linear"}
        del mount["doubling_deflection_mm"]
    raw["run"] |= {"kind": "steady", "speed_rpm": natural / RPM}
    found = frequency_map(cases.as_file(raw), 0.5 * natural, 1.3 * natural)
    bounce = min(
        (crossing for crossing in found.crossings if crossing.order == 1.0),
        key=lambda crossing: abs(crossing.speed - natural),
    )
    push = 2.0 * 1e-4 * natural**2
    assert bounce.force == pytest.approx(push, rel=1e-6)
    expected = push / (2.0 * damping) * math.sqrt(1.0 + 4.0 * damping**2) / 4.0
    assert bounce.mount_force == pytest.approx(expected, rel=1e-6)
