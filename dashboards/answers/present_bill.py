"""Present a bill's answer as text, for the office and the household."""

from __future__ import annotations

from typing import Any

from fieldfare.dashboards.answers import bill_texts as texts
from fieldfare.dashboards.answers.bill_amounts import amount, least_of, owners_of, sure_shares, unit_of
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.language import gettext as _
from fieldfare.dashboards.text.language import is_english, listed, marked

_MOST_NAMED = 3
"""Parts in the headline."""
_LIKELY_SHARE = 0.5
"""Of the difference: what a likeliest cause explains (common practice)."""
_ALSO_SHARE = 0.1
"""Of the same: from here on the largest part that is not the weather is named too."""
_NAMED_SHARE = 0.8
"""Share of all that distinguished parts added and took off which those of the headline explain;
smaller parts are in the table."""


def present_bill(document: dict[str, Any], *, home: bool) -> dict[str, Any]:
    """Contents of a bill's answer for page, paper and command. home : worded for the household"""
    out: dict[str, Any] = {
        "title": _("Why the bill is high"),
        "lead": _lead(document, home),
        "say": _say(document, home),
        "rows": [],
        "groups": [],
        "why": [],
        "mend": _mend(document, home),
        "ask": _ask(document, home),
        "unknown": [texts.UNKNOWN[u["reason"]] for u in document["untold"]],
        "billed": _billed(document, home),
        "culprits": [] if home else [words.finding_title(c) for c in document.get("culprits", ())],
        "against": _(texts.AGAINST[document["against"]]),
        "next": _next(document, home),
        "method": _(HOME_METHOD) if home else _METHOD,
    }
    if not document["parts"]:
        return out
    out["rows"] = [_row(document, p) for p in _ordered(document) if _is_shown(document, p, home)]
    out["sum"] = _sum(document)
    out["groups"] = _groups(document)
    if not home and any(p["code"] == "efficiency" and p["told"] for p in document["parts"]):
        out["why"] = [_why(w) for w in document["why"] if abs(w["kwh"]) >= 1.0]
    return out


_METHOD = (
    "Each part is its mean effect over every order in which the causes can come (Shapley "
    "value), so the parts add up to the metered difference. "
    "The line of heat over weather, rooms and sun, and the efficiency over weather, are "
    "fitted to the days of both sides; ranges are 95 % intervals."
)
HOME_METHOD = marked(
    "Each part is what one cause changed while all else stayed the same; together they make up the metered"
    " difference. They are calculated from the days before and now: how cold it was, how warm the rooms were,"
    " and how much heat the heat pump made of its electricity."
)


def _is_shown(document: dict[str, Any], part: dict[str, Any], home: bool) -> bool:
    """The household sees only relevant parts; compared with the design or similar homes, weather and prices
    are equal."""
    if document["against"] != "year" and part["whose"] in ("weather", "price"):
        return False
    return not home or _is_distinguished(part)


def _is_distinguished(part: dict[str, Any]) -> bool:
    return bool(part["told"])


def _ordered(document: dict[str, Any]) -> list[dict[str, Any]]:
    """Parts, largest first, the unexplained rest last."""
    unit = unit_of(document)
    return sorted(document["parts"], key=lambda p: (p["code"] == "rest", -abs(p[unit]["value"])))


def _lead(document: dict[str, Any], home: bool) -> list[str]:
    change = document["difference"]
    if any(u["reason"] == "other_heat" for u in document["untold"]):
        return _shared_lead(document)
    if not document["parts"]:
        return [
            _(
                "The electricity readings of these days can't be trusted: the meter comes first, then the"
                " bill."
            )
        ]
    unit = unit_of(document)
    value = change[unit]
    period = document["period"]
    days = f"{words.day(period['from'])} to {words.day(period['to'])}"
    kind = "same" if abs(value) < least_of(document, unit) else "more"
    if kind == "more" and value <= 0.0 and document["against"] == "year":
        kind = "not_higher"
    heating = _("The heating") if home else f"The heating, {days},"
    if kind == "not_higher":
        heating = _("the heating") if home else words.small_first(heating)
    first = _(
        texts.LEAD[kind, unit],
        heating=heating,
        difference=_difference(document),
        against=_(texts.AGAINST[document["against"]]),
        although=_although(document),
    )
    earlier = [_(texts.ONLY_DESIGN)] if _no_earlier(document) else []
    return [
        first,
        *earlier,
        *_reasons(document),
        *_seen(document),
        *_away(document),
        *([] if home else _costly(document)),
    ]


