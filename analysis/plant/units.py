"""Convert units to canonical ones: common units by a table, others by pint.

Units come from untrusted files and messages, so a closed grammar is checked before pint sees them: names
joined by `*`, `/` or a blank, each with a one-digit power, after one number at most. Other numbers, brackets
and long texts are rejected.
"""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import Any, NamedTuple

from fieldfare.analysis.plant.common_units import COMMON_UNITS

LONGEST_UNIT = 40
"""Characters of a unit; the longest in use ("kilowatt_hour / meter ** 2") have some 25."""

# Spellings that pint does not read: powers without an operator, degree and micro signs, a raised dot.
_SPELLING = (
    (re.compile(r"°\s*"), "deg"),
    (re.compile(r"²"), "**2"),
    (re.compile(r"³"), "**3"),
    (re.compile(r"[·⋅×]"), "*"),
    (re.compile(r"\b(m|cm|mm|ft)(\d)\b"), r"\1**\2"),
    (re.compile(r"\bCel\b"), "degC"),
)
_FACTOR = r"[A-Za-zµμΩ_][A-Za-z0-9µμΩ_]*(?: ?(?:\*\*|\^) ?-?[0-9])?"
_GRAMMAR = re.compile(rf"(?:1 ?/ ?)?{_FACTOR}(?:(?: ?[*/] ?| ){_FACTOR}){{0,5}}")


_TIMES = re.compile(r"(-?[0-9]{1,6}(?:\.[0-9]{1,9})?) ?\*? ?(?=[A-Za-zµμΩ°%])(.*)")
"""A number before a unit: 0.1 kWh of a pulse, 0.1 degC of whole tenths, -1 W of a clamp turned round."""


class Conversion(NamedTuple):
    """canonical = value * scale + offset."""

    scale: float
    offset: float


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint  # building the registry takes 0.3 s: only for units outside COMMON_UNITS

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


def conversion(unit: str, canonical: str) -> Conversion:
    """Return the conversion from `unit` to `canonical`.

    unit, canonical : str, a product of named units with small powers; `m3/h`, `W/m2`, `°C` and `Cel` are also
        read, and one number before them: `0.1 kWh`
    Returns Conversion. Raises ValueError naming the unit if it is unknown, of another dimension or not
        linear.
    """
    if unit == canonical:
        return Conversion(1.0, 0.0)
    if len(unit) > LONGEST_UNIT:
        raise ValueError(
            f"unknown unit {shown_unit(unit)}: {len(unit)} characters, at most {LONGEST_UNIT} are read"
        )
    if (found := _TIMES.fullmatch(unit)) and (factor := float(found[1])):
        scale, offset = conversion(found[2], canonical)
        return Conversion(factor * scale, offset)
    return _common(unit, canonical) or _by_pint(unit, canonical)


def _common(unit: str, target: str) -> Conversion | None:
    """Conversion between two units of one table of COMMON_UNITS; None if there is none."""
    for table in COMMON_UNITS.values():
        if unit in table and target in table:
            (scale, offset), (target_scale, target_offset) = table[unit], table[target]
            return Conversion(scale / target_scale, (offset - target_offset) / target_scale)
    return None


def shown_unit(unit: str) -> str:
    """A unit for a message, truncated if long."""
    return repr(unit if len(unit) <= LONGEST_UNIT else f"{unit[:LONGEST_UNIT]}...")


@lru_cache(maxsize=512)
def _by_pint(unit: str, canonical: str) -> Conversion:
    ureg = _registry()
    try:
        source, target = ureg.Unit(_spelled(unit)), ureg.Unit(_spelled(canonical))
        compatible = source.is_compatible_with(target)
    except Exception as error:
        raise ValueError(f"unknown unit {unit!r}") from error
    if not compatible:
        raise ValueError(f"{unit!r} does not measure what {canonical!r} does")
    try:
        zero, half, one = (
            float(ureg.Quantity(value, source).to(target).magnitude) for value in (0.0, 500.0, 1000.0)
        )
    except Exception as error:
        raise ValueError(f"{unit!r} can't be converted to {canonical!r}") from error
    scale = (one - zero) / 1000.0
    if not math.isfinite(scale) or scale == 0.0 or not math.isclose(half, zero + 500.0 * scale, rel_tol=1e-9):
        raise ValueError(f"{unit!r} is not a linear measure of {canonical!r}")
    return Conversion(scale, zero)


def _spelled(unit: str) -> str:
    """A unit in pint's spelling. Raises ValueError for what the grammar does not allow."""
    unit = " ".join(unit.split())
    for pattern, replacement in _SPELLING:
        unit = pattern.sub(replacement, unit)
    if unit == "%":
        return "percent"
    if not _GRAMMAR.fullmatch(unit):
        raise ValueError(f"unknown unit {unit!r}")
    return unit
