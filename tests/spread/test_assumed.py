"""Members for a source without members: the properties that the design demands of them."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from advisor.atmosphere.moisture import relative_humidity
from advisor.conditions import Conditions, SiteTable
from advisor.forecast import on_axis
from advisor.spread import ASSUMED, with_assumed_members
from advisor.spread.stated import chance_from_amount, stated_error
from advisor.variables import MEASURABLE_RAIN_MM
from tests.spread.forecasts import (
    HOURS,
    ISSUED,
    NOW,
    START,
    at,
    blocks,
    day_and_night,
    ensemble,
    field,
    plain,
)

SITE = SiteTable(np.array([41.6]), np.array([-93.6]), np.array([270.0]), np.array([False]))
DONE = slice(0, 36)  # hours before NOW


def members_of(forecast, **options):
    return with_assumed_members(forecast, NOW, **options)


def test_says_so_and_promises_as_many_members_as_it_makes():
    made = members_of(plain(), members=31)
    assert made.provenance.spread == ASSUMED == "assumed spread"
    assert (made.nominal_members == 31).all()
    assert made.members == 31


def test_the_same_site_source_and_issue_give_the_same_members_to_the_last_bit():
    one, two = members_of(plain(), key="a"), members_of(plain(), key="a")
    for name in one.fields:
        assert one.values(name).tobytes() == two.values(name).tobytes()


def test_later_the_same_day_the_members_of_the_hours_to_come_are_the_same():
    early = members_of(plain())
    late = with_assumed_members(plain(), NOW + timedelta(hours=5))
    for name in early.fields:
        np.testing.assert_array_equal(early.values(name)[..., 47:], late.values(name)[..., 47:])


@pytest.mark.parametrize("change", ["key", "source", "issue"])
def test_another_site_source_or_issue_gives_others(change):
    forecast = plain()
    other, key = forecast, ""
    if change == "key":
        key = "elsewhere"
    elif change == "source":
        other = replace(forecast, provenance=replace(forecast.provenance, source="another"))
    else:
        other = replace(
            forecast, provenance=replace(forecast.provenance, issued_at=ISSUED + timedelta(hours=6))
        )
    one, two = members_of(forecast), members_of(other, key=key)
    assert not np.array_equal(one.values("air_temperature"), two.values("air_temperature"))


def unissued(**changes):
    """A forecast that does not say when it was issued."""
    return replace(plain(), provenance=replace(plain().provenance, issued_at=None, **changes))


def test_an_answer_that_does_not_say_when_it_was_issued_has_its_members_whenever_it_was_fetched():
    """The sizes of the errors count from the asking; their pattern is the answer's own."""

    def rain(hour: int, **changes):
        made = members_of(unissued(fetched_at=NOW.replace(hour=hour), **changes))
        return made.values("precipitation")

    np.testing.assert_array_equal(rain(6), rain(12))
    other = START - np.timedelta64(24, "h"), HOURS
    assert not np.array_equal(rain(6), rain(6, own_axis=other))


@pytest.mark.parametrize("issued", [True, False], ids=["issued", "not stated"])
def test_what_is_laid_around_an_answer_leaves_its_members_as_they_are(issued):
    answer = plain() if issued else unissued(fetched_at=NOW)
    answer = replace(answer, provenance=replace(answer.provenance, own_axis=(answer.start, answer.hours)))
    around = on_axis(answer, answer.start - np.timedelta64(31, "h"), answer.hours + 31 + 18)
    alone, within = members_of(answer), members_of(around)
    for name in alone.fields:
        np.testing.assert_array_equal(alone.values(name), within.values(name)[..., 31:-18], name)


def test_what_has_happened_has_no_error():
    forecast = plain()
    made = members_of(forecast)
    for name in made.fields:
        if name in ("dew_point", "precipitation"):
            continue
        expected = np.broadcast_to(forecast.values(name)[..., DONE], made.values(name)[..., DONE].shape)
        np.testing.assert_array_equal(made.values(name)[..., DONE], expected)
    assert (made.values("precipitation")[..., DONE] == 0.0).all()


