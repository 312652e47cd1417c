"""Figures of two runs are compared at equal machine speed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.benchmarks.compare import comparable, main, read, worse


def run(pace: float, **figures: object) -> dict[str, object]:
    return {"pace_s": pace, "figures": figures}


def test_a_slower_machine_is_no_worse_code() -> None:
    old, new = {"a": run(0.01, first_s=1.0)}, {"a": run(0.03, first_s=3.0)}
    assert worse(old, new) == []
    assert worse(new, old) == []


@pytest.mark.parametrize(
    ("name", "before", "after", "told"),
    [
        ("first_s", 1.0, 1.14, False),
        ("first_s", 1.0, 1.16, True),
        ("first_s", 1.0, 0.5, False),
        ("first_ms", 100.0, 120.0, True),
        ("first_ms", 0.1, 0.9, False),
        ("peak_mb", 100.0, 120.0, True),
        ("ratio", 2.0, 2.2, False),
        ("ratio", 2.0, 2.4, True),
        ("rows_per_s", 100.0, 80.0, True),
        ("rows_per_s", 100.0, 130.0, False),
        ("count", 1.0, 9.0, False),
    ],
)
def test_worse_by_more_than_fifteen_in_a_hundred(name: str, before: float, after: float, told: bool) -> None:
    found = worse({"a": run(0.01, **{name: before})}, {"a": run(0.01, **{name: after})})
    assert bool(found) is told


def test_rows_go_by_their_label_and_the_exit_code_tells(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old, new = tmp_path / "old.json", tmp_path / "new"
    new.mkdir()
    rows = [{"sites": 10, "took_s": 1.0}, {"sites": 100, "took_s": 5.0}]
    old.write_text(json.dumps({"fleets": run(0.01, rows=rows)}))
    slower = [{"sites": 100, "took_s": 9.0}, {"sites": 10, "took_s": 1.0}]
    (new / "fleets.json").write_text(json.dumps(run(0.01, rows=slower)))
    assert set(comparable(read(new)["fleets"])) == {"/rows/100/took_s", "/rows/10/took_s"}
    assert main([str(old), str(new)]) == 1
    assert "fleets/rows/100/took_s: 1.80 times as much" in capsys.readouterr().out
    assert main([str(old), str(old)]) == 0
    assert main([str(old), str(tmp_path / "none")]) == 2
    kept = tmp_path / "kept.json"
    assert main(["--keep", str(kept), str(new), "fleets"]) == 0
    assert main([str(kept), str(new)]) == 0
