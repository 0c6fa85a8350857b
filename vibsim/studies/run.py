"""The main job: simulate a case, label its results, read the quantities from them."""

from __future__ import annotations

from pathlib import Path

from vibsim.inputs.loader import CaseFile
from vibsim.inputs.steps import stepped
from vibsim.post.quantities import post_process
from vibsim.post.step_groups import add_step_groups, stretch
from vibsim.results.collect import collect, without_record
from vibsim.results.hdf5 import write_results
from vibsim.results.labelled import Group
from vibsim.results.stream import streamed
from vibsim.solver.simulate import Progress, no_progress, simulate


def run_case(case_file: CaseFile, progress: Progress = no_progress) -> Group:
    """Results of a case with all post-processed groups.

    Raises InputError for what is wrong in the case, RunFailure when the run cannot be carried through.
    """
    solution = simulate(case_file.case, case_file.folder, progress)
    results = post_process(collect(solution, case_file))
    if solution.history is not None:
        add_step_groups(results, solution.history.rate, lambda first, end: stretch(results, first, end))
    return results


def run_to_file(case_file: CaseFile, target: Path, progress: Progress = no_progress) -> Group:
    """Run a case and write its results file; returns the results, of a run of steps all but its record, which goes to
    the file chunk by chunk. Raises as `run_case` does, and VibsimError for what cannot be written.
    """
    run = case_file.case.run
    if run is None or not stepped(run):
        results = run_case(case_file, progress)
        write_results(results, target)
        return results
    with streamed(target) as stream:
        solution = simulate(case_file.case, case_file.folder, progress, stream.take)
        results = without_record(solution, case_file)
        add_step_groups(results, run.sample_rate, stream.rows)
        stream.finish(results)
    return results
