"""Turner's and the SRDT method and the closed hours; the cells stand in tests/literature/stability.toml."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor import sun
from advisor.atmosphere import stability
from advisor.atmosphere.inversions import INVERSION_SETTINGS

KNOT = stability.KNOT
SKY = {
    "sun_elevation": st.floats(-30.0, 75.0),
    "wind_speed_10m": st.floats(0.0, 15.0),
    "cloud_cover": st.floats(0.0, 100.0),
    "ceiling": st.one_of(st.floats(0.0, 9000.0), st.just(float("inf"))),
}


@given(st.booleans(), *SKY.values())
def test_bounds_enclose_every_sky(night, elevation, wind, cloud, ceiling):
    # Source: EPA-454/R-99-005 table 6-4 and 6-6, all cases.
    known = stability.turner_class(elevation, night, cloud, wind, ceiling)
    for given_cloud, given_ceiling in ((None, None), (cloud, None), (None, ceiling), (np.nan, np.nan)):
        low, high = stability.turner_class_bounds(elevation, night, wind, given_cloud, given_ceiling)
        assert low <= known <= high
    low, high = stability.turner_class_bounds(elevation, night, wind, cloud, ceiling)
    assert low == known == high


@given(SKY["sun_elevation"], SKY["wind_speed_10m"])
def test_by_day_never_stable_without_any_cloud(elevation, wind):
    # Source: EPA-454/R-99-005 table 6-6: the index by day is 0 or more; table 6-4: at most class 4 there.
    assert stability.turner_class_bounds(elevation, False, wind)[1] <= 4


def test_bounds_by_night():
    # Source: EPA-454/R-99-005 table 6-4, first row: overcast with low cloud 4, clear 7.
    assert stability.turner_class_bounds(-20.0, True, 1 * KNOT) == (4, 7)
    # 2/10 at night is -2 whatever the ceiling; 10/10 is 0 or -1.
    assert stability.turner_class_bounds(-20.0, True, 1 * KNOT, cloud_cover=20.0) == (7, 7)
    assert stability.turner_class_bounds(-20.0, True, 1 * KNOT, cloud_cover=100.0) == (4, 6)


def test_unknown_cloud_gives_unknown_class_but_known_bounds():
    assert np.isnan(stability.turner_class(40.0, False, np.nan, 2.0))
    assert np.isfinite(stability.turner_class_bounds(40.0, False, 2.0)).all()
    assert np.isnan(stability.turner_class_bounds(40.0, False, np.nan)).all()
    assert np.isnan(stability.turner_class(40.0, False, 50.0, 2.0, ceiling=np.nan))


def test_wind_is_counted_in_whole_knots():
    # Source: EPA-454/R-99-005 table 6-4: 3 kt is row 2, 4 kt row 3; halves go up.
    index = 2.0
    assert stability.turner_key(index, 3.49 * KNOT) == 2 and stability.turner_key(index, 3.51 * KNOT) == 3
    assert np.isnan(stability.turner_key(index, -1.0)) and np.isnan(stability.turner_key(9.0, 1.0))


def test_ten_tenths_needs_a_sky_without_gaps():
    # Source: observing practice: 10/10 only without gaps; 97 % is 9/10, and a night under it stays stable.
    assert stability.turner_class(-20.0, True, 97.0, 1.0, ceiling=500.0) == 6
    assert stability.turner_class(-20.0, True, 100.0, 1.0, ceiling=500.0) == 4


def test_exclusive_reading_of_the_steps():
    # Source: EPA-454/R-99-005 table 6-6, step 3: 10/10 with a ceiling of 7000 to 16000 ft takes 1 off, not 2.
    assert stability.net_radiation_index(50.0, False, 100.0, 3000.0) == 2


def test_srdt_without_gradient_takes_the_more_stable_side():
    # Source: EPA-454/R-99-005 table 6-7, right column; the choice of the side is ours.
    assert stability.srdt_class(0.0, True, 1.0) == 6
    assert stability.srdt_class(np.nan, True, 1.0) == 6, "radiation is not used at night"
    assert np.isnan(stability.srdt_class(np.nan, False, 1.0))
    assert np.isnan(stability.srdt_class(500.0, False, -1.0))


NIGHTS = {
    "sunset": np.array(["2024-07-01T20:00", "2024-07-02T20:00"], dtype="datetime64[s]"),
    "sunrise": np.array(["2024-07-02T05:00", "2024-07-03T05:00"], dtype="datetime64[s]"),
}
HOURS = np.datetime64("2024-07-01T12", "h") + np.arange(48)


def test_an_hour_that_touches_the_closed_time_is_closed():
    # Source: the hours of this program cover [t, t+1 h).
    at = np.array(
        ["2024-07-02T17:00", "2024-07-02T17:01", "2024-07-02T05:59", "2024-07-02T06:00"], "datetime64[s]"
    )
    assert stability.inversion_closed(at, **NIGHTS, span_hours=1.0).tolist() == [False, True, True, False]
    assert stability.inversion_closed(at, **NIGHTS).tolist() == [False, False, True, False]


def test_the_day_before_and_after_the_nights_given_is_open_and_further_away_closed():
    # Source: a neighbouring night is nearly a day off; beyond that nothing is known.
    at = np.array(["2024-07-01T12:00", "2024-07-03T12:00"], "datetime64[s]")
    assert not stability.inversion_closed(at, **NIGHTS).any()
    at = ["2024-06-29T12:00", "2024-06-30T12:00", "2024-07-01T03:00", "2024-07-03T19:00", "2024-07-05T12:00"]
    at = np.array(at, "datetime64[s]")
    assert stability.inversion_closed(at, **NIGHTS).all()


def test_a_site_may_have_its_own_margin():
    # Source: sites in a hollow stay closed an hour longer (common practice, no source).
    pair = {key: np.stack([value, value]) for key, value in NIGHTS.items()}
    closed = stability.inversion_closed(HOURS, **pair, after_sunrise_hours=np.array([1.0, 2.0]))
    assert closed.shape == (2, 48)
    extra = HOURS[closed[1] & ~closed[0]]
    assert extra.tolist() == [np.datetime64(f"2024-07-0{day}T06", "h").item() for day in (2, 3)]


@pytest.mark.parametrize("shape", [(), (1,), (3, 1)])
def test_shapes_of_times_and_nights(shape):
    sites = {key: np.broadcast_to(value, (*shape, 2)) for key, value in NIGHTS.items()}
    assert stability.is_night(HOURS, **sites).shape == (*shape, 48)
    assert stability.is_night(HOURS[0], **sites).shape == shape
    assert stability.inversion_likelihood(HOURS, **sites).shape == (*shape, 48)


def test_likelihood_counts_the_guides():
    # Source: the settings' own sources; 17:30 is within 3 h and 4 h before sunset but not within 2 h.
    at = np.array(
        ["2024-07-02T12:00", "2024-07-02T17:30", "2024-07-02T18:30", "2024-07-02T23:00"], "datetime64[s]"
    )
    share = stability.inversion_likelihood(at, **NIGHTS)
    assert share.tolist() == pytest.approx([0.0, 2 / 5, 4 / 5, 1.0])
    assert len(INVERSION_SETTINGS) == 5
    windy = stability.inversion_likelihood(at, **NIGHTS, stability_class=4.0)
    assert windy.tolist() == pytest.approx([0.0, 2 / 5, 4 / 5, 0.0])


def test_closed_hours_of_a_real_site():
    # Source: US Naval Observatory, Golden CO 2015-08-02: sunrise 05:00, sunset 19:13 standard time (UTC-7).
    hours = np.datetime64("2015-08-02T07", "h") + np.arange(24)
    sunset, sunrise = sun.nights(hours[0], hours[-1], 39.742476, -105.1786)
    closed = stability.inversion_closed(hours, sunset, sunrise, span_hours=1.0)[0]
    local = (hours - np.timedelta64(7, "h")).astype("datetime64[h]").astype(int) % 24
    # Open from 06:00 to 17:13; the hours 6 to 16 lie wholly inside, 05 and 17 do not. Sunrise is at 05:00:28,
    # so that hour 6 still touches the closed time by 28 s.
    assert local[~closed].tolist() == list(range(7, 17))
