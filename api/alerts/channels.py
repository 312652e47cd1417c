"""Notice channels: e-mail, and any channel that apprise supports."""

from __future__ import annotations

import smtplib
import ssl
from dataclasses import dataclass
from email.message import EmailMessage
from email.utils import formatdate
from urllib.parse import unquote, urlsplit

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plain_text import plain_line, plain_text
from fieldfare.api.core.outgoing import CONNECT_S, READ_S, Outgoing, Overdue, bounded

TIMEOUT_S, LONGEST_MAIL_S = 20.0, 120.0
"""For one answer of the mail server, and for a whole mail."""
_LOOPBACK = ("localhost", "127.0.0.1", "::1")


class NotSent(Exception):
    """The message did not arrive; retry."""


class Rejected(NotSent):
    """The receiver refused it permanently; do not retry."""


class MayHaveArrived(Exception):
    """The connection broke after all data were sent: a retry could deliver the message twice."""


@dataclass(frozen=True)
class Letter:
    """One message to one receiver. `key` identifies it permanently."""

    key: str
    receiver: str
    subject: str
    body: str
    urgent: bool = False


def send(letter: Letter, mail_url: str, mail_from: str, outgoing: Outgoing | None = None) -> None:
    """Send a message: by SMTP to an e-mail address, by apprise to an address with a scheme.

    outgoing : guard for calls to channels; default: public addresses only
    Raises NotSent, Rejected or MayHaveArrived; InputError if e-mail is not set up
    """
    if "://" in letter.receiver:
        _send_by_channel(letter, outgoing or Outgoing())
    else:
        _send_mail(letter, mail_url, mail_from)


def _send_mail(letter: Letter, mail_url: str, mail_from: str) -> None:
    parts = urlsplit(mail_url)
    if parts.scheme not in ("smtp", "smtps") or not parts.hostname:
        raise InputError("FIELDFARE_MAIL_URL: must be smtp://host:port or smtps://host:port")
    user, password = unquote(parts.username or ""), unquote(parts.password or "")
    with bounded(LONGEST_MAIL_S):
        try:
            server = _connect(parts.scheme, parts.hostname, parts.port)
        except (OSError, smtplib.SMTPException) as error:
            raise NotSent(str(error)) from error
        try:
            _prepare(server, parts.scheme, parts.hostname, user, password)
            _hand_over(server, mail_from, letter)
        finally:
            server.close()


def _connect(scheme: str, host: str, port: int | None) -> smtplib.SMTP:
    if scheme == "smtps":
        return smtplib.SMTP_SSL(host, port or 465, timeout=TIMEOUT_S, context=ssl.create_default_context())
    return smtplib.SMTP(host, port or 587, timeout=TIMEOUT_S)


def _prepare(server: smtplib.SMTP, scheme: str, host: str, user: str, password: str) -> None:
    """Use TLS if the server offers it; require it unless the server is local. Then sign in."""
    try:
        server.ehlo()
        if scheme == "smtp" and server.has_extn("starttls"):
            server.starttls(context=ssl.create_default_context())
            server.ehlo()
        elif scheme == "smtp" and host not in _LOOPBACK:
            raise Rejected(f"{host} offers no encryption")
        if user:
            server.login(user, password)
    except (OSError, smtplib.SMTPException) as error:
        raise NotSent(str(error)) from error


def _hand_over(server: smtplib.SMTP, mail_from: str, letter: Letter) -> None:
    message = EmailMessage()
    message["From"], message["To"], message["Subject"] = (
        mail_from,
        letter.receiver,
        plain_line(letter.subject),
    )
    message["Date"] = formatdate(localtime=False)
    message["Message-ID"] = f"<{letter.key}@{mail_from.rpartition('@')[2]}>"
    message["Auto-Submitted"] = "auto-generated"
    if letter.urgent:
        message["Importance"] = "high"
    message.set_content(plain_text(letter.body))
    try:
        for code, said in (server.mail(mail_from), server.rcpt(letter.receiver)):
            _accepted(code, said)
    except (OSError, smtplib.SMTPException) as error:
        raise NotSent(str(error)) from error
    try:
        code, said = server.data(message.as_bytes())
    except smtplib.SMTPDataError as error:  # refused before any data were sent
        _accepted(error.smtp_code, error.smtp_error)
        raise NotSent(str(error)) from error
    except (OSError, smtplib.SMTPException) as error:
        raise MayHaveArrived(str(error)) from error
    _accepted(code, said)


def _accepted(code: int, said: bytes | str) -> None:
    if 200 <= code < 300:
        return
    text = f"{code} {said.decode(errors='replace') if isinstance(said, bytes) else said}"
    raise (Rejected if code >= 500 else NotSent)(text)


def _send_by_channel(letter: Letter, outgoing: Outgoing) -> None:
    import apprise

    # Send to one address at a time: apprise sends a list in threads, which the guard does not cover.
    channel = apprise.Apprise.instantiate(letter.receiver)
    if channel is None:
        raise Rejected("the channel's address can't be read")
    channel.socket_connect_timeout, channel.socket_read_timeout = CONNECT_S, READ_S
    channel.redirects = False
    kind = apprise.NotifyType.WARNING if letter.urgent else apprise.NotifyType.INFO
    try:
        with outgoing.guarded():
            sent = channel.notify(
                body=plain_text(letter.body), title=plain_line(letter.subject), notify_type=kind
            )
    except Overdue as error:
        raise MayHaveArrived(f"the channel's answer: {error}") from error
    if not sent:
        raise NotSent("the channel did not take it, or its address is not allowed (FIELDFARE_INTERNAL_HOSTS)")
