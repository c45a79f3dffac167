"""Frequencies and waits of days that were judged by hand. Counting, no outside source needed."""

from __future__ import annotations

import json
from datetime import date, datetime, timedelta

import numpy as np
import pytest
from demo_lawn import TREATMENT, lawn, task

from advisor.almanac import DayBook, kept_object, make_almanac, read_kept
from advisor.almanac.tables import day_of_year, week_of_year
from advisor.errors import InvalidFile
from advisor.ledger import remembered
from advisor.past_weather import load_kept, write_kept
from advisor.verdict import GO, NO_GO, UNKNOWN

from .years import NOW


def book(first: str, verdict, hours=None, closes=None) -> DayBook:
    verdict = np.array(verdict, dtype=np.int8)
    days = np.datetime64(first) + np.arange(len(verdict))
    table = (
        np.full((len(verdict), 24), NO_GO, dtype=np.int8) if hours is None else np.array(hours, dtype=np.int8)
    )
    closed = np.array([verdict == NO_GO]) if closes is None else np.array(closes)
    return DayBook(task(lawn()), days, verdict, verdict, table, ("gusts",), ("Gusts",), closed, closed, {})


def test_days_of_the_year_are_those_of_a_leap_year():
    for year in (2023, 2024):
        days = np.arange(np.datetime64(f"{year}-01-01"), np.datetime64(f"{year + 1}-01-01"))
        # Python's calendar, in a leap year
        expected = [date(2024, *day.astype(object).timetuple()[1:3]).timetuple().tm_yday - 1 for day in days]
        assert day_of_year(days).tolist() == expected
    assert week_of_year(np.array(["2023-01-07", "2023-01-08", "2023-12-31"], "datetime64[D]")).tolist() == [
        0,
        1,
        51,
    ]
    assert np.bincount(
        week_of_year(np.arange(np.datetime64("2024-01-01"), np.datetime64("2025-01-01")))
    ).tolist() == [7] * 51 + [9]


def test_shares_by_month_and_week_leave_unknown_days_out():
    found = make_almanac(book("2010-01-01", [GO, NO_GO, NO_GO, UNKNOWN, GO, UNKNOWN, NO_GO, GO]))
    assert found.by_month[0] == pytest.approx(3 / 6)
    assert (found.by_week[0], found.by_week[1]) == (pytest.approx(2 / 5), 1.0)
    assert np.isnan(found.by_month[1]) and np.isnan(found.by_week[2])
    assert (found.judged[0], found.unknown[0], found.windows) == (6, 2, 3)


def test_shares_by_hour():
    hours = np.full((4, 24), NO_GO)
    hours[:, 10] = [GO, GO, NO_GO, UNKNOWN]
    hours[:, 2] = UNKNOWN
    found = make_almanac(book("2010-05-01", [GO, GO, NO_GO, UNKNOWN], hours))
    assert found.by_month_and_hour[4, 10] == pytest.approx(2 / 3)
    assert found.by_month_and_hour[4, 11] == 0.0
    assert np.isnan(found.by_month_and_hour[4, 2])


def test_how_long_one_waits():
    # windows on the 3rd and the 7th; what comes after the last one is not known
    verdict = [NO_GO, NO_GO, GO, NO_GO, UNKNOWN, NO_GO, GO, NO_GO, NO_GO]
    found = make_almanac(book("2010-01-01", verdict))
    # 2, 1, 0, 3, 2, 1, 0
    assert found.wait_mean[0] == pytest.approx(9 / 7)
    assert (found.wait_median[0], found.longest_wait) == (1.0, 3)
    assert found.wait_nine_of_ten[0] == pytest.approx(np.quantile([0, 0, 1, 1, 2, 2, 3], 0.9))


def test_without_any_window_there_is_no_wait_to_tell():
    found = make_almanac(book("2010-01-01", [NO_GO] * 30))
    assert np.isnan(found.wait_mean).all() and found.longest_wait == 0 and found.by_month[0] == 0.0


def test_what_closes_days():
    closes = [[True, True, False, True]]
    found = make_almanac(book("2010-03-01", [NO_GO, NO_GO, GO, UNKNOWN], closes=closes))
    assert found.closers(3) == [("Gusts", pytest.approx(2 / 3))]
    assert found.closers(4) == []


