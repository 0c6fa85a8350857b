"""How long the balance of a layout takes, and a map of its angles against a loop over them."""

from __future__ import annotations

import itertools
import time
from dataclasses import replace

import numpy as np

from benchmarks.figure import Figure, ratio
from vibsim.engine.layout_table import LAYOUTS
from vibsim.engine.turned import angles_at
from vibsim.inputs.loader import CaseFile, parse_case
from vibsim.studies.angle_map import AngleMap, find_map
from vibsim.studies.balance import find_balance
from vibsim.studies.new_case import new_case

NEW_SPEEDS = itertools.count(300.0, 1.0)  # rad/s, each taken once
CALLS = 20


def seconds(case_file: CaseFile, speed: float | None = None) -> float:
    """Time of one `find_balance`, s."""
    begin = time.perf_counter()
    find_balance(case_file, speed)
    return time.perf_counter() - begin


def balance_seconds(case_file: CaseFile) -> float:
    """Best time of a balance in a warm process, its working cycle solved before, s."""
    find_balance(case_file)
    return min(seconds(case_file) for _ in range(CALLS))


def map_point_seconds(case_file: CaseFile, points: int) -> float:
    """Time per point of a map of a case, with its best points, s."""
    begin = time.perf_counter()
    find_map(case_file, count=points)
    return (time.perf_counter() - begin) / points**2


def loop_point_seconds(case_file: CaseFile, points: int) -> float:
    """Time per point of the same map by calling `find_balance` at each, over points at random, s."""
    found = find_map(case_file, count=200)
    rng = np.random.default_rng(1)
    cases = [turned_case(case_file, found, *rng.integers(0, 200, 2)) for _ in range(points)]
    begin = time.perf_counter()
    for case in cases:
        find_balance(case)
    return (time.perf_counter() - begin) / points


def turned_case(case_file: CaseFile, found: AngleMap, row: int, column: int) -> CaseFile:
    """The case at one point of its map; when it fires is left to the top dead centres."""
    banks, pins = angles_at(found.layout, found.turned, found.bank[row], found.pin[column])
    engine = case_file.case.engine
    assert engine is not None
    cylinders = tuple(
        cylinder.model_copy(update={"bank": float(bank), "pin": float(pin), "fires_at": None})
        for cylinder, bank, pin in zip(engine.cylinder, banks, pins, strict=True)
    )
    engine = engine.model_copy(update={"cylinder": cylinders, "firing_order": ()})
    return replace(case_file, case=case_file.case.model_copy(update={"engine": engine}))


def layout_figures(repeats: int) -> list[Figure]:
    """Balance of every layout, the slowest one counted, and the map of a V8 against a loop over its points."""
    cases = {name: parse_case(new_case(name, 900.0)) for name in LAYOUTS}
    rows = np.array([[balance_seconds(case) for case in cases.values()] for _ in range(repeats)])
    slowest = 1e3 * rows[:, rows.min(axis=0).argmax()]
    first = [1e3 * seconds(cases["v8-cross"], next(NEW_SPEEDS)) for _ in range(repeats)]
    point = [
        (loop_point_seconds(cases["v8-cross"], 100), map_point_seconds(cases["v8-cross"], 200)) for _ in range(repeats)
    ]
    loop, array = np.array(point).T
    return [
        Figure("balance_ms", "balance, slowest of the layouts", "ms", slowest.min(), slowest.max(), 1.0),
        Figure("balance_new_speed_ms", "V8, at a speed not met before", "ms", min(first), max(first)),
        ratio("ratio_to_loop", "loop over balances, map of 200 x 200", loop, array, 50.0),
    ]
