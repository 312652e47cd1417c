"""Convert the fields of one point (text, numbers or codes) to values in the point's unit."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from fieldfare.analysis.plant.site import Csv, Point
from fieldfare.collector import arrow
from fieldfare.collector.csv.cells import original
from fieldfare.collector.csv.layout import JSON_ADVICE, NO_READING, Layout
from fieldfare.collector.validation import (
    Refusal,
    RefusedValue,
    decoded,
    kept_text,
    unit_change,
    value_trouble,
    values_in_trouble,
)

_NUMBER = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$|^[+-]?(?i:inf|infinity)$"

_DIGITS = r"[+-]?[\d.,'\x{2019} \x{a0}\x{202f}]*\d\.?(?:[eE][+-]?\d+)?"
_WITH_UNIT = rf"^(?P<number>{_DIGITS})\s*(?P<unit>[\pL%°/].*)$"
"""A field with its unit behind, such as "21.5 °C", in the syntax of RE2."""

_MOST_UNITS = 8
"""Different units in some rows of a column; an unknown one takes a millisecond to parse."""
_GROUP_SIGNS = {" ": "[ \u00a0\u202f]", "'": "['\u2019]"}
"""Thousands sign of the site file -> pattern of what exports write for it: spaces may be no-break ones."""


class Values(NamedTuple):
    """Values of some rows of one point.

    value : float64 or object (n,). present : bool (n,) or None where all are. refused : row -> why; not
        present
    """

    value: NDArray[Any]
    present: NDArray[np.bool_] | None
    refused: dict[int, Refusal]


def column_type(point: Point, csv: Csv) -> pa.DataType:
    """The Arrow type to parse a wide file's column as. Arrow reads no numbers with grouped thousands."""
    return pa.string() if point.form == "state" or csv.thousands else pa.float64()


def read_values(point: Point, column: pa.ChunkedArray, layout: Layout, unit: str | None = None) -> Values:
    """Convert a column, parsed or text, to stored values and validate it.

    unit : str, unit of the numbers; default the point's own. Raises RefusedValue if that unit does not fit
    """
    if point.form == "state":
        return _states(point, column, layout)
    if pa.types.is_floating(column.type):
        value, present = arrow.numbers(column), arrow.present(column)
        refused: dict[int, Refusal] = {}
    elif unit is None and (marked := _with_units(column)) is not None:
        return _of_units(point, column, marked, layout)
    else:
        value, present, refused = _numbers(column, layout.csv)
    if unit and unit != point.unit:
        scale, offset = unit_change(point, unit)
        value = value * scale + offset
    bad = values_in_trouble(point, value if present is None else value[present])
    if bad is not None:
        at = np.flatnonzero(bad) if present is None else np.flatnonzero(present)[bad]
        present = np.ones(len(value), dtype=bool) if present is None else present.copy()
        present[at] = False
        for row in at.tolist():
            refusal = value_trouble(point, float(value[row]))
            if refusal and not np.isnan(value[row]):
                refused[row] = refusal
    return Values(value, present, refused)


def has_units(fields: Iterable[str]) -> bool:
    """Whether any of some fields is a number with its unit behind it."""
    return _with_units(pa.chunked_array([arrow.texts(fields)])) is not None


def _with_units(column: pa.ChunkedArray) -> pa.StructArray | None:
    """Number and unit of the fields that have both, null for the others; None where no field has them, or
    where they say too many units to be some."""
    text = pa.concat_arrays(column.chunks) if column.num_chunks else arrow.texts([])
    split = pc.extract_regex(pc.utf8_trim_whitespace(text), _WITH_UNIT)
    bare = pc.match_substring_regex(text, f"^{_DIGITS}$")
    split = pc.if_else(bare, pa.nulls(len(split), split.type), split)
    units = pc.struct_field(split, "unit").unique().drop_null()
    return split if 0 < len(units) <= _MOST_UNITS else None


def _of_units(point: Point, column: pa.ChunkedArray, marked: pa.StructArray, layout: Layout) -> Values:
    """Values of a column whose fields may say their units, each converted by its own.

    A unit that does not fit the point refuses its fields.
    """
    units = pc.struct_field(marked, "unit").dictionary_encode(null_encoding="encode")
    codes, words = arrow.numbers(units.indices), units.dictionary.to_pylist()
    text = pc.coalesce(pc.struct_field(marked, "number"), pa.concat_arrays(column.chunks))
    value, present = np.full(len(codes), np.nan), np.zeros(len(codes), bool)
    refused: dict[int, Refusal] = {}
    for code, word in enumerate(words):
        rows = np.flatnonzero(codes == code)
        try:
            part = read_values(point, pa.chunked_array([text.take(arrow.array(rows))]), layout, word)
        except RefusedValue as error:
            refused |= dict.fromkeys(rows.tolist(), error.refusal)
            continue
        value[rows] = part.value
        present[rows] = True if part.present is None else part.present
        refused |= {int(rows[row]): why for row, why in part.refused.items()}
    return Values(value, None if present.all() else present, refused)


