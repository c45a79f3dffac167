"""The wire: a session that waits and tries again, and the reading of one bounded answer.

Redirections are followed here, one by one: to http or https, never from https to http, and never to another host that
is not on the public network.
"""

from __future__ import annotations

import re
import time
from collections.abc import Mapping
from datetime import UTC, datetime
from urllib.parse import urljoin, urlsplit

import requests
import urllib3
from urllib3.exceptions import MaxRetryError
from urllib3.util.retry import Retry

from advisor.errors import SourceUnreachable
from advisor.sources.request import Request
from advisor.transport.guarded import WATCH, NotPublic, Watch, guarded_session, place, watched
from advisor.transport.limits import GATE
from advisor.transport.policy import retry_after_seconds
from advisor.web_address import is_public, what_is_wrong

#: longest wait that a provider may ask for and get [s]
LONGEST_WAIT = 60.0
_CHUNK = 8192
#: redirections that are followed for one question
MOST_REDIRECTIONS = 5
_REDIRECTIONS = (301, 302, 303, 307, 308)
_RETRIED = (429, 500, 502, 503, 504)
_ALLOW = "name the address that it points to under [weather.hosts], if you mean it"
_NETWORK = "check the network; the last kept answer counts until it is too old"


class PatientRetry(Retry):
    """Retry that waits as asked up to `LONGEST_WAIT`, and gives up at once where a longer wait is asked
    for."""

    def parse_retry_after(self, retry_after: str) -> float:
        try:
            return min(max(0.0, super().parse_retry_after(retry_after)), LONGEST_WAIT)
        except (urllib3.exceptions.InvalidHeader, ValueError, OverflowError):
            return 0.0

    def increment(self, method=None, url=None, response=None, error=None, _pool=None, _stacktrace=None):
        watch = WATCH.get()
        if isinstance(error, NotPublic) or (error is not None and watch is not None and watch.expired):
            raise error  # it would be the same again
        if (
            response is not None
            and retry_after_seconds(response.headers.get("Retry-After"), datetime.now(UTC)) > LONGEST_WAIT
        ):
            raise MaxRetryError(_pool, url, urllib3.exceptions.ResponseError("asked to wait too long"))
        return super().increment(method, url, response, error, _pool, _stacktrace)


def new_session(*, attempts: int = 3, backoff: float = 0.5) -> requests.Session:
    """A session that tries again on 429 and 5xx and on connections that fail, `attempts` times after the
    first."""
    retry = PatientRetry(
        total=attempts,
        read=min(1, attempts),  # a silent provider is not waited for again and again
        backoff_factor=backoff,
        backoff_jitter=0.3 * min(1.0, 2.0 * backoff),
        status_forcelist=_RETRIED,
        allowed_methods=("GET",),
        respect_retry_after_header=True,
        raise_on_status=False,
    )
    return guarded_session(max_retries=retry)


def unreachable(what: str, where: str, hint: str = "ask again in a few minutes") -> SourceUnreachable:
    return SourceUnreachable(what, where=where, hint=hint)


def get(
    session: requests.Session,
    request: Request,
    headers: Mapping[str, str],
    timeout: tuple[float, float],
    deadline: float,
    body_limit: int,
) -> tuple[requests.Response, bytes]:
    """One answer, read to its end; a connection that breaks in the middle is tried once more."""
    host = urlsplit(request.url).hostname or ""
    for last_try in (False, True):
        try:
            with GATE.passing(host, request.weight):
                return _read(session, request, headers, timeout, deadline, body_limit)
        except _Broken as error:
            if last_try:
                raise unreachable(error.what, request.url) from error
    raise AssertionError


class _Broken(Exception):
    def __init__(self, what: str):
        super().__init__(what)
        self.what = what


def _read(session, request, headers, timeout, deadline, body_limit) -> tuple[requests.Response, bytes]:
    where, host = request.url, urlsplit(request.url).netloc
    with watched(request.url, deadline) as watch:
        try:
            return _followed(session, request, headers, timeout, watch, body_limit)
        except NotPublic as error:
            raise unreachable(
                f"{host} redirects to an address that is not public ({error})", where, _ALLOW
            ) from error
        except (requests.exceptions.RequestException, urllib3.exceptions.HTTPError) as error:
            raise _explained(error, host, where, timeout, watch) from error


