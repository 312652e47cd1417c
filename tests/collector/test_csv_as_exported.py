"""Exports of gateways, spreadsheets and portals: preambles, encodings, split dates, serial dates and grouped
thousands."""

from __future__ import annotations

import gzip
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from fieldfare.analysis.errors import InputError, SiteError
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.quantities import MODES
from fieldfare.analysis.plant.site import Site
from fieldfare.api.cli.readings import _summary_text
from fieldfare.collector.csv import Ingested, ingest_csv
from fieldfare.collector.csv.column_mapping import points_toml, proposal_toml, propose
from fieldfare.collector.csv.source import head_of, head_text
from fieldfare.collector.csv.time_words import LANGUAGES, plain_time
from fieldfare.collector.store.local import LocalStore

NOW = datetime(2026, 1, 10, 12, 0, tzinfo=UTC)
HEAD = '[site]\nid = "ash-lane"\nname = "Ash"\ntimezone = "Europe/Berlin"\n'
POINTS = """
[[point]]
id = "heat"
quantity = "heat_output"
as = "register"
unit = "kWh"
column = "Wärme"
[[point]]
id = "flow"
quantity = "flow_temperature"
column = "Vorlauf"
"""
ROWS = {"heat": [("23:00", 1234.5), ("23:15", 1235.25)], "flow": [("23:00", 35.5), ("23:15", 36.0)]}
"""Of 1 December 2025, 0:00 and 0:15 in Berlin."""


def site(csv: str) -> Site:
    return parse_site(f"{HEAD}[csv]\n{csv}\n{POINTS}")


def taken(tmp_path: Path, csv: str, text: str | bytes) -> tuple[Ingested, dict[str, list[tuple[str, float]]]]:
    store = LocalStore(tmp_path / "store")
    path = tmp_path / "export.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    told = ingest_csv(site(csv), path, store, rejects_dir=tmp_path / "rejects", now=NOW)
    held = {
        point: [
            (datetime.fromtimestamp(t / 1000, UTC).strftime("%H:%M"), v)
            for t, v in zip(s.time.tolist(), s.value.tolist(), strict=True)
        ]
        for point, s in store.read("ash-lane").items()
    }
    return told, held


GERMAN = 'timezone = "Europe/Berlin"\ndelimiter = ";"\ndecimal = ","\n'
GERMAN += 'time_column = "Zeit"\ntime_format = "%d.%m.%Y %H:%M"'
TABLE = "Zeit;Wärme;Vorlauf\n01.12.2025 00:00;1234,5;35,5\n01.12.2025 00:15;1235,25;36,0\n"


@pytest.mark.parametrize(
    "above",
    [
        "sep=;\n",
        "Anlage;Haus am Bach\nErstellt am;05.12.2025\n\n",
        "\n\nMesswerte der Woche\n",
        "Zeit von;01.12.2025\n",
    ],
)
def test_lines_above_the_header_are_passed_over(tmp_path: Path, above: str) -> None:
    told, held = taken(tmp_path, GERMAN, above + TABLE)
    assert held == ROWS
    assert (told.rows, told.rejected) == (2, 0)


def test_a_refused_row_keeps_its_line_number_below_a_preamble(tmp_path: Path) -> None:
    told, _ = taken(tmp_path, GERMAN, "Haus\n\n" + TABLE + "01.12.2025 00:30;x;36,0\n")
    assert told.rejects_file is not None
    assert told.rejects_file.read_text(encoding="utf-8").splitlines()[1].startswith("6,")


@pytest.mark.parametrize(
    ("encoding", "csv"),
    [
        ("utf-8-sig", ""),
        ("utf-16", ""),
        ("utf-16-le", '\nencoding = "utf-16"'),
        ("windows-1252", '\nencoding = "windows-1252"'),
    ],
)
@pytest.mark.parametrize("pack", [bytes, gzip.compress])
def test_encodings(tmp_path: Path, encoding: str, csv: str, pack: type[bytes]) -> None:
    told, held = taken(tmp_path, GERMAN + csv, pack(TABLE.encode(encoding)))
    assert held == ROWS
    assert told.rejected == 0


def test_a_byte_that_is_no_character_costs_its_row(tmp_path: Path) -> None:
    text = TABLE.encode("windows-1252").replace(b"36,0", b"36,\x810")
    told, held = taken(tmp_path, GERMAN + '\nencoding = "windows-1252"', text)
    assert held["flow"] == ROWS["flow"][:1]
    assert told.reasons == {"not a number": 1}


@pytest.mark.parametrize("decimal", [".", ","])
def test_date_and_time_in_two_columns_and_grouped_thousands(tmp_path: Path, decimal: str) -> None:
    thousands = "," if decimal == "." else "."
    heat = [
        f"{v:,.2f}" if decimal == "." else f"{v:,.2f}".translate({44: ".", 46: ","})
        for v in (1234.5, 1235.25)
    ]
    flow = [f"{v:.1f}".replace(".", decimal) for v in (35.5, 36.0)]
    csv = 'date_column = "Date"\ntime_column = "Time"\ntime_format = "%m/%d/%Y %I:%M %p"\ndelimiter = ";"\n'
    csv += f'decimal = "{decimal}"\nthousands = "{thousands}"\ntimezone = "Europe/Berlin"'
    text = "Date;Time;Wärme;Vorlauf\n"
    text += f"12/01/2025;12:00 AM;{heat[0]};{flow[0]}\n12/01/2025;12:15 AM;{heat[1]};{flow[1]}\n"
    told, held = taken(tmp_path, csv, text)
    assert held == ROWS
    assert told.ignored_columns == ()


