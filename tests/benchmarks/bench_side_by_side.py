"""The same figures of the same readings, three ways: fieldfare, a pandas script, and InfluxDB with queries.

    python -m tests.benchmarks.bench_side_by_side [--days 365] [--json FILE]

A simulated plant's minutes are written as one wide CSV; halfway its heat meter is exchanged, so that the
register begins anew. Each way runs in a process of its own and works out electricity, heat, SPF H2 and H4 by
month and in all, compressor starts and the slope of daily heat over outdoor temperature. Asked are:
everything; a later period, as a month later; and everything again after one more day. Imports and the
server's start are left out of the times. The script keeps a Parquet copy, and InfluxDB one field a point, as
somebody would who knows them. How far the answers lie apart, and from the truth, is told beside the times,
and so is what each way leaves unanswered.
"""

from __future__ import annotations

import argparse
import inspect
import json
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import urllib3

from fieldfare.analysis.minutes.grid import local_midnight
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Readings, Samples
from fieldfare.api.core.service import opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.running.intake import ingest_files
from fieldfare.collector.simulated.plant import random_plant, simulate
from fieldfare.collector.simulated.truth import spf_of
from tests.benchmarks.bench_line import cut, wide_csv
from tests.services import influx

FIRST = date(2024, 9, 1)
POINTS = (
    "hp_elec",
    "hp_elec_kwh",
    "pump_elec",
    "heat",
    "heat_kwh",
    "flow_temp",
    "return_temp",
    "flow_rate",
    "outdoor",
    "room",
    "cylinder",
    "mode",
    "immersion_kwh",
    "backup_kwh",
)
REGISTERS = ("hp_elec_kwh", "heat_kwh", "immersion_kwh", "backup_kwh")
RUNNING_W = 350.0  # common practice: above standby and crankcase heater, below a working compressor
HEATED_BELOW_C = 14.0  # common practice: on such days a house is heated
WAYS = {"fieldfare": "fieldfare", "pandas": "pandas script", "influx": "InfluxDB, queries"}
UNANSWERED = {
    "pandas": (
        "intervals; defrosts; electricity by use; expected performance; findings; roll-overs, jumps and "
        "drop-outs of registers; late or corrected readings; a second site with other meters"
    ),
    "influx": (
        "intervals; defrosts; electricity by use; expected performance; findings; what a register counted"
        " between its reset and the next reading; months as periods; the regression itself (fitted outside"
        " the database)"
    ),
}


def prepare(folder: Path, days: int) -> dict[str, Any]:
    """Write site.toml, past.csv and day.csv. Returns what is known of the truth, and the points and readings
    in them."""
    sim = simulate(random_plant(5, meter_set="full", hot_water=True, every_s=60), FIRST, days + 1)
    head, *points = sim.site_toml.split("[[point]]\n")
    wanted = [p for p in points if (found := re.search(r'^id = "(\w+)"', p)) and found[1] in POINTS]
    toml = "[[point]]\n".join([head, *wanted])
    site = parse_site(toml)
    readings = exchanged({p: s for p, s in sim.readings.items() if p in POINTS}, "heat_kwh")
    new_day = local_midnight(site, FIRST + timedelta(days))
    past, one_day = cut(readings, 0, new_day), cut(readings, new_day, 2**62)
    (folder / "site.toml").write_text(toml, encoding="utf-8")
    wide_csv(past, folder / "past.csv")
    wide_csv(one_day, folder / "day.csv")
    rows = sim.truth.days[:days]
    kwh = {name: sum(row["kwh"][name] for row in rows) for name in rows[0]["kwh"]}
    truth = {
        "electricity_kwh": kwh["electricity"],
        "heat_kwh": kwh["heat"] + kwh["immersion"] + kwh["backup"],
        "H2": spf_of(kwh)["H2"],
        "H4": spf_of(kwh)["H4"],
        "starts": sum(row["starts"] for row in rows),
        "heat_loss_w_per_k": sim.truth.htc_w_per_k,
    }
    return {"points": len(past), "readings": sum(len(s.time) for s in past.values()), "truth": truth}


