"""Start-up time of commands and service, compared with the bare interpreter and a bare web application.

    python -m tests.benchmarks.bench_startup [--json FILE]

Each is a process of its own, measured by its processor time; the least of some runs counts. Read the ratios,
not the seconds. Commands on a site stand beside a process that imports SQLAlchemy. The service is measured by
the clock, beside a bare web application.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.api.sites import readings, site_text, write_csv
from tests.benchmarks.bench_service import ROOT, SERVE
from tests.services import end, free_port, wait_for_port

REPEATS = 5
COMMAND = "import sys; from fieldfare.api.cli import main; sys.exit(main())"
BARE_WEB = (
    "import sys, fastapi, uvicorn; app = fastapi.FastAPI(); "
    "uvicorn.run(app, host='127.0.0.1', port=int(sys.argv[1]), log_level='error')"
)


SHORT = ("site add {folder}/alder.toml", "site list", "fleet", "analyse alder-row")
"""Commands that make nothing anew."""


def run(*command: str) -> None:
    """Run a process as it runs where it is installed: with bytecode kept, whatever this machine's setting."""
    env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    subprocess.run([sys.executable, *command], cwd=ROOT, env=env, check=True, stdout=subprocess.DEVNULL)


def until_it_listens(program: str, *arguments: str) -> float:
    """Time [s] from the start of a process to the first connection that it takes."""
    port = free_port()
    began = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-c", program, *arguments, str(port)], cwd=ROOT, stdout=subprocess.DEVNULL
    )
    try:
        wait_for_port(port, process)
        return time.perf_counter() - began
    finally:
        end(process)


def processor_time(*command: str, repeats: int = REPEATS) -> float:
    """Least processor time [s], user and system, of some runs of a process."""
    found = []
    for _ in range(repeats):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        run(*command)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        found.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(found)


def short_commands() -> list[dict[str, Any]]:
    """what, seconds of processor time, bare [s]: an import of SQLAlchemy."""
    bare = processor_time("-c", "import sqlalchemy")
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "alder.toml").write_text(site_text(), encoding="utf-8")
        write_csv(Path(folder) / "readings.csv", readings())
        start = ("-c", COMMAND, "--data", f"{folder}/data")
        for words in ("site add {folder}/alder.toml", "ingest alder-row {folder}/readings.csv", "fleet"):
            run(*start, *words.format(folder=folder).split())
        run(*start, "analyse", "alder-row")
        for words in SHORT:
            took = processor_time(*start, *words.format(folder=folder).split())
            rows.append({"what": f"fieldfare {' '.join(words.split()[:2])}", "seconds": took, "bare": bare})
    return rows


def measure() -> list[dict[str, Any]]:
    """what, seconds, bare [s]; ratio where both are processor time."""
    bare = processor_time("-c", "pass")
    web = min(until_it_listens(BARE_WEB) for _ in range(REPEATS))
    rows = []
    for words in ("--version", "--help"):
        took = processor_time("-c", COMMAND, words)
        rows.append({"what": f"fieldfare {words}", "seconds": took, "bare": bare})
    rows += short_commands()
    served = []
    for _ in range(REPEATS):
        with tempfile.TemporaryDirectory() as folder:
            served.append(until_it_listens(SERVE, folder))
    for row in rows:
        row["ratio"] = row["seconds"] / row["bare"]
    return [*rows, {"what": "the service, to its first connection", "seconds": min(served), "bare": web}]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    rows = measure()
    print(f"{'what':<40}{'seconds':>9}{'bare':>9}{'ratio':>8}")
    for row in rows:
        print(
            f"{row['what']:<40}{row['seconds']:>9.3f}{row['bare']:>9.3f}{row['seconds'] / row['bare']:>8.2f}"
        )
    if args.json:
        args.json.write_text(json.dumps(rows, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
