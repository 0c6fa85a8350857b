"""Single-zone working cycle: Wiebe heat release, Woschni wall loss, compressible flow through both valves.

State of one cylinder: temperature, mass, fresh mass. First law for an open system of ideal gas,
m·cv·dT = −p dV + dQ + Σ_in (h_in − u) dm − R·T·dm_out (derived from dU = δQ − p dV + Σ h dm).
The ratio of heat capacities falls with temperature, γ = γ₀ − k·(T − 300 K) (Gatowski et al. 1984, from memory).
Blowdown is the compressible flow through the opening exhaust valve. Gas that flows back into the intake is taken to
return as fresh charge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from vibsim.engine.kinematics import slider_crank, top_dead_centre
from vibsim.engine.layout import ResolvedCylinder
from vibsim.engine.volume import mean_piston_speed
from vibsim.inputs.errors import InputError, VibsimError
from vibsim.inputs.models import CycleGas, Engine
from vibsim.jit import inner, kernel

REFERENCE_TEMPERATURE = 300.0
CYCLE_TOLERANCE = 1e-8
MOST_CYCLES = 200
POINTS_PER_DEGREE = 2
KEPT_CYCLES = 128  # 60 kB each: studies meet the same cylinder at the same speed again and again
VALVE_ANGLES = {  # intake opens, closes, exhaust opens, closes: degrees from firing top dead centre; common practice
    4: (350.0, 590.0, 130.0, 370.0),
    2: (120.0, 240.0, 95.0, 265.0),
}
FLOW_AREA_SHARE = {4: (0.15, 0.12), 2: (0.20, 0.25)}  # effective over bore area, intake and exhaust; common practice
SCAVENGE_RATIO = 1.25  # two-stroke delivery pressure over ambient at full load; common practice
IDLE_SCAVENGE_RATIO = 1.03  # and over exhaust pressure at load 0, so that some charge still goes through


class CycleModel(NamedTuple):
    """One cylinder and its operating point, SI units, angles in rad from firing top dead centre."""

    radius: float
    rod_length: float
    offset: float
    top_angle: float
    top: float
    bore: float
    area: float
    clearance: float
    swept: float
    cycle: float
    speed: float
    piston_speed: float
    gas_constant: float
    gamma0: float
    gamma_fall: float
    heat_per_fresh: float
    burn_start: float
    burn_duration: float
    wiebe_a: float
    wiebe_m: float
    wall_temperature: float
    wall_factor: float
    intake_pressure: float
    intake_temperature: float
    exhaust_pressure: float
    intake_opens: float
    intake_span: float
    exhaust_opens: float
    exhaust_span: float
    intake_area: float
    exhaust_area: float


@dataclass(frozen=True)
class Cycle:
    """A converged cycle. Arrays over angle (n + 1) from 0 to the cycle's end; sums in J and kg per cycle."""

    angle: np.ndarray
    pressure: np.ndarray
    pressure_slope: np.ndarray
    temperature: np.ndarray
    mass: np.ndarray
    work: float
    wall_heat: float
    fuel_heat: float
    enthalpy_in: float
    enthalpy_out: float
    trapped_mass: float
    residual_share: float
    cycles: int

    @property
    def peak_pressure(self) -> float:
        return float(self.pressure.max())


@kernel
def wiebe_rate(x, a, m):
    """Rate of the Wiebe burn function x_b = 1 − exp(−a·y^(m+1)) by y (Heywood 1988, ch. 9, from memory)."""
    if x <= 0.0 or x >= 1.0:
        return 0.0
    return a * (m + 1.0) * x**m * math.exp(-a * x ** (m + 1.0))


@kernel
def woschni_coefficient(bore, pressure, temperature, gas_speed):
    """Wall heat-transfer coefficient, W/m²K; bore m, pressure Pa, temperature K, speed m/s.

    h = 3.26·B^-0.2·p^0.8·T^-0.55·w^0.8 with p in kPa (Heywood 1988, eq. 12.19, from memory).
    """
    return 3.26 * bore**-0.2 * (1e-3 * pressure) ** 0.8 * temperature**-0.55 * gas_speed**0.8


