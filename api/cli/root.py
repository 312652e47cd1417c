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


def _use_folder(context: click.Context, _: click.Parameter, data: Path | None) -> None:
    """Use the settings of the environment and this folder. A command without its own keeps its group's."""
    from fieldfare.api.core.fault_log import log_to

    if data is None and context.obj is not None:
        return
    context.obj = Settings.from_env(os.environ, data=data)
    _folder[0] = context.obj.data
    log_to(context.obj.data, context.obj.log_format)


def _data_option(*, hidden: bool) -> click.Option:
    return click.Option(
        ["--data"],
        type=click.Path(file_okay=False, path_type=Path),
        help="Folder of readings and state. Default: $FIELDFARE_DATA, else ./fieldfare-data.",
        expose_value=False,
        callback=_use_folder,
        hidden=hidden,
    )


@click.group(cls=WholeSentences, context_settings=CONTEXT)
@click.version_option(package_name="fieldfare", message="%(package)s %(version)s")
def root() -> None:
    """Looks after installed heat pumps from a distance: meter readings in; performance, faults and the next
    step out."""


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


def _add(group: click.Group, command: click.Command) -> None:
    """Add a command, which takes --data too: people write it at the end."""
    if isinstance(command, click.Group):
        for below in command.commands.values():
            below.params.append(_data_option(hidden=True))
    else:
        command.params.append(_data_option(hidden=True))
    group.add_command(command)


root.params.insert(0, _data_option(hidden=False))
for module in _MODULES:
    for each in module.COMMANDS:
        _add(root, each)


def data_folder() -> Path:
    """Data folder of the current or last command, if known."""
    return _folder[0]
