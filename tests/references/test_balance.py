"""Balance: cancellation conditions, cures and claims, against independent phasor sums and the time-domain solver."""

from __future__ import annotations

import json
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from tests.cases import CONFIGS, mount, single, skewed
from tests.published.test_layouts import engine_of
from vibsim.engine.balance import cancellation_sums, forces_at, free_forces, primary_force, split
from vibsim.engine.layout import resolve_layout
from vibsim.engine.moving_mass import moving_mass, pack_train
from vibsim.inputs.loader import CaseFile, build_case, load_case
from vibsim.post.orders import orders_of
from vibsim.solver.simulate import simulate
from vibsim.studies.balance import find_balance, verdict
from vibsim.studies.new_case import new_case
from vibsim.studies.position import explain_position

DEMO = CONFIGS / "v3-80-trike.toml"
RODS = 0.25  # throw over rod length


def _case_file(raw: dict) -> CaseFile:
    return CaseFile(build_case(raw), "", Path(), "case")


def _vee(cylinders: list[tuple[float, float, float, float]]) -> dict:
    """A case of (bank, pin, place mm, piston mass g) with massless rods."""
    raw = single()
    raw["engine"] |= {"stroke_mm": 60.0, "rod_length_mm": 30.0 / RODS, "rod": {"mass_g": 0.0}}
    raw["engine"]["cylinder"] = [
        {"name": str(n), "bank_deg": bank, "pin_deg": pin, "at_mm": at, "piston": {"mass_g": mass}}
        for n, (bank, pin, at, mass) in enumerate(cylinders)
    ]
    return raw


def _first_order(raw: dict) -> tuple[float, float]:
    """Forward and backward first-order force in primary forces of the first cylinder."""
    balance = find_balance(_case_file(raw))
    return tuple(float(abs(values[0]) / balance.unit) for values in (balance.force.forward, balance.force.backward))


@pytest.mark.parametrize("seed", range(6))
def test_random_layout_against_a_phasor_sum(seed):
    # derived: forward ½ Σ m e^{i(β + n(α−β))}, backward ½ Σ m e^{i(β − n(α−β))}, long rods; second order times λ
    rng = np.random.default_rng(seed)
    cylinders = [(rng.uniform(-180, 180), rng.uniform(0, 360), rng.uniform(-3, 3)) for _ in range(rng.integers(2, 7))]
    engine = engine_of(cylinders)
    layout = resolve_layout(engine)
    train = pack_train(engine, layout)
    found = split(free_forces(train, 100.0).force, 1)
    bank, pin = (np.radians([cylinder[k] for cylinder in cylinders]) for k in (0, 1))
    ratio = layout.cylinders[0].radius / layout.cylinders[0].rod_length
    for order, scale in ((1, 1.0), (2, ratio)):
        unit = scale * primary_force(layout, 100.0)
        forward = 0.5 * np.sum(np.exp(1j * (bank + order * (pin - bank))))
        backward = 0.5 * np.sum(np.exp(1j * (bank - order * (pin - bank))))
        assert found.forward[order - 1] / unit == pytest.approx(forward, abs=1e-5 * len(cylinders))
        assert found.backward[order - 1] / unit == pytest.approx(backward, abs=1e-5 * len(cylinders))


@pytest.mark.parametrize(("bank", "offset"), [(45, 90), (52, 76), (60, 60), (72, 36), (75, 30), (90, 0)])
def test_offset_pin_twin_leaves_only_a_forward_force(bank, offset):
    # CHECKS section 4, derived: pin set back by 180° − 2·bank, force sin(bank)·F1 turning with the crank; the first
    # order of the exact slider without offset is that of long rods
    forward, backward = _first_order(_vee([(0, 0, 0, 500), (bank, -offset, 20, 500)]))
    assert forward == pytest.approx(math.sin(math.radians(bank)), abs=1e-9)
    assert backward == pytest.approx(0.0, abs=1e-9)


PAIR = [(0, 0, -60, 400), (0, 0, 60, 400)]


def test_v3_with_a_heavier_single_can_be_counterweighted():
    # CHECKS section 4, derived: the single weighs as much as the pair, its pin set back by 180° − 2·bank
    assert _first_order(_vee([*PAIR, (80, -20, 0, 800)]))[1] == pytest.approx(0.0, abs=1e-9)


def test_v3_with_the_single_at_bottom_when_the_pair_is_at_top():
    # CHECKS section 4, derived: pin set back by 180° − bank, single of 2·cos(bank) of the pair; with a suitable
    # counterweight the first-order force vanishes at the pair's two dead centres, yet half the pair's primary force
    # turns backwards
    raw = _vee([*PAIR, (80, -100, 0, 800 * 2 * math.cos(math.radians(80)))])
    balance = find_balance(_case_file(raw))
    forward, backward = balance.force.forward[0], balance.force.backward[0]
    assert abs(backward) / balance.unit == pytest.approx(0.5 * 2.0, abs=1e-9)
    counterweight = -forward - backward  # meets the backward part head on where the pair is at top, crank angle 0
    for angle, expected in ((0.0, 0.0), (math.pi, 0.0), (math.pi / 2, 2.0 * abs(backward))):
        left = (forward + counterweight) * np.exp(1j * angle) + backward * np.exp(-1j * angle)
        assert abs(left) == pytest.approx(expected, abs=1e-9 * balance.unit)


