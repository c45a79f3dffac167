"""The calendar, read back by two independent iCalendar readers: icalendar and vobject.

Rules of the format: RFC 5545 (sections named beside each check).
"""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import icalendar
import pytest

from advisor.calendar import calendar_text
from advisor.household import load
from advisor.model import PlanEntry
from advisor.outlook import make_outlook
from advisor.quality import control
from advisor.rule_files import load_rules
from advisor.sources import read_answer

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from notices import world  # noqa: E402

THURSDAY = datetime(2026, 9, 24, 23, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("lawn")
    world.write(made)
    return made


def outlook_of(folder, now=THURSDAY, fetched=THURSDAY, weather=(), change=lambda one: one, plans=()):
    household = change(load(folder, now=now))
    forecast = read_answer(world.answer(*weather), fetched_at=fetched, latitude=41.6, longitude=-93.6)
    return make_outlook(household, control(forecast, now), list(load_rules()), household.history, now, plans=plans)


@pytest.fixture(scope="module")
def text(folder):
    return calendar_text(outlook_of(folder))


def events_of(text):
    return {str(event["uid"]): event for event in icalendar.Calendar.from_ical(text).walk("VEVENT")}


def named(text, word):
    return [event for uid, event in sorted(events_of(text).items()) if uid.startswith(word)]


def test_icalendar_reads_it_back_whole(text):
    whole = icalendar.Calendar.from_ical(text)
    assert whole["version"] == "2.0" and whole["prodid"]
    assert not whole.errors and not any(event.errors for event in whole.walk("VEVENT"))
    assert str(whole["x-wr-calname"]) == "Test lawn"


def test_a_second_reader_finds_the_same_events(text):
    vobject = pytest.importorskip("vobject")
    other = vobject.readOne(text)
    other.validate(raiseException=True)
    mine = events_of(text)
    theirs = {event.uid.value: event for event in other.vevent_list}
    assert set(mine) == set(theirs) and len(mine) >= 6
    for uid, event in mine.items():
        assert theirs[uid].summary.value == str(event["summary"])
        assert theirs[uid].description.value == str(event["description"])
        for name in ("dtstart", "dtend"):
            assert getattr(theirs[uid], name).value == event[name].dt


def test_every_event_has_what_the_format_asks_for(text):
    # 3.6.1: UID and DTSTAMP are required; 3.8.7.2: DTSTAMP is UTC; 3.8.7.4: SEQUENCE counts from 0
    for uid, event in events_of(text).items():
        assert "@" in uid and event["dtstamp"].dt.tzinfo is not None
        assert isinstance(event["sequence"], int) and 0 <= event["sequence"] < 2**31
        start, end = event["dtstart"].dt, event["dtend"].dt
        assert type(start) is type(end) and start < end, "3.8.2.2: the end is later, of the same kind"
        if isinstance(start, datetime):
            assert start.utcoffset() == end.utcoffset() == timedelta(0)
        assert "label is the law" in str(event["description"])


def test_lines_end_and_fold_as_the_format_asks(text):
    # 3.1: lines end with CRLF and have at most 75 octets; 3.3.5: UTC times end in Z
    raw = text.encode()
    assert raw.count(b"\n") == raw.count(b"\r\n") and raw.endswith(b"END:VCALENDAR\r\n")
    assert max(len(line) for line in raw.split(b"\r\n")) <= 75
    assert "TZID" not in text
    assert "DTSTART:20260925T160000Z\r\n" in text


def test_windows_end_when_the_work_of_the_last_start_is_over(text):
    window, *_ = named(text, "window-broadleaf-front-2026-09-25")
    assert window["dtstart"].dt == datetime(2026, 9, 25, 16, tzinfo=UTC)
    assert window["dtend"].dt == datetime(2026, 9, 25, 21, 30, tzinfo=UTC)
    assert str(window["summary"]) == "Go: Broadleaf weeds, front lawn, start from 11:00 to 16:00"
    assert str(window["status"]) == "TENTATIVE" and str(window["transp"]) == "TRANSPARENT"
    assert "Chance that everything holds" in str(window["description"])


def test_a_chance_says_what_it_rests_on(folder):
    outlook = outlook_of(folder)
    source = replace(outlook.forecast.provenance, spread="assumed spread")
    text = calendar_text(replace(outlook, forecast=replace(outlook.forecast, provenance=source)))
    windows = named(text, "window-")
    assert windows and all("% (assumed spread)." in str(event["description"]) for event in windows)


def test_the_follow_up_is_whole_days_of_the_sites_own_calendar(text):
    # passes on 25 August; wanted two to three weeks later; 3.8.2.2: the end of whole days is exclusive
    (front,) = named(text, "follow-up-broadleaf-front")
    assert (front["dtstart"].dt, front["dtend"].dt) == (date(2026, 9, 8), date(2026, 9, 16))
    assert "overdue" in str(front["summary"])


def test_looks_at_the_weeds_follow_from_passes(text):
    # first look a week after, judged by the label's three weeks to effect
    days = {uid.split("-h-")[0]: event["dtstart"].dt for uid, event in events_of(text).items() if "-h-" in uid}
    assert days == {"first-look": date(2026, 9, 1), "judge": date(2026, 9, 15)}
    assert len(named(text, "first-look")) == len(named(text, "judge")) == 2


def test_postings_are_for_hire_only(folder, text):
    assert not named(text, "posting")
    hired = calendar_text(outlook_of(folder, change=lambda one: replace(one, for_hire=True)))
    assert {event["dtstart"].dt for event in named(hired, "posting")} == {date(2026, 8, 26)}
    assert "check your state" in str(named(hired, "posting")[0]["description"])


def test_the_chosen_day_takes_the_place_of_the_interval(folder):
    plans = [PlanEntry("broadleaf", "front", "pass-on", date(2026, 9, 28), THURSDAY - timedelta(hours=2), "late")]
    text = calendar_text(outlook_of(folder, plans=plans), plans=plans)
    (chosen,) = named(text, "chosen")
    assert (chosen["dtstart"].dt, chosen["dtend"].dt) == (date(2026, 9, 28), date(2026, 9, 29))
    assert str(chosen["status"]) == "CONFIRMED" and "is no go" in str(chosen["description"])
    assert len(named(text, "follow-up")) == 1, "that of the other area"


def test_the_same_state_gives_the_same_bytes_later_too(folder, text):
    assert calendar_text(outlook_of(folder)) == text
    later = calendar_text(outlook_of(folder, now=THURSDAY + timedelta(minutes=50)))
    assert later == text


def test_an_update_replaces_what_it_updates(folder, text):
    """3.8.7.4: the same UID with a higher SEQUENCE is a revision of the event."""
    storm = [("2026-09-25T19:00", "2026-09-26T05:00", world.STORM)]
    moved = THURSDAY + timedelta(hours=1)
    newer = calendar_text(outlook_of(folder, moved, moved, storm))
    before, after = events_of(text), events_of(newer)
    changed = next(uid for uid in after if uid.startswith("window-broadleaf-front-2026-09-25"))
    assert changed in before
    assert after[changed]["dtend"].dt < before[changed]["dtend"].dt
    assert after[changed]["sequence"] > before[changed]["sequence"]
    assert after[changed]["dtstamp"].dt > before[changed]["dtstamp"].dt
    kept = {uid for uid in before if not uid.startswith("window")}
    assert kept <= set(after), "what has not changed keeps its UID"


def test_a_choice_counts_as_an_update(folder, text):
    plan = PlanEntry("broadleaf", "back", "pass-on", date(2026, 9, 28), THURSDAY, "")
    later = THURSDAY + timedelta(minutes=5)
    newer = calendar_text(outlook_of(folder, now=later, plans=[plan]), plans=[replace(plan, made_at=later)])
    first = next(iter(events_of(newer).values()))
    assert first["dtstamp"].dt == later


def test_dates_keep_to_the_site_when_its_clock_changes(folder):
    """1 November 2026 has 25 hours in Chicago; the day of a pass at 23:30 is the local one."""
    late = datetime(2026, 11, 1, 5, 30, tzinfo=UTC) - timedelta(hours=1)  # 31 October, 23:30 in Chicago
    outlook = outlook_of(folder)
    record = replace(outlook.household.history[0], id="r-1", started_at=late, ended_at=None)
    now = replace(outlook, now=datetime(2026, 11, 10, tzinfo=UTC))
    (look,) = named(calendar_text(now, [record]), "first-look")
    assert look["dtstart"].dt == date(2026, 11, 7)


def test_names_cannot_break_out_of_their_line(folder):
    evil = "x\r\nEND:VEVENT\r\nBEGIN:VALARM;,\\ \x07\x00é" + "long " * 40

    def rename(household):
        areas = {key: replace(area, name=evil) for key, area in household.areas.items()}
        return replace(household, name=evil, areas=areas)

    text = calendar_text(outlook_of(folder, change=rename))
    whole = icalendar.Calendar.from_ical(text)
    assert not whole.walk("VALARM")
    assert all(char in "\r\n\t" or ord(char) >= 32 for char in text)
    assert len(whole.walk("VEVENT")) == len(events_of(calendar_text(outlook_of(folder))))


def test_nothing_open_is_an_empty_calendar_that_is_still_one(folder):
    nothing = replace(outlook_of(folder), tasks=())
    whole = icalendar.Calendar.from_ical(calendar_text(nothing, []))
    assert whole.walk("VEVENT") == []


def test_the_command_writes_the_file_whole(folder, tmp_path):
    import subprocess

    stored = tmp_path / "weather.json"
    stored.write_bytes(world.answer())
    out = tmp_path / "lawn.ics"
    run = subprocess.run(
        [sys.executable, "-m", "advisor", "calendar", "--home", folder, "--weather", stored, "--now",
         "2026-09-24T23:30Z", "--out", out],
        capture_output=True, text=True, timeout=60, cwd=Path(__file__).resolve().parents[2],
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    assert out.read_bytes().startswith(b"BEGIN:VCALENDAR\r\n") and list(tmp_path.glob(".*")) == []
    assert events_of(out.read_text())
