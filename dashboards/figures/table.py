"""The table behind a figure."""

from __future__ import annotations

from html import escape

from markupsafe import Markup

from fieldfare.dashboards.figures.chart import Chart

_MOST_ROWS = 400


def table(chart: Chart) -> Markup:
    """A chart's numbers as a table; empty where it has none."""
    if not chart.rows:
        return Markup("")
    head = "".join(f'<th scope="col">{escape(c)}</th>' for c in chart.columns)
    body = "".join(
        f'<tr><th scope="row">{escape(row[0])}</th>{"".join(f"<td>{escape(c)}</td>" for c in row[1:])}</tr>'
        for row in chart.rows[:_MOST_ROWS]
    )
    more = ""
    if len(chart.rows) > _MOST_ROWS:
        more = (
            f"<p>The first {_MOST_ROWS} of {len(chart.rows)} rows; all of them through the API's facts.</p>"
        )
    title = escape(chart.title)
    return Markup(  # noqa: S704
        '<div class="table-room" tabindex="0" role="region" aria-label="Numbers:'
        f' {title}"><table><caption>{title}</caption>'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>{more}"
    )
