"""What every table of the case file is built from."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, StringConstraints

Name = Annotated[str, StringConstraints(min_length=1, max_length=80)]
Vector = tuple[float, float, float]


class Table(BaseModel):
    """One table of the case file: closed to unknown keys, finite numbers only, no silent conversions."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)
