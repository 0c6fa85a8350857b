"""Heat lost to the walls of a cylinder."""

from __future__ import annotations

from vibsim.jit import inner, kernel

WOSCHNI, HOHENBERG = 0, 1
LAWS = {"woschni": WOSCHNI, "hohenberg": HOHENBERG}


@kernel
def woschni_coefficient(bore, pressure, temperature, gas_speed):
    """Wall heat-transfer coefficient, W/m²K; bore m, pressure Pa, temperature K, speed m/s.

    h = 3.26·B^-0.2·p^0.8·T^-0.55·w^0.8 with p in kPa (Heywood 1988, eq. 12.19, from memory).
    """
    return 3.26 * bore**-0.2 * (1e-3 * pressure * gas_speed) ** 0.8 * temperature**-0.55


@kernel
def hohenberg_coefficient(volume, pressure, temperature, piston_speed):
    """Wall heat-transfer coefficient, W/m²K; volume m³, pressure Pa, temperature K, mean piston speed m/s.

    h = 130·V^-0.06·p^0.8·T^-0.4·(c + 1.4)^0.8 with p in bar (Hohenberg 1979, SAE 790825, from memory).
    """
    return 130.0 * volume**-0.06 * (1e-5 * pressure * (piston_speed + 1.4)) ** 0.8 * temperature**-0.4


@inner
def wall_loss(pressure, temperature, volume, shut, still, hot, model):
    """Heat lost to the walls, W. `shut`: pressure, volume and temperature at intake closing; `still`: valves shut;
    `hot`: burning or expanding, when Woschni's gas speed rises with the pressure above that of the motored engine."""
    if model.wall_law == HOHENBERG:
        coefficient = hohenberg_coefficient(volume, pressure, temperature, model.piston_speed)
    else:
        gas_speed = 6.18 * model.piston_speed
        if still:
            gas_speed = 2.28 * model.piston_speed
            if hot:
                motored = shut[0] * (shut[1] / volume) ** 1.32
                extra = 3.24e-3 * model.swept * shut[2] / (shut[0] * shut[1]) * (pressure - motored)
                gas_speed += max(extra, 0.0)
        coefficient = woschni_coefficient(model.bore, pressure, temperature, gas_speed)
    wall = 2.0 * model.area + 4.0 * volume / model.bore  # head, crown and bared liner of a disc-shaped chamber
    return model.wall_factor * coefficient * wall * (temperature - model.wall_temperature)
