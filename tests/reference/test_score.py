"""The judge counts demands, false findings, causes, figures and confidence as its module says."""

from tests.reference.score import read_figure, shorten
from tests.reference.score_report import judge_plant, print_beside, print_report, summarise

TRUTH = {
    "name": "p1",
    "fault": {"kind": "low_flow"},
    "must": [{"any_of": ["low_flow", "falling_flow"], "severity_at_least": "watch"}],
    "may": ["short_cycling"],
    "must_not": ["unit_stopped"],
    "first_cause": ["strainer_or_air"],
    "verdict": {"in": ["watch", "act"]},
    "metering": "full",
    "figures": {"H2": 3.0, "H4": None, "starts": 100},
}
RESULT = {
    "findings": [
        {"code": "low_flow", "severity": "act", "confidence": 0.9, "causes": [{"cause": "pump_setting"}]},
        {"code": "short_cycling", "severity": "watch", "confidence": 0.7},
        {"code": "unit_stopped", "severity": "urgent", "confidence": 0.6},
        {"code": "data_gap", "severity": "note", "confidence": 0.9},
    ],
    "performance": {"H2": {"value": 3.3, "low": 3.1, "high": 3.5}, "H4": None},
    "cycling": {"starts": 90},
}
HEALTHY = {"name": "p2", "fault": None, "must": [], "may": [], "figures": {}, "verdict": {"in": ["in_order"]}}


def test_one_plant_is_judged():
    """A met demand, one false and forbidden finding, a wrong first cause; notes are ignored."""
    row = judge_plant(TRUTH, shorten(RESULT))
    assert row["met"] == [["low_flow", "falling_flow"]]
    assert row["missed"] == []
    assert row["false"] == [("unit_stopped", "urgent")]
    assert row["forbidden"] == ["unit_stopped"]
    assert row["cause"] is False
    assert row["verdict_right"] is None
    assert round(row["figures"]["H2"]["error"], 6) == 0.1
    assert row["figures"]["H2"]["inside"] is False
    assert row["figures"]["starts"]["inside"] is None
    assert "H4" not in row["figures"]


def test_weaker_severity_does_not_meet_a_demand():
    """A note does not meet a demand for `watch`."""
    said = {"findings": [{"code": "low_flow", "severity": "note", "confidence": 0.5}]}
    assert judge_plant(TRUTH, shorten(said))["missed"] == [["low_flow", "falling_flow"]]


def test_summary_and_report(capsys):
    """Recall, precision, healthy share, verdict and Brier score over two plants."""
    healthy = shorten({"findings": [], "verdict": {"verdict": "in_order"}})
    summary = summarise([(TRUTH, shorten(RESULT)), (HEALTHY, healthy)])
    assert summary["recall"] == 1.0
    assert summary["precision"] == round(2 / 3, 4)
    assert summary["healthy"] == {"plants": 1, "with_false_alarm": 0, "share": 0.0}
    assert summary["first_cause"]["share"] == 0.0
    assert summary["verdict"] == {"judged": 1, "right": 1, "share": 1.0}
    # (0.9 - 1)^2, (0.7 - 1)^2 and (0.6 - 0)^2 over three findings
    assert summary["reliability"]["brier"] == round((0.01 + 0.09 + 0.36) / 3, 4)
    assert summary["by_code"]["low_flow"]["caused"] == 1
    assert summary["by_code"]["unit_stopped"]["false_on_healthy"] == 0  # the plant has a fault
    # three bins of one finding each: gaps 0.1, 0.3 and 0.6
    assert summary["reliability"]["error"] == round((0.1 + 0.3 + 0.6) / 3, 4)
    print_report(summary)
    print_beside(summary, summary)
    assert "p1: unit_stopped" in capsys.readouterr().out


def test_figure_without_value_is_none():
    """A figure that the product withholds is not compared."""
    assert read_figure({"performance": {"H2": {"value": None, "reason": "x"}}}, ("performance", "H2")) is None
    assert read_figure({}, ("performance", "H2")) is None
    assert read_figure({"a": {"b": 4}}, ("a", "b")) == {"value": 4, "low": None, "high": None}
