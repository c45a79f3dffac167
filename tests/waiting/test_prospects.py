"""The days left to a task and their worth, on the demonstration's week. Our own behaviour, no outside source."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from demo_lawn import NOW, TREATMENT, choice, lawn, record
from invented_week import RULES
from invented_week import week as invented_week

from advisor.messages.notice.lines import wait_line
from advisor.messages.outlook_json import OUTLOOK_SCHEMA, outlook_object
from advisor.messages.outlook_text import outlook_text
from advisor.messages.waiting import waiting_sentence
from advisor.model import Record
from advisor.outlook import make_outlook
from advisor.waiting import cost_of_a_day, gains, lateness_gain

MONDAY = date(2026, 9, 21)
FIRST = record(datetime(2026, 9, 5, 22, tzinfo=UTC))


def week(household=None, records=(FIRST,), now=NOW, good_days=(25, 26), **given):
    """Monday to Sunday; Friday and Saturday are still enough."""
    return make_outlook(household or lawn(), invented_week(now, good_days), RULES, list(records), now, **given)


def front(outlook):
    return next(one for one in outlook.tasks if one.task.area.id == "front")


# worth ---------------------------------------------------------------------------------------------------------


def test_lateness_halves_the_worth_in_three_weeks():
    assert lateness_gain(np.array([-5.0, 0.0, 21.0, 42.0])).tolist() == [1.0, 1.0, 0.5, 0.25]
    assert np.isnan(lateness_gain(np.nan))


def test_gains_by_day():
    days = [MONDAY + timedelta(days=one) for one in range(5)]
    found = gains(days, MONDAY + timedelta(days=1), MONDAY + timedelta(days=3), 0.01)
    assert found == pytest.approx([0.0, 0.99, 0.98, 0.97, 0.96 * 0.5 ** (1 / 21)])
    assert gains([], None, None).shape == (0,)


def test_a_stated_cost_and_loss_take_the_place_of_the_usual_cost_of_a_day():
    given = lawn().settings
    assert cost_of_a_day(given) == 0.005
    assert cost_of_a_day(replace(given, cost_of_waiting=5.0, cost_of_failure=100.0)) == 0.05
    assert cost_of_a_day(replace(given, cost_of_waiting=5.0, cost_of_failure=0.0)) == 0.005


# which days are left -------------------------------------------------------------------------------------------


def test_a_follow_up_looks_to_the_end_of_its_time():
    found = front(week()).prospects
    assert (found.days[0], found.days[-1], found.on_time_until) == (MONDAY, date(2026, 9, 26), date(2026, 9, 26))
    # on 21 September 16 days have passed: every day counts in full but for the cost of waiting
    assert found.worth == pytest.approx(1.0 - 0.005 * np.arange(6))


def test_an_overdue_follow_up_looks_to_the_last_sensible_day_at_falling_worth():
    late = week(records=[record(datetime(2026, 8, 25, 22, tzinfo=UTC))])
    found = front(late).prospects
    # mean first frost on 8 October and four weeks
    assert (found.days[-1], found.on_time_until) == (date(2026, 11, 5), date(2026, 9, 15))
    assert found.worth[0] == pytest.approx(0.5 ** (6 / 21))


def test_a_first_pass_looks_over_the_season_or_six_weeks():
    assert front(week(records=[])).prospects.days[-1] == date(2026, 11, 5)
    assert len(front(week(lawn(site={"first_frost": None}), records=[])).prospects.days) == 43


def test_days_before_the_labels_interval_is_over_are_worth_nothing():
    early = week(records=[record(datetime(2026, 9, 10, 22, tzinfo=UTC))])
    found = front(early).prospects
    assert (found.worth[:3] == 0.0).all() and (found.worth[3:] > 0.0).all()  # until 24 September
    # another treatment's pass with the same active ingredient begins the interval too
    other = record(datetime(2026, 9, 10, 22, tzinfo=UTC), treatment="another")
    assert (front(week(records=[other])).prospects.worth[:3] == 0.0).all()


def test_a_day_that_was_chosen_is_all_that_is_looked_at():
    chosen = week(plans=[choice("pass-on", date(2026, 9, 25), NOW)])
    found = front(chosen).prospects
    assert found.days[-1] == date(2026, 9, 25)
    assert found.worth[:4].sum() == 0.0 and found.worth[4] > 0.0


# chances -------------------------------------------------------------------------------------------------------


def test_chances_are_those_of_the_days_and_nothing_is_known_beyond_them():
    outlook = week(records=[record(datetime(2026, 8, 25, 22, tzinfo=UTC))])
    scored, found = front(outlook), front(outlook).prospects
    for day, chance, is_go in zip(scored.days, found.chance, found.is_go, strict=False):
        assert is_go == (day.verdict == "go")
        if day.verdict == "go":
            assert chance == day.chance
    assert found.known[:7].all() and not found.known[7:].any()
    assert (found.chance[7:] == 0.0).all()
    assert scored.waiting(MONDAY).climate == "none"


def test_past_years_stand_in_beyond_the_forecast_and_never_within_it():
    climate = {f"{TREATMENT}/front": lambda day: 0.4}
    records = [record(datetime(2026, 8, 25, 22, tzinfo=UTC))]
    with_it, without = front(week(records=records, climate=climate)), front(week(records=records))
    assert (with_it.prospects.chance[:7] == without.prospects.chance[:7]).all()
    assert (with_it.prospects.chance[7:] == 0.4).all()
    # Friday is certain, so it is on Sunday that past years make a difference
    sunday = date(2026, 9, 27)
    assert without.waiting(sunday).wait == 0.0 < 0.3 < with_it.waiting(sunday).wait
    assert with_it.waiting(MONDAY).climate == "almanac"


def test_years_that_do_not_tell_count_as_nothing():
    climate = {f"{TREATMENT}/front": lambda day: None}
    records = [record(datetime(2026, 8, 25, 22, tzinfo=UTC))]
    found = front(week(records=records, climate=climate))
    assert (found.prospects.chance[7:] == 0.0).all()
    assert found.waiting(MONDAY).climate == "none"


def test_no_year_opens_what_the_ledger_has_closed():
    """A season's total that is used up stays used up, whatever the weather was in past years."""
    household = lawn(treatment={"passes": 3}, limits={"maximum_passes_per_year": None})
    twice = [record(datetime(2026, 8, 1, 22, tzinfo=UTC)), record(datetime(2026, 8, 25, 22, tzinfo=UTC))]
    found = front(week(household, twice, climate={f"{TREATMENT}/front": lambda day: 0.9}))
    assert (found.prospects.chance == 0.0).all()
    assert found.waiting(MONDAY).advice == "nothing left"