@kernel
def flow_factor(ratio, gamma):
    """Mass flow over A·p/√(R·T) for a downstream over upstream pressure ratio; choked below the critical one.

    One-dimensional isentropic flow (Heywood 1988, app. C, from memory); linear in the last 0.2 % before equal
    pressures, where the square root would have no slope.
    """
    critical = (2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0))
    if ratio <= critical:
        return math.sqrt(gamma) * (2.0 / (gamma + 1.0)) ** (0.5 * (gamma + 1.0) / (gamma - 1.0))
    linear = 0.998
    r = min(ratio, linear)
    value = math.sqrt(2.0 * gamma / (gamma - 1.0) * (r ** (2.0 / gamma) - r ** ((gamma + 1.0) / gamma)))
    if ratio > linear:
        value *= (1.0 - ratio) / (1.0 - linear)
    return value


@kernel
def internal_energy(temperature, model):
    """Specific internal energy over 300 K, J/kg: ∫ R/(γ − 1) dT with γ linear in T (derived)."""
    rise = temperature - REFERENCE_TEMPERATURE
    g = model.gamma0 - 1.0
    if model.gamma_fall == 0.0:
        return model.gas_constant / g * rise
    return -model.gas_constant / model.gamma_fall * math.log((g - model.gamma_fall * rise) / g)


@inner
def _valve_area(angle, opens, span, greatest, cycle):
    past = angle - opens
    past -= math.floor(past / cycle) * cycle
    return greatest * math.sin(math.pi * past / span) ** 2 if past < span else 0.0


@inner
def _volume(angle, model):
    psi = angle + model.top_angle
    slider = slider_crank(math.cos(psi), math.sin(psi), model.radius, model.rod_length, model.offset)
    return model.clearance + model.area * (model.top - slider[0]), -model.area * slider[1]


@inner
def _port_flow(area, outside_pressure, outside_temperature, pressure, temperature, gamma, gas_constant):
    """Mass flow into the cylinder through one open valve, kg/s, negative when gas leaves."""
    if outside_pressure >= pressure:
        root = math.sqrt(gas_constant * outside_temperature)
        return area * outside_pressure / root * flow_factor(pressure / outside_pressure, gamma)
    root = math.sqrt(gas_constant * temperature)
    return -area * pressure / root * flow_factor(outside_pressure / pressure, gamma)


@inner
def _wall_loss(pressure, temperature, volume, shut, still, hot, model):
    """Heat lost to the walls, W. `shut`: pressure, volume and temperature at intake closing; `still`: valves shut;
    `hot`: burning or expanding, when Woschni's gas speed rises with the pressure above that of the motored engine."""
    gas_speed = 6.18 * model.piston_speed
    if still:
        gas_speed = 2.28 * model.piston_speed
        if hot:
            motored = shut[0] * (shut[1] / volume) ** 1.32
            extra = 3.24e-3 * model.swept * shut[2] / (shut[0] * shut[1]) * (pressure - motored)
            gas_speed += max(extra, 0.0)
    wall = 2.0 * model.area + 4.0 * volume / model.bore  # head, crown and bared liner of a disc-shaped chamber
    coefficient = model.wall_factor * woschni_coefficient(model.bore, pressure, temperature, gas_speed)
    return coefficient * wall * (temperature - model.wall_temperature)


