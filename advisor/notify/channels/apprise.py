"""Sends notices through the many message services that the library apprise reaches; install the extra `notify`.

The service's address holds its key, so it stands in a file of mode 600 or in the environment. Not idempotent: where
apprise cannot say whether a message was taken, it is not sent again.

| what apprise tells | it counts as |
|---|---|
| no connection, or an answer of the service that refuses | not delivered, tried again |
| anything else: timed out, connection broken, no reason given | unknown, not sent again |
"""

from __future__ import annotations

import logging
import re
from collections.abc import Mapping
from contextlib import contextmanager
from pathlib import Path

from advisor.errors import InvalidFile, NotDelivered
from advisor.notify.message import Message
from advisor.notify.secrets import read_secret
from advisor.store.masking import Secret

_NO_CONNECTION = re.compile(r"NewConnectionError|NameResolutionError|ConnectTimeoutError|Connection refused|SSLError")
_REFUSED = re.compile(r"\berror=(\d{3})\b")
INSTALL = "pip install 'application-window-advisor[notify]'"


class AppriseChannel:
    idempotent = False

    def __init__(self, url: Secret, name: str = "apprise"):
        self.name, self._url = name, url
        self._service = _service(url, name)

    def __repr__(self) -> str:
        return f"AppriseChannel({self.name!r})"

    @property
    def secrets(self) -> tuple[Secret, ...]:
        # An error may show parts of the address: each longer part counts as secret too.
        parts = [part for part in re.split(r"[/?&=@:]+", self._url.reveal()) if len(part) >= 6]
        return (self._url, *(Secret(part) for part in parts))

    def send(self, message: Message) -> None:
        import apprise

        with _captured() as said:
            done = self._service.notify(
                title=" ".join(message.subject.split()), body=message.text, body_format=apprise.NotifyFormat.TEXT
            )
        if done:
            return
        told = said()
        refused = _REFUSED.search(told)
        if refused is not None:
            raise NotDelivered(
                f"the service answered {refused[1]}", where=self.name, hint="check the address and its key"
            )
        if _NO_CONNECTION.search(told):
            raise NotDelivered("no connection to the service", where=self.name, hint="check the network")
        raise RuntimeError("the service did not say whether it took the notice")


@contextmanager
def _captured():
    """What apprise says while sending, for this module alone: its debugging lines hold the address and its key."""
    import apprise

    logger = logging.getLogger("apprise")
    before, logger.propagate = logger.propagate, False
    try:
        with apprise.LogCapture(level=logging.DEBUG) as output:
            yield output.getvalue
    finally:
        logger.propagate = before


def _service(url: Secret, name: str):
    try:
        import apprise
    except ImportError as error:
        raise InvalidFile(
            f'the channel "{name}" needs the library apprise', where="notices.channel", hint=INSTALL
        ) from error
    service = apprise.Apprise()
    with _captured():
        known = service.add(url.reveal())
    if not known:
        raise InvalidFile(
            f'the channel "{name}": apprise does not know this kind of address',
            where="notices.channel",
            hint="see apprise's own list of services; the address stands alone on one line",
        )
    return service


def from_settings(settings: Mapping[str, object], name: str, folder: Path) -> AppriseChannel:
    """`url_file` or `url_env` with the address of the service."""
    url = read_secret(settings, "url", name, folder)
    if url is None:
        raise InvalidFile(
            f'the channel "{name}" names no service', where="notices.channel", hint='write url_file = "message-service"'
        )
    return AppriseChannel(url, name)
