"""What every table of the case file is made of."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

Name = Annotated[str, StringConstraints(min_length=1, max_length=80)]
FileName = Annotated[str, StringConstraints(min_length=1, max_length=4096)]
Vector = tuple[float, float, float]
NonNegative = Annotated[float, Field(ge=0)]
Rate = Annotated[float, Field(ge=0, le=1e12)]
PositiveNumber = Annotated[float, Field(gt=0)]


class Table(BaseModel):
    """One table of the case file: closed to unknown keys, finite numbers only, no silent conversions."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)
