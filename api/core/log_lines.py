"""Log format: one line of text or JSON, without secrets, e-mail addresses and control characters."""

from __future__ import annotations

import logging
import re
from collections.abc import MutableMapping
from contextvars import ContextVar
from typing import Any

from fieldfare.analysis.plain_text import plain_line, plain_text

REQUEST_ID: ContextVar[str] = ContextVar("request id", default="")
_SECRET_PATHS = re.compile(r"/(welcome|first|home)/[\w.~-]{8,}")
_EMAIL = re.compile(r"[\w.+-]{1,64}@[\w-]{1,63}(?:\.[\w-]{1,63}){0,8}")
_BEARER = re.compile(r"(?i)\b(bearer|basic|token)\s+[\w.~+/=-]{12,}")
_CREDENTIALS = re.compile(r"://[^/\s:@]*:[^/\s@]*@")


def redacted(text: str) -> str:
    """Redact one-time addresses, tokens, passwords in URLs, and e-mail addresses."""
    text = _CREDENTIALS.sub("://...@", text)
    text = _SECRET_PATHS.sub(r"/\1/...", text)
    return _EMAIL.sub("<e-mail>", _BEARER.sub(r"\1 ...", text))


class TextLines(logging.Formatter):
    """`time level name [request id]: message`, and below it the traceback of an error."""

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(levelname)s %(name)s%(request)s: %(message)s")

    def format(self, record: logging.LogRecord) -> str:
        # Copied: other handlers must get the record unchanged.
        shown = logging.makeLogRecord(record.__dict__)
        shown.msg, shown.args = plain_line(redacted(record.getMessage())), None
        shown.request = f" [{REQUEST_ID.get()}]" if REQUEST_ID.get() else ""
        return super().format(shown)

    def formatException(self, ei: Any) -> str:
        return plain_text(redacted(super().formatException(ei)))


def formatter(form: str) -> logging.Formatter:
    """The formatter of log records.

    form : text or json
    """
    return _json_lines() if form == "json" else TextLines()


def _json_lines() -> logging.Formatter:
    """One JSON object a line: timestamp (ISO 8601, UTC), level, logger, event, request_id, exception."""
    import structlog

    return structlog.stdlib.ProcessorFormatter(
        foreign_pre_chain=[
            structlog.stdlib.add_log_level,
            structlog.stdlib.add_logger_name,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            structlog.processors.format_exc_info,
            _cleaned,
        ],
        processors=[
            structlog.stdlib.ProcessorFormatter.remove_processors_meta,
            structlog.processors.JSONRenderer(sort_keys=True),
        ],
    )


def _cleaned(logger: Any, method: str, event: MutableMapping[str, Any]) -> MutableMapping[str, Any]:
    if REQUEST_ID.get():
        event["request_id"] = REQUEST_ID.get()
    event["event"] = plain_line(redacted(str(event.get("event", ""))))
    if "exception" in event:
        event["exception"] = plain_text(redacted(str(event["exception"])))
    return event
