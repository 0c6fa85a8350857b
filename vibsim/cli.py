"""The command line: parses words, calls the public functions, prints tables. Heavy imports wait until a command runs.

Exit codes: 0 done, 1 failed, 2 bad input.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from vibsim import __version__

if TYPE_CHECKING:
    from vibsim.results.labelled import Group

DONE, FAILED, BAD_INPUT, INTERRUPTED, READER_LEFT = 0, 1, 2, 130, 141


def build_parser() -> argparse.ArgumentParser:
    """The commands and their options."""
    parser = argparse.ArgumentParser(
        prog="vibsim",
        description="How hard an engine shakes on its mounts, why, and what chassis and rider feel of it.",
        epilog="exit codes: 0 done, 1 failed, 2 bad input",
    )
    parser.add_argument("--version", action="version", version=f"vibsim {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    run = _command(commands, "run", run_command, "simulate a case, write results and figures, print the answer")
    run.add_argument("case", type=Path, metavar="CASE.toml")
    run.add_argument(
        "-o", "--output", type=Path, default=Path(), metavar="FOLDER", help="where to write (default here)"
    )
    run.add_argument("--no-figures", action="store_true", help="write the results file alone")
    run.add_argument("-q", "--quiet", action="store_true", help="print nothing but errors")
    plot = _command(commands, "plot", plot_command, "draw the figures of a results file again")
    plot.add_argument("results", type=Path, metavar="RESULT.h5")
    plot.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="folder of figures (default RESULT-figures)")
    modes = _command(commands, "modes", modes_command, "natural frequencies of engine and chassis on their mounts")
    modes.add_argument("case", type=Path, metavar="CASE.toml")
    modes.add_argument(
        "--crank",
        choices=("locked", "free"),
        default="locked",
        help="locked: the engine as one rigid whole, as weighed (default); free: the crank stays behind in roll",
    )
    balance = _command(commands, "balance", balance_command, "free forces and couples of a layout, and what cures them")
    balance.add_argument("case", type=Path, metavar="CASE.toml")
    balance.add_argument("--speed-rpm", type=float, metavar="RPM", help="crank speed (default that of the run)")
    balance.add_argument(
        "--explain",
        type=float,
        metavar="DEG",
        help="hold the free force at this crank angle against the whole revolution",
    )
    balance.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="draw hodographs and orders into a folder")
    new = _command(commands, "new", new_command, "write a commented case file of a usual layout, masses estimated")
    new.add_argument("layout", metavar="LAYOUT", nargs="?", help="name of the layout; without one the names are listed")
    new.add_argument("--displacement-cc", type=float, default=700.0, metavar="CM3", help="in all (default 700)")
    new.add_argument("--strokes", type=int, choices=(2, 4), default=4)
    new.add_argument("-o", "--output", type=Path, metavar="CASE.toml", help="default LAYOUT.toml; never overwrites")
    compare = _command(commands, "compare", compare_command, "several engines side by side over speed")
    compare.add_argument("cases", type=Path, nargs="+", metavar="CASE.toml")
    compare.add_argument("--speeds-rpm", type=float, nargs="+", metavar="RPM", help="default 0.5 to 1.25 of the run")
    compare.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="draw the comparison into a folder")
    check = _command(commands, "check", check_command, "check a case file and print what was understood")
    check.add_argument("case", type=Path, nargs="?", metavar="CASE.toml")
    check.add_argument(
        "--schema",
        nargs="?",
        type=Path,
        const=Path("-"),
        metavar="FILE",
        help="write a JSON Schema of case files for editors (default to standard output)",
    )
    return parser


def _command(commands: Any, name: str, action: Callable, text: str) -> argparse.ArgumentParser:
    parser = commands.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".")
    parser.set_defaults(action=action)
    parser.add_argument("--json", action="store_true", help="print JSON for machines")
    parser.add_argument("--debug", action="store_true", help="show the traceback of a failure")
    return parser


def main(arguments: list[str] | None = None) -> NoReturn:
    """Run one command and exit with its code."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal without our letters gets others, not a failure
            stream.reconfigure(errors="replace")
    options = build_parser().parse_args(arguments)
    try:
        sys.exit(options.action(options))
    except BrokenPipeError:  # the reader of our output went away; do not complain at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(READER_LEFT)
    except KeyboardInterrupt:
        _complain(["stopped; nothing was left half written"])
        sys.exit(INTERRUPTED)
    except Exception as error:
        sys.exit(_explain(error, options.debug))


