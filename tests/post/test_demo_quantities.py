"""Post-processed quantities of the demo case agree with what they are made of."""

from __future__ import annotations

import numpy as np
import pytest

from vibsim.post.summary import summarise


def test_orders_rebuild_the_mount_force(demo_results):
    # derived: the orders kept are the whole Fourier series up to order 24; what is left is the tail
    angle, order = demo_results["cycle/cycle_angle"], demo_results["orders/order"]
    amplitude = demo_results["orders/mount_force_amplitude"][:, 0, 2]
    phase = demo_results["orders/mount_force_phase"][:, 0, 2]
    rebuilt = np.sum(amplitude * np.cos(np.outer(angle, order) + phase), axis=1)
    force = demo_results["cycle/mount_force"][:, 0, 2]
    assert np.abs(rebuilt - force).max() < 1e-3 * np.ptp(force)


def test_net_torque_is_the_sum(demo_results):
    cycle = demo_results.groups["cycle"]
    net = cycle["gas_torque"] + cycle["inertia_torque"] - cycle["friction_torque"]
    assert demo_results["torque/mean"][3] == pytest.approx(net.mean(), rel=1e-12)
    assert demo_results["torque/swing"][3] == pytest.approx(np.ptp(net), rel=1e-12)


def test_steady_mean_net_torque_meets_the_load(demo_results):
    # law: no net work on the flywheel over a settled cycle; off by what the cycle still changes, speed by 1e-4
    load = demo_results["cycle/load_torque"].mean()
    assert demo_results["torque/mean"][3] == pytest.approx(load, rel=2e-3)


def test_steady_run_meets_its_mean_speed(demo_results):
    speed = demo_results.groups["torque"].attributes["mean_speed_rad_per_s"]
    assert speed == pytest.approx(demo_results.attributes["set_speed_rad_per_s"], rel=1e-4)


def test_record_repeats_the_cycle(demo_results):
    # the cycle grid is the last whole cycle of the time record; interpolated there, the same force
    crank_angle, cycle = demo_results["crank_angle"], demo_results.groups["cycle"]
    angles = cycle["cycle_angle"][10:-10] + cycle.attributes["first_crank_angle_rad"]
    assert angles[-1] < crank_angle[-1] < angles[-1] + 2.0 * cycle.attributes["cycle_length_rad"]
    force = np.interp(angles, crank_angle, demo_results["mount_force"][:, 1, 0])
    # linear interpolation at 10 kHz of orders up to about 10: (pi*10*n/rate)^2/2 of the swing
    assert np.abs(force - cycle["mount_force"][10:-10, 1, 0]).max() < 1e-3 * np.ptp(force)


def test_chassis_carries_its_weight(demo_results):
    # law: mean vertical force of the suspension in a settled run is the weight of everything
    names = demo_results.labels("mount")
    suspension = [index for index, name in enumerate(names) if name.startswith("suspension")]
    lift = demo_results["mount_forces/mean"][suspension, 2].sum()
    assert lift == pytest.approx(402.0 * 9.80665, rel=1e-4)


def test_summary_ranks_and_names(demo_results):
    summary = summarise(demo_results)
    levels = [row["rms_N"] for row in summary["mounts"]]
    assert levels == sorted(levels, reverse=True)
    assert summary["mounts"][0]["name"] == "front right"
    assert summary["mounts"][0]["orders"][0]["order"] == 1.0
    assert summary["settling"]["settled"] == 1
    power = summary["mean_load_torque_N_m"] * demo_results.attributes["set_speed_rad_per_s"] * 1e-3
    assert summary["mean_power_kW"] == pytest.approx(power, rel=1e-3)
