"""Words that want to be more than words: in every name that a household may give, through every page and file."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path

from advisor.calendar import calendar_text
from advisor.messages.notice import make_closing, make_follow_up, make_notice, make_overdue, make_source_down
from advisor.messages.record_text import page_html
from advisor.messages.round_text import round_notice
from advisor.model import Record
from advisor.recording.details import Details, from_extra, to_extra
from advisor.recording.table import Row
from advisor.score.picture import score_picture
from advisor.score.report import make_score
from advisor.service.household import HouseholdService
from advisor.service.round import RoundService
from advisor.store import Store, records
from advisor.weather.kept_pairs import kept_pairs
from hardening.web.attack import Attack
from hardening.web.comparing import calendars_alike, compared, twins_alike
from hardening.web.served import PAGES, Served, ServedLawns
from tests.demo_page import NOW, demo_home

PAYLOADS = {
    "a script": "<script>alert(1)</script>",
    "quotes and an image": "\"'><img src=x onerror=alert(1)>",
    "an attribute": "x' onmouseover='alert(1)\" autofocus onfocus=\"alert(1)",
    "a template": "{{1237*7919}}{% raw %}${1237*7919}#{1237*7919}<%= 1237*7919 %>",
    "the end of a style": "</style></title></textarea></svg><svg onload=alert(1)>",
    "letters that turn round": "\u202egnp.exe\u2066\u2067\u200f\ufeff",
    "entities": "&lt;script&gt;&#60;b&#62;&amp;amp;",
    "a calendar line": "x;RRULE:FREQ=SECONDLY,y\\nBEGIN:VEVENT",
    "a long word": "\u00e4" * 300,
}
#: name in a file -> how its text is written there in the demonstration's files
_FIELDS = {
    "lawn.toml": (
        '"Prairie lawn"',
        '"front lawn"',
        '"back lawn"',
        '"vegetable bed"',
        '"four-gallon knapsack"',
        '"measuring cylinder, steps of 0.1 fl oz"',
    ),
    "treatments/broadleaf-autumn.toml": ('"Broadleaf weeds, autumn"', '"dandelion"'),
    "labels/broadleaf-concentrate.toml": (
        '"Demo Broadleaf Concentrate"',
        '"DEMO-0001"',
        '"exemplic acid"',
        '"samplopyr"',
    ),
}


def plain(payload: str) -> str:
    """Words of the same length that are nothing but words."""
    return re.sub(r"\S", "x", payload)


class Household:
    """A demonstration household in which every free text carries `payload`, behind its pages.

    Every text also begins with a word of its own, so that two names never become one.
    """

    def __init__(self, folder: Path, payload: str):
        folder.mkdir(parents=True, exist_ok=True)
        self.payload = payload
        home = demo_home(folder, members=0)
        number = 0
        for name, texts in _FIELDS.items():
            file = home / name
            text = file.read_text(encoding="utf-8")
            for one in texts:
                number += 1
                assert one in text, f"{name} holds no {one}"
                text = text.replace(one, json.dumps(f"n{number} {payload}", ensure_ascii=False))
            file.write_text(text, encoding="utf-8")
        history = home / "history.csv"
        rows = history.read_text(encoding="utf-8")
        for one in ("householder", '"mild, light south wind"', "Demo Broadleaf Concentrate"):
            rows = rows.replace(one, '"' + f"h {payload}".replace('"', '""') + '"')
        history.write_text(rows, encoding="utf-8")
        self.service = HouseholdService.open(home)
        with Store.open(self.service.database) as store:
            self._record(store)
        self.served = Served(home)

    def _record(self, store: Store) -> None:
        text = self.payload
        record = Record(
            area="front",
            treatment="broadleaf-autumn",
            product=f"p {text}",
            active_ingredients=(f"a {text}",),
            started_at=datetime(2026, 8, 24, 22, tzinfo=UTC),
            ended_at=None,
            amount=100.0,
            size=250.0,
            who=f"w {text}",
            note=f"n {text}",
        )
        details = Details(
            registration_number=f"r {text}",
            location=f"l {text}",
            equipment=f"e {text}",
            customer=f"c {text}",
            customer_address=f"ca {text}",
            certified_name=f"cn {text}",
            licence_number=f"ln {text}",
            adjuvant=f"ad {text}",
            flags=(f"f {text}",),
        )
        first = records.add(store, record, written_at=NOW, extra=to_extra(details))
        records.correct(store, first.id, record, written_at=NOW, extra={**to_extra(details), "target": text})

    @cached_property
    def lawns(self) -> ServedLawns:
        """The same household as the only lawn of a round."""
        return ServedLawns(self.service.folder.parent)

    def close(self) -> None:
        self.served.close()
        if "lawns" in self.__dict__:
            self.lawns.close()

    def send_forms(self) -> None:
        """What people tell in forms, some of it with faults, so that it comes back in a field."""
        cookie, token = self.served.form()
        task = "broadleaf-autumn/front"
        for path, fields in (
            ("/tell/missed", {"task": task, "on": "2026-09-20", "note": self.payload}),
            (
                "/tell/done",
                {
                    "task": task,
                    "on": "2026-09-20",
                    "began": "17:05",
                    "who": self.payload,
                    "note": self.payload,
                },
            ),
        ):
            self.served.post(path, {**fields, "token": token}, {"Cookie": cookie})

    def faulty(self) -> Iterator[tuple[str, str]]:
        """(name, HTML) of pages that show a form again with everything that was written into it."""
        cookie, token = self.served.form()
        for path, names in (
            ("/tell/done", ("task", "on", "began", "ended", "amount", "size", "who", "note")),
            ("/tell/irrigated", ("area", "on", "at", "depth")),
            ("/tell/cover", ("task", "on", "cover", "untreated")),
            (
                "/start",
                (
                    "task",
                    "taken",
                    "wind",
                    "gust",
                    "temperature",
                    "humidity",
                    "beaufort",
                    "wind_from",
                    "smoke",
                ),
            ),
        ):
            fields = dict.fromkeys(names, self.payload)
            yield f"POST {path}", self.served.post(path, {**fields, "token": token}, {"Cookie": cookie}).text


def page_of(home: Household, path: str) -> str:
    return home.served.get(path).text


def _notices(service: HouseholdService) -> Iterator[tuple[str, str]]:
    outlook = service.outlook(NOW)[0]
    for name, made in (
        ("evening", make_notice(outlook, "evening")),
        ("morning", make_notice(outlook, "morning")),
        ("closing", make_closing(outlook)),
        ("follow-up", make_follow_up(outlook)),
        ("overdue", make_overdue(outlook)),
        ("source down", make_source_down(outlook, NOW, "x")),
    ):
        if made is not None:
            yield f"notice, {name}", made.html
    with Store.open_readonly(service.database) as store:
        rows = [Row(one.record, from_extra(one.extra), one.written_at) for one in records.history(store)]
    yield "records for print", page_html(rows, outlook.household, NOW)


def attacks(quick: bool) -> Iterator[Attack]:
    """Every payload in every text, through every page, twin, notice, calendar and picture.

    In the quick form one household carries all payloads at once.
    """
    carried = {"all at once": " ".join(text for name, text in PAYLOADS.items() if name != "a long word")}
    if not quick:
        carried |= PAYLOADS
    for name, payload in carried.items():
        yield from _of(name, payload)


def _of(name: str, payload: str) -> Iterator[Attack]:
    def check(what: str, judge):
        return Attack(
            "words as code",
            f"{name}: {what}",
            "shown as words",
            lambda world: judge(world.household(payload), world.household(plain(payload))),
        )

    def page(path: str):
        def judge(home: Household, other: Household):
            answer = home.served.get(path)
            kind = answer.header("Content-Type")
            good, told = compared(answer.text, page_of(other, path))
            return good and kind.startswith("text/html; charset=utf-8") and answer.status == 200, told

        return judge

    def twin(path: str):
        def judge(home: Household, other: Household):
            answer, beside = home.served.get(path), other.served.get(path)
            good, told = twins_alike(answer.text, beside.text)
            return good and answer.header("Content-Type") == "application/json", told

        return judge

    for path in PAGES:
        yield check(f"page {path}", page(path))
        yield check(f"twin of {path}", twin("/index.json" if path == "/" else f"{path}.json"))

    def forms(home: Household, other: Household):
        for (what, text), (_, beside) in zip(home.faulty(), other.faulty(), strict=True):
            good, told = compared(text, beside)
            if not good:
                return False, f"{what}: {told}"
        return True, "all forms as with plain words"

    yield check("forms with faults", forms)

    def fault(home: Household, other: Household):
        from urllib.parse import quote

        for path in (
            "/nothing/",
            "/day/",
            "/tell?kept=",
            "/start?card=",
            "/tell?task=x&began=",
            "/start?task=",
            "/day/2026-09-23?at=",
        ):
            good, told = compared(
                page_of(home, path + quote(payload, safe="")),
                page_of(other, path + quote(other.payload, safe="")),
            )
            if not good:
                return False, f"{path}: {told}"
        return True, "as with plain words"

    yield check("addresses", fault)

    def calendar(home: Household, other: Household):
        text = home.served.get("/calendar.ics").body.decode()
        whole = calendar_text(home.service.outlook(NOW)[0])
        first = calendars_alike(text, other.served.get("/calendar.ics").body.decode())
        second = calendars_alike(whole, calendar_text(other.service.outlook(NOW)[0]))
        return first[0] and second[0], first[1]

    yield check("calendar", calendar)

    def notices(home: Household, other: Household):
        for (what, text), (_, beside) in zip(_notices(home.service), _notices(other.service), strict=True):
            good, told = compared(text, beside)
            if not good:
                return False, f"{what}: {told}"
        return True, "as with plain words"

    yield check("notices and records for print", notices)

    def of_round(home: Household, other: Household):
        for path in ("/", "/round/2026-09-22", "/lawn/prairie-lawn/"):
            good, told = compared(home.lawns.get(path).text, other.lawns.get(path).text)
            if not good:
                return False, f"{path}: {told}"
        made = [
            round_notice(RoundService.open(one.service.folder.parent).plan(NOW), NOW).html
            for one in (home, other)
        ]
        return compared(*made)

    yield check("pages and notice of a round", of_round)

    def picture(home: Household, other: Household):
        drawn = [
            score_picture(
                make_score(
                    kept_pairs(one.service.folder, one.service.household, NOW)[0], f"s {one.payload}", "t"
                ),
                "us",
            )
            for one in (home, other)
        ]
        return compared(*drawn)

    yield check("picture of the score", picture)

    def sent(home: Household, other: Household):
        home.send_forms()
        other.send_forms()
        for path in ("/tell", "/records", "/sequence", "/"):
            good, told = compared(page_of(home, path), page_of(other, path))
            if not good:
                return False, f"{path}: {told}"
        return True, "as with plain words"

    yield check("who and note, sent in forms", sent)
