"""The import arrow runs one way (contract in pyproject.toml), and --help loads nothing heavy."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from importlinter.cli import lint_imports

ROOT = Path(__file__).parent.parent
HEAVY = ("numpy", "numba", "pydantic", "pint", "h5py", "matplotlib", "rich", "scipy")


def test_imports_run_one_way():
    assert lint_imports(config_filename=str(ROOT / "pyproject.toml"), no_cache=True) == 0


def test_help_imports_nothing_heavy():
    code = (
        "import sys\nfrom vibsim.cli import build_parser\nbuild_parser().format_help()\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


def test_a_plain_run_loads_no_part_of_scipy_before_it_begins():
    """Each takes a tenth of a second and more to load; what needs one imports it where it is used."""
    parts = ("scipy.fft", "scipy.interpolate", "scipy.linalg", "scipy.optimize", "scipy.signal", "scipy.stats")
    code = (
        "import sys\nimport vibsim.inputs.loader, vibsim.studies.run\n"
        f"print([name for name in {parts!r} if name in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