def test_v5_on_shared_pins():
    # CHECKS section 4, derived: 4·cos(bank) = 1 and the single's pin 180° − bank ahead of the pair's
    bank = math.degrees(math.acos(0.25))
    pairs = [(side, 0, place, 400) for place in (-80, 80) for side in (0, bank)]
    assert _first_order(_vee([*pairs, (0, 180 - bank, 0, 400)]))[1] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("make", [skewed, lambda: _vee([(0, 0, 0, 500), (60, 30, 80, 700)])])
def test_added_counterweights_and_shaft_take_the_first_order_away(make):
    # the printed cure, put into the case, leaves nothing of the first-order force and of the forward couple
    raw = make()
    before = find_balance(_case_file(raw))
    rows = [
        {
            "ratio": w.ratio,
            "at_mm": 1e3 * w.at,
            "angle_deg": math.degrees(w.angle),
            "unbalance_kg_mm": 1e3 * w.unbalance,
        }
        for w in (*before.counterweights, *before.shafts)
    ]
    raw["engine"].setdefault("balance_shaft", []).extend(row for row in rows if row["ratio"] != 1.0)
    weights = [{key: row[key] for key in row if key != "ratio"} for row in rows if row["ratio"] == 1.0]
    raw["engine"]["crank"].setdefault("counterweight", []).extend(weights)
    after = find_balance(_case_file(raw))
    index = int(np.argmin(np.abs(after.force.order - 1.0)))
    assert before.force.major[index] > 0.1 * before.unit
    assert after.force.major[index] < 1e-9 * before.unit
    assert abs(after.couple.forward[index]) < 1e-9 * before.couple_unit
    assert abs(after.couple.backward[index]) <= abs(before.couple.backward[index]) * (1.0 + 1e-9)


def test_no_counterweight_does_better():
    # brute force over one counterweight on a 60° twin: the least peak of the first-order force is where P vanishes
    balance = find_balance(_case_file(_vee([(0, 0, 0, 500), (60, 0, 0, 500)])))
    forward, backward = balance.force.forward[0], balance.force.backward[0]
    sizes = np.linspace(0.0, 3.0, 61)[:, None] * abs(forward)
    turned = np.exp(1j * np.linspace(0.0, 2.0 * np.pi, 73))[None, :]
    peaks = np.abs(forward + sizes * turned) + abs(backward)
    assert peaks.min() >= abs(backward) * (1.0 - 1e-12)
    total = sum(w.unbalance * np.exp(1j * w.angle) for w in balance.counterweights) * balance.about_crank.speed**2
    assert total == pytest.approx(-forward, rel=1e-9)


def test_cancellation_sum_is_twice_the_backward_part():
    engine = build_case(_vee([(10, 40, -50, 300), (70, 200, 0, 500), (-30, 310, 60, 450)])).engine
    layout = resolve_layout(engine)
    backward = split(free_forces(pack_train(engine, layout), 1.0).force, 1).backward[0]
    expected = 0.5 * cancellation_sums(layout).force * layout.cylinders[0].radius
    assert backward == pytest.approx(expected, rel=1e-9)


def test_free_forces_are_what_very_soft_mounts_must_make_up_for():
    # law: body mass times acceleration, less what the mounts push, is the free force. The body of 500 kg moves 1e-4 m;
    # left out are the moving mass's share of its motion (2e-3) and the fluctuation of speed
    raw = _vee([(0, 0, -40, 500), (70, 30, 40, 500)])
    raw["engine"]["crank"] = {"inertia_kg_m2": 2.0}
    raw["body"][0] |= {"mass_kg": 500.0, "inertia_kg_m2": [50.0, 50.0, 50.0, 0, 0, 0], "centre_of_mass_mm": [0, 0, 0]}
    places = ([300, 200, -100], [-300, 200, 50], [0, -250, 0])
    raw["mount"] = [
        mount(f"m{n}", at_mm=at, stiffness_N_per_mm=[2, 2, 2], damping_N_s_per_mm=[0.3, 0.3, 0.3])
        for n, at in enumerate(places)
    ]
    raw["run"] = {"kind": "steady", "speed_rpm": 3000, "duration_s": 0.05, "gravity": False, "settle_tolerance": 1e-5}
    over = simulate(build_case(raw)).over_angle
    on_body = -over.mount_force.sum(axis=1)  # mounts between body and ground give the force on the ground
    found = orders_of(500.0 * over.body_acceleration[:, 0] - on_body, 2.0, 2.0)
    free = find_balance(_case_file(raw))
    for order in (1, 2):
        forward, backward = free.force.forward[order - 1], free.force.backward[order - 1]
        up, ahead = abs(forward + np.conj(backward)), abs(forward - np.conj(backward))  # crank along Y: −y is X
        scale = max(up, ahead)
        assert found.amplitude[2 * order, 2] == pytest.approx(up, abs=0.01 * scale)
        assert found.amplitude[2 * order, 0] == pytest.approx(ahead, abs=0.01 * scale)


