"""How fast the modes and load cases of the demo are found, kernels warm, the case already packed."""

from __future__ import annotations

import time
from pathlib import Path

from benchmarks.figure import Figure
from vibsim.inputs.loader import load_case
from vibsim.solver.linearise import linearise
from vibsim.structure.modes import modes_of
from vibsim.studies.load_cases import pack_for_statics
from vibsim.studies.statics import find_statics

CALLS = 100  # a repeat
MODES_TARGET = 1.0  # ms


def mode_figures(demo: Path, repeats: int) -> list[Figure]:
    """Twelve modes: static equilibrium, matrices about it, and the eigenvalues; and all statics of the demo."""
    case_file = load_case(demo)
    packed = pack_for_statics(case_file)

    def modes() -> None:
        linear = linearise(packed)
        found = modes_of(linear.mass, linear.damping, linear.stiffness)
        assert len(found.frequency) == 12

    statics = find_statics(case_file)
    cases = len(statics.gears) + len(statics.loads)
    modes_ms = _milliseconds(modes, CALLS, repeats)
    case_ms = [value / cases for value in _milliseconds(lambda: find_statics(case_file), 5, repeats)]
    return [
        Figure("modes_ms", "twelve modes about their equilibrium", "ms", modes_ms[0], modes_ms[-1], MODES_TARGET),
        Figure("load_case_ms", f"a load case, of {cases} with reading", "ms", case_ms[0], case_ms[-1]),
    ]


def _milliseconds(work, calls: int, repeats: int) -> list[float]:
    """Sorted times of one call, each the best of many, as other work on the machine only ever adds."""
    work()
    return sorted(1e3 * min(_seconds(work) for _ in range(calls)) for _ in range(repeats))


def _seconds(work) -> float:
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin
