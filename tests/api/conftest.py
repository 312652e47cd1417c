"""Fixtures of the service's tests. Tests that take `database_url` run on SQLite and PostgreSQL."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from fieldfare.analysis.plant.load import parse_site
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from tests.api.postgres import new_database, postgres
from tests.api.sites import readings, site_text

if TYPE_CHECKING:
    from tests.api.web import Web

_names = (f"test{n}" for n in itertools.count())


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    with postgres() as address:
        yield address


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request: pytest.FixtureRequest) -> str:
    """Empty for SQLite in the data folder, else the address of a new PostgreSQL database."""
    if request.param == "sqlite":
        return ""
    return new_database(request.getfixturevalue("postgres_server"), next(_names))


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(data=tmp_path / "data", workers=1)


@pytest.fixture
def service(settings: Settings) -> Iterator[Service]:
    with opened(settings) as made:
        yield made


@pytest.fixture
def either_service(tmp_path: Path, database_url: str) -> Iterator[Service]:
    """A service on SQLite, then one on PostgreSQL."""
    with opened(Settings(data=tmp_path / "data", database_url=database_url, workers=1)) as made:
        yield made


@pytest.fixture
def plant_here(service: Service) -> Service:
    """A service that looks after alder-row, with four days of minutes."""
    add_site(service, "alder-row")
    service.store.append("alder-row", readings())
    return service


@pytest.fixture(scope="module")
def web(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Web]:
    """The application with people in it, for tests that leave it as it was."""
    from tests.api.web import make_web  # which needs add_site

    with opened(Settings(data=tmp_path_factory.mktemp("web"), workers=1)) as service:
        yield make_web(service)


def add_site(service: Service, site: str, **more: str) -> None:
    """more : lines for the file's [site] section"""
    text = site_text(site, site.replace("-", " ").title(), **more)
    service.sites.add([(text, parse_site(text))])
