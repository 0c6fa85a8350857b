"""Heat lost to the walls of a cylinder."""

from __future__ import annotations

import math

from vibsim.jit import inlined, inner

WOSCHNI, HOHENBERG = 0, 1
LAWS = {"woschni": WOSCHNI, "hohenberg": HOHENBERG}
MOTORED_EXPONENT = 1.32  # polytropic, of the motored pressure in Woschni's gas speed; common practice


@inlined
def woschni_coefficient(bore, pressure, temperature, gas_speed):
    """Wall heat-transfer coefficient, W/m²K; bore m, pressure Pa, temperature K, speed m/s.

    h = 3.26·B^-0.2·p^0.8·T^-0.55·w^0.8 with p in kPa (Heywood 1988, eq. 12.19, from memory).
    """
    return bore**-0.2 * woschni_without_bore(pressure, temperature, gas_speed)


@inlined
def woschni_without_bore(pressure, temperature, gas_speed):
    """The same over B^-0.2."""
    return 3.26 * math.exp(0.8 * math.log(1e-3 * pressure * gas_speed) - 0.55 * math.log(temperature))


@inlined
def hohenberg_coefficient(volume, pressure, temperature, piston_speed):
    """Wall heat-transfer coefficient, W/m²K; volume m³, pressure Pa, temperature K, mean piston speed m/s.

    h = 130·V^-0.06·p^0.8·T^-0.4·(c + 1.4)^0.8 with p in bar (Hohenberg 1979, SAE 790825, from memory).
    """
    powers = 0.8 * math.log(1e-5 * pressure * (piston_speed + 1.4)) - 0.4 * math.log(temperature)
    return 130.0 * math.exp(powers - 0.06 * math.log(volume))


@inlined
def woschni_speed(piston_speed, swept, pressure, volume, shut, still, hot):
    """Woschni's gas speed, m/s: 6.18·c with a valve open, 2.28·c shut, and while `hot` (burning and expanding) another
    3.24e-3·V_h·T/(p·V)·(p − p_motored), its reference `shut` (p, V, T) where the valves shut (Heywood 1988, eq. 12.18,
    from memory)."""
    if not still:
        return 6.18 * piston_speed
    speed = 2.28 * piston_speed
    if hot:
        motored = shut[0] * math.exp(MOTORED_EXPONENT * math.log(shut[1] / volume))
        speed += max(3.24e-3 * swept * shut[2] / (shut[0] * shut[1]) * (pressure - motored), 0.0)
    return speed


@inner
def wall_loss(pressure, temperature, volume, shut, still, hot, model):
    """Heat lost to the walls, W: head, crown and bared liner of a disc-shaped chamber; words as in `woschni_speed`."""
    if model.wall_law == HOHENBERG:
        coefficient = hohenberg_coefficient(volume, pressure, temperature, model.piston_speed)
    else:
        speed = woschni_speed(model.piston_speed, model.swept, pressure, volume, shut, still, hot)
        coefficient = model.bore_factor * woschni_without_bore(pressure, temperature, speed)
    wall = 2.0 * model.area + 4.0 * volume / model.bore
    return model.wall_factor * coefficient * wall * (temperature - model.wall_temperature)
