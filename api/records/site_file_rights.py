"""Access to a site file with or without its contact section."""

from __future__ import annotations

import tomlkit
from tomlkit.exceptions import TOMLKitError

from fieldfare.analysis.errors import InputError
from fieldfare.api.people.access import Actor


def file_for(actor: Actor, site: str, text: str) -> str:
    """A site file as the actor may read it; home links, which can be passed on, get no contact.

    Raises InputError where the contact can't be separated from the rest.
    """
    if actor.may("contact.read", site):
        return text
    try:
        document = tomlkit.parse(text)
    except TOMLKitError:
        raise InputError("the site file can't be read, so only people with an account may see it") from None
    document.pop("contact", None)
    return tomlkit.dumps(document)
