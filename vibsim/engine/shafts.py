"""What the balance shafts of a case add to its free forces, as phasors."""

from __future__ import annotations

import numpy as np

from vibsim.engine.phasors import eccentric_phasors
from vibsim.inputs.models import Engine


def shaft_phasors(engine: Engine, order: int, middle: float) -> tuple[tuple[complex, complex], tuple[complex, complex]]:
    """(forward, backward) of the force (kg m) and of the couple about `middle` (kg m²), both at unit speed.

    Shafts between whole orders add nothing here.
    """
    shafts = engine.balance_shaft
    ratio = np.array([shaft.ratio for shaft in shafts])
    unbalance = np.array([shaft.unbalance * np.exp(1j * shaft.angle) for shaft in shafts])
    arms = np.array([shaft.at - middle for shaft in shafts])
    force, couple = (eccentric_phasors(ratio, unbalance, order, weight) for weight in (1.0, arms))
    return (complex(force[0]), complex(force[1])), (complex(couple[0]), complex(couple[1]))
