"""Balance quality grades of ISO 21940-11.

Published: permissible unbalance as quoted on public pages (erbessd-instruments.com: tolerance = M·G·9549/n;
mechanixcalc.com: e = G/ω), recomputed. The split between planes is from memory.
"""

from __future__ import annotations

import itertools
import math

import pytest

from vibsim.engine.balance_grade import GRADES, allot, parse_grade, permissible_eccentricity, permissible_unbalance
from vibsim.inputs.errors import InputError


@pytest.mark.parametrize(
    ("grade", "rpm", "micrometres"),
    [
        (6.3, 3000.0, 20.0535),  # published formula, recomputed
        (16.0, 6000.0, 25.4648),  # derived
        (40.0, 6000.0, 63.6620),  # derived
        (2.5, 3600.0, 6.63146),  # derived
    ],
)
def test_permissible_eccentricity(grade, rpm, micrometres):
    speed = rpm * math.pi / 30.0
    assert 1e6 * permissible_eccentricity(grade, speed) == pytest.approx(micrometres, rel=5e-6)  # as printed
    # published: tolerance in g mm = M (kg)·G·9549/n
    assert 1e6 * permissible_unbalance(grade, 12.0, speed) == pytest.approx(12.0 * grade * 9549.0 / rpm, rel=5e-5)


def test_grades_step_by_two_and_a_half():
    # from memory: successive grades stand 2.5 apart (in rounded figures)
    steps = [after / before for before, after in itertools.pairwise(GRADES)]
    assert steps == pytest.approx([2.5] * len(steps), rel=0.02)


@pytest.mark.parametrize(
    ("centre", "shares"),
    [(0.5, (0.5, 0.5)), (0.6, (0.4, 0.6)), (0.1, (0.7, 0.3)), (0.95, (0.3, 0.7))],
)
def test_split_between_planes(centre, shares):
    # from memory, ISO 21940-11: shares as a bearing's load, no less than 0.3 and no more than 0.7
    assert allot(200.0, (2.0, 3.0), 2.0 + centre) == pytest.approx([200.0 * share for share in shares])


@pytest.mark.parametrize(
    ("word", "grade"), [("40", 40.0), ("G40", 40.0), ("g6.3", 6.3), (" G 0.4 ", 0.4), ("12", 12.0)]
)
def test_grade_words(word, grade):
    assert parse_grade(word) == grade


@pytest.mark.parametrize("word", ["", "G", "banana", "-16", "0", "nan", "inf", "16G"])
def test_no_grade(word):
    with pytest.raises(InputError, match=r"--grade: got .*positive number.*G6\.3, G16, G40.*crankshaft"):
        parse_grade(word)
