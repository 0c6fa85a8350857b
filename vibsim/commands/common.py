"""What the commands share: exit codes, complaints, and the JSON they print."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from vibsim.inputs.loader import CaseFile

DONE, FAILED, BAD_INPUT, INTERRUPTED, READER_LEFT = 0, 1, 2, 130, 141
EXIT_CODES = {  # they stay what they are: scripts rely on them
    DONE: "done",
    FAILED: "failed",
    BAD_INPUT: "bad input",
    INTERRUPTED: "stopped by Ctrl-C",
    READER_LEFT: "whoever read the output left",
}
listeners: list[Callable[[str, str], None]] = []  # hear level (warning, error) and line of every complaint
warnings_shown = True


def complain(lines: list[str], level: str = "error") -> None:
    """One plain line each on standard error."""
    for text in lines:
        line = " ".join(text.split())
        for listen in listeners:
            listen(level, line)
        if level == "error":
            print(f"vibsim: {line}", file=sys.stderr)
        elif warnings_shown:
            print(f"vibsim: {level}: {line}", file=sys.stderr)


def warn(lines: list[str]) -> None:
    """What is doubtful, one plain line each on standard error."""
    complain(lines, "warning")


def tell(lines: tuple[str, ...]) -> None:
    """How a case was taken, one plain line each on standard error."""
    complain(list(lines), "note")


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


def check_new_case(target: Path | None, case_file: CaseFile) -> None:
    """Raise InputError for a new case that would replace a file or not find its traces; None, not given, passes."""
    from vibsim.inputs.errors import InputError

    if target is None:
        return
    if target.exists():
        raise InputError(f"--write: got '{target}'; is there already, choose another name")
    engine = case_file.case.engine
    if engine and engine.gas.source == "trace" and target.resolve().parent != case_file.folder.resolve():
        raise InputError(f"--write: got '{target}'; must be in {case_file.folder}, where the case's traces are found")


def write_new(text: str, path: Path) -> Path:
    """Write a new file, never over one that is there; raises VibsimError when that cannot be done."""
    from vibsim.inputs.errors import VibsimError

    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as error:
        raise VibsimError(f"{path}: cannot be written ({error.strerror})") from None
    return path
