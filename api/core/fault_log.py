"""Log file in the data folder: warnings and errors with tracebacks, from commands and the service."""

from __future__ import annotations

import io
import logging
import os
import sys
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import TextIO

from fieldfare.api.core.log_lines import formatter

NAME = "fieldfare.log"
_LARGEST, _KEPT = 10_000_000, 2


class _FaultLog(RotatingFileHandler):
    """Log file handler: opens the file on the first record, owner-readable only; ignores write errors."""

    def _open(self) -> io.TextIOWrapper:
        path = Path(self.baseFilename)
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        fd = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_CLOEXEC, 0o600)
        return open(fd, "a", encoding="utf-8")

    def handleError(self, record: logging.LogRecord) -> None:
        """A full or read-only disk must not raise a second error."""
        print(f"fieldfare: {self.baseFilename} can't be written: {self.format(record)}", file=sys.stderr)


class _Stderr(logging.StreamHandler[TextIO]):
    """Writes to the current `sys.stderr`, which may be replaced or closed while the process runs."""

    def emit(self, record: logging.LogRecord) -> None:
        self.stream = sys.stderr
        super().emit(record)


def log_to(folder: Path, form: str = "text") -> None:
    """Write warnings and errors of this process to the log file in a folder; replaces an earlier log file.

    form : text or json
    """
    root = logging.getLogger()
    path = str((folder / NAME).absolute())
    held = [h for h in root.handlers if isinstance(h, _FaultLog)]
    if [h.baseFilename for h in held] == [path]:
        held[0].setFormatter(formatter(form))
        return
    for handler in held:
        root.removeHandler(handler)
        handler.close()
    handler = _FaultLog(path, maxBytes=_LARGEST, backupCount=_KEPT, encoding="utf-8", delay=True)
    handler.setLevel(logging.WARNING)
    handler.setFormatter(formatter(form))
    root.addHandler(handler)


def log_to_stderr(form: str = "text") -> None:
    """Also log to standard error, for the system journal."""
    root = logging.getLogger()
    if not any(isinstance(h, _Stderr) for h in root.handlers):
        handler = _Stderr()
        handler.setFormatter(formatter(form))
        root.addHandler(handler)
    root.setLevel(logging.INFO)
