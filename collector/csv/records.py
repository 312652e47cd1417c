"""Find row ends in CSV: single lines, quoted fields over several lines, and stray quotes.

A quote counts only at the start of a field; an inch mark inside a field is text. An unclosed field continues
on the next lines unless one of them is a complete row: then the quote is stray, and only its line is refused.
In fieldfare's own exports all quotes are paired, so the number of quotes gives the row ends.
"""

from __future__ import annotations

import csv
from typing import NamedTuple

_MOST_LINES = 20
"""Lines of a row with quoted line ends; exports have texts of up to 200 characters, each of which may be
one."""
_MOST_LINES_EXACT = 250
_LONGEST_JOINED = 100_000
_LOOK_LINES = 250
_PLAIN = csv.field_size_limit()
"""Longest text that is split without the csv module, which refuses longer fields [characters]."""


class Records(NamedTuple):
    """How the rows of a file are split.

    delimiter : str. width : fields of the header. exact : whether every quote has its pair
    """

    delimiter: str
    width: int
    exact: bool = False

    def is_row(self, line: bytes) -> bool:
        """Whether a line is a complete row."""
        if b'"' not in line:
            return line.count(self.delimiter.encode()) == self.width - 1
        try:
            text = line.decode().rstrip("\r\n")
            return not self.is_open(text) and len(self.fields(text)) == self.width
        except (UnicodeDecodeError, csv.Error):
            return False

    def is_open(self, text: str) -> bool:
        """Whether a text ends inside a quoted field."""
        if '"' not in text:
            return False
        at = 0
        while True:
            if text.startswith('"', at):
                at += 1
                while (at := text.find('"', at)) >= 0 and text.startswith('"', at + 1):
                    at += 2
                if at < 0:
                    return True
                at += 1
            at = text.find(self.delimiter, at) + 1
            if not at:
                return False

    def fields(self, text: str) -> list[str]:
        """The fields of one row. Raises csv.Error."""
        if text and len(text) <= _PLAIN and '"' not in text and "\r" not in text and "\n" not in text:
            return text.split(self.delimiter)
        return next(csv.reader([text], delimiter=self.delimiter), [])

    def joined(self, lines: list[bytes], first: int) -> tuple[str, int] | None:
        """Join a row that spans several lines.

        Returns the row and the number of its last line; None for a stray quote. Raises UnicodeDecodeError,
            csv.Error
        """
        text = lines[first].decode()
        most = _MOST_LINES_EXACT if self.exact else _MOST_LINES
        for number in range(first + 1, min(first + most, len(lines))):
            line = lines[number].decode()
            if not self.exact and len(self.fields(line)) == self.width:
                return None
            text = f"{text}\n{line}"
            if len(text) > _LONGEST_JOINED:
                return None
            if not self.is_open(text.rstrip("\r")):
                text = text.rstrip("\r")
                return (text, number) if self.exact or len(self.fields(text)) == self.width else None
        return None

    def _begins(self, data: bytes, at: int) -> bool:
        """Whether a row starts here and ends within the data, on this line or a later one."""
        if self.is_row(data[at : data.find(b"\n", at) + 1 or len(data)]):
            return True
        lines = data[at : at + 2 * _LONGEST_JOINED].split(b"\n", _MOST_LINES)
        try:
            if not self.is_open(lines[0].decode().rstrip("\r")):
                return False
            return self.joined(lines, 0) is not None
        except (UnicodeDecodeError, csv.Error):
            return False

    def last_end(self, data: bytes) -> int:
        """End of the last complete row in the data, where known; 0 without a line end."""
        last = end = data.rfind(b"\n") + 1
        if b'"' not in data:
            return last
        for _ in range(_LOOK_LINES):
            start = data.rfind(b"\n", 0, end - 1) + 1 if end else 0
            if self.exact:
                if data.count(b'"', 0, end) % 2 == 0:
                    return end
            elif self.is_row(data[start:end]):
                return end
            elif start and self._begins(data, start):
                return start
            if not start:
                break
            end = start
        return last

    def next_end(self, data: bytes, start: int, least: int) -> int:
        """End of the first row that ends after `least`. start : where the lines begin"""
        first = end = data.find(b"\n", least) + 1 or len(data)
        if b'"' not in data:
            return first
        for _ in range(_LOOK_LINES):
            if end == len(data):
                return end
            if data.count(b'"', start, end) % 2 == 0 if self.exact else self._begins(data, end):
                return end
            end = data.find(b"\n", end) + 1 or len(data)
        return first
