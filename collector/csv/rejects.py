"""Write refused rows to a file with line, reason and original text, and count them by reason."""

from __future__ import annotations

import csv
from collections import Counter
from datetime import datetime
from pathlib import Path
from typing import Any, TextIO

from fieldfare.collector.csv.cells import harmless
from fieldfare.collector.validation import Refusal


class Rejects:
    """Collects refusals; creates the file on the first one."""

    def __init__(self, folder: Path, site: str, source: Path, now: datetime) -> None:
        self._folder = folder
        stem = source.name.removesuffix(".gz").removesuffix(".csv")
        self._name = f"{site}-{stem}-{now:%Y%m%dT%H%M%SZ}"
        self._file: TextIO | None = None
        self._csv: Any = None
        self.path: Path | None = None
        self.count: int = 0
        self.reasons: Counter[str] = Counter()
        self.examples: dict[str, str] = {}
        """Kind -> the first refusal of it, with its line."""

    def add(self, line: int, refusals: list[tuple[str, Refusal]], raw: str) -> None:
        """Record one refused row.

        refusals : (point or "", why) for each refused field, or for the whole row
        """
        self.count += 1
        for kind in dict.fromkeys(r.kind for _, r in refusals):
            self.reasons[kind] += 1
        for point, refusal in refusals:
            if refusal.kind not in self.examples:
                where = f"{point}: " if point else ""
                self.examples[refusal.kind] = f"line {line}: {where}{refusal.reason}"
        said = "; ".join(f"{point}: {r.reason}" if point else r.reason for point, r in refusals)
        self._writer().writerow([line, said, harmless(raw) if raw else raw])

    def close(self) -> None:
        if self._file:
            self._file.close()

    def discard(self) -> None:
        """Delete the file; used when the whole source is unreadable."""
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
        """Return an unused file name, even if the same source is read twice within a second."""
        number = 1
        while True:
            path = self._folder / f"{self._name}{f'-{number}' if number > 1 else ''}.csv"
            try:
                return path, path.open("x", encoding="utf-8", newline="")
            except FileExistsError:
                number += 1
