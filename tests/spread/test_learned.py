"""What a site teaches: the formulas of the design by hand, and what must not happen."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from advisor.errors import StoreError
from advisor.forecast import on_axis
from advisor.spread import Learned, apply_learned, control_pairs, learn, with_assumed_members
from advisor.spread.learned import BAND_EDGES, Fit, band_of, chance_of_rain, logistic
from advisor.spread.learned import learn as learn_from
from advisor.spread.pairs import LEARNED_VARIABLES, joined, make_pairs, pairs_of
from advisor.spread.stated import lead_hours, root_wind_error, stated_error
from tests.spread.forecasts import HOURS, NOW, ensemble, field, plain

DAYS = np.arange(np.datetime64("2026-07-01"), np.datetime64("2026-08-30"))
UNTIL = np.datetime64("2026-08-30")


def days_of(errors, lead=30.0, variable="air_temperature", forecast=15.0, first="2026-07-01"):
    """One pair a day with these errors (observation minus forecast)."""
    days = np.datetime64(first) + np.arange(len(errors))
    forecast = np.full(len(errors), forecast)
    return make_pairs(variable, lead, forecast, forecast + np.asarray(errors), days.astype("datetime64[h]"))


def test_bias_and_variance_by_hand():
    # n = 4 days of weight 1/2, 1/2^(29/30), ...; here all of one weight, by counting from the same day
    errors = np.array([2.0, 2.0, 4.0, 0.0])
    pairs = days_of(errors)
    pairs = replace(pairs, valid=np.full(4, pairs.valid[0]) + np.arange(4).astype("timedelta64[h]"))
    fit = learn([pairs], np.datetime64("2026-07-02")).fits["air_temperature"][1]
    # four hours of one day are one day: n = 2^(-1/30)
    n = 0.5 ** (1 / 30)
    assert fit.days == 1 and fit.weight == pytest.approx(n)
    bias = n * 2.0 / (n + 10)
    assert fit.bias == pytest.approx(bias)
    stated = float(stated_error("air_temperature", 30.0))
    squares = n * np.mean((errors - bias) ** 2) / stated**2
    assert fit.factor == pytest.approx((squares + 20) / (n + 20) * (1 + 1 / (n + 10)))
    assert not fit.usable


def test_days_count_half_after_thirty():
    fit = learn([days_of([1.0], first="2026-07-31")], UNTIL).fits["air_temperature"][1]
    assert fit.weight == pytest.approx(0.5)


def test_many_days_of_the_same_bias_are_believed_and_few_are_not():
    many = learn([days_of(np.full(60, 2.0))], UNTIL).fits["air_temperature"][1]
    few = learn([days_of(np.full(3, 2.0), first="2026-08-25")], UNTIL).fits["air_temperature"][1]
    assert 1.4 < many.bias < 2.0 and many.usable
    assert 0.0 < few.bias < 0.6 and not few.usable


def test_a_site_that_errs_as_stated_keeps_the_stated_spread():
    random = np.random.default_rng(3)
    errors = random.standard_normal(400) * stated_error("air_temperature", 30.0)
    fit = learn([days_of(errors, first="2025-07-25")], UNTIL).fits["air_temperature"][1]
    assert fit.factor == pytest.approx(1.0, abs=0.15)
    wide = learn([days_of(3.0 * errors, first="2025-07-25")], UNTIL).fits["air_temperature"][1]
    assert 4.0 < wide.factor < 9.0  # on the way to 9, held back by the prior


def test_nothing_is_learned_from_what_was_not_yet_measured():
    pairs = days_of(np.full(60, 2.0))
    early = learn([pairs], np.datetime64("2026-07-11"))
    assert early.fits["air_temperature"][1].days == 10
    # an hour that is over at midnight counts, one that is not does not
    edge = make_pairs("precipitation", 24.0, np.ones((1, 5)), [1.0], ["2026-07-10T12"], period=12)
    assert learn([edge], np.datetime64("2026-07-11")).fits["precipitation"][0].days == 1
    edge = make_pairs("precipitation", 24.0, np.ones((1, 5)), [1.0], ["2026-07-10T13"], period=12)
    assert learn([edge], np.datetime64("2026-07-11")).fits["precipitation"][0].days == 0


def test_unknown_observations_teach_nothing():
    pairs = days_of(np.full(60, 2.0))
    holes = replace(pairs, observed=np.where(np.arange(60) % 2 == 0, np.nan, pairs.observed))
    fit = learn([holes], UNTIL).fits["air_temperature"][1]
    assert fit.days == 30 and np.isfinite([fit.bias, fit.factor]).all()
    nothing = learn([replace(pairs, observed=np.full(60, np.nan))], UNTIL).fits["air_temperature"][1]
    assert nothing == Fit(0, 0.0)


@pytest.mark.parametrize(
    "lead, band", [(0, 0), (24, 0), (24.1, 1), (48, 1), (72, 2), (120, 3), (168, 4), (400, 5)]
)
def test_lead_bands_hold_their_upper_edge(lead, band):
    assert band_of(lead) == band
    assert len(BAND_EDGES) == 6


def test_what_was_learned_survives_as_json():
    learned = learn([days_of(np.full(60, 2.0)), rain_pairs(0.4)], UNTIL, site="41.6000,-93.6000")
    again = Learned.from_json(learned.to_json())
    assert again == learned
    assert again.until == date(2026, 8, 30)


@pytest.mark.parametrize("text", ["", "{}", "[1]", '{"format": 99}', "null"])
def test_damaged_json_is_refused(text):
    with pytest.raises(StoreError):
        Learned.from_json(text)


# rain -----------------------------------------------------------------------------------------------------------


def rain_pairs(happens: float, share: float = 0.5, days: int = 200, amount: float = 1.0):
    """A source that gives `share` of wet members every day where it rains on `happens` of the days."""
    random = np.random.default_rng(4)
    members = np.where(np.arange(20) < round(20 * share), amount, 0.0) * np.ones((days, 1))
    observed = np.where(random.random(days) < happens, 2.0, 0.0)
    valid = (UNTIL - np.arange(days, 0, -1)).astype("datetime64[h]")
    return make_pairs("precipitation", 30.0, members, observed, valid, period=12)


def test_a_source_that_promises_too_much_rain_is_corrected():
    pairs = rain_pairs(0.2, share=0.8)
    fit = learn([pairs], UNTIL).fits["precipitation"][1]
    assert float(chance_of_rain(pairs.members[0], np.array(fit.rain))) == pytest.approx(0.25, abs=0.08)


def test_without_days_the_share_of_members_stands():
    pairs = rain_pairs(0.2, share=0.8)
    fit = learn([pairs.rows(np.zeros(len(pairs), dtype=bool))], UNTIL).fits["precipitation"][1]
    assert float(chance_of_rain(pairs.members[0], np.array(fit.rain))) == pytest.approx(16.5 / 21)


def test_logistic_is_finite_everywhere():
    assert logistic(np.array([-1e9, 0.0, 1e9])) == pytest.approx([0.0, 0.5, 1.0])


# correcting -----------------------------------------------------------------------------------------------------


def learned_with(**fits) -> Learned:
    return Learned(
        "test", date(2026, 9, 21), {name: tuple([fit] * len(BAND_EDGES)) for name, fit in fits.items()}
    )


def test_members_are_moved_widened_and_keep_their_ranks():
    own = ensemble(members=20)
    learned = learned_with(air_temperature=Fit(40, 25.0, bias=-2.0, factor=1.5))
    made = apply_learned(own, NOW, learned)
    lead = lead_hours(own, NOW)
    before, after = own.values("air_temperature")[0][:, 36:], made.values("air_temperature")[0][:, 36:]
    np.testing.assert_allclose(after.mean(axis=0), before.mean(axis=0) - 2.0, atol=1e-9)
    # the standard deviation of Student's t with n + 20 degrees of freedom
    expected = stated_error("air_temperature", lead)[36:] * np.sqrt(1.5 * 45.0 / 43.0)
    np.testing.assert_allclose(after.std(axis=0), expected, rtol=1e-9)
    np.testing.assert_array_equal(np.argsort(after, axis=0), np.argsort(before, axis=0))
    np.testing.assert_array_equal(
        made.values("air_temperature")[..., :36], own.values("air_temperature")[..., :36]
    )


def test_says_from_how_many_days_and_what_is_not_learned():
    made = apply_learned(
        plain(), NOW, learned_with(air_temperature=Fit(40, 25.0), wind_speed_10m=Fit(23, 15.0))
    )
    assert made.provenance.spread == "learned from 23 days"
    assert any("not learned yet" in note and "dew point" in note for note in made.provenance.notes)


def test_too_few_days_change_nothing_and_it_is_still_an_assumed_spread():
    few = learned_with(air_temperature=Fit(9, 9.0, bias=5.0))
    made, assumed = apply_learned(plain(), NOW, few), with_assumed_members(plain(), NOW)
    assert made.provenance == assumed.provenance
    np.testing.assert_array_equal(made.values("air_temperature"), assumed.values("air_temperature"))
    assert apply_learned(plain(), NOW, None).provenance == assumed.provenance


def test_wind_is_corrected_in_square_roots_and_takes_its_gusts_along():
    learned = learned_with(wind_speed_10m=Fit(40, 25.0, bias=-0.3, factor=1.0))
    before, after = with_assumed_members(plain(), NOW), apply_learned(plain(), NOW, learned)
    wind = after.values("wind_speed_10m")[..., 40:]
    assert (wind >= 0.0).all() and wind.mean() < before.values("wind_speed_10m")[..., 40:].mean()
    both = np.maximum(wind[..., :-1], wind[..., 1:])
    assert (after.values("wind_gust")[..., 40:-1] >= both - 1e-12).all()
    size = float(root_wind_error(54.0)) * (45 / 43) ** 0.5
    roots = np.sqrt(after.values("wind_speed_10m")[0, :, 84])
    assert roots.std() == pytest.approx(size, rel=0.02)


def test_dew_point_stays_below_the_air():
    made = apply_learned(plain(), NOW, learned_with(air_temperature=Fit(40, 25.0, bias=-6.0)))
    assert (made.values("dew_point")[..., 36:] <= made.values("air_temperature")[..., 36:]).all()


def test_humidity_of_an_ensemble_follows_its_corrected_temperature():
    own = ensemble(relative_humidity=field(np.full((10, HOURS), 70.0)))
    made = apply_learned(own, NOW, learned_with(air_temperature=Fit(40, 25.0, bias=1.0)))
    assert "relative_humidity" not in made.fields and "dew_point" in made.fields


def test_members_that_all_agree_are_spread_by_noise():
    same = ensemble(air_temperature=field(np.full((10, HOURS), 12.0)))
    made = apply_learned(same, NOW, learned_with(air_temperature=Fit(40, 25.0)))
    spread = made.values("air_temperature")[0][:, 36:].std(axis=0)
    expected = stated_error("air_temperature", lead_hours(same, NOW))[36:] * np.sqrt(45.0 / 43.0)
    np.testing.assert_allclose(spread, expected, rtol=1e-6)


def test_unknown_stays_unknown_and_lost_members_stay_lost():
    holes = ensemble().values("air_temperature")[0].copy()
    holes[:, 60] = np.nan
    holes[4] = np.nan
    own = ensemble(air_temperature=field(holes))
    made = apply_learned(own, NOW, learned_with(air_temperature=Fit(40, 25.0, bias=1.0)))
    np.testing.assert_array_equal(
        np.isnan(made.values("air_temperature")), np.isnan(own.values("air_temperature"))
    )


@pytest.mark.parametrize("happens, share", [(0.2, 0.8), (0.8, 0.2), (0.02, 0.0)])
def test_as_many_members_are_wet_as_the_learned_chance_says(happens, share):
    pairs = rain_pairs(happens, share)
    learned = learn_from([pairs], UNTIL)
    wet = np.where((np.arange(20) < round(20 * share))[:, None], 1.0 / 12, 0.0) * np.ones(HOURS)
    own = ensemble(members=20, precipitation=field(wet))
    made = apply_learned(own, NOW, learned)
    # hours 60 to 71 are a period that ends 42 h after the issue: 12 to 24 UTC of 22 September
    block = made.values("precipitation")[0][:, 60:72].sum(axis=-1)
    expected = chance_of_rain(
        own.values("precipitation")[0][:, 60:72].sum(axis=-1), np.array(learned.fits["precipitation"][1].rain)
    )
    assert (block > 0.25).mean() == pytest.approx(float(expected), abs=0.51 / 20)
    before = own.values("precipitation")[0][:, 60:72].sum(axis=-1)
    # who was wetter is not drier now
    wetter = before[:, None] > before[None, :] + 1e-9
    assert (block[:, None] >= block[None, :] - 1e-9)[wetter].all()
    # bands without days, and hours that are over, are left alone
    np.testing.assert_array_equal(
        made.values("precipitation")[..., :36], own.values("precipitation")[..., :36]
    )
    np.testing.assert_array_equal(
        made.values("precipitation")[..., 96:], own.values("precipitation")[..., 96:]
    )


def test_added_rain_falls_where_the_others_have_theirs_and_counts_as_measurable():
    pairs = rain_pairs(0.9, 0.2)
    learned = learn_from([pairs], UNTIL)
    rain = np.zeros((20, HOURS))
    rain[:4, 64] = 1.0
    made = apply_learned(ensemble(members=20, precipitation=field(rain)), NOW, learned)
    hours = made.values("precipitation")[0][:, 60:72]
    assert (hours > 0).any(axis=-1).sum() > 8
    assert (np.flatnonzero((hours > 0).any(axis=0)) == [4]).all()
    assert hours[hours > 0].min() >= 0.254 * (1 - 1e-9)


def test_what_is_laid_around_a_forecast_leaves_its_corrected_members_as_they_are():
    learned = learn_from([rain_pairs(0.9, 0.2)], UNTIL)
    learned = replace(
        learned, fits={**learned.fits, "air_temperature": (Fit(40, 25.0, bias=1.0),) * len(BAND_EDGES)}
    )
    rain = np.zeros((20, HOURS))
    rain[:4, 64] = 1.0
    own = ensemble(members=20, precipitation=field(rain), air_temperature=field(np.full((20, HOURS), 15.0)))
    own = replace(own, provenance=replace(own.provenance, own_axis=(own.start, own.hours)))
    around = on_axis(own, own.start - np.timedelta64(41, "h"), own.hours + 41 + 30)
    around = replace(around, nominal_members=np.full(around.hours, 20))
    alone, within = apply_learned(own, NOW, learned), apply_learned(around, NOW, learned)
    assert not np.array_equal(alone.values("precipitation"), own.values("precipitation"))
    for name in ("precipitation", "air_temperature"):
        np.testing.assert_array_equal(alone.values(name), within.values(name)[..., 41:-30], name)


# pairs ----------------------------------------------------------------------------------------------------------


def test_impossible_observations_and_elevations_become_unknown():
    pairs = make_pairs(
        "air_temperature", 48.0, np.full((4, 8), 1.0), [2.0, 46.7, 80.0, -3.0],
        ["2004-01-28T00"] * 4, elevation=[100.0, 2021.0, 0.0, -99999.0],
    )  # fmt: skip
    controlled, flags = control_pairs(pairs)
    np.testing.assert_array_equal(np.isnan(controlled.observed), [False, True, True, False])
    np.testing.assert_array_equal(np.isnan(controlled.elevation), [False, False, False, True])
    assert [flag.check for flag in flags] == ["bounds", "elevation", "disagrees"]


def test_a_real_surprise_is_kept():
    # the largest errors of the Pacific Northwest pairs that many stations share are 17 K
    pairs = make_pairs("air_temperature", 48.0, np.full((1, 8), 1.4), [-15.6], ["2004-01-05T00"])
    assert not np.isnan(control_pairs(pairs)[0].observed).any()


def test_pairs_of_a_forecast_and_measurements():
    measured = plain(air_temperature=field(np.arange(HOURS, dtype=float) / 10))
    own = ensemble()
    lead = lead_hours(own, NOW)
    pairs = pairs_of(own, measured, "air_temperature", lead)
    assert len(pairs) == HOURS - 31 and pairs.members.shape[1] == 10
    np.testing.assert_allclose(pairs.observed, np.arange(31, HOURS) / 10)
    assert (pairs.issued == np.datetime64("2026-09-21T06")).all()
    rain = pairs_of(own, plain(precipitation=field(np.full(HOURS, 0.1))), "precipitation", lead)
    assert rain.period == LEARNED_VARIABLES["precipitation"] == 12
    np.testing.assert_allclose(rain.observed, 1.2)
    assert (rain.valid.astype(int) % 12 == 0).all()
    assert (rain.issued == np.datetime64("2026-09-21T06")).all()
    assert len(joined([pairs, pairs])) == 2 * len(pairs)
