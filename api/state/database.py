"""State database: open, migrate, and use it in short transactions."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DatabaseError, NoSuchModuleError

from fieldfare.analysis.errors import InputError
from fieldfare.api.state.row_marks import define, install, is_marked
from fieldfare.collector.store.files import make_private

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

HEAD = "0011"
"""The newest migration. A database at this one is used without loading the migrations."""
SCHEMA = Path(__file__).with_name("schema.sql")
"""The tables of a new SQLite database; `fieldfare.api.state.schema` writes it."""
BUSY_S = 30.0
MIGRATION_LOCK = 0x6669656C64  # arbitrary lock id of this product


class Database:
    """Short transactions on the state database. Thread-safe, but not fork-safe."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.is_sqlite: bool = engine.dialect.name == "sqlite"

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A read-only transaction."""
        from sqlalchemy.orm import Session

        with Session(self.engine, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """A write transaction: committed when the block ends, rolled back on an exception."""
        from sqlalchemy.orm import Session

        with self.writing() as connection, Session(bind=connection, expire_on_commit=False) as session:
            yield session
            session.flush()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Like `read`, for Core statements without the ORM, which nightly work of every site uses."""
        with self.engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Like `write`, for Core statements without the ORM."""
        connection = self.engine.connect().execution_options(immediate=True)
        try:
            with connection.begin():
                yield connection
        finally:
            connection.close()

    def close(self) -> None:
        self.engine.dispose()


def open_database(url: str) -> Database:
    """Open the state database; create or migrate it where needed.

    url : SQLAlchemy's address, sqlite or postgresql
    Returns Database. Raises InputError if the address can't be used or the server can't be reached.
    """
    try:
        parsed = make_url(url)
        if parsed.get_backend_name() not in ("sqlite", "postgresql"):
            raise InputError(f"the state database is SQLite or PostgreSQL, not {parsed.get_backend_name()}")
        if parsed.get_backend_name() == "sqlite" and parsed.database:
            Path(parsed.database).parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            make_private(Path(parsed.database))
            _make_file(parsed.database)
        engine = _engine(parsed, os.getpid())
    except (ArgumentError, NoSuchModuleError) as error:
        raise InputError(f"the state database's address can't be read: {error}") from None
    except ModuleNotFoundError as error:
        raise InputError(f"the state database needs the Python package {error.name}") from None
    except OSError as error:
        raise InputError(f"the data folder can't be used: {error.strerror}: {error.filename}") from None
    try:
        with engine.connect() as connection:
            current = _version(connection)
            marked = engine.dialect.name != "sqlite" or is_marked(connection, HEAD)
    except (DatabaseError, UnicodeDecodeError) as error:  # SQLite quotes a damaged schema as it is
        first_line = str(getattr(error, "orig", error)).strip().splitlines()[0]
        where = parsed.database if parsed.get_backend_name() == "sqlite" else "the state database"
        raise InputError(f"{where} can't be opened: {first_line}") from None
    if current is None:
        _create(engine)
    elif current != HEAD:
        upgrade(engine)
    if not marked:
        with _alone(engine) as connection:
            if not is_marked(connection, HEAD):
                install(connection, HEAD)
    return Database(engine)


@lru_cache(maxsize=8)
def _engine(url: URL, process: int) -> Engine:
    """One engine per address and process, which caches compiled statements.

    Workers open the database for every site. Closing a Database closes the connections, not the engine.
    """
    engine = create_engine(url, pool_pre_ping=url.get_backend_name() == "postgresql")
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    return engine


def upgrade(engine: Engine, to: str = "head") -> None:
    """Migrate the database; several processes may try at once."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.set_main_option("path_separator", "os")
    with _alone(engine) as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, to)


def _create(engine: Engine) -> None:
    """Fill an empty database, unless another process has just done so.

    The migrations give the same schema (a test compares them) but take several times as long. For SQLite,
    statements from a file also avoid importing the mapped classes.
    """
    with _alone(engine) as connection:
        if _version(connection) is not None:
            return
        if engine.dialect.name == "sqlite":
            for statement in SCHEMA.read_text(encoding="utf-8").split(";\n")[:-1]:
                connection.exec_driver_sql(statement)
        else:
            from fieldfare.api.state.schema import create_tables

            create_tables(connection)
        connection.execute(text("INSERT INTO alembic_version VALUES (:head)"), {"head": HEAD})


@contextmanager
def _alone(engine: Engine) -> Iterator[Connection]:
    """A transaction in which no other process changes the tables."""
    connection = engine.connect().execution_options(immediate=True)
    try:
        with connection.begin():
            if engine.dialect.name == "postgresql":
                connection.execute(text("SELECT pg_advisory_xact_lock(:n)"), {"n": MIGRATION_LOCK})
            yield connection
    finally:
        connection.close()


def _version(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


def _make_file(path: str) -> None:
    """Set WAL on a new file; retry, as two processes at once can fail."""
    for attempt in range(20):
        try:
            connection = sqlite3.connect(path, timeout=BUSY_S)
            try:
                connection.execute("PRAGMA journal_mode=WAL")
            finally:
                connection.close()
            return
        except sqlite3.OperationalError as error:
            if attempt == 19 or "locked" not in str(error):
                raise InputError(f"{path}: {error}") from None
            time.sleep(0.05)
        except sqlite3.DatabaseError as error:
            raise InputError(f"{path}: {error}") from None


def _prepare_sqlite(connection: Any, record: Any) -> None:
    connection.isolation_level = None  # begin transactions below, not in the driver
    define(connection)
    for pragma in (
        "busy_timeout = 30000",
        "foreign_keys = ON",
        "synchronous = FULL",
        "secure_delete = ON",
        "recursive_triggers = ON",  # makes REPLACE fire the delete triggers
    ):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    immediate = connection.get_execution_options().get("immediate")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if immediate else "BEGIN")
