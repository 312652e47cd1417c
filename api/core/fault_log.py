"""Log file in the data folder: warnings and errors with tracebacks, from commands and the service."""

from __future__ import annotations

import io
import logging
import os
import sys
from logging.handlers import RotatingFileHandler
from pathlib import Path

NAME = "fieldfare.log"
_LARGEST, _KEPT = 10_000_000, 2
_FORM = "%(asctime)s %(levelname)s %(name)s: %(message)s"


class _FaultLog(RotatingFileHandler):
    """Opened on the first line, readable by its owner only; errors of writing it are ignored."""

    def _open(self) -> io.TextIOWrapper:
        path = Path(self.baseFilename)
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        fd = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_CLOEXEC, 0o600)
        return open(fd, "a", encoding="utf-8")

    def handleError(self, record: logging.LogRecord) -> None:
        """Ignore a full or read-only disk: logging must not hide the original error."""
        print(f"fieldfare: {self.baseFilename} can't be written: {record.getMessage()}", file=sys.stderr)


def log_to(folder: Path) -> None:
    """Write warnings and errors of this process to the log file of a folder, replacing any other."""
    root = logging.getLogger()
    path = str((folder / NAME).absolute())
    held = [h for h in root.handlers if isinstance(h, _FaultLog)]
    if [h.baseFilename for h in held] == [path]:
        return
    for handler in held:
        root.removeHandler(handler)
        handler.close()
    handler = _FaultLog(path, maxBytes=_LARGEST, backupCount=_KEPT, encoding="utf-8", delay=True)
    handler.setLevel(logging.WARNING)
    handler.setFormatter(logging.Formatter(_FORM))
    root.addHandler(handler)


def log_to_stderr() -> None:
    """Also write log lines of a service to standard error, for the system journal."""
    root = logging.getLogger()
    if not any(type(h) is logging.StreamHandler for h in root.handlers):
        handler = logging.StreamHandler()
        handler.setFormatter(logging.Formatter(_FORM))
        root.addHandler(handler)
    root.setLevel(logging.INFO)
