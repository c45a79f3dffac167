"""Sends notices by mail, over TLS. Not idempotent: a mail that may have been taken is not sent again.

| what happens | it counts as |
|---|---|
| no connection, no TLS, a 4xx answer, any trouble before the text was handed over | not delivered, tried again |
| a 5xx answer (no such address, wrong password, text refused) | not delivered for good |
| the connection breaks after the text was handed over | unknown, not sent again |

The Message-ID is made of the notice's id and stays the same at every attempt.
"""

from __future__ import annotations

import hashlib
import re
import smtplib
import ssl
from collections.abc import Mapping
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from pathlib import Path

from advisor.errors import InvalidFile, NotDelivered
from advisor.notify.message import Message
from advisor.notify.secrets import read_secret
from advisor.store.masking import Secret

#: for each answer of the server [s]
TIMEOUT = 20.0
PORTS = {"starttls": 587, "tls": 465, "none": 25}
_LOOPBACK = ("localhost", "127.0.0.1", "::1")
_ADDRESS = re.compile(r"[^\s@<>,;\"\\\x00-\x1f\x7f-\uffff]+@[A-Za-z0-9.-]+")
_POLICY = SMTP.clone(cte_type="7bit", max_line_length=78)


class EmailChannel:
    """`security` is "starttls", "tls", or "none", which only this computer's own mail server may be used with."""

    idempotent = False

    def __init__(
        self,
        host: str,
        sender: str,
        to: str,
        name: str = "email",
        *,
        security: str = "starttls",
        port: int | None = None,
        user: str | None = None,
        password: Secret | None = None,
        context: ssl.SSLContext | None = None,
        timeout: float = TIMEOUT,
    ):
        self.name, self.host, self.sender, self.to = name, host, sender, to
        self.security, self.port = security, port or PORTS[security]
        self.user, self._password = user, password
        self._context, self._timeout = context, timeout

    def __repr__(self) -> str:
        return f"EmailChannel({self.host!r}, {self.port}, {self.security!r}, to={self.to!r}, name={self.name!r})"

    @property
    def secrets(self) -> tuple[Secret, ...]:
        return () if self._password is None else (self._password,)

    def send(self, message: Message) -> None:
        text = self.written(message).as_bytes(policy=_POLICY)
        where = f"{self.host}:{self.port}"
        try:
            server = self._connect()
        except (OSError, smtplib.SMTPException) as error:
            raise _refused(error, where, "the mail server cannot be used") from error
        try:
            try:
                self._prepare(server)
            except (OSError, smtplib.SMTPException) as error:
                raise _refused(error, where, "the mail was not taken") from error
            # From here on the server may have the mail, whatever happens to the connection.
            self._hand_over(server, text, where)
        finally:
            _leave(server)

    def written(self, message: Message) -> EmailMessage:
        """The notice as a mail; the same bytes at every attempt."""
        mail = EmailMessage(policy=_POLICY)
        mail["Subject"] = " ".join(message.subject.split())
        mail["From"], mail["To"] = self.sender, self.to
        mail["Date"] = format_datetime(message.created_at)
        mark = hashlib.sha256(self.name.encode()).hexdigest()[:8]
        mail["Message-ID"] = f"<{message.id}.{mark}@{self.sender.rpartition('@')[2]}>"
        mail["Auto-Submitted"] = "auto-generated"
        mail.set_content(message.text.rstrip() + "\n")
        if message.html is not None:
            mail.add_alternative(message.html, subtype="html")
            # The parts are divided by a line that must not differ from one attempt to the next.
            mail.set_boundary("=-" + hashlib.sha256(message.id.encode()).hexdigest()[:32])
        return mail

    def _connect(self) -> smtplib.SMTP:
        if self.security == "tls":
            return smtplib.SMTP_SSL(self.host, self.port, timeout=self._timeout, context=self._tls())
        server = smtplib.SMTP(self.host, self.port, timeout=self._timeout)
        if self.security == "starttls":
            try:
                server.starttls(context=self._tls())
            except BaseException:
                server.close()
                raise
        return server

    def _tls(self) -> ssl.SSLContext:
        return self._context or ssl.create_default_context()

    def _prepare(self, server: smtplib.SMTP) -> None:
        """Everything up to the server's word that it will take the text."""
        server.ehlo_or_helo_if_needed()
        if self.user is not None:
            server.login(self.user, self._password.reveal() if self._password else "")
        for step, answer in (
            ("sender", server.mail(self.sender)),
            ("recipient", server.rcpt(self.to)),
            ("text", server.docmd("DATA")),
        ):
            if answer[0] not in (250, 251, 354):
                raise smtplib.SMTPResponseException(answer[0], f"{step} refused: {_decoded(answer[1])}")

    def _hand_over(self, server: smtplib.SMTP, text: bytes, where: str) -> None:
        server.send(re.sub(rb"(?m)^\.", b"..", text) + (b"" if text.endswith(b"\r\n") else b"\r\n") + b".\r\n")
        code, answer = server.getreply()
        if code != 250:
            refusal = smtplib.SMTPResponseException(code, f"text refused: {_decoded(answer)}")
            raise _refused(refusal, where, "the mail was not taken")


