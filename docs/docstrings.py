"""Sphinx extension that turns the project's docstrings into reStructuredText.

Their parameters are lines of the form `name, other : meaning`; each becomes an item of a list.
"""

from __future__ import annotations

import re
from typing import Any

_PARAMETER = re.compile(r"^(\w+(?:, \w+)*) : (.*)$")
_NEXT_PART = ("Returns ", "Raises ", "Source", "Method")


def setup(app: Any) -> dict[str, bool]:
    app.connect("autodoc-process-docstring", _process)
    return {"parallel_read_safe": True, "parallel_write_safe": True}


def _process(app: Any, what: str, name: str, obj: Any, options: Any, lines: list[str]) -> None:
    if not any(line.rstrip().endswith("::") for line in lines):
        lines[:] = as_rest(lines)


def as_rest(lines: list[str]) -> list[str]:
    """A docstring's lines with its parameters as a list and its parts as paragraphs."""
    out: list[str] = []
    in_item = False
    for line in (given.strip() for given in lines):
        if found := _PARAMETER.match(line):
            out += ["", f"- **{found[1]}**: {found[2]}"]
            in_item = True
        elif not line or line.startswith(_NEXT_PART):
            out += ["", line]
            in_item = False
        elif in_item:
            out[-1] += f" {line}"
        else:
            out.append(line)
    return out
