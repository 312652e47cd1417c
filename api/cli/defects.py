"""`fieldfare defect-pack`: one suspected defect for somebody outside the firm."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from fieldfare.api.cli.options import from_option, say, to_option
from fieldfare.api.core.settings import Settings


@click.command("defect-pack")
@click.argument("site_id", metavar="SITE")
@click.argument("code", metavar="FINDING_CODE")
@from_option
@to_option
@click.option("--contact", is_flag=True, help="Keep the home's contact data in the site file.")
@click.option(
    "--out",
    required=True,
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="A new or an empty folder.",
)
@click.pass_obj
def defect_pack(
    settings: Settings,
    site_id: str,
    code: str,
    first: date | None,
    last: date | None,
    contact: bool,
    out: Path,
) -> None:
    """Write a case for one finding, for a maker or an expert: a paper, raw readings, events, figures,
    alternative explanations, checksums.

    Default: the days of the current verdict.
    """
    from fieldfare.api.core.service import opened_existing
    from fieldfare.api.records.defect_pack import case_of, write_to
    from fieldfare.dashboards.text.words import days_between

    with opened_existing(settings) as service:
        case = case_of(service, service.sites.get(site_id), code, first, last)
        pack = write_to(service, case, out, contact=contact)
    say(f"wrote {len(pack.files)} files to {out}, {days_between(case.first, case.last)}")
    if pack.note:
        say(f"note: {pack.note}", err=True)


COMMANDS = (defect_pack,)