@pytest.mark.parametrize(
    ("sign", "written"), [(" ", "1\u00a0234,5"), (" ", "1\u202f234,5"), ("'", "1\u2019234,5")]
)
def test_thousands_by_spaces_and_apostrophes(tmp_path: Path, sign: str, written: str) -> None:
    _, held = taken(tmp_path, f'{GERMAN}\nthousands = "{sign}"', TABLE.replace("1234,5", written))
    assert held == ROWS


def test_a_group_that_is_no_thousand_is_refused(tmp_path: Path) -> None:
    told, held = taken(tmp_path, f'{GERMAN}\nthousands = "\'"', TABLE.replace("1234,5", "1'23,5"))
    assert told.reasons == {"not a number": 1}
    assert held["heat"] == ROWS["heat"][1:]


def test_grouped_thousands_that_nobody_declared_are_refused_with_the_key(tmp_path: Path) -> None:
    told, _ = taken(tmp_path, GERMAN, TABLE.replace("1234,5", "1.234,5"))
    assert told.rejects_file is not None
    assert "set thousands = '.' in the site's [csv]" in told.rejects_file.read_text(encoding="utf-8")


@pytest.mark.parametrize("decimal", [".", ","])
def test_days_as_spreadsheets_count_them(tmp_path: Path, decimal: str) -> None:
    # 1 December 2025 is day 45992; in this system 2008-01-01 is 39448 (ECMA-376 Part 1, 18.17.4.1).
    assert (datetime(2008, 1, 1) - datetime(1899, 12, 30)).days == 39448  # noqa: DTZ001
    days = [f"{day:.6f}".replace(".", decimal) for day in (45992, 45992 + 15 / 1440)]
    csv = f'time_column = "Zeit"\ntime_format = "spreadsheet"\ndelimiter = ";"\ndecimal = "{decimal}"'
    csv += '\ntimezone = "Europe/Berlin"'
    heat, flow = (f"{v}".replace(".", decimal) for v in (1234.5, 35.5))
    text = f"Zeit;Wärme;Vorlauf\n{days[0]};{heat};{flow}\n{days[1]};x;{flow}\n"
    told, held = taken(tmp_path, csv, text)
    assert held == {"heat": [("23:00", 1234.5)], "flow": [("23:00", 35.5), ("23:15", 35.5)]}
    assert told.rejected == 1


@pytest.mark.parametrize(
    ("csv", "told"),
    [
        ('decimal = ","\nthousands = ","\ndelimiter = ";"', "thousands and decimal can't both be"),
        ('date_column = "time"', "date_column and time_column must differ"),
    ],
)
def test_what_contradicts_itself_is_refused(csv: str, told: str) -> None:
    with pytest.raises(SiteError, match=told):
        site(csv)


@pytest.mark.parametrize(
    ("raw", "found"),
    [
        (TABLE.encode("utf-16"), "utf-16"),
        (TABLE.encode("windows-1252"), "windows-1252"),
        (TABLE.encode("utf-8-sig"), "utf-8"),
    ],
)
def test_a_file_as_it_comes_is_proposed_and_then_read(tmp_path: Path, raw: bytes, found: str) -> None:
    text, encoding = head_text(raw)
    proposal = propose("Anlage;Haus\n\n" + text, encoding)
    assert (proposal.delimiter, proposal.decimal, encoding) == (";", ",", found)
    assert [c.quantity for c in proposal.columns] == ["heat_output", "flow_temperature"]


def test_two_columns_of_date_and_time_are_proposed_and_then_read(tmp_path: Path) -> None:
    text = 'Report,5 Dec 2025\nDate,Time,Heat kWh\n12/01/2025,12:00 AM,"1,234.5"\n'
    text += '12/13/2025,01:30 PM,"1,300.0"\n'
    proposal = propose(text)
    assert (proposal.date_column, proposal.time_column, proposal.time_format) == (
        "Date",
        "Time",
        "%m/%d/%Y %I:%M %p",
    )
    assert proposal.thousands == ","
    assert [(c.quantity, c.form) for c in proposal.columns] == [("heat_output", "interval")]
    form = {"time_format": proposal.time_format, "delimiter": ",", "thousands": ","}
    form |= {"date_column": "Date", "time_column": "Time"}
    form |= {"column.0": "Heat kWh", "quantity.0": "heat_output", "as.0": "register", "unit.0": "kWh"}
    made = parse_site(HEAD + points_toml(form))
    assert made.csv.date_column == "Date"


