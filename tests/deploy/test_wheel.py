"""The wheel alone: built, installed in a fresh environment, and its demo run there."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
import venv
from pathlib import Path

import pytest

from tests.pythons import build_wheel


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The command of a fresh environment: the wheel, and the locked packages that these tests run with."""
    folder = tmp_path_factory.mktemp("wheel")
    wheel = build_wheel(folder)
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "--quiet"]
    home = folder / "home"
    venv.create(home, with_pip=False)
    target = Path(sysconfig.get_path("purelib", vars={"base": str(home)}))
    into = ["--python", str(home / "bin" / "python"), "install", "--no-deps", str(wheel)]
    subprocess.run([*pip, *into], check=True)
    # A path in a .pth file gives its packages, but not the links of an editable install there.
    shared = [path for path in sys.path if path.endswith("site-packages")]
    (target / "locked.pth").write_text("\n".join(shared), encoding="utf-8")
    return home / "bin" / "fieldfare"


def ran(command: Path, *words: str, cwd: Path) -> str:
    env = {k: v for k, v in os.environ.items() if not k.startswith(("FIELDFARE_", "PYTHON"))}
    done = subprocess.run([command, *words], cwd=cwd, env=env, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_the_wheel_runs_its_demo(installed: Path, tmp_path: Path) -> None:
    ran(installed, "--data", str(tmp_path / "demo"), "demo", "--once", "--sites", "1", cwd=tmp_path)
    fleet = ran(installed, "--data", str(tmp_path / "demo"), "fleet", cwd=tmp_path)
    assert len(fleet.splitlines()) == 1, "one home, judged"
    where = subprocess.run(
        [installed.parent / "python", "-c", "import fieldfare; print(fieldfare.__file__)"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    assert where.stdout.startswith(str(installed.parents[1])), "not the tree that the tests run from"
