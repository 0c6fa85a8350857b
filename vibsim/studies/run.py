"""The main job: simulate a case, label its results, read the quantities from them."""

from __future__ import annotations

from vibsim.inputs.loader import CaseFile
from vibsim.post.quantities import post_process
from vibsim.results.collect import collect
from vibsim.results.labelled import Group
from vibsim.solver.simulate import Progress, no_progress, simulate


def run_case(case_file: CaseFile, progress: Progress = no_progress) -> Group:
    """Results of a case with all post-processed groups.

    Raises InputError for what is wrong in the case, RunFailure when the run cannot be carried through.
    """
    solution = simulate(case_file.case, case_file.folder, progress)
    return post_process(collect(solution, case_file))
