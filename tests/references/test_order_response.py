"""The time-domain run against the linear frequency-domain model, two independent routes to mounts and sensors.

The linear model leaves out the swing of the moving parts' inertia over the revolution and that of the mounts' stiffness
with deflection. Orders that matter (more than a tenth of the greatest) are compared, size and phase, to 1 % of their
largest axis: both effects are second order in motion or in moving mass over body mass.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.conftest import DEMO
from vibsim.inputs.loader import load_case
from vibsim.solver.order_response import order_response
from vibsim.solver.packed import pack


@pytest.fixture(scope="module")
def forecast(demo_results):
    file = load_case(DEMO)
    torque = float(demo_results.attributes["steady_load_torque_N_m"])
    return order_response(pack(file.case, file.folder), file.case.sensor, file.case.run.speed, torque)


def complex_orders(results, name):
    orders = results.groups["orders"]
    return orders["order"], orders[f"{name}_amplitude"] * np.exp(1j * orders[f"{name}_phase"])


@pytest.mark.parametrize("order", [0.5, 1.0, 2.0])
def test_orders_of_the_demo_to_one_per_cent(demo_results, forecast, order):
    for found, name in zip(forecast.over_angle(), ("sensor_acceleration", "mount_force"), strict=True):
        orders, expected = complex_orders(demo_results, name)
        amplitude = expected[list(orders).index(order)]
        error = np.abs(found[round(order * forecast.turns)] - amplitude).max()
        assert error < 0.01 * np.abs(amplitude).max()


def test_the_swing_of_the_crank_speed_is_that_of_the_run(demo_results, forecast):
    """On a still block; the shaking block takes some per cent of it."""
    swing = demo_results.groups["torque"].attributes["speed_fluctuation"]
    assert forecast.push.swing == pytest.approx(swing, rel=0.1)


def test_a_point_force_moves_its_body_alone_when_fast(forecast):
    """Far above all modes a body is free: acceleration = F/m at its centre of mass (derived)."""
    packed = forecast.packed
    carrier = packed.model.carrier
    push = forecast.arm(-np.array(packed.model.crank_origin))[:, 2]
    order = 1000.0
    moved = forecast.displacement(order, push)
    acceleration = -((order * forecast.speed) ** 2) * moved[6 * carrier : 6 * carrier + 3]
    mass = packed.model.bodies[carrier]["mass"] + packed.model.train.mass
    assert acceleration == pytest.approx(push[6 * carrier : 6 * carrier + 3] / mass, rel=1e-2, abs=1e-4)
