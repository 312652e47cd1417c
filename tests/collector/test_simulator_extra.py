"""The simulator is an extra: the service runs without numba; commands that need it name the extra."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from fieldfare.analysis.errors import InputError
from fieldfare.api.cli.entry import run
from fieldfare.api.running.demo import MADE
from fieldfare.collector.simulated import require_numba

ROOT = Path(__file__).parents[2]
SIMULATOR = "fieldfare.collector.simulated"
INSTALL = "pip install 'fieldfare[simulator]'"


@pytest.fixture
def without_numba(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "numba", None)


@pytest.mark.usefixtures("without_numba")
def test_the_simulator_names_what_to_install() -> None:
    with pytest.raises(InputError, match="needs numba; install it with: pip install"):
        require_numba()


@pytest.mark.usefixtures("without_numba")
def test_the_demo_says_so_in_one_line_and_keeps_its_data(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / MADE).write_text("yesterday", encoding="ascii")
    (tmp_path / "readings").touch()
    assert run(["--data", str(tmp_path), "demo", "--once"]) == 2
    said = capsys.readouterr().err.strip()
    assert said == f"fieldfare: the simulator needs numba; install it with: {INSTALL}"
    assert (tmp_path / "readings").exists()


def test_the_module_says_so_without_a_traceback() -> None:
    code = (
        "import runpy, sys; sys.modules['numba'] = None\n"
        "runpy.run_module('fieldfare.collector.simulated', run_name='__main__')"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 1
    assert done.stderr == f"error: the simulator needs numba; install it with: {INSTALL}\n"


def naming(words: str) -> dict[str, ast.Module]:
    """Files of the product that contain these words, by path."""
    texts = {
        path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8")
        for room in ("analysis", "api", "collector", "dashboards")
        for path in (ROOT / room).rglob("*.py")
    }
    return {path: ast.parse(text) for path, text in texts.items() if words in text}


def test_nothing_but_the_simulator_needs_numba() -> None:
    users = naming("from numba import")
    assert users
    assert all(path.startswith("collector/simulated/step/") for path in users)
    loaded_by_the_service = [
        path
        for path, tree in naming(f"{SIMULATOR}.").items()
        if not path.startswith("collector/simulated/")
        for node in tree.body
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith(f"{SIMULATOR}.")
    ]
    assert not loaded_by_the_service


def test_the_service_is_locked_without_it_and_the_demo_with_it() -> None:
    service, demo = ((ROOT / "deploy" / f"requirements{n}.lock").read_text() for n in ("", "-demo"))
    assert "\nnumba==" not in service
    assert "\nllvmlite==" not in service
    assert "\nnumba==" in demo
