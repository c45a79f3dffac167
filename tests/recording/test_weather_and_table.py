"""The weather of a record, and records as tables that read back as themselves. Our own behaviour, no outside source."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.forecast import ForecastBuilder, Provenance
from advisor.model import Record
from advisor.recording.details import Details, WeatherThen, from_extra, presumed, to_extra
from advisor.recording.reading import is_exported, read_export
from advisor.recording.table import COLUMNS, FIRST_COLUMNS, Row, csv_text, row_object
from advisor.recording.weather_then import weather_then
from tests.mix.household import FLOZ, FT2, household

HOME = household()
START = datetime(2026, 9, 25, 21, 5, tzinfo=UTC)
END = datetime(2026, 9, 25, 22, 10, tzinfo=UTC)


def forecast(members: int = 1):
    first = np.datetime64("2026-09-25T00", "h")
    builder = ForecastBuilder(first, first + np.timedelta64(48, "h"))
    times = first + np.arange(48)
    day = np.arange(48.0)
    builder.instants("air_temperature", times, np.tile(day, (members, 1)) + np.arange(members)[:, None])
    builder.instants("wind_speed_10m", times, np.full((members, 48), 4.0))
    builder.instants("wind_from_direction", times, np.full((members, 48), 170.0))
    builder.blocks("precipitation", times, np.ones(48, dtype=int), np.where(day == 22, 1.5, 0.0)[None])
    return builder.build(Provenance("test", attribution="test weather"), members)


def test_readings_on_the_spot_win_over_the_forecast():
    found = weather_then({"wind_speed_2m": 2.2, "air_temperature": 19.5}, forecast(), START, END)
    assert (found.wind_speed_2m, found.air_temperature, found.wind_from_direction) == (2.2, 19.5, 170.0)
    assert found.source["wind_speed_2m"] == "measured on the spot"
    assert found.source["wind_from_direction"] == "forecast"
    # no wind of another height stands beside the one that was measured
    assert found.wind_speed_10m is None and "wind_speed_10m" not in found.source


def test_rain_of_the_whole_work_counts_and_other_values_of_its_first_hour():
    found = weather_then({}, forecast(), START, END)
    assert found.precipitation == pytest.approx(1.5)  # fell in the second hour of the work
    assert found.air_temperature == 21.0
    assert found.wind_speed_2m == pytest.approx(4.0 * 4.87 / np.log(67.8 * 10 - 5.42))  # FAO-56 eq. 47


def test_hours_that_were_over_are_observed():
    assert (
        weather_then({}, forecast(), START, END, END).source["air_temperature"] == "past hours of a forecast"
    )
    assert weather_then({}, forecast(), START, END, START).source["air_temperature"] == "forecast"


def test_several_members_give_their_median_and_a_missing_one_gives_nothing():
    whole = forecast(3)
    assert weather_then({}, whole, START, END).air_temperature == 22.0
    whole.fields["air_temperature"].values[0, 1, 21] = np.nan
    assert weather_then({}, whole, START, END).air_temperature is None


def test_no_weather_is_no_weather():
    assert weather_then({}, None, START, END) == WeatherThen()
    far = weather_then({}, forecast(), START + timedelta(days=30), None)
    assert far == WeatherThen(source={}, said_by="")
    assert weather_then({"air_temperature": np.nan}, None, START, END).air_temperature is None


DETAILS = Details(
    registration_number="DEMO-9", method="broadcast", target="dandelion", site_use="home-lawn",
    turf=("Kentucky bluegrass",), location='1 "Example" Street, rear', equipment="knapsack", mix_volume=12_000.0,
    re_entry="when dry", weather=WeatherThen(2.0, None, 170.0, None, 19.5, 45.0, None, 0.0,
                                             {"wind_speed_2m": "observed"}, "test weather"),
    as_it_happened=True, flags=("it lies 8 days from another pass",),
)  # fmt: skip
RECORD = Record("front", "weeds", "Demo Product", ("exemplic acid", "samplopyr"), START, END, 4.8 * FLOZ,
                3200.0 * FT2, "A. Mower", "mild, dry", "r-1")  # fmt: skip


def test_details_come_back_from_the_ledger_as_they_went_in():
    import json

    extra = json.loads(json.dumps(to_extra(DETAILS)))
    assert from_extra(extra) == DETAILS
    assert from_extra({}) == Details() and from_extra({"readings": {"a": 1}}) == Details()
    assert to_extra(Details()) == {}


def test_the_first_columns_are_as_they_always_were_and_none_is_lost():
    text = csv_text([Row(RECORD, DETAILS)], HOME)
    header = text.splitlines()[0].split(",")
    assert tuple(header) == COLUMNS and COLUMNS[: len(FIRST_COLUMNS)] == FIRST_COLUMNS
    assert set(row_object(Row(RECORD, DETAILS), HOME)) == set(COLUMNS)


words = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=20).map(str.strip)


@settings(deadline=None)
@given(
    note=words,
    who=words,
    location=words,
    amount=st.none() | st.floats(0.1, 1e5),
    size=st.none() | st.floats(1, 1e6),
)
def test_an_export_reads_back_as_the_same_record(note, who, location, amount, size):
    record = replace(RECORD, note=note, who=who, amount=amount, size=size)
    details = replace(DETAILS, location=location)
    text = csv_text([Row(record, details, START)], HOME)
    assert is_exported(next(csv.reader(io.StringIO(text))))
    found, problems = read_export(text, "x.csv")
    assert not problems
    ((_, again, details_again),) = found
    assert replace(again, id="r-1") == record
    weather = replace(details.weather, source={}, said_by="")
    assert replace(details_again, weather=replace(details_again.weather, source={})) == replace(
        details, weather=weather
    )


def test_rows_that_count_no_more_are_not_read_and_faulty_ones_are_named():
    rows = [Row(RECORD, DETAILS), Row(replace(RECORD, id="r-0"), DETAILS, counts=False),
            Row(replace(RECORD, id="r-2"), DETAILS, corrects="r-0", withdrawn=True, counts=False)]  # fmt: skip
    text = csv_text(rows, HOME)
    assert len(read_export(text, "x.csv")[0]) == 1
    broken = text.replace(str(RECORD.amount), "a lot", 1)
    found, problems = read_export(broken, "x.csv")
    assert "not a number" in problems[0].what and problems[0].where == "x.csv:2"
    for wrong, says in (("2026-09-25T21:05:00Z,", "no time zone"), ("2026-09-25T21:05:00Z,", "not a date")):
        swapped = "2026-09-25T21:05:00," if says == "no time zone" else "soon,"
        problem = read_export(text.replace(wrong, swapped, 1), "x.csv")[1][0]
        assert says.replace("no time", "names no time") in problem.what
    assert read_export(text.replace(",front,", ",,", 1), "x.csv")[1]


def test_what_the_files_say_is_presumed_and_nothing_else():
    found = presumed(HOME, RECORD)
    assert found.registration_number == "DEMO-9" and found.equipment == "knapsack"
    assert found.site_use == "" and found.weather == WeatherThen()
    assert presumed(HOME, replace(RECORD, area="x", treatment="y", product="z")).registration_number == ""
