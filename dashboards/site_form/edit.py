"""Apply form changes to the site file of an existing home. Keeps comments, key order and everything without a
field.

Comments, the order of keys and everything that has no field stay as they are.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from typing import Any, NamedTuple

import tomlkit
from tomlkit.container import OutOfOrderTableProxy
from tomlkit.items import AoT, Array, InlineTable, Table

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.plant.toml_text import quoted
from fieldfare.dashboards.site_form.fields import (
    LISTS,
    Field,
    field_of,
    is_field,
    is_new_field,
    leaves,
    shown,
    title_of,
    values_of,
)
from fieldfare.dashboards.site_form.schema import JOIN
from fieldfare.dashboards.text.words import plain


class KeyChange(NamedTuple):
    """A key whose value differs. before, after : as text; empty if not given"""

    key: str
    label: str
    before: str
    after: str


def edited(text: str, form: Mapping[str, str], *, new: bool = False) -> str:
    """The file with the form's changes; untouched text is kept unchanged.

    form : key -> text, of the submitted fields. new : from the form of a new home
    Raises tomllib.TOMLDecodeError for a file that can't be read
    """
    before = values_of(text)
    document = tomlkit.parse(text)
    wanted = {k: v.strip() for k, v in form.items() if (is_new_field if new else is_field)(k)}
    changed = {k: v for k, v in wanted.items() if v != before.get(k, "") and not _is_default(k, v, before)}
    if not changed:
        return text
    points = {k for k in changed if k.startswith("heating_curve.points.")}
    if points:
        _set_points(document, {**before, **wanted})
    for key in (k for k in changed if k not in points):
        _set(document, key, changed[key])
    for name in LISTS.keys() - {"heating_curve.points"}:
        _drop_empty_rows(document, name)
    return tomlkit.dumps(document)


def _is_default(key: str, value: str, before: Mapping[str, str]) -> bool:
    """Whether a choice missing in the file was left at its default."""
    choices = field_of(key).choices
    return key not in before and bool(choices) and value == choices[0]


def _set(document: Any, key: str, value: str) -> None:
    table, last = _table_of(document, key, make=bool(value))
    if table is None:
        return
    if value:
        table[last] = tomlkit.value(toml_value(field_of(key), value))
    elif last in table:
        del table[last]


def _table_of(document: Any, key: str, *, make: bool) -> tuple[Any, str]:
    """The table of a key, created if needed; None if it is absent and not to be created.

    Raises InputError if the file has something else in that place.
    """
    *path, last = key.split(".")
    at, n = document, 0
    while n < len(path):
        name = path[n]
        in_list = n + 1 < len(path) and path[n + 1].isdecimal()
        if name not in at:
            if not make:
                return None, last
            at[name] = tomlkit.aot() if in_list else tomlkit.table()
        at, n = at[name], n + 1
        if in_list:
            at, n = _row_of(at, int(path[n]), name, make=make), n + 1
        if at is None:
            return None, last
        if not isinstance(at, Table | InlineTable | OutOfOrderTableProxy):
            raise _other_form(name)
    return at, last


def _row_of(rows: Any, row: int, name: str, *, make: bool) -> Any:
    """A row of a list of tables, `[[name]]` or `name = [{...}]`; None if it is absent and not to be
    created."""
    if not isinstance(rows, AoT | Array):
        raise _other_form(name)
    while len(rows) <= row:
        if not make:
            return None
        rows.append(tomlkit.table() if isinstance(rows, AoT) else tomlkit.inline_table())
    return rows[row]


def _other_form(name: str) -> InputError:
    return InputError(f"{name} is written in a form that has no fields here; change the file's text instead")


def _drop_empty_rows(document: Any, name: str) -> None:
    """Remove empty rows of a list, and an empty list.

    New rows end with an empty line.
    """
    *path, last = name.split(".")
    at = document
    for part in path:
        at = at.get(part, {}) if hasattr(at, "get") else {}
    rows = at.get(last) if hasattr(at, "get") else None
    if not isinstance(rows, AoT | Array):
        return
    for n in range(len(rows) - 1, -1, -1):
        if not rows[n]:
            del rows[n]
        elif isinstance(rows[n], Table) and not rows[n].as_string().endswith("\n\n"):
            rows[n].add(tomlkit.nl())
    if not len(rows):
        del at[last]


def _set_points(document: Any, values: Mapping[str, str]) -> None:
    """The heating curve's pairs, as far as either half is given."""
    rows = sorted(
        {int(k.split(".")[2]) for k, v in values.items() if k.startswith("heating_curve.points.") and v}
    )
    pairs = [[_number(values.get(f"heating_curve.points.{n}.{half}", "")) for half in (0, 1)] for n in rows]
    if not pairs:
        document.pop("heating_curve", None)
        return
    table, last = _table_of(document, "heating_curve.points", make=True)
    table[last] = pairs


def _number(text: str) -> Any:
    return tomllib.loads(f"x = {_number_or_text(text)}")["x"]


def changes(before: Site, after: Site) -> list[KeyChange]:
    """Differences between two site files, ignoring comments and key order."""
    old, new = (
        dict(leaves(s.model_dump(mode="json", by_alias=True, exclude_none=True))) for s in (before, after)
    )
    return [
        KeyChange(key, _label(key), _value_text(old.get(key)), _value_text(new.get(key)))
        for key in dict.fromkeys([*old, *new])
        if old.get(key) != new.get(key)
    ]


def _value_text(value: Any) -> str:
    return "" if value is None else f"{value:g}" if isinstance(value, float) else shown(value)


def _label(key: str) -> str:
    """Name of a key: section and field, or the key's parts."""
    if not is_field(key):
        return " · ".join(
            plain(part) if not part.isdecimal() else str(int(part) + 1) for part in key.split(".")
        )
    row = next((f"{int(part) + 1}: " for part in key.split(".")[1:-1] if part.isdecimal()), "")
    return f"{title_of(key)} · {row}{field_of(key).label}"


def toml_value(field: Field, text: str) -> str:
    """Value of a field for TOML; an invalid number, date or choice stays text, which validation refuses by
    name."""
    if field.kind == "number":
        return _number_or_text(text)
    if field.kind == "date" and re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
        return text
    if field.kind == "choice" and text in ("true", "false"):
        return text
    if field.kind == "words":
        return f"[{', '.join(quoted(w) for part in text.split(JOIN.strip()) if (w := part.strip()))}]"
    return quoted(text)


def _number_or_text(text: str) -> str:
    point = text.replace(",", ".").replace("−", "-")
    try:
        value = float(point)
    except ValueError:
        return quoted(text)
    return str(int(value)) if value.is_integer() and "." not in point else repr(value)
