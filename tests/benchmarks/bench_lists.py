"""The first page of the list of a fleet, from the table of summaries and as it was before from every result.

    python -m tests.benchmarks.bench_lists [--rows 10000,100000] [--homes 3] [--json FILE]

A few made homes stand for all; their rows are copied in the database. Processor time of this process, beside
the yardstick; "before" puts every home's entry together from its packed result, as lists did, over as many
homes as --before says, and is told for all.
"""

from __future__ import annotations

import argparse
import json
import re
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import orjson
from sqlalchemy import insert, select

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Samples
from fieldfare.api.core.fleet_table import Chosen
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.state.site_tables import FLEET_SUMMARIES, SITES
from fieldfare.dashboards.fleet.choice import PER_PAGE, asked_of, fitting
from fieldfare.dashboards.fleet.entries import worst_first
from tests.benchmarks.bench_fleets import FIRST, home
from tests.benchmarks.yardstick import measured, pace

QUERIES = {
    "worst first": {},
    "costliest": {"sort": "cost"},
    "by name": {"sort": "name"},
    "a visit": {"show": "drive"},
    "a search": {"q": "row 77"},
}
AT_ONCE, DAYS = 5000, 40
_NAME = re.compile(r'^name = ".*"$', re.MULTILINE)


def fill(service: Service, homes: list[Any], count: int) -> None:
    """Rows of so many homes: a few are written with their results, the others are copies of these."""
    now = datetime.now(UTC)
    heard = {"outdoor": Samples(np.array([round(now.timestamp() * 1000)]), np.array([5.0]))}
    for toml, result, _ in homes:
        service.sites.add([(toml, site := parse_site(toml))])
        service.store.append(site.id, heard)
        last = datetime.fromisoformat(result["period"]["to"]).date()
        service.results.keep(site.id, FIRST, last, "", orjson.dumps(result | {"site": site.id}), rolling=True)
    copied(service, count)


def copied(service: Service, count: int) -> None:
    """Copies of the rows that are there, until there are so many."""
    now = datetime.now(UTC)
    with service.database.reading() as db:
        rows = [dict(row) for row in db.execute(select(FLEET_SUMMARIES)).mappings()]
        files = dict(db.execute(select(SITES.c.id, SITES.c.file)).all())
    with service.database.writing() as db:
        for start in range(0, count - len(rows), AT_ONCE):
            copies, sites = [], []
            for n in range(start, min(start + AT_ONCE, count - len(rows))):
                like = rows[n % len(rows)]
                site_id, name, text = f"row-{n:06d}", f"row {n:06d}", files[like["site"]]
                file = text.replace(f'"{like["site"]}"', f'"{site_id}"', 1)
                file = _NAME.sub(f'name = "{name}"', file, count=1)
                sites.append({"id": site_id, "file": file, "added": now, "updated": now})
                search = like["search"].replace(like["name"], name).replace(like["site"], site_id)
                named = {"name": name, "search": search}
                copies.append(like | {"site": site_id, "cost": like["cost"] - n % 977} | named)
            db.execute(insert(SITES), sites)
            db.execute(insert(FLEET_SUMMARIES), copies)


def first_page(service: Service, query: dict[str, str]) -> list[Any]:
    """What the route does before it paints."""
    asked, table = asked_of(query), service.fleet
    table.refresh()
    table.total(Chosen(asked))
    table.counts()
    return worst_first(table.rows(Chosen(asked), limit=PER_PAGE), table.now())


def from_every_result(service: Service, query: dict[str, str], most: int) -> list[Any]:
    """The page as it was made before: the entry of every home, then the choice."""
    entries = worst_first(service.fleet.rows(Chosen(), limit=most), service.fleet.now())
    return fitting(entries, asked_of(query))[:PER_PAGE]


def measure(homes: list[Any], count: int, before: int) -> dict[str, Any]:
    with tempfile.TemporaryDirectory() as folder, opened(Settings(data=Path(folder) / "data")) as service:
        fill(service, homes, count)
        first_page(service, {})
        row: dict[str, Any] = {"rows": count, "lists": {}}
        for name, query in QUERIES.items():
            cost, shown = measured(lambda q=query: first_page(service, q))
            assert shown or name == "a visit", name
            row["lists"][name] = {"s": cost.spent, "paces": cost.spent / cost.pace}
        most = min(before, count)
        cost, _ = measured(lambda: from_every_result(service, {}, most))
        row["before_s"] = cost.spent * count / most
        row["before_paces"] = cost.spent / cost.pace * count / most
    return row


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", default="10000,100000")
    parser.add_argument("--before", type=int, default=2000)
    parser.add_argument("--homes", type=int, default=3)
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    homes = [home(seed, DAYS) for seed in range(args.homes)]
    found = [measure(homes, int(count), args.before) for count in args.rows.split(",")]
    print(f"{DAYS} days a home; {pace() * 1000:.1f} ms of processor time are one pace of the yardstick")
    print(f"{'rows':>8} {'list':<14}{'ms':>9}{'paces':>9}{'before / now':>14}")
    for row in found:
        for name, told in row["lists"].items():
            ratio = row["before_paces"] / told["paces"]
            print(f"{row['rows']:>8} {name:<14}{told['s'] * 1e3:>9.1f}{told['paces']:>9.1f}{ratio:>14.1f}")
    if args.json:
        args.json.write_text(json.dumps(found, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
