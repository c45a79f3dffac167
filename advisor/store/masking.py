"""Keeps secrets out of everything that is written, shown or logged."""

from __future__ import annotations

import re
from collections.abc import Iterable

HIDDEN = "***"

_USER_INFO = re.compile(r"(?<=://)[^/@\s]+@")
_PARAMETER = re.compile(
    r"(?i)([?&;][\w.-]*(?:key|token|secret|passw(?:or)?d|pwd|auth|signature|sig|credential)[\w.-]*=)[^&;#\s]*"
)
_BEARER = re.compile(r"(?i)\b(bearer|basic)\s+[\w.~+/=-]{6,}")

#: headers of an answer that identify a person or open a door
SECRET_HEADERS = frozenset({"set-cookie", "cookie", "authorization", "proxy-authorization", "x-api-key"})


class Secret:
    """A password or token that shows itself only when asked by `reveal()`."""

    __slots__ = ("_text",)

    def __init__(self, text: str):
        self._text = text

    def reveal(self) -> str:
        return self._text

    def __repr__(self) -> str:
        return f"Secret({HIDDEN})"

    __str__ = __repr__

    def __bool__(self) -> bool:
        return bool(self._text)

    def __reduce__(self):
        raise TypeError("a secret is not pickled")


def masked(text: str, secrets: Iterable[Secret] = ()) -> str:
    """The text without the secrets, the users and passwords in addresses, and the keys in queries."""
    for secret in sorted((secret.reveal() for secret in secrets if secret), key=len, reverse=True):
        text = text.replace(secret, HIDDEN)
    text = _USER_INFO.sub(HIDDEN + "@", text)
    text = _PARAMETER.sub(rf"\1{HIDDEN}", text)
    return _BEARER.sub(rf"\1 {HIDDEN}", text)
