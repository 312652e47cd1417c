"""Parse a drawing's paths (SVG 2, chapter 9.3)."""

from __future__ import annotations

import re

STEPS = {"dot": 2, "ring": 3, "cross": 4, "square": 4}
"""Steps of the pen for each point of a shape."""


def ends_of(path: str) -> list[tuple[float, float]]:
    """Where the pen is after each step of a relative path of m, l, v, h, a and z; z itself is no step."""
    x = y = 0.0
    begin = (x, y)
    out = []
    for letter, numbers in re.findall(r"([mlvhaz])([^mlvhaz]*)", path):
        if letter == "z":
            x, y = begin
        for dx, dy in _steps(letter, [float(n) for n in re.findall(r"-?(?:\d+\.?\d*|\.\d+)", numbers)]):
            x, y = x + dx, y + dy
            out.append((x, y))
            begin = (x, y) if letter == "m" else begin
    return out


def _steps(letter: str, given: list[float]) -> list[tuple[float, float]]:
    if letter in "vh":
        return [(0.0, n) if letter == "v" else (n, 0.0) for n in given]
    wide = 7 if letter == "a" else 2
    return list(zip(given[wide - 2 :: wide], given[wide - 1 :: wide], strict=True))