def _refused(error: Exception, where: str, what: str) -> NotDelivered:
    code = getattr(error, "smtp_code", None)
    if isinstance(error, smtplib.SMTPResponseException):
        reason = f"{error.smtp_code} {_decoded(error.smtp_error)}"
    else:
        reason = str(getattr(error, "strerror", None) or error) or type(error).__name__
    hint = "check host, port and security"
    if isinstance(error, smtplib.SMTPAuthenticationError):
        hint = "check user and password"
    elif isinstance(error, smtplib.SMTPNotSupportedError):
        hint = "the server offers no TLS here; nothing is sent without"
    elif code is not None:
        hint = "check sender and recipient"
    permanent = isinstance(code, int) and 500 <= code < 600
    return NotDelivered(f"{what} ({reason})", permanent=permanent, where=where, hint=hint)


def _decoded(text: bytes | str) -> str:
    plain = text.decode("utf-8", "replace") if isinstance(text, bytes) else str(text)
    return " ".join(plain.split())[:200]


def _leave(server: smtplib.SMTP) -> None:
    try:
        server.quit()
    except (OSError, smtplib.SMTPException):
        server.close()


def from_settings(settings: Mapping[str, object], name: str, folder: Path) -> EmailChannel:
    """`host`, `sender`, `to`; `security` ("starttls" unless stated), `port`, `user` with `password_file` or `_env`."""
    host = str(settings.get("host") or "")
    security = str(settings.get("security") or "starttls")
    addresses = {key: str(settings.get(key) or "") for key in ("sender", "to")}
    if not re.fullmatch(r"[A-Za-z0-9.:-]+", host):
        raise _fault(name, f'host = "{host}" is not the name of a mail server', 'host = "mail.example.org"')
    for key, address in addresses.items():
        if not _ADDRESS.fullmatch(address):
            raise _fault(name, f'{key} = "{address}" is not one mail address', f'{key} = "you@example.org"')
    if security == "none" and host not in _LOOPBACK:
        raise _fault(
            name, "mail without TLS is only for this computer's own mail server", 'security = "starttls"'
        )
    password, user = read_secret(settings, "password", name, folder), settings.get("user")
    if (user is None) != (password is None):
        raise _fault(name, "user and password go together", 'user = "you" and password_file = "mail-password"')
    if password is not None and security == "none":
        raise _fault(name, "a password is not sent without TLS", 'security = "starttls"')
    port = settings.get("port")
    return EmailChannel(
        host, addresses["sender"], addresses["to"], name, security=security,
        port=None if port is None else int(port), user=None if user is None else str(user), password=password,
    )  # fmt: skip


def _fault(name: str, what: str, write: str) -> InvalidFile:
    return InvalidFile(f'the channel "{name}": {what}', where="notices.channel", hint=f"write {write}")