def test_the_proposal_of_a_real_looking_export_is_a_site_file_that_reads_it(tmp_path: Path) -> None:
    rows = [
        f"{45992 + n / 96:.6f};{5 + n % 3};{1200 + n * 0.31:.2f};{4300 + n:.1f};{35 + n % 4}"
        for n in range(96)
    ]
    text = "Report of the week\n\nTime;Outdoor (F);El;Heat;Flow;Remark\n" + "".join(f"{r};ok\n" for r in rows)
    path = tmp_path / "export.csv"
    path.write_text(text, encoding="utf-16")
    sections = proposal_toml(propose(*head_of(path), "Europe/Berlin"))
    made = parse_site(HEAD + sections)
    assert {p.id: (p.quantity, p.form, p.unit) for p in made.point} == {
        "outdoor": ("outdoor_temperature", "gauge", "degF"),
        "el": ("heat_pump_electricity", "register", "kWh"),
        "heat": ("heat_output", "register", "kWh"),
        "flow": ("flow_temperature", "gauge", "degC"),
    }
    assert sections.endswith('\n# not recognised: "Remark"\n')
    store = LocalStore(tmp_path / "store")
    told = ingest_csv(made, path, store, rejects_dir=tmp_path / "rejects", now=NOW)
    assert (told.readings, told.rejected) == (4 * 96, 0)


WORDS = {
    "en": {
        "Off": "off",
        "Heating": "heating",
        "DHW": "hot_water",
        "Defrost": "defrost",
        "Cooling": "cooling",
    },
    "de": {
        "Aus": "off",
        "Bereitschaft": "off",
        "Heizen": "heating",
        "Warmwasserbereitung": "hot_water",
        "Abtauen": "defrost",
        "Kühlen": "cooling",
    },
    "fr": {
        "Arrêt": "off",
        "Chauffage": "heating",
        "Eau chaude sanitaire": "hot_water",
        "Dégivrage": "defrost",
        "Refroidissement": "cooling",
    },
    "it": {
        "Spento": "off",
        "Riscaldamento": "heating",
        "Acqua calda": "hot_water",
        "Sbrinamento": "defrost",
        "Raffrescamento": "cooling",
    },
    "es": {"Apagado": "off", "Calefacción": "heating", "ACS": "hot_water", "Desescarche": "defrost"},
    "nl": {
        "Uit": "off",
        "Verwarmen": "heating",
        "Tapwater": "hot_water",
        "Ontdooien": "defrost",
        "Koelen": "cooling",
    },
    "pl": {"Wyłączony": "off", "Ogrzewanie": "heating", "CWU": "hot_water", "Odszranianie": "defrost"},
    "sv": {"Av": "off", "Uppvärmning": "heating", "Varmvatten": "hot_water", "Avfrostning": "defrost"},
    "mixed": {"heating_hot_water": "hot_water", "Stand-by": "off", "Heat pump heating": "heating"},
}
"""Words of controls' menus -> state (dictionaries; common practice, no source)."""


@pytest.mark.parametrize("words", WORDS.values(), ids=WORDS)
def test_words_of_a_state_column_are_proposed_with_their_state(words: dict[str, str], tmp_path: Path) -> None:
    rows = [f"2025-12-01T{n // 60:02d}:{n % 60:02d};{word}" for n, word in enumerate([*words] * 3)]
    path = tmp_path / "export.csv"
    path.write_text("\n".join(["Time;Operating mode", *rows]) + "\n", encoding="utf-8")
    made = parse_site(HEAD + proposal_toml(propose(*head_of(path), "Europe/Berlin")))
    assert dict(made.point[0].values) == {w: s for w, s in words.items() if w.lower() not in MODES}
    told = ingest_csv(made, path, LocalStore(tmp_path / "s"), rejects_dir=tmp_path / "r", now=NOW)
    assert told.rejected == 0


def test_a_mode_that_comes_late_in_the_file_is_found(tmp_path: Path) -> None:
    text = "Time;Mode\n" + "".join(f"2025-12-{1 + n // 24:02d}T{n % 24:02d}:00;Heizen\n" for n in range(400))
    (column,) = propose(text + "2025-12-20T00:00;Abtauung\n").columns
    assert column.values == (("Abtauung", "defrost"), ("Heizen", "heating"))


def test_words_that_nobody_knows_are_placeholders_that_are_refused_in_a_line(tmp_path: Path) -> None:
    text = "Time;Mode;Defrost active\n2025-12-01T00:00;3;ja\n2025-12-01T00:15;Sperre;nein\n"
    sections = proposal_toml(propose(text, zone="Europe/Berlin"))
    assert '"3" = "?"\n' in sections
    assert '"Sperre" = "?"\n' in sections
    assert '"ja" = "1"\n"nein" = "0"\n' in sections
    with pytest.raises(SiteError) as refused:
        parse_site(HEAD + sections)
    assert "say what '3' means: off, heating, hot_water, defrost, cooling" in str(refused.value)
    said = sections.replace('"3" = "?"', '"3" = "heating"').replace('"Sperre" = "?"', '"Sperre" = "off"')
    assert dict(parse_site(HEAD + said).point[0].values) == {"3": "heating", "Sperre": "off"}


@pytest.mark.parametrize("count", [41, 400])
def test_a_column_of_many_words_has_no_placeholders(count: int) -> None:
    rows = "".join(f"2025-12-{1 + n // 24:02d}T{n % 24:02d}:00;text {n}\n" for n in range(count))
    assert propose("Time;Status\n" + rows).columns[0].values == ()


