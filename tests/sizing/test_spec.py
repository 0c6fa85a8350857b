"""Mistakes in `[size]`: one clear line each, all at once."""

from __future__ import annotations

import pytest

from tests.sizing.small import ALL, SAG, UP, small
from vibsim.inputs.errors import InputError
from vibsim.studies.sizing.problem import Problem

LIMIT = '[[size.limit]]\nkind = "deflection"\nmost_mm = 5\n'

MISTAKES = [
    (UP.replace('"a"', '"aa"') + SAG, "size.variable[1].mounts: got 'aa'; no such mount; did you mean a?"),
    (UP.replace("stiffness_N_per_mm", "stifness_N_per_mm") + SAG, "did you mean stiffness_N_per_mm?"),
    (UP.replace("N_per_mm", "N_per_s") + SAG, "is not a stiffness; stiffness takes a stiffness, e.g."),
    (UP.replace('axis = "z"\n', "") + SAG, "size.variable[1].axis: is missing; x, y or z"),
    (UP.replace("[20, 200]", "[200, 20]") + SAG, "size.variable[1].range: got [200, 20]; is empty; must rise"),
    (UP.replace("[20, 200]", "[-20, 200]") + SAG, "size.variable[1].range: got -20; stiffness_N_per_mm must"),
    (UP.replace("range = [20, 200]\n", "") + SAG, "size.variable[1].range: is missing; give range, or a catalogue"),
    (UP + "step = 5\ncatalogue = [20.0, 30.0]\n" + SAG, "size.variable[1].step: got 5; crosses the catalogue"),
    (UP + "step = 500\n" + SAG, "size.variable[1].step: got 500; must be at most the range, 180"),
    (UP + "catalogue = [5.0, 300.0, 900.0]\n" + SAG, "crosses the range: 0 of its values lie in it, at least 2 must"),
    (UP + "catalogue = [50.0, 40.0]\n" + SAG, "must rise from each value to the next"),
    (UP + UP + SAG, "size.variable[2].key: got 'stiffness_N_per_mm'; crosses size.variable[1], which sets the same"),
    (UP + "mirror = true\n" + SAG, "nothing of stiffness_N_per_mm z changes across the middle"),
    (UP + SAG + "most_mm = 3\n", "size.goal[1].most_mm: a goal has no bound"),
    (UP + SAG + LIMIT.replace("most_mm = 5", ""), "size.limit[1]: needs most or least"),
    (UP + SAG + LIMIT.replace("most_mm", "most_N"), "size.limit[1].most_N: got 5; unit 'N' is not a length"),
    (UP + SAG + LIMIT + 'mount = "e"\n', "size.limit[1].mount: got 'e'; no such mount; allowed: a, b, c, d"),
    (UP + SAG + LIMIT + 'load_case = "bump"\n', "size.limit[1].load_case: got 'bump'; no such load case"),
    (
        UP + '[[size.goal]]\nkind = "sensor"\nsensor = "x"\n',
        "size.goal[1].sensor: got 'x'; no such sensor; the case has",
    ),
    (UP + '[[size.goal]]\nkind = "mount_force"\n', "size.goal[1].kind: got 'mount_force'; needs an [engine]"),
    (UP + '[[size.goal]]\nkind = "clearance"\npoint = "p"\n', "no such point; the case has none"),
    (UP + SAG + f'[[size.ratio]]\nmounts = {ALL}\nover = "x"\nunder = "x"\nrange = [1, 2]\n', "must be another axis"),
    (UP + SAG + f'[[size.ratio]]\nmounts = {ALL}\nover = "x"\nunder = "y"\nrange = [2, 1]\n', "is empty; must rise"),
    (UP + SAG + "[size.scatter]\nageing = [0.2, 0.1]\n", "size.scatter.ageing: got [0.2, 0.1]; must rise"),
]


@pytest.mark.parametrize(("text", "line"), MISTAKES, ids=range(len(MISTAKES)))
def test_a_mistake_gets_one_line(text, line):
    with pytest.raises(InputError) as caught:
        Problem(small(text))
    assert line in caught.value.problems[0]
    assert len(caught.value.problems) == (2 if "no such sensor" in line else 1)  # and it has no engine


def test_all_mistakes_are_told_at_once():
    text = UP.replace("[20, 200]", "[200, 20]") + SAG + "most_mm = 3\n" + LIMIT + 'mount = "e"\n'
    with pytest.raises(InputError) as caught:
        small(text)
    assert len(caught.value.problems) == 3


def test_a_case_without_a_table_is_told_what_to_write():
    with pytest.raises(InputError, match=r"^size: is missing; a \[size\] table says what may change"):
        Problem(small(""))
