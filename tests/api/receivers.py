"""Real receivers of notices: an SMTP server and an HTTP server on loopback."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import Message
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from tests.services import free_port


@dataclass
class PostBox:
    """Mails that arrived. `answers` are given in turn before `250 OK`."""

    port: int = 0
    mails: list[Message] = field(default_factory=list)
    answers: list[str] = field(default_factory=list)

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        answer = self.answers.pop(0) if self.answers else "250 OK"
        if answer == "cut":
            self.mails.append(message_from_bytes(bytes(envelope.content or b"")))
            server.transport.abort()
            return "250 OK"
        if answer.startswith("250"):
            self.mails.append(message_from_bytes(bytes(envelope.content or b"")))
        return answer

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if address.startswith("gone@"):
            return "550 no such person"
        envelope.rcpt_tos.append(address)
        return "250 OK"


@contextmanager
def smtp() -> Iterator[PostBox]:
    box = PostBox(free_port())
    controller = Controller(box, hostname="127.0.0.1", port=box.port)
    controller.start()
    try:
        yield box
    finally:
        controller.stop()


@dataclass
class Posted:
    """JSON bodies that were posted. `statuses` are answered in turn before 200."""

    port: int
    bodies: list[dict[str, Any]] = field(default_factory=list)
    statuses: list[int] = field(default_factory=list)


@contextmanager
def http_receiver() -> Iterator[Posted]:
    posted = Posted(0)

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            status = posted.statuses.pop(0) if posted.statuses else 200
            if status == 200:
                posted.bodies.append(json.loads(body))
            self.send_response(status)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_: object) -> None:
            """Say nothing on the test's screen."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    posted.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield posted
    finally:
        server.shutdown()
        server.server_close()
