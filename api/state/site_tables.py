"""Tables of sites and of values calculated from their readings.

Plain tables without mapped classes: every command reads them, and SQLAlchemy's ORM takes longer to load than
such a command takes to run.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Date,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    SmallInteger,
    String,
    Table,
    Text,
)

from fieldfare.api.state.moments import UtcTime
from fieldfare.dashboards.fleet.orders import ORDERS

METADATA = MetaData()
"""All tables of the state database; `fieldfare.api.state.tables.Base` shares it."""


def _site_key() -> Column[str]:
    return Column("site", String(40), ForeignKey("sites.id", ondelete="CASCADE"), primary_key=True)


SITES = Table(
    "sites",
    METADATA,
    Column("id", String(40), primary_key=True),
    Column("file", Text, nullable=False),
    Column("added", UtcTime, nullable=False),
    Column("updated", UtcTime, nullable=False),
)
"""Site files as text."""

FACT_DAYS = Table(
    "fact_days",
    METADATA,
    _site_key(),
    Column("day", Date, primary_key=True),
    Column("fingerprint", String(32), nullable=False),
)
"""Local days with stored facts, and the fingerprint of their inputs."""

FACT_CHUNKS = Table(
    "fact_chunks",
    METADATA,
    _site_key(),
    Column("kind", String(16), primary_key=True),
    Column("month", String(7), primary_key=True),
    Column("payload", LargeBinary, nullable=False),
)
"""One facts table of one site and month, packed by `fact_tables`."""

KEPT_RESULTS = Table(
    "kept_results",
    METADATA,
    _site_key(),
    Column("first", Date, primary_key=True),
    Column("last", Date, primary_key=True),
    Column("fingerprint", String(32), nullable=False),
    Column("made", UtcTime, nullable=False),
    Column("rolling", Boolean, nullable=False),
    Column("payload", LargeBinary, nullable=False),
)
"""Results of a period, valid while the fingerprint holds. `rolling` marks those of the last year, as the
nightly work makes them: the newest stands for the site in the fleet."""

_BY_CODE_POINT = Text().with_variant(Text(collation="C"), "postgresql")
"""Text that sorts alike in SQLite, PostgreSQL and Python."""

FLEET_SUMMARIES = Table(
    "fleet_summaries",
    METADATA,
    _site_key(),
    Column("good_until", UtcTime, nullable=False),
    Column("verdict", String(16), nullable=False),
    Column("visit", String(8), nullable=False),
    Column("silent", Boolean, nullable=False),
    Column("settling", Boolean, nullable=False),
    Column("free", Boolean, nullable=False),
    Column("dealt", Boolean, nullable=False),
    Column("waiting", Boolean, nullable=False),
    Column("tier", SmallInteger, nullable=False),
    Column("lost", Float, nullable=False),
    Column("sure", Float, nullable=False),
    Column("cost", Float, nullable=False),
    Column("since", String(10), nullable=False),
    Column("efficiency", Float, nullable=False),
    Column("heard", BigInteger, nullable=False),
    Column("name", _BY_CODE_POINT, nullable=False),
    Column("no_area", Boolean, nullable=False),
    Column("area", _BY_CODE_POINT, nullable=False),
    Column("currency", String(3), nullable=True),
    Column("money", Float, nullable=False),
    Column("search", Text, nullable=False),
    Column("failed", Text, nullable=True),
    Column("brief", LargeBinary, nullable=True),
    Column("winter", LargeBinary, nullable=True),
)
"""What lists of a fleet show of each home, written when its result is made. A row is made anew after
`good_until`: when a silence or a decision begins or ends to count; what changes a home sets it to the past.

waiting : there is no result yet. failed : why nothing is known. brief : the rolling result without its
days, winter : its line before winter, both packed JSON
"""

LIVE_STATES = Table(
    "live_states",
    METADATA,
    _site_key(),
    Column("name", Text, nullable=False),
    Column("updated", UtcTime, nullable=False),
    Column("heard", BigInteger, nullable=True),
    Column("state", String(16), nullable=False),
    Column("worked", BigInteger, nullable=True),
    Column("since", BigInteger, nullable=True),
    Column("plant", LargeBinary, nullable=False),
    Column("newest", LargeBinary, nullable=False),
)
"""What each unit did at its last readings, written by `fieldfare.api.core.live_states`."""

FILE_IMPORTS = Table(
    "file_imports",
    METADATA,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("site", String(40), ForeignKey("sites.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("time", UtcTime, nullable=False),
    Column("who", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("readings", Integer, nullable=False),
    Column("replaced", Integer, nullable=False),
    Column("first", BigInteger, nullable=True),
    Column("last", BigInteger, nullable=True),
    Column("after_files", Boolean, nullable=False),
    Column("serials", Text, nullable=False),
)
"""Files that readings were imported from, by `fieldfare.api.records.file_imports`.

first, last : times of their readings [ms]. after_files : until this file the newest reading was a file's too,
or there was none. serials : JSON, column -> serial number of a device
"""

for _order in ORDERS.values():
    Index(f"fleet_summaries_by_{_order[0].removeprefix('no_')}", *(FLEET_SUMMARIES.c[key] for key in _order))
Index("fleet_summaries_stale", FLEET_SUMMARIES.c.good_until)
Index(
    "fleet_summaries_counted",
    *(FLEET_SUMMARIES.c[c] for c in ("verdict", "silent", "waiting", "visit", "currency", "money", "heard")),
)
