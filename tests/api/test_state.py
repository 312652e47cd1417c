"""The state database: migrations on SQLite and PostgreSQL, concurrent processes, short transactions."""

from __future__ import annotations

import multiprocessing
import sqlite3
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, create_engine, event, inspect, text

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.load import parse_site
from fieldfare.api.core.service import Service
from fieldfare.api.core.settings import Settings
from fieldfare.api.http.app import PREFIX
from fieldfare.api.state import people_tables, work_tables
from fieldfare.api.state.database import (
    HEAD,
    SCHEMA,
    _begin_sqlite,
    _prepare_sqlite,
    open_database,
    upgrade,
)
from fieldfare.api.state.schema import METADATA, sqlite_script
from fieldfare.api.state.tables import Base, SiteRow
from tests.api.conftest import add_site
from tests.api.in_a_process import opened_with
from tests.api.web import make_web

__all__ = ["people_tables", "work_tables"]  # their tables are part of Base


def _tables(engine: Engine) -> dict[str, Any]:
    """Columns, keys and indexes of every table, as the database tells them."""
    found = inspect(engine)
    return {
        table: {
            "columns": {
                c["name"]: (str(c["type"]), c["nullable"], c.get("default")) for c in found.get_columns(table)
            },
            "key": sorted(found.get_pk_constraint(table)["constrained_columns"]),
            "others": sorted(
                (k["constrained_columns"], k["referred_table"], str(k["options"]))
                for k in found.get_foreign_keys(table)
            ),
            "unique": sorted(u["column_names"] for u in found.get_unique_constraints(table)),
            "indexes": sorted(
                (i["name"], i["column_names"], bool(i["unique"])) for i in found.get_indexes(table)
            ),
        }
        for table in sorted(found.get_table_names())
    }


def test_a_new_database_is_as_the_migrations_make_it(tmp_path: Path, database_url: str) -> None:
    url = Settings(data=tmp_path, database_url=database_url).state_url
    new = open_database(url)
    by_code = _tables(new.engine)
    assert by_code.pop("alembic_version")
    assert bool(by_code.pop("row_marks", None)) == new.is_sqlite  # made beside the tables
    with new.engine.begin() as connection:
        METADATA.drop_all(connection)
        connection.execute(text("DROP TABLE alembic_version"))
        connection.execute(text("DROP TABLE IF EXISTS row_marks"))
    upgrade(new.engine)
    by_migrations = _tables(new.engine)
    assert by_migrations.pop("alembic_version")
    assert by_code == by_migrations
    with new.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert context.get_current_revision() == HEAD
        differences = compare_metadata(context, METADATA)
    new.close()
    assert differences == []


def test_the_statements_for_sqlite_are_the_tables() -> None:
    """Write the file anew with: python -m fieldfare.api.state.schema"""
    assert SCHEMA.read_text(encoding="utf-8") == sqlite_script()


def test_head_is_the_newest_migration() -> None:
    script = ScriptDirectory(str(Path(people_tables.__file__).parent / "migrations"))
    assert script.get_current_head() == HEAD


def test_an_older_database_is_brought_up_and_keeps_its_rows(tmp_path: Path, database_url: str) -> None:
    url = Settings(data=tmp_path, database_url=database_url).state_url
    engine = create_engine(url)
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    upgrade(engine, "0001")
    assert not inspect(engine).has_table("alerts")
    with engine.begin() as connection:
        connection.execute(
            text("INSERT INTO sites VALUES ('elm', 'a file', '2026-01-01 00:00:00', '2026-01-01 00:00:00')")
        )
    engine.dispose()
    database = open_database(url)
    with database.read() as session:
        row = session.get_one(SiteRow, "elm")
        assert (row.file, row.added.isoformat()) == ("a file", "2026-01-01T00:00:00+00:00")
    assert inspect(database.engine).has_table("alerts")
    database.close()


def test_processes_that_open_a_new_database_at_once_all_get_it(tmp_path: Path, database_url: str) -> None:
    url = Settings(data=tmp_path, database_url=database_url).state_url
    with ProcessPoolExecutor(4, mp_context=multiprocessing.get_context("spawn")) as pool:
        assert list(pool.map(opened_with, [url] * 4)) == ["opened with 0"] * 4


