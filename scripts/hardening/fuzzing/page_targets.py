"""The pages' forms and addresses, asked through the application as the server asks it."""

from __future__ import annotations

import json
import os
import shutil
from functools import cache
from random import Random

from advisor.web import Desk, create_app
from hardening.fuzzing import odd, scratch, text_changes
from hardening.fuzzing.oracle import Target
from tests.demo_page import demo_desk, demo_home
from tests.web.reading import PAGES, token

#: forms that were written down before the ledger is made anew, so that no list grows for ever
_WRITTEN = 100
TASK = "broadleaf-autumn/front"

FORMS: dict[str, dict[str, str]] = {
    "/tell/soil": {"area": "front", "state": "dry", "on": "2026-09-21", "at": "06:30"},
    "/tell/irrigated": {"area": "front", "on": "2026-09-21", "at": "06:10", "depth": "0.5"},
    "/tell/missed": {"task": TASK, "on": "2026-09-20", "note": "rain"},
    "/tell/cover": {"task": TASK, "on": "2026-09-20", "cover": "12", "untreated": "30"},
    "/tell/done": {"task": TASK, "on": "2026-09-20", "began": "17:05", "ended": "17:27", "amount": "4.8",
                   "size": "3200",
                   "who": "householder", "note": "mild", "as_it_happened": "yes"},
    "/start": {"task": TASK, "taken": "06:55", "wind": "4", "gust": "6", "beaufort": "2", "wind_from": "180",
               "temperature": "60", "humidity": "60", "smoke": "drifts", "leaves_dry": "yes", "people_away": "yes",
               "windows_closed": "yes", "sprayer_clean": "yes"},
}  # fmt: skip
_HEADERS = ("Host", "Origin", "Cookie", "Accept", "If-None-Match", "Range", "Content-Type", "Content-Length",
            "X-Forwarded-For",
            "Sec-Fetch-Site", "Authorization", "Referer", "Accept-Language", "Transfer-Encoding")  # fmt: skip


class StillDesk(Desk):
    """Shows the scene of its first moment whatever is written, so that thousands of forms take seconds."""

    still: dict | None = None

    def scene(self, units=None):
        if self.still is None:
            self.still = {}
        if units not in self.still:
            self.still[units] = super().scene(units)
        return self.still[units]


class Pages:
    """The demonstration household's pages, over a ledger that is made anew from time to time."""

    def __init__(self):
        self._folder = scratch.folder()
        self._still: dict | None = None
        self._made = 0
        self.open()

    def open(self) -> None:
        home = demo_home(self._folder / str(self._made), members=0)
        self._made += 1
        plain = demo_desk(home)
        desk = StillDesk(plain.service, plain.clock)
        desk.still, self.written = self._still, 0
        desk.scene()
        self._still = desk.still
        app = create_app(desk)
        show_faults(app)
        self.client = app.test_client()
        self.mark = token(self.client)
        self.desk = desk

    def send(self, path: str, body: bytes, content_type: str):
        """A form sent; what was written down is read again from the page that it leads to."""
        if self.written >= _WRITTEN:
            self.desk.close()
            shutil.rmtree(self._folder / str(self._made - 1), True)
            self.open()
        answer = self.client.post(path, data=body, content_type=content_type)
        if answer.status_code != 303:
            return [answer]
        self.written += 1
        return [answer, self.client.get(answer.headers["Location"])]


def show_faults(app) -> None:
    """Let an unforeseen error through to whoever asks, where the page would only log it."""
    app.error_handler_spec[None][None].pop(Exception, None)
    app.config["PROPAGATE_EXCEPTIONS"] = True


@cache
def pages(process: int) -> Pages:
    return Pages()


def _form(path: str):
    def read(data: bytes):
        there = pages(os.getpid())
        body = b"token=" + there.mark.encode() + b"&" + data
        return there.send(path, body, "application/x-www-form-urlencoded")

    return read


_BOUNDARY = b"----advisor"


def _parts(data: bytes):
    """A form in parts, as a browser sends one with files."""
    there = pages(os.getpid())
    mark = b'--%b\r\nContent-Disposition: form-data; name="token"\r\n\r\n%b\r\n' % (
        _BOUNDARY,
        there.mark.encode(),
    )
    return there.send("/tell/soil", mark + data, f"multipart/form-data; boundary={_BOUNDARY.decode()}")


def _parts_seeds() -> list[bytes]:
    fields = FORMS["/tell/soil"].items()
    lines = [f'Content-Disposition: form-data; name="{name}"\r\n\r\n{value}' for name, value in fields]
    lines.append(
        'Content-Disposition: form-data; name="on"; filename="x.txt"\r\nContent-Type: text/plain\r\n\r\nabc'
    )
    joint = b"\r\n--" + _BOUNDARY + b"\r\n"
    return [
        b"--"
        + _BOUNDARY
        + b"\r\n"
        + joint.join(line.encode() for line in lines)
        + b"\r\n--"
        + _BOUNDARY
        + b"--\r\n"
    ]


