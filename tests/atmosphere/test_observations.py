"""Our formulas on real hourly observations: the typical meteorological year of Greensboro NC in pvlib."""

from __future__ import annotations

import numpy as np
import pytest

from advisor import sun
from advisor.atmosphere import moisture, stability

from . import greensboro

pytest.importorskip("pvlib")
pytest.importorskip("pandas")


def test_turner_classes_of_the_greensboro_year():
    # Source: counted independently on pvlib 0.16.1's 723170TYA.CSV with EPA-454/R-99-005 tables 6-4 to 6-6,
    # exclusive steps, sun in the middle of the stamped hour, day = sun above the horizon both an hour before
    # and an hour after that, wind in whole knots. The year of the sun was not stated; 1990 gives it exactly.
    expected = [128, 726, 1153, 3389, 1139, 1495, 730]
    assert greensboro.TURNER_HOURS.tolist() == expected and sum(expected) == 8760
    assert greensboro.greensboro_turner_hours().tolist() == expected


def test_evapotranspiration_of_the_greensboro_july():
    # Source: refet 0.5.0, asce method, 10 m wind, on the same file: 156.7 mm, first days 4.322 2.329 2.045.
    daily = greensboro.greensboro_july_et()
    assert daily.sum() == pytest.approx(156.7, abs=0.5)
    # The tolerance is the difference of the two publications' constants (test_comparisons: 0.001 mm/d).
    assert daily[:3] == pytest.approx([4.322, 2.329, 2.045], abs=0.0015)


def test_bounds_without_cloud_hold_on_real_weather():
    # Source: the definition. Whatever the cloud was, Turner's class lies between the bounds found without it.
    weather = greensboro.greensboro()
    place = (greensboro.GREENSBORO["latitude"], greensboro.GREENSBORO["longitude"])
    elevation = sun.solar_elevation(weather["time"] + np.timedelta64(1800, "s"), *place)
    night = elevation < 5.0
    known = stability.turner_class(
        elevation, night, weather["cloud_cover"], weather["wind_speed"], weather["ceiling"]
    )
    lowest, highest = stability.turner_class_bounds(elevation, night, weather["wind_speed"])
    assert np.all((lowest <= known) & (known <= highest))
    assert highest[~night].max() == 4, "by day the air is never stable, whatever the cloud"
    assert lowest[~night].max() <= 4 and highest[night].max() == 7


def test_relative_humidity_of_the_greensboro_year():
    # Source: the file's own relative humidity, in whole per cent, beside temperature and dew point. A few
    # dozen hours of the file contradict themselves by up to 33 %, where it was filled; the rest is rounding.
    weather = greensboro.greensboro()
    found = moisture.relative_humidity(weather["air_temperature"], weather["dew_point"])
    difference = np.abs(found - weather["relative_humidity"])
    assert np.quantile(difference, 0.95) < 1.5
    assert np.mean(difference) < 0.6
