"""The site file of a new home from its form."""

from __future__ import annotations

import re
from collections.abc import Mapping

from fieldfare.dashboards.site_form.edit import edited


def short_name(name: str) -> str:
    """A site id from a name: Alder Row is alder-row."""
    return re.sub(r"-+", "-", re.sub(r"[^a-z0-9]+", "-", name.lower())).strip("-")[:40]


def site_toml(form: Mapping[str, str]) -> str:
    """The site file's text from a form; omits empty fields and keeps invalid numbers as text."""
    given = {k: v.strip() for k, v in form.items() if v.strip()}
    if "site.id" not in given and "site.name" in given:
        given["site.id"] = short_name(given["site.name"])
    return edited("[site]\n", given, new=True)