@pytest.mark.parametrize("name", ["air_temperature", "soil_temperature_5cm"])
def test_spread_is_the_stated_one_and_grows_with_lead(name):
    made = members_of(plain())
    lead = np.maximum(np.arange(HOURS) - 30.0, 0.0)
    spread = made.values(name)[0].std(axis=0)[36:]
    np.testing.assert_allclose(spread, stated_error(name, lead)[36:], rtol=1e-9)
    assert spread[-1] > spread[0] > 0.0
    np.testing.assert_allclose(made.values(name)[0].mean(axis=0), plain().values(name)[0, 0], atol=1e-9)


def test_errors_last_from_hour_to_hour():
    made = members_of(plain(), members=400).values("air_temperature")[0][:, 60:]
    away = (made - made.mean(axis=0)) / made.std(axis=0)
    for lag, expected in ((1, np.exp(-1 / 18)), (18, np.exp(-1)), (72, np.exp(-4))):
        found = (away[:, lag:] * away[:, :-lag]).mean()
        assert found == pytest.approx(expected, abs=0.06)


def test_dew_point_goes_with_the_air_and_never_above_it():
    moist = plain(dew_point=field(day_and_night(14.5, 6.0)))
    made = members_of(moist, members=200)
    air, dew = made.values("air_temperature")[0], made.values("dew_point")[0]
    assert (dew <= air).all()
    dry = members_of(plain(dew_point=field(np.full(HOURS, -5.0))), members=200)
    air, dew = (dry.values(name)[0][:, 100] for name in ("air_temperature", "dew_point"))
    assert np.corrcoef(air, dew)[0, 1] == pytest.approx(0.5, abs=0.15)


def test_humidity_follows_from_temperature_and_dew_point_of_the_same_member():
    made = members_of(plain())
    assert "relative_humidity" not in made.fields
    conditions = Conditions(made, SITE)
    expected = relative_humidity(made.values("air_temperature"), made.values("dew_point"))
    np.testing.assert_allclose(conditions.relative_humidity, expected)


def test_humidity_alone_is_turned_into_a_dew_point():
    made = members_of(plain(dew_point=None))
    before = Conditions(plain(dew_point=None), SITE).dew_point[..., DONE]
    np.testing.assert_allclose(made.values("dew_point")[:, :1, DONE], before)
    assert "relative_humidity" not in made.fields


