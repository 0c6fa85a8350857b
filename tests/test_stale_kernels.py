"""Compiled kernels older than a source file are dropped at start, however deep their package lies."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

INIT = Path(__file__).parent.parent / "vibsim" / "__init__.py"


@pytest.mark.parametrize("folder", ["engine", "engine/charging"])
@pytest.mark.parametrize(("age", "kept"), [(3600.0, False), (-5.0, True)])
def test_kernels_older_than_a_source_are_dropped(tmp_path, folder, age, kept):
    package = tmp_path / "vibsim"
    kernel = package / folder / "__pycache__" / "kernel.nbi"
    kernel.parent.mkdir(parents=True)
    shutil.copy(INIT, package / "__init__.py")
    kernel.touch()
    source = (package / "__init__.py").stat().st_mtime
    os.utime(kernel, (source - age, source - age))
    subprocess.run([sys.executable, "-c", "import vibsim"], cwd=tmp_path, check=True, env={"PYTHONPATH": str(tmp_path)})
    assert kernel.exists() == kept
