"""The page's word, the visitor's pass, the calendar's token, and what a browser is told."""

from __future__ import annotations

import re
from collections.abc import Iterator

from hardening.web.attack import Attack
from hardening.web.served import MARK, PAGES, Served

_CLOSED = (303, 401, 403, 404, 421, 429)


def word() -> Iterator[Attack]:
    """Ways in without the word."""

    def get(path: str, **headers: str):
        def run(world):
            answer = world.guarded.get(path, **headers)
            return answer.status in _CLOSED and MARK not in answer.text and not _opened(answer), answer.told

        return run

    for path in (*PAGES, "/index.json", "/calendar.ics", "/score.svg", "/readyz"):
        yield Attack("without the word", path, "not shown", get(path))
    for name, headers in {
        "an empty bearer": {"Authorization": "Bearer "},
        "basic": {"Authorization": "Basic Og=="},
        "a bearer of zeros": {"Authorization": "Bearer \0\0"},
        "the word as a cookie": {"Cookie": "advisor_pass=a word of some length"},
        "a pass made up": {
            "Cookie": "advisor_form=abcdefghijklmnopqrst; advisor_pass=99999999999." + "0" * 64
        },
        "an empty pass": {"Cookie": "advisor_form=abcdefghijklmnopqrst; advisor_pass="},
        "X-Forwarded-For loopback": {"X-Forwarded-For": "127.0.0.1"},
        "X-Original-URL": {"X-Original-URL": "/healthz"},
        "X-Remote-User": {"X-Remote-User": "root"},
    }.items():

        def run(world, headers=headers):
            answer = world.guarded.ask("GET", "/index.json", headers)
            return answer.status in (400, 401, 429) and MARK not in answer.text, answer.told

        yield Attack("without the word", name, "not shown", run)
    for path in (
        "/static/../",
        "//",
        "/enter/../",
        "/healthz/../",
        "/static/..%2f",
        "/Enter",
        "/%65nter/../index.json",
        "/healthz;/index.json",
        "/index.json?static",
        "/static/../index.json",
        "/./index.json",
    ):
        yield Attack("without the word", f"around it by {path}", "not shown", get(path))

    def confused(world):
        """The form on /enter signs whatever cookie is sent; what it signs must be no pass."""
        nonce = "abcdefghijklmnopqrstuvwx"
        for cookie in (
            f"pass:{nonce}",
            f"pass.{nonce}",
            f"{nonce}.99999999999",
            f"pass%0a{nonce}.99999999999",
            nonce,
        ):
            _, token = world.guarded.form("/enter", f"advisor_form={cookie}")
            for proof in (token, f"99999999999.{token}"):
                answer = world.guarded.get(
                    "/index.json", Cookie=f"advisor_form={nonce}; advisor_pass={proof}"
                )
                if answer.status != 401:
                    return False, f"cookie {cookie}: {answer.told}"
        return True, "status 401"

    yield Attack("without the word", "a form's token as a pass", "not shown", confused)

    def moved(world):
        cookie = world.guarded.entered()
        until, proof = re.search(r"advisor_pass=(\d+)\.(\w+)", cookie).groups()
        later = cookie.replace(f"{until}.{proof}", f"{int(until) + 86400}.{proof}")
        return world.guarded.get(
            "/index.json", Cookie=later
        ).status == 401, "the pass with a later end is none"

    yield Attack("without the word", "a pass with another end", "not shown", moved)

    def stolen_half(world):
        half = re.sub(r"advisor_form=[^;]+", "advisor_form=abcdefghijklmnopqrstuvwx", world.guarded.entered())
        return world.guarded.get(
            "/index.json", Cookie=half
        ).status == 401, "a pass without its cookie is none"

    yield Attack("without the word", "a pass under another cookie", "not shown", stolen_half)

    def planted(world):
        planted = "advisor_form=planted-by-an-attacker"
        _, token = world.guarded.form("/enter", planted)
        answer = world.guarded.post(
            "/enter", {"token": token, "word": world.guarded.word}, {"Cookie": planted}
        )
        kept = [
            value
            for name, value in answer.headers
            if name.lower() == "set-cookie" and value.startswith("advisor_form=")
        ]
        return answer.status == 303 and bool(kept) and "planted" not in kept[0], "the cookie is a new one"

    yield Attack("without the word", "a cookie planted before entering", "replaced at entering", planted)

    def writes(world):
        before = world.guarded.ledger()
        cookie, token = world.guarded.form("/enter")
        fields = {"token": token, "area": "front", "state": "dry"}
        statuses = [
            world.guarded.post(path, fields, {"Cookie": cookie}).status
            for path in ("/tell/soil", "/start", "/calendar")
        ]
        return set(statuses) <= {401, 403} and world.guarded.ledger() == before, f"statuses {statuses}"

    yield Attack("without the word", "forms with the token of /enter", "refused, nothing written", writes)


