"""Letters to a household, in its language."""

from __future__ import annotations

from fieldfare.dashboards.text import formats
from fieldfare.dashboards.text.language import gettext as _


def month_letter(home: str, month: str, where: str) -> tuple[str, str]:
    """Subject and text of the letter about a month's paper. where : the paper's address"""
    subject = _("{home}: your heating in {month}", home=home, month=formats.month(month))
    lead = _("Your month is ready to read:")
    return subject, f"{lead}\n\n{where}"
