"""Posts each notice as signed JSON to an address of yours.

The request carries `Advisor-Notice-Id`, `Advisor-Timestamp` (seconds since 1970 at the moment of sending) and
`Advisor-Signature`: "hmac-sha256 " and the hexadecimal HMAC-SHA256, keyed with the shared secret, of the timestamp, a
line feed, the id, a line feed and the body. `verify` does what a receiver should: compare in constant time, and refuse
what is older than a few minutes.

| what happens | it counts as |
|---|---|
| no connection; an answer 408, 425, 429 or 5xx | not delivered, tried again, no sooner than its Retry-After asks |
| another answer than 2xx, redirections too: the address is wrong | not delivered for good |
| the connection breaks or times out after the request | unknown; sent again only to a receiver that drops repeats |
"""

from __future__ import annotations

import hashlib
import hmac
import json
import time
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlsplit

from advisor.clock import iso
from advisor.errors import InvalidFile, NotDelivered
from advisor.notify.message import Message
from advisor.notify.secrets import read_secret
from advisor.store.masking import Secret, masked
from advisor.web_address import what_is_wrong

SCHEMA_ID = "advisor.notice/1"
#: to connect, and for each piece of the answer [s]
TIMEOUT = (3.05, 20.0)
#: for the whole answer's head, however slowly it comes [s]
DEADLINE = 30.0
#: what a receiver should accept at most between sending and arriving [s]
TOLERANCE = 300.0
_PASSING = frozenset({408, 425, 429})
_SHORTEST_SECRET = 16


class WebhookChannel:
    def __init__(
        self,
        url: str,
        secret: Secret,
        name: str = "webhook",
        *,
        drops_repeats: bool = False,
        timeout: tuple[float, float] = TIMEOUT,
        deadline: float = DEADLINE,
        clock: Callable[[], float] = time.time,
        hidden: bool = False,
    ):
        self.name, self.idempotent = name, drops_repeats
        self._url, self._secret, self._hidden = url, secret, hidden
        self._timeout, self._deadline, self._clock = timeout, deadline, clock

    def __repr__(self) -> str:
        return f"WebhookChannel({self.shown!r}, {self.name!r})"

    @property
    def shown(self) -> str:
        """The address without what is secret in it."""
        parts = urlsplit(self._url)
        return f"{parts.scheme}://{parts.hostname}/***" if self._hidden else masked(self._url)

    @property
    def secrets(self) -> tuple[Secret, ...]:
        parts = urlsplit(self._url)
        path = f"{parts.path}?{parts.query}" if parts.query else parts.path
        return (self._secret, *([Secret(self._url), Secret(path)] if self._hidden and len(path) > 1 else []))

    def send(self, message: Message) -> None:
        import requests

        from advisor.transport.guarded import guarded_session, watched
        from advisor.transport.policy import retry_after_seconds

        body = written(message)
        moment = str(int(self._clock()))
        headers = {
            "Content-Type": "application/json; charset=utf-8",
            "User-Agent": "application-window-advisor",
            "Advisor-Notice-Id": message.id,
            "Advisor-Timestamp": moment,
            "Advisor-Signature": signature(self._secret, moment, message.id, body),
        }
        try:
            # The answer's body is never read: nothing is expected in it, and it may be endless.
            with (
                guarded_session() as session,
                watched(self._url, self._deadline),
                session.post(self._url, data=body, headers=headers, timeout=self._timeout, stream=True) as answer,
            ):
                status, later = answer.status_code, answer.headers.get("Retry-After")
        except requests.RequestException as error:
            if _before_the_request(error):
                raise NotDelivered(
                    f"no connection ({_reason(error)})", where=self.shown, hint="check the address, and that it answers"
                ) from error
            raise RuntimeError(f"the connection broke after the notice was sent ({_reason(error)})") from error
        if not 200 <= status < 300:
            passing = status in _PASSING or status >= 500
            hint = "it is tried again" if passing else "check the address and the secret"
            if 300 <= status < 400:
                hint = "write the address that it points to; redirections are not followed"
            wait = retry_after_seconds(later, datetime.fromtimestamp(self._clock(), UTC)) if passing else 0.0
            raise NotDelivered(
                f"the receiver answered {status}",
                permanent=not passing,
                not_before=wait,
                where=self.shown,
                hint=hint,
            )


def written(message: Message) -> bytes:
    """The notice as JSON; the same bytes at every attempt."""
    local_date = None if message.local_date is None else message.local_date.isoformat()
    whole = {
        "schema": SCHEMA_ID, "id": message.id, "kind": message.kind, "local_date": local_date,
        "created_at": iso(message.created_at), "subject": message.subject, "text": message.text, "html": message.html,
    }  # fmt: skip
    return json.dumps(whole, ensure_ascii=False, allow_nan=False).encode()


def signature(secret: Secret, timestamp: str, notice_id: str, body: bytes) -> str:
    signed = f"{timestamp}\n{notice_id}\n".encode() + body
    return "hmac-sha256 " + hmac.new(secret.reveal().encode(), signed, hashlib.sha256).hexdigest()


def verify(secret: Secret, headers: Mapping[str, str], body: bytes, now: float, tolerance: float = TOLERANCE) -> bool:
    """Whether a request came from the holder of the secret, just now; for receivers."""
    moment = headers.get("Advisor-Timestamp", "")
    if not moment.isascii() or not moment.isdigit() or abs(now - int(moment)) > tolerance:
        return False
    wanted = signature(secret, moment, headers.get("Advisor-Notice-Id", ""), body)
    return hmac.compare_digest(wanted.encode(), headers.get("Advisor-Signature", "").encode())


def _before_the_request(error: Exception) -> bool:
    """Whether the request has certainly not left: no address, no connection, no TLS."""
    from requests import exceptions
    from urllib3 import exceptions as wire

    if isinstance(error, exceptions.ConnectTimeout | exceptions.SSLError | exceptions.InvalidURL):
        return True
    if not isinstance(error, exceptions.ConnectionError) or not error.args:
        return False
    reason = getattr(error.args[0], "reason", error.args[0])
    return isinstance(reason, wire.NewConnectionError | wire.ConnectTimeoutError | wire.NameResolutionError)


def _reason(error: Exception) -> str:
    cause = error.args[0] if error.args else error
    inner = getattr(cause, "reason", cause)
    return type(inner).__name__


def from_settings(settings: Mapping[str, object], name: str, folder: Path) -> WebhookChannel:
    """`url` (or `url_file`, `url_env` where it is secret), `secret_file` or `secret_env`, `receiver_drops_repeats`."""
    hidden = read_secret(settings, "url", name, folder)
    url = str(settings.get("url") or "") if hidden is None else hidden.reveal()
    wrong = what_is_wrong(url, with_user=True)
    if wrong:
        shown = f'"{masked(url)}"' if hidden is None else "what is written there"
        raise InvalidFile(
            f'the channel "{name}": {shown} is not an http or https address: {wrong}',
            where="notices.channel",
            hint='write url = "https://example.org/notices"',
        )
    secret = read_secret(settings, "secret", name, folder)
    if secret is None or len(secret.reveal()) < _SHORTEST_SECRET:
        raise InvalidFile(
            f'the channel "{name}": the secret that signs must have at least {_SHORTEST_SECRET} characters',
            where="notices.channel",
            hint="make one: openssl rand -hex 32 > webhook-secret && chmod 600 webhook-secret",
        )
    return WebhookChannel(
        url, secret, name, drops_repeats=bool(settings.get("receiver_drops_repeats")), hidden=hidden is not None
    )
