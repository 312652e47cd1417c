"""Rows that were not let in: a file with line, reason and the row as it came, and counts by reason."""

from __future__ import annotations

import csv
from collections import Counter
from datetime import datetime
from pathlib import Path
from typing import Any, TextIO

from fieldfare.collector.csv.cells import harmless
from fieldfare.collector.validation import Refusal


class Rejects:
    """Collects refusals; the file is made when the first one comes."""

    def __init__(self, folder: Path, site: str, source: Path, now: datetime) -> None:
        self._folder = folder
        stem = source.name.removesuffix(".gz").removesuffix(".csv")
        self._name = f"{site}-{stem}-{now:%Y%m%dT%H%M%SZ}"
        self._file: TextIO | None = None
        self._csv: Any = None
        self.path: Path | None = None
        self.count = 0
        self.reasons: Counter[str] = Counter()

    def add(self, line: int, refusals: list[tuple[str, Refusal]], raw: str) -> None:
        """One row of the source. refusals : (point or "", why) for each field refused, or for the whole
        row."""
        self.count += 1
        self.reasons.update(dict.fromkeys([r.kind for _, r in refusals], 1))
        said = "; ".join(f"{point}: {r.reason}" if point else r.reason for point, r in refusals)
        self._writer().writerow([line, said, harmless(raw) if raw else raw])

    def close(self) -> None:
        if self._file:
            self._file.close()

    def discard(self) -> None:
        """Take the file back, where the whole source turns out to be the trouble."""
        self.close()
        if self.path:
            self.path.unlink()

    def _writer(self) -> Any:
        if self._csv is None:
            self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            self.path, self._file = self._fresh()
            self._csv = csv.writer(self._file)
            self._csv.writerow(["line", "reason", "row"])
        return self._csv

    def _fresh(self) -> tuple[Path, TextIO]:
        """A file of its own, also where the same source was read twice within a second."""
        number = 1
        while True:
            path = self._folder / f"{self._name}{f'-{number}' if number > 1 else ''}.csv"
            try:
                return path, path.open("x", encoding="utf-8", newline="")
            except FileExistsError:
                number += 1