@inner
def _rates(angle, temperature, mass, fresh, burn_mass, burning, shut, model):
    """Derivatives by crank angle of (T, m, fresh, work, wall heat, fuel heat, enthalpy in, out), and p and dp/dθ."""
    volume, volume1 = _volume(angle, model)
    gas_constant, per_second = model.gas_constant, 1.0 / model.speed
    pressure = mass * gas_constant * temperature / volume
    gamma = model.gamma0 - model.gamma_fall * (temperature - REFERENCE_TEMPERATURE)
    energy = internal_energy(temperature, model)
    past = angle - model.burn_start
    past -= math.floor(past / model.cycle) * model.cycle
    burn1 = 0.0
    if burning:
        # the rate ends with a jump, inside the last burning step; rounding may put the burn's start a cycle late
        share = min(past / model.burn_duration, 1.0 - 1e-12) if past < 0.75 * model.cycle else 0.0
        burn1 = wiebe_rate(share, model.wiebe_a, model.wiebe_m) / model.burn_duration
    fuel1 = burn_mass * model.heat_per_fresh * burn1
    a_in = _valve_area(angle, model.intake_opens, model.intake_span, model.intake_area, model.cycle)
    a_out = _valve_area(angle, model.exhaust_opens, model.exhaust_span, model.exhaust_area, model.cycle)
    intake = exhaust = 0.0
    if a_in > 0.0:
        outside = model.intake_temperature
        intake = _port_flow(a_in, model.intake_pressure, outside, pressure, temperature, gamma, gas_constant)
    if a_out > 0.0:  # exhaust gas returns at the temperature of the cylinder
        exhaust = _port_flow(a_out, model.exhaust_pressure, temperature, pressure, temperature, gamma, gas_constant)
    enthalpy = energy + gas_constant * temperature
    intake_enthalpy = internal_energy(model.intake_temperature, model) + gas_constant * model.intake_temperature
    enthalpy_in = per_second * (max(intake, 0.0) * intake_enthalpy + max(exhaust, 0.0) * enthalpy)
    enthalpy_out = per_second * (max(-intake, 0.0) + max(-exhaust, 0.0)) * enthalpy
    mass1 = per_second * (intake + exhaust)
    fresh1 = per_second * (max(intake, 0.0) - (max(-intake, 0.0) + max(-exhaust, 0.0)) * fresh / mass)
    fresh1 -= burn_mass * burn1
    wall1 = 0.0
    if model.wall_factor > 0.0:
        still, hot = a_in == 0.0 and a_out == 0.0, past < math.pi
        wall1 = per_second * _wall_loss(pressure, temperature, volume, shut, still, hot, model)
    heat = fuel1 - wall1 - pressure * volume1 + enthalpy_in - enthalpy_out - energy * mass1
    temperature1 = heat * (gamma - 1.0) / (mass * gas_constant)
    slope = pressure * (mass1 / mass + temperature1 / temperature - volume1 / volume)
    return temperature1, mass1, fresh1, pressure * volume1, wall1, fuel1, enthalpy_in, enthalpy_out, pressure, slope


@inner
def _step(angle, h, state, burn_mass, shut, model, k, sums):
    """One classical Runge–Kutta step of state (T, m, fresh) over angle h, adding to the sums; returns p and dp/dθ."""
    pressure = slope = 0.0
    middle = angle + 0.5 * h - model.burn_start
    burning = middle - math.floor(middle / model.cycle) * model.cycle < model.burn_duration
    for stage in range(4):
        share = 0.0 if stage == 0 else (1.0 if stage == 3 else 0.5)
        last = max(stage - 1, 0)
        rates = _rates(
            angle + share * h,
            state[0] + share * h * k[last, 0],
            state[1] + share * h * k[last, 1],
            state[2] + share * h * k[last, 2],
            burn_mass,
            burning,
            shut,
            model,
        )
        for c in range(8):
            k[stage, c] = rates[c]
        if stage == 0:
            pressure, slope = rates[8], rates[9]
    for c in range(8):
        rise = h / 6.0 * (k[0, c] + 2.0 * k[1, c] + 2.0 * k[2, c] + k[3, c])
        if c < 3:
            state[c] += rise
        else:
            sums[c - 3] += rise
    return pressure, slope


@inner
def _one_cycle(model, first, points, substeps, state, out, sums, k):
    """One cycle from grid point `first` on, filling out and sums; false when the gas left the model's range."""
    h = model.cycle / points / substeps
    begin = first * model.cycle / points
    volume, _ = _volume(begin, model)
    shut = (state[1] * model.gas_constant * state[0] / volume, volume, state[0])
    sums[5], sums[6] = state[1], 1.0 - state[2] / state[1]
    burn_mass, lit = state[2], False
    for n in range(points):
        node = (first + n) % points
        out[node, 2], out[node, 3] = state[0], state[1]
        for j in range(substeps):
            angle = begin + (n * substeps + j) * h
            past = angle + h - model.burn_start
            past -= math.floor(past / model.cycle) * model.cycle
            if not lit and past < model.burn_duration:
                burn_mass, lit = state[2], True
            pressure, slope = _step(angle, h, state, burn_mass, shut, model, k, sums)
            if j == 0:
                out[node, 0], out[node, 1] = pressure, slope
            if not (0.0 < state[0] < 6000.0 and state[1] > 0.0):
                return False
    return True


