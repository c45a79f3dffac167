"""What can be done about a missed pass, and in which order. Our own behaviour on the demonstration's invented week."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta

import pytest
from demo_lawn import NOW, TREATMENT, choice, lawn, record, task
from invented_week import RULES, week

from advisor.messages.reschedule import reschedule_object, reschedule_text
from advisor.outlook import make_outlook
from advisor.reschedule import WORTH_AGAIN, find_missed, what_lateness_costs
from advisor.sequence.season import months_to_treat, next_season, weeds_of

FIRST = record(datetime(2026, 8, 25, 22, 27, tzinfo=UTC))
FRONT = f"{TREATMENT}/front"


def missed(household=None, records=(FIRST,), told=(), climate=None, plans=(), now=NOW):
    """Monday to Sunday; Friday and Saturday are still enough."""
    weather = week(now, (25, 26))
    outlook = make_outlook(household or lawn(), weather, RULES, list(records), now, 16, plans, climate or {})
    return outlook, find_missed(outlook, records, told, climate or {})


def front(**given):
    return next(one for one in missed(**given)[1] if one.task.area.id == "front")


def by_kind(found):
    return {one.kind: one for one in reversed(found.choices)}


# finding -------------------------------------------------------------------------------------------------------


def test_the_overdue_pass_is_found_and_the_others_are_not():
    _, found = missed(records=[FIRST, record(NOW - timedelta(days=10), area="back")])
    assert [(one.task.area.id, one.days_late, one.overdue) for one in found] == [("front", 6, True)]
    assert found[0].wanted == (date(2026, 9, 8), date(2026, 9, 15))


def test_nothing_is_overdue_until_somebody_says_so():
    records = [record(NOW - timedelta(days=10)), record(NOW - timedelta(days=10), area="back")]
    outlook, found = missed(records=records)
    assert found == []
    assert "No pass is overdue." in reschedule_text(outlook, found)
    told = missed(records=records, told={FRONT})[1]
    assert [(one.task.id, one.overdue, one.days_late) for one in told] == [(FRONT, False, 0)]


def test_a_planned_day_that_is_over_is_found():
    plans = [choice("pass-on", date(2026, 9, 20), NOW - timedelta(days=3))]
    found = front(plans=plans)
    assert found.overdue and found.task.plan.day == date(2026, 9, 20)
    # how late it is still counts from when it was wanted
    assert (found.wanted, found.days_late) == ((date(2026, 9, 8), date(2026, 9, 15)), 6)


# choices -------------------------------------------------------------------------------------------------------


def test_at_least_three_ranked_choices_of_every_kind():
    found = front()
    assert [one.kind for one in found.choices] == ["late", "late", "again", "later", "leave"]
    assert [one.day for one in found.choices[:2]] == [date(2026, 9, 25), date(2026, 9, 26)]
    values = [one.value for one in found.choices]
    assert values == sorted(values, reverse=True)
    assert len({one.id for one in found.choices}) == len(found.choices)


def test_a_late_day_is_worth_what_lateness_leaves():
    friday = front().choices[0]
    # ten days late, and four days of waiting from today
    assert friday.worth == pytest.approx(0.98 * 0.5 ** (10 / 21))
    assert (friday.days_late, friday.verdict, friday.chance) == (10, "go", 1.0)
    assert what_lateness_costs(21) == 0.5 and what_lateness_costs(0) == 0.0


def test_windows_inside_the_interval_come_before_late_ones():
    # wanted 11 to 25 September: Friday is in time, Saturday late
    found = front(records=[record(datetime(2026, 9, 4, 22, tzinfo=UTC))], told={FRONT})
    assert [(one.kind, one.days_late) for one in found.choices[:2]] == [("window", 0), ("late", 1)]
    assert found.choices[0].worth == pytest.approx(0.98)


def test_days_before_the_interval_is_over_are_not_offered():
    found = front(records=[record(datetime(2026, 9, 11, 22, tzinfo=UTC))], told={FRONT})
    # wanted from 25 September at 22:30 UTC on, which is that day's evening: Friday's starts are too early by the rule
    assert all(one.day >= date(2026, 9, 25) for one in found.choices)
    goes = [one.day for one in found.choices if one.kind == "window" and one.verdict == "go"]
    assert goes == [date(2026, 9, 26)]


def test_beginning_again_needs_the_passes_that_the_label_has_left():
    again = by_kind(front())["again"]
    assert again.plan == "restart" and again.effect.passes_short == 1
    # one pass of two can still be made: half the worth of a whole sequence
    assert again.value == pytest.approx(WORTH_AGAIN * 0.98 * 0.5)


def test_with_room_on_the_label_a_new_sequence_can_be_whole():
    roomy = lawn(limits={"maximum_passes_per_year": 6.0, "maximum_per_year": 10.0})
    never = by_kind(front(household=roomy))["again"]
    assert (never.effect.passes_short, never.follow_up_chance) == (0, None)
    assert never.effect.later_passes == ((date(2026, 10, 9), date(2026, 10, 16)),)
    often = by_kind(front(household=roomy, climate={FRONT: lambda day: 0.3}))["again"]
    assert often.follow_up_chance == pytest.approx(1.0 - 0.7**8)
    assert often.value > never.value


def test_a_single_pass_is_no_sequence_to_begin_again():
    single = lawn(treatment={"passes": 1})
    found = front(household=single, records=[], plans=[choice("pass-on", date(2026, 9, 20), NOW)])
    assert {one.kind for one in found.choices} == {"window", "later", "leave"}


def test_days_after_the_forecast_rest_on_past_years_or_on_nothing():
    blind = by_kind(front())["later"]
    assert (blind.chance, blind.value, blind.plan) == (None, 0.0, "pass-by")
    assert (blind.day, blind.until) == (date(2026, 9, 28), date(2026, 11, 5))
    told = by_kind(front(climate={FRONT: lambda day: 0.1}))["later"]
    days = (told.until - told.day).days + 1
    assert told.chance == pytest.approx(1.0 - 0.9**days)
    # the first good day, each a little later and worth a little less
    expected = sum(0.1 * 0.9**at * (1 - 0.005 * (7 + at)) * 0.5 ** ((13 + at) / 21) for at in range(days))
    assert told.value == pytest.approx(expected)


def test_leaving_it_waits_for_the_next_season_and_ranks_by_past_years():
    blind = by_kind(front())["leave"]
    assert (blind.day, blind.plan, blind.value) == (date(2027, 8, 20), "leave", 0.0)
    told = by_kind(front(climate={FRONT: lambda day: 0.1}))["leave"]
    assert told.value == pytest.approx(0.25 * (1.0 - 0.9**61))


def test_past_the_last_sensible_day_only_the_next_season_is_left():
    assert front().room.latest == date(2026, 11, 5)
    household = lawn(treatment={"latest": date(2026, 9, 20)})
    assert [one.kind for one in front(household=household).choices] == ["leave"]


def test_when_the_label_has_no_pass_left_nothing_but_leaving_is_offered():
    household = lawn(treatment={"passes": 3})
    twice = [record(datetime(2026, 7, 20, 22, tzinfo=UTC)), record(datetime(2026, 8, 25, 22, tzinfo=UTC))]
    found = front(household=household, records=twice)
    assert [one.kind for one in found.choices] == ["leave"]
    assert found.closed == "all 2 passes that the label allows in its year are made"
    product = front(
        household=lawn(treatment={"passes": 3}, limits={"maximum_passes_per_year": None}), records=twice
    )
    assert product.closed == "the label's yearly total leaves room for no pass more"


# effects -------------------------------------------------------------------------------------------------------


def test_the_season_total_after_each_choice():
    kinds = by_kind(front())
    assert kinds["late"].effect.share_used == pytest.approx(1.0)
    assert kinds["leave"].effect.share_used == pytest.approx(0.5)
    assert (kinds["late"].effect.passes_used, kinds["late"].effect.most_passes) == (2, 2)
    unknown = front(records=[record(FIRST.started_at, amount=None)])
    assert [one.kind for one in unknown.choices] == ["later", "leave"]
    assert math.isnan(unknown.choices[0].effect.share_used)
    assert unknown.closed.startswith("an earlier pass of this year cannot be added up")


def test_seed_may_go_down_four_weeks_after_and_a_planned_day_moves():
    friday = front().choices[0]
    # the 28 days run from the end of the work, so 24 October is the first whole day after them
    assert friday.effect.seed_from == date(2026, 10, 24)
    assert not friday.effect.seeding_moves
    # the rule on seeding closes every day that comes too near to a seeding that is planned
    soon = front(household=lawn(front={"seeding_planned": date(2026, 10, 20)}))
    assert not any(one.verdict == "go" for one in soon.choices)
    assert by_kind(soon)["later"].effect.seeding_moves
    wide = front(household=lawn(front={"seeding_planned": date(2026, 10, 30)}))
    assert wide.choices[0].verdict == "go" and not wide.choices[0].effect.seeding_moves


def test_a_soil_product_without_a_wait_leaves_no_day_for_seed():
    household = lawn(label={"mode": "soil"}, limits={"seeding_after": None, "watering_in_depth": 12.7,
                                                     "watering_in_within": 72.0})  # fmt: skip
    assert by_kind(front(household=household))["leave"].effect.seed_from is None


# the next season -----------------------------------------------------------------------------------------------


def test_the_next_season_follows_the_treatment_its_weeds_or_the_label():
    assert next_season(task(lawn()), NOW)[0] == date(2027, 8, 20)
    by_weed = lawn(treatment={"start_from": None})
    # dandelion 9-11, white clover 5, 6, 9, 10, ground ivy 9-11: all three in September and October
    assert next_season(task(by_weed), NOW)[0] == date(2027, 9, 1)
    unknown = lawn(treatment={"start_from": None, "target": "something green"})
    assert next_season(task(unknown), NOW)[0] == date(2027, 1, 1)


def test_weeds_by_name_and_their_months():
    found, unknown = weeds_of("dandelion, White Clover, something green")
    assert [weed.common_name for weed in found] == ["dandelion", "white clover"]
    assert unknown == ["something green"]
    assert months_to_treat(found, southern=False) == [9, 10]
    assert months_to_treat(found, southern=True) == [3, 4]
    assert months_to_treat([], southern=False) == []


# words ---------------------------------------------------------------------------------------------------------


def test_every_choice_says_its_dates_chance_effects_and_why():
    outlook, found = missed()
    lines = reschedule_text(outlook, found).splitlines()
    assert max(map(len, lines)) <= 80
    text = " ".join(" ".join(lines).split())
    for words in (
        "is 6 days overdue", "Fri 25 Sep, start 12:00 or 16:00, 10 days late", "chance 100%", "total after it 2 of 2",
        "seed from 24 Oct 2026", "later none after it", "why first: lateness costs", "third: a whole new sequence",
        "no almanac is kept", "never the records", "The label is the law",
    ):  # fmt: skip
        assert words in text, words


def test_json_has_numbers_that_run_on_and_no_nan():
    import json

    outlook, found = missed(records=[FIRST, record(FIRST.started_at, area="back", amount=None)])
    told = json.loads(json.dumps(reschedule_object(outlook, found), allow_nan=False))
    numbers = [one["number"] for each in told["missed"] for one in each["choices"]]
    assert numbers == list(range(1, len(numbers) + 1))
    back = told["missed"][1]
    assert back["label_year"]["more_passes"] is None
    assert back["choices"][0]["effect"]["share_of_yearly_maximum"] is None
    first = told["missed"][0]["choices"][0]
    assert (first["date"], first["start"], first["kind"]) == ("2026-09-25", first["start"], "late")
    assert first["start"].endswith("Z") and first["why"].startswith("first: ")
