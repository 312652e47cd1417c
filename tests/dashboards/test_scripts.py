"""Browser scripts escape names that come in data."""

from __future__ import annotations

import re

from fieldfare.dashboards.assets import STATIC

WRITES = re.compile(r"[\w)\]]\[(?!\d+\]|[\"'][\w-]+[\"']\])([^\]]+)\]\s*(?:\|\||\?\?|\+|-)?=(?![=>])")
"""A key of an object or an array that is not written out, given a value."""
GUARDED = {"plot.js": {"key"}, "sheet.js": {"`found.${found.id}`"}}
"""Keys that a pattern has let through (those of a plot's axes), or that begin with words of our own."""


def test_scripts_write_no_key_that_data_name() -> None:
    """`__proto__` and its like would change every object (OWASP ASVS 5.0.0, 15.3.6)."""
    files = sorted(STATIC.glob("*.js"))
    assert len(files) > 10
    for file in files:
        text = file.read_text(encoding="utf-8")
        assert set(WRITES.findall(text)) <= GUARDED.get(file.name, set()), file.name
        assert "__proto__" not in text
    assert r"if (/^[xy]axis\d*$/.test(key)) out[key]" in (STATIC / "plot.js").read_text(encoding="utf-8")


def test_the_pattern_finds_such_a_write() -> None:
    for bad in ("out[name] = 1", "a.b[data.key]=x", "rows()[k] ||= []", "x[i] += 1"):
        assert WRITES.search(bad), bad
    for good in ('out["name"] = 1', "a[0] = x", "if (a[k] === b)", "const [a] = b", "f(x[k])"):
        assert not WRITES.search(good), good
