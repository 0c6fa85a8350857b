"""What the commands share: exit codes, complaints, and the JSON they print."""

from __future__ import annotations

import json
import sys
from typing import Any

DONE, FAILED, BAD_INPUT, INTERRUPTED, READER_LEFT = 0, 1, 2, 130, 141


def complain(lines: list[str]) -> None:
    """One plain line each on standard error."""
    for line in lines:
        print(f"vibsim: {' '.join(line.split())}", file=sys.stderr)


def warn(lines: list[str]) -> None:
    """What is doubtful, one plain line each on standard error."""
    complain([f"warning: {line}" for line in lines])


def print_json(found: Any) -> None:
    print(json.dumps(found, indent=2))


def check_speeds(option: str, speeds: list[float]) -> None:
    """Raise InputError for a crank speed (rpm) outside what the tool takes."""
    from vibsim.inputs.case_checks import FASTEST_RPM
    from vibsim.inputs.errors import InputError

    for speed in speeds:
        if not 0.0 < speed < FASTEST_RPM:
            raise InputError(f"{option}: got {speed:g}; must be more than 0 and below {FASTEST_RPM}")


def angle_range(option: str, given: tuple[float, float], least: float, most: float) -> tuple[float, float]:
    """A range of angles (degrees, as given) in rad; raises InputError when it is upside down or out of bounds."""
    import math

    from vibsim.inputs.errors import InputError

    low, high = given
    if not least <= low < high <= most:
        raise InputError(f"{option}: got {low:g} {high:g}; must rise, within {least:g} to {most:g} deg")
    return math.radians(low), math.radians(high)


def check_number(option: str, value: float | None, least: float, most: float) -> None:
    """Raise InputError for a number outside what an option takes; None, not given, passes."""
    from vibsim.inputs.errors import InputError

    if value is not None and not least <= value <= most:
        raise InputError(f"{option}: got {value:g}; must be {least:g} to {most:g}")
