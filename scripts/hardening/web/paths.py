"""Paths that lead out of the folder, lines that lead out of the header, and requests that are too much."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator
from urllib.parse import quote

from hardening.web.attack import Attack

#: words that stand in files which no page shows
INSIDE = ("root:", "[project]", "def create_app", "PRAGMA", "SQLite format 3", "[[area]]", "{% block")
_UP = (
    "../",
    "..%2f",
    "%2e%2e/",
    "%2e%2e%2f",
    "..%5c",
    "..\\",
    "%252e%252e%252f",
    "....//",
    "..%c0%af",
    "%2e%2e%5c",
    ".%00./",
)
_FILES = ("etc/passwd", "app.py", "security.py", "templates/base.html")


def traversal(quick: bool) -> Iterator[Attack]:
    """Files beside those that are served, through every part of an address."""
    places = ("/static/", "/day/", "/tell/", "/units/", "/", "/round/", "/lawn/")
    ups = _UP[::2] if quick else _UP
    for place in places:
        for up in ups:
            for file in _FILES if not quick or place == "/static/" else _FILES[:1]:
                path = f"{place}{up * (7 if file.startswith('etc') else 1)}{file}"
                yield Attack("path traversal", path[:60], "no such page, no file's words", _reading(path))
    for path in (
        "/static//etc/passwd",
        "/static/%2fetc/passwd",
        "/static/C:/windows/win.ini",
        "/static/",
        "/static",
        "/static/page.css%00.html",
        "/static/./../app.py",
        "//etc/passwd",
        "/static/..;/app.py",
        "/day/2026-09-23/../../static/../app.py",
        "/.env",
        "/.git/config",
        "/advisor.db",
        "/lawn.toml",
        "/calendar-token",
        "file:///etc/passwd",
        "/%2e%2e/%2e%2e/etc/passwd",
        "*",
    ):
        yield Attack("path traversal", path, "no such page, no file's words", _reading(path))


def _reading(path: str):
    def run(world):
        answer = world.open.ask("GET", path)
        inside = [word for word in INSIDE if word in answer.text]
        own = 200 <= answer.status < 300 and not (answer.header("Content-Type").startswith("text/html"))
        bad = inside or own or answer.status == 500
        return not bad, f"{answer.told}{f', with {inside}' if inside else ''}"

    return run


def headers() -> Iterator[Attack]:
    """Line ends in what comes back in a header, and redirections that lead away."""
    breaks = ("%0d%0a", "%0a", "%0d", "%e5%98%8a%e5%98%8d", "%c4%8d%c4%8a", "%00")
    for end in breaks:
        for path in (
            f"/units/metric?back=/{end}Set-Cookie:evil=1",
            f"/units/metric{end}Set-Cookie:evil=1",
            f"/day/x{end}Evil:1",
            f"/tell?kept=x{end}Evil:1",
            f"/static/x{end}Evil:1",
        ):
            yield Attack("header injection", path, "no header of theirs", _without_theirs(path))
    for back in (
        "//evil.example",
        "/\\evil.example",
        "\\\\evil.example",
        "https://evil.example",
        "http:evil.example",
        "/\t/evil.example",
        "javascript:alert(1)",
        "/%09//evil.example",
        "///evil.example",
        "/.//evil.example",
        " //evil.example",
        "\u2044\u2044evil.example",
        "@evil.example",
        "/\u0000//evil.example",
    ):
        yield Attack("open redirection", f"back={back!r}", "leads to a page of ours", _leads_home(back))


def _without_theirs(path: str):
    def run(world):
        answer = world.open.ask("GET", path)
        theirs = [
            name for name, value in answer.headers if name.lower() == "evil" or value.startswith("evil=")
        ]
        return not theirs and answer.status != 500, answer.told

    return run


def _leads_home(back: str):
    def run(world):
        answer = world.open.get(f"/units/metric?back={quote(back, safe='')}")
        target = answer.header("Location")
        home = target.startswith("/") and not target.startswith(("//", "/\\")) and "\\" not in target[:3]
        return (not target or home) and answer.status in (303, 400), f"{answer.told}, to {target!r}"

    return run


def too_much() -> Iterator[Attack]:
    """More than is taken, or nonsense in the frame of a request."""

    def raw(text: bytes, *statuses: int):
        def run(world):
            answer = world.open.raw(text.replace(b"HOST", world.open.host.encode()), seconds=4.0)
            return (
                answer.status in statuses and b"Traceback" not in answer.body,
                f"{answer.told} in {answer.seconds:.1f} s",
            )

        return run

    head = b"POST /tell/soil HTTP/1.1\r\nHost: HOST\r\nConnection: close\r\n"
    big = b"x" * 70_000
    rows = {
        "a body of 70 kB": (head + b"Content-Length: 70000\r\n\r\n" + big, (413,)),
        "a body of 9 TB is announced": (head + b"Content-Length: 9999999999999\r\n\r\n", (413,)),
        "70 kB in chunks": (
            head + b"Transfer-Encoding: chunked\r\n\r\n" + b"11170\r\n" + big + b"\r\n0\r\n\r\n",
            (413,),
        ),
        "a chunk without end": (head + b"Transfer-Encoding: chunked\r\n\r\n" + b"f" * 70_000, (0, 400, 413)),
        "a header line of 20 kB": (
            b"GET / HTTP/1.1\r\nHost: HOST\r\nX: " + b"y" * 20_000 + b"\r\n\r\n",
            (431,),
        ),
        "900 headers": (
            b"GET / HTTP/1.1\r\nHost: HOST\r\n" + b"X-Some-Name: 1234\r\n" * 900 + b"\r\n",
            (431,),
        ),
        "an address of 20 kB": (b"GET /" + b"a" * 20_000 + b" HTTP/1.1\r\nHost: HOST\r\n\r\n", (414, 431)),
        "a cookie of 15 kB": (
            b"GET / HTTP/1.1\r\nHost: HOST\r\nConnection: close\r\nCookie: advisor_form="
            + b"a" * 15_000
            + b"\r\n\r\n",
            (200,),
        ),
        "a negative length": (head + b"Content-Length: -5\r\n\r\nhello", (400,)),
        "a length that is no number": (head + b"Content-Length: 5x\r\n\r\nhello", (400,)),
        "two lengths": (head + b"Content-Length: 5\r\nContent-Length: 6\r\n\r\nhello!", (400,)),
        "length and chunks": (
            head + b"Content-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
            (400, 403),
        ),
        "an unknown encoding": (head + b"Transfer-Encoding: gzip\r\n\r\n", (400, 501)),
        "a blank before the colon": (b"GET / HTTP/1.1\r\nHost : HOST\r\n\r\n", (400,)),
        "a line that is no header": (b"GET / HTTP/1.1\r\nHost: HOST\r\nnonsense\r\n\r\n", (400,)),
        "a bare line feed": (b"GET / HTTP/1.1\r\nHost: HOST\nEvil: 1\r\n\r\n", (400,)),
        "a folded header": (
            b"GET / HTTP/1.1\r\nHost: HOST\r\n evil.example\r\nConnection: close\r\n\r\n",
            (400, 421),
        ),
        "an open bracket as address": (
            b"GET http://[ HTTP/1.1\r\nHost: HOST\r\nConnection: close\r\n\r\n",
            (400,),
        ),
        "no method": (b"/ HTTP/1.1\r\nHost: HOST\r\n\r\n", (0, 400)),
        "no version": (b"GET /\r\nHost: HOST\r\n\r\n", (0, 200, 400, 421)),
        "HTTP/9.9": (b"GET / HTTP/9.9\r\nHost: HOST\r\nConnection: close\r\n\r\n", (200, 400, 505)),
        "a greeting of TLS": (bytes.fromhex("16030100c8010000c40303") + b"\0" * 190 + b"\r\n\r\n", (0, 400)),
        "zeros": (b"\0" * 4000 + b"\r\n\r\n", (0, 400)),
    }
    for name, (text, statuses) in rows.items():
        yield Attack("oversized or malformed", name, " or ".join(map(str, statuses)), raw(text, *statuses))

    def parts(world):
        cookie, token = world.open.form()
        border = "x" * 20
        body = "".join(
            f'--{border}\r\nContent-Disposition: form-data; name="f{at}"\r\n\r\n1\r\n' for at in range(700)
        )
        kind = {"Content-Type": f"multipart/form-data; boundary={border}", "Cookie": cookie}
        answer = world.open.ask("POST", "/tell/soil", kind, f"{body}--{border}--\r\n".encode())
        return answer.status in (403, 413), answer.told

    yield Attack("oversized or malformed", "a form of 700 parts", "refused", parts)

    def smuggled(world):
        inner = f"GET /healthz HTTP/1.1\r\nHost: {world.open.host}\r\n\r\n".encode()
        text = head + b"Transfer-Encoding: \x0bchunked\r\nContent-Length: %d\r\n\r\n" % len(inner) + inner
        answer = world.open.raw(text.replace(b"HOST", world.open.host.encode()))
        return answer.body.count(b"ok\n") == 0 and answer.status in (400, 403, 501), answer.told

    yield Attack(
        "oversized or malformed", "a second request inside the first", "refused, not answered", smuggled
    )


def slow() -> Iterator[Attack]:
    """Connections that are held and not used; the others must not wait, and the held ones end."""

    def hold(beginning: bytes, drip: bytes, count: int):
        def run(world):
            held = [
                socket.create_connection(("127.0.0.1", world.open.port), timeout=5.0) for _ in range(count)
            ]
            began, longest, alive = time.monotonic(), 0.0, list(held)
            try:
                for one in held:
                    one.sendall(beginning.replace(b"HOST", world.open.host.encode()))
                while alive and time.monotonic() - began < world.patience + 3.0:
                    longest = max(longest, (answer := world.open.get("/healthz")).seconds)
                    if answer.status != 200:
                        return False, f"others got {answer.told}"
                    alive = [one for one in alive if _still(one, drip)]
                    time.sleep(0.1)
            finally:
                for one in held:
                    one.close()
            over = time.monotonic() - began
            good = not alive and longest < 1.0
            return (
                good,
                f"{count} held, {len(alive)} left after {over:.1f} s; others waited {longest:.2f} s at most",
            )

        return run

    line = b"GET / HTTP/1.1\r\nHost: HOST\r\nX-Slow: "
    yield Attack(
        "slow loris", "40 heads, a byte at a time", "cut off in time, others served", hold(line, b"x", 40)
    )
    body = b"POST /tell/soil HTTP/1.1\r\nHost: HOST\r\nContent-Length: 60000\r\n\r\n"
    yield Attack(
        "slow loris", "40 bodies, a byte at a time", "cut off in time, others served", hold(body, b"x", 40)
    )


def _still(connection: socket.socket, drip: bytes) -> bool:
    """Whether the connection still takes a byte."""
    try:
        connection.sendall(drip)
        connection.setblocking(False)
        try:
            return connection.recv(1) != b""
        except BlockingIOError:
            return True
        finally:
            connection.setblocking(True)
    except OSError:
        return False
