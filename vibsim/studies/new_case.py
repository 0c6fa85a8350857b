"""A commented case file of a usual layout, with masses from rules of thumb to be replaced by the real ones."""

from __future__ import annotations

import math
from dataclasses import dataclass

from vibsim.engine.layout_table import LAYOUTS, LayoutPlan, most_even_order, throws_of
from vibsim.inputs.errors import InputError, nearest

# all common practice, no source: per cubed bore (g/cm³), over the stroke, and so on
BORE_OVER_STROKE = 1.15
ROD_OVER_THROW = 3.8
PISTON_PER_BORE3, ROD_PER_BORE3 = 0.75, 0.90
ROD_CENTRE, ROD_GYRATION = 0.30, 0.36  # of the rod's length
SPACING_OVER_BORE = 1.2
ENGINE_KG, ENGINE_KG_PER_LITRE = 25.0, 55.0
CRANK_PER_LITRE = 0.035  # kg m²
MOUNT_HZ, MOUNT_DAMPING = 10.0, 0.07
SMALLEST, LARGEST = 20.0, 100_000.0  # cm³
USUAL_CYLINDER = 350.0  # cm³ each, unless a displacement is asked for


@dataclass(frozen=True)
class _Sizes:
    """One cylinder's estimates as they are written, so that what follows from them is exact: mm, g."""

    bore: float
    stroke: float
    rod_length: float
    piston: float
    rod: float
    rod_centre: float
    spacing: float

    @property
    def small_end(self) -> float:
        return self.rod * self.rod_centre / self.rod_length


def _sizes(displacement: float, count: int) -> _Sizes:
    bore = round(10.0 * (4.0 * displacement / count * BORE_OVER_STROKE / math.pi) ** (1.0 / 3.0), 1)
    stroke = round(bore / BORE_OVER_STROKE, 1)
    length = round(0.5 * stroke * ROD_OVER_THROW, 1)
    return _Sizes(
        bore=bore,
        stroke=stroke,
        rod_length=length,
        piston=_significant(PISTON_PER_BORE3 * (0.1 * bore) ** 3),
        rod=_significant(ROD_PER_BORE3 * (0.1 * bore) ** 3),
        rod_centre=round(ROD_CENTRE * length, 1),
        spacing=round(SPACING_OVER_BORE * bore),
    )


def _significant(value: float) -> float:
    return float(f"{value:.3g}")


def new_case(layout: str, displacement: float | None = None, strokes: int = 4) -> str:
    """Text of a case file of a layout by name; displacement in cm³ (20 to 100 000), 2 or 4 strokes.

    Without a displacement each cylinder has 350 cm³. Raises InputError for an unknown layout or a displacement out of
    range.
    """
    if layout not in LAYOUTS:
        raise InputError(f"layout: got '{layout}'; {nearest(layout, list(LAYOUTS))}")
    plan = LAYOUTS[layout]
    count = len(plan.cylinders)
    displacement = USUAL_CYLINDER * count if displacement is None else displacement
    if not SMALLEST <= displacement <= LARGEST:
        raise InputError(f"--displacement-cc: got {displacement:g}; must be {SMALLEST:g} to {LARGEST:g} cm3")
    sizes = _sizes(displacement, count)
    mass = ENGINE_KG + ENGINE_KG_PER_LITRE * 1e-3 * displacement
    order, angles = most_even_order(plan, strokes)
    at_once = len({round(angle, 6) for angle in angles}) < count  # which an order cannot say
    names = ", ".join(f'"{index + 1}"' for index in order)
    head = HEAD.format(
        words=plan.words,
        displacement=displacement,
        strokes=strokes,
        sizes=sizes,
        order="# several cylinders fire at once, so each says when" if at_once else f"firing_order = [{names}]",
        rod_inertia=_significant(1e-3 * sizes.rod * (ROD_GYRATION * sizes.rod_length) ** 2),
        crank=CRANK_PER_LITRE * 1e-3 * displacement + 0.004,
        unbalance=_unbalance(plan, sizes),
    )
    fires = dict(zip(order, angles, strict=True)) if at_once else {}
    return head + _cylinders(plan, sizes, fires) + _surroundings(plan, mass, sizes.bore)


def _unbalance(plan: LayoutPlan, sizes: _Sizes) -> str:
    """One number if it serves every throw, otherwise one per throw along the crank."""
    reciprocating, rotating = sizes.piston + sizes.small_end, sizes.rod - sizes.small_end
    masses = plan.masses or (1.0,) * len(plan.cylinders)
    throws = [sum(rotating + 0.5 * masses[index] * reciprocating for index in throw) for throw in throws_of(plan)]
    values = [f"{1e-3 * 0.5 * sizes.stroke * throw:.6g}" for throw in throws]
    return values[0] if len(set(values)) == 1 else f"[{', '.join(values)}]"


