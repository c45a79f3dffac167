"""What a provider is asked: an address, parameters and headers. Nothing is sent here."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from urllib.parse import quote, urlencode

from advisor.errors import UsageError


@dataclass(frozen=True, slots=True)
class Request:
    """One GET request to a provider.

    Attributes
    ----------
    url : str
        Address without a query.
    params : mapping of str to str
        Query, in the order in which it is sent. A key named "apikey" is never shown.
    headers : mapping of str to str
        Headers beside the User-Agent, which the transport sets.
    source : str
        Name of the provider in `advisor.sources.SOURCES`.
    weight : float
        How many ordinary requests this one counts as with its provider.
    """

    url: str
    params: Mapping[str, str] = field(default_factory=dict)
    headers: Mapping[str, str] = field(default_factory=dict)
    source: str = ""
    weight: float = 1.0

    @property
    def address(self) -> str:
        """The whole address; lists keep their literal commas, as the providers document them."""
        query = urlencode(self.params, safe=",:", quote_via=quote)
        return f"{self.url}?{query}" if query else self.url

    @property
    def shown(self) -> str:
        """The address as it may be printed and stored: without the key of a paying customer."""
        kept = {name: value for name, value in self.params.items() if name != "apikey"}
        return Request(self.url, kept).address


def coordinate(value: float, what: str, limit: float) -> str:
    """A coordinate rounded to four decimals (11 m) without trailing zeros.

    One provider answers a fifth decimal with a redirect, another with a refusal, and trailing zeros redirect
    too.
    """
    number = float(value)
    if not math.isfinite(number) or abs(number) > limit:
        raise UsageError(f"{what} {value!r} is not between -{limit:g} and {limit:g} degrees")
    text = f"{number:.4f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def latitude_text(value: float) -> str:
    return coordinate(value, "latitude", 90.0)


def longitude_text(value: float) -> str:
    return coordinate(value, "longitude", 180.0)
