"""Page to compare two homes: verdicts, figures, and plots on one axis."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from fieldfare.analysis.reports.verdict import given_verdict, is_standing
from fieldfare.dashboards.figures.two_homes import Home, two_homes
from fieldfare.dashboards.pages.drawn import draw
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words


def compare_page(
    homes: Iterable[tuple[str, str]],
    asked: Mapping[str, str],
    pair: tuple[Home, Home] | None,
    problem: str,
    visitor: dict[str, Any],
) -> str:
    """Page of two homes side by side.

    homes : id and name of all homes to choose from. asked : a and b. pair : both homes, None for one
    without a result
    """
    return render(
        "compare.html",
        title="Two homes side by side",
        here="fleet",
        visitor=visitor,
        wide=True,
        homes=list(homes),
        asked=asked,
        problem=problem,
        sides=[_side(h) for h in pair] if pair else [],
        rows=_rows(pair) if pair else [],
        figures=[draw(c) for c in two_homes(pair)] if pair else [],
    )


def _side(home: Home) -> dict[str, Any]:
    given, period = given_verdict(home.result), home.result["period"]
    return {
        "id": home.site.id,
        "name": home.name,
        "given": given,
        "days": words.days_between(period["from"], period["to"]),
        "findings": [f for f in home.result["findings"] if is_standing(f)],
    }


def _rows(pair: tuple[Home, Home]) -> list[tuple[str, str, str]]:
    """Figures that at least one of the homes has."""
    both = [_figures(h) for h in pair]
    rows = [(name, both[0][name], both[1][name]) for name in both[0]]
    return [r for r in rows if set(r[1:]) != {"–"}]


def _figures(home: Home) -> dict[str, str]:
    r, design = home.result, home.site.design
    p, loss, cycling, water = r["performance"], r["heat_loss"], r["cycling"], r["hot_water"]
    ratio, pump = loss["ratio"] or {}, home.site.heat_pump
    out = {f"Efficiency, {b}": words.interval(p.get(b), "", 2) for b in ("H1", "H2", "H3", "H4")}
    heat = r["energy"]["heat_kwh"]
    outdoor = [row["outdoor"] for row in home.rows if row.get("outdoor") is not None]
    return {
        **out,
        "Efficiency, rooms": words.interval(p["space_heating"], "", 2),
        "Efficiency, hot water": words.interval(p["hot_water"], "", 2),
        "Mean outdoor temperature": words.measure(sum(outdoor) / len(outdoor), "°C", 1) if outdoor else "–",
        "Heat loss, measured": words.interval(loss["heat_loss_kw"], "kW", 1),
        "Heat loss, designed": words.measure(design.heat_loss_kw, "kW", 1),
        "Measured over designed": words.share(ratio.get("value")) if ratio.get("value") is not None else "–",
        "Heat loss coefficient": words.interval(loss["coefficient_w_per_k"], "W/K", 0),
        "Rated output": words.measure(pump.rated_output_kw, "kW", 1),
        "Heat to rooms": words.measure(heat.get("space_heating"), "kWh", 0),
        "Heat to hot water": words.measure(heat.get("hot_water"), "kWh", 0),
        "Electricity": words.measure(r["energy"]["electricity_kwh"].get("total"), "kWh", 0),
        "Flow above the designed curve": words.measure(r["heating_curve"]["above_design_k"], "K", 1),
        "Starts": words.number(cycling["starts"], 0) if cycling["starts"] is not None else "–",
        "Typical run": words.quantity(cycling["median_run_minutes"], "min", 0),
        "Defrosts": words.number(r["defrost"]["count"], 0) if r["defrost"]["count"] is not None else "–",
        "Cylinder's standing loss, quiet hours": words.measure(
            water.get("standing_loss_kwh_per_day"), "kWh a day", 2
        ),
    }