def _address(data: bytes):
    there = pages(os.getpid())
    path, mark, query = data.decode("latin-1").partition("?")
    # as the server hands it over: the path decoded, the query as it came
    from urllib.parse import unquote_to_bytes

    base = {
        "PATH_INFO": unquote_to_bytes(path).decode("latin-1") or "/",
        "QUERY_STRING": query if mark else "",
    }
    return [there.client.open(environ_overrides=base)]


def _headers(data: bytes):
    """One header a line; what the server itself would refuse is left out."""
    there = pages(os.getpid())
    given = []
    for line in data.decode("latin-1").split("\n")[:50]:
        name, _, value = line.partition(":")
        if name.strip() in _HEADERS and value.isprintable():
            given.append((name.strip(), value.strip()))
    first = there.client.open("/tell", headers=given)
    held = dict(given)
    kind = held.pop("Content-Type", "application/x-www-form-urlencoded")
    second = there.client.open("/tell/soil", method="POST", data=b"token=" + there.mark.encode() + b"&area=front",
                               content_type=kind, headers=list(held.items()))  # fmt: skip
    return [first, second]


def _headers_seeds() -> list[bytes]:
    lines = ("Host: localhost", "Origin: http://localhost", "Sec-Fetch-Site: same-origin", "Accept: text/html",
             'If-None-Match: W/"abc"', "Cookie: advisor_units=metric",
             "Content-Type: application/x-www-form-urlencoded",
             "Authorization: Bearer abc", "Range: bytes=0-1", "Referer: http://localhost/tell")  # fmt: skip
    return ["\n".join(lines).encode()]


def _changed_headers(chance: Random, data: bytes, others: list[bytes]) -> bytes:
    lines = data.decode("latin-1").split("\n")
    for _ in range(chance.choice((1, 1, 2))):
        strange = odd.text(chance).encode("utf-8", "surrogatepass").decode("latin-1")
        name = chance.choice(_HEADERS)
        more = ("http://[", "http://[::1", "//", "null", "[", "multipart/form-data", "multipart/form-data; boundary=",
                "text/html; charset=\"", "text/plain; charset=utf-7", "a" * 300, "=", "advisor_form=" + "x" * 200,
                "advisor_form=\xff; advisor_units=us", "bytes=9-1", "Basic =", "Bearer \xe9")  # fmt: skip
        lines[chance.randrange(len(lines))] = f"{name}: {chance.choice((strange, chance.choice(more)))}"
    return "\n".join(lines).encode("latin-1")


def answers_fault(found: list) -> str:
    """What is wrong with answers: a fault of the program, or a body that is not what it says."""
    for answer in found:
        body = answer.get_data()
        if answer.status_code >= 500:
            return f"status {answer.status_code}: {body[:200]!r}"
        if b"Traceback (most recent call last)" in body:
            return "a page with a traceback"
        if answer.mimetype == "application/json" and body:
            json.loads(body, parse_constant=_no_number)
    return ""


def _no_number(name: str):
    raise ValueError(f"{name} in JSON")


def _encoded(fields: dict[str, str]) -> bytes:
    from urllib.parse import urlencode

    return urlencode(fields).encode()


def _addresses() -> list[bytes]:
    found = [*PAGES, *("/index.json" if one == "/" else f"{one}.json" for one in PAGES)]
    found += ["/calendar.ics", "/healthz", "/readyz", "/units/metric?back=/tell", "/day/2026-09-23?at=17:00",
              "/static/page.css",
              f"/start?task={TASK}&card=x", f"/tell?task={TASK}&began=17:00&kept=x", "/openapi.json",
              "/index.json?units=us"]  # fmt: skip
    return [one.encode() for one in found]


def page_targets() -> list[Target]:
    """Each form, a form in parts, the addresses of all pages, and headers."""

    def target(name, group, seeds, change, read, share=0.7):
        return Target(name, group, seeds, change, read, (), answers_fault, share)

    forms, pages_line = "HTTP forms", "addresses and headers of pages"
    found = [
        target(
            f"form {path}", forms, lambda fields=fields: [_encoded(fields)], text_changes.form, _form(path)
        )
        for path, fields in FORMS.items()
    ]
    return [
        *found,
        target("form in parts", forms, _parts_seeds, text_changes.table, _parts),
        target("addresses", pages_line, _addresses, text_changes.address, _address, 1.5),
        target("headers", pages_line, _headers_seeds, _changed_headers, _headers),
    ]
