"""Winding and inverter temperatures: two nodes, each cooled through a resistance, linked by a third if there is one.

C_w·dT_w/dt = Q_w − (T_w − T_c)/R_w − (T_w − T_i)/R_wi, and the same for the inverter (lumped capacity, textbook).
Copper loss grows with the winding's temperature, so the heats are Q = heat + rise·(T_w − 20 °C): the system stays
linear and a given power's temperatures follow in closed form from the matrix exponential.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from vibsim.engine.charging.electric import COPPER_REFERENCE, COPPER_RISE, Motor, Supply, electric_point, motor_loss
from vibsim.jit import kernel

FIRST_TIME, LAST_TIME, TIMES = 1e-3, 1e9, 150  # s: where the limit is looked for
FARTHEST_GROWTH = 100.0  # powers of e that a runaway is followed
FOREVER = float("inf")
FAR_ABOVE = 1e9  # K: stands for temperatures that run away


class Thermal(NamedTuple):
    """Heat capacities (J/K), conductances to the coolant and between the two (W/K), coolant temperature (K)."""

    winding_capacity: float
    inverter_capacity: float
    winding_conductance: float
    inverter_conductance: float
    coupling: float
    coolant: float


class HeatLoad(NamedTuple):
    """Heat (W) into winding and inverter with the winding at 20 °C, and its rise per kelvin of the winding (W/K)."""

    winding: float
    inverter: float
    winding_rise: float = 0.0
    inverter_rise: float = 0.0


NO_HEAT = HeatLoad(0.0, 0.0)


@kernel
def thermal_rates(winding, inverter, winding_heat, inverter_heat, thermal):
    """Rates (K/s) of winding and inverter temperature (K) under heats (W)."""
    across = thermal.coupling * (winding - inverter)
    to_coolant = thermal.winding_conductance * (winding - thermal.coolant)
    from_inverter = thermal.inverter_conductance * (inverter - thermal.coolant)
    return (
        (winding_heat - to_coolant - across) / thermal.winding_capacity,
        (inverter_heat - from_inverter + across) / thermal.inverter_capacity,
    )


def heat_load(torque: float, speed: float, motor: Motor) -> HeatLoad:
    """Heats of a drive that holds a torque (N m) at a rotor speed (rad/s)."""
    loss, rise = motor_loss(torque, speed, COPPER_REFERENCE, motor), motor.copper * torque**2 * COPPER_RISE
    return HeatLoad(loss, motor.inverter * (torque * speed + loss), rise, motor.inverter * rise)


def _matrix(load: HeatLoad, thermal: Thermal) -> np.ndarray:
    """Generator (3, 3) of winding and inverter temperature over the coolant's and of the constant 1."""
    t, above = thermal, thermal.coolant - COPPER_REFERENCE
    own = load.winding_rise - t.winding_conductance - t.coupling
    heats = load.winding + load.winding_rise * above, load.inverter + load.inverter_rise * above
    return np.array(
        [
            [own / t.winding_capacity, t.coupling / t.winding_capacity, heats[0] / t.winding_capacity],
            [
                (load.inverter_rise + t.coupling) / t.inverter_capacity,
                -(t.inverter_conductance + t.coupling) / t.inverter_capacity,
                heats[1] / t.inverter_capacity,
            ],
            [0.0, 0.0, 0.0],
        ]
    )


def temperatures(
    time: np.ndarray, load: HeatLoad, thermal: Thermal, start: tuple[float, float] | None = None
) -> np.ndarray:
    """Winding and inverter temperature (n, 2) K at times (n) s under a constant load, from a start (K; the
    coolant's)."""
    from scipy.linalg import expm

    begin = np.append(np.subtract(start or (thermal.coolant,) * 2, thermal.coolant), 1.0)
    flow = expm(_matrix(load, thermal) * np.asarray(time, dtype=float)[:, None, None])
    return (flow @ begin)[:, :2] + thermal.coolant


