"""Keys of a run whose cycles differ: variation from cycle to cycle, and misfire."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from vibsim.inputs.table import Name, Table

MOST_CYCLES = 100_000
LONGEST_PATTERN = 64


class Variation(Table):
    """How the work of a cylinder varies from cycle to cycle, each cylinder for itself."""

    coefficient_of_variation: Annotated[
        float, Field(gt=0, le=0.5, description="standard deviation over mean of the gross indicated mean pressure")
    ]
    distribution: Annotated[Literal["normal", "lognormal"], Field(description="of that pressure")] = "lognormal"
    lag_correlation: Annotated[float, Field(ge=-0.95, le=0.95, description="of one cycle with the next")] = 0.0
    seed: Annotated[int, Field(ge=0, description="the same seed, the same series")] = 1
    cycles: Annotated[
        int | None, Field(ge=2, le=MOST_CYCLES, description="after which the series repeats; default the whole run")
    ] = None


class Misfire(Table):
    """Cycles in which nothing burns: of a pattern that repeats, or the last of every few."""

    cylinder: Annotated[Name | tuple[Name, ...], Field(description="name, or names, of those that misfire")]
    pattern: Annotated[
        tuple[Literal[0, 1], ...] | None,
        Field(min_length=1, max_length=LONGEST_PATTERN, description="cycle by cycle, 1 burns, 0 misfires"),
    ] = None
    every: Annotated[
        int | None, Field(ge=1, le=LONGEST_PATTERN, description="the last of so many cycles misfires, 1 all")
    ] = None

    @property
    def cylinders(self) -> tuple[str, ...]:
        return (self.cylinder,) if isinstance(self.cylinder, str) else self.cylinder

    @property
    def burns(self) -> tuple[int, ...]:
        """1 for each cycle of the pattern that burns, 0 for each that does not."""
        if self.pattern is not None:
            return self.pattern
        assert self.every is not None
        return (*(1,) * (self.every - 1), 0)