def _opened(answer) -> bool:
    return answer.status == 303 and answer.header("Location") != "/enter"


def guesses() -> Iterator[Attack]:
    """Guessing, from addresses of the loopback range that stand for computers of their own."""

    def many(world):
        served: Served = world.guessed
        statuses = [
            served.ask(
                "GET", "/index.json", {"Authorization": f"Bearer guess {at}"}, source="127.0.0.2"
            ).status
            for at in range(12)
        ]
        return statuses == [401] * 5 + [429] * 7, f"{statuses.count(401)} heard, {statuses.count(429)} not"

    yield Attack("guessing the word", "twelve words from one address", "five are heard", many)

    def right(world):
        bearer = {"Authorization": f"Bearer {world.guessed.word}"}
        return world.guessed.ask(
            "GET", "/index.json", bearer, source="127.0.0.2"
        ).status == 429, "not heard either"

    yield Attack("guessing the word", "then the right one", "not heard for a minute", right)

    def household(world):
        bearer = {"Authorization": f"Bearer {world.guessed.word}"}
        status = world.guessed.ask("GET", "/index.json", bearer, source="127.0.0.3").status
        return status == 200, f"status {status}"

    yield Attack("guessing the word", "meanwhile the household, from another address", "let in", household)

    def everywhere(world):
        statuses = []
        for at in range(130):
            source = f"127.0.{10 + at // 100}.{1 + at % 100}"
            answer = world.guessed.ask("GET", "/index.json", {"Authorization": "Bearer guess"}, source=source)
            statuses.append(answer.status)
        bearer = {"Authorization": f"Bearer {world.guessed.word}"}
        known = world.guessed.ask("GET", "/index.json", bearer, source="127.0.0.3").status
        bounded = statuses.count(401) <= 100 and set(statuses) == {401, 429}
        return bounded and known == 200, f"{statuses.count(401)} heard; the known address: status {known}"

    yield Attack(
        "guessing the word",
        "130 addresses, a word each",
        "at most 100 heard, the household let in",
        everywhere,
    )

    def feed(world):
        statuses = [
            world.guessed.ask("GET", f"/calendar.ics?token=guess{at}", source="127.0.0.4").status
            for at in range(8)
        ]
        return 200 not in statuses and statuses[
            -1
        ] == 429, f"{statuses.count(401)} heard, {statuses.count(429)} not"

    yield Attack("guessing the word", "the calendar's token", "counted with the words", feed)


