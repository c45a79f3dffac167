"""Where an answer is of, and how far that may be from the site."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime

import payloads
import pytest
from weather_server import PROVIDERS, forecast_body

from advisor.errors import UsageError, WeatherError
from advisor.sources import SOURCES, check_place, distance_km, metno, nws, openmeteo, place_of, read_answer

NOW = datetime(2026, 6, 1, 8, tzinfo=UTC)


@pytest.mark.parametrize(
    ("first", "second"),
    [((41.6, -93.6), (41.7, -93.5)), ((40.0, -75.0), (-33.9, 151.2)), ((60.0, 179.9), (60.0, -179.9)),
     ((89.9, 0.0), (89.9, 180.0)), ((0.0, 0.0), (0.0, 90.0)), ((10.0, 20.0), (10.0, 20.0))],
)  # fmt: skip
def test_distance_agrees_with_the_geodesic_of_the_ellipsoid(first, second):
    # pyproj, WGS84 geodesic; a sphere is up to 0.56 % off
    pyproj = pytest.importorskip("pyproj", reason="needs the reference libraries")
    metres = pyproj.Geod(ellps="WGS84").inv(first[1], first[0], second[1], second[0])[2]
    assert distance_km(*first, *second) == pytest.approx(metres / 1000.0, rel=0.0056, abs=1e-9)


def test_a_quarter_of_the_equator():
    # mean radius 6371.0088 km (IUGG): quarter 10007.557 km
    assert distance_km(0.0, 0.0, 0.0, 90.0) == pytest.approx(10007.557, abs=0.001)


@pytest.mark.parametrize("provider", PROVIDERS)
def test_an_answer_of_the_site_is_accepted_and_one_of_elsewhere_refused(provider):
    body = json.dumps(forecast_body(provider, 41.6, -93.6, NOW)).encode()
    read = read_answer(body, latitude=41.6, longitude=-93.6)
    assert check_place(read, 41.6, -93.6) < 3.0
    assert place_of(read)[2] == 262.0
    with pytest.raises(WeatherError, match="km from the site") as raised:
        read_answer(body, latitude=42.6, longitude=-93.6)
    assert raised.value.hint


@pytest.mark.parametrize(("provider", "limit"), [("open-meteo", 25.0), ("nws", 5.0), ("met-norway", 5.0)])
def test_the_limit_is_that_of_the_source(provider, limit):
    read = read_answer(json.dumps(forecast_body(provider, 41.6, -93.6, NOW)).encode())
    latitude, longitude, _ = place_of(read)
    assert SOURCES[provider].place_limit_km == limit
    degree = distance_km(latitude, longitude, latitude + 1.0, longitude)
    check_place(read, latitude + 0.98 * limit / degree, longitude)
    with pytest.raises(WeatherError):
        check_place(read, latitude + 1.02 * limit / degree, longitude)


def test_real_cells_lie_near_the_points_that_were_asked():
    # the recorder's file name says what was asked
    read = read_answer(payloads.body("metno/complete_London_20200720.json"))
    assert check_place(read, 51.5, -0.1) == pytest.approx(0.0, abs=0.01)
    read = read_answer(payloads.body("openmeteo/forecast_NYC_local_20260206.json"))
    assert check_place(read, 40.776676, -73.971321) < 3.0  # near Central Park; the cell is the provider's own
    read = read_answer(payloads.body("nws/gridpoints_BMX_32_69_20240223.json"))
    assert check_place(read, 33.21, -87.57) < 2.0  # Tuscaloosa


def test_an_answer_without_a_place_is_refused_where_a_place_matters():
    read = read_answer(payloads.body("nws/gridpoints_BMX_32_69_20240223.json"))
    read = replace(read, provenance=replace(read.provenance, latitude=None))
    with pytest.raises(WeatherError, match="does not say which place"):
        check_place(read, 33.2, -87.6)


def test_a_place_that_is_no_number_is_refused():
    read = read_answer(payloads.body("nws/gridpoints_BMX_32_69_20240223.json"))
    with pytest.raises(WeatherError):
        check_place(read, float("nan"), -87.6)


@pytest.mark.parametrize("maker", [nws.points_request, openmeteo.forecast_request, metno.forecast_request])
@pytest.mark.parametrize("place", [(91.0, 0.0), (0.0, 181.0), (float("nan"), 0.0), (0.0, float("inf"))])
def test_a_request_for_no_place_on_earth_is_refused(maker, place):
    with pytest.raises(UsageError, match="is not between"):
        maker(*place)


@pytest.mark.parametrize("provider", PROVIDERS)
def test_every_request_goes_to_another_host_when_told(provider):
    request = SOURCES[provider].first_request(41.6, -93.6, base="http://127.0.0.1:8080/")
    assert request.url.startswith("http://127.0.0.1:8080/")
    assert "//" not in request.url.removeprefix("http://")
    assert SOURCES[provider].first_request(41.6, -93.6).url.startswith(SOURCES[provider].base)


@pytest.mark.parametrize("provider", PROVIDERS)
def test_every_source_says_what_using_it_means(provider):
    one = SOURCES[provider]
    assert one.name == provider
    assert one.licence and one.attribution and one.terms and one.title
    assert 0.0 < one.age_limit_hours <= 24.0
    assert {"air_temperature", "wind_speed_10m", "precipitation"} <= set(one.variables)