def test_a_day_on_which_safety_rules_cannot_hold_has_no_chance():
    """Sunday: wind and gusts. Its chance would be 0 anyhow; with effect rules alone against it, it is not."""
    found = front(week(records=[record(datetime(2026, 8, 25, 22, tzinfo=UTC))])).prospects
    assert found.chance[6] == 0.0 and found.known[6]


# the answer ----------------------------------------------------------------------------------------------------


def test_on_friday_going_is_worth_more_than_saturday():
    outlook = week(now=datetime(2026, 9, 25, 12, tzinfo=UTC))
    found = front(outlook).waiting(date(2026, 9, 25))
    assert (found.is_go, found.advice, found.go) == (True, "go", 1.0)
    assert found.wait == pytest.approx(0.995)
    assert found.best_day == date(2026, 9, 26)
    assert waiting_sentence(found, date(2026, 9, 25)) == (
        "Go today or wait: going is worth 100.0% of a pass made on time, waiting 99.5% (the chance of another good "
        "window by 26 Sep is over 99%, best on Sat 26 Sep): go."
    )


def test_a_day_may_be_asked_about_before_it_comes():
    scored = front(week())
    friday = scored.waiting(date(2026, 9, 25))
    assert (friday.is_go, friday.go) == (True, 1.0)  # seen from that very day, no waiting has been paid for
    assert scored.waiting(date(2026, 9, 20)) is None and scored.waiting(date(2026, 10, 20)) is None


def test_waiting_is_told_on_a_day_that_is_no_go():
    found = front(week()).waiting(MONDAY)
    assert (found.is_go, found.go, found.advice, found.good_window) == (False, 0.0, "wait", 1.0)
    assert waiting_sentence(found, MONDAY) == (
        "Wait: today is no go. Waiting is worth 98% of a pass made on time, and the chance of a good window "
        "by 26 Sep is over 99%, best on Fri 25 Sep."
    )


def test_nothing_left_says_where_to_look():
    """The interval ends on the 23rd, and no day until then is a go."""
    found = front(week(records=[record(datetime(2026, 9, 2, 22, tzinfo=UTC))])).waiting(MONDAY)
    assert (found.advice, found.wait, found.until) == ("nothing left", 0.0, date(2026, 9, 23))
    assert "advisor reschedule" in waiting_sentence(found, MONDAY)


def test_the_outlook_and_its_json_carry_it():
    jsonschema = pytest.importorskip("jsonschema")
    outlook = week()
    assert "Wait: today is no go. Waiting is worth" in " ".join(outlook_text(outlook).split())
    told = outlook_object(outlook)
    jsonschema.validate(told, OUTLOOK_SCHEMA)
    waiting = told["treatments"][0]["waiting"]
    assert {"go", "wait", "good_window", "advice", "text"} <= waiting.keys()
    assert (waiting["advice"], waiting["best_date"]) == ("wait", "2026-09-25")
    jsonschema.validate({**told, "treatments": [{**told["treatments"][0], "waiting": None}]}, OUTLOOK_SCHEMA)
    bad = {**told["treatments"][0], "waiting": {**waiting, "advice": "maybe"}}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**told, "treatments": [bad]}, OUTLOOK_SCHEMA)


@pytest.mark.parametrize("day", [date(2026, 9, 24), date(2026, 9, 25), date(2026, 9, 26)])
def test_a_notice_has_one_short_line_of_it(day):
    outlook = week()
    rows = [(one, None) for one in outlook.tasks]
    line = wait_line(rows, day)
    assert line.endswith(".") and "\n" not in line and len(line) < 100


def test_the_value_does_not_depend_on_how_many_days_are_shown():
    assert front(week(days=2)).waiting(MONDAY) == front(week(days=8)).waiting(MONDAY)


def test_unknown_weather_is_never_a_go_and_waits_for_past_years_only():
    from advisor.forecast import empty_forecast

    household = lawn()
    outlook = make_outlook(household, empty_forecast(NOW, "nobody answered"), RULES, [FIRST], NOW)
    found = front(outlook).waiting(MONDAY)
    assert (found.is_go, found.go, found.wait, found.advice) == (False, 0.0, 0.0, "nothing left")
    assert isinstance(FIRST, Record)
