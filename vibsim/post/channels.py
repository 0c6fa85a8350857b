"""Which variable of a results file a word means: a variable's name, that of a sensor, mount or body, or both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.inputs.errors import InputError, nearest
from vibsim.results.labelled import Group

OF_LABEL = {"sensor": "sensor_acceleration", "mount": "mount_force", "body": "body_acceleration"}
DEFAULT, ELSE = "sensor_acceleration", "crank_speed"
UNITS = {"m s-2": "m/s²", "m s-1": "m/s", "rad s-1": "rad/s"}


@dataclass(frozen=True)
class Channel:
    """A variable of a results file or a part of it: `labels` of what it is told of, `axes` of each (one, unnamed, of
    a plain number), and which of the variable's labels and axes those are."""

    variable: str
    unit: str
    labels: tuple[str, ...]
    axes: tuple[str, ...]
    picked: tuple[int, ...]
    along: tuple[int, ...]

    @property
    def title(self) -> str:
        words = self.variable.replace("_", " ")
        return f"{words} of {self.labels[0]}" if len(self.labels) == 1 and self.labels[0] != words else words

    def of(self, group: Group) -> np.ndarray:
        """Values (n, labels, axes) in a group of the results."""
        values = np.asarray(group[self.variable], dtype=float)
        values = values.reshape(len(values), values.shape[1] if values.ndim > 1 else 1, -1)
        return values[:, list(self.picked)][:, :, list(self.along)]


def channel_of(results: Group, word: str | None = None, along: str | None = None) -> Channel:
    """What a word means: `mount_force`, `seat`, or `mount_deflection:rear left`; along one axis or all.

    Raises InputError for what the results have not.
    """
    if word is None:
        word = DEFAULT if DEFAULT in results else ELSE
    name, _, label = word.partition(":")
    over_time = [key for key, item in results.variables.items() if item.dims[0] == "time" and key != "time"]
    if name not in over_time:
        label = word
        found = [key for dim, key in OF_LABEL.items() if word in results.labels(dim) and key in over_time]
        if not found:
            known = over_time + [item for dimension in OF_LABEL for item in results.labels(dimension)]
            raise InputError(f"--of: got '{word}'; no such variable, sensor, mount or body; {nearest(word, known)}")
        name = found[0]
    return _channel(results, name, label, along)


def _channel(results: Group, name: str, label: str, along: str | None) -> Channel:
    variable = results.variables[name]
    dims = [dimension for dimension in variable.dims[1:] if dimension != "axis"]
    labels = results.labels(dims[0]) if dims else [name.replace("_", " ")]
    if label and label not in labels:
        raise InputError(f"--of: got '{name}:{label}'; {nearest(label, labels)}")
    axes = results.labels("axis") if "axis" in variable.dims else [""]
    if along is not None and along not in axes:
        raise InputError(f"--along: got {along}; {name} has no axes")
    picked = [labels.index(label)] if label else list(range(len(labels)))
    ways = list(range(len(axes))) if along is None else [axes.index(along)]
    return Channel(
        variable=name,
        unit=UNITS.get(variable.units, variable.units),
        labels=tuple(labels[n] for n in picked),
        axes=tuple(axes[n] for n in ways),
        picked=tuple(picked),
        along=tuple(ways),
    )