def told_to_browsers() -> Iterator[Attack]:
    """What every answer says, and what no page holds."""
    everywhere = (
        *PAGES,
        "/index.json",
        "/calendar.ics",
        "/static/page.css",
        "/static/mark.svg",
        "/nothing",
        "/healthz",
        "/readyz",
        "/day/x",
        "/units/us",
    )
    for path in everywhere:
        yield Attack(
            "what a browser is told",
            f"headers of {path}",
            "all there, no inline scripts, no frames",
            lambda world, path=path: _headers(world.open.get(path), path),
        )
    for name, request in {
        "400": b"GET / HTTP/1.1\r\nnonsense\r\n\r\n",
        "413": b"POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 999999\r\n\r\n",
        "431": b"GET / HTTP/1.1\r\nX: " + b"y" * 20_000 + b"\r\n\r\n",
    }.items():
        yield Attack(
            "what a browser is told",
            f"headers of a refused request, {name}",
            "all there",
            lambda world, request=request: _headers(world.open.raw(request), "/refused"),
        )

    def cookies(world):
        found = [value for name, value in world.open.get("/tell").headers if name.lower() == "set-cookie"]
        found += [
            value for name, value in world.open.get("/units/metric").headers if name.lower() == "set-cookie"
        ]
        cookie, token = world.guarded.form("/enter")
        entering = world.guarded.post(
            "/enter", {"token": token, "word": world.guarded.word}, {"Cookie": cookie}
        )
        found += [value for name, value in entering.headers if name.lower() == "set-cookie"]
        weak = [
            value
            for value in found
            if "HttpOnly" not in value or "SameSite=Strict" not in value or "Domain" in value
        ]
        return len(found) >= 4 and not weak, f"{len(found)} cookies, {len(weak)} weak"

    yield Attack("what a browser is told", "cookies", "HttpOnly, SameSite=Strict, no Domain", cookies)

    def addresses(world):
        cookie = world.guarded.entered()
        secrets = [world.guarded.word, *re.findall(r"advisor_\w+=([\w.-]+)", cookie)]
        for path in PAGES:
            text = world.guarded.get(path, Cookie=cookie).text
            for address in re.findall(r'(?:href|src|action)="([^"]*)"', text):
                if any(secret in address for secret in secrets) or re.search(
                    r"(?i)token=|word=|pass=", address
                ):
                    return False, f"{path} links to {address[:60]}"
        return True, f"none on {len(PAGES)} pages"

    yield Attack("what a browser is told", "secrets in addresses", "none", addresses)

    def outside(world):
        for path in PAGES:
            text = world.open.get(path).text
            outward = re.findall(
                r'(?:src|href|action)="((?:(?!data:image/svg)[a-z][a-z0-9+.-]*:|//)[^"]*)"', text
            )
            inline = re.findall(r"<script|<style|\sstyle=|\son\w+=|@import|url\((?!#)", text)
            if outward or inline:
                return False, f"{path}: {(outward + inline)[:2]}"
        return True, f"none on {len(PAGES)} pages"

    yield Attack("what a browser is told", "anything from elsewhere or inline", "none", outside)

    def feed(world):
        cookie = world.guarded.entered()
        token = re.search(
            r'name="token" value="([0-9a-f]+)"', world.guarded.get("/calendar", Cookie=cookie).text
        )[1]
        made = world.guarded.post("/calendar", {"token": token, "do": "make"}, {"Cookie": cookie})
        query = re.search(r"calendar\.ics\?(token=[\w-]+)", made.text)[1]
        opened = world.guarded.get(f"/calendar.ics?{query}").status
        others = {
            world.guarded.get(f"{path}?{query}").status
            for path in ("/", "/index.json", "/records", "/score.svg")
        }
        world.guarded.post("/calendar", {"token": token, "do": "withdraw"}, {"Cookie": cookie})
        after = world.guarded.get(f"/calendar.ics?{query}").status
        good = (
            opened == 200
            and others <= {303, 401}
            and after == 401
            and made.header("Cache-Control") == "no-store"
        )
        return good, f"feed {opened}, others {sorted(others)}, withdrawn {after}"

    yield Attack(
        "what a browser is told", "the calendar's own token", "opens the feed alone, until withdrawn", feed
    )


def _headers(answer, path: str) -> tuple[bool, str]:
    policy = answer.header("Content-Security-Policy")
    parts = dict(one.strip().partition(" ")[::2] for one in policy.split(";") if one.strip())
    missing = [
        name
        for name, value in (
            ("X-Content-Type-Options", "nosniff"),
            ("X-Frame-Options", "DENY"),
            ("Referrer-Policy", "same-origin"),
            ("Cross-Origin-Opener-Policy", "same-origin"),
            ("Cross-Origin-Resource-Policy", "same-origin"),
        )
        if answer.header(name) != value
    ]
    weak = parts.get("default-src") != "'none'" or "script-src" in parts or "unsafe" in policy
    weak |= (
        parts.get("frame-ancestors") != "'none'"
        or parts.get("base-uri") != "'none'"
        or parts.get("form-action") != "'self'"
    )
    private = path.startswith(("/static", "/refused")) or "private" in answer.header("Cache-Control")
    told = bool(answer.header("Server") or answer.header("X-Powered-By"))
    good = bool(answer.status) and not missing and not weak and private and not told
    return (
        good,
        f"{answer.told}, missing {missing}"
        if missing
        else f"{answer.told}, {'good' if good else policy[:60]}",
    )
