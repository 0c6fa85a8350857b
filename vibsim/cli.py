"""The command line: parses words and hands them to the command. Heavy imports wait until a command runs.

Exit codes are listed in `commands.common.EXIT_CODES`.
"""

from __future__ import annotations

import argparse
import io
import os
import sys
from typing import NoReturn

from vibsim import __version__, first_use
from vibsim.commands import (
    balance,
    boost,
    check,
    colourmap,
    compare,
    completion,
    contributions,
    cure,
    cycle,
    evenness,
    export,
    exposure,
    fit,
    flywheel,
    listen,
    loads,
    map,
    misfire,
    modes,
    mounts,
    new,
    orders,
    plot,
    report,
    response,
    run,
    search,
    size,
    spectra,
    statics,
    sweep,
    tolerance,
    torque,
    torsion,
    traces,
)
from vibsim.commands.common import BAD_INPUT, DONE, EXIT_CODES, FAILED, INTERRUPTED, READER_LEFT, complain
from vibsim.commands.run_log import add_run_options, run_log, silence

COMMANDS = {
    "run": run,
    "plot": plot,
    "export": export,
    "report": report,
    "modes": modes,
    "mounts": mounts,
    "fit": fit,
    "statics": statics,
    "response": response,
    "exposure": exposure,
    "spectra": spectra,
    "orders": orders,
    "colourmap": colourmap,
    "contributions": contributions,
    "size": size,
    "sweep": sweep,
    "balance": balance,
    "cure": cure,
    "loads": loads,
    "cycle": cycle,
    "torque": torque,
    "flywheel": flywheel,
    "evenness": evenness,
    "misfire": misfire,
    "listen": listen,
    "torsion": torsion,
    "tolerance": tolerance,
    "map": map,
    "search": search,
    "traces": traces,
    "boost": boost,
    "compare": compare,
    "new": new,
    "check": check,
    "completion": completion,
}


SEEDS = "What is drawn at random has a seed with a fixed default: the same input gives the same numbers."


class Parser(argparse.ArgumentParser):
    """Says what is wrong with the words in one line, where to look in it."""

    def error(self, message: str) -> NoReturn:
        complain([f"{message}; see {self.prog} --help"])
        sys.exit(BAD_INPUT)


def build_parser() -> argparse.ArgumentParser:
    """The commands and their options."""
    parser = Parser(
        prog="vibsim",
        description="How hard an engine shakes on its mounts, why, and what chassis and rider feel of it.",
        epilog=f"exit codes: {', '.join(f'{code} {words}' for code, words in EXIT_CODES.items())}. {SEEDS}",
    )
    parser.set_defaults(parser=parser)
    parser.add_argument("--version", action="version", version=f"vibsim {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for name, module in COMMANDS.items():
        text = module.HELP
        command = commands.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".")
        command.set_defaults(action=module.act)
        module.add_options(command)
        add_run_options(command)
    return parser


def main(arguments: list[str] | None = None) -> NoReturn:
    """Run one command and exit with its code."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal without our letters gets others, not a failure
            stream.reconfigure(errors="replace")
    words = sys.argv[1:] if arguments is None else arguments
    with run_log(words):
        try:
            sys.exit(_perform(words))
        except KeyboardInterrupt:
            complain(["stopped; nothing was left half written"])
            sys.exit(INTERRUPTED)


def _perform(words: list[str]) -> int:
    """Parse the words and act on them; the exit code."""
    options = build_parser().parse_args(words)
    try:
        if not (options.quiet or options.json):
            first_use.listeners[:] = [_say_compiling]
        with silence(options.quiet, options.json):
            return options.action(options)
    except BrokenPipeError:  # the reader of our output went away; do not complain at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return READER_LEFT
    except Exception as error:
        return _explain(error, options.debug)


def _say_compiling() -> None:
    """Why nothing happens for a while, to whoever sits before it."""
    if sys.stderr.isatty():
        print("vibsim: compiling what this needs, once after installing: up to a minute", file=sys.stderr)


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
        complain(error.problems)
        return BAD_INPUT
    if isinstance(error, VibsimError):
        complain([str(error)])
        return FAILED
    if isinstance(error, OSError):
        complain([f"{error.filename or 'output'}: {error.strerror}"])
        return FAILED
    complain([f"internal error: {type(error).__name__}: {error} (run again with --debug to see where)"])
    return FAILED