def test_wind_is_never_negative_and_gusts_never_below_it():
    calm = plain(wind_speed_10m=field(np.tile([0.0, 0.3, 6.0, 1.0], HOURS // 4)))
    made = members_of(calm, members=200)
    wind, gust = made.values("wind_speed_10m"), made.values("wind_gust")
    assert (wind >= 0.0).all()
    both = np.maximum(wind[..., :-1], wind[..., 1:])
    assert (gust[..., 36:-1] >= both[..., 36:]).all()


def test_strong_winds_err_by_more_than_light_ones():
    def spread(speed):
        return (
            members_of(plain(wind_speed_10m=field(np.full(HOURS, speed))))
            .values("wind_speed_10m")[0, :, 60]
            .std()
        )

    assert spread(9.0) > 1.3 * spread(4.0) > 1.3 * 1.3 * spread(1.0)
    # at 4 m/s the error is the one that is stated, up to the curvature of the square: (1 + s^2 / 32)^0.5
    assert spread(4.0) == pytest.approx(stated_error("wind_speed_10m", 30.0), rel=0.05)


def test_directions_stay_within_the_circle_and_scatter_more_in_light_wind():
    def scatter(speed):
        values = members_of(plain(wind_speed_10m=field(np.full(HOURS, speed)))).values("wind_from_direction")[
            0, :, 60
        ]
        assert ((values >= 0.0) & (values < 360.0)).all()
        return np.abs((values - 350.0 + 180.0) % 360.0 - 180.0).mean()

    assert scatter(1.3) > 2.0 * scatter(5.0)


def test_missing_data_never_become_known():
    holes = np.zeros(HOURS, dtype=bool)
    holes[[40, 90, 91, 150]] = True
    forecast = plain()
    fields = {
        name: replace(one, values=np.where(holes, np.nan, one.values))
        for name, one in forecast.fields.items()
    }
    made = members_of(replace(forecast, fields=fields))
    for name, one in made.fields.items():
        assert np.isnan(one.values[..., holes]).all(), name
        assert not np.isnan(one.values[..., ~holes]).any(), name


@pytest.mark.parametrize(
    "name", ["air_temperature", "wind_speed_10m", "precipitation", "dew_point", "wind_gust"]
)
def test_one_variable_missing_leaves_the_others_alone(name):
    whole, without = members_of(plain()), members_of(plain(**{name: None}))
    if name in ("dew_point",):
        return
    assert name not in without.fields
    others = set(whole.fields) & set(without.fields) - {"dew_point", "wind_gust", "wind_from_direction"}
    for other in others:
        np.testing.assert_array_equal(whole.values(other), without.values(other))


def test_an_ensemble_is_left_alone_even_if_it_lost_all_members_but_one():
    forecast = ensemble()
    assert members_of(forecast) is forecast
    lost = ensemble(members=1)
    assert members_of(lost) is lost


# rain -----------------------------------------------------------------------------------------------------------


def rain(probability=None, amount=None, length=6, amount_length=1, members=51, hours=HOURS):
    first, last = blocks(hours, length)
    chance = None if probability is None else field(np.broadcast_to(probability, hours), first, last)
    bounds = blocks(hours, amount_length) if amount_length > 1 else (None, None)
    total = field(np.broadcast_to(0.0 if amount is None else amount, hours), *bounds)
    made = members_of(plain(hours, precipitation=total, precipitation_probability=chance), members=members)
    return made, made.fields["precipitation"]


@pytest.mark.parametrize("chance", [0.0, 10.0, 35.0, 80.0, 100.0])
def test_the_share_of_wet_members_of_a_block_is_the_stated_chance(chance):
    made, one = rain(chance)
    block = one.values[0][:, 60:66].sum(axis=-1)
    assert (block >= MEASURABLE_RAIN_MM * (1 - 1e-9)).mean() == pytest.approx(chance / 100.0, abs=1.01 / 51)
    assert ((block == 0.0) | (block >= MEASURABLE_RAIN_MM * (1 - 1e-9))).all()


def test_the_stated_chance_is_carried_by_the_members_and_not_counted_twice():
    made, _ = rain(35.0)
    assert "precipitation_probability" not in made.fields
    assert any("carried by the members" in note for note in made.provenance.notes)


def test_the_mean_of_the_members_is_the_forecast_amount():
    made, one = rain(40.0, 0.5, members=400)
    # six hours of 0.5 mm at 40 %: 7.5 mm where it rains
    block = one.values[0][:, 60:66].sum(axis=-1)
    assert block.mean() == pytest.approx(3.0, rel=0.02)
    assert block[block > 0].mean() == pytest.approx(7.5, rel=0.03)


def test_a_small_amount_at_a_high_chance_is_still_measurable_rain():
    made, one = rain(50.0, 0.001)
    block = one.values[0][:, 60:66].sum(axis=-1)
    assert block[block > 0] == pytest.approx(MEASURABLE_RAIN_MM, rel=1e-9)


def test_hours_of_a_block_rain_together_and_belong_to_one_block():
    made, one = rain(35.0)
    wet = one.values[0][:, 60:66] > 0
    assert (wet == wet[:, :1]).all()
    assert (one.block_first[0, 0, 60:66] == 60).all() and (one.block_last[0, 0, 60:66] == 65).all()


def test_chances_of_more_than_twelve_hours_are_split_at_twelve():
    made, one = rain(50.0, length=24)
    assert (one.block_first[0, 0, 48:60] == 48).all() and (one.block_last[0, 0, 48:60] == 59).all()
    halves = [one.values[0][:, low : low + 12].sum(axis=-1) > 0 for low in (48, 60)]
    assert [half.mean() for half in halves] == pytest.approx([0.5, 0.5], abs=0.02)
    assert not np.array_equal(*halves)


def test_an_amount_of_longer_blocks_than_its_chance_keeps_its_blocks():
    made, one = rain(30.0, 0.4, length=1, amount_length=6)
    assert (one.block_first[0, 0, 60:66] == 60).all() and (one.block_last[0, 0, 60:66] == 65).all()


def test_an_amount_without_a_chance_may_stay_away_and_a_dry_hour_may_rain():
    _, dry = rain(None, 0.0, members=1001)
    _, wet = rain(None, 3.0, members=1001)
    day = dry.values[0][:, 60:84].sum(axis=-1) > 0
    assert 0.05 < day.mean() < 0.2
    later = dry.values[0][:, 170:194].sum(axis=-1) > 0
    assert later.mean() > day.mean()
    assert (wet.values[0][:, 60] > 0).mean() == pytest.approx(0.9, abs=0.06)


@pytest.mark.parametrize("length", [1, 3, 6, 12])
def test_the_chance_of_a_dry_day_does_not_hang_on_the_length_of_the_blocks(length):
    made = members_of(
        plain(precipitation=field(np.zeros(HOURS), *blocks(HOURS, length)), precipitation_probability=None),
        members=4000,
    )
    wet = made.values("precipitation")[0][:, 48:72].sum(axis=-1) > 0
    assert wet.mean() == pytest.approx(0.10, abs=0.03)


def test_an_amount_at_a_chance_of_nearly_nothing_counts():
    _, one = rain(0.0, 2.0 / 6)
    assert (one.values[0][:, 60] > 0).mean() == pytest.approx(
        float(chance_from_amount(2.0, 6.0, 33.0)), abs=0.03
    )
    _, stated = rain(60.0, 2.0 / 6)
    assert (stated.values[0][:, 60] > 0).mean() == pytest.approx(0.6, abs=0.02)


def test_more_forecast_rain_never_makes_a_member_drier():
    _, less = rain(40.0, 0.1)
    _, more = rain(40.0, 0.4)
    assert (more.values >= less.values - 1e-12).all()
    _, likelier = rain(60.0, 0.1)
    assert ((likelier.values > 0) >= (less.values > 0)).all()


def test_a_block_that_has_begun_keeps_the_hours_that_are_over():
    _, one = rain(100.0, 1.0)
    assert (one.values[0][:, 30:36] == 1.0).all()


def test_several_sites_have_members_of_their_own():
    forecast = plain()
    fields = {
        name: replace(
            one,
            values=np.repeat(one.values, 3, axis=0),
            reason=np.repeat(one.reason, 3, axis=0),
            block_first=None if one.block_first is None else np.repeat(one.block_first, 3, axis=0),
            block_last=None if one.block_last is None else np.repeat(one.block_last, 3, axis=0),
        )
        for name, one in forecast.fields.items()
    }
    made = members_of(replace(forecast, fields=fields))
    assert made.values("precipitation").shape == (3, 51, HOURS)
    assert not np.array_equal(made.values("air_temperature")[0], made.values("air_temperature")[1])


def test_float32_stays_float32():
    made = members_of(plain(), dtype=np.float32)
    for name in (
        "air_temperature",
        "dew_point",
        "wind_speed_10m",
        "wind_gust",
        "precipitation",
        "cloud_cover",
    ):
        assert made.values(name).dtype == np.float32, name


def test_two_hundred_hours_of_51_members_take_far_less_than_50_ms():
    forecast = plain()
    members_of(forecast)
    best = min(_timed(forecast) for _ in range(5))
    assert best < 0.050


def _timed(forecast) -> float:
    begun = time.perf_counter()
    members_of(forecast)
    return time.perf_counter() - begun


def test_the_axis_is_the_forecasts_own():
    made = members_of(plain())
    assert made.start == START and made.hours == HOURS
    assert at(made, "2026-09-21T12") == 36
