"""What may change: every variable of `[size]` as a number in SI units, and the mounts a set of them makes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from pydantic import ValidationError

from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.mount_models import MountBase
from vibsim.inputs.sizing_checks import AXES, MIRRORED, match_key
from vibsim.inputs.sizing_models import Variable
from vibsim.inputs.units import to_si

Mounts = tuple[MountBase, ...]


@dataclass(frozen=True)
class Knob:
    """One variable: the `field` (entry `axis` of three, or None) of mounts by index with the sign it goes in with.

    `low`, `high`, `values` (the steps, or None) and `before` (of the first mount) in SI; `scale` SI per shown `unit`.
    """

    name: str
    key: str
    unit: str
    scale: float
    field: str
    axis: int | None
    mounts: tuple[tuple[int, float], ...]
    low: float
    high: float
    values: np.ndarray | None
    before: float


@dataclass(frozen=True)
class Space:
    """The knobs of a case and the mounts they turn."""

    mounts: Mounts
    knobs: tuple[Knob, ...]

    @property
    def low(self) -> np.ndarray:
        return np.array([knob.low for knob in self.knobs])

    @property
    def high(self) -> np.ndarray:
        return np.array([knob.high for knob in self.knobs])

    @property
    def before(self) -> np.ndarray:
        """The case as it is (knobs), which may lie outside the ranges."""
        return np.array([knob.before for knob in self.knobs])

    @property
    def turned(self) -> list[int]:
        """Indices of the mounts that may change."""
        return sorted({index for knob in self.knobs for index, _ in knob.mounts})

    def snapped(self, x: np.ndarray) -> np.ndarray:
        """x (..., knobs) within ranges and on steps."""
        found = np.clip(x, self.low, self.high)
        for n, knob in enumerate(self.knobs):
            if knob.values is not None:
                found[..., n] = knob.values[np.abs(knob.values - found[..., n, None]).argmin(axis=-1)]
        return found

    def mounts_at(self, x: np.ndarray) -> Mounts:
        """All mounts of the case with the knobs at x (knobs)."""
        changed: dict[int, dict[str, Any]] = {}
        for knob, value in zip(self.knobs, x, strict=True):
            for index, sign in knob.mounts:
                fields = changed.setdefault(index, {})
                if knob.axis is None:
                    fields[knob.field] = sign * float(value)
                    continue
                old = fields.get(knob.field, getattr(self.mounts[index], knob.field))
                fields[knob.field] = tuple(sign * float(value) if n == knob.axis else old[n] for n in range(3))
        return tuple(
            mount.model_copy(update=changed[index]) if index in changed else mount
            for index, mount in enumerate(self.mounts)
        )


def space_of(case_file: CaseFile) -> Space:
    """The knobs of a case with a `[size]` table. Raises InputError with all values that no mount can take."""
    case = case_file.case
    assert case.size is not None
    problems: list[str] = []
    knobs = [_knob(variable, index, case.mount, problems) for index, variable in enumerate(case.size.variable)]
    if problems:
        raise InputError(problems)
    return Space(case.mount, tuple(knobs))


def _knob(variable: Variable, index: int, mounts: Mounts, problems: list[str]) -> Knob:
    by_name = {mount.name: n for n, mount in enumerate(mounts)}
    numbers = [by_name[name] for name in variable.mounts]
    first = mounts[numbers[0]]
    field, suffix, unit = match_key(type(first), variable.key)
    axis = None if variable.axis is None else AXES.index(variable.axis)
    scale = 1.0 if unit is None else to_si(1.0, suffix, unit) - to_si(0.0, suffix, unit)
    values = _values(variable)
    low, high = (values[0], values[-1]) if values is not None else (variable.range or (0.0, 0.0))
    knob = Knob(
        name=_name(variable, field),
        key=variable.key,
        unit=_words(suffix),
        scale=scale,
        field=field,
        axis=axis,
        mounts=tuple((n, _sign(variable, field, first, mounts[n])) for n in numbers),
        low=low * scale,
        high=high * scale,
        values=None if values is None else values * scale,
        before=_value(first, field, axis),
    )
    _check_ends(knob, index, mounts, problems)
    return knob


def _values(variable: Variable) -> np.ndarray | None:
    if variable.catalogue is not None:
        low, high = variable.range or (-np.inf, np.inf)
        return np.array([value for value in variable.catalogue if low <= value <= high])
    if variable.step is None or variable.range is None:
        return None
    low, high = variable.range
    return low + variable.step * np.arange(int((high - low) / variable.step + 1e-9) + 1)


def _name(variable: Variable, field: str) -> str:
    axis = f" {variable.axis}" if variable.axis else ""
    return f"{', '.join(variable.mounts)}: {field.replace('_', ' ')}{axis}"


def _words(suffix: str) -> str:
    """`N_s_per_mm` -> `N s/mm`."""
    return suffix.replace("_per_", "/").replace("_", " ")


def _sign(variable: Variable, field: str, first: MountBase, mount: MountBase) -> float:
    across = first.at[1] * mount.at[1] < 0.0
    return -1.0 if variable.mirror and across and (field, variable.axis) in MIRRORED else 1.0


def _value(mount: MountBase, field: str, axis: int | None) -> float:
    value = getattr(mount, field)
    if axis is None:
        return float(value) if value is not None else 0.0
    return float(value[axis])


def _check_ends(knob: Knob, index: int, mounts: Mounts, problems: list[str]) -> None:
    """The case file's own rules hold at both ends of the range."""
    for end in (knob.low, knob.high):
        number, sign = knob.mounts[0]
        old = getattr(mounts[number], knob.field)
        new: Any = sign * end
        if knob.axis is not None:
            new = tuple(new if n == knob.axis else old[n] for n in range(3))
        try:
            type(mounts[number]).model_validate(mounts[number].model_dump() | {knob.field: new})
        except ValidationError as error:
            words = error.errors()[0]["msg"].lower().removeprefix("input ").removeprefix("should ")
            problems.append(f"size.variable[{index + 1}].range: got {end / knob.scale:g}; {knob.key} must {words}")
            return
