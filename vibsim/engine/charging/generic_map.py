"""A generic compressor map, scaled by wheel diameter: derived and generic, not of any real machine.

Blade Mach number M = U/√(γ·R·T), inlet flow coefficient φ = ṁ/(ρ·D²·U), isentropic head coefficient ψ = Δh_s/U² and
work coefficient λ = Δh/U² (Dixon; Watson & Janota 1982, from memory). A speed line is a superellipse from surge to
choke,

    ((φ − φ_s)/(φ_c − φ_s))^p + ((ψ − ψ_c)/(ψ_s − ψ_c))^p = 1,

with p, φ_s and φ_c straight or parabolic in M: the faster, the narrower and the steeper at choke. The work falls
straight with flow, as slip and backsweep make it, and rises away from the Mach number of least loss; efficiency ψ/λ
follows. Similarity alone: a small wheel is taken as good as a large one, so give the peak efficiency of its size.
"""

from __future__ import annotations

import math

import numpy as np

from vibsim.engine.charging.air import EXPONENT, GAMMA, GAS_CONSTANT, HEAT_CAPACITY
from vibsim.engine.charging.compressor_map import Compressor, SpeedLine, tabulate

MACH = np.arange(0.2, 1.51, 0.1)
POINTS = 33
DENSE = 4000
SURGE_HEAD, CHOKE_HEAD = 0.53, 0.24
WORK, WORK_FALL = 0.80, 2.2
BEST_MACH, WORK_RISE = 0.9, 0.15
USUAL_DIAMETER, USUAL_PEAK = 0.045, 0.74


def generic_compressor(
    diameter: float = USUAL_DIAMETER,
    peak_efficiency: float = USUAL_PEAK,
    temperature: float = 298.15,
    pressure: float = 1e5,
) -> Compressor:
    """The generic map for a wheel of outer diameter (m), its work scaled so that the best efficiency is as given.

    Corrected to a reference temperature (K) and pressure (Pa).
    """
    shapes = [_speed_line(mach) for mach in MACH]
    scale = max(float((head / work).max()) for _, head, work in shapes) / peak_efficiency
    density = pressure / (GAS_CONSTANT * temperature)
    lines = []
    for mach, (flow, head, work) in zip(MACH, shapes, strict=True):
        tip = mach * math.sqrt(GAMMA * GAS_CONSTANT * temperature)
        ratio = (1.0 + head * tip**2 / (HEAT_CAPACITY * temperature)) ** (1.0 / EXPONENT)
        efficiency = head / (work * scale)
        rows = np.arange(POINTS)
        lines.append(SpeedLine(2.0 * tip / diameter, flow * density * diameter**2 * tip, ratio, efficiency, rows))
    return tabulate(lines, [np.linspace(0.0, 1.0, POINTS)] * len(lines), temperature, pressure)


def surge_flow(mach: float) -> float:
    """Flow coefficient at surge."""
    return 0.020 + 0.018 * mach


def choke_flow(mach: float) -> float:
    """Flow coefficient at the last point of a speed line."""
    return 0.125 - 0.018 * mach**2


def _speed_line(mach: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Flow, head and work coefficient (POINTS each), evenly spread by the mean share of flow and head range."""
    power = 2.0 + 0.8 * mach
    angle = np.linspace(0.0, 0.5 * math.pi, DENSE)
    along, up = np.sin(angle) ** (2.0 / power), np.cos(angle) ** (2.0 / power)
    up[-1] = 0.0
    even = np.linspace(0.0, 1.0, POINTS)
    share = 0.5 * (along + 1.0 - up)
    low, high = surge_flow(mach), choke_flow(mach)
    flow = low + (high - low) * np.interp(even, share, along)
    head = CHOKE_HEAD + (SURGE_HEAD - CHOKE_HEAD) * np.interp(even, share, up)
    work = (WORK - WORK_FALL * flow) * (1.0 + WORK_RISE * (mach - BEST_MACH) ** 2)
    return flow, head, work