ONE = "Zeit;Messwert\n01.12.2025 00:00;35,5\n01.12.2025 00:15;36,0\n"


def test_a_file_of_one_sensor_is_read_into_its_point(tmp_path: Path) -> None:
    store = LocalStore(tmp_path / "store")
    path = tmp_path / "sensor 7.csv"
    path.write_text(ONE, encoding="utf-8")
    told = ingest_csv(site(GERMAN), path, store, rejects_dir=tmp_path / "rejects", now=NOW, point="flow")
    assert (told.readings, told.missing_points) == (2, ())
    assert store.read("ash-lane")["flow"].value.tolist() == [35.5, 36.0]


@pytest.mark.parametrize(
    ("point", "text", "told"),
    [
        ("room", ONE, "ash-lane has no point 'room'; its points are heat, flow"),
        ("flow", ONE.replace("Messwert", "a;b"), "is wanted for flow; there are a, b"),
        ("flow", "Zeit\n01.12.2025 00:00\n", "is wanted for flow; there is none"),
    ],
)
def test_what_is_no_file_of_one_sensor_is_refused(tmp_path: Path, point: str, text: str, told: str) -> None:
    path = tmp_path / "sensor.csv"
    path.write_text(text, encoding="utf-8")
    store = LocalStore(tmp_path / "store")
    with pytest.raises(InputError, match=told):
        ingest_csv(site(GERMAN), path, store, rejects_dir=tmp_path, now=NOW, point=point)


def test_what_a_file_lacks_and_replaces_is_told_with_it() -> None:
    told = _summary_text(
        {
            "rows": 2,
            "readings": 2,
            "replaced": 1,
            "duplicates": 0,
            "from": None,
            "to": None,
            "missing_points": ["flow"],
            "ignored_columns": ["Vorlauf [°C]"],
            "odd_registers": [
                {"point": "m", "kind": "jumped", "time": "2026-01-01T10:00", "amount": 12.0, "unit": "kWh"}
            ],
        }
    )
    assert "the running total m jumped by 12 kWh on 1\u00a0Jan\u00a02026, 10:00 UTC: not counted" in told
    assert "1 of these had other values before" in told
    assert "no column for flow; columns not used: Vorlauf [°C]" in told


@pytest.mark.parametrize(
    ("written", "stated"),
    [
        ("2026-01-0{n} 00:00", False),
        ("2026-01-0{n}T00:00Z", True),
        ("2026-01-0{n}T00:00+01:00", True),
        ("0{n}.01.2026 00:00", False),
        ("17672256{n}0", True),
        ("4602{n}.25", False),
    ],
)
def test_a_zone_is_proposed_exactly_for_times_without_one(tmp_path: Path, written: str, stated: bool) -> None:
    path = tmp_path / "export.csv"
    text = "Time;Flow temp [°C]\n" + "".join(f"{written.format(n=n)};3{n}\n" for n in range(1, 9))
    path.write_text(text, encoding="utf-8")
    of_site = proposal_toml(propose(*head_of(path), "Europe/Berlin"))
    assert ('timezone = "Europe/Berlin"' in of_site) is not stated
    of_nobody = HEAD + proposal_toml(propose(*head_of(path)))
    if stated:
        parse_site(of_nobody)
    else:
        with pytest.raises(SiteError, match="say in which zone"):
            parse_site(of_nobody)
    # What was proposed reads every row, and nothing is taken for UTC unsaid.
    made = parse_site(HEAD + of_site)
    told = ingest_csv(made, path, LocalStore(tmp_path / "s"), rejects_dir=tmp_path, now=NOW)
    assert (told.rows, told.rejected, told.rows_as_utc) == (8, 0, 0)


@pytest.mark.parametrize(
    ("csv", "zone", "counted"),
    [("", "Europe/Berlin", 2), ('timezone = "UTC"', "Europe/Berlin", 0), ("", "UTC", 0)],
)
def test_rows_without_a_zone_are_never_taken_for_utc_silently(
    tmp_path: Path, csv: str, zone: str, counted: int
) -> None:
    path = tmp_path / "export.csv"
    path.write_text("time,Vorlauf\n2025-12-01 00:00,35\n2025-12-01 00:15,36\n")
    made = parse_site(HEAD.replace("Europe/Berlin", zone) + f"[csv]\n{csv}\n{POINTS}")
    told = ingest_csv(made, path, LocalStore(tmp_path / "s"), rejects_dir=tmp_path, now=NOW)
    assert told.rows_as_utc == counted
    assert ("read as UTC" in _summary_text(told.as_dict())) is bool(counted)