def _difference(document: dict[str, Any]) -> str:
    """`£37 (143 kWh, 12 %) more`: kWh only if they changed in the same direction, a share only if there was
    an earlier value."""
    change, unit = document["difference"], unit_of(document)
    beside = []
    if unit == "money" and change["kwh"] * change["money"] > 0.0:
        beside.append(words.measure(abs(change["kwh"]), "kWh", 0))
    if base := document["before"][unit]:
        beside.append(words.share(abs(change[unit] / base)))
    in_brackets = f" ({', '.join(beside)})" if beside else ""
    size = f"{amount(document, abs(change[unit]), unit)}{in_brackets}"
    return _("{amount} more", amount=size) if change[unit] > 0 else _("{amount} less", amount=size)


def _although(document: dict[str, Any]) -> str:
    """Sentence for money and electricity that changed in opposite directions."""
    change = document["difference"]
    if change["money"] is None or change["kwh"] * change["money"] >= 0.0:
        return ""
    used = words.measure(abs(change["kwh"]), "kWh", 0)
    if change["kwh"] > 0:
        return _(", although it used {amount} more", amount=used)
    return _(", although it used {amount} less", amount=used)


def _next(document: dict[str, Any], home: bool) -> str:
    """What to check next, by the owner of the largest certain increase."""
    unit, told = unit_of(document), texts.HOME_NEXT if home else texts.NEXT
    parts = [p for p in document["parts"] if p["told"] and p[unit] and p[unit]["value"] > 0.0]
    largest = max(parts, key=lambda p: p[unit]["value"], default=None)
    whose = largest["whose"] if largest is not None else "paper"
    return _(told.get(whose, told["paper"]))


def _costly(document: dict[str, Any]) -> list[str]:
    """Cost of the home's open findings, which a total below the design hides."""
    found = document.get("costly", ())
    titles = [
        f"{words.small_first(words.finding_title(f['finding']))}, {words.price_tag(f, document['currency'])}"
        for f in found
    ]
    return [f"Also found at this home: {words.listed(titles)}; we look into that."] if titles else []


def _seen(document: dict[str, Any]) -> list[str]:
    """Settings that the readings show to differ, of parts that are told."""
    told = {p["code"] for p in document["parts"] if p["told"]}
    # stored answers of earlier releases lack it
    return [
        _(texts.SEEN[row["code"]], **{n: words.measure(row[n], "°C", 1) for n in ("before", "now")})
        for row in document.get("seen", ())
        if told & set(texts.SEEN_OF[row["code"]])
    ]


def _away(document: dict[str, Any]) -> list[str]:
    """That nobody was at home, then or now."""
    days = document.get("away") or {}
    before, now = days.get("before") or 0, days.get("now") or 0
    if not (before or now):
        return []
    return [_(texts.AWAY[before > 0, now > 0], before=words.span(before), now=words.span(now))]


def _shared_lead(document: dict[str, Any]) -> list[str]:
    """The difference if another heat source contributes, with its heat."""
    change = document["difference"]["kwh"]
    sentences = [
        _("Another heat source shares the work with the heat pump, so the bill is not split by cause.")
    ]
    if change is not None:
        size = words.measure(abs(change), "kWh", 0)
        sentences.append(
            _(
                "The heat pump used {difference} than {against}.",
                difference=_("{amount} more", amount=size) if change > 0 else _("{amount} less", amount=size),
                against=_(texts.AGAINST[document["against"]]),
            )
        )
    before, now = (document["other_heat_kwh"][side] for side in ("before", "now"))
    if now is not None:
        heat = words.measure(now, "kWh", 0)
        sentences.append(_("The other source gave {heat} of heat.", heat=heat))
        if before is not None:
            sentences.append(_("A year ago it gave {heat}.", heat=words.measure(before, "kWh", 0)))
    return sentences


def _reasons(document: dict[str, Any]) -> list[str]:
    """The relevant parts in one sentence."""
    unit = unit_of(document)
    parts = _headline_parts(
        [p for p in _ordered(document) if _is_distinguished(p) and p["code"] != "rest"], unit
    )
    if not parts:
        return [
            _(
                "No single cause stands out: weather, habits and meters explain a difference of this size by"
                " chance."
            )
        ]
    out = []
    for p in parts:
        said = _sentence(document, p["code"], more=p[unit]["value"] > 0)
        out.append(f"{_(said)} ({_amount(document, p)})")
    return [words.sentence(listed(out))]


def _beside(document: dict[str, Any], code: str) -> tuple[str, str, str] | None:
    """Words of a part that another source shares, which is then no habit of the household."""
    reasons = [u["reason"] for u in document["untold"] if u["part"] == code]
    return next((texts.BESIDE[r] for r in reasons if r in texts.BESIDE), None)


