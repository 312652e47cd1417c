"""A real PostgreSQL on a free loopback port, in a temporary folder, ended with the test run."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.services import binary, end, free_port, wait_for_port


@contextmanager
def postgres() -> Iterator[str]:
    """Gives the server's address without a database's name. The server refuses to run as root, so another
    user runs it."""
    folders = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    initdb, server = binary("initdb", *folders), binary("postgres", *folders)
    who = pwd.getpwnam("nobody") if os.geteuid() == 0 else None
    folder = Path(tempfile.mkdtemp(prefix="pg-"))
    own = {"user": who.pw_uid, "group": who.pw_gid, "extra_groups": []} if who else {}
    port = free_port()
    data = folder / "data"
    if who:
        os.chown(folder, who.pw_uid, who.pw_gid)
    try:
        subprocess.run(
            [initdb, "-D", str(data), "-U", "fieldfare", "--auth=trust", "-E", "UTF8", "--no-sync"],
            check=True,
            capture_output=True,
            cwd=folder,
            env={**os.environ, "HOME": str(folder)},
            **own,
        )
        process = subprocess.Popen(
            [server, "-D", str(data), "-p", str(port), "-h", "127.0.0.1", "-k", str(folder), "-F"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            cwd=folder,
            **own,
        )
        try:
            wait_for_port(port, process)
            yield f"postgresql://fieldfare@127.0.0.1:{port}"
        finally:
            end(process)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def new_database(address: str, name: str) -> str:
    """Make a database. Returns its address."""
    import psycopg

    with psycopg.connect(f"{address}/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    return f"{address}/{name}"