@kernel
def _integrate_cycle(model, points, substeps, tolerance, most_cycles, out, sums, state, k):
    """Repeat the cycle until it closes; returns how many it took, −1 out of the gas model's range, −2 not closed.

    Begins at intake closing. Fills out (points, 4) with p, dp/dθ, T, m and sums (7) with the work, heats and enthalpies
    of the last cycle, the trapped mass and its residual share; state (3) and k (4, 8) are work space.
    """
    start = model.intake_opens + model.intake_span
    start -= math.floor(start / model.cycle) * model.cycle
    first = math.ceil(start / model.cycle * points) % points
    volume, _ = _volume(first * model.cycle / points, model)
    state[0] = model.intake_temperature
    state[1] = model.intake_pressure * volume / (model.gas_constant * state[0])
    state[2] = state[1]
    for cycle in range(most_cycles):
        temperature, mass, fresh = state[0], state[1], state[2]
        for c in range(5):
            sums[c] = 0.0
        if not _one_cycle(model, first, points, substeps, state, out, sums, k):
            return -1
        change = abs(state[0] / temperature - 1.0) + abs(state[1] / mass - 1.0) + abs(state[2] - fresh) / mass
        if change < tolerance:
            return cycle + 1
    return -2


def solve_cycle(engine: Engine, cylinder: ResolvedCylinder, speed: float, load: float) -> Cycle:
    """Converged cycle of one cylinder at crank speed (rad/s) and load (0 to 1).

    Solved once for each cylinder and operating point, so the arrays are read-only. Raises InputError for valve or burn
    angles that cannot be, VibsimError when the cycle does not converge.
    """
    return _solve(cycle_model(engine, cylinder, speed, load))


@lru_cache(maxsize=KEPT_CYCLES)
def _solve(model: CycleModel) -> Cycle:
    points = round(math.degrees(model.cycle)) * POINTS_PER_DEGREE
    out, sums, state, stages = np.empty((points + 1, 4)), np.zeros(7), np.zeros(3), np.zeros((4, 8))
    # explicit steps must follow pressure equalising through an open valve, which takes a fixed time, not angle
    substeps = max(1, math.ceil(400.0 / model.speed * 2.0))
    cycles = _integrate_cycle(model, points, substeps, CYCLE_TOLERANCE, MOST_CYCLES, out, sums, state, stages)
    out[points] = out[0]
    out.setflags(write=False)
    if cycles < 0:
        what = "left the range of the gas model" if cycles == -1 else f"did not close in {MOST_CYCLES} cycles"
        raise VibsimError(f"engine.gas: the working cycle at {model.speed * 30 / math.pi:.0f} rpm {what}")
    work, wall, fuel, enthalpy_in, enthalpy_out, trapped, residual = sums
    return Cycle(
        angle=np.linspace(0.0, model.cycle, points + 1),
        pressure=out[:, 0],
        pressure_slope=out[:, 1],
        temperature=out[:, 2],
        mass=out[:, 3],
        work=work,
        wall_heat=wall,
        fuel_heat=fuel,
        enthalpy_in=enthalpy_in,
        enthalpy_out=enthalpy_out,
        trapped_mass=trapped,
        residual_share=residual,
        cycles=cycles,
    )


