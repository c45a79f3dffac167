"""Asking for an answer: the decision, the wire and the checks put together."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any, Literal

import requests

from advisor import __version__
from advisor.errors import SourceUnreachable, UsageError, WeatherError
from advisor.sources import Source, nws, source
from advisor.sources.reading import read_document
from advisor.sources.request import Request
from advisor.transport.policy import Archived, decide, retry_after_seconds
from advisor.transport.wire import LONGEST_WAIT, get, new_session, unreachable
from advisor.web_address import what_is_wrong

#: connecting and each wait for more bytes [s]
TIMEOUT = (3.05, 20.0)
#: the whole answer, however slowly it trickles in [s]
DEADLINE = 60.0
#: largest answer after decompression [bytes]; the largest real one seen has 0.25 MB
BODY_LIMIT = 16 * 1024 * 1024

Origin = Literal["network", "revalidated", "kept"]


@dataclass(frozen=True, slots=True)
class Answer:
    """What a provider said.

    Attributes
    ----------
    origin : str
        "network", "revalidated" (the provider says that the kept answer still holds) or "kept" (it was not
        asked, or could not be reached).
    fetched_at : datetime
        When the provider last vouched for the body; for "kept" the time of the kept answer.
    url : str
        As it may be shown: without the key of a paying customer.
    warnings : tuple of str
        What a person should know although the answer can be used.
    """

    body: bytes
    status: int
    headers: Mapping[str, str]
    fetched_at: datetime
    url: str
    sha256: str
    origin: Origin = "network"
    source: str = ""
    warnings: tuple[str, ...] = ()

    def archived(self) -> Archived:
        return Archived(self.body, self.fetched_at, self.url, self.status, self.headers)


def user_agent(contact: str) -> str:
    """The User-Agent that names this program and a person or page to turn to.

    Raises
    ------
    UsageError
        Without a mail address or a web address: two providers refuse such requests.
    """
    contact = " ".join(contact.split()) if contact else ""
    if not re.search(r"[^\s@]+@[^\s@]+\.[^\s@]+|https?://\S+", contact) or not contact.isprintable():
        raise UsageError(
            "weather providers want to know whom to turn to, and no contact is set",
            hint='set "contact" to a mail address or a web page',
        )
    return f"application-window-advisor/{__version__} ({contact.encode('ascii', 'ignore').decode()})"


def fetch(
    request: Request,
    *,
    contact: str,
    previous: Archived | None = None,
    now: datetime | None = None,
    force: bool = False,
    fresh_hours: float = 0.0,
    session: requests.Session | None = None,
    timeout: tuple[float, float] = TIMEOUT,
    deadline: float = DEADLINE,
    body_limit: int = BODY_LIMIT,
) -> Answer:
    """Ask a provider, unless the kept answer is still fresh.

    Parameters
    ----------
    contact : str
        Mail or web address of whoever runs this; sent in the User-Agent.
    previous : Archived, optional
        The answer that was kept for the same address.
    fresh_hours : float
        That answer is used without asking for at least so long [h].
    timeout : (float, float)
        For connecting and for each wait for bytes [s]; `deadline` [s] bounds the whole answer.

    Raises
    ------
    SourceUnreachable
        The network or the provider failed; asking again later may help.
    WeatherError
        The provider refused what was asked.
    UsageError
        There is no contact, or the address is not http or https.
    """
    now = now or datetime.now(UTC)
    shown = request.shown
    agent = user_agent(contact)
    wrong = what_is_wrong(request.url)
    if wrong:
        raise UsageError(
            f'"{shown}" is not an address of the web: {wrong}', hint="it must begin with https:// or http://"
        )
    decision = decide(previous, shown, now, force=force, at_least=fresh_hours)
    if decision.action == "use":
        return _kept(previous, request.source)
    headers = {"User-Agent": agent, "Accept-Encoding": "gzip", **request.headers, **decision.headers}
    own = session is None
    session = session or new_session()
    try:
        response, body = get(session, request, headers, timeout, deadline, body_limit)
    finally:
        if own:
            session.close()
    received = {name.lower(): value for name, value in response.headers.items()}
    if response.status_code == 304:
        if decision.action != "revalidate":
            raise unreachable("the provider says that nothing changed, but was not asked that", request.url)
        merged = {**previous.headers, **received}
        return replace(_kept(previous, request.source), headers=merged, fetched_at=now, origin="revalidated")
    _check_status(response.status_code, received, body, request.url)
    _check_body(received, body, request.url)
    digest = hashlib.sha256(body).hexdigest()
    warnings = ()
    if response.status_code == 203:
        warnings = (
            "the provider says that this address is deprecated or in trial (203); the answer can be used",
        )
    return Answer(
        body, response.status_code, received, now, shown, digest, "network", request.source, warnings
    )


def fetch_or_keep(request: Request, *, previous: Archived | None, **options: Any) -> Answer:
    """Like `fetch`, but when the provider cannot be reached the kept answer is handed back with a warning.

    Its age still counts from when it was fetched, so it turns stale in due time.
    """
    try:
        return fetch(request, previous=previous, **options)
    except SourceUnreachable as error:
        if previous is None or previous.url != request.shown:
            raise
        return replace(_kept(previous, request.source), warnings=(f"{error.what}; the kept answer is used",))


def ask(
    source_name: str,
    latitude: float,
    longitude: float,
    *,
    contact: str,
    kept: Callable[[str], Archived | None] = lambda url: None,
    base: str | None = None,
    session: requests.Session | None = None,
    **options: Any,
) -> tuple[Answer, ...]:
    """All answers on the way to a forecast of a place, the forecast's own last.

    Parameters
    ----------
    kept : callable
        Gives the kept answer of an address, or None.
    base : str, optional
        Another host than the provider's own.
    """
    provider = source(source_name)
    own = session is None
    session = session or new_session()
    try:
        return _ask(provider, latitude, longitude, contact, kept, base, session, options)
    finally:
        if own:
            session.close()


def _ask(provider: Source, latitude, longitude, contact, kept, base, session, options) -> tuple[Answer, ...]:
    request = provider.first_request(latitude, longitude, base=base)
    answers: list[Answer] = []
    refreshed = False
    while request is not None:
        # Only the last answer is the forecast; those before it lead to its address, and that seldom changes.
        leads = provider.lead_hours if not answers else 0.0
        previous = kept(request.shown)
        try:
            answer = fetch(
                request, contact=contact, previous=previous, session=session, fresh_hours=leads, **options
            )
        except _NotFound:
            # A grid cell from a kept answer may have been redefined: ask once more which cell it is.
            if refreshed or not answers or answers[-1].origin == "network":
                raise
            refreshed = True
            request = provider.first_request(latitude, longitude, base=base)
            answers = [fetch(request, contact=contact, session=session, force=True, **options)]
        else:
            answers.append(answer)
        request = provider.next_request(read_document(answers[-1].body), base=base)
    return tuple(answers)


class _NotFound(WeatherError):
    """404 and 422: nothing at this address."""


def _kept(previous: Archived, source_name: str) -> Answer:
    return Answer(
        previous.body,
        previous.status,
        previous.headers,
        previous.fetched_at,
        previous.url,
        hashlib.sha256(previous.body).hexdigest(),
        "kept",
        source_name,
    )


def _check_status(status: int, headers: Mapping[str, str], body: bytes, where: str) -> None:
    if status in (200, 203):
        return
    said = _reason_given(body)
    reason = f": {said}" if said else ""
    if status == 429:
        seconds = retry_after_seconds(headers.get("retry-after"), datetime.now(UTC))
        wait = f"wait {seconds / 60.0:.0f} minutes" if seconds > LONGEST_WAIT else "wait a few minutes"
        raise unreachable(
            f"the provider says that it was asked too often{reason}", where, f"{wait}, then ask again"
        )
    if status >= 500:
        raise unreachable(f"the provider has trouble (status {status}){reason}", where)
    if status in (401, 403):
        raise WeatherError(
            f"the provider refuses to answer (status {status}){reason}",
            where=where,
            hint="check that your contact is set and real; the provider may have blocked this network",
        )
    if status in (404, 410, 422):
        raise _NotFound(
            f"the provider has no forecast for this place (status {status}){reason}",
            where=where,
            hint="check the site's coordinates, or use a source that covers it",
        )
    raise WeatherError(
        f"the provider does not accept the request (status {status}){reason}",
        where=where,
        hint="check the site's coordinates",
    )


def _reason_given(body: bytes) -> str:
    """The provider's own reason out of an error's body; empty where it gives none, a web page's words
    never."""
    try:
        data = read_document(body).data
    except WeatherError:
        return ""
    if not isinstance(data, dict):
        return ""
    said = data.get("reason") or data.get("detail") or data.get("title")
    name = nws.problem_name(data)
    text = " ".join(str(said).split())[:200] if isinstance(said, str) else ""
    return f"{text} ({name})" if text and name else text


def _check_body(headers: Mapping[str, str], body: bytes, where: str) -> None:
    kind = headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind and not (kind.endswith(("/json", "+json")) or kind == "text/plain"):
        page = "a web page" if "html" in kind else f'something of the kind "{kind}"'
        raise unreachable(
            f"the provider sent {page} in place of weather data",
            where,
            "a proxy or a gate answered; ask again later",
        )
    try:
        read_document(body)
    except WeatherError as error:
        raise SourceUnreachable(error.what, where=where, hint=error.hint) from error
