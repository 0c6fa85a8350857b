"""`[engine.friction]` and `[[engine.accessory]]` as pydantic models, in SI units."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from vibsim.inputs import units as u
from vibsim.inputs.table import Name, Table

Oil = Literal["5W-20", "5W-40", "10W-30", "20W-50", "SAE 30"]


class FrictionBase(Table):
    """What every friction law takes: how cold it is."""

    cold_factor: Annotated[float, Field(ge=1, le=20, description="multiplies all friction, accessories not")] = 1.0
    oil_temperature: Annotated[
        float | None,
        u.TEMPERATURE,
        Field(ge=243.15, le=423.15, description="-30 to 150 degC; thickens what rises with speed; 90 degC if absent"),
    ] = None
    oil: Oil = "10W-30"


class SimpleFriction(FrictionBase):
    """Dry friction and friction that rises with speed, as torques, as mean effective pressures, or both."""

    law: Literal["simple"] = "simple"
    torque: Annotated[float, u.TORQUE, Field(ge=0, description="independent of speed")] = 0.0
    viscous: Annotated[float, u.TORQUE_PER_SPEED, Field(ge=0)] = 0.0
    mean_effective_pressure: Annotated[float, u.PRESSURE, Field(ge=0, description="at rest")] = 0.0
    mean_effective_pressure_rise: Annotated[float, u.PRESSURE_PER_SPEED, Field(ge=0)] = 0.0


class ChenFlynnFriction(FrictionBase):
    """Mean effective pressure A + B·p_max + C·c + D·c²: mean peak pressure p_max (absolute), mean piston speed c.

    Form: Chen and Flynn, SAE 650733 (1965), not read. Defaults: middle of the trade's usual band; in print, by a copy
    that quotes it, as generic four-stroke values in a University of Washington thesis (Wittenbecher 2017, p. 22).
    """

    law: Literal["chen_flynn"]
    A: Annotated[float, u.PRESSURE, Field(ge=0, description="constant; usually with the accessories in it")] = 4.0e4
    B: Annotated[float, Field(ge=0, le=0.1, description="share of the mean peak pressure")] = 0.005
    C: Annotated[float, u.PRESSURE_PER_PISTON_SPEED, Field(ge=0)] = 9.0e3
    D: Annotated[float, u.PRESSURE_PER_PISTON_SPEED2, Field(ge=0)] = 90.0


Friction = Annotated[SimpleFriction | ChenFlynnFriction, Field(discriminator="law")]


class AccessoryBase(Table):
    """What every accessory takes. Speeds and torques of its law are those of its own shaft."""

    name: Name
    ratio: Annotated[float, Field(ge=-50, le=50, description="turns per crank turn, negative turns backwards")] = 1.0
    inertia: Annotated[float, u.SMALL_INERTIA, Field(ge=0, description="about its axis, on the block alone")] = 0.0
    reacted_by: Annotated[Name | None, Field(description="body that carries it, or ground; default block")] = None


class WaterPump(AccessoryBase):
    """Torque with the square of speed: `rated_power` at `rated_speed`."""

    kind: Literal["water_pump"]
    rated_power: Annotated[float, u.POWER, Field(ge=0)]
    rated_speed: Annotated[float, u.SPEED, Field(gt=0, description="of the pump's own shaft")]


class OilPump(AccessoryBase):
    """A pump of constant displacement held at its relief pressure: the torque is the same at every speed."""

    kind: Literal["oil_pump"]
    displacement: Annotated[float, u.SMALL_VOLUME, Field(ge=0, description="per turn of the pump's own shaft")]
    relief_pressure: Annotated[float, u.PRESSURE, Field(ge=0, description="rise over the pump")]
    efficiency: Annotated[float, Field(gt=0, le=1, description="mechanical; common practice, no source")] = 0.8


class Alternator(AccessoryBase):
    """Constant electrical power above `cut_in_speed`, its torque held at `torque_limit`; none below."""

    kind: Literal["alternator"]
    electrical_power: Annotated[float, u.POWER, Field(ge=0)]
    efficiency: Annotated[float, Field(gt=0, le=1, description="common practice 0.55 to 0.7, no source")] = 0.6
    cut_in_speed: Annotated[float, u.SPEED, Field(gt=0, description="of the alternator's own shaft")] = (
        104.71975511965977
    )
    torque_limit: Annotated[float | None, u.TORQUE, Field(gt=0, description="of the alternator's own shaft")] = None


class ConstantAccessory(AccessoryBase):
    """The same torque at every speed."""

    kind: Literal["constant"]
    torque: Annotated[float, u.TORQUE, Field(ge=0, description="of its own shaft")]


Accessory = Annotated[WaterPump | OilPump | Alternator | ConstantAccessory, Field(discriminator="kind")]