@pytest.mark.parametrize("at", [0, 250, 499])
@pytest.mark.parametrize(
    ("form", "written", "wrong"),
    [
        ("%d.%m.%Y %H:%M", "%d.%m.%Y %H:%M", "31.02.2026 07:00"),
        ("iso", "%Y-%m-%d %H:%M", "soon"),
        ("unix", "%s", "n/a"),
    ],
)
def test_one_bad_time_does_not_hide_the_form_of_the_others(
    form: str, written: str, wrong: str, at: int
) -> None:
    start = datetime(2026, 9, 1, tzinfo=UTC)
    times = [start + timedelta(minutes=15 * n) for n in range(500)]
    cells = [str(round(t.timestamp())) if written == "%s" else t.strftime(written) for t in times]
    cells[at] = wrong
    text = "\n".join(["Time;Flow temp [°C]", *(f"{cell};{30 + n % 7},5" for n, cell in enumerate(cells))])
    found = propose(text)
    assert (found.problem, found.time_format) == ("", form)
    assert [c.quantity for c in found.columns] == ["flow_temperature"]


def test_times_of_no_known_form_are_shown_by_one_that_is_wrong() -> None:
    rows = [f"2026-09-{n:02d} 07:00;30" for n in range(1, 5)] + [f"week {n};30" for n in range(20)]
    found = propose("\n".join(["Time;Flow temp [°C]", *rows]))
    assert "'week 0', which is not a known form" in found.problem


def proposed(header: str, row: str, delimiter: str = ";") -> dict[str, tuple[str, str, str]]:
    lines = [header, *(f"2025-12-01 00:{n:02}{delimiter}{row}" for n in range(40))]
    return {c.name: (c.quantity, c.form, c.unit) for c in propose("\n".join(lines)).columns}


@pytest.mark.parametrize(
    ("name", "cell", "wanted"),
    [
        ("P_th", "2600.0", ("heat_output", "power", "W")),
        ("P_el", "2600.0", ("heat_pump_electricity", "power", "W")),
        ("P_el", "1.527", ("heat_pump_electricity", "power", "kW")),
        ("Heizleistung [kW]", "5.2", ("heat_output", "power", "kW")),
        ("Leistung el. [kW]", "1.2", ("heat_pump_electricity", "power", "kW")),
        ("Puissance élec. (W)", "1200", ("heat_pump_electricity", "power", "W")),
        ("Puissance thermique (W)", "5200", ("heat_output", "power", "W")),
        ("Heat (BTU/h)", "5200", ("heat_output", "power", "BTU/h")),
        ("T_ret", "31.0", ("return_temperature", "gauge", "degC")),
        ("T° retour (°C)", "31.0", ("return_temperature", "gauge", "degC")),
        ("T° départ (°C)", "35.0", ("flow_temperature", "gauge", "degC")),
        ("Supply °F", "95.0", ("flow_temperature", "gauge", "degF")),
        ("T_out", "4.5", ("outdoor_temperature", "gauge", "degC")),
        ("T° extérieure (°C)", "4.5", ("outdoor_temperature", "gauge", "degC")),
        ("T° ambiante (°C)", "20.5", ("room_temperature", "gauge", "degC")),
        ("T_cyl", "48.0", ("cylinder_temperature", "gauge", "degC")),
        ("Warmwasser oben [°C]", "48.0", ("cylinder_temperature", "gauge", "degC")),
        ("T° ballon ECS (°C)", "48.0", ("cylinder_temperature", "gauge", "degC")),
        ("flow", "1.3", ("flow_rate", "gauge", "m3/h")),
        ("flow", "35.2", ("flow_temperature", "gauge", "degC")),
        ("Flow l/h", "1300", ("flow_rate", "gauge", "l/h")),
        ("Flow (gpm)", "5.7", ("flow_rate", "gauge", "gallon/min")),
        ("Débit (m³/h)", "1.3", ("flow_rate", "gauge", "m3/h")),
        ("Pressure psi", "23.1", ("system_pressure", "gauge", "psi")),
        ("Pressure kPa", "160", ("system_pressure", "gauge", "kPa")),
        ("Flow temperature (furlongs)", "35", ("", "", "furlongs")),
        ("p", "1.6", ("", "", "")),
        ("T° ext. (°C)", "4.5", ("outdoor_temperature", "gauge", "degC")),
        ("wp.waerme", "2600.0", ("heat_output", "power", "W")),
        ("Ruecklauf", "31.0", ("return_temperature", "gauge", "degC")),
        ("flow_m3h", "1.25", ("flow_rate", "gauge", "m3/h")),
        ("hm1_power", "2600.0", ("heat_output", "power", "W")),
        ("WMZ Leistung [kW]", "5.2", ("heat_output", "power", "kW")),
        ("WP [kW]", "1.2", ("heat_pump_electricity", "power", "kW")),
        ("state", "21.5", ("", "", "")),
        ("Strom kWh/Tag", "48.5", ("heat_pump_electricity", "interval", "kWh")),
        ("Heat [kWh/day]", "48.5", ("heat_output", "interval", "kWh")),
        ("Heat (kWh / 15 min)", "1.5", ("heat_output", "interval", "kWh")),
        ("El pulses (1000/kWh)", "69", ("heat_pump_electricity", "interval", "0.001 kWh")),
        ("Wärme (10 Imp/kWh)", "2", ("heat_output", "interval", "0.1 kWh")),
    ],
)
def test_names_units_and_sizes_together_tell_a_column(
    name: str, cell: str, wanted: tuple[str, str, str]
) -> None:
    assert proposed(f"time;{name}", cell)[name] == wanted