def _sentence(document: dict[str, Any], code: str, *, more: bool) -> str:
    beside = _beside(document, code)
    if beside is not None:
        return beside[1 if more else 2]
    return (texts.MORE_SENTENCES if more else texts.LESS_SENTENCES)[code]


def _headline_parts(parts: list[dict[str, Any]], unit: str) -> list[dict[str, Any]]:
    """The largest parts that together explain most. parts : the largest first"""
    sizes = [abs(p[unit]["value"]) for p in parts]
    enough = _NAMED_SHARE * sum(sizes)
    n = next((n for n in range(1, len(sizes) + 1) if sum(sizes[:n]) >= enough), 0)
    named = parts[: min(n, _MOST_NAMED)]
    if all(p["code"] == "weather" for p in named):
        # The weather explains most: say what somebody can act upon beside it.
        named += [p for p in parts[n : n + 1] if abs(p[unit]["value"]) >= _ALSO_SHARE * sum(sizes)]
    return named


def _amount(document: dict[str, Any], part: dict[str, Any]) -> str:
    unit = "kwh" if part["money"] is None else "money"
    value = part[unit]["value"]
    return f"{'+' if value > 0 else ''}{amount(document, value, unit)}"


def _say(document: dict[str, Any], home: bool) -> str:
    """A reply for the phone, in two or three sentences."""
    if home:
        return ""
    if not document["parts"]:
        return f"“{texts.SAY_DISTRUSTED if 'culprits' in document else ' '.join(_shared_lead(document))}”"
    unit = unit_of(document)
    change = document["difference"][unit]
    least = least_of(document, unit)
    beside = (
        *([texts.SAY_ONLY_DESIGN] * _no_earlier(document)),
        *_seen(document),
        *_away(document),
        *_costly(document),
    )
    also = "".join(f" {sentence}" for sentence in beside)
    against = texts.AGAINST[document["against"]]
    verb = "used" if unit == "kwh" else "cost"
    if abs(change) < least:
        return f"“Your heating {verb} about as much as {against}.{also}”"
    more = "more" if change > 0 else "less"
    first = f"Your heating {verb} {_size(document, change, unit)} {more} than {against}."
    shares = sure_shares(document)
    if all(share["whose"] == "unsure" for share in shares):
        return f"“{first} {_likeliest(document, unit)}{also}”"
    parts = [
        (texts.SAY_MORE if share[unit] > 0 else texts.SAY_LESS)[share["whose"]].format(
            size=_size(document, share[unit], unit)
        )
        for share in shares
        if share[unit]
    ]
    return f"“{first} {words.sentence('; '.join(parts))}{also}”"


def _no_earlier(document: dict[str, Any]) -> bool:
    return bool(document.get("no_earlier"))


def _likeliest(document: dict[str, Any], unit: str) -> str:
    """If no part is certain: the one that may explain most of the difference."""
    change = document["difference"][unit]
    parts = [p for p in document["parts"] if p["code"] != "rest" and p[unit]["value"] * change > 0.0]
    most = max(parts, key=lambda p: abs(p[unit]["value"]), default=None)
    if most is None or abs(most[unit]["value"]) < _LIKELY_SHARE * abs(change):
        return "No single cause stands out."
    said = _sentence(document, most["code"], more=change > 0)
    return f"No cause is sure; the likeliest is that {words.small_first(said)}."


def _size(document: dict[str, Any], value: float, unit: str) -> str:
    return amount(document, abs(value), unit)


def _row(document: dict[str, Any], part: dict[str, Any]) -> dict[str, Any]:
    size = part["money"] or part["kwh"]
    beside = _beside(document, part["code"])
    name = beside[0] if beside else texts.LESS.get(part["code"]) if size["value"] < 0 else None
    only_money = part["code"] in ("tariff", "timing", "standing_charge")
    return {
        "code": part["code"],
        "name": _(name or texts.PARTS[part["code"]]),
        "whose": texts.WHOSE[owners_of(document)[part["code"]]],
        "kwh": "–" if only_money else words.interval(part["kwh"], "kWh", 0),
        "money": _money(document, part["money"]),
        "is_shown": part["told"],
        "findings": [(c, words.finding_title(c)) for c in part["findings"]],
    }


def _money(document: dict[str, Any], estimate: dict[str, float] | None) -> str:
    if estimate is None:
        return "–"
    value, low, high = (amount(document, estimate[n], "money") for n in ("value", "low", "high"))
    return value if low == high else _("{value} ({low} to {high})", value=value, low=low, high=high)


