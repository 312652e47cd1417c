"""Numbers in the reader's units, against the units' definitions."""

from __future__ import annotations

import pint
import pytest

from fieldfare.dashboards.figures.chart import (
    Axis,
    Bars,
    Chart,
    Level,
    Line,
)
from fieldfare.dashboards.text import formats
from fieldfare.dashboards.text.units import (
    CHOICES,
    chosen,
    conversion,
    in_chart,
    in_sentence,
    reading_in,
)

OTHER = {"energy": "MJ", "flow": "l/min", "pressure": "kPa"}


def test_the_factors_are_those_of_the_units() -> None:
    """pint's registry, a general library of units, which takes its factors from the SI."""
    known = pint.UnitRegistry()
    for usual, others in CHOICES.items():
        for _, (sign, factor, _) in others.items():
            assert known.Quantity(1.0, usual.replace("³", "**3")).to(sign).magnitude == pytest.approx(factor)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("It drew 100 kWh in a week.", "It drew 360 MJ in a week."),
        ("1\u202f250 kWh of heat", "4\u202f500 MJ of heat"),
        ("1.8 bar, 0.12 bar a week", "180 kPa, 12 kPa a week"),
        ("From 1.2 to 1.5 m³/h between", "From 20 to 25 l/min between"),
        ("between 1.0 and 2.5 bar", "between 100 and 250 kPa"),
        ("3.4 kWh (3.0 to 4.0)", "12.2 MJ (10.8 to 14.4)"),
        ("−2.0 kWh", "−7.2 MJ"),
        # What must stay: ratios, prices, other units, names that only look like one.
        ("0.95 kWh from each kWh drawn", "0.95 kWh from each kWh drawn"),
        ("2.10 kWh of heat for each kWh of electricity", "2.10 kWh of heat for each kWh of electricity"),
        ("£0.27 per kWh", "£0.27 per kWh"),
        ("210 g/kWh", "210 g/kWh"),
        ("40 kW and 35 °C", "40 kW and 35 °C"),
        ("5 bars of soap", "5 bars of soap"),
        ("120 kWh/m2", "120 kWh/m2"),
    ],
)
def test_sentences_are_read_in_the_reader_s_units(text: str, told: str) -> None:
    assert in_sentence(text) == text, "nothing was chosen"
    with reading_in(OTHER):
        assert in_sentence(text) == told
    with reading_in({"energy": "kWh", "flow": "m3/h", "pressure": "bar"}):
        assert in_sentence(text) == text
        assert chosen() == ()


def test_measures_and_intervals() -> None:
    estimate = {"value": 100.0, "low": 90.0, "high": 110.0}
    with reading_in(OTHER):
        assert formats.measure(100.0, "kWh", 0) == "360\u00a0MJ"
        assert formats.measure(1.53, "bar", 2) == "153\u00a0kPa"
        assert formats.measure(0.03, "bar/week") == "3\u00a0kPa a week"
        assert formats.measure(1.2, "m3/h") == "20\u00a0l/min"
        assert formats.interval(estimate, "kWh", 0) == "360\u00a0MJ (324 to 396)"
        assert formats.interval({**estimate, "low": None}, "kWh", 0) == "360\u00a0MJ"
        assert formats.measure(20.5, "degC") == "20.5\u00a0°C"
        assert formats.tidy(formats.measure(5.0, "kWh")) == "18\u00a0MJ", "nothing is converted twice"
    assert formats.measure(100.0, "kWh", 0) == "100\u00a0kWh"
    assert conversion("kWh/day") == ("kWh/day", 1.0, 0)
    with reading_in(OTHER):
        assert conversion("kWh/day") == ("MJ/day", 3.6, 0)
        assert conversion("kWh/m2") == ("kWh/m2", 1.0, 0)


def test_charts_and_their_tables() -> None:
    chart = Chart(
        "direct",
        "Direct heaters",
        "Back-up heater 10 kWh.",
        Axis("Day", dates=True),
        Axis("Electricity", "kWh a day", 0.0, 10.0),
        (Bars("a", [1.0], [10.0], base=[5.0]), Line("b", [1.0, 2.0], [1.0, None]), Level("limit", 2.0)),
        ("Day", "Back-up [kWh]"),
        (("3 Oct 2025", "1\u202f000"), ("4 Oct 2025", "–")),
    )
    assert in_chart(chart) is chart
    with reading_in(OTHER):
        told = in_chart(chart)
    bars, line, level = told.layers
    assert (told.y.title, told.y.high) == ("Electricity [MJ a day]", 36.0)
    assert isinstance(bars, Bars)
    assert (bars.y, bars.base, bars.x, bars.width) == ([36.0], [18.0], [1.0], 1.0)
    assert isinstance(line, Line)
    assert line.y == [3.6, None]
    assert isinstance(level, Level)
    assert level.at == pytest.approx(7.2)
    assert told.columns == ("Day", "Back-up [MJ]")
    assert told.rows == (("3 Oct 2025", "3\u202f600"), ("4 Oct 2025", "–"))
    assert told.says == "Back-up heater 36 MJ."
