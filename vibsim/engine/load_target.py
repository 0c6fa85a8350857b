"""The load that a wanted brake mean effective pressure, torque or power takes."""

from __future__ import annotations

import math
from functools import lru_cache
from pathlib import Path

from vibsim.engine.layout import resolve_layout
from vibsim.engine.operating_point import operating_point
from vibsim.inputs.errors import InputError
from vibsim.inputs.models import Case, Engine, Run

TARGETS = {"bmep": ("bar", 1e-5), "torque": ("N m", 1.0), "power": ("kW", 1e-3)}
LOAD_TOLERANCE = 1e-7


def with_load(case: Case, folder: Path) -> Case:
    """The case with a load in place of a wanted pressure, torque or power; unchanged where none is wanted.

    Raises InputError when the engine cannot give it at the run's speed.
    """
    run, engine = case.run, case.engine
    named = [name for name in TARGETS if run is not None and getattr(run, name) is not None]
    if run is None or engine is None or not named:
        return case
    load = _load_for(engine, folder, abs(run.speed), named[0], getattr(run, named[0]), f"run.{named[0]}")
    return case.model_copy(update={"run": at_load(run, load)})


def load_for_torque(case: Case, folder: Path, torque: float, key: str) -> float:
    """The load (0 to 1) at which the engine's mean brake torque is one (N m) that a case's `key` asks for.

    Raises InputError as `with_load` does.
    """
    assert case.engine is not None and case.run is not None
    return _load_for(case.engine, folder, abs(case.run.speed), "torque", torque, key)


def at_load(run: Run, load: float) -> Run:
    """The run at a load, whatever it asked for."""
    return run.model_copy(update={"load": load, **dict.fromkeys(TARGETS)})


@lru_cache(maxsize=256)
def _load_for(engine: Engine, folder: Path, speed: float, name: str, wanted: float, key: str) -> float:
    from scipy.optimize import brentq

    layout = resolve_layout(engine)
    per_torque = {"bmep": layout.cycle / layout.swept_volume, "torque": 1.0, "power": speed}[name]

    def over(load: float) -> float:
        return operating_point(engine, folder, speed, load).brake_torque * per_torque - wanted

    least, most = over(0.0), over(1.0)
    if least > 0.0 or most < 0.0:
        unit, scale = TARGETS[name]
        hint = "; a throttle of less leak_area, or fuel_cut = true, gives less" if least > 0.0 else ""
        raise InputError(
            f"{key}: got {scale * wanted:g} {unit}; at {speed * 30.0 / math.pi:g} rpm the engine gives "
            f"{scale * (least + wanted):.3g} (load 0) to {scale * (most + wanted):.3g} {unit} (load 1){hint}"
        )
    return float(brentq(over, 0.0, 1.0, xtol=LOAD_TOLERANCE))
