"""What a record must hold and until when: 7 CFR 110.3 (edocket.access.gpo.gov), to the element and to the day."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.mix.conversions import ACRE_M2
from advisor.model import Record
from advisor.recording.deadlines import HIRE_REMINDERS, RETENTION, deadlines
from advisor.recording.details import Details, WeatherThen
from advisor.recording.elements import CHECK_YOUR_STATE, ELEMENTS, FEDERAL, STATE, completeness

ZONE = ZoneInfo("America/Chicago")
START = datetime(2026, 9, 25, 21, 5, tzinfo=UTC)
RECORD = Record("front", "weeds", "Demo Product", ("exemplic acid",), START, START.replace(minute=27), 140.0, 300.0,
                "A. Mower", id="r-1")  # fmt: skip
FULL = Details(
    registration_number="DEMO-9", restricted_use=True, method="broadcast", target="dandelion", site_use="home-lawn",
    turf=("Kentucky bluegrass",), location="1 Example Street", equipment="knapsack", mix_volume=12_000.0,
    re_entry="when dry", licence_number="L-1", certified_name="A. Mower", certified_number="C-1", customer="B. Lawn",
    customer_address="1 Example Street", for_hire=True,
    weather=WeatherThen(wind_speed_2m=2.0, wind_from_direction=180.0, air_temperature=20.0),
)  # fmt: skip


def test_a_full_record_lacks_nothing():
    found = completeness(RECORD, FULL, (), ZONE)
    assert found.complete and not found.federal and not found.state


#: the five elements of 7 CFR 110.3 (a), each as something that can be left out
FIVE = {
    1: [("product", {"product": ""}, {}), ("registration_number", {}, {"registration_number": ""})],
    2: [("amount", {"amount": None}, {})],
    3: [("location", {}, {"location": ""}), ("size", {"size": None}, {}),
        ("site", {}, {"site_use": "", "turf": ()})],
    5: [("certified_name", {}, {"certified_name": ""}), ("certified_number", {}, {"certified_number": ""})],
}  # fmt: skip
CASES = [(number, *case) for number, cases in FIVE.items() for case in cases]


@pytest.mark.parametrize(("number", "name", "record", "details"), CASES, ids=[case[1] for case in CASES])
def test_a_restricted_record_without_any_of_the_five_elements_is_not_complete(number, name, record, details):
    found = completeness(replace(RECORD, **record), replace(FULL, **details), (), ZONE)
    assert not found.complete
    assert [one.name for one in found.federal] == [name] and found.federal[0].number == number


def test_the_list_has_the_five_elements_and_the_date_cannot_be_missing():
    assert {one.number for one in ELEMENTS if one.source == FEDERAL} == {1, 2, 3, 4, 5}
    assert all(one.number == 0 for one in ELEMENTS if one.source == STATE)


def test_every_pass_for_hire_is_held_against_the_list_and_a_householders_is_told():
    bare = replace(FULL, restricted_use=False, registration_number="")
    assert not completeness(RECORD, bare, (), ZONE).complete
    own = replace(bare, for_hire=False, certified_name="", certified_number="", licence_number="", customer="",
                  customer_address="")  # fmt: skip
    found = completeness(RECORD, own, (), ZONE)
    assert found.complete and [one.name for one in found.federal] == ["registration_number"]
    assert not found.state  # a customer is asked for only for hire


def test_for_hire_an_ordinary_product_is_applied_under_the_licence():
    hired = replace(FULL, restricted_use=False, certified_name="", certified_number="")
    assert completeness(RECORD, hired, (), ZONE).complete
    without = completeness(replace(RECORD, who=""), replace(hired, licence_number=""), (), ZONE)
    assert {one.name for one in without.federal} == {"certified_name", "certified_number"}


@pytest.mark.parametrize(
    ("size", "spot"),
    [
        (0.0999 * ACRE_M2, True),
        (0.10 * ACRE_M2, False),
        (ACRE_M2 / 10 * (1 - 1e-12), False),
        (0.2 * ACRE_M2, False),
        (None, False),
    ],
)
def test_the_short_list_holds_only_below_a_tenth_of_an_acre(size, spot):
    """7 CFR 110.3: spot applications of less than 1/10 acre in a day; 0.10 acre itself takes the full list. What the
    short list leaves out (size, site, certified applicator) is from memory."""
    details = replace(FULL, method="spot", certified_name="", certified_number="", site_use="", turf=())
    found = completeness(replace(RECORD, size=size), details, (), ZONE)
    assert found.spot is spot and found.complete is spot


def test_the_tenth_of_an_acre_is_that_of_the_whole_day():
    details = replace(FULL, method="spot", certified_name="")
    piece = replace(RECORD, size=0.06 * ACRE_M2)
    same_day = replace(piece, id="r-2", started_at=START.replace(hour=15), area="back")
    next_day = replace(piece, id="r-3", started_at=datetime(2026, 9, 26, 21, 5, tzinfo=UTC))
    other_product = replace(same_day, product="Another")
    assert completeness(piece, details, (next_day, other_product), ZONE).spot
    assert not completeness(piece, details, (same_day,), ZONE).spot
    # the same product, however it is written
    assert not completeness(
        piece, details, (replace(same_day, product=f" {piece.product.upper()}"),), ZONE
    ).spot
    # broadcast work never takes the short list
    assert not completeness(piece, replace(details, method="broadcast"), (), ZONE).spot


def test_the_local_day_counts_not_the_day_in_greenwich():
    # 23:30 and 00:30 in Chicago are one day in UTC and two days there
    details = replace(FULL, method="spot")
    late = replace(RECORD, size=0.06 * ACRE_M2, started_at=datetime(2026, 9, 26, 4, 30, tzinfo=UTC))
    early = replace(late, id="r-2", started_at=datetime(2026, 9, 26, 5, 30, tzinfo=UTC))
    assert completeness(late, details, (early,), ZONE).spot


@pytest.mark.parametrize(
    ("done", "write", "copy", "keep"),
    [
        (date(2026, 9, 25), date(2026, 10, 9), date(2026, 10, 25), date(2028, 9, 25)),
        (date(2026, 12, 20), date(2027, 1, 3), date(2027, 1, 19), date(2028, 12, 20)),
        (date(2028, 2, 29), date(2028, 3, 14), date(2028, 3, 30), date(2030, 3, 1)),
    ],
)
def test_deadlines_to_the_day(done, write, copy, keep):
    """14 days to write, 2 years to keep (7 CFR 110.3), 30 days for the customer's copy (ams.usda.gov)."""
    owed = deadlines(done, for_hire=True)
    assert (owed.write_by, owed.copy_by, owed.keep_until) == (write, copy, keep)
    assert deadlines(done, for_hire=False).copy_by is None


def test_some_states_ask_for_three_years():
    """Ohio keeps records for three years (pested.osu.edu)."""
    assert deadlines(date(2026, 9, 25), True, keep_years=3).keep_until == date(2029, 9, 25)


@settings(deadline=None)
@given(done=st.dates(date(2000, 1, 1), date(2100, 1, 1)), years=st.integers(1, 10))
def test_a_record_is_never_thrown_away_too_soon(done, years):
    owed = deadlines(done, True, years)
    assert owed.write_by < owed.copy_by < owed.keep_until
    assert (
        owed.keep_until.year == done.year + years
        and owed.keep_until.timetuple()[1:3] >= done.timetuple()[1:3]
    )


def test_every_legal_text_says_check_your_state():
    assert "check your state" in CHECK_YOUR_STATE.casefold()
    assert "check your state" in RETENTION.casefold()
    assert any("check your state" in text.casefold() for text in HIRE_REMINDERS)
