"""What of the case the quantities of crank speed and output torque need: firing angles, tooth wheel, driveline."""

from __future__ import annotations

import numpy as np

from vibsim.inputs.models import Case
from vibsim.results.labelled import Group
from vibsim.solver.packed import Packed


def engine_facts(case: Case, packed: Packed) -> Group | None:
    """The group `engine`; None without one."""
    engine, layout = case.engine, packed.layout
    if engine is None or layout is None:
        return None
    facts = {"working_cycle_rad": layout.cycle, "crank_inertia_kg_m2": engine.crank.inertia}
    group = Group(attributes=facts | {"displacement_m3": layout.swept_volume})
    firing = np.array([cylinder.firing % layout.cycle for cylinder in layout.cylinders])
    group.add("firing", ("cylinder",), firing, "rad", "crank angle of firing top dead centre")
    wheel = engine.tooth_wheel
    if wheel is not None:
        group.attributes |= {
            "wheel_teeth": wheel.teeth,
            "wheel_missing": wheel.missing,
            "wheel_clock_Hz": wheel.clock,
            "wheel_first_edge_rad": wheel.first_edge,
        }
    driveline = case.driveline
    if driveline is not None:
        group.attributes |= {
            "final_drive_ratio": driveline.final_drive_ratio,
            "gearbox_efficiency": driveline.gearbox_efficiency,
            "final_drive_efficiency": driveline.final_drive_efficiency,
        }
        gears = np.arange(1, len(driveline.gear_ratios) + 1)
        group.add("gear", ("gear",), gears, "1", "forward gear")
        group.add("gear_ratio", ("gear",), np.array(driveline.gear_ratios), "1", "crank turns per gearbox turn")
    return group
