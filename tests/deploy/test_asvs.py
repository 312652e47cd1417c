"""The table of security requirements is complete: every number of levels 1 and 2 once, with a test if met,
else a reason."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

TESTS = Path(__file__).parents[1]
TABLE = TESTS.parent / "deploy" / "asvs.md"
# OWASP ASVS 5.0.0 (CC BY-SA 4.0), its CSV: the last requirement of levels 1 and 2 in each section; none
# before it is left out.
LAST = {
    "1.1": 2,
    "1.2": 9,
    "1.3": 11,
    "1.4": 3,
    "1.5": 2,
    "2.1": 3,
    "2.2": 3,
    "2.3": 4,
    "2.4": 1,
    "3.2": 2,
    "3.3": 4,
    "3.4": 6,
    "3.5": 5,
    "3.7": 2,
    "4.1": 3,
    "4.2": 1,
    "4.3": 2,
    "4.4": 4,
    "5.1": 1,
    "5.2": 3,
    "5.3": 2,
    "5.4": 3,
    "6.1": 3,
    "6.2": 12,
    "6.3": 4,
    "6.4": 4,
    "6.5": 5,
    "6.6": 3,
    "6.8": 4,
    "7.1": 3,
    "7.2": 4,
    "7.3": 2,
    "7.4": 5,
    "7.5": 2,
    "7.6": 2,
    "8.1": 2,
    "8.2": 3,
    "8.3": 1,
    "8.4": 1,
    "9.1": 3,
    "9.2": 4,
    "10.1": 2,
    "10.2": 2,
    "10.3": 4,
    "10.4": 11,
    "10.5": 5,
    "10.6": 2,
    "10.7": 3,
    "11.1": 2,
    "11.2": 3,
    "11.3": 3,
    "11.4": 4,
    "11.5": 1,
    "11.6": 1,
    "12.1": 3,
    "12.2": 2,
    "12.3": 4,
    "13.1": 1,
    "13.2": 5,
    "13.3": 2,
    "13.4": 5,
    "14.1": 2,
    "14.2": 4,
    "14.3": 3,
    "15.1": 3,
    "15.2": 3,
    "15.3": 7,
    "16.1": 1,
    "16.2": 5,
    "16.3": 4,
    "16.4": 3,
    "16.5": 3,
    "17.1": 1,
    "17.2": 4,
    "17.3": 2,
}
NUMBER = re.compile(r"(\d+\.\d+)\.(\d+)(?: to \d+\.\d+\.(\d+))?")


def rows() -> list[list[str]]:
    lines = TABLE.read_text().splitlines()
    return [
        [cell.strip() for cell in line.strip("|").split("|")] for line in lines if re.match(r"\| \d", line)
    ]


@cache
def functions(path: Path) -> frozenset[str]:
    """The tests of a file."""
    found = ast.walk(ast.parse(path.read_text()))
    return frozenset(f.name for f in found if isinstance(f, ast.FunctionDef) and f.name.startswith("test_"))


def test_every_number_is_there_once() -> None:
    found = [
        (section, number)
        for row in rows()
        for section, first, last in NUMBER.findall(row[0])
        for number in range(int(first), int(last or first) + 1)
    ]
    assert len(found) == len(set(found))
    assert set(found) == {(section, n) for section, last in LAST.items() for n in range(1, last + 1)}


def test_what_is_met_names_a_test_that_is_there_and_the_rest_a_reason() -> None:
    for what, state, how, shown in rows():
        assert state in ("met", "no", "n/a"), what
        assert how, what
        if state == "met":
            file, _, name = shown.partition("::")
            assert name in functions(TESTS / file), (what, shown)
        else:
            assert not shown, what
