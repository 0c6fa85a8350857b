"""What scripts rely on: JSON, exit codes, silence, logs, no colour where none is wanted, nothing half written."""

from __future__ import annotations

import argparse
import inspect
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.conftest import DEMO
from vibsim.cli import COMMANDS, build_parser
from vibsim.commands.common import EXIT_CODES
from vibsim.inputs.errors import RunFailure
from vibsim.inputs.schema import case_schema
from vibsim.show.progress import ProgressLine

ROOT = Path(__file__).parents[2]
STAMPED = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d{4} (INFO|WARNING|ERROR) ")


def parsers() -> dict[str, argparse.ArgumentParser]:
    (action,) = (item for item in build_parser()._actions if isinstance(item, argparse._SubParsersAction))
    return dict(action.choices)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_takes_what_all_take(name):
    known = {word: action for action in parsers()[name]._actions for word in action.option_strings}
    assert {"--json", "--quiet", "-q", "--log", "--debug"} <= set(known)
    assert re.search(r"options\.json", inspect.getsource(COMMANDS[name])), "takes --json and looks away"
    if "--seed" in known:
        assert isinstance(known["--seed"].default, int)


def seeds(node, path=""):
    for key, value in node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ():
        if key == "seed" and isinstance(value, dict):
            yield path, value
        yield from seeds(value, f"{path}.{key}")


def test_seeds_of_a_case_have_defaults():
    found = list(seeds(case_schema()))
    assert found and all(isinstance(value.get("default"), int) for _, value in found)


@pytest.mark.parametrize(
    "words",
    [
        ["check", DEMO],
        ["statics", DEMO, "--common-practice"],
        ["loads", DEMO],
        ["modes", DEMO],
    ],
)
def test_json_is_all_that_is_printed(words, command):
    code, out, err = command(*words, "--json", "--quiet")
    assert (code, err) == (0, "")
    assert json.loads(out)


def test_schema_in_json(tmp_path, command):
    path = tmp_path / "s.json"
    assert json.loads(command("check", "--schema", path, "--json")[1]) == {"files": [str(path)]}
    assert "title" in json.loads(command("check", DEMO, "--schema", path, "--json")[1])
    assert command("check", DEMO, "--schema", "--json")[0] == 2


def test_exit_codes_are_told_in_help(command):
    assert EXIT_CODES.keys() == {0, 1, 2, 130, 141}
    code, out, _ = command("--help")
    text = " ".join(out.split())
    assert code == 0 and all(f"{number} {words}" in text for number, words in EXIT_CODES.items())
    assert "seed with a fixed default" in text


def test_quiet_still_says_what_is_wrong(tmp_path, command):
    code, out, err = command("check", tmp_path / "none.toml", "-q")
    assert (code, out) == (2, "") and "no such file" in err


def test_quiet_hides_progress_and_warnings(monkeypatch, capsys):
    from vibsim.commands.common import complain, warn
    from vibsim.commands.run_log import silence

    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    with silence(True, False):
        assert not ProgressLine()._shown
        print("out")
        warn(["doubtful"])
        complain(["wrong"])
    assert ProgressLine()._shown
    warn(["doubtful"])
    assert capsys.readouterr() == ("", "vibsim: wrong\nvibsim: warning: doubtful\n")


def test_log_tells_start_and_outcome(tmp_path, command):
    log = tmp_path / "runs.log"
    assert command("check", DEMO, "--log", log, "--quiet")[0] == 0
    assert command("check", tmp_path / "no such.toml", "--log", log)[0] == 2
    assert command("check", "--bogus", "--log", log)[0] == 2
    lines = log.read_text(encoding="utf-8").splitlines()
    assert all(STAMPED.match(line) for line in lines)
    assert [re.sub(r".*exit code (\d+).*", r"\1", line) for line in lines if " end: " in line] == ["0", "2", "2"]
    assert sum(" start: vibsim check " in line for line in lines) == 3
    assert any(f" INFO start: vibsim check '{tmp_path / 'no such.toml'}' --log " in line for line in lines)
    assert any(" ERROR " in line and "no such file" in line for line in lines)
    assert any(" ERROR unrecognized arguments: --bogus" in line for line in lines)
    assert lines[2].split(" ", 2)[2].startswith("end: done, exit code 0, after ")


