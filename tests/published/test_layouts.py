"""Free forces and couples of the usual layouts, from the exact mechanism in the limit of long rods.

Published: handbook values as in the classical tables (Taylor; Den Hartog), from memory, recomputed as phasor sums;
"derived" where so marked. F1 = m·r·ω², F2 = λ·F1, a the throw spacing; without the rotating part (massless big ends).
Long rods: λ = 1e-3, what is left of the next terms is λ² of the first order and λ³ of the second, below 1e-5 of both.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.cases import single
from vibsim.engine.balance import free_forces, primary_force, split
from vibsim.engine.layout import resolve_layout
from vibsim.engine.moving_mass import pack_train
from vibsim.inputs.loader import build_case

LAMBDA = 1e-3
TOLERANCE = 1e-5
SPEED = 100.0

# name: cylinders as (bank, pin, place in throw spacings), then (major, minor) of first force in F1, second force in F2,
# first couple in F1·a and second couple in F2·a about mid-engine
S2, S3, S6, S10 = math.sqrt(2), math.sqrt(3), math.sqrt(6), math.sqrt(10)
LAYOUTS = {
    "single": ([(0, 0, 0)], (1, 0), (1, 0), (0, 0), (0, 0)),
    "twin 360": ([(0, 0, 0), (0, 0, 1)], (2, 0), (2, 0), (0, 0), (0, 0)),
    "twin 180": ([(0, 0, 0), (0, 180, 1)], (0, 0), (2, 0), (1, 0), (0, 0)),
    "twin 270, derived": ([(0, 0, 0), (0, 270, 1)], (S2, 0), (0, 0), (S2 / 2, 0), (1, 0)),
    "V2 90 on one pin": ([(0, 0, 0), (90, 0, 0)], (1, 1), (S2, 0), (0, 0), (0, 0)),
    "V2 60 on one pin": ([(0, 0, 0), (60, 0, 0)], (1.5, 0.5), (0.8660254, 0.8660254), (0, 0), (0, 0)),
    "V2 45 on one pin": ([(0, 0, 0), (45, 0, 0)], (1.7071068, 0.2928932), (1.3065630, 0.5411961), (0, 0), (0, 0)),
    "inline 3": ([(0, 0, -1), (0, 240, 0), (0, 120, 1)], (0, 0), (0, 0), (S3, 0), (S3, 0)),
    "inline 3, pins 0/90/180, derived": ([(0, 0, -1), (0, 90, 0), (0, 180, 1)], (1, 0), (1, 0), (2, 0), (0, 0)),
    "inline 4 flat": ([(0, 0, 0), (0, 180, 1), (0, 180, 2), (0, 0, 3)], (0, 0), (4, 0), (0, 0), (0, 0)),
    "inline 4 cross, derived": ([(0, 0, 0), (0, 90, 1), (0, 270, 2), (0, 180, 3)], (0, 0), (0, 0), (S10, 0), (0, 0)),
    "inline 5": (
        [(0, pin, place) for place, pin in enumerate((0, 144, 216, 288, 72))],
        *((0, 0), (0, 0), (0.4490280, 0), (4.9797966, 0)),
    ),
    "inline 6": (
        [(0, pin, place) for place, pin in enumerate((0, 240, 120, 120, 240, 0))],
        *((0, 0), (0, 0), (0, 0), (0, 0)),
    ),
    "radial 3": ([(bank, 0, 0) for bank in (0, 120, 240)], (1.5, 1.5), (1.5, -1.5), (0, 0), (0, 0)),
    "V4 90, pins 0/180, derived": (
        [(bank, pin, place) for place, pin in enumerate((0, 180)) for bank in (-45, 45)],
        *((0, 0), (2 * S2, 0), (1, 1), (0, 0)),
    ),
    "V6 90, three pins": (
        [(bank, pin, place) for place, pin in enumerate((0, 240, 120)) for bank in (-45, 45)],
        *((0, 0), (0, 0), (S3, S3), (S6, 0)),
    ),
    "V6 60, six pins": (
        [(bank, pin + s, place) for place, pin in enumerate((0, 240, 120)) for bank, s in ((-30, 30), (30, -30))],
        *((0, 0), (0, 0), (1.5, 1.5), (1.5, -1.5)),
    ),
    "V6 90, splay 30, derived": (
        [(bank, pin + s, place) for place, pin in enumerate((0, 240, 120)) for bank, s in ((-45, 15), (45, -15))],
        *((0, 0), (0, 0), (2.1213203, 1.2247449), (2.1213203, -1.2247449)),
    ),
    "V8 90 cross": (
        [(bank, pin, place) for place, pin in enumerate((0, 90, 270, 180)) for bank in (-45, 45)],
        *((0, 0), (0, 0), (S10, S10), (0, 0)),
    ),
    "V8 90 flat": (
        [(bank, pin, place) for place, pin in enumerate((0, 180, 180, 0)) for bank in (-45, 45)],
        *((0, 0), (4 * S2, 0), (0, 0), (0, 0)),
    ),
    "V12 60": (
        [(bank, pin, place) for place, pin in enumerate((0, 240, 120, 120, 240, 0)) for bank in (-30, 30)],
        *((0, 0), (0, 0), (0, 0), (0, 0)),
    ),
    "flat 2": ([(0, 0, 0), (180, 180, 1)], (0, 0), (0, 0), (1, 0), (1, 0)),
    "flat 4": (
        [(0, 0, 0), (180, 180, 1), (0, 180, 2), (180, 0, 3)],
        *((0, 0), (0, 0), (0, 0), (2, 0)),
    ),
    "flat 6": (
        [(180 * (n % 2), pin, n) for n, pin in enumerate((0, 180, 240, 60, 120, 300))],
        *((0, 0), (0, 0), (0, 0), (0, 0)),
    ),
}  # fmt: skip


def layout_of(cylinders, rod_ratio=LAMBDA, mass_g=1000.0):
    raw = single()
    raw["engine"]["stroke_mm"] = 60.0
    raw["engine"]["rod_length_mm"] = 30.0 / rod_ratio / (1.0 if rod_ratio > 2e-3 else 2.0)
    raw["engine"]["stroke_mm"] = 2.0 * rod_ratio * raw["engine"]["rod_length_mm"]
    raw["engine"]["rod"] = {"mass_g": 0.0}
    raw["engine"]["piston"] = {"mass_g": mass_g}
    raw["engine"]["cylinder"] = [
        {"name": str(n), "bank_deg": bank, "pin_deg": pin, "at_mm": 100.0 * place}
        for n, (bank, pin, place) in enumerate(cylinders)
    ]
    engine = build_case(raw).engine
    layout = resolve_layout(engine)
    return layout, pack_train(engine, layout)


def balance_of(cylinders):
    layout, train = layout_of(cylinders)
    middle = np.mean([cylinder.at for cylinder in layout.cylinders])
    free = free_forces(train, SPEED).about(np.array([middle, 0.0, 0.0]))
    return layout, split(free.force, free.turns), split(free.couple, free.turns)


@pytest.mark.parametrize("name", LAYOUTS)
def test_handbook_balance(name):
    cylinders, *expected = LAYOUTS[name]
    layout, force, couple = balance_of(cylinders)
    unit, spacing = primary_force(layout, SPEED), 0.1
    scales = (unit, LAMBDA * unit, unit * spacing, LAMBDA * unit * spacing)
    found = [(item.major[n], item.minor[n]) for item in (force, couple) for n in (0, 1)]
    for (major, minor), pair, scale in zip(found, expected, scales, strict=True):
        assert major / scale == pytest.approx(pair[0], abs=TOLERANCE * len(cylinders))
        assert minor / scale == pytest.approx(pair[1], abs=TOLERANCE * len(cylinders))