@pytest.mark.parametrize(
    ("flow", "heat", "sign"),
    [
        ("5,3", "1.527", "."),
        ("5,3", "1\u202f527,5", " "),
        ("5.3", "1,527.5", ","),
        ("5.3", "1\u00a0527", " "),
    ],
)
def test_groups_of_thousands_are_proposed_with_and_without_decimals(flow: str, heat: str, sign: str) -> None:
    lines = ["time;Vorlauf;Wärme [W]", *(f"2025-12-01 00:{n:02};{flow};{heat}" for n in range(30))]
    assert propose("\n".join(lines)).thousands == sign


def test_day_and_month_are_told_apart_where_the_first_day_ends() -> None:
    start = datetime(2025, 2, 1)  # noqa: DTZ001 (wall time)
    lines = [f"{start + timedelta(minutes=10 * n):%m/%d/%Y %H:%M};5" for n in range(200)]
    assert propose("\n".join(["time;T_out", *lines])).time_format == "%m/%d/%Y %H:%M"


@pytest.mark.parametrize(
    ("names", "kept"),
    [
        ("P_L1;P_L2;P_L3", {"P_L1", "P_L2", "P_L3"}),
        ("Power HP 1;Power HP 2", {"Power HP 1", "Power HP 2"}),
        ("Power phase a;Power phase b", {"Power phase a", "Power phase b"}),
        ("hp.power;xy.power", {"hp.power"}),
        ("xy.power;hp.power", {"hp.power"}),
        ("Leistung;Leistung Wärmepumpe", {"Leistung Wärmepumpe"}),
    ],
)
def test_only_parts_of_one_energy_are_proposed_together(names: str, kept: set[str]) -> None:
    """Points of one quantity are added up: a second meter would double it."""
    row = ";".join(["1500"] * (names.count(";") + 1))
    found = proposed(f"time;{names}", row)
    assert {name for name, (quantity, *_) in found.items() if quantity} == kept
    text = proposal_toml(
        propose("\n".join([f"time;{names}", *[f"2025-12-01 00:{n:02};{row}" for n in range(9)]]))
    )
    assert text.count("are added up") == len(found) - len(kept)


WEEKDAYS = ["Mo", "Di", "Mi", "Do", "Fr", "Sa", "So"]
WRITTEN = {
    "%d. %b %Y %H:%M": lambda t, months: f"{t.day}. {months[t.month - 1]} {t:%Y %H:%M}",
    "%d %b %Y %H:%M": lambda t, months: f"{t.day} {months[t.month - 1]} {t:%Y %H:%M}",
    "%a %d.%m.%y %H:%M": lambda t, _: f"{WEEKDAYS[t.weekday()]} {t:%d.%m.%y %H:%M}",
}
GERMAN_MONTHS = ["Jan", "Feb", "März", "Apr", "Mai", "Juni", "Juli", "Aug", "Sept", "Okt", "Nov", "Dez"]
FRENCH_MONTHS = [
    *("janv.", "févr.", "mars", "avr.", "mai", "juin"),
    *("juil.", "août", "sept.", "oct.", "nov.", "déc."),
]
"""Abbreviations of the Unicode CLDR."""


@pytest.mark.parametrize("form", WRITTEN)
@pytest.mark.parametrize("months", [GERMAN_MONTHS, FRENCH_MONTHS])
def test_months_and_weekdays_by_name_are_proposed_and_read(
    tmp_path: Path, form: str, months: list[str]
) -> None:
    times = [datetime(2025, 1, 3, 5, 15, tzinfo=UTC) + timedelta(days=11 * n) for n in range(30)]
    text = "Zeit;Wärme\n" + "".join(f"{WRITTEN[form](t, months)};{1000 + n},5\n" for n, t in enumerate(times))
    assert propose(text).time_format == form
    csv = f'time_column = "Zeit"\ntime_format = "{form}"\ndelimiter = ";"\ndecimal = ","\ntimezone = "UTC"'
    told, _ = taken(tmp_path, csv, text)
    assert (told.rejected, told.readings) == (0, 30)
    held = LocalStore(tmp_path / "store").read("ash-lane")["heat"].time.tolist()
    assert held == [int(t.timestamp() * 1000) for t in times]


def test_no_word_means_two_months() -> None:
    """Unicode CLDR: each month by its own names in each language."""
    from babel import Locale

    for language in LANGUAGES:
        for number in range(1, 13):
            for width in ("wide", "abbreviated"):
                word = Locale(language).months["format"][width][number]
                english = datetime(2025, number, 1, tzinfo=UTC).strftime("%b")
                assert plain_time(f"3 {word} 2025", weekday=False) == f"3 {english} 2025"
    assert plain_time("3 jui 2025", weekday=False) == "3 jui 2025"  # juin or juillet