def entry() -> NoReturn:
    """The command as installed: like `main`, but leaves without taking the compiler down, which costs a third of a
    second; every file is closed and flushed by then."""
    try:
        main()
    except SystemExit as left:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(left.code if isinstance(left.code, int) else DONE)
    raise AssertionError("main always exits")


def _explain(error: Exception, debug: bool) -> int:
    from vibsim.inputs.errors import InputError, VibsimError

    if debug:
        raise error
    if isinstance(error, InputError):
        _complain(error.problems)
        return BAD_INPUT
    if isinstance(error, VibsimError):
        _complain([str(error)])
        return FAILED
    if isinstance(error, OSError):
        _complain([f"{error.filename or 'output'}: {error.strerror}"])
        return FAILED
    _complain([f"internal error: {type(error).__name__}: {error} (run again with --debug to see where)"])
    return FAILED


def _complain(lines: list[str]) -> None:
    for line in lines:
        print(f"vibsim: {' '.join(line.split())}", file=sys.stderr)


def run_command(options: argparse.Namespace) -> int:
    from vibsim.inputs.loader import load_case
    from vibsim.show.progress import ProgressLine

    case_file = load_case(options.case)
    target = options.output / f"{case_file.name}.h5"
    figures = None if options.no_figures else options.output / f"{case_file.name}-figures"
    with ProgressLine(quiet=options.quiet) as progress:
        from vibsim.post.summary import summarise
        from vibsim.results.hdf5 import write_results
        from vibsim.studies.run import run_case

        results = run_case(case_file, progress)
        write_results(results, target)
        written = [target]
        if figures is not None:
            written += _draw(results, figures)
    summary = summarise(results)
    if options.json:
        print(json.dumps(summary | {"files": [str(path) for path in written]}, indent=2))
    elif not options.quiet:
        from vibsim.show.tables import print_summary

        print_summary(summary, written)
    return _settled(results)


def _settled(results: Group) -> int:
    attributes = results.attributes
    if attributes.get("settled", 1):
        return DONE
    _complain(
        [
            f"the run did not settle: after {attributes['settling_cycles']} cycles {attributes['settling_slowest']} "
            f"still changes by {attributes['settling_residual']:.2g} a cycle (run.settle_tolerance "
            f"{attributes['settling_tolerance']:g}); the files show the last cycles; add damping or raise "
            "run.settle_cycles"
        ]
    )
    return FAILED


def _draw(results: Group, folder: Path) -> list[Path]:
    from vibsim.show.figures import draw_figures

    return draw_figures(results, folder)


def plot_command(options: argparse.Namespace) -> int:
    from vibsim.results.hdf5 import read_results

    results = read_results(options.results)
    folder = options.output or options.results.with_name(f"{options.results.stem}-figures")
    paths = [str(path) for path in _draw(results, folder)]
    print(json.dumps({"files": paths}, indent=2) if options.json else "\n".join(paths))
    return DONE


def modes_command(options: argparse.Namespace) -> int:
    from vibsim.inputs.loader import load_case
    from vibsim.studies.modes import find_modes

    result = find_modes(load_case(options.case), options.crank)
    if options.json:
        print(json.dumps({"crank": options.crank, "modes": result.table()}, indent=2))
        return DONE
    from vibsim.show.tables import print_modes

    print_modes(result, options.crank)
    return DONE


def _check_speeds(option: str, speeds: list[float]) -> None:
    from vibsim.inputs.case_checks import FASTEST_RPM
    from vibsim.inputs.errors import InputError

    for speed in speeds:
        if not 0.0 < speed < FASTEST_RPM:
            raise InputError(f"{option}: got {speed:g}; must be more than 0 and below {FASTEST_RPM}")


