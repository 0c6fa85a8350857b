"""Human exposure weightings against their tables at one-third-octave frequencies 10^(n/10)."""

from __future__ import annotations

import numpy as np
import pytest

from vibsim.post.weighting import axis_weights, weight_at

# nominal Hz: Wk, Wd of VDI 2057 / ISO 8041 (P+, three figures: 0.4 % covers the rounding)
WHOLE_BODY = {
    0.5: (0.419, 0.854),
    1.0: (0.482, 1.011),
    2.0: (0.531, 0.891),
    4.0: (0.965, 0.514),
    6.3: (1.054, 0.323),
    8.0: (1.037, 0.255),
    16.0: (0.774, 0.127),
    31.5: (0.403, 0.0630),
    63.0: (0.186, 0.0295),
    100.0: (0.0887, 0.0141),
}
# Wh of ISO 5349-1 as three public copies list it (P+)
HAND_ARM = {6.3: 0.727, 8: 0.873, 16: 0.896, 31.5: 0.519, 63: 0.256, 125: 0.127, 250: 0.0634, 500: 0.0314, 1000: 0.0135}


def exact(nominal: float) -> float:
    return 10.0 ** (round(10.0 * np.log10(nominal)) / 10.0)


@pytest.mark.parametrize("nominal", WHOLE_BODY)
def test_whole_body(nominal):
    found = [weight_at(name, exact(nominal)) for name in ("Wk", "Wd")]
    assert found == pytest.approx(WHOLE_BODY[nominal], rel=4e-3)
    assert axis_weights("seat", exact(nominal)) == pytest.approx([found[1], found[1], found[0]])


@pytest.mark.parametrize("nominal", HAND_ARM)
def test_hand_arm(nominal):
    assert weight_at("Wh", exact(nominal)) == pytest.approx(HAND_ARM[nominal], rel=4e-3)


def test_plain_is_unweighted():
    assert list(axis_weights("plain", 30.0)) == [1.0, 1.0, 1.0]
