"""Style and types, run by the same command as everything else."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.mark.parametrize(
    "command", [["ruff", "check"], ["ruff", "format", "--check"], ["mypy"]], ids=["lint", "format", "types"]
)
def test_the_code_is_clean(command):
    done = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
