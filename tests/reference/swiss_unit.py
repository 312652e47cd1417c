"""The open data's Swiss unit, its part of 2021, through the command line.

Source: Brudermueller, Kreft, Fleisch, Staake (2023), Applied Energy 350, 121734; data published with the
paper, MIT licence. The folder stands beside the project.
"""

from __future__ import annotations

import json
import tempfile
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path
from typing import Any

from fieldfare.analysis.facts.tables import Facts
from tests.reference.score import run

_NAME = Path("shared") / "data" / "swiss-heat-pump-15min-2021.csv"
FILE = next(
    (p / _NAME for p in Path(__file__).parents if (p / _NAME).exists()), Path(__file__).parents[3] / _NAME
)
FIRST, LAST = date(2021, 1, 1), date(2021, 12, 31)
SITE = """[site]
id = "swiss-unit"
name = "Swiss unit"
timezone = "Europe/Zurich"

[heat_pump]
source = "air"

[hot_water]
setpoint_c = 50.0

[csv]
time_column = "Timestamp"
timezone = "Europe/Zurich"
time_format = "%Y-%m-%d %H:%M:%S"

[[point]]
id = "unit"
quantity = "heat_pump_electricity"
as = "interval"
unit = "kWh"
column = "Energy_kWh"

[[point]]
id = "outdoor"
quantity = "outdoor_temperature"
as = "gauge"
unit = "degC"
column = "daily_avgTmp"
"""


@cache
def facts() -> Facts:
    """Facts of the year."""
    from fieldfare.analysis.facts.build import build_facts
    from fieldfare.analysis.plant.load import parse_site
    from fieldfare.collector.csv import ingest_csv
    from fieldfare.collector.store.local import LocalStore

    site = parse_site(SITE)
    with tempfile.TemporaryDirectory(prefix="swiss-") as name:
        folder = Path(name)
        store = LocalStore(folder / "readings")
        ingest_csv(site, FILE, store, rejects_dir=folder, now=datetime(2026, 1, 1, tzinfo=UTC))
        found = build_facts(site, store.read(site.id), FIRST, LAST)
        store.close()
    return found


def said() -> tuple[dict[str, Any], str]:
    """What `analyse` says of the year: the document and the text."""
    with tempfile.TemporaryDirectory(prefix="swiss-") as folder:
        data = str(Path(folder) / "data")
        (Path(folder) / "site.toml").write_text(SITE)
        steps = (["site", "add", f"{folder}/site.toml"], ["ingest", "swiss-unit", str(FILE)])
        for step in steps:
            status, _, errors = run(data, *step)
            assert status == 0, errors
        _, document, _ = run(data, "analyse", "swiss-unit", "--format", "json")
        _, text, _ = run(data, "analyse", "swiss-unit")
    return json.loads(document), text