def time_to_limits(
    load: HeatLoad, limits: tuple[float, float], thermal: Thermal, start: tuple[float, float] | None = None
) -> float:
    """How long (s) a constant load lasts until winding or inverter reaches its limit (K); infinite if neither does."""

    from scipy.optimize import brentq

    def over(times: np.ndarray) -> np.ndarray:
        return np.max(temperatures(times, load, thermal, start) - limits, axis=1)

    growth = np.linalg.eigvals(_matrix(load, thermal)).real.max()
    last = LAST_TIME if growth <= 0.0 else min(LAST_TIME, FARTHEST_GROWTH / growth)
    times = np.append(0.0, np.geomspace(FIRST_TIME, last, TIMES))
    reached = np.flatnonzero(over(times) >= 0.0)
    if reached.size == 0:
        return FOREVER
    if reached[0] == 0:
        return 0.0
    low, high = times[reached[0] - 1 : reached[0] + 1]
    return float(brentq(lambda time: over(np.array([time]))[0], low, high, xtol=1e-9 * high, rtol=1e-12))


def mean_duty(load: HeatLoad, limits: tuple[float, float], thermal: Thermal) -> float:
    """On-time fraction at which the mean temperature of the hotter part stays at its limit (K): fast switching."""

    def over(share: float) -> float:
        generator = _matrix(HeatLoad(*(share * np.array(load))), thermal)
        settled = _settled(generator[:2, :2], generator[:2, 2])
        return float(np.max(settled + thermal.coolant - limits))

    return _share(over)


def periodic_duty(load: HeatLoad, limits: tuple[float, float], thermal: Thermal, period: float) -> float:
    """On-time fraction at which the end of every on-time just reaches a limit (K), switched once a period (s).

    Below `mean_duty`, and towards it as the period gets short against the time constants.
    """
    from scipy.linalg import expm

    on, off = _matrix(load, thermal), _matrix(NO_HEAT, thermal)

    def over(share: float) -> float:
        whole = expm(on * (share * period)) @ expm(off * ((1.0 - share) * period))
        if np.abs(np.linalg.eigvals(whole[:2, :2])).max() >= 1.0:
            return FAR_ABOVE
        peak = np.linalg.solve(np.eye(2) - whole[:2, :2], whole[:2, 2])
        return float(np.max(peak + thermal.coolant - limits))

    return _share(over)


def _settled(generator: np.ndarray, heating: np.ndarray) -> np.ndarray:
    """Where the temperatures (2) above the coolant settle; far above if they never do."""
    if np.linalg.eigvals(generator).real.max() >= 0.0:
        return np.where(heating != 0.0, FAR_ABOVE, 0.0)
    return np.linalg.solve(generator, -heating)


def _share(over: Callable[[float], float]) -> float:
    """Greatest share, 0 to 1, at which `over`, rising with it, is not above zero."""
    from scipy.optimize import brentq

    if over(1.0) <= 0.0:
        return 1.0
    if over(0.0) >= 0.0:
        return 0.0
    return float(brentq(over, 0.0, 1.0, xtol=1e-12))


class Holding(NamedTuple):
    """How long a drive holds a power, from coolant temperature: seconds until derating starts and until the battery
    has given its energy (infinite if never; zero if it cannot give that power), and the on-time fraction it can hold
    for ever without derating, switched fast and once a period."""

    until_derating: float
    until_empty: float
    mean_duty: float
    periodic_duty: float


def holding(
    torque: float, speed: float, crank_speed: float, period: float, motor: Motor, supply: Supply, thermal: Thermal
) -> Holding:
    """How long a torque (N m) at a rotor speed (rad/s) lasts at a crank speed (rad/s), and its duty for a period (s).

    The battery is drained as with the winding where derating starts, the most it is while the power lasts.
    """
    load, limits = heat_load(torque, speed, motor), (motor.winding_start, motor.inverter_start)
    drain = electric_point(torque, speed, motor.winding_start, crank_speed, motor, supply).battery
    return Holding(
        until_derating=time_to_limits(load, limits, thermal),
        until_empty=0.0 if math.isnan(drain) else supply.energy / drain if drain > 0.0 else FOREVER,
        mean_duty=mean_duty(load, limits, thermal),
        periodic_duty=periodic_duty(load, limits, thermal, period),
    )