def balance_command(options: argparse.Namespace) -> int:
    import math

    from vibsim.inputs.loader import load_case
    from vibsim.studies.balance import as_dict, explain_position, find_balance

    _check_speeds("--speed-rpm", [] if options.speed_rpm is None else [options.speed_rpm])
    case_file = load_case(options.case)
    speed = None if options.speed_rpm is None else options.speed_rpm * math.pi / 30.0
    balance = find_balance(case_file, speed)
    position = None if options.explain is None else explain_position(balance, math.radians(options.explain))
    written = []
    if options.output is not None:
        from vibsim.show.balance_figures import draw_balance

        written = draw_balance(balance, case_file.case.case.title or case_file.name, options.output)
    if options.json:
        found = as_dict(balance) | {"files": [str(path) for path in written]}
        print(json.dumps(found | ({"position": vars(position)} if position else {}), indent=2))
        return DONE
    from vibsim.show.tables import print_balance

    print_balance(balance, position, written)
    return DONE


def new_command(options: argparse.Namespace) -> int:
    from vibsim.engine.layout_table import LAYOUTS
    from vibsim.inputs.errors import InputError, VibsimError
    from vibsim.studies.new_case import new_case

    if options.layout is None:
        names = {name: plan.words for name, plan in LAYOUTS.items()}
        print(json.dumps(names, indent=2) if options.json else "\n".join(f"{n:20} {w}" for n, w in names.items()))
        return DONE
    text = new_case(options.layout, options.displacement_cc, options.strokes)
    path = options.output or Path(f"{options.layout}.toml")
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise InputError(f"--output: got '{path}'; is there already, choose another name") from None
    except OSError as error:
        raise VibsimError(f"{path}: cannot be written ({error.strerror})") from None
    print(json.dumps({"files": [str(path)]}) if options.json else f"wrote {path}; its masses are estimates")
    return DONE


def compare_command(options: argparse.Namespace) -> int:
    import math

    import numpy as np

    from vibsim.inputs.errors import InputError
    from vibsim.inputs.loader import load_case
    from vibsim.show.progress import ProgressLine
    from vibsim.studies.compare import compare, layout_rows, speed_rows

    case_files = [load_case(path) for path in options.cases]
    speeds = options.speeds_rpm
    if speeds is None:
        run = case_files[0].case.run
        if run is None:
            raise InputError("--speeds-rpm: is missing, and the first case has no [run] to take a speed from")
        speeds = [abs(run.speed) * share * 30.0 / math.pi for share in (0.5, 0.75, 1.0, 1.25)]
    _check_speeds("--speeds-rpm", speeds)
    with ProgressLine() as progress:
        compared = compare(case_files, np.array(speeds) * math.pi / 30.0, progress)
    written = []
    if options.output is not None:
        from vibsim.show.compare_figures import draw_comparison

        written = draw_comparison(compared, options.output)
    if options.json:
        found = {"layouts": layout_rows(compared), "speeds": speed_rows(compared)}
        print(json.dumps(found | {"files": [str(path) for path in written]}, indent=2))
        return DONE
    from vibsim.show.tables import print_comparison

    print_comparison(compared, written)
    return DONE


def check_command(options: argparse.Namespace) -> int:
    if options.schema is None and options.case is None:
        _complain(["check: give a CASE.toml to check, or --schema"])
        return BAD_INPUT
    if options.schema is not None:
        _write_schema(options.schema)
    if options.case is None:
        return DONE
    from vibsim.inputs.loader import load_case
    from vibsim.studies.overview import overview

    understood = overview(load_case(options.case))
    if options.json:
        print(json.dumps(understood.as_dict(), indent=2))
    else:
        from vibsim.show.tables import print_overview

        print_overview(understood)
    return FAILED if understood.statics_problem else DONE


def _write_schema(path: Path) -> None:
    from vibsim.inputs.errors import InputError, VibsimError
    from vibsim.inputs.schema import case_schema

    text = json.dumps(case_schema(), indent=2) + "\n"
    if path == Path("-"):
        sys.stdout.write(text)
        return
    if path.suffix != ".json":
        raise InputError(f"--schema: got '{path}'; the schema's file must end in .json")
    try:
        path.write_text(text, encoding="utf-8")
        print(f"wrote {path}")
    except OSError as error:
        raise VibsimError(f"{path}: cannot be written ({error.strerror})") from None
