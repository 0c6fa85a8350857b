"""Labelled arrays in groups: what a results file holds, in memory."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

FORMAT_VERSION = 1  # of the results file; raised when an old reader would misread a new file


@dataclass(frozen=True)
class Variable:
    """An array with its dimensions by name, units (UDUNITS words) and a description.

    A one-dimensional variable named after its own dimension is a coordinate.
    """

    dims: tuple[str, ...]
    data: np.ndarray
    units: str
    long_name: str

    def __post_init__(self) -> None:
        if len(self.dims) != np.ndim(self.data):
            raise ValueError(f"{self.long_name}: {np.ndim(self.data)} dimensions, named {self.dims}")


@dataclass
class Group:
    """Variables and attributes; `groups` of a group see its coordinates."""

    variables: dict[str, Variable] = field(default_factory=dict)
    attributes: dict[str, Any] = field(default_factory=dict)
    groups: dict[str, Group] = field(default_factory=dict)

    def add(self, name: str, dims: tuple[str, ...], data: Any, units: str, long_name: str) -> None:
        self.variables[name] = Variable(dims, np.asarray(data), units, long_name)

    def __getitem__(self, path: str) -> np.ndarray:
        """Data of a variable, by path: `results["spectra/frequency"]`."""
        head, _, rest = path.partition("/")
        return self.groups[head][rest] if rest else self.variables[head].data

    def __contains__(self, path: str) -> bool:
        head, _, rest = path.partition("/")
        if rest:
            return head in self.groups and rest in self.groups[head]
        return head in self.variables

    def labels(self, dimension: str) -> list[str]:
        """Names along a dimension that has text labels."""
        return [str(label) for label in self.variables[dimension].data] if dimension in self.variables else []
