"""Figures from electricity and weather alone, as rows of label and text."""

from __future__ import annotations

from typing import Any

from fieldfare.dashboards.text.words import day, number, reason, share

Row = tuple[str, str]


def electricity_rows(result: dict[str, Any]) -> list[Row]:
    """Rows of the result's `from_electricity`; none where heat is measured."""
    found = result.get("from_electricity")
    if not found:
        return []
    rows = [
        ("read from", found["meter"]),
        *_signature(found),
        _change(found["change"]),
        _starts(found["starts"]),
    ]
    rows += [_field(found["starts"]), _direct(found["direct_heat"]), _degree_days(found["degree_days"])]
    if found["filled_days"]:
        rows.append(
            (
                "days left out",
                (
                    f"{found['filled_days']} on which the meter reads exactly zero from midnight to midnight,"
                    " as on no other day: probably lost readings"
                ),
            )
        )
    return [row for row in rows if row[1]]


def _between(figure: dict[str, Any] | None, unit: str, digits: int = 1, why: str | None = None) -> str:
    if not figure:
        return f"not known: {reason(why)}" if why else "not known"
    return (
        f"{number(figure['value'], digits)} {unit} ({number(figure['low'], digits)} to "
        f"{number(figure['high'], digits)})"
    )


def _signature(found: dict[str, Any]) -> list[Row]:
    s, year = found["signature"], found["weather_adjusted_year"]
    if s["reason"]:
        return [("electricity against weather", f"not known: {reason(s['reason'])}")]
    fit = "within" if s["cv_rmse"] <= s["cv_rmse_limit"] else "beyond"
    usual = _between(year["electricity_kwh"], "kWh", 0, year["reason"])
    return [
        ("a day without heating", _figure_text(s, "base_kwh_per_day", "kWh", ": hot water and standby")),
        ("more for each kelvin colder", _between(s["slope_kwh_per_day_k"], "kWh a day", 2)),
        ("heats below", _figure_text(s, "base_temperature_c", "°C", " outdoors")),
        (
            "scatter of the days",
            (
                f"CV(RMSE) {share(s['cv_rmse'])}, {fit} the {share(s['cv_rmse_limit'])} of ASHRAE Guideline"
                f" 14; NMBE {share(abs(s['nmbe']), 1)}; {s['days_used']} days"
            ),
        ),
        ("a year of usual weather", f"{usual}; {year['weather']}" if year["weather"] else usual),
    ]


def _figure_text(signature: dict[str, Any], name: str, unit: str, after: str) -> str:
    """A figure of the base load with its meaning, or the reason why there is none."""
    figure = signature[name]
    text = _between(figure, unit, why=signature.get("base_reason"))
    return text + after if figure else text


def _change(change: dict[str, Any] | None) -> Row:
    if change is None:
        return ("change at comparable weather", "no certain change")
    size = change["kwh_per_day"]
    less = size["value"] < 0
    low, high = sorted((abs(size["low"]), abs(size["high"])))
    began = "since" if change["kind"] == "step" else f"over {change['days']} days from"
    return (
        "change at comparable weather",
        (
            f"{number(abs(size['value']), 1)} kWh a day {'less' if less else 'more'} ({number(low, 1)} to "
            f"{number(high, 1)}) {began} "
            f"{day(change['first_day'])} ({day(change['first_day_low'])} to {day(change['first_day_high'])})"
        ),
    )


def _starts(starts: dict[str, Any]) -> Row:
    whole, winter = starts["per_day"], starts["winter_per_day"]
    if not whole:
        return ("compressor starts", f"not known: {reason(starts['reason'])}")
    text = f"at least {number(whole['value'], 1)} a day (low end {number(whole['low'], 1)})"
    if winter:
        text += f", {number(winter['value'], 1)} from November to March (low end {number(winter['low'], 1)})"
    return (
        "compressor starts",
        f"{text}; intervals of {number(starts['interval_minutes'], 0)} minutes hide shorter rests",
    )


def _field(starts: dict[str, Any]) -> Row:
    if starts["rank_in_field"] is None:
        return ("", "")
    q = starts["field_quantiles"]
    return (
        "beside 127 units in the field",
        (
            f"{share(starts['rank_in_field'])} of them start less often in winter; a tenth below"
            f" {number(q['0.10'])}, half below {number(q['0.50'])}, nine tenths below {number(q['0.90'])} a"
            " day (Applied Energy 350, 121734)"
        ),
    )


def _direct(direct: dict[str, Any]) -> Row:
    part = direct["share"]
    if not part:
        return ("direct electric heat", f"not known: {reason(direct['reason'])}")
    low, high = share(part["low"]), share(part["high"])
    text = f"{share(part['value'])} of the electricity ({low} to {high})"
    if direct["step_kw"] is None:
        return (
            "direct electric heat",
            (
                f"{text}: no step of a heater's rating above the compressor's "
                f"{number(direct['compressor_kw'], 1)} kW; a heater that runs alone can't be recognised"
            ),
        )
    return (
        "direct electric heat",
        (
            f"{text}: a step of {number(direct['step_kw'], 1)} kW above the compressor's "
            f"{number(direct['compressor_kw'], 1)} kW"
        ),
    )


def _degree_days(found: dict[str, Any]) -> Row:
    if found["total"] is None:
        return ("degree-days", f"not known: {found['station']}")
    return (
        "degree-days",
        (
            f"{number(found['total'], 0)} K d in {found['days']} days to {number(found['base_c'], 1)} °C "
            f"({found['base_from']}), "
            f"weather of {found['station']}"
        ),
    )