def test_a_write_that_fails_leaves_nothing(either_service: Service) -> None:
    moment = datetime.now(UTC)

    def half_done() -> None:
        with either_service.database.write() as session:
            session.add(SiteRow(id="elm", file="", added=moment, updated=moment))
            session.flush()
            raise RuntimeError("in the middle")

    with pytest.raises(RuntimeError):
        half_done()
    assert either_service.sites.ids() == []


def test_removing_a_site_takes_everything_that_hangs_on_it(either_service: Service) -> None:
    from fieldfare.api.alerts.alerts import Alerts
    from fieldfare.api.people.access import COMMAND_LINE

    add_site(either_service, "elm")
    alerts = Alerts(either_service.database)
    finding = {"code": "frost_risk", "severity": "urgent", "headline": "x", "until": None}
    (happened,) = alerts.look("elm", [finding], datetime.now(UTC))
    alerts.acknowledge(happened.alert, COMMAND_LINE)
    either_service.sites.remove("elm")
    with either_service.database.read() as session:
        for table in Base.metadata.sorted_tables:
            if table.name != "audit":
                assert session.query(table).count() == 0, table.name


def test_cards_follow_the_site_files(service: Service) -> None:
    add_site(service, "elm")
    (first,) = (card.zone for card in service.sites.cards())
    text = service.sites.get("elm").file.replace(f'timezone = "{first.key}"', 'timezone = "Europe/Lisbon"')
    assert "Lisbon" in text
    service.sites.add([(text, parse_site(text))])
    assert [(card.id, card.zone.key) for card in service.sites.cards()] == [("elm", "Europe/Lisbon")]
    service.sites.remove("elm")
    assert service.sites.cards() == []


def test_a_removed_site_leaves_no_byte_in_the_file(service: Service) -> None:
    add_site(service, "elm")
    service.sites.remove("elm")
    data = service.settings.data
    for path in data.glob("state.sqlite*"):
        assert b"Elm" not in path.read_bytes(), path.name


@pytest.mark.parametrize(
    ("url", "said"),
    [
        ("mysql://x/y", "SQLite or PostgreSQL"),
        ("nonsense", "can't be read"),
        ("postgresql://nobody@127.0.0.1:1/x", "can't be opened"),
    ],
)
def test_a_database_that_can_not_be_used_is_told_in_one_line(url: str, said: str) -> None:
    with pytest.raises(InputError, match=said) as caught:
        open_database(Settings(database_url=url).state_url)
    assert len(str(caught.value).splitlines()) == 1


def test_what_a_database_can_t_hold_is_refused_and_no_fault(either_service: Service) -> None:
    """SQLite keeps a NUL in a text; PostgreSQL has none (manual, 8.3, character types)."""
    web = make_web(either_service)
    new = {"email": "a\0@heating.example", "name": "New", "role": "engineer"}
    asked = [
        web["nobody"].post("/sign-in", data={"email": new["email"], "password": "x"}),
        web["installer"].get("/?q=a%00b"),
        web["installer"].get("/?q=%00&sort=cost"),
        web["installer"].post(f"{PREFIX}/people", json=new),
    ]
    assert all(answer.status_code < 500 for answer in asked), [answer.text[:200] for answer in asked]


def test_a_file_that_is_no_database_is_told(tmp_path: Path) -> None:
    (tmp_path / "state.sqlite").write_bytes(b"this is a letter, not a database" * 100)
    with pytest.raises(InputError, match="not a database"):
        open_database(Settings(data=tmp_path).state_url)


def test_the_state_is_read_while_somebody_writes(service: Service) -> None:
    add_site(service, "elm")
    other = sqlite3.connect(service.settings.data / "state.sqlite")
    _prepare_sqlite(other, None)
    other.execute("BEGIN IMMEDIATE")
    other.execute("UPDATE sites SET file = 'half done'")
    assert service.sites.get("elm").site.id == "elm"
    other.execute("ROLLBACK")
    other.close()
