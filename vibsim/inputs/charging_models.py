"""Tables of the case file for charging: compressor and what drives it. Defaults: an invented small machine.

The defaults suit an engine of about 0.7 litre boosted by a third of a bar; no real machine is meant.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from vibsim.inputs import units as u
from vibsim.inputs.table import FileName, Table, Vector

Share = Annotated[float, Field(ge=0, le=1)]
Efficiency = Annotated[float, Field(gt=0, le=1)]
LOSS_SHARES = 0.6, 0.3  # copper and iron, of a motor's rated loss; the rest is constant


class Compressor(Table):
    """A map from a CSV file, or the generic map scaled by wheel diameter."""

    file: Annotated[FileName | None, Field(description="CSV map; without it the generic map")] = None
    wheel_diameter: Annotated[float | None, u.LENGTH, Field(gt=0, le=1, description="of the generic map's wheel")] = (
        None
    )
    peak_efficiency: Annotated[float | None, Field(gt=0.2, le=0.9, description="of the generic map")] = None
    reference_temperature: Annotated[float, u.TEMPERATURE, Field(gt=200, lt=400, description="of corrected values")] = (
        298.15
    )
    reference_pressure: Annotated[float, u.PRESSURE, Field(ge=5e4, le=2e5, description="of corrected values")] = 1.0e5


class Intercooler(Table):
    effectiveness: Annotated[float, Field(ge=0, le=1)] = 0.7
    coolant_temperature: Annotated[float, u.TEMPERATURE, Field(gt=200, lt=400)] = 303.15
    pressure_loss: Annotated[float, u.PRESSURE, Field(ge=0, le=1e5, description="at the rated flow and density")] = (
        3.0e3
    )
    rated_mass_flow: Annotated[float, u.MASS_FLOW, Field(gt=0)] = 0.05
    rated_density: Annotated[float, u.DENSITY, Field(gt=0, description="of the air that enters")] = 1.4


class Motor(Table):
    torque_limit: Annotated[float, u.TORQUE, Field(gt=0)] = 0.6
    power_limit: Annotated[float, u.POWER, Field(gt=0, description="at the shaft")] = 5.0e3
    speed_limit: Annotated[float, u.SPEED, Field(gt=0)] = 12566.370614359172
    efficiency: Annotated[float, Field(gt=0, le=1, description="at the rated point, winding at 20 degC")] = 0.91
    rated_torque: Annotated[float | None, u.TORQUE, Field(gt=0, description="default the torque limit")] = None
    rated_speed: Annotated[
        float | None, u.SPEED, Field(gt=0, description="default where the power limit meets the torque limit")
    ] = None
    losses: Literal["copper_iron", "constant_efficiency"] = "copper_iron"
    copper_share: Annotated[float | None, Field(ge=0, le=1, description="of the rated loss, default 0.6")] = None
    iron_share: Annotated[float | None, Field(ge=0, le=1, description="of the rated loss, default 0.3")] = None
    inertia: Annotated[float, u.SMALL_INERTIA, Field(gt=0, description="of the rotor with its wheel")] = 3.5e-5
    heat_capacity: Annotated[float, u.HEAT_CAPACITY, Field(gt=0, description="of winding and iron")] = 450.0
    thermal_resistance: Annotated[float, u.THERMAL_RESISTANCE, Field(gt=0, description="winding to coolant")] = 0.4
    derate_start: Annotated[float, u.TEMPERATURE, Field(gt=250, lt=600)] = 413.15
    temperature_limit: Annotated[float, u.TEMPERATURE, Field(gt=250, lt=600)] = 433.15


class Inverter(Table):
    efficiency: Efficiency = 0.96
    heat_capacity: Annotated[float, u.HEAT_CAPACITY, Field(gt=0)] = 150.0
    thermal_resistance: Annotated[float, u.THERMAL_RESISTANCE, Field(gt=0, description="inverter to coolant")] = 0.3
    derate_start: Annotated[float, u.TEMPERATURE, Field(gt=250, lt=600)] = 363.15
    temperature_limit: Annotated[float, u.TEMPERATURE, Field(gt=250, lt=600)] = 378.15


class Battery(Table):
    voltage: Annotated[float, u.VOLTAGE, Field(gt=0, le=2000, description="open circuit")] = 48.0
    resistance: Annotated[float, u.RESISTANCE, Field(ge=0)] = 0.015
    current_limit: Annotated[float | None, u.CURRENT, Field(gt=0, description="none if absent")] = 180.0
    energy: Annotated[float, u.ENERGY, Field(gt=0, description="that may be drawn")] = 4.0e5
    share: Annotated[
        float,
        Field(
            ge=0,
            le=1,
            description="of the electric power it gives; by default none: the alternator, and so the crank, gives it "
            "all at once, the battery only what is beyond the alternator's limits",
        ),
    ] = 0.0


class BusAlternator(Table):
    efficiency: Efficiency = 0.75
    power_limit: Annotated[float, u.POWER, Field(gt=0, description="electric")] = 4.0e3
    torque_limit: Annotated[float, u.TORQUE, Field(gt=0, description="at the crank")] = 25.0


class Charged(Table):
    """Keys of every charged engine. Give boost_pressure or pressure_ratio."""

    boost_pressure: Annotated[
        float | None, u.PRESSURE, Field(gt=0, le=5e5, description="target in the intake, above ambient")
    ] = None
    pressure_ratio: Annotated[float | None, Field(gt=1, le=6, description="target, intake over ambient")] = None
    inlet_temperature: Annotated[float, u.TEMPERATURE, Field(gt=200, lt=400)] = 298.15
    intake_volume: Annotated[float, u.VOLUME, Field(gt=0, le=1, description="between compressor and valves")] = 2.5e-3
    compressor: Compressor = Compressor()
    intercooler: Intercooler | None = None
    added_mass: Annotated[float, u.MASS, Field(ge=0, description="on the engine's body, unless weighed with it")] = 0.0
    added_mass_at: Annotated[Vector | None, u.LENGTH, Field(description="vehicle axes")] = None


class ElectricCharging(Charged):
    """Compressor driven by an electric motor."""

    source: Literal["electric"]
    motor: Motor = Motor()
    inverter: Inverter = Inverter()
    battery: Battery = Battery()
    alternator: BusAlternator = BusAlternator()
    coolant_temperature: Annotated[
        float, u.TEMPERATURE, Field(gt=200, lt=450, description="what cools motor and inverter")
    ] = 333.15
    thermal_coupling: Annotated[
        float | None, u.THERMAL_RESISTANCE, Field(gt=0, description="winding to inverter, none if absent")
    ] = None
    duty_period: Annotated[float, u.TIME, Field(gt=0, le=36000, description="over which boost comes and goes")] = 60.0
    response_time: Annotated[float, u.TIME, Field(gt=0, le=10, description="of the boost control")] = 0.1
    bypass_area: Annotated[
        float, u.AREA, Field(ge=0, description="effective, of the flap around the standing compressor")
    ] = 6.0e-4


class Turbine(Table):
    effective_area: Annotated[float, u.AREA, Field(gt=0, description="of the nozzle that passes its flow")] = 2.2e-4
    wheel_diameter: Annotated[float, u.LENGTH, Field(gt=0, le=1)] = 0.04
    peak_efficiency: Annotated[float | None, Field(gt=0, le=0.95, description="default 0.68")] = None
    peak_speed_ratio: Annotated[
        float | None, Field(ge=0.3, le=1, description="blade over spouting speed at peak efficiency, default 0.68")
    ] = None
    efficiency_file: Annotated[FileName | None, Field(description="CSV: blade_speed_ratio, efficiency")] = None
    mechanical_efficiency: Efficiency = 0.97
    bearing_loss: Annotated[float, u.TORQUE_PER_SPEED, Field(ge=0, description="torque over rotor speed")] = 3.0e-7
    inertia: Annotated[float, u.SMALL_INERTIA, Field(gt=0, description="of the rotor with both wheels")] = 1.2e-5
    wastegate_area: Annotated[float, u.AREA, Field(ge=0, description="effective, fully open")] = 2.5e-4
    wastegate_opens: Annotated[
        float | None,
        u.PRESSURE,
        Field(ge=0, description="boost where it begins to open, default 90 % of the target"),
    ] = None
    wastegate_fully_open: Annotated[
        float | None, u.PRESSURE, Field(gt=0, description="boost where it is open, default 30 % of the target on")
    ] = None


class TurbineCharging(Charged):
    """Compressor driven by an exhaust turbine."""

    source: Literal["exhaust_turbine"]
    turbine: Turbine = Turbine()
    exhaust_volume: Annotated[float, u.VOLUME, Field(gt=0, le=1, description="ahead of the turbine")] = 1.0e-3


class Drive(Table):
    ratio: Annotated[float, Field(gt=0, le=60, description="turns of the compressor per crank turn")] = 17.0
    mechanical_efficiency: Efficiency = 0.95
    inertia: Annotated[float, u.SMALL_INERTIA, Field(ge=0, description="of compressor and drive, at its shaft")] = (
        1.5e-5
    )


class DrivenCharging(Charged):
    """Compressor driven by the crank; a bypass valve holds the target."""

    source: Literal["engine_driven"]
    drive: Drive = Drive()


class NoCharging(Table):
    source: Literal["none"] = "none"


Charging = Annotated[NoCharging | ElectricCharging | TurbineCharging | DrivenCharging, Field(discriminator="source")]