def test_log_hears_warnings_that_quiet_hides(tmp_path, command, monkeypatch):
    from vibsim.commands import check
    from vibsim.commands.common import warn

    monkeypatch.setattr(check, "act", lambda options: warn(["a mount is doubtful"]) or 0)
    log = tmp_path / "runs.log"
    assert command("check", DEMO, "-q", "--log", log) == (0, "", "")
    assert " WARNING a mount is doubtful" in log.read_text(encoding="utf-8")


def test_log_keeps_the_traceback_of_debug(tmp_path, monkeypatch):
    from vibsim.cli import main
    from vibsim.commands import check

    def fail(options):
        raise RunFailure("no")

    monkeypatch.setattr(check, "act", fail)
    with pytest.raises(RunFailure):
        main(["check", str(DEMO), "--debug", "--log", str(tmp_path / "log")])
    text = (tmp_path / "log").read_text(encoding="utf-8")
    assert "Traceback" in text and "end: failed, exit code 1" in text


def test_log_that_cannot_be_written(tmp_path, command):
    code, out, err = command("check", DEMO, "--log", tmp_path / "none" / "log")
    assert (code, out) == (1, "") and err.startswith("vibsim: --log: ") and "cannot be written" in err


def test_no_colour_where_none_is_wanted(monkeypatch):
    from rich.text import Text

    from vibsim.show.progress import _new_bar
    from vibsim.show.tables import new_console

    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm-256color")

    def shown() -> str:
        console = new_console()
        with console.capture() as captured:
            console.print(Text("limit", style="red"))
        return captured.get()

    assert "\x1b[31m" in shown()
    monkeypatch.setenv("NO_COLOR", "1")
    assert "\x1b[3" not in shown()
    assert _new_bar().console.no_color


def test_stopped_while_writing_leaves_nothing(tmp_path, command, monkeypatch, demo_results):
    import h5py

    from vibsim.studies import run

    monkeypatch.setattr(run, "run_case", lambda *_: demo_results)

    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(h5py.Dataset, "make_scale", stop)  # in the middle of the file
    code, _, err = command("run", DEMO, "-o", tmp_path, "--no-figures", "--log", tmp_path / "log")
    assert code == 130 and "stopped; nothing was left half written" in err
    assert [item.name for item in tmp_path.iterdir()] == ["log"]
    assert "end: stopped by Ctrl-C, exit code 130" in (tmp_path / "log").read_text(encoding="utf-8")


def test_ctrl_c_stops_a_run(tmp_path):
    log = tmp_path / "log"
    words = [sys.executable, "-m", "vibsim", "run", str(DEMO), "-o", str(tmp_path / "out"), "--log", str(log)]
    process = subprocess.Popen(words, cwd=ROOT, stderr=subprocess.PIPE, text=True)
    while "start:" not in (log.read_text(encoding="utf-8") if log.exists() else "") and process.poll() is None:
        time.sleep(0.01)
    process.send_signal(signal.SIGINT)
    err = process.communicate()[1]
    assert process.returncode == 130, err
    assert not list((tmp_path / "out").glob("*")) and "stopped" in err


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
@pytest.mark.parametrize(
    ("typed", "expected"),
    [(["swe"], "sweep"), (["comp"], "compare"), (["run", "--no-f"], "--no-figures"), (["export", "--to", "u"], "uff")],
)
def test_bash_completes(typed, expected, tmp_path, command):
    code, script, _ = command("completion", "bash")
    assert code == 0
    path = tmp_path / "vibsim.bash"
    path.write_text(script, encoding="utf-8")
    (function,) = re.findall(r"complete .*-F (\S+) vibsim", script)
    words = " ".join(["vibsim", *typed])
    program = f"source {path}; COMP_WORDS=({words}); COMP_CWORD={len(typed)}; {function}; echo ${{COMPREPLY[@]}}"
    found = subprocess.run(["bash", "-c", program], capture_output=True, text=True, check=True, env=os.environ)
    assert expected in found.stdout.split()


def test_completion_without_the_library(command, monkeypatch):
    monkeypatch.setitem(sys.modules, "shtab", None)
    code, _, err = command("completion", "bash")
    assert code == 1 and "pip install 'vibsim[completion]'" in err
