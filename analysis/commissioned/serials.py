"""Serial numbers of meters in the free text of a job."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator

from fieldfare.analysis.reports.checklists import METER

_SERIAL = re.compile(
    r"\b(?P<old>old\s+|previous\s+)?(?:serial(?:\s+(?:number|no\.?))?|s/n|ser\.?\s*no\.?)"
    r"\s*(?:(?:is|now)\b|[:=#])?\s*(?P<serial>[A-Za-z0-9][A-Za-z0-9./-]*)",
    re.IGNORECASE,
)
_SENTENCE = re.compile(r"(?<=[.;!?])\s+|\n")
_NAMES: dict[str, tuple[str, ...]] = {
    "heat_output": ("heat meter",),
    "space_heat": ("space heat", "heating meter"),
    "hot_water_heat": ("hot water", "hot-water"),
    "heat_pump_electricity": ("heat pump", "heat-pump", "electricity meter"),
    "house_electricity": ("house",),
    "immersion_electricity": ("immersion",),
    "backup_heater_electricity": ("back-up", "backup"),
    "circulation_pump_electricity": ("circulation pump", "pump meter"),
    "fan_electricity": ("fan",),
}
"""Quantity -> what people call its meter (common practice)."""


def serials_in(text: str, keys: Collection[tuple[str, str]]) -> dict[tuple[str, str], str]:
    """Serial numbers that a job's text gives, by (item, found) of the commissioning sheet.

    keys : serial numbers on that sheet. A number counts where its sentence leaves no doubt which meter it is
    of: that meter alone is named, or it is the only one.
    """
    found: dict[tuple[str, str], str] = {}
    for sentence, serial in _told(text):
        named = [key for key in keys if any(name in sentence for name in _names(key[0]))]
        chosen = named if named else list(keys)
        if len(chosen) == 1:
            found[chosen[0]] = serial
    return found


def _names(item: str) -> tuple[str, ...]:
    quantity = item.removeprefix(METER)
    return _NAMES.get(quantity, (quantity.replace("_", " "),))


def _told(text: str) -> Iterator[tuple[str, str]]:
    """Each sentence in small letters with a serial number in it; an old meter's is left out."""
    for sentence in _SENTENCE.split(text):
        for match in _SERIAL.finditer(sentence):
            serial = match["serial"].rstrip("./-")
            if not match["old"] and any(c.isdigit() for c in serial):
                yield sentence.lower(), serial
