"""Pages of settings: of a home, of the user, of the firm; and of people."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from fieldfare.analysis.errors import Problem
from fieldfare.analysis.plant.fields import LANGUAGES
from fieldfare.dashboards.site_form.edit import KeyChange
from fieldfare.dashboards.site_form.fields import beside_fields, groups_of, is_field
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text.language import DRAFTS, own_name

ROLES = (
    ("installer", "Installer: everything"),
    ("engineer", "Engineer: all homes, no settings"),
    ("householder", "Householder: their own homes"),
)
UNITS = (
    ("energy", "Energy", (("kWh", "kWh"), ("MJ", "MJ"))),
    ("flow", "Water flow", (("m3/h", "m³/h"), ("l/min", "litres a minute"))),
    ("pressure", "Pressure", (("bar", "bar"), ("kPa", "kPa"))),
)
SEVERITIES = (
    ("urgent", "Urgent: harm or damage may follow"),
    ("act", "Needs work"),
    ("watch", "Needs watching"),
)


def site_settings_page(
    row: dict[str, Any],
    values: Mapping[str, str],
    text: str,
    visitor: dict[str, Any],
    *,
    as_text: bool,
    problems: Iterable[Problem] = (),
    mark: str = "",
    changes: Sequence[KeyChange] | None = None,
    recalculates: Sequence[str] = (),
    notice: str = "",
    proposed: str = "",
    saved: bool = False,
    trouble: str = "",
) -> str:
    """Page of the site file as a form or as text, with a preview of changes.

    values : key -> value of its field. changes : None before a preview. proposed : the file to save
    """
    listed = list(problems)
    beside, above = beside_fields(listed, values, lambda key: is_field(key) and not as_text)
    groups = [] if as_text else groups_of(values)
    named = [(group.title, f) for group in groups for f in group.all if f.key in beside]
    wrong = [(f.key.replace(".", "-"), f"{title} · {f.label}", beside[f.key]) for title, f in named]
    return render(
        "site_settings.html",
        title=f"Settings, {row['name']}",
        here="site",
        visitor=visitor,
        row=row,
        values=dict(values),
        groups=groups,
        text=text,
        as_text=as_text,
        beside=beside,
        above=above,
        wrong=wrong,
        n=len(listed),
        mark=mark,
        changes=changes,
        recalculates=recalculates,
        notice=notice,
        proposed=proposed,
        saved=saved,
        trouble=trouble,
    )


def settings_page(
    values: Mapping[str, Any],
    visitor: dict[str, Any],
    *,
    problem: str = "",
    notice: str = "",
    feed: Mapping[str, Any] | None = None,
    new_address: str = "",
    channels: Sequence[str] = (),
    firm_quiet: tuple[int, int] = (21, 7),
    has_account: bool = True,
) -> str:
    """Page of personal settings.

    values : notices, channel (shown form), at_once, digest, quiet_from, quiet_to as text, units, language
    feed : with_contact, made and used, None without one. new_address : of a feed that was made just now.
        channels : kinds that may be given
    """
    return render(
        "settings.html",
        title="Settings",
        here="settings",
        visitor=visitor,
        values=values,
        problem=problem,
        notice=notice,
        feed=feed,
        new_address=new_address,
        channels=list(channels),
        firm_quiet=firm_quiet,
        has_account=has_account,
        units=UNITS,
        languages=[(code, own_name(code), code in DRAFTS) for code in LANGUAGES],
        severities=SEVERITIES,
        of_the_firm=visitor["role"] in ("installer", "engineer"),
    )


def firm_page(
    values: Mapping[str, str],
    visitor: dict[str, Any],
    *,
    problem: str = "",
    notice: str = "",
    logo: str = "",
    from_outside: bool = False,
) -> str:
    """Page of the firm's name, contact, place and logo. values : name, contact, latitude, longitude. logo :
    its URL, or empty
    from_outside : whether name and contact come from the environment"""
    return render(
        "firm.html",
        title="The firm",
        here="settings",
        visitor=visitor,
        values=values,
        problem=problem,
        notice=notice,
        logo=logo,
        from_outside=from_outside,
    )


def people_page(
    people: Sequence[Mapping[str, Any]],
    homes: Mapping[str, str],
    values: Mapping[str, str],
    visitor: dict[str, Any],
    *,
    problem: str = "",
    notice: str = "",
) -> str:
    """Page of all people, with the form to invite one. homes : site -> name. values : as typed"""
    return render(
        "people.html",
        title="People",
        here="settings",
        visitor=visitor,
        people=people,
        homes=homes,
        asked=values,
        problem=problem,
        notice=notice,
        roles=ROLES,
    )


def person_page(
    person: Mapping[str, Any],
    homes: Mapping[str, str],
    values: Mapping[str, str],
    visitor: dict[str, Any],
    *,
    problem: str = "",
    notice: str = "",
    link: str = "",
    ends: str = "",
    is_self: bool = False,
) -> str:
    """Page of one person: name, role, homes, stop, new invitation, removal. link : a new one-time address"""
    return render(
        "person.html",
        title=person["name"],
        here="settings",
        visitor=visitor,
        person=person,
        homes=homes,
        values=values,
        problem=problem,
        notice=notice,
        link=link,
        ends=ends,
        is_self=is_self,
        roles=ROLES,
    )