def test_near_a_day_counts_ten_days_on_either_side_of_every_year():
    days = np.arange(np.datetime64("2009-01-01"), np.datetime64("2013-01-01"))
    rng = np.random.default_rng(5)
    verdict = rng.choice([GO, NO_GO, UNKNOWN], len(days), p=[0.3, 0.6, 0.1])
    found = make_almanac(book("2009-01-01", verdict))
    for day in (
        date(2026, 1, 4),
        date(2026, 2, 28),
        date(2028, 2, 29),
        date(2026, 7, 15),
        date(2026, 12, 29),
    ):
        # by the calendar: every judged day whose month and day lie within ten days of it, over the turn of the year
        nearby = {
            (date(2024, day.month, day.day) + timedelta(days=at)).timetuple()[1:3] for at in range(-10, 11)
        }
        mine = [v for d, v in zip(days, verdict, strict=True)
                if d.astype(object).timetuple()[1:3] in nearby and v != UNKNOWN]  # fmt: skip
        assert found.near(day) == pytest.approx(np.mean([v == GO for v in mine]))


def test_too_few_days_say_nothing():
    found = make_almanac(book("2010-06-01", [GO] * 9))
    assert found.near(date(2026, 6, 5)) is None
    assert make_almanac(book("2010-06-01", [GO] * 10)).near(date(2026, 6, 5)) == 1.0
    assert found.near(date(2026, 12, 5)) is None


# what is kept --------------------------------------------------------------------------------------------------


def kept(share=(GO, NO_GO)):
    days = 366 * 2
    verdict = np.tile(share, days)[:days]
    made = make_almanac(book("2008-01-01", verdict))
    return kept_object({f"{TREATMENT}/front": made}, "years.csv", NOW)


def test_what_is_kept_comes_back(tmp_path):
    path = write_kept(tmp_path, kept())
    assert sorted(one.name for one in tmp_path.iterdir()) == ["almanac.json"]
    found = load_kept(tmp_path)
    assert (found.source, found.first_day, found.last_day) == ("years.csv", "2008-01-01", "2010-01-01")
    climate = remembered(tmp_path, tmp_path / "none.db")["climate"]
    assert climate[f"{TREATMENT}/front"](date(2026, 12, 31)) == pytest.approx(0.5, abs=0.03)
    assert json.loads(path.read_text())["made_at"] == "2026-09-21T12:00:00Z"


def test_nothing_kept_is_no_climate(tmp_path):
    assert load_kept(tmp_path) is None
    assert remembered(tmp_path, tmp_path / "none.db") == {"plans": (), "climate": {}}


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda data: {**data, "schema": "advisor.kept-almanac/9"}, "another version"),
        (lambda data: [], "no kept almanac"),
        (lambda data: {**data, "near_day": []}, "no frequencies"),
        (lambda data: {**data, "near_day": {"a/b": [0.5] * 365}}, "not 366 days"),
        (lambda data: {**data, "near_day": {"a/b": [1.5] * 366}}, "no share"),
        (lambda data: {**data, "near_day": {"a/b": [True] * 366}}, "no share"),
        (lambda data: {**data, "near_day": {"a/b": ["0.5"] * 366}}, "no share"),
    ],
)
def test_a_damaged_almanac_is_refused_and_counts_as_none(tmp_path, spoil, says):
    data = spoil(json.loads(json.dumps(kept())))
    with pytest.raises(InvalidFile, match=says):
        read_kept(data)
    (tmp_path / "almanac.json").write_text(json.dumps(data), encoding="utf-8")
    assert remembered(tmp_path, tmp_path / "none.db")["climate"] == {}


def test_text_that_is_no_json_is_refused(tmp_path):
    (tmp_path / "almanac.json").write_text('{"schema": ', encoding="utf-8")
    with pytest.raises(InvalidFile, match="damaged"):
        load_kept(tmp_path)


def test_a_failed_write_leaves_the_old_one(tmp_path):
    write_kept(tmp_path, kept())
    before = (tmp_path / "almanac.json").read_bytes()
    with pytest.raises(ValueError):
        write_kept(tmp_path, {"schema": float("nan")})
    assert (tmp_path / "almanac.json").read_bytes() == before
    assert [one.name for one in tmp_path.iterdir()] == ["almanac.json"]
    assert isinstance(NOW, datetime)
