"""Who may ask, what a form must prove, and what a browser is told to refuse.

The pages listen on this computer alone unless they are told otherwise, and then only for those who know a word. The
Host header must name an address that was asked for, so that a page of somebody else cannot reach this one under another
name. A form carries a token that only a page of ours could have given: it is signed with a secret of this process and
bound to a cookie that other sites can neither read nor set. What is signed says what it is for, so that a form's token
is never a visitor's pass.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
import time
from collections.abc import Callable
from urllib.parse import urlsplit

from flask import Flask, abort, redirect, render_template, request

from advisor.web.word import WRONG_WORDS, Attempts

__all__ = ["BODY_LIMIT", "HEADERS", "WRONG_WORDS", "host_name", "protect", "sign"]

COOKIE, FIELD = "advisor_form", "token"
#: proves that its bearer has given the word, for so long [s]
PASS, PASS_SECONDS = "advisor_pass", 30 * 86400
#: bytes that a request may bring
BODY_LIMIT = 64 * 1024
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; style-src 'self'; img-src 'self' data:; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}
_HOST = re.compile(r"(\[[0-9a-f:.]+\]|[a-z0-9._-]+)(?::\d{1,5})?")
_NONCE = re.compile(r"[A-Za-z0-9_-]{16,64}")
_OURS = ("same-origin", "none")


def protect(
    app: Flask, hosts: tuple[str, ...], word: str | None = None, feed: Callable[[str], bool] | None = None
) -> None:
    """Host check, form tokens, headers and the body limit for every request of an application.

    Parameters
    ----------
    hosts : tuple of str
        Names that the Host header may have besides those of the loopback address.
    word : str, optional
        What a visitor must give before anything is shown; None asks for nothing.
    feed : callable, optional
        Whether a token is that of the calendar feed, which a calendar program asks for without the word.
    """
    app.config["MAX_CONTENT_LENGTH"] = BODY_LIMIT
    app.config["MAX_FORM_MEMORY_SIZE"] = BODY_LIMIT
    app.config["MAX_FORM_PARTS"] = 100
    secret = secrets.token_bytes(32)
    allowed = {name.lower() for name in (*LOOPBACK, *hosts)}

    @app.before_request
    def check():
        if host_name(request.headers.get("Host", "")) not in allowed:
            abort(421)
        if not request.query_string.isascii():
            # every browser encodes a query; raw bytes in it cannot be read as text
            abort(400)
        site = request.headers.get("Sec-Fetch-Site", "same-origin")
        if request.method in ("GET", "HEAD"):
            # The choice of units is kept in a cookie: no page of somebody else may make it.
            if request.endpoint == "choose" and site not in _OURS:
                abort(403)
            return
        # Under the referrer policy "same-origin" a browser names the origin of our own pages, and calls no other so.
        origin = request.headers.get("Origin")
        if origin is not None and not _is_ours(origin, request.headers["Host"]):
            abort(403)
        if site not in _OURS:
            abort(403)
        given, nonce = request.form.get(FIELD, ""), _nonce()
        if not nonce or not hmac.compare_digest(given.encode(), sign(secret, "form", nonce).encode()):
            abort(403)

    if word is not None:
        _ask_for(word, app, secret, feed)

    @app.context_processor
    def token():
        return {"form_token": lambda: _token_for_page(secret), "guarded": word is not None}

    @app.after_request
    def tell(response):
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        if not request.path.startswith("/static/") and "no-store" not in response.headers.get(
            "Cache-Control", ""
        ):
            response.headers["Cache-Control"] = "private, no-cache"
        nonce = getattr(request, "advisor_nonce", None)
        if nonce is not None:
            _set_cookie(response, COOKIE, nonce)
        return response


def sign(secret: bytes, purpose: str, text: str) -> str:
    """What proves that this process has seen `text` for this purpose, and for no other."""
    return hmac.new(secret, f"{purpose}\n{text}".encode(), hashlib.sha256).hexdigest()


def host_name(host: str) -> str:
    """The name in a Host header without its port; an IPv6 address keeps its brackets; "" where it is no host."""
    found = _HOST.fullmatch(host.strip().lower())
    return found[1].removesuffix(".") if found else ""


def _is_ours(origin: str, host: str) -> bool:
    try:
        parts = urlsplit(origin)
    except ValueError:
        return False
    return parts.scheme in ("http", "https") and parts.netloc.lower() == host.lower()


def _nonce() -> str:
    """The visitor's cookie; empty where there is none of ours."""
    nonce = request.cookies.get(COOKIE, "")
    return nonce if _NONCE.fullmatch(nonce) else ""


def _set_cookie(response, name: str, value: str) -> None:
    response.set_cookie(name, value, httponly=True, samesite="Strict", secure=request.is_secure, path="/")


def _ask_for(word: str, app: Flask, secret: bytes, feed: Callable[[str], bool] | None) -> None:
    """Nothing but the question is shown to a visitor who has not given the word; programs send it as a bearer token."""
    attempts = Attempts()

    def right(is_right: Callable[[], bool]) -> bool:
        judged = attempts.judged(request.remote_addr, is_right)
        if judged is None:
            abort(429)
        return judged

    def is_word(given: str) -> Callable[[], bool]:
        return lambda: hmac.compare_digest(given.encode(), word.encode())

    @app.before_request
    def let_in():
        if request.endpoint in ("static", "enter", "healthz") or _has_pass(secret):
            return None
        if request.endpoint == "feed" and feed is not None and request.args.get("token"):
            return None if right(lambda: feed(request.args["token"])) else abort(401)
        scheme, _, given = request.headers.get("Authorization", "").partition(" ")
        if scheme.lower() == "bearer" and right(is_word(given.strip())):
            return None
        return (
            redirect("/enter", 303)
            if request.method == "GET" and not request.path.endswith((".json", ".ics"))
            else abort(401)
        )

    @app.route("/enter", methods=["GET", "POST"])
    def enter():
        if request.method == "POST" and right(is_word(request.form.get("word", ""))):
            response = redirect("/", 303)
            # A cookie of somebody else's making opens nothing: who enters gets a new one.
            nonce, until = secrets.token_urlsafe(18), str(int(time.time()) + PASS_SECONDS)
            request.advisor_nonce = nonce
            _set_cookie(response, PASS, f"{until}.{sign(secret, 'pass', f'{nonce}.{until}')}")
            return response
        return render_template(
            "enter.html", wrong=request.method == "POST"
        ), 401 if request.method == "POST" else 200


def _has_pass(secret: bytes) -> bool:
    until, _, proof = request.cookies.get(PASS, "").partition(".")
    nonce = _nonce()
    if not nonce or not (until.isascii() and until.isdigit() and len(until) < 12):
        return False
    right = hmac.compare_digest(proof.encode(), sign(secret, "pass", f"{nonce}.{until}").encode())
    return right and time.time() < int(until)


def _token_for_page(secret: bytes) -> str:
    """The token of the visitor's cookie; a visitor without one gets one with this answer."""
    nonce = getattr(request, "advisor_nonce", None) or _nonce()
    if not nonce:
        nonce = request.advisor_nonce = secrets.token_urlsafe(18)
    return sign(secret, "form", nonce)