def _cylinders(plan: LayoutPlan, sizes: _Sizes, fires: dict[int, float]) -> str:
    text = []
    places = [place for *_, place in plan.cylinders]
    middle = 0.5 * (min(places) + max(places))
    for number, (bank, pin, place) in enumerate(plan.cylinders):
        text.append(
            f'\n[[engine.cylinder]]\nname = "{number + 1}"\nbank_deg = {bank:.12g}\npin_deg = {pin % 360.0:.12g}\n'
            f"at_mm = {sizes.spacing * (place - middle):.8g}\n"
        )
        if number in fires:
            text.append(f"fires_at_deg = {fires[number]:.12g}\n")
        share = plan.masses[number] if plan.masses else 1.0
        if share != 1.0:
            heavier = share * (sizes.piston + sizes.small_end) - sizes.small_end
            text.append(f"piston = {{ mass_g = {heavier:.10g} }} # reciprocates {share:g} times what the others do\n")
    return "".join(text)


def _surroundings(plan: LayoutPlan, mass: float, bore: float) -> str:
    length = SPACING_OVER_BORE * bore * (1.0 + max(place for *_, place in plan.cylinders))
    side, height = 4.5 * bore, 5.5 * bore
    box = [mass / 12.0 * 1e-6 * (a * a + b * b) for a, b in ((length, height), (side, height), (side, length))]
    rate = mass / 4.0 * (2.0 * math.pi * MOUNT_HZ) ** 2 * 1e-3
    damping = 2.0 * MOUNT_DAMPING * rate / (2.0 * math.pi * MOUNT_HZ)
    text = TAIL.format(mass=mass, x=box[0], y=box[1], z=box[2])
    for name, x, y in (("front left", 1, 1), ("front right", 1, -1), ("rear left", -1, 1), ("rear right", -1, -1)):
        text += MOUNT.format(name=name, x=0.5 * side * x, y=(0.5 * length + 40.0) * y, rate=rate, damping=damping)
    return text + RUN


HEAD = """# {words}, {displacement:g} cm3, {strokes}-stroke. Geometry is the layout's; every mass, inertia and
# rate is an estimate from rules of thumb (common practice, no source): replace them with the real ones.

[case]
title = "{words}"
notes = "Estimates from rules of thumb, to be replaced."

[engine]
strokes = {strokes}
bore_mm = {sizes.bore}
stroke_mm = {sizes.stroke}
rod_length_mm = {sizes.rod_length}
compression_ratio = 10.5
body = "powertrain"
origin_mm = [0.0, 0.0, 0.0] # a point on the crank axis
crank_direction = [0, 1, 0] # across the vehicle, turning as the wheels roll forward
reference_direction = [0, 0, 1] # bank and pin angles are measured from here, positive in the direction of rotation
{order}

[engine.piston]
mass_g = {sizes.piston:g} # with pin and rings; estimate

[engine.rod]
mass_g = {sizes.rod:g} # estimate
centre_of_mass_mm = {sizes.rod_centre} # from the big end; estimate
inertia_kg_mm2 = {rod_inertia:g} # about its centre of mass; estimate

[engine.crank]
inertia_kg_m2 = {crank:.4f} # flywheel included; estimate
# unbalance per throw: its rods' rotating parts and half of what reciprocates on it; a choice
unbalance_kg_mm = {unbalance}

[engine.gas]
source = "cycle"
"""

TAIL = """
[[body]]
name = "powertrain"
mass_kg = {mass:.1f} # as weighed; estimate
centre_of_mass_mm = [0.0, 0.0, 40.0] # estimate
inertia_kg_m2 = [{x:.3f}, {y:.3f}, {z:.3f}, 0.0, 0.0, 0.0] # of a box of the engine's size; estimate
moving_parts = "included"
"""

MOUNT = """
[[mount]]
name = "{name}"
between = ["powertrain", "ground"]
at_mm = [{x:.0f}, {y:.0f}, -40.0] # estimate
stiffness_N_per_mm = [{rate:.0f}, {rate:.0f}, {rate:.0f}] # bounces at about 10 Hz; estimate
damping_N_s_per_mm = [{damping:.3f}, {damping:.3f}, {damping:.3f}] # estimate
"""

RUN = """
[[sensor]]
name = "crankcase"
body = "powertrain"
at_mm = [0.0, 0.0, 0.0]

[run]
kind = "steady"
speed_rpm = 3000
load = 0.5
"""