def test_times_with_the_abbreviation_of_their_zone_are_the_moments_they_name(tmp_path: Path) -> None:
    """The hour that comes twice when summer time ends in Berlin, 26 October 2025 (IANA tz)."""
    rows = [f"2025-10-26 {h}:00 {z};{n},5" for n, (h, z) in enumerate(HOURS)]
    text = "Zeit;Wärme\n" + "\n".join(rows) + "\n"
    assert propose(text, zone="Europe/Berlin").time_format == "%Y-%m-%d %H:%M %Z"
    assert propose(text, zone="Europe/Berlin").timezone == "Europe/Berlin"
    csv = 'time_column = "Zeit"\ntime_format = "%Y-%m-%d %H:%M %Z"\ndelimiter = ";"\ndecimal = ","\n'
    _, held = taken(tmp_path, csv + 'timezone = "Europe/Berlin"', text)
    assert [t for t, _ in held["heat"]] == ["23:00", "00:00", "01:00", "02:00"]


HOURS = (("01", "CEST"), ("02", "CEST"), ("02", "CET"), ("03", "CET"))


@pytest.mark.parametrize("head", ["Datenpunkt;Zeit;Wert;Einheit", "Sensor;Zeit;Reading;Unit"])
@pytest.mark.parametrize("ordered", [False, True])
def test_a_long_export_by_other_names_is_proposed_and_read(tmp_path: Path, head: str, ordered: bool) -> None:
    rows = [
        row
        for n in range(300)
        for row in (
            f"WMZ Leistung;01.12.2025 {n // 60:02}:{n % 60:02};{5 + n % 3},5;kW",
            f"Vorlauf;01.12.2025 {n // 60:02}:{n % 60:02};{35 + n % 3},5;°C",
        )
    ]
    text = "\n".join([head, *(sorted(rows) if ordered else rows)]) + "\n"
    found = propose(text, zone="Europe/Berlin")
    assert {c.name: (c.quantity, c.unit) for c in found.columns} == {
        "WMZ Leistung": ("heat_output", "kW"),
        "Vorlauf": ("flow_temperature", "degC"),
    }
    path, store = tmp_path / "export.csv", LocalStore(tmp_path / "store")
    path.write_text(text)
    made = parse_site(HEAD + proposal_toml(found))
    told = ingest_csv(made, path, store, rejects_dir=tmp_path / "rejects", now=NOW)
    assert (told.form, told.readings, told.rejected) == ("long", 600, 0)


def test_days_without_a_time_and_hours_to_twentyfour_are_proposed() -> None:
    days = [f"{n:02}.11.2025;{20 + n},5" for n in range(1, 30)]
    assert propose("\n".join(["Tag;Wärme kWh", *days])).time_format == "%d.%m.%Y"
    hours = [f"20/11/2025,{n:02}:00,1.5" for n in range(1, 25)]
    found = propose("\n".join(["Date,Hour,heat kWh", *hours]))
    assert (found.date_column, found.time_column, found.time_format) == ("Date", "Hour", "%d/%m/%Y %H:%M")


def test_a_file_whose_column_has_another_name_than_in_the_other_files_is_named() -> None:
    files = [
        {"name": "nov.csv", "missing_points": [], "ignored_columns": ["note"]},
        {"name": "dec.csv", "missing_points": ["heat"], "ignored_columns": ["note", "Heat kWh"]},
        {"name": "jan.csv", "missing_points": ["heat"], "ignored_columns": ["note"]},
    ]
    summary = {"rows": 9, "readings": 9, "duplicates": 0, "from": None, "to": None, "odd_registers": []}
    told = _summary_text(summary | {"missing_points": [], "ignored_columns": ["note"], "files": files})
    assert told.splitlines()[1:] == [
        "dec.csv: no column for heat, unlike the other files; columns not used: Heat kWh"
    ]


def test_times_without_a_name_and_json_in_a_column_are_told() -> None:
    rows = [f"2025-12-01 00:{n:02};1.5;2.5;3.5" for n in range(30)]
    found = propose("\n".join(["Site:;Cedar;;", ";Heat pump;Heat meter;Weather", ";kW;kW;C", *rows]))
    assert "has no name" in found.problem
    rows = [f'2025-12-01 00:{n:02};"{{""p"": 5}}"' for n in range(30)]
    assert "holds JSON" in proposal_toml(propose("\n".join(["time;payload", *rows])))


@pytest.mark.parametrize(("unit", "step"), [("MWh", 0.001), ("GJ", 0.0036), ("kWh", 1.0)])
def test_a_total_in_a_large_unit_is_a_register(unit: str, step: float) -> None:
    rows = [f"2025-12-01 {n // 4:02}:{n % 4 * 15:02};{12.0 + n * step:.4f}" for n in range(90)]
    found = propose("\n".join([f"time;Heat {unit}", *rows])).columns[0]
    assert (found.quantity, found.form) == ("heat_output", "register")


def test_a_total_that_begins_again_once_is_still_a_register() -> None:
    start = datetime(2025, 12, 1, tzinfo=UTC)
    total = [4400.0 + n for n in range(50)] + [float(n) for n in range(100)]
    rows = [f"{start + timedelta(minutes=15 * n):%Y-%m-%d %H:%M};{v}" for n, v in enumerate(total)]
    assert propose("\n".join(["time;Heat kWh", *rows])).columns[0].form == "register"
    spent = [5.0 if n % 40 == 7 else 0.0 for n in range(150)]
    rows = [f"{start + timedelta(minutes=15 * n):%Y-%m-%d %H:%M};{v}" for n, v in enumerate(spent)]
    assert propose("\n".join(["time;Heat kWh", *rows])).columns[0].form == "interval"


