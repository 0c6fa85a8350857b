"""A mass on four alike mounts, its `[size]` table to be filled in; invented numbers."""

from __future__ import annotations

from vibsim.inputs.loader import CaseFile, parse_case

MASS = 100.0  # kg
NAMES = ("a", "b", "c", "d")
PLACES = ((0.2, 0.15), (0.2, -0.15), (-0.2, 0.15), (-0.2, -0.15))

CASE = """
[[body]]
name = "machine"
mass_kg = 100
centre_of_mass_mm = [0, 0, 0]
inertia_kg_m2 = [2, 3, 4, 0, 0, 0]
"""
MOUNT = """
[[mount]] # block {name}
name = "{name}"
between = ["machine", "ground"]
at_mm = [{x}, {y}, 0] # as drawn
stiffness_kN_per_m = [100, 90, 80]
damping_N_s_per_mm = [0.1, 0.1, 0.1]
"""
ALL = '["a", "b", "c", "d"]'
UP = f"""
[[size.variable]]
mounts = {ALL}
key = "stiffness_N_per_mm"
axis = "z"
range = [20, 200]
"""
SAG = """
[[size.goal]]
name = "sag"
kind = "deflection"
"""


def small(size: str) -> CaseFile:
    """The case with the text of a size table."""
    mounts = "".join(MOUNT.format(name=name, x=1e3 * x, y=1e3 * y) for name, (x, y) in zip(NAMES, PLACES, strict=True))
    return parse_case(CASE + mounts + size)