def cycle_model(engine: Engine, cylinder: ResolvedCylinder, speed: float, load: float) -> CycleModel:
    """Numbers of one cylinder's cycle; raises InputError for angles that cannot be."""
    gas = engine.gas
    assert isinstance(gas, CycleGas)
    cycle = engine.strokes * math.pi
    given = (gas.intake_opens, gas.intake_closes, gas.exhaust_opens, gas.exhaust_closes)
    usual = (math.radians(angle) for angle in VALVE_ANGLES[engine.strokes])
    i_open, i_close, e_open, e_close = (a if a is not None else b for a, b in zip(given, usual, strict=True))
    shares = FLOW_AREA_SHARE[engine.strokes]
    top_angle, top = top_dead_centre(cylinder.radius, cylinder.rod_length, cylinder.offset)
    _check_angles(gas, cycle, (i_open, i_close, e_open, e_close))
    return CycleModel(
        radius=cylinder.radius,
        rod_length=cylinder.rod_length,
        offset=cylinder.offset,
        top_angle=top_angle,
        top=top,
        bore=cylinder.bore,
        area=cylinder.area,
        clearance=cylinder.clearance_volume,
        swept=cylinder.swept_volume,
        cycle=cycle,
        speed=speed,
        piston_speed=mean_piston_speed(cylinder, speed),
        gas_constant=gas.gas_constant,
        gamma0=gas.heat_capacity_ratio,
        gamma_fall=gas.heat_capacity_ratio_fall,
        heat_per_fresh=gas.combustion_efficiency * gas.lower_heating_value / (1.0 + gas.air_fuel_ratio),
        burn_start=gas.burn_start,
        burn_duration=gas.burn_duration,
        wiebe_a=gas.wiebe_a,
        wiebe_m=gas.wiebe_m,
        wall_temperature=gas.wall_temperature,
        wall_factor=gas.wall_heat_factor,
        intake_pressure=intake_pressure(gas, engine.strokes, load),
        intake_temperature=gas.intake_temperature,
        exhaust_pressure=gas.exhaust_pressure,
        intake_opens=i_open,
        intake_span=(i_close - i_open) % cycle,
        exhaust_opens=e_open,
        exhaust_span=(e_close - e_open) % cycle,
        intake_area=gas.intake_flow_area or shares[0] * cylinder.area,
        exhaust_area=gas.exhaust_flow_area or shares[1] * cylinder.area,
    )


def intake_pressure(gas: CycleGas, strokes: int, load: float) -> float:
    """Intake pressure, Pa, a straight line over load.

    Four-stroke: from the closed-throttle pressure to ambient. Two-stroke: the delivery pressure of the crankcase, from
    just above exhaust pressure.
    """
    if gas.intake_pressure is not None:
        return gas.intake_pressure
    full = gas.ambient_pressure * (SCAVENGE_RATIO if strokes == 2 else 1.0)
    low = gas.exhaust_pressure * IDLE_SCAVENGE_RATIO if strokes == 2 else gas.closed_throttle_pressure
    return low + load * (full - low)


def _check_angles(gas: CycleGas, cycle: float, angles: tuple[float, float, float, float]) -> None:
    """Valves must open for less than two thirds of the cycle, the burn must fit while both are shut."""
    i_open, i_close, e_open, e_close = angles
    for name, opens, closes in (("intake", i_open, i_close), ("exhaust", e_open, e_close)):
        if not 0.0 < (closes - opens) % cycle < 2.0 / 3.0 * cycle:
            raise InputError(
                f"engine.gas.{name}_opens_deg, {name}_closes_deg: got {math.degrees(opens):g} and "
                f"{math.degrees(closes):g} deg; must be open for more than 0 and less than two thirds of the cycle"
            )
    # the closing nearest before firing top dead centre, the opening nearest after it
    shut = max((angle - 1e-12) % cycle - cycle for angle in (i_close, e_close))
    opens = min(i_open % cycle, e_open % cycle)
    start, end = gas.burn_start, gas.burn_start + gas.burn_duration
    if not shut <= start < end <= opens:
        raise InputError(
            f"engine.gas.burn_start_deg, burn_duration_deg: got {math.degrees(start):g} to {math.degrees(end):g} deg; "
            f"must lie between the last valve closing {math.degrees(shut):g} and the first exhaust opening or intake "
            f"opening {math.degrees(opens):g} deg"
        )