def _followed(
    session, request, headers, timeout, watch: Watch, body_limit
) -> tuple[requests.Response, bytes]:
    where, host = request.url, urlsplit(request.url).netloc
    address = request.address
    for _ in range(MOST_REDIRECTIONS + 1):
        with session.get(
            address, headers=headers, timeout=timeout, stream=True, allow_redirects=False
        ) as response:
            leads_to = response.headers.get("Location")
            if response.status_code not in _REDIRECTIONS or not leads_to:
                return response, _body(response, where, watch, body_limit)
        address = _next(address, leads_to, host, where, watch)
    raise unreachable(f"{host} redirects in circles", where)


def _next(address: str, leads_to: str, host: str, where: str, watch: Watch) -> str:
    """The address to which a redirection leads, where it may be followed."""
    try:
        target = requests.utils.requote_uri(urljoin(address, leads_to.strip()))
    except ValueError:
        target = ""
    wrong = what_is_wrong(target)
    if wrong:
        raise unreachable(f"{host} redirects to something that is no web address: {wrong}", where)
    if urlsplit(where).scheme == "https" and urlsplit(target).scheme != "https":
        raise unreachable(f"{host} redirects to an address without encryption", where)
    named = place(target)
    if named not in watch.own and _is_number(named[0]) and not is_public(named[0]):
        raise NotPublic(named[0])
    return target


def _is_number(host: str) -> bool:
    return ":" in host or host.replace(".", "").isdigit()


def _explained(error: Exception, host: str, where: str, timeout, watch: Watch) -> SourceUnreachable:
    """What went wrong on the wire, in words."""
    kinds = requests.exceptions
    if watch.expired:
        return _late(watch, where)
    if isinstance(error, kinds.ConnectTimeout):
        return unreachable(f"{host} did not answer within {timeout[0]:g} s", where, _NETWORK)
    if isinstance(error, kinds.ReadTimeout):
        return unreachable(f"{host} was silent for {timeout[1]:g} s", where)
    if isinstance(error, kinds.SSLError):
        return unreachable(
            f"the certificate of {host} is not trusted",
            where,
            "check this computer's clock and its certificates",
        )
    if isinstance(error, kinds.InvalidSchema | kinds.InvalidURL):
        return unreachable(f"{host} redirects to something that is no web address", where)
    if isinstance(error, kinds.ConnectionError):
        return unreachable(f"{host} cannot be reached: {_cause(error)}", where, _NETWORK)
    return unreachable(f"asking {host} failed: {_cause(error)}", where)


def _body(response: requests.Response, where: str, watch: Watch, body_limit: int) -> bytes:
    chunks, size = [], 0
    try:
        while True:
            # One piece as it comes in: waiting for a full buffer would let a trickle outlast the deadline.
            chunk = response.raw.read1(_CHUNK, decode_content=True)
            if not chunk:
                break
            chunks.append(chunk)
            size += len(chunk)
            if size > body_limit:
                raise unreachable(
                    f"the answer is larger than {body_limit / 1048576:.3g} MB, which no forecast is", where
                )
            if watch.expired or time.monotonic() - watch.began > watch.seconds:
                raise _late(watch, where)
        if watch.expired:
            raise _late(watch, where)
    except urllib3.exceptions.ReadTimeoutError as error:
        raise unreachable("the answer stopped in the middle, and nothing more came", where) from error
    except urllib3.exceptions.DecodeError as error:
        raise unreachable("the answer is compressed and damaged", where) from error
    except (urllib3.exceptions.HTTPError, OSError) as error:
        if watch.expired:
            raise _late(watch, where) from error
        raise _Broken("the connection broke in the middle of the answer") from error
    return b"".join(chunks)


def _late(watch: Watch, where: str) -> SourceUnreachable:
    return unreachable(f"the answer was not complete after {watch.seconds:g} s", where)


def _cause(error: BaseException) -> str:
    """The innermost reason, in the words of the system, without addresses of objects."""
    text = str(error)
    for pattern, words in (
        (r"Name or service not known|getaddrinfo|NameResolution|nodename", "its name is not known"),
        (r"Connection refused", "it refuses connections"),
        (r"No route to host|unreachable", "there is no way to it"),
        (r"[Rr]eset by peer|Connection aborted|RemoteDisconnected|closed", "it broke the connection off"),
        (r"timed out|Timeout", "it did not answer in time"),
    ):
        if re.search(pattern, text):
            return words
    return type(error).__name__
