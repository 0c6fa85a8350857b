"""The time-domain run against the linear frequency-domain model, two independent routes to mounts and sensors.

The linear model leaves out the swing of the crank's inertia over the revolution and that of the mounts' stiffness with
deflection; for small motion both are a few per cent of what is felt. First-order figures are compared to 2 % of the
largest axis, the weaker orders 0.5 and 2 to 6 %.
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


@pytest.mark.parametrize(("order", "share"), [(0.5, 0.06), (1.0, 0.02), (2.0, 0.06)])
def test_orders_of_the_demo(demo_results, forecast, order, share):
    orders = demo_results.groups["orders"]
    index = list(orders["order"]).index(order)
    moved = forecast.displacement(order, forecast.excitation(order))
    for found, name in (
        (forecast.sensors(order, moved), "sensor_acceleration"),
        (forecast.mounts(order, moved), "mount_force"),
    ):
        expected = orders[f"{name}_amplitude"][index]
        assert np.abs(np.abs(found) - expected).max() < share * expected.max()


def test_phase_is_that_of_the_run(demo_results, forecast):
    orders = demo_results.groups["orders"]
    index = list(orders["order"]).index(1.0)
    moved = forecast.displacement(1.0, forecast.excitation(1.0))
    amplitude, phase = (orders[f"mount_force_{what}"][index] for what in ("amplitude", "phase"))
    expected = amplitude * np.exp(1j * phase)
    assert np.abs(forecast.mounts(1.0, moved) - expected).max() < 0.02 * amplitude.max()


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
