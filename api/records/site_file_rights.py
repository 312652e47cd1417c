"""Who may read a site file's contact, and the file without it."""

from __future__ import annotations

import tomlkit
from tomlkit.exceptions import TOMLKitError

from fieldfare.analysis.errors import InputError
from fieldfare.api.people.access import Actor


def file_for(actor: Actor, site: str, text: str) -> str:
    """A site file's text as an actor may read it: a home's link, which can be passed on, without the contact.

    Raises InputError where the contact can't be told apart from the rest.
    """
    if actor.may("contact.read", site):
        return text
    try:
        document = tomlkit.parse(text)
    except TOMLKitError:
        raise InputError(
            "the site file can't be read, so it is shown to people with an account alone"
        ) from None
    document.pop("contact", None)
    return tomlkit.dumps(document)
