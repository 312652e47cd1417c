"""Install the wheel and its locked packages in a fresh environment of each Python, and run the demo there.

Run by `make pythons`, and by `make bench`. Needs the package index. Uses the interpreters named, such as
`python3.13`, or those of this machine.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).parents[1]
ROOMS = ("analysis", "api", "collector", "dashboards")
MINORS = range(11, 15)
"""Minor versions of Python 3 for which the lock's compiled packages have wheels."""
LOCK = ROOT / "deploy" / "requirements-demo.lock"


def found_pythons() -> dict[int, str]:
    """Minor version of Python 3 -> an interpreter of this machine, from PATH or pyenv."""
    versions = Path(os.environ.get("PYENV_ROOT") or Path.home() / ".pyenv") / "versions"
    found: dict[int, str] = {}
    for minor in MINORS:
        names = [f"python3.{minor}", *map(str, sorted(versions.glob(f"3.{minor}.*/bin/python3.{minor}")))]
        works = (path for name in names if (path := shutil.which(name)) and _runs(path))
        if python := next(works, None):
            found[minor] = python
    return found


def _runs(python: str) -> bool:
    """False for a shim of a version that is not selected."""
    return subprocess.run([python, "-c", ""], capture_output=True, check=False).returncode == 0


def build_wheel(folder: Path) -> Path:
    """The wheel, built from a copy of the source, since a build leaves files in its tree."""
    source = folder / "source"
    for room in ROOMS:
        shutil.copytree(ROOT / room, source / room, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source)
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "--quiet"]
    subprocess.run([*pip, "wheel", "--no-deps", "--wheel-dir", str(folder), str(source)], check=True)
    (wheel,) = folder.glob("fieldfare-*.whl")
    return wheel


def run_demo(python: str, wheel: Path, folder: Path) -> None:
    """Install in a new environment, then make and judge one home. Raises CalledProcessError."""
    home = folder / "home"
    subprocess.run([python, "-m", "venv", str(home)], check=True)
    own = home / "bin" / "python"
    pip = [own, "-m", "pip", "--disable-pip-version-check", "--quiet", "install", "--no-compile"]
    subprocess.run([*pip, "--require-hashes", "--only-binary", ":all:", "-r", LOCK], check=True)
    subprocess.run([*pip, "--no-deps", wheel], check=True)
    env = {k: v for k, v in os.environ.items() if not k.startswith(("FIELDFARE_", "PYTHON"))}
    command = [home / "bin" / "fieldfare", "--data", folder / "demo"]
    subprocess.run([*command, "demo", "--once", "--sites", "1"], cwd=folder, env=env, check=True)
    listed = subprocess.run(
        [*command, "fleet"], cwd=folder, env=env, check=True, capture_output=True, text=True
    )
    if len(listed.stdout.splitlines()) != 1:
        raise SystemExit(f"{python}: one home was made, but `fieldfare fleet` printed: {listed.stdout}")


def main(pythons: list[str]) -> int:
    """Returns 1 where an interpreter failed."""
    failed = 0
    with TemporaryDirectory(prefix="pythons-") as name:
        wheel = build_wheel(Path(name))
        print(f"{wheel.name}: {wheel.stat().st_size / 1e6:.2f} MB", flush=True)
        for python in pythons:
            began = time.monotonic()
            folder = Path(name) / f"python-{len(list(Path(name).iterdir()))}"
            folder.mkdir()
            try:
                run_demo(python, wheel, folder)
                print(f"{python}: the demo ran, {time.monotonic() - began:.0f} s", flush=True)
            except subprocess.CalledProcessError as error:
                failed = 1
                print(f"{python}: {error}")
            shutil.rmtree(folder, ignore_errors=True)
    return failed


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:] or [*found_pythons().values()] or [sys.executable]))
