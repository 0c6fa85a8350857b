"""Which variable of a results file a word means: a variable's name, that of a sensor, mount or body, or both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.inputs.errors import InputError, nearest
from vibsim.results.labelled import Group

OF_LABEL = {"sensor": "sensor_acceleration", "mount": "mount_force", "body": "body_acceleration"}
DEFAULT = "sensor_acceleration"


@dataclass(frozen=True)
class Channel:
    """A variable of a results file, or one of its labels: units, and `names` of its columns, one after the other."""

    variable: str
    label: str | None
    units: str
    names: tuple[str, ...]
    index: int | None

    @property
    def title(self) -> str:
        words = self.variable.replace("_", " ")
        return f"{words}, {self.label}" if self.label is not None else words

    def of(self, group: Group) -> np.ndarray:
        """Values (n, columns) in a group of the results."""
        values = group[self.variable]
        values = values if self.index is None else values[:, self.index]
        return np.asarray(values, dtype=float).reshape(len(values), -1)


def channel_of(results: Group, word: str | None) -> Channel:
    """What a word means: `mount_force`, `seat`, or `mount_deflection:rear left`. Raises InputError."""
    if word is None:
        word = DEFAULT if DEFAULT in results else "crank_speed"
    name, _, label = word.partition(":")
    over_time = [key for key, item in results.variables.items() if item.dims[0] == "time" and key != "time"]
    if name in over_time:
        return _channel(results, name, label or None)
    for dimension, variable in OF_LABEL.items():
        if word in results.labels(dimension) and variable in results:
            return _channel(results, variable, word)
    known = over_time + [label for dimension in OF_LABEL for label in results.labels(dimension)]
    raise InputError(f"--of: got '{word}'; no such variable, sensor, mount or body; {nearest(name, known)}")


def _channel(results: Group, name: str, label: str | None) -> Channel:
    variable = results.variables[name]
    labels = [results.labels(dimension) for dimension in variable.dims[1:]]
    index = None
    if label is not None:
        if not labels or label not in labels[0]:
            raise InputError(f"--of: got '{name}:{label}'; {nearest(label, labels[0] if labels else [])}")
        index, labels = labels[0].index(label), labels[1:]
    columns = [""]
    for names in labels:
        columns = [f"{before} {item}".strip() for before in columns for item in names]
    return Channel(name, label, variable.units, tuple(columns), index)