@pytest.mark.parametrize(
    ("names", "wanted"),
    [
        ("Heating MWh;DHW heat MWh", ["space_heat", "hot_water_heat"]),
        ("Heizung Wärme [kWh];Wärme WW [kWh]", ["space_heat", "hot_water_heat"]),
        ("Heat MWh;DHW heat MWh", ["heat_output", "hot_water_heat"]),
        ("Heating MWh;Outdoor °C", ["heat_output", "outdoor_temperature"]),
    ],
)
def test_heat_beside_hot_water_is_that_of_the_rooms_where_it_says_so(names: str, wanted: list[str]) -> None:
    assert [quantity for quantity, *_ in proposed(f"time;{names}", "5.5;6.5").values()] == wanted


UNITS = """Zeit;Wärme;Vorlauf
01.12.2025 00:00;1234,5 kWh;95,9 °F
01.12.2025 00:15;1235250 Wh;36,0°C
"""


@pytest.mark.parametrize(
    ("csv", "text"),
    [
        (GERMAN, UNITS),
        (GERMAN, TABLE.replace("36,0", "36,0 °C")),
        (f'{GERMAN}\nthousands = "."', UNITS.replace("1234,5", "1.234,5")),
    ],
)
def test_numbers_may_have_their_unit_behind_them(tmp_path: Path, csv: str, text: str) -> None:
    told, held = taken(tmp_path, csv, text)
    assert told.rejected == 0
    assert held == {"heat": ROWS["heat"], "flow": [(t, pytest.approx(v)) for t, v in ROWS["flow"]]}


def test_numbers_of_a_long_file_may_have_their_unit_behind_them(tmp_path: Path) -> None:
    rows = UNITS.splitlines()[1:]
    text = "Zeit;point;value\n"
    for time, heat, flow in (row.split(";") for row in rows):
        text += f"{time};heat;{heat}\n{time};flow;{flow}\n"
    told, held = taken(tmp_path, GERMAN, text)
    assert told.rejected == 0
    assert held == {"heat": ROWS["heat"], "flow": [(t, pytest.approx(v)) for t, v in ROWS["flow"]]}


def test_a_unit_that_comes_late_is_read_too(tmp_path: Path) -> None:
    """Beyond the rows by which a file's columns are typed."""
    times = [datetime(2025, 12, 1, 0, 0) + timedelta(minutes=n) for n in range(2000)]  # noqa: DTZ001
    rows = [f"{t:%d.%m.%Y %H:%M};;{'35,5 °C' if n == 1900 else '35,5'}\n" for n, t in enumerate(times)]
    told, held = taken(tmp_path, GERMAN, "Zeit;Wärme;Vorlauf\n" + "".join(rows))
    assert (told.rejected, len(held["flow"])) == (0, 2000)
    assert {v for _, v in held["flow"]} == {35.5}


@pytest.mark.parametrize(
    ("cell", "reason", "said"),
    [
        ("36,0 kWh", "wrong unit", "flow is in degC"),
        ("36,0 Fass", "wrong unit", "unknown unit 'Fass'"),
        ("5e3", "beyond physics", ""),
        ("3,6e1e1", "wrong unit", ""),
        ('"{""flow"": 36.0}"', "not a number", "JSON; export each of its values in a column of its own"),
    ],
)
def test_a_unit_that_does_not_fit_costs_its_row(tmp_path: Path, cell: str, reason: str, said: str) -> None:
    told, held = taken(tmp_path, GERMAN, TABLE.replace("36,0", cell))
    assert told.reasons == {reason: 1}
    assert said in told.examples[reason]
    assert held == {"heat": ROWS["heat"], "flow": ROWS["flow"][:1]}


def test_words_behind_numbers_that_are_no_units_cost_no_time(tmp_path: Path) -> None:
    times = [datetime(2025, 12, 1, 0, 0) + timedelta(minutes=n) for n in range(2000)]  # noqa: DTZ001
    rows = [f"{t:%d.%m.%Y %H:%M};;35,5 f{n}\n" for n, t in enumerate(times)]
    told, held = taken(tmp_path, GERMAN, "Zeit;Wärme;Vorlauf\n" + "".join(rows))
    assert (told.reasons, held) == ({"not a number": 2000}, {})


@pytest.mark.parametrize("cell", ['"{""flow"": 35.5}"', '{"flow": 35.5}', ' [{"flow": 35.5}]'])
def test_a_file_of_json_is_told_what_to_export(tmp_path: Path, cell: str) -> None:
    with pytest.raises(InputError, match="holds JSON; export each of its values"):
        taken(tmp_path, GERMAN, f"Zeit;data\n01.12.2025 00:00;{cell}\n")


def test_a_column_for_each_time_of_the_day_is_told(tmp_path: Path) -> None:
    head = "Zeit;" + ";".join(f"{n // 4:02}:{n % 4 * 15:02}" for n in range(96))
    text = f"{head}\n01.12.2025{';35,5' * 96}\n"
    with pytest.raises(InputError, match="a row for each time is wanted"):
        taken(tmp_path, GERMAN, text)
    assert "a row for each time is wanted" in propose(text).problem
