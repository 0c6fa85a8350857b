"""Tables of the case file for what people feel: how they touch a sensor's point, and the day they spend so."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from vibsim.inputs import units as u
from vibsim.inputs.table import Name, Table

Contact = Literal["grip", "seat", "backrest", "footrest"]
Posture = Literal["sitting", "standing"]


class Duty(Table):
    """One of the steady operating points a working day consists of."""

    name: Annotated[Name | None, Field(description="for tables; default made of speed and load")] = None
    speed: Annotated[float, u.SPEED, Field(gt=0, description="mean crank speed")]
    load: Annotated[float, Field(ge=0, le=1, description="share of full load")] = 1.0
    hours: Annotated[float, Field(gt=0, le=24, description="of a day")]
