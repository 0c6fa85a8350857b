"""Electric drive of a compressor: what the motor can give, what it loses, and who pays for it.

Power flows battery and alternator → bus → inverter → motor → shaft. Losses of the motor at torque T, speed ω and
winding temperature t: copper·T²·(1 + α·(t − 20 °C)) + iron·ω + constant + proportional·|T·ω| (common loss model, from
memory); the inverter loses a share of what the motor takes. The alternator gives its share of the bus power at once,
as far as its limits reach; the battery, a voltage behind a resistance, gives the rest.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from vibsim.jit import inlined, inner, kernel

COPPER_RISE = 0.00393  # resistance of copper per kelvin (IEC 60028, from memory)
COPPER_REFERENCE = 293.15
SPEED_BAND = 0.02  # of the speed limit, over which the torque limit falls to nothing


class Motor(NamedTuple):
    """Limits (N m, W, rad/s); loss coefficients `copper` W/(N m)², `iron` W/(rad/s), `constant` W, `proportional` W/W;
    `inverter` loss per motor input; rotor `inertia` kg m²; temperatures (K) where derating starts and torque ends."""

    torque_limit: float
    power_limit: float
    speed_limit: float
    copper: float
    iron: float
    constant: float
    proportional: float
    inverter: float
    inertia: float
    winding_start: float
    winding_limit: float
    inverter_start: float
    inverter_limit: float


class Supply(NamedTuple):
    """Battery: open-circuit `voltage` V, `resistance` Ω, `current_limit` A, `energy` that may be drawn J, `share` of
    the bus power. Alternator: `efficiency`, electric `power_limit` W, `torque_limit` N m at the crank."""

    voltage: float
    resistance: float
    current_limit: float
    energy: float
    share: float
    efficiency: float
    power_limit: float
    torque_limit: float


class ElectricPoint(NamedTuple):
    """Powers in W, positive along the flow. `battery` is what leaves its cells, `battery_loss` what stays in its
    resistance; `alternator` electric. `bus_voltage` V, `battery_current` and `bus_current` A; `crank_torque` N m that
    the alternator takes. `bus_voltage` and currents are NaN when the battery cannot give its part."""

    shaft: float
    motor_loss: float
    inverter_loss: float
    bus: float
    battery: float
    battery_loss: float
    alternator: float
    alternator_loss: float
    battery_current: float
    bus_current: float
    bus_voltage: float
    crank_torque: float


def split_losses(
    power_loss: float, torque: float, speed: float, copper_share: float, iron_share: float
) -> tuple[float, float, float]:
    """Copper, iron and constant coefficients that make up a loss (W) at a rated torque (N m) and speed (rad/s)."""
    constant = power_loss * (1.0 - copper_share - iron_share)
    return power_loss * copper_share / torque**2, power_loss * iron_share / speed, constant


@inlined
def copper_growth(winding):
    """Copper loss over that at 20 °C, at a winding temperature (K)."""
    return 1.0 + COPPER_RISE * (winding - COPPER_REFERENCE)


@inlined
def motor_loss(torque, speed, winding, motor):
    """Loss (W) of the running motor at torque (N m), speed (rad/s), winding temperature (K)."""
    copper = motor.copper * torque * torque * copper_growth(winding)
    return copper + motor.iron * speed + motor.constant + motor.proportional * abs(torque * speed)


@inlined
def derating(winding, inverter, motor):
    """Share of the torque limit left, 1 to 0, falling straight from start to limit of the hotter part (K)."""
    by_winding = (motor.winding_limit - winding) / (motor.winding_limit - motor.winding_start)
    by_inverter = (motor.inverter_limit - inverter) / (motor.inverter_limit - motor.inverter_start)
    return min(max(min(by_winding, by_inverter), 0.0), 1.0)


@inner
def _alternator_most(crank_speed, supply):
    """Greatest electric power (W) of the alternator at a crank speed (rad/s)."""
    return min(supply.power_limit, supply.efficiency * supply.torque_limit * max(crank_speed, 0.0))


@kernel
def bus_limit(crank_speed, supply):
    """Greatest power (W) that battery and alternator can put on the bus at a crank speed (rad/s)."""
    current = supply.current_limit
    if supply.resistance > 0.0:  # more current than this gives less power
        current = min(current, 0.5 * supply.voltage / supply.resistance)
    battery = current * (supply.voltage - supply.resistance * current)
    together = battery + _alternator_most(crank_speed, supply)
    return min(together, battery / supply.share) if supply.share > 0.0 else together


@kernel
def motor_torque_limit(speed, winding, inverter, power, motor):
    """Greatest torque (N m) at a rotor speed (rad/s), temperatures (K) and greatest bus power (W).

    Constant torque, then constant power, ending at the speed limit; derated by temperature; and no more than the bus
    can feed, from the losses: copper·T² + (1 + proportional)·ω·T + iron·ω + constant = motor input.
    """
    limit = motor.torque_limit
    if speed * limit > motor.power_limit:
        limit = motor.power_limit / speed
    limit *= min(max((motor.speed_limit - speed) / (SPEED_BAND * motor.speed_limit), 0.0), 1.0)
    limit *= derating(winding, inverter, motor)
    left = power / (1.0 + motor.inverter) - motor.constant - motor.iron * speed
    if left <= 0.0:
        return 0.0
    linear, square = (1.0 + motor.proportional) * speed, motor.copper * copper_growth(winding)
    base = linear + math.sqrt(linear * linear + 4.0 * square * left)
    return min(limit, 2.0 * left / base) if base > 0.0 else limit


@kernel
def electric_point(torque, speed, winding, crank_speed, motor, supply):
    """Power balance (ElectricPoint) of the drive that gives a torque (N m) at rotor speed (rad/s) and winding
    temperature (K), with the crank turning at crank speed (rad/s)."""
    shaft = torque * speed
    loss = motor_loss(torque, speed, winding, motor)
    inverter = motor.inverter * (shaft + loss)
    bus = shaft + loss + inverter
    alternator = min((1.0 - supply.share) * bus, _alternator_most(crank_speed, supply))
    rest = bus - alternator
    root = supply.voltage * supply.voltage - 4.0 * supply.resistance * rest
    current = 2.0 * rest / (supply.voltage + math.sqrt(root)) if root >= 0.0 else math.nan
    voltage = supply.voltage - supply.resistance * current
    mechanical = alternator / supply.efficiency
    return ElectricPoint(
        shaft,
        loss,
        inverter,
        bus,
        supply.voltage * current,
        supply.resistance * current * current,
        alternator,
        mechanical - alternator,
        current,
        bus / voltage,
        voltage,
        mechanical / crank_speed if crank_speed > 0.0 else 0.0,
    )


@kernel
def boost_torque(share, speed, load_torque, torque_limit, response_time, motor):
    """Torque (N m) that the boost control asks for: 0 to the limit.

    Holds the load's torque and adds what brings the rotor to a boost `share` (over target) of 1 with the response time
    (s): J·dω/dt = J·(top speed/response time)·(1 − share), at most what the limit leaves (derived).
    """
    wanted = load_torque + motor.inertia * motor.speed_limit / response_time * (1.0 - share)
    return min(max(wanted, 0.0), torque_limit)
