"""What the pins and main bearings of an engine carry over a working cycle, and what its counterweights do to that."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibsim.engine.bearing_loads import BearingLoads, bearing_loads
from vibsim.engine.layout import Layout
from vibsim.engine.moving_mass import crank_weights
from vibsim.engine.pin_loads import PinLoads, in_crank_frame, pin_loads
from vibsim.inputs.case_checks import SLOWEST_CYCLE
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import Run
from vibsim.solver.packed import pack

Row = dict[str, Any]


@dataclass(frozen=True)
class Loads:
    """Pin and bearing loads over one working cycle.

    `source` and `load` say where the gas pressure comes from and at which share of full load; `weights` how many
    unbalances the crank has, its throws' own and counterweights; `bearings_given` whether the case places them.
    """

    layout: Layout
    pins: PinLoads
    bearings: BearingLoads
    source: str
    load: float
    weights: int
    bearings_given: bool

    @property
    def throw_names(self) -> list[str]:
        """Cylinders on each crankpin, as "1" or "1 + 2"."""
        names = [cylinder.name for cylinder in self.layout.cylinders]
        return [" + ".join(names[index] for index in throw) for throw in self.layout.throws]

    def on_throw(self, forces: np.ndarray, throw: int) -> np.ndarray:
        """Sum of crankpin forces (n, cylinders) over the rods on one crankpin, (n)."""
        return forces[:, list(self.layout.throws[throw])].sum(axis=1)

    def throw_angle(self, throw: int) -> np.ndarray:
        """Where one throw stands, (n) rad."""
        return self.pins.pin_angle[:, self.layout.throws[throw][0]]


def find_loads(case_file: CaseFile, speed: float | None = None) -> Loads:
    """Pin and bearing loads of a case's engine, at its run speed unless `speed` (rad/s) is given.

    The gas pressure is that of the simulation at this speed and the run's load (1 without a run). Raises InputError
    when the case has no engine or no speed, or when the speed is too low for a working cycle to be computed.
    """
    case = case_file.case
    engine = case.engine
    if engine is None:
        raise InputError("engine: is missing; loads needs an [engine] table")
    if speed is None:
        if case.run is None or case.run.speed == 0.0:
            raise InputError("run.speed: is missing; give it, or --speed-rpm")
        speed = abs(case.run.speed)
    if engine.gas.source == "cycle" and speed < SLOWEST_CYCLE:
        least = f"{SLOWEST_CYCLE * 30.0 / math.pi:.0f} rpm"
        raise InputError(f"--speed-rpm: got {speed * 30.0 / math.pi:g}; gas source cycle needs at least {least}")
    run = (case.run or Run(speed=speed)).model_copy(update={"kind": "steady", "speed": speed})
    packed = pack(case.model_copy(update={"run": run}), case_file.folder)
    layout = packed.layout
    assert layout is not None
    pins = pin_loads(layout, packed.model.gas, speed)
    return Loads(
        layout=layout,
        pins=pins,
        bearings=bearing_loads(engine, layout, pins),
        source=engine.gas.source,
        load=packed.load,
        weights=sum(unbalance > 0.0 for _, _, unbalance in crank_weights(engine, layout)),
        bearings_given=engine.crank.main_bearings_at is not None,
    )


def _greatest(angle: np.ndarray, force: np.ndarray) -> Row:
    """Greatest size (N) of a force (n), the crank angle of it, and its mean size over the cycle."""
    size = np.abs(force)
    index = int(size.argmax())
    return {"greatest_N": float(size[index]), "at_deg": math.degrees(angle[index]), "mean_N": float(size.mean())}


def _size(force: np.ndarray) -> float:
    return float(np.abs(force).max())


def wrist_pin_rows(loads: Loads) -> list[Row]:
    """Per cylinder: force on the wrist pin and greatest thrusts on the wall (N) in and against the direction of
    rotation."""
    rows, pins = [], loads.pins
    for index, cylinder in enumerate(loads.layout.cylinders):
        total, gas, inertia = (part.wrist_pin[:, index] for part in (pins.total, pins.gas, pins.inertia))
        row: Row = {"cylinder": cylinder.name} | _greatest(pins.angle, total)
        row |= {"gas_greatest_N": _size(gas), "inertia_greatest_N": _size(inertia)}
        row |= {
            "thrust_ahead_N": max(float(total.imag.max()), 0.0),
            "thrust_behind_N": max(-float(total.imag.min()), 0.0),
        }
        rows.append(row)
    return rows


def throw_rows(loads: Loads) -> list[Row]:
    """Per crankpin: sum of the forces (N) of its rods on it.

    `direction_on_crank_deg`: where the greatest one points, from outward along the throw, in the direction of rotation.
    """
    throws, names = loads.layout.throws, loads.throw_names
    return [_crankpin_row(loads, members, name) for members, name in zip(throws, names, strict=True)]


def rod_rows(loads: Loads) -> list[Row]:
    """Per cylinder: force (N) of its rod on the crankpin, as in `throw_rows`."""
    return [_crankpin_row(loads, (index,), cylinder.name) for index, cylinder in enumerate(loads.layout.cylinders)]


def _crankpin_row(loads: Loads, members: tuple[int, ...], name: str) -> Row:
    pins = loads.pins
    total, gas, inertia = (part.crankpin[:, list(members)].sum(axis=1) for part in (pins.total, pins.gas, pins.inertia))
    turned = in_crank_frame(total, pins.pin_angle[:, members[0]])[int(np.abs(total).argmax())]
    row: Row = {"name": name} | _greatest(pins.angle, total)
    row["direction_on_crank_deg"] = math.degrees(cmath.phase(turned))
    return row | {"gas_greatest_N": _size(gas), "inertia_greatest_N": _size(inertia)}


def bearing_rows(loads: Loads) -> list[Row]:
    """Per main bearing: force of the crank on it (N), its parts, and what it would be without counterweights.

    `direction_deg`: where the greatest one points, from the reference direction, in the direction of rotation.
    """
    bearings, angle, rows = loads.bearings, loads.pins.angle, []
    for index, place in enumerate(bearings.places):
        force = bearings.total[:, index]
        row: Row = {"bearing": index + 1, "at_mm": 1e3 * float(place)} | _greatest(angle, force)
        row["direction_deg"] = math.degrees(cmath.phase(force[int(np.abs(force).argmax())]))
        row |= {f"{part}_greatest_N": _size(getattr(bearings, part)[:, index]) for part in ("gas", "inertia", "crank")}
        row["without_counterweights"] = _greatest(angle, bearings.without_weights[:, index])
        rows.append(row)
    return rows


def worst(rows: list[Row]) -> int:
    """Which row has the greatest force; the first of those alike but for rounding."""
    return max(range(len(rows)), key=lambda index: float(f"{rows[index]['greatest_N']:.9g}"))


def counterweight_verdict(loads: Loads) -> str:
    """What the crank's unbalance and counterweights save or cost, in words."""
    if not loads.weights:
        return "the case gives the crank no unbalance and no counterweights"
    rows = bearing_rows(loads)
    bare = [row["without_counterweights"] for row in rows]
    words = [
        _change(what, max(row[key] for row in rows), max(row[key] for row in bare))
        for what, key in (("greatest force on any main bearing", "greatest_N"), ("greatest mean force", "mean_N"))
    ]
    return f"the crank's unbalance and counterweights {' and '.join(words)}"


def _change(what: str, value: float, bare: float) -> str:
    change = percent_change(value, bare)
    if abs(change) < 0.05:
        return f"leave the {what} as it is"
    return f"{'lower' if change < 0.0 else 'raise'} the {what} by {abs(change):.1f} %"


def percent_change(value: float, bare: float) -> float:
    """From a bare value to one with counterweights, %; 0 where there was nothing."""
    return 100.0 * (value / bare - 1.0) if bare > 0.0 else 0.0


def as_dict(loads: Loads) -> Row:
    """Plain numbers for machines."""
    return {
        "speed_rpm": loads.pins.speed * 30.0 / math.pi,
        "gas_source": loads.source,
        "load": loads.load,
        "main_bearings": "as given" if loads.bearings_given else "derived from the throws",
        "wrist_pins": wrist_pin_rows(loads),
        "rods": rod_rows(loads),
        "crankpins": throw_rows(loads),
        "bearings": bearing_rows(loads),
        "counterweights": counterweight_verdict(loads),
    }
