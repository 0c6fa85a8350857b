"""Every post-processed group of a results file.

To add a quantity, write a function from results to a group (or None when the run has nothing for it) and enter it here.
"""

from __future__ import annotations

from collections.abc import Callable

from vibsim.post.clutch import clutch_group
from vibsim.post.cyclic import cyclic_group
from vibsim.post.exposure import exposure_group
from vibsim.post.levels import mount_force_group, sensor_group
from vibsim.post.load_step import load_step_group
from vibsim.post.orders import order_group
from vibsim.post.output import output_group
from vibsim.post.road import road_group
from vibsim.post.spectra import spectra_group
from vibsim.post.third_octave import third_octave_group
from vibsim.post.tooth_wheel import tooth_wheel_group
from vibsim.post.torque import torque_group
from vibsim.results.labelled import Group

QUANTITIES: dict[str, Callable[[Group], Group | None]] = {
    "mount_forces": mount_force_group,
    "sensors": sensor_group,
    "orders": order_group,
    "spectra": spectra_group,
    "third_octave": third_octave_group,
    "exposure": exposure_group,
    "torque": torque_group,
    "cyclic": cyclic_group,
    "output": output_group,
    "tooth_wheel": tooth_wheel_group,
    "load_step": load_step_group,
    "clutch": clutch_group,
    "road": road_group,
}


def post_process(results: Group, only: tuple[str, ...] = tuple(QUANTITIES)) -> Group:
    """Add the post-processed groups, or `only` some, to the results and return them."""
    for name in only:
        group = QUANTITIES[name](results)
        if group is not None:
            results.groups[name] = group
    return results