def _sum(document: dict[str, Any]) -> dict[str, Any]:
    def side(key: str) -> dict[str, str]:
        return {
            "kwh": words.measure(document[key]["kwh"], "kWh", 0),
            "money": (
                amount(document, document[key]["money"], "money")
                if document[key]["money"] is not None
                else "–"
            ),
        }

    before, now, change = side("before"), side("now"), side("difference")
    return {
        "before": before,
        "now": now,
        "difference": change,
        "name": _(texts.AGAINST_SHORT[document["against"]]),
    }


def _groups(document: dict[str, Any]) -> list[dict[str, str]]:
    has_money = document["difference"]["money"] is not None
    return [
        {
            "whose": words.capital(texts.WHOSE[share["whose"]]),
            "kwh": words.measure(share["kwh"], "kWh", 0),
            "money": amount(document, share["money"], "money") if has_money else "–",
        }
        for share in sure_shares(document)
    ]


def _why(row: dict[str, Any]) -> dict[str, str]:
    return {
        "name": words.loss_words(row["cause"]),
        "kwh": words.interval({"value": row["kwh"], "low": row["low"], "high": row["high"]}, "kWh", 0),
    }


def _mend(document: dict[str, Any], home: bool) -> list[str]:
    """Repair cost of each part that added to the bill."""
    out: list[str] = []
    ours: list[str] = []
    for part in _ordered(document):
        size = part["money"] or part["kwh"]
        if not part["told"] or size["value"] <= 0.0:
            continue
        if (home and part["code"] in texts.OWN_ADVICE and part["whose"] == "household") or (
            home and part["code"] == "direct_heat"
        ):
            out.append(_(texts.OWN_ADVICE[part["code"]]))
        elif home and part["mend"]:
            name = _(texts.PARTS[part["code"]])
            ours.append(words.small_first(name) if ours and is_english() else name)
        elif not home and part["mend"]:
            out.append(_mend_line(document, part))
        elif not home and part["whose"] == "household":
            out.append(
                f"{texts.PARTS[part['code']]}: a phone call, no cost; "
                f"{words.small_first(texts.OWN_ADVICE[part['code']])}"
            )
    if ours:
        out.append(
            _("{parts}: your installer puts this right. Please call, and name this page.", parts=listed(ours))
        )
    return out


def _mend_line(document: dict[str, Any], part: dict[str, Any]) -> str:
    mend = part["mend"]
    text = (
        f"{texts.PARTS[part['code']]}: “{words.finding_title(mend['finding'])}” {texts.MEND[mend['visit']]}"
    )
    if mend["bring"]:
        text += f", bring {words.listed(mend['bring'])}"
    if part["money"] is not None:
        a_month = part["money"]["value"] / document["days"] * 30.4
        text += f"; worth about {amount(document, a_month, 'money')} a month in such weather"
    if mend["pays_back_days"]:
        text += f", so a visit pays back in {words.span(round(mend['pays_back_days']))}"
    return f"{text}."


def _ask(document: dict[str, Any], home: bool) -> list[str]:
    codes = dict.fromkeys(document["ask"])
    return [_(texts.ASK[c]) for c in codes if not home or c in texts.HOME_ASK]


def _billed(document: dict[str, Any], home: bool) -> str:
    """Electricity on the paper bill beyond the heating."""
    billed = document["billed"]
    if billed is None:
        return ""
    out = []
    if billed["other_kwh"] is not None:
        sizes = {
            "billed": words.measure(billed["kwh"], "kWh", 0),
            "heating": words.measure(document["now"]["full_kwh"], "kWh", 0),
        }
        if billed["other_kwh"] >= 0.0:
            other = words.measure(billed["other_kwh"], "kWh", 0)
            out.append(
                _(
                    "The paper bill has {billed}; the heating used {heating} of it. The other {other} went to"
                    " other things on the same meter.",
                    other=other,
                    **sizes,
                )
            )
            out.append(_("What else hangs on that meter?") if home else "Ask which things.")
        else:
            out.append(
                _(
                    "The paper bill has {billed}, less than the heating alone used ({heating}): its reading"
                    " is an estimate, its dates differ, or it is of another meter.",
                    **sizes,
                )
            )
    if billed["other_money"] is not None:
        other = amount(document, abs(billed["other_money"]), "money")
        out.append(
            _("In money the bill is {amount} more than the heating with its standing charge.", amount=other)
            if billed["other_money"] >= 0
            else _(
                "In money the bill is {amount} less than the heating with its standing charge.", amount=other
            )
        )
    return " ".join(out)
