"""The `fieldfare` command group and its options."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import click

from fieldfare.api.cli import (
    advice,
    answers,
    checking,
    defects,
    expectations,
    figures,
    people,
    readings,
    running,
    season,
    sites,
    visits,
    weather,
)
from fieldfare.api.core.settings import Settings

CONTEXT: dict[str, Any] = {"help_option_names": ["-h", "--help"], "max_content_width": 110}


_folder = [Path(os.environ.get("FIELDFARE_DATA") or Settings.data)]


class WholeSentences(click.Group):
    """Lists commands with their whole first sentence."""

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        rows = [(name, (self.commands[name].help or "").split("\n\n")[0]) for name in self.list_commands(ctx)]
        with formatter.section("Commands"):
            formatter.write_dl([(name, " ".join(text.split())) for name, text in rows])


@click.group(cls=WholeSentences, context_settings=CONTEXT)
@click.option(
    "--data",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder of readings and state. Default: $FIELDFARE_DATA, else ./fieldfare-data.",
)
@click.version_option(package_name="fieldfare", message="%(package)s %(version)s")
@click.pass_context
def root(context: click.Context, data: Path | None) -> None:
    """Looks after installed heat pumps from a distance: meter readings in; performance, faults and the next
    step out."""
    from fieldfare.api.core.fault_log import log_to

    context.obj = Settings.from_env(os.environ, data=data)
    _folder[0] = context.obj.data
    log_to(context.obj.data, context.obj.log_format)


_MODULES = (
    sites,
    readings,
    weather,
    figures,
    expectations,
    answers,
    advice,
    defects,
    visits,
    season,
    checking,
    running,
    people,
)
for command in (command for module in _MODULES for command in module.COMMANDS):
    root.add_command(command)


def data_folder() -> Path:
    """Data folder of the current or last command, if known."""
    return _folder[0]
