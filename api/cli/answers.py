"""`fieldfare answer`: answer a caller's question."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import click

from fieldfare.api.cli.options import Day, format_option, from_option, print_json, say, to_option
from fieldfare.api.core.settings import Settings


class HourRange(click.ParamType):  # type: ignore[type-arg]  # generic since click 8.3 alone
    """Local hours from and to, as 22-6."""

    name = "hours"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[int, int]:
        if isinstance(value, tuple):
            return value
        begin, dash, end = str(value).partition("-")
        if not (dash and begin.isdecimal() and end.isdecimal() and int(begin) <= 24 and int(end) <= 24):
            self.fail(f"{value!r} is not a span of local hours; write 22-6", param, ctx)
        return int(begin), int(end)


@click.command("answer")
@click.argument("site_id", metavar="SITE")
@click.argument("question", type=click.Choice(["bill", "cold", "hot-water", "noise", "ice"]))
@from_option
@to_option
@click.option(
    "--against",
    type=click.Choice(["year", "design", "homes"]),
    help="bill: what to compare with. Default: a year ago, else the design.",
)
@click.option(
    "--billed-kwh", type=click.FloatRange(0, 1e6), help="bill: kWh on the paper bill of the same days."
)
@click.option(
    "--billed-money", type=click.FloatRange(0, 1e7), help="bill: money on the paper bill of the same days."
)
@click.option(
    "--visit-cost", type=click.FloatRange(0, 1e6), help="bill: what a visit costs, for when it pays back."
)
@click.option(
    "--prices",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help=(
        "bill: CSV of prices with the columns time (ISO 8601 with offset, start of each price) "
        "and price (per kWh)."
    ),
)
@click.option("--zone", help="cold: the zone that is cold. Default: the coldest.")
@click.option(
    "--hours",
    type=HourRange(),
    help="Local hours it is about, such as 6-9 or 22-6. Default: all; noise: 22-6.",
)
@click.option("--since", type=Day(), help="First day it was noticed, where that is before --from.")
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Also write it as a paper: FILE.html, FILE.pdf or FILE.json",
)
@format_option
@click.pass_obj
def answer(
    settings: Settings,
    site_id: str,
    question: str,
    first: date | None,
    last: date | None,
    against: Any,
    billed_kwh: float | None,
    billed_money: float | None,
    visit_cost: float | None,
    prices: Path | None,
    zone: str | None,
    hours: tuple[int, int] | None,
    since: date | None,
    out: Path | None,
    form: str,
) -> None:
    """Answer a caller: my bill is high, it is cold, the hot water ran out, it makes noise, it is full of
    ice."""
    from fieldfare.api.core.answers import Asking
    from fieldfare.api.core.answers import answer as answered
    from fieldfare.api.core.service import opened_existing

    reported = (
        (prices.read_text(encoding="utf-8-sig", errors="replace"), str(prices))
        if prices is not None
        else None
    )
    asking = Asking(first, last, against, billed_kwh, billed_money, visit_cost, zone, hours, since, reported)
    with opened_existing(settings) as service:
        record = service.sites.get(site_id)
        document = answered(service, record, question, asking)
        if out is not None:
            from fieldfare.api.records.papers import answer_paper, write_paper

            write_paper(answer_paper(service, record, document), out)
    if form == "json":
        print_json(document)
        return
    from fieldfare.api.cli.plain_answer import plain_answer

    say(plain_answer(document, record.site.name))
    if out is not None:
        say(f"wrote {out}")


COMMANDS = (answer,)
