"""`--log` and `--quiet` of every command: time-stamped lines in a file, and silence on the terminal."""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from vibsim import __version__
from vibsim.commands.common import EXIT_CODES, FAILED, complain, listeners

if TYPE_CHECKING:
    from logging import Logger

FORM, STAMP = "%(asctime)s %(levelname)s %(message)s", "%Y-%m-%dT%H:%M:%S%z"


def add_run_options(parser: argparse.ArgumentParser) -> None:
    """What every command takes besides its own options."""
    parser.add_argument("--json", action="store_true", help="print JSON for machines")
    parser.add_argument("-q", "--quiet", action="store_true", help="print nothing but errors, and JSON where asked for")
    parser.add_argument("--log", type=Path, metavar="FILE", help="append time-stamped lines: start, warnings, outcome")
    parser.add_argument("--debug", action="store_true", help="show the traceback of a failure")


@contextlib.contextmanager
def run_log(words: list[str]) -> Iterator[None]:
    """Write the log that the words of a command ask for, wrong words included; nothing without `--log`."""
    found = argparse.ArgumentParser(add_help=False, allow_abbrev=False)
    found.add_argument("--log", nargs="?")
    path = found.parse_known_args(words)[0].log
    if path is None:
        yield
        return
    log = _open(path)
    begin = time.monotonic()
    _start(log, words)
    listeners.append(lambda level, line: getattr(log, level)(line))
    try:
        yield
    except SystemExit as left:
        _end(log, left.code if isinstance(left.code, int) else 0, begin)
        raise
    except BaseException as error:
        log.exception(f"{type(error).__name__}")
        _end(log, FAILED, begin)
        raise
    finally:
        listeners.pop()
        for handler in log.handlers:
            handler.close()


def _open(path: str) -> Logger:
    import logging

    try:
        handler = logging.FileHandler(path, encoding="utf-8")
    except OSError as error:
        complain([f"--log: {path}: cannot be written ({error.strerror})"])
        sys.exit(FAILED)
    handler.setFormatter(logging.Formatter(FORM, STAMP))
    log = logging.Logger("vibsim", logging.INFO)
    log.addHandler(handler)
    return log


def _start(log: Logger, words: list[str]) -> None:
    import shlex

    log.info(f"start: {shlex.join(['vibsim', *words])}")
    log.info(f"vibsim {__version__}, process {os.getpid()}, in {Path.cwd()}")


def _end(log: Logger, code: int, begin: float) -> None:
    log.info(f"end: {EXIT_CODES.get(code, 'failed')}, exit code {code}, after {time.monotonic() - begin:.1f} s")


@contextlib.contextmanager
def silence(quiet: bool, json: bool) -> Iterator[None]:
    """Nothing on standard output, no progress and no warnings; JSON that was asked for still comes."""
    if not quiet:
        yield
        return
    from vibsim.show import progress

    with contextlib.ExitStack() as stack:
        stack.enter_context(progress.hidden())
        stack.enter_context(without_warnings())
        if not json:
            nowhere = stack.enter_context(Path(os.devnull).open("w", encoding="utf-8"))
            stack.enter_context(contextlib.redirect_stdout(nowhere))
        yield


@contextlib.contextmanager
def without_warnings() -> Iterator[None]:
    """Warnings go to the log alone."""
    from vibsim.commands import common

    common.warnings_shown = False
    try:
        yield
    finally:
        common.warnings_shown = True
