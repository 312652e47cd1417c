"""`fieldfare expectations`: measured beside expected, as figures."""

from __future__ import annotations

from datetime import date
from html import escape
from pathlib import Path

import click

from fieldfare.api.cli.options import from_option, say, to_option
from fieldfare.api.core.settings import Settings


@click.command("expectations")
@click.argument("site_id", metavar="SITE")
@click.option(
    "--model", "names", multiple=True, metavar="NAME", help="One model, such as expected-defrost; repeatable."
)
@from_option
@to_option
@click.option(
    "--out",
    required=True,
    type=click.Path(dir_okay=False, path_type=Path),
    help="FILE.html, or FILE.json of plotly figures",
)
@click.pass_obj
def expectations(
    settings: Settings, site_id: str, names: tuple[str, ...], first: date | None, last: date | None, out: Path
) -> None:
    """Write figures of what was measured beside what is expected, with its 95 % band."""
    from fieldfare.dashboards.figures.expectations.index import MODELS, expectation_chart

    if unknown := [n for n in names if n not in MODELS]:
        raise click.UsageError(f"There is no model {unknown[0]!r}; there are: {', '.join(MODELS)}.")
    if out.suffix not in (".html", ".json"):
        raise click.UsageError(f"--out must end in .html or .json, not {out.name!r}.")
    from fieldfare.api.core.service import opened_existing

    with opened_existing(settings) as service:
        record = service.sites.get(site_id)
        begin, end = service.results.period(record, first, last)
        facts = service.facts_cache.facts(record.site, begin, end)
        site = service.facts_cache.with_borrowed_weather(record.site)
    charts = [expectation_chart(name, site, facts) for name in names or MODELS]
    drawn = [c for c in charts if not c.is_empty]
    from fieldfare.dashboards.figures.plot import plotly_figure

    figures = {c.key: plotly_figure(c) | {"title": c.title, "says": c.says} for c in drawn}
    text = _page(record.site.name, figures) if out.suffix == ".html" else _json(figures)
    try:
        out.write_text(text, encoding="utf-8")
    except OSError as error:
        raise click.UsageError(f"{out}: can't be written: {error.strerror}") from None
    for chart in charts:
        say(f"{chart.key}: {chart.empty or chart.says}")
    say(f"wrote {len(drawn)} of {len(charts)} figures to {out}")


def _json(figures: dict[str, dict[str, object]]) -> str:
    import orjson

    return orjson.dumps(figures, option=orjson.OPT_SERIALIZE_NUMPY).decode()


def _page(name: str, figures: dict[str, dict[str, object]]) -> str:
    """One page with every figure; the drawing library is inside, so it opens without a network."""
    from plotly.io import to_html

    parts = []
    for n, (key, figure) in enumerate(figures.items()):
        body = to_html(
            {"data": figure["data"], "layout": figure["layout"]},
            full_html=False,
            include_plotlyjs=n == 0,
            div_id=key,
        )
        parts.append(
            f"<section><h2>{escape(str(figure['title']))}</h2>"
            f"<p>{escape(str(figure['says']))}</p>{body}</section>"
        )
    head = (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Measured and expected: '
        f"{escape(name)}</title></head>"
    )
    return f"{head}<body><h1>Measured and expected: {escape(name)}</h1>{''.join(parts)}</body></html>"


COMMANDS = (expectations,)
