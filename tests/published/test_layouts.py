"""Free forces and couples of the usual layouts, from the exact mechanism, against tests/known_layouts.py.

In the limit of long rods the rows are the handbooks': λ = 1e-3, what is left of the next terms is λ² of the first order
and λ³ of the second, below 1e-5 of both. In the shipped case files rods are finite: there the second order is the
series' A₂ = λ + λ³/4 + 15·λ⁵/128 + 35·λ⁷/512 (from memory), good to 2e-6 of itself at λ = 0.27.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.cases import CONFIGS, single
from tests.known_layouts import DERIVED, HANDBOOK, KNOWN, NONE, STILL, Known
from vibsim.engine.balance import free_forces, primary_force, split
from vibsim.engine.layout import resolve_layout
from vibsim.engine.layout_table import LAYOUTS
from vibsim.engine.moving_mass import pack_train
from vibsim.inputs.loader import build_case, load_case
from vibsim.inputs.models import Crank, Engine, Piston, Rod

LAMBDA = 1e-3
TOLERANCE = 1e-5
SPEED = 100.0

# not in the table of layouts: cylinders as (bank, pin, place in throw spacings)
OTHERS = {
    "inline 3, pins 0/90/180": (
        [(0, 0, -1), (0, 90, 0), (0, 180, 1)],
        Known(((1, 0), (1, 0)), ((2, 0), NONE), "", (), DERIVED),
    ),
    "radial 3": (
        [(bank, 0, 0) for bank in (0, 120, 240)],
        Known(((1.5, 1.5), (1.5, -1.5)), STILL, "", (), HANDBOOK),
    ),
}


def engine_of(cylinders, masses=None) -> Engine:
    """Long rods, massless big ends."""
    raw = single()
    raw["engine"] |= {"stroke_mm": 60.0, "rod_length_mm": 30.0 / LAMBDA / 2.0, "rod": {"mass_g": 0.0}}
    raw["engine"]["stroke_mm"] = 2.0 * LAMBDA * raw["engine"]["rod_length_mm"]
    masses = masses or (1.0,) * len(cylinders)
    raw["engine"]["cylinder"] = [
        {"name": str(n), "bank_deg": bank, "pin_deg": pin, "at_mm": 100.0 * place, "piston": {"mass_g": 1000.0 * mass}}
        for n, ((bank, pin, place), mass) in enumerate(zip(cylinders, masses, strict=True))
    ]
    return build_case(raw).engine


def reciprocating_alone(engine: Engine) -> Engine:
    """The same engine without what rotates: the small end's share of the rod goes with the piston."""
    length = engine.rod_length
    small_end = engine.rod.mass * engine.rod.centre_of_mass / length
    cylinders = [
        c.model_copy(update={"piston": Piston(mass=(c.piston or engine.piston).mass + small_end)})
        for c in engine.cylinder
    ]
    crank = Crank(inertia=engine.crank.inertia)
    return engine.model_copy(update={"rod": Rod(mass=0.0), "crank": crank, "cylinder": tuple(cylinders)})


def in_planes(engine: Engine, spacing: float) -> tuple[Engine, float]:
    """Cylinders side by side on a throw put into its plane, as the handbooks do, and the middle of the planes."""
    planes: list[list[float]] = []
    for place in sorted(cylinder.at for cylinder in engine.cylinder):
        if planes and place - planes[-1][-1] < 0.3 * spacing:
            planes[-1].append(place)
        else:
            planes.append([place])
    means = {place: float(np.mean(plane)) for plane in planes for place in plane}
    cylinders = tuple(c.model_copy(update={"at": means[c.at]}) for c in engine.cylinder)
    middle = float(np.mean([np.mean(plane) for plane in planes]))
    return engine.model_copy(update={"cylinder": cylinders}), middle


def assert_known(known: Known, engine: Engine, second: float, spacing: float, tolerance: float):
    """Forces and couples of the first two orders are the row's, `second` being the second harmonic over the first."""
    engine, middle = in_planes(engine, spacing)
    layout = resolve_layout(engine)
    free = free_forces(pack_train(engine, layout), SPEED).about(np.array([middle, 0.0, 0.0]))
    force, couple = split(free.force, free.turns), split(free.couple, free.turns)
    unit = primary_force(layout, SPEED)
    found = [(item.major[n], item.minor[n]) for item in (force, couple) for n in (0, 1)]
    scales = (unit, second * unit, unit * spacing, second * unit * spacing)
    for (major, minor), pair, scale in zip(found, (*known.force, *known.couple), scales, strict=True):
        assert major / scale == pytest.approx(pair[0], abs=tolerance * len(layout.cylinders))
        assert minor / scale == pytest.approx(pair[1], abs=tolerance * len(layout.cylinders))


def test_every_layout_has_its_row():
    assert list(KNOWN) == list(LAYOUTS)


@pytest.mark.parametrize("name", [*KNOWN, *OTHERS])
def test_handbook_balance(name):
    if name in OTHERS:
        (cylinders, known), masses = OTHERS[name], None
    else:
        known, plan = KNOWN[name], LAYOUTS[name]
        cylinders, masses = plan.cylinders, plan.masses
    assert_known(known, engine_of(cylinders, masses), LAMBDA, 0.1, TOLERANCE)


@pytest.mark.parametrize("name", KNOWN)
def test_balance_of_the_shipped_file(name):
    engine = load_case(CONFIGS / "layouts" / f"{name}.toml").case.engine
    ratio = 0.5 * engine.stroke / engine.rod_length
    series = ratio + ratio**3 / 4 + 15 * ratio**5 / 128 + 35 * ratio**7 / 512
    # spacing of the throws as new_case states it: 1.2 bores in whole millimetres
    spacing = 1e-3 * round(1.2e3 * engine.bore)
    assert_known(KNOWN[name], reciprocating_alone(engine), series, spacing, TOLERANCE)


@pytest.mark.parametrize("name", KNOWN)
def test_shipped_counterweights_leave_what_turns_against_the_crank(name):
    # derived: rotating parts and half of what reciprocates, opposite each pin, is the whole forward first order
    engine = load_case(CONFIGS / "layouts" / f"{name}.toml").case.engine
    layout = resolve_layout(engine)
    force = split(free_forces(pack_train(engine, layout), SPEED).force, 1)
    unit = primary_force(layout, SPEED)
    assert abs(force.forward[0]) / unit == pytest.approx(0.0, abs=TOLERANCE * len(layout.cylinders))
    assert abs(force.backward[0]) / unit == pytest.approx(KNOWN[name].backward, abs=TOLERANCE * len(layout.cylinders))


def test_firing_intervals_close_the_cycle():
    for name, known in KNOWN.items():
        assert math.fsum(known.intervals) == pytest.approx(720.0, abs=1e-9), name
