"""One way out for every kind of file."""

from __future__ import annotations

from pathlib import Path

from vibsim.inputs.errors import InputError
from vibsim.results.exchange.csv_files import write_csv, write_sweep_csv
from vibsim.results.exchange.json_file import write_json
from vibsim.results.exchange.uff_file import write_uff
from vibsim.results.labelled import Group

KINDS = ("csv", "uff", "json")


def export(results: Group, kind: str, path: Path, words: list[str] | None = None) -> list[Path]:
    """Write results as `kind` to `path` (of a run's CSV a folder); the files written.

    Raises InputError for a kind or variable there is not, VibsimError where it cannot be written.
    """
    if kind not in KINDS:
        raise InputError(f"to: got '{kind}'; allowed: {', '.join(KINDS)}")
    sweep = results.attributes.get("run_kind") == "sweep"
    if kind == "json":
        return [write_json(results, path, words)]
    if kind == "uff":
        if sweep:
            raise InputError("--to uff: a sweep holds points and no functions; allowed: csv, json")
        return [write_uff(results, path, words)]
    return write_sweep_csv(results, path, words) if sweep else write_csv(results, path, words)
