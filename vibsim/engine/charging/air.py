"""Air and exhaust gas of the charging parts, as ideal gases of constant heat capacity; thermodynamics of a stage."""

from __future__ import annotations

from vibsim.jit import inlined

GAMMA = 1.4
GAS_CONSTANT = 287.0  # J/kg/K
HEAT_CAPACITY = GAMMA / (GAMMA - 1.0) * GAS_CONSTANT  # at constant pressure, J/kg/K
EXPONENT = (GAMMA - 1.0) / GAMMA
# burnt gas near 1000 K (Heywood 1988, ch. 4, from memory)
EXHAUST_GAMMA = 1.33
EXHAUST_GAS_CONSTANT = 287.0


@inlined
def compressed_temperature(temperature, ratio, efficiency, gamma):
    """Total temperature (K) after compression by a total pressure ratio at an isentropic efficiency.

    T₂ = T₁·[1 + (Π^((γ−1)/γ) − 1)/η] (Watson & Janota 1982; Heywood 1988, ch. 6, from memory).
    """
    return temperature * (1.0 + (ratio ** ((gamma - 1.0) / gamma) - 1.0) / efficiency)
