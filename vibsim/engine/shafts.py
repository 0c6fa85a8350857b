"""What the balance shafts of a case add to its free forces, as phasors."""

from __future__ import annotations

import cmath

from vibsim.inputs.models import Engine


def shaft_phasors(engine: Engine, order: int, middle: float) -> tuple[tuple[complex, complex], tuple[complex, complex]]:
    """(forward, backward) of the force (kg m) and of the couple about `middle` (kg m²), both at unit speed.

    Derived: an eccentric U at ratio ρ pushes with ρ²·U·e^{i(ρθ + angle)}, so all of it is of order |ρ|, forward when ρ
    is positive. Shafts between whole orders add nothing here.
    """
    force, couple = [0j, 0j], [0j, 0j]
    for shaft in engine.balance_shaft:
        if abs(shaft.ratio) == order:
            push = order**2 * shaft.unbalance * cmath.exp(1j * shaft.angle)
            sense = 0 if shaft.ratio > 0.0 else 1
            force[sense] += push
            couple[sense] += (shaft.at - middle) * push
    return (force[0], force[1]), (couple[0], couple[1])
