"""What the words of a state column mean: proposals for a point's `values`, in several languages.

The words are those of dictionaries and of controls' menus (common practice, no source). A number means what
its maker chose, so only the 0 and 1 of a switch are known.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

from fieldfare.analysis.plant.fields import UNSAID
from fieldfare.analysis.plant.quantities import QUANTITIES

MOST_WORDS = 40
"""Different words in a column; one with more is no state."""
_MODES: tuple[tuple[str, str], ...] = (
    (
        r"defrost|de-?ic|abtau|enteis|degivr|sbrin|descongel|desescarch|ontdooi|odszran|odmraz|afrim|avfrost"
        r"|sulat",
        "defrost",
    ),
    (
        r"hot ?water|\bdhw\b|domestic|warmwasser|trinkwasser|brauchwasser|\bww\b|\btww\b|\bbww\b|eau chaude"
        r"|\becs\b|acqua calda|sanitari|\bacs\b|agua caliente|agua quente|warm ?water|tapwater|\bcwu\b"
        r"|ciepla woda|tepla voda|\btuv\b|brugsvand|varmvatten|tappevann|kayttovesi|cylinder"
        r"|boiler(?!.*heat)",
        "hot_water",
    ),
    (
        r"cool|kuhl|kuehl|refroid|raffresc|raffredd|frio|refriger|koel|chlodz|chlaz|\bkol|kyla|kjol|jaahdy",
        "cooling",
    ),
    (
        r"heat|heiz|chauff|riscald|calef|aquec|verwarm|ogrzew|topeni|vytap|opvarm|varme|uppvarm|oppvarm|lammi"
        r"|\bch\b|\bhz\b",
        "heating",
    ),
    (
        r"^(off|aus|idle|stand ?by|stop(ped)?|bereit(schaft)?|ruhe|pause|arret|veille|spent[oa]|fermo|attesa"
        r"|apagad[oa]|parad[oa]|reposo|desligad[oa]|uit|rust|wylaczon[ey]|postoj|vypnuto|klid|slukket|fra|av"
        r"|avstangd|pois|no demand|kein bedarf|none)$",
        "off",
    ),
)
"""Patterns for words without accents, the most specific first: heating hot water is hot water."""
_ON = re.compile(
    r"(on|an|ein|aktiv|active|true|yes|ja|oui|marche|si|acceso|activo|encendido|sim|ligado|aan|tak|wlaczony"
    r"|ano|zapnuto|taendt|til|pa|paalla|1)"
)
_OFF = re.compile(
    r"(off|aus|inaktiv|inactive|false|no|nein|non|arret|spento|inactivo|apagado|nao|desligado|uit|nee|nie"
    r"|wylaczony|ne|vypnuto|slukket|fra|nej|av|ei|pois|0)"
)


def state_words(quantity: str, words: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """Each word that a state column has and that needs a meaning, with its state; `UNSAID` where that is not
    known. Empty for quantities without states, and for columns with too many words to be one."""
    states = QUANTITIES[quantity].states if quantity in QUANTITIES else None
    if states is None:
        return ()
    found = sorted({w.strip() for w in words} - {""})
    if len(found) > MOST_WORDS:
        return ()
    return tuple((w, _state_of(w, states)) for w in found if w.lower() not in states)


def _state_of(word: str, states: dict[str, int]) -> str:
    plain = unicodedata.normalize("NFKD", word.replace("ø", "o").replace("ł", "l").replace("æ", "ae"))
    plain = re.sub(r"[\s_\-/]+", " ", plain.encode("ascii", "ignore").decode()).strip().lower()
    if "1" in states:
        number = _number(plain)
        for pattern, state in ((_ON, "1"), (_OFF, "0")):
            if pattern.fullmatch(plain if number is None else number):
                return state
        return UNSAID
    return next((state for pattern, state in _MODES if re.search(pattern, plain)), UNSAID)


def _number(plain: str) -> str | None:
    try:
        number = float(plain)
    except ValueError:
        return None
    return f"{number:g}"
