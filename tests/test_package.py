"""The installed package: one import name, all folders, and the Python interface."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

import fieldfare
from fieldfare.dashboards.assets import STATIC

ROOT = Path(__file__).parents[1]
ROOMS = ("analysis", "api", "collector", "dashboards")


def test_every_folder_with_code_is_in_the_package_list() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]
    folders = {
        "fieldfare." + ".".join(init.parent.relative_to(ROOT).parts)
        for room in ROOMS
        for init in (ROOT / room).rglob("__init__.py")
    }
    listed = set(settings["packages"])
    assert listed == (folders - {"fieldfare.api.python"}) | {"fieldfare"}
    assert len(settings["packages"]) == len(listed)
    assert settings["package-dir"] == {
        "fieldfare": "api/python",
        **{f"fieldfare.{room}": room for room in ROOMS},
    }


@pytest.mark.parametrize("room", ROOMS)
def test_the_map_for_contributors_has_each_folder_of_a_room(room: str) -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    folders = {init.parent.name for init in (ROOT / room).glob("*/__init__.py")}
    assert folders
    assert {name for name in folders if f"`{room}/{name}`" not in text} - {"python"} == set()


def test_every_file_that_the_code_reads_is_installed() -> None:
    """Data files are named by pattern, and pages must find them in an installed tree of links too."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]
    named: set[Path] = set()
    for package, patterns in settings["package-data"].items():
        folder = ROOT / package.removeprefix("fieldfare.").replace(".", "/")
        if package == "fieldfare":
            folder = ROOT / "api" / "python"
        named |= {path for pattern in patterns for path in folder.glob(pattern) if path.is_file()}
        named |= {path for pattern in patterns for path in folder.glob(f"{pattern}/*") if path.is_file()}
    given = {
        path
        for room in ROOMS
        for path in (ROOT / room).rglob("*")
        if path.is_file() and path.suffix not in (".py", ".pyc", ".nbi", ".nbc")
    }
    pictures = ROOT / "dashboards" / "pictures"  # of the README
    assert sorted(str(p.relative_to(ROOT)) for p in given - named if pictures not in p.parents) == []
    assert str(STATIC.resolve()) == str(STATIC), "a folder of links is not served"


def test_every_folder_with_code_has_an_init_file() -> None:
    bare = {
        str(path.parent.relative_to(ROOT))
        for room in ROOMS
        for path in (ROOT / room).rglob("*.py")
        if not (path.parent / "__init__.py").exists()
    }
    assert not bare


@pytest.mark.parametrize("name", fieldfare.__all__)
def test_each_public_name_is_there_and_documented(name: str) -> None:
    thing = getattr(fieldfare, name)
    assert name in dir(fieldfare)
    if callable(thing):
        assert thing.__doc__


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'analyze'"):
        _ = fieldfare.analyze  # type: ignore[attr-defined]
