"""Sound of the firing pulses at the mouth of a simple exhaust.

Source: while its exhaust valve is open a cylinder pushes the volume flow Q = −(V·dp/dt/γ + p·dV/dt)/p_pipe into its
pipe (derived: energy of an ideal gas that leaves an adiabatic cylinder and is throttled to the pipe's pressure).
Pipes: plane waves, a primary from every cylinder to one junction, one tail to the open air; a shut valve reflects all,
the mouth R = −exp(−2ik·0.1133a)/(1 + ika), whose size is that of Levine & Schwinger (1948) for small ka, 1 − (ka)²/2,
and whose end correction is their 0.6133a: a first-order loss. Walls take exp(−αL), α = √(νω/2)/(a·c)·(1 + (γ−1)/√Pr)
(Kirchhoff; Munjal, Acoustics of Ducts and Mufflers, ch. 2). Outside: a monopole, p = ρ/(4πr)·dQ/dt (Pierce, Acoustics,
ch. 4). Formulas of the literature from memory. Evaluated by frequency, which is what delay lines with these losses
would give.

Left out: flow noise, a muffler, the gas cooling along the pipe, waves acting back on the cylinder, finite waves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

GAMMA, GAS_CONSTANT = 1.33, 287.0  # burnt gas
PRANDTL = 0.7
OUTSIDE_DENSITY = 1.2  # kg/m³
STANDARD_PRESSURE = 101325.0  # Pa, in the pipe
LEFT_OUT = "no muffler, no flow noise, one gas temperature, linear waves: to compare engines, not to predict a level"


@dataclass(frozen=True)
class Exhaust:
    """Lengths and inner diameters m of the primary pipes and the tail, gas temperature K, distance of the ear m."""

    primary_length: float = 0.45
    primary_diameter: float = 0.036
    tail_length: float = 0.9
    tail_diameter: float = 0.042
    temperature: float = 750.0
    distance: float = 1.0

    @property
    def sound_speed(self) -> float:
        return math.sqrt(GAMMA * GAS_CONSTANT * self.temperature)

    @property
    def density(self) -> float:
        """kg/m³."""
        return STANDARD_PRESSURE / (GAS_CONSTANT * self.temperature)

    @property
    def kinematic_viscosity(self) -> float:
        """m²/s, by Sutherland's law of air (from memory)."""
        return 1.458e-6 * self.temperature**1.5 / (self.temperature + 110.4) / self.density


def exhaust_flow(
    pressure: np.ndarray, pressure_rate: np.ndarray, volume: np.ndarray, volume_rate: np.ndarray, open_share: np.ndarray
) -> np.ndarray:
    """Volume flow (any shape) m³/s into the pipe from pressure Pa, volume m³ and their rates per second, times how far
    the valve lets it (0 to 1)."""
    return -open_share * (volume * pressure_rate / GAMMA + pressure * volume_rate) / STANDARD_PRESSURE


def open_share(angle: np.ndarray, opens: float, closes: float, cycle: float, blend: float) -> np.ndarray:
    """1 while a valve is open, 0 while shut, at angles from firing top dead centre (any shape, rad); it changes over
    `blend` rad within the opening, smoothly so that no click is made."""
    after = np.mod(angle - opens, cycle)
    span = (closes - opens) % cycle
    edge = np.clip(np.minimum(after, span - after) / blend, 0.0, 1.0)
    return np.where(after < span, edge * edge * (3.0 - 2.0 * edge), 0.0)


def transfer(exhaust: Exhaust, cylinders: int, frequency: np.ndarray) -> np.ndarray:
    """Volume flow out of the mouth over that of one cylinder into its primary (n), complex, at frequencies (n) Hz, the
    other valves shut. 1 at 0 Hz."""
    omega = 2.0 * np.pi * np.asarray(frequency, dtype=float)
    c = exhaust.sound_speed
    first = _along(exhaust, exhaust.primary_length, exhaust.primary_diameter, omega)
    second = _along(exhaust, exhaust.tail_length, exhaust.tail_diameter, omega)
    ka = omega / c * 0.5 * exhaust.tail_diameter
    mouth = -np.exp(-2j * 0.1133 * ka) / (1.0 + 1j * ka)
    admit_first, admit_second = (0.25 * math.pi * d**2 for d in (exhaust.primary_diameter, exhaust.tail_diameter))
    # (1 − Γ)/(1 + Γ) of a shut branch, Γ = first², and of the tail, Γ = mouth·second²; multiplied out by 1 + Γ
    shut, tail = first**2, mouth * second**2
    load = (cylinders - 1) * admit_first * (1.0 - shut) * (1.0 + tail) + admit_second * (1.0 - tail) * (1.0 + shut)
    both = admit_first * (1.0 + shut) * (1.0 + tail)
    junction = (both - load) / (both + load)
    # wave from the cylinder 1/(1 − Γ_J·first²), pressure at the junction first·(1 + Γ_J) of it, and of that in the tail
    # 1/(1 + tail) goes forward: 1 + Γ_J has 1 + tail in it, which drops out
    passed = 2.0 * admit_first * (1.0 + shut) / (both + load)
    wave = first / (1.0 - junction * first**2)
    return wave * passed * second * (1.0 - mouth) * admit_second / admit_first


def _along(exhaust: Exhaust, length: float, diameter: float, omega: np.ndarray) -> np.ndarray:
    """What a wave is multiplied by along a pipe."""
    c, radius = exhaust.sound_speed, 0.5 * diameter
    walls = np.sqrt(0.5 * exhaust.kinematic_viscosity * omega) / (radius * c)
    return np.exp(-length * ((1j * omega / c) + walls * (1.0 + (GAMMA - 1.0) / math.sqrt(PRANDTL)) * (1.0 + 1j)))


def radiated(exhaust: Exhaust, cylinders: int, flow: np.ndarray, rate: float, periodic: bool) -> np.ndarray:
    """Sound pressure (n) Pa at the ear from the sum of the cylinders' flows (n) m³/s at equal steps of time.

    One period that repeats, or a record before and after which nothing flows.
    """
    count = len(flow) if periodic else 2 * len(flow)
    frequency = np.fft.rfftfreq(count, 1.0 / rate)
    out = np.fft.rfft(flow, count) * transfer(exhaust, cylinders, frequency)
    sound = out * 2j * np.pi * frequency * OUTSIDE_DENSITY / (4.0 * math.pi * exhaust.distance)
    if count % 2 == 0:
        sound[-1] = 0.0
    return np.fft.irfft(sound, count)[: len(flow)]
