"""Compact SVG path data: relative steps in tenths of a unit (SVG 2, chapter 9.3). A year's days are hundreds
of points, which would otherwise be most of a page.

A year's days in a drawing are hundreds of points; written out they would be most of a page.
"""

from __future__ import annotations


class Path:
    """Builds a path step by step, at positions of the drawing."""

    def __init__(self) -> None:
        self._out: list[str] = []
        self._x = self._y = 0
        self._last = ""

    def move(self, x: float, y: float, then: str = "", ends: tuple[float, float] = (0.0, 0.0)) -> None:
        """Move to a position. then : a relative shape drawn there, which ends at `ends` from the position"""
        self._step("m", x, y)
        if then:
            self._out.append(then)
            self._x, self._y, self._last = self._x + _tenths(ends[0]), self._y + _tenths(ends[1]), ""

    def line(self, x: float, y: float) -> None:
        """Draw a line to a position."""
        self._step("l", x, y)

    def upright(self, y: float) -> None:
        """Draw a vertical line."""
        to = _tenths(y)
        self._out.append(f"v{_short(to - self._y)}")
        self._y, self._last = to, "v"

    def _step(self, letter: str, x: float, y: float) -> None:
        to_x, to_y = _tenths(x), _tenths(y)
        dx, dy = _short(to_x - self._x), _short(to_y - self._y)
        again = letter == self._last == "l"
        space = " " if again and not _starts_itself(dx, self._out[-1]) else ""
        between = "" if _starts_itself(dy, dx) else " "
        self._out.append(f"{space if again else letter}{dx}{between}{dy}")
        self._x, self._y, self._last = to_x, to_y, letter

    def __str__(self) -> str:
        return "".join(self._out)


def _tenths(value: float) -> int:
    return round(value * 10)


def _short(tenths: int) -> str:
    whole, part = divmod(abs(tenths), 10)
    digits = f"{whole or ''}.{part}" if part else str(whole)
    return f"-{digits}" if tenths < 0 else digits


def _starts_itself(number: str, before: str) -> bool:
    """Whether a number needs no space after another."""
    return number[0] == "-" or (number[0] == "." and "." in before.replace("-", " ").split(" ")[-1])
