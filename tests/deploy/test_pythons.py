"""The code compiles without a warning on every supported Python of this machine."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.pythons import MINORS, ROOMS, found_pythons

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def pythons() -> dict[int, str]:
    return found_pythons()


@pytest.mark.parametrize("minor", MINORS)
def test_the_code_compiles_without_a_warning(minor: int, pythons: dict[int, str], tmp_path: Path) -> None:
    if minor not in pythons:
        pytest.skip(f"no Python 3.{minor} in PATH or pyenv")
    done = subprocess.run(
        [pythons[minor], "-W", "error", "-m", "compileall", "-q", "-f", *ROOMS, "deploy", "docs"],
        cwd=ROOT,
        env={**os.environ, "PYTHONPYCACHEPREFIX": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert list(tmp_path.rglob("*.pyc"))


def test_the_running_python_is_supported() -> None:
    assert sys.version_info.minor in MINORS
