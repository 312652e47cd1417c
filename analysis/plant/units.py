"""Units as people and gateways write them, turned into canonical ones by pint."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any, NamedTuple

# What people write that a unit library does not read: powers without a sign, degree and micro signs.
_SPELLING = (
    (re.compile(r"°\s*"), "deg"),
    (re.compile(r"²"), "**2"),
    (re.compile(r"³"), "**3"),
    (re.compile(r"\b(m|cm|mm|ft)(\d)\b"), r"\1**\2"),
    (re.compile(r"\bCel\b"), "degC"),
)


class Conversion(NamedTuple):
    """canonical = value * scale + offset."""

    scale: float
    offset: float


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint  # a third of a second: only when a unit other than the canonical one is read

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


@lru_cache(maxsize=512)
def conversion(unit: str, canonical: str) -> Conversion:
    """How numbers in `unit` become numbers in `canonical`.

    unit, canonical : str, any unit pint reads; `m3/h`, `W/m2`, `°C` and `Cel` are read too
    Returns Conversion. Raises ValueError naming the unit if it is unknown or of another dimension.
    """
    if unit == canonical:
        return Conversion(1.0, 0.0)
    ureg = _registry()
    try:
        source, target = ureg.Unit(_spelled(unit)), ureg.Unit(_spelled(canonical))
    except Exception as error:
        raise ValueError(f"unknown unit {unit!r}") from error
    if not source.is_compatible_with(target):
        raise ValueError(f"{unit!r} does not measure what {canonical!r} does")
    zero = float(ureg.Quantity(0.0, source).to(target).magnitude)
    one = float(ureg.Quantity(1000.0, source).to(target).magnitude)
    return Conversion((one - zero) / 1000.0, zero)


def _spelled(unit: str) -> str:
    for pattern, replacement in _SPELLING:
        unit = pattern.sub(replacement, unit)
    return "percent" if unit.strip() == "%" else unit