def _numbers(
    column: pa.ChunkedArray, csv: Csv
) -> tuple[NDArray[np.float64], NDArray[np.bool_] | None, dict[int, Refusal]]:
    decimal = csv.decimal
    if decimal == "." and not csv.thousands:
        try:
            value = arrow.numbers(column.cast(pa.float64()))
        except pa.ArrowInvalid:
            pass
        else:
            present = ~np.isnan(value)
            return value, None if present.all() else present, {}
    text = pc.utf8_trim_whitespace(column)
    blank = pc.is_in(text, arrow.texts(NO_READING))
    plain = _without_groups(text, csv) if csv.thousands else text
    if decimal == ",":
        pointed = pc.match_substring(plain, ".")
        plain = pc.if_else(pointed, pa.scalar("?"), pc.replace_substring(plain, ",", "."))
    good = pc.and_(pc.match_substring_regex(plain, _NUMBER), pc.invert(blank))
    unsigned = pc.replace_substring_regex(plain, r"^\+", "")
    numbers = pc.if_else(good, unsigned, pa.scalar(None, pa.string())).cast(pa.float64())
    present = good.to_numpy()
    rows = np.flatnonzero(~present & ~blank.to_numpy())
    given = text.take(rows).to_pylist()
    why = {t: _no_number(t, csv) for t in set(given)}
    refused = {row: why[t] for row, t in zip(rows.tolist(), given, strict=True)}
    return numbers.to_numpy(), None if present.all() else present, refused


def _without_groups(text: pa.ChunkedArray, csv: Csv) -> pa.ChunkedArray:
    """Numbers without thousands separators; other text unchanged."""
    sign = _GROUP_SIGNS.get(csv.thousands, re.escape(csv.thousands))
    grouped = pc.match_substring_regex(
        text, rf"^[+-]?\d{{1,3}}({sign}\d{{3}})+({re.escape(csv.decimal)}\d*)?$"
    )
    return pc.if_else(grouped, pc.replace_substring_regex(text, sign, ""), text)


def _no_number(given: str, csv: Csv) -> Refusal:
    """The refusal of a field that is no number, with the key of [csv] that would make it one."""
    said, decimal = f"{given[:40]!r} is not a number", csv.decimal
    if given.startswith(("{", "[")):
        return Refusal("not a number", f"{said} but JSON; {JSON_ADVICE}")
    other = "," if decimal == "." else "."
    for sign in (other, " ", "'"):
        pattern = _GROUP_SIGNS.get(sign, re.escape(sign))
        decimals = rf"({re.escape(decimal)}\d+)?"
        if sign == csv.thousands or not re.fullmatch(rf"[+-]?\d{{1,3}}({pattern}\d{{3}})+{decimals}", given):
            continue
        if sign == other and decimal not in given and given.count(sign) == 1:
            both = f"set thousands = {sign!r}, or decimal = {sign!r}, in the site's [csv]"
            return Refusal("not a number", f"{said} ({both})", "thousands or decimal")
        key = f"thousands = {sign!r}"
        return Refusal("not a number", f"{said} (set {key} in the site's [csv])", key)
    if given.count(other) == 1 and given.replace(other, "").lstrip("+-").isdigit():
        key = f"decimal = {other!r}"
        return Refusal("not a number", f"{said} (the site's [csv] has decimal = {decimal!r})", key)
    return Refusal("not a number", said)


def _states(point: Point, column: pa.ChunkedArray, layout: Layout) -> Values:
    """Decode each distinct word once, then by index. Texts of fieldfare's own exports are kept unchanged."""
    blanks, as_is = layout.blanks, layout.is_export and point.kind.is_text
    encoded = pc.dictionary_encode(column, null_encoding="encode").combine_chunks()
    if isinstance(encoded, pa.ChunkedArray):
        encoded = encoded.chunk(0)
    words = encoded.dictionary.to_pylist()
    codes = arrow.numbers(encoded.indices)
    values: list[float | str] = []
    present = np.ones(len(words), dtype=bool)
    why: dict[int, Refusal] = {}
    for number, word in enumerate(words):
        stripped = (word or "") if as_is else (word or "").strip()
        value: float | str = "" if point.kind.is_text else 0.0
        if stripped in blanks and stripped not in point.values:
            present[number] = False
        else:
            try:
                value = kept_text(original(stripped)) if as_is else decoded(point, stripped)
            except RefusedValue as error:
                present[number], why[number] = False, error.refusal
        values.append(value)
    table = np.array(values, dtype=object if point.kind.is_text else np.float64)
    refused = (
        {row: why[int(codes[row])] for row in np.flatnonzero(np.isin(codes, list(why))).tolist()}
        if why
        else {}
    )
    if not len(codes):
        return Values(np.empty(0, table.dtype), None, {})
    return Values(table[codes], None if present.all() else present[codes], refused)