def test_inline_four_verdict_and_position():
    raw = _vee([(0, pin, 90.0 * n, 400) for n, pin in enumerate((0, 180, 180, 0))])
    balance = find_balance(_case_file(raw))
    lines = verdict(balance)
    assert lines[0] == "first-order force: none"
    assert lines[2].startswith("second-order force: 0.508 F turns with the crank: needs a shaft at +2")
    position = explain_position(balance, math.radians(45.0))
    # CHECKS section 5, λ = 1/4: at 45° the second order, A2 = 0.2540250, passes zero and the fourth,
    # A4 = −0.0040981, peaks
    assert abs(position.force_at) == pytest.approx(4 * 0.0040981 * balance.unit, rel=1e-3)
    assert position.force_greatest > 0.99 * 4 * 0.2540250 * balance.unit


def test_inertia_torque_of_one_cylinder_on_the_block():
    # CHECKS section 5 (λ = 1/4): 0.500130 m·r²·ω² at the second order, 0.192056 at the third
    balance = find_balance(_case_file(_vee([(0, 0, 0, 500)])))
    scale = balance.unit * 0.03
    assert abs(balance.roll[1]) / scale == pytest.approx(0.500130, abs=1e-6)
    assert abs(balance.roll[2]) / scale == pytest.approx(0.192056, abs=1e-6)
    # the same table: 0.063506 at the first order, where a real rod's swing would part crank and block
    assert abs(balance.torque[0]) / scale == pytest.approx(0.063506, abs=1e-6)
    assert abs(balance.torque[1]) / scale == pytest.approx(0.500130, abs=1e-6)


def test_torque_on_the_crank_is_not_the_roll_of_the_block():
    """Derived: with real rods they differ by the change of the rods' angular momentum; energy gives the crank's, as
    T = −½·Ω²·dC/dθ with C the polar inertia that the moving parts add, here by central differences of 1e-5 rad."""
    balance = find_balance(load_case(DEMO))
    free = balance.about_crank
    step = 1e-5
    for angle in (0.3, 1.7, 4.0):
        polar = [moving_mass(angle + sign * step, balance.train).polar for sign in (1.0, -1.0)]
        expected = -0.5 * free.speed**2 * (polar[0] - polar[1]) / (2.0 * step)
        found = forces_at(balance.train, free.speed, np.array([angle])).torque[0]
        assert found == pytest.approx(expected, rel=1e-6)
    assert abs(balance.torque[0]) < 0.5 * abs(balance.roll[0])


def test_command(tmp_path, command):
    code, out, err = command("balance", DEMO, "--explain", 40, "-o", tmp_path)
    assert (code, err) == (0, "")
    for words in (
        "firing intervals 360° / 180° / 180°",
        "needs a shaft at −1",
        "at crank angle 40°",
        "licensed practice",
    ):
        assert words in " ".join(out.split())
    assert (tmp_path / "balance.png").read_bytes().startswith(b"\x89PNG")
    course = np.genfromtxt(tmp_path / "balance.csv", delimiter=",", names=True)
    assert np.hypot(course["force_y_N"], course["force_z_N"]).max() == pytest.approx(3100.7, abs=0.1)  # as printed
    found = json.loads(command("balance", DEMO, "--json", "--speed-rpm", 2000)[1])
    assert found["speed_rpm"] == pytest.approx(2000.0)
    assert found["orders"][0]["force_N"]["share"] == pytest.approx(1.042, abs=1e-3)
    assert command("balance", DEMO, "--speed-rpm", "-5")[0] == 2


@pytest.mark.parametrize(
    ("layout", "mass", "left"),
    [
        ("v3-80", 1.0, 1.0375),
        ("v3-80", 0.6946, 1.0),
        ("v3-80-heavy-single", 1.0, 0.5),
        ("v3-80-heavy-single", 2.0, 0.0),
    ],
)
def test_worked_example_of_the_readme(layout, mass, left):
    # derived: ½·|2 + mass·e^{i·2·80°}·e^{i·set back}|, set back 100° or 20°
    raw = tomllib.loads(new_case(layout, 700.0))
    rod, piston = raw["engine"]["rod"], raw["engine"]["piston"]["mass_g"]
    small_end = rod["mass_g"] * rod["centre_of_mass_mm"] / raw["engine"]["rod_length_mm"]
    raw["engine"]["cylinder"][1]["piston"] = {"mass_g": mass * (piston + small_end) - small_end}
    balance = find_balance(_case_file(raw))
    set_back = math.radians(20.0 if "heavy" in layout else 100.0)
    expected = 0.5 * abs(2.0 + mass * np.exp(1j * (math.radians(160.0) + set_back)))
    assert abs(balance.force.backward[0]) / balance.unit == pytest.approx(expected, abs=1e-9)
    assert expected == pytest.approx(left, abs=5e-4)
