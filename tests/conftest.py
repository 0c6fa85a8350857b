"""Shared fixtures."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import settings

from tests.cases import CONFIGS
from vibsim.cli import main
from vibsim.inputs.loader import load_case
from vibsim.results.labelled import Group
from vibsim.studies.run import run_case

DEMO = CONFIGS / "v3-80-trike.toml"
# The same generated cases every time; others with `pytest --hypothesis-profile search`.
settings.register_profile("same", derandomize=True, database=None)
settings.register_profile("search", derandomize=False, print_blob=True)
settings.load_profile("same")


@pytest.fixture
def command(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """Run the command line in this process: exit code, standard output, standard error."""

    def call(*words: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as exit_info:
            main([str(word) for word in words])
        captured = capsys.readouterr()
        return int(exit_info.value.code or 0), captured.out, captured.err

    return call


@pytest.fixture(scope="session")
def demo_results() -> Group:
    """Results of the demo case, run once."""
    return run_case(load_case(DEMO))


@pytest.fixture(scope="session")
def demo_text() -> str:
    return Path(DEMO).read_text(encoding="utf-8")
