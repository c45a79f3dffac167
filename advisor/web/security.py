"""Who may ask, what a form must prove, and what a browser is told to refuse.

The pages listen on this computer alone unless they are told otherwise, and then only for those who know a word. The
Host header must name an address that was asked for, so that a page of somebody else cannot reach this one under another
name. A form carries a token that only a page of ours could have given: it is signed with a secret of this process and
bound to a cookie that other sites can neither read nor set.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import threading
import time
from urllib.parse import urlsplit

from flask import Flask, abort, redirect, render_template, request

COOKIE, FIELD = "advisor_form", "token"
#: proves that its bearer has given the word
PASS = "advisor_pass"
#: wrong words before nobody may try for a while, and that while [s]
WRONG_WORDS, PAUSE = 5, 60.0
#: bytes that a request may bring
BODY_LIMIT = 64 * 1024
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}


def protect(app: Flask, hosts: tuple[str, ...], word: str | None = None) -> None:
    """Host check, form tokens, headers and the body limit for every request of an application.

    Parameters
    ----------
    hosts : tuple of str
        Names that the Host header may have besides those of the loopback address.
    word : str, optional
        What a visitor must give before anything is shown; None asks for nothing.
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
        if request.method in ("GET", "HEAD"):
            return
        origin = request.headers.get("Origin")
        # Under the referrer policy "same-origin" a browser names the origin of our own pages, and calls no other so.
        if origin is not None and urlsplit(origin).netloc.lower() != request.headers["Host"].lower():
            abort(403)
        if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
            abort(403)
        given, cookie = request.form.get(FIELD, ""), request.cookies.get(COOKIE, "")
        if not cookie or not hmac.compare_digest(given.encode(), sign(secret, cookie).encode()):
            abort(403)

    if word is not None:
        _ask_for(word, app, secret)

    @app.context_processor
    def token():
        return {"form_token": lambda: _token_for_page(secret)}

    @app.after_request
    def tell(response):
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        if not request.path.startswith("/static/"):
            response.headers["Cache-Control"] = "private, no-cache"
        nonce = getattr(request, "advisor_nonce", None)
        if nonce is not None:
            response.set_cookie(COOKIE, nonce, httponly=True, samesite="Strict", path="/")
        return response


def sign(secret: bytes, nonce: str) -> str:
    return hmac.new(secret, nonce.encode(), hashlib.sha256).hexdigest()


def host_name(host: str) -> str:
    """The name in a Host header without its port; an IPv6 address keeps its brackets."""
    host = host.strip().lower()
    if host.startswith("["):
        return host.split("]")[0] + "]" if "]" in host else host
    return host.split(":")[0].rstrip(".")


def _ask_for(word: str, app: Flask, secret: bytes) -> None:
    """Nothing but the question is shown to a visitor who has not given the word; programs send it as a bearer token."""
    wrong: list[float] = []
    guard = threading.Lock()

    def right(given: str) -> bool:
        """Compared in constant time; after some wrong words nobody may try for a while."""
        with guard:
            now = time.monotonic()
            wrong[:] = [moment for moment in wrong if now - moment < PAUSE]
            if len(wrong) >= WRONG_WORDS:
                abort(429)
            if hmac.compare_digest(given.encode(), word.encode()):
                return True
            wrong.append(now)
            return False

    @app.before_request
    def let_in():
        if request.endpoint in ("static", "enter", "healthz"):
            return None
        nonce = request.cookies.get(COOKIE, "")
        if nonce and hmac.compare_digest(
            request.cookies.get(PASS, "").encode(), sign(secret, f"pass:{nonce}").encode()
        ):
            return None
        scheme, _, given = request.headers.get("Authorization", "").partition(" ")
        if scheme.lower() == "bearer" and right(given.strip()):
            return None
        return (
            redirect("/enter", 303)
            if request.method == "GET" and not request.path.endswith(".json")
            else abort(401)
        )

    @app.route("/enter", methods=["GET", "POST"])
    def enter():
        if request.method == "POST" and right(request.form.get("word", "")):
            response = redirect("/", 303)
            entered = sign(secret, f"pass:{request.cookies[COOKIE]}")
            response.set_cookie(PASS, entered, httponly=True, samesite="Strict", path="/")
            return response
        return render_template(
            "enter.html", wrong=request.method == "POST"
        ), 401 if request.method == "POST" else 200


def _token_for_page(secret: bytes) -> str:
    """The token of the visitor's cookie; a visitor without one gets one with this answer."""
    nonce = request.cookies.get(COOKIE) or getattr(request, "advisor_nonce", None)
    if not nonce or len(nonce) > 100:
        nonce = secrets.token_urlsafe(18)
        request.advisor_nonce = nonce
    return sign(secret, nonce)
