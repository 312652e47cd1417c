"""Options and messages that several commands share."""

from __future__ import annotations

from datetime import date
from typing import Any

import click


class Day(click.ParamType):  # type: ignore[type-arg]  # generic since click 8.3 alone
    """A local day, YYYY-MM-DD."""

    name = "date"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        if isinstance(value, date):
            return value
        try:
            return date.fromisoformat(value)
        except ValueError:
            self.fail(f"{value!r} is not a date; write YYYY-MM-DD, such as 2026-01-31", param, ctx)


format_option = click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="json prints one JSON document and nothing else.",
)
from_option = click.option(
    "--from", "first", type=Day(), help="First local day. Default: the first with readings."
)
to_option = click.option(
    "--to", "last", type=Day(), help="Last local day, included. Default: the last with readings."
)


def print_json(document: Any) -> None:
    """Print one JSON document; NaN becomes null."""
    import orjson

    options = orjson.OPT_INDENT_2 | orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_NON_STR_KEYS
    click.echo(orjson.dumps(document, option=options).decode())


def for_terminal(text: str) -> str:
    """A text of the pages with plain spaces, which every terminal and search finds."""
    return text.replace("\u00a0", " ").replace("\u202f", " ")


def say(text: str = "", *, err: bool = False) -> None:
    """Print a text for people."""
    click.echo(for_terminal(text), err=err)


NO_SITES = (
    "no sites yet in this data folder (another one: --data); write a site file (fieldfare site template) and"
    " add it: fieldfare site add FILE"
)
"""Message of commands over all homes where there is none."""
