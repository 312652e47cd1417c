"""Handbook texts of the figures: sections of a result."""

from __future__ import annotations

from typing import NamedTuple

from fieldfare.dashboards.handbook.texts import HandbookText


class FigureEntry(NamedTuple):
    """title; needs : required measurements and settings; text : sentences. charts : plots that show it"""

    title: str
    needs: str
    text: HandbookText
    charts: tuple[str, ...] = ()


FIGURES: dict[str, FigureEntry] = {
    "verdict": FigureEntry(
        "Verdict",
        "What each question of the verdict names: a home is in order only where what matters was assessed.",
        HandbookText(
            "One word for a home: urgent, needs work, needs watching, unknown or in order.",
            "The worst open finding above a note decides, and a zone that is cold for hours. Without one,"
            " the home is in order if the questions that matter were answered, else unknown.",
            "Anything that no meter of this home sees. What is missing is listed with its reason.",
        ),
    ),
    "coverage": FigureEntry(
        "Share of readings",
        "Any reading.",
        HandbookText(
            "The share of the period's minutes with usable readings, in all and for each point.",
            "A minute counts where a reading stands for it: gaps longer than the point's own limit do not"
            " count. The weaker of heat and electricity gives the share of the period.",
            "Whether the readings are right; the findings about the data judge that.",
        ),
        ("coverage",),
    ),
    "energy": FigureEntry(
        "Heat and electricity",
        "An electricity meter, a heat meter (or flow rate with flow and return temperature). The split by"
        " use needs the operating mode, or readings close enough to tell uses apart.",
        HandbookText(
            "Heat given and electricity used in the period, in all and by use.",
            "Differences of running totals, or power over time. A meter that includes another is counted"
            " once. Uses follow the operating mode, or the plant's physics where it is not reported. Heat"
            " is the unit's own; that of electric heaters stands beside it. Electricity of rooms, hot"
            " water, defrosts and rest adds up to the total; heat of rooms and hot water less what defrosts"
            " took back adds up to the total.",
            "Energy in gaps without a running total. The split by use where readings are too far apart.",
        ),
        ("months", "direct"),
    ),
    "performance": FigureEntry(
        "Seasonal performance",
        "Heat and electricity. H2 needs the source fan's share, H3 the electric heaters, H4 the circulation"
        " pumps: each boundary needs meters that separate it.",
        HandbookText(
            "Heat given for each unit of electricity, at the SEPEMO boundaries H1 to H4, and by use.",
            "Heat over electricity of the minutes with both; both energies stand beside the figure. H1 is the"
            " refrigeration unit, H2 adds the source fan, H3 the electric heaters with their heat, H4 the"
            " pumps. By use, a defrost counts to the use it interrupts, with the heat it took back; rest"
            " counts to none. So the energy table's rows for a use are not its two energies. The 95 %"
            " interval combines meter classes and unmeasured time (GUM, JCGM 100).",
            "A boundary that the meters can't separate. Heat that flows back in defrosts where the meter"
            " counts forwards only.",
        ),
        ("months", "efficiency", "against_rating"),
    ),
    "losses": FigureEntry(
        "From expected to measured",
        "Heat, electricity, flow and outdoor temperature, and rating points or rated output.",
        HandbookText(
            "Where the electricity between the rating and the meter went, in kilowatt hours and money.",
            "The rating gives the electricity for the measured heat at the designed flow temperature. Steps"
            " for flow temperature, part load, starts, defrosts, hot water, electric heaters and pumps are"
            " added; the rest is not explained. All steps add up to the metered total.",
            "Two causes that move together share their step by a model. The unexplained rest holds meter"
            " errors too.",
        ),
    ),
    "promise": FigureEntry(
        "Promised performance",
        "A promised performance in the site file, and that use's performance for a good part of a year.",
        HandbookText(
            "How the measured performance of rooms and of hot water compares with what the design promised.",
            "The measured performance is moved to the design's weather, with its 95 % interval. The promise"
            " and the probability that it is kept stand beside it. A clear shortfall is the finding"
            " “performance below promise”.",
            "Why a promise is not met; the other findings look for causes. Beside a boiler, and with too few"
            " days, nothing is given.",
        ),
    ),
    "heat_loss": FigureEntry(
        "Heat loss",
        "Heat to rooms and outdoor temperature on 14 heated days or more; room temperature sharpens it.",
        HandbookText(
            "How much heat the house loses per kelvin, and at the design temperatures.",
            "Robust fit of daily heat = coefficient x (indoor - outdoor) - gains - sun + storage, with errors"
            " after Newey and West. What is usual for gains and windows is weighed in (Bayes); the heat"
            " meter's own limit is added.",
            "Fabric and ventilation apart. Heat from unmetered sources, and rooms that nobody measures, move"
            " it; the interval allows for what is usual.",
        ),
        ("heat", "expected-signature"),
    ),
    "capacity": FigureEntry(
        "Output on the design day",
        "The design outdoor temperature, a rated output or rating point, and the heat loss.",
        HandbookText(
            "The unit's output at the design temperatures against the load of rooms and hot water.",
            "Rating points are carried to the design temperatures and corrected by the best hours at full"
            " work, where there were any. The margin is output over load.",
            "Output in weather colder than any point, measured or rated. Without full work it is by rating,"
            " and the result says so.",
        ),
        ("heat",),
    ),
    "heating_curve": FigureEntry(
        "Heating curve",
        "Flow and outdoor temperature on at least 10 days with an hour of steady heating.",
        HandbookText(
            "Flow temperature against outdoor temperature as the system really runs, beside the design's.",
            "Robust straight line through the daily means of steady heating.",
            "Why it runs so: curve setting, room control and manual changes look alike without the target.",
        ),
        ("curve",),
    ),
    "cycling": FigureEntry(
        "Starts and runs",
        "Electricity or compressor speed at close spacing, or a start counter.",
        HandbookText(
            "How often the compressor starts and how long a typical run is.",
            "A run begins and ends where power, speed or mode says so. Starts per running hour and the"
            " median run length are over all runs of the period.",
            "Runs shorter than two readings apart; the figure is then withheld with the reason.",
        ),
        ("runs",),
    ),
    "defrost": FigureEntry(
        "Defrosts",
        "A defrost signal, the operating mode, or heat and temperatures every two minutes.",
        HandbookText(
            "How many defrosts there were, how long they took and what heat and electricity they cost.",
            "A defrost is what the unit reports, or a stretch in which heat flows back while it runs. The"
            " rate is per hour of running in frosting weather.",
            "The heat taken back where the meter counts forwards only; it is then withheld.",
        ),
        ("defrosts",),
    ),
    "hot_water": FigureEntry(
        "Hot water",
        "Cylinder temperature; volume and setpoint from the site file.",
        HandbookText(
            "Reheats and their length, litres at 40 °C when full, time below 40 °C, standing loss, last"
            " disinfection.",
            "Mixed litres = volume x (store - cold) / (40 - cold), the mixing rule. Standing loss is the"
            " slowest cooling of quiet hours. Disinfection adds up minutes at 60 °C of equal effect.",
            "What left the taps. One sensor does not show layers of temperature in the cylinder.",
        ),
        ("cylinder", "reheats"),
    ),
    "comfort": FigureEntry(
        "Room temperatures",
        "Room temperature; the set temperature for the share below it.",
        HandbookText(
            "How warm each zone was and how much of the time it stayed half a kelvin or more below its"
            " set temperature.",
            "Minutes below the set temperature over all minutes with both readings.",
            "Rooms without a sensor, draughts and humidity.",
        ),
        ("rooms",),
    ),
    "cost": FigureEntry(
        "Cost and carbon",
        "Electricity and a price in the site file; the previous fuel for the comparison.",
        HandbookText(
            "What the electricity cost and emitted, beside the previous fuel for the same heat.",
            "Each minute's electricity at its tariff band and date; carbon by the dated factor of the"
            " country. The previous fuel: the same heat over the old efficiency, at its price.",
            "Standing charges not entered, discounts and own solar power.",
        ),
    ),
    "other_heat": FigureEntry(
        "Other heat sources",
        "An entry for each in the site file ([[other_heat]]); their heat needs a meter (other_heat_output).",
        HandbookText(
            "What a boiler, a stove or solar heat beside the heat pump gave, and its share of all heat.",
            "The other source's meter over the sum of both; the interval has both meters' accuracy classes.",
            "A share without a meter. Days on which the other source may have heated the rooms are left out"
            " of what they would spoil, and the heat loss counts its heat or leaves them out.",
        ),
    ),
    "units": FigureEntry(
        "Each heat pump of several",
        "heat_pump.units in the site file, and points that name their unit (heat_pump).",
        HandbookText(
            "Electricity, heat, performance, starts and defrosts of each heat pump by its own meters.",
            "Heat over electricity in the minutes that know both, as for a single unit (H2).",
            (
                "The parts of units on one shared meter: only the sum is known, and its starts are no single"
                " unit's."
            ),
        ),
    ),
    "from_electricity": FigureEntry(
        "From one electricity meter",
        "Whole days of one electricity meter and outdoor temperature.",
        HandbookText(
            "What a home without a heat meter still shows: base load, heating line, starts at the least.",
            "A falling line with a level base is fitted to daily electricity against outdoor temperature;"
            " levels of power between intervals show starts and direct electric heat.",
            "Heat, performance and heat loss: without a heat meter they stay unknown.",
        ),
        ("expected-signature", "expected-electricity"),
    ),
}
"""By their key in the result document."""