def exchanged(readings: Readings, register: str) -> Readings:
    """The readings as they would be if the register's meter had been exchanged for a new one halfway."""
    at_time, value = readings[register]
    half = len(value) // 2
    new = np.concatenate((value[:half], value[half:] - value[half]))
    return {**readings, register: Samples(at_time, np.round(new, 3))}


class Clock(dict[str, float]):
    """Seconds of each question, by name."""

    def timed(self, name: str, work: Callable[[], Any]) -> Any:
        begin = time.perf_counter()
        answer = work()
        self[name] = time.perf_counter() - begin
        return answer


def memory_mb(process: int | str = "self") -> float:
    """Peak resident memory; getrusage would begin with the parent's peak."""
    status = Path(f"/proc/{process}/status").read_text(encoding="utf-8")
    return int(next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM"))) / 1024


def bytes_in(folder: Path) -> int:
    return sum(f.stat().st_size for f in folder.rglob("*") if f.is_file())


def by_fieldfare(folder: Path, days: int, clock: Clock) -> dict[str, Any]:
    # Loaded before the clock starts, as pandas and the client are.

    settings, toml = Settings(data=folder / "kept"), (folder / "site.toml").read_text(encoding="utf-8")
    site = parse_site(toml)
    last = FIRST + timedelta(days - 1)

    def read_in(file: str) -> None:
        with opened(settings) as service:
            told = ingest_files(service, site.id, [folder / file])
        assert told["rejected"]["count"] == 0, told

    def ask(first: date, end: date) -> dict[str, Any]:
        with opened(settings) as service:
            return service.results.result(service.sites.get(site.id), first, end)

    def one_more() -> dict[str, Any]:
        read_in("day.csv")
        return ask(FIRST, last + timedelta(1))

    with opened(settings) as service:
        service.sites.add([(toml, site)])
    clock.timed("reading in", lambda: read_in("past.csv"))
    result = clock.timed("first answer from it", lambda: ask(FIRST, last))
    disk = bytes_in(settings.readings_dir)
    clock.timed("a later period", lambda: ask(FIRST + timedelta(days // 2), last))
    clock.timed("one more day", one_more)
    intervals = json.dumps(result).count('"low"')
    gone = [f"{key}: {why}" for key, why in (result["performance"].get("reasons") or {}).items()]
    gone += [f"{row['code']}: {row['reason']}" for row in result["not_assessed"]]
    return {  # three lines: site add, ingest, analyse
        "answers": fieldfare_figures(result),
        "disk": disk,
        "memory_mb": memory_mb(),
        "lines": 3,
        "unanswered": "; ".join(gone),
        "also": (
            f"{intervals} figures with an interval, {len(result['findings'])} findings, "
            f"{result['defrost']['count']} defrosts, electricity by use"
        ),
    }


def fieldfare_figures(result: dict[str, Any]) -> dict[str, Any]:
    """The compared figures out of the result document."""
    told, energy, monthly = (
        result["performance"],
        result["energy"],
        ("electricity_kwh", "heat_kwh", "H2", "H4"),
    )
    return {
        "electricity_kwh": energy["electricity_kwh"]["total"],
        "heat_kwh": energy["heat_kwh"]["total"],
        "H2": told["H2"] and told["H2"]["value"],
        "H4": told["H4"] and told["H4"]["value"],
        "starts": result["cycling"]["starts"],
        "heat_loss_w_per_k": (result["heat_loss"]["coefficient_w_per_k"] or {}).get("value"),
        "months": {m["month"]: {k: m[k] for k in monthly} for m in told["by_month"]},
    }


def read_csv(path: Path) -> pd.DataFrame:
    types = {point: "category" if point == "mode" else "float64" for point in POINTS}
    frame = pd.read_csv(path, engine="pyarrow", dtype=types, parse_dates=["time"])
    return frame.set_index("time").sort_index()


def counted(register: pd.Series) -> pd.Series:
    """Energy of each step of a register; one that fell by half or more was reset and counted what it shows
    since."""
    shown = register.dropna()
    step = shown.diff()
    return step.mask(shown < 0.5 * shown.shift(), shown)


def daily_table(frame: pd.DataFrame, zone: str) -> pd.DataFrame:
    """One row a local day: energies [kWh], starts, mean outdoor temperature [degC]."""
    frame = frame.tz_convert(zone)
    minutes = frame[["pump_elec", "outdoor"]].resample("D")
    hours = (frame.index.to_series().resample("D").count() / 60.0).round()
    pump = minutes["pump_elec"].mean() * hours / 1000.0
    table = pd.DataFrame({"outdoor": minutes["outdoor"].mean(), "pump": pump})
    for name in REGISTERS:
        table[name.removesuffix("_kwh")] = counted(frame[name]).resample("D").sum()
    hot_water = frame["heat"].where(frame["mode"] == "hot_water", 0.0)
    table["hot_water"] = hot_water.resample("D").mean() * hours / 1000.0
    running = frame["hp_elec"].ffill(limit=5) > RUNNING_W
    table["starts"] = (running & ~running.shift(fill_value=True)).resample("D").sum()
    return table


def figures_of_days(table: pd.DataFrame) -> dict[str, Any]:
    """Sums, performance, starts and the slope of space heat over outdoor temperature, in all and by month."""

    def performance(t: Any) -> dict[str, float]:
        direct = t["immersion"] + t["backup"]
        electricity = t["hp_elec"] + direct + t["pump"]
        with np.errstate(invalid="ignore"):  # a month of a day or less has none
            ratios = {"H2": t["heat"] / t["hp_elec"], "H4": (t["heat"] + direct) / electricity}
        return {"electricity_kwh": electricity, "heat_kwh": t["heat"] + direct, **ratios}

    heated = table[table["outdoor"] < HEATED_BELOW_C].dropna()
    watts = (heated["heat"] - heated["hot_water"]) * 1000.0 / 24.0
    slope = np.polyfit(heated["outdoor"], watts, 1)[0]
    months = table.groupby(pd.DatetimeIndex(table.index).strftime("%Y-%m")).sum()
    return {
        **performance(table.sum()),
        "starts": int(table["starts"].sum()),
        "heat_loss_w_per_k": -float(slope),
        "months": {str(month): performance(row) for month, row in months.iterrows()},
    }


def by_pandas(folder: Path, days: int, clock: Clock) -> dict[str, Any]:
    zone = str(parse_site((folder / "site.toml").read_text(encoding="utf-8")).zone)
    copy, last = folder / "copy.parquet", FIRST + timedelta(days - 1)

    def read_in() -> pd.DataFrame:
        frame = read_csv(folder / "past.csv")
        frame.to_parquet(copy, compression="zstd")
        return frame

    def later() -> dict[str, Any]:
        table = daily_table(pd.read_parquet(copy), zone)
        return figures_of_days(table.loc[str(FIRST + timedelta(days // 2)) : str(last)])

    def one_more() -> dict[str, Any]:
        frame = pd.concat([pd.read_parquet(copy), read_csv(folder / "day.csv")])
        frame = frame[~frame.index.duplicated(keep="last")].sort_index()
        frame.to_parquet(copy, compression="zstd")
        return figures_of_days(daily_table(frame, zone))

    frame = clock.timed("reading in", read_in)
    answers = clock.timed("first answer from it", lambda: figures_of_days(daily_table(frame, zone)))
    disk = copy.stat().st_size
    clock.timed("a later period", later)
    clock.timed("one more day", one_more)
    work = (read_csv, counted, daily_table, figures_of_days, read_in, one_more)
    return {"answers": answers, "disk": disk, "memory_mb": memory_mb(), "lines": lines_of(*work)}


class Database:
    def __init__(self, port: int) -> None:
        self.url, self.http = f"http://127.0.0.1:{port}", urllib3.PoolManager()

    def write(self, csv: Path, batch: int = 10_000) -> None:
        """Line protocol, a field a point, in batches."""
        frame = read_csv(csv)
        seconds = pd.DatetimeIndex(frame.index).as_unit("s").asi8
        columns = [(name, frame[name].tolist()) for name in frame.columns if name != "mode"]
        modes = frame["mode"].astype(object).where(frame["mode"].notna(), None).tolist()
        for start in range(0, len(frame), batch):
            lines = []
            for i in range(start, min(start + batch, len(frame))):
                fields = [f"{name}={v}" for name, values in columns if (v := values[i]) == v]
                fields += [f'mode="{modes[i]}"'] if modes[i] is not None else []
                lines.append(f"plant {','.join(fields)} {seconds[i]}")
            answer = self.http.request("POST", f"{self.url}/write?db=side&precision=s", body="\n".join(lines))
            assert answer.status == 204, answer.data

    def ask(self, query: str) -> pd.Series:
        """The one column of a query by time (local)."""
        answer = self.http.request("GET", f"{self.url}/query", fields={"db": "side", "q": query}).json()
        assert "error" not in answer["results"][0], answer
        rows = [r for s in answer["results"][0].get("series", []) for r in s["values"]]
        return pd.Series([r[1] for r in rows], pd.to_datetime([r[0][:10] for r in rows]), dtype=float)


def queried(db: Database, site: Any, first: date, last: date) -> dict[str, Any]:
    """The daily table out of queries; months and slope are then those of the script."""
    ends = (pd.Timestamp(d, tz=site.zone).tz_convert("UTC") for d in (first, last + timedelta(1)))
    within = "time >= '{:%Y-%m-%dT%H:%M:%SZ}' AND time < '{:%Y-%m-%dT%H:%M:%SZ}'".format(*ends)
    by_day = f"GROUP BY time(1d) tz('{site.zone}')"
    table = {"outdoor": db.ask(f'SELECT mean("outdoor") FROM plant WHERE {within} {by_day}')}
    table["pump"] = db.ask(f'SELECT integral("pump_elec", 1h) FROM plant WHERE {within} {by_day}') / 1000.0
    for name in REGISTERS:
        # A defrost takes back less than 10 kWh at a time; a greater fall is a reset.
        steps = f'SELECT difference("{name}") AS step FROM plant WHERE {within}'
        sums = f"SELECT sum(step) FROM ({steps}) WHERE step > -10 AND {within} {by_day}"
        table[name.removesuffix("_kwh")] = db.ask(sums)
    hot_water = f'SELECT sum("heat") FROM plant WHERE "mode" = \'hot_water\' AND {within} {by_day}'
    table["hot_water"] = db.ask(hot_water) / 60_000.0
    # A start is where the power comes back after three minutes or more below the line; one lost reading is
    # none.
    above = f'SELECT elapsed("hp_elec", 1m) AS off FROM plant WHERE "hp_elec" > {RUNNING_W} AND {within}'
    table["starts"] = db.ask(f'SELECT count("off") FROM ({above}) WHERE "off" > 2 AND {within} {by_day}')
    days = pd.DataFrame(table).loc[str(first) : str(last)]  # the first bucket may begin before
    return figures_of_days(days.fillna({"hot_water": 0.0, "starts": 0.0}))


def by_influx(folder: Path, days: int, clock: Clock) -> dict[str, Any]:
    site = parse_site((folder / "site.toml").read_text(encoding="utf-8"))
    last = FIRST + timedelta(days - 1)
    with influx(folder) as server:
        server.create("side")
        db = Database(server.server.port)

        def one_more() -> dict[str, Any]:
            db.write(folder / "day.csv")
            return queried(db, site, FIRST, last + timedelta(1))

        clock.timed("reading in", lambda: db.write(folder / "past.csv"))
        answers = clock.timed("first answer from it", lambda: queried(db, site, FIRST, last))
        clock.timed("a later period", lambda: queried(db, site, FIRST + timedelta(days // 2), last))
        clock.timed("one more day", one_more)
        assert server.server.process is not None
        memory = memory_mb() + memory_mb(server.server.process.pid)
        # As it lies just after: what was written last still stands in the log, and is packed hours later.
        disk = bytes_in(server.server.folder / "data") + bytes_in(server.server.folder / "wal")
    work = (read_csv, Database, queried, figures_of_days, one_more)
    return {"answers": answers, "disk": disk, "memory_mb": memory, "lines": lines_of(*work)}


def lines_of(*work: Any) -> int:
    """Lines somebody had to write: without blank ones, comments and docstrings of a line."""
    text = [line.strip() for part in work for line in inspect.getsource(part).splitlines()]
    return sum(bool(line) and not line.startswith(("#", '"""')) for line in text)


def months_apart(one: dict[str, Any], other: dict[str, Any], figure: str) -> float:
    """The greatest relative difference of a figure over the months both have."""
    both = one["months"].keys() & other["months"].keys()
    pairs = [(one["months"][k][figure], other["months"][k][figure]) for k in both]
    return max((abs(a / b - 1.0) for a, b in pairs if a is not None and b), default=float("nan"))


def show(told: dict[str, Any], given: dict[str, Any]) -> None:
    def row(cells: Iterable[str]) -> str:
        return "".join(f"{cell:>22}" for cell in cells)

    ours = told["fieldfare"]
    print(f"{given['points']} points, {given['readings']:,} readings")
    print(f"{'':<34}" + row(WAYS.values()))
    for name, own in ours["seconds"].items():
        cells = [f"{s:.3f} ({s / own:.2f})" for s in (told[w]["seconds"][name] for w in WAYS)]
        print(f"{name + ' [s] (ratio to ours)':<34}" + row(cells))
    print(f"{'peak memory [MB]':<34}" + row(f"{told[w]['memory_mb']:.0f}" for w in WAYS))
    print(f"{'lines or commands of work':<34}" + row(str(told[w]["lines"]) for w in WAYS))
    print(
        f"{'bytes on disk a reading, at once':<34}"
        + row(f"{told[w]['disk'] / given['readings']:.2f}" for w in WAYS)
    )
    print("\nfigure of the whole (apart from the truth)")
    for figure, true in given["truth"].items():
        values = [told[w]["answers"][figure] for w in WAYS]
        cells = ["not given" if v is None else f"{v:,.2f} ({v / true - 1.0:+.1%})" for v in values]
        print(f"{f'{figure} {true:,.2f}':<34}" + row(cells))
    print("\ngreatest difference of a month's figure from ours")
    for figure in ("electricity_kwh", "heat_kwh", "H2", "H4"):
        found = [months_apart(told[w]["answers"], ours["answers"], figure) for w in WAYS]
        print(f"{figure:<34}" + row(f"{f:.2%}" for f in found))
    print(f"\nfieldfare's first answer also holds: {ours['also']}")
    for way, name in WAYS.items():
        print(f"not answered by {name}: {told[way]['unanswered']}")


def run(way: str, folder: Path, days: int) -> dict[str, Any]:
    """One way in a process of its own."""
    given = ["--way", way, "--folder", str(folder), "--days", str(days)]
    command = [sys.executable, "-m", "tests.benchmarks.bench_side_by_side", *given]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True, timeout=900)
    return dict(json.loads(done.stdout.splitlines()[-1]))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--way", choices=WAYS, help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.way:
        clock = Clock()
        told = globals()[f"by_{args.way}"](args.folder, args.days, clock)
        print(json.dumps({"unanswered": UNANSWERED.get(args.way), **told, "seconds": clock}))
        return
    folder = Path(tempfile.mkdtemp(prefix="side-"))
    try:
        given = prepare(folder, args.days)
        ways = {way: run(way, folder, args.days) for way in WAYS}
    finally:
        shutil.rmtree(folder)
    show(ways, given)
    if args.json:
        args.json.write_text(json.dumps({"days": args.days, "given": given, "ways": ways}, indent=1))


if __name__ == "__main__":
    main()
