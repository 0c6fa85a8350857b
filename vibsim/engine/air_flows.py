"""What the engine draws and puts out at nodes of crank speed, intake and exhaust pressure, from converged cycles."""

from __future__ import annotations

import numpy as np

from vibsim.engine.cycle import Cycle, solve_at
from vibsim.engine.cycle_setup import Conditions
from vibsim.engine.layout import Layout
from vibsim.engine.node_grid import Nodes
from vibsim.inputs.errors import VibsimError
from vibsim.inputs.models import Engine


def node_conditions(nodes: Nodes, temperatures: np.ndarray, fuelling: float = 1.0) -> list[Conditions]:
    """Where a cylinder runs at every node, in their order; intake temperatures (I) K go with the intake pressures."""
    return [
        Conditions(float(speed), float(intake), float(temperature), float(exhaust), fuelling)
        for speed in nodes.speeds
        for intake, temperature in zip(nodes.intakes, temperatures, strict=True)
        for exhaust in nodes.exhausts
    ]


def flow_table(engine: Engine, layout: Layout, points: list[Conditions]) -> np.ndarray:
    """Flows (nodes, 4) of all cylinders together at the conditions of every node: air and exhaust kg per rad of crank,
    temperature K of what leaves the ports, mixed, and mean torque (N m) on the crank."""
    return np.array([_row(cycles_at(engine, layout, at), layout.cycle) for at in points])


def that_close(
    engine: Engine, layout: Layout, points: list[Conditions], nodes: Nodes
) -> tuple[list[Conditions], np.ndarray]:
    """Conditions (nodes) with those under which a cycle does not close replaced by those of the next higher intake
    pressure, and whether they were (nodes).

    Raises VibsimError where none of the intake pressures gives a cycle.
    """
    found, replaced = list(points), np.zeros(len(points), dtype=bool)
    backs, row = nodes.exhausts.size, nodes.intakes.size * nodes.exhausts.size
    for n in reversed(range(len(points))):
        try:
            cycles_at(engine, layout, points[n])
        except VibsimError:
            if n % row >= row - backs:  # the highest intake pressure
                raise
            found[n], replaced[n] = found[n + backs], True
    return found, replaced


def cycles_at(engine: Engine, layout: Layout, at: Conditions) -> list[Cycle]:
    """The cycle of every cylinder under the same conditions."""
    return [solve_at(engine, cylinder, at) for cylinder in layout.cylinders]


def _row(cycles: list[Cycle], angle: float) -> tuple[float, float, float, float]:
    air, exhaust = sum(c.air_mass for c in cycles), sum(c.exhaust_mass for c in cycles)
    carried = sum(c.exhaust_mass * c.exhaust_temperature for c in cycles)
    return air / angle, exhaust / angle, carried / exhaust, sum(c.work for c in cycles) / angle
