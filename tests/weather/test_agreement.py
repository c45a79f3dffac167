"""The cross-check: what counts as a contradiction, and what it makes unknown. Our own rule, no outside source."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from spread.forecasts import NOW, START, at, blocks, day_and_night, ensemble, field, plain

from advisor.agreement import BEYOND, RAIN_MM, compare, cross_checked
from advisor.forecast import Reason
from advisor.spread.stated import root_wind_error, stated_error
from advisor.variables import MEASURABLE_RAIN_MM

NEXT_NOON = "2026-09-22T18"
NO_BLOCKS = {"block_first": None, "block_last": None}


def other(**fields):
    made = plain(**fields)
    return replace(made, provenance=replace(made.provenance, source="second", attribution="Second"))


def disagreements(checked) -> list:
    return [flag for flag in checked.flags if flag.check == "sources-disagree"]


def changed(name: str, values: np.ndarray, hours: slice, to) -> dict:
    values = np.array(values, dtype=float)
    values[hours] = to(values[hours])
    return {name: field(values)}


def test_sources_that_agree_change_nothing_but_the_note():
    checked = cross_checked(plain(), other(), NOW)
    for name, one in plain().fields.items():
        assert np.array_equal(checked.fields[name].values, one.values, equal_nan=True)
    assert not disagreements(checked)
    assert "no contradiction" in checked.provenance.notes[-1]
    assert checked.provenance.attribution == "Second"


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(("factor", "known"), [(0.98, True), (1.02, False)])
def test_temperature_contradicts_from_twice_the_assumed_spread_of_the_difference(factor, known, sign):
    hour = at(plain(), NEXT_NOON)
    lead = hour - at(plain(), "2026-09-21T06")  # both were issued at 06
    step = sign * factor * BEYOND * np.sqrt(2.0) * stated_error("air_temperature", lead)
    shifted = changed("air_temperature", day_and_night(15.0, 6.0), slice(hour, hour + 1), lambda t: t + step)
    checked = cross_checked(plain(), other(**shifted), NOW)
    assert bool(checked.fields["air_temperature"].known[0, 0, hour]) is known
    assert checked.reason("air_temperature")[0, 0, hour] == (Reason.KNOWN if known else Reason.DISAGREEMENT)
    assert checked.fields["air_temperature"].known[0, 0, hour + 1]


@pytest.mark.parametrize(("factor", "known"), [(0.98, True), (1.02, False)])
def test_wind_is_compared_in_square_roots(factor, known):
    hour = at(plain(), NEXT_NOON)
    step = factor * BEYOND * np.sqrt(2.0) * root_wind_error(36.0)
    wind = plain().values("wind_speed_10m")[0, 0]
    shifted = changed("wind_speed_10m", wind, slice(hour, hour + 1), lambda v: (np.sqrt(v) + step) ** 2)
    checked = cross_checked(plain(), other(**shifted), NOW)
    assert bool(checked.fields["wind_speed_10m"].known[0, 0, hour]) is known


def test_directions_are_compared_round_the_circle_and_more_leniently_in_light_wind():
    hours = plain().hours
    turned = {"wind_from_direction": field(np.full(hours, 20.0))}  # 30 degrees from 350, through north
    assert not compare(plain(), other(**turned), NOW)["wind_from_direction"].contradict.any()
    turned = {"wind_from_direction": field(np.full(hours, 90.0))}  # 100 degrees
    brisk = {"wind_speed_10m": field(np.full(hours, 5.0))}
    soon = slice(at(plain(), "2026-09-21T12"), at(plain(), "2026-09-22T00"))
    found = compare(plain(**brisk), other(**brisk, **turned), NOW)["wind_from_direction"]
    assert found.contradict[0, soon].all()
    light = {"wind_speed_10m": field(np.full(hours, 1.5))}
    assert not compare(plain(**light), other(**light, **turned), NOW)["wind_from_direction"].contradict[0, soon].any()


def test_a_dew_point_that_contradicts_takes_the_humidity_with_it():
    lower = {"dew_point": field(np.full(plain().hours, -4.0))}
    checked = cross_checked(plain(), other(**lower), NOW)
    hour = at(plain(), NEXT_NOON)
    for name in ("dew_point", "relative_humidity"):
        assert checked.reason(name)[0, 0, hour] == Reason.DISAGREEMENT
    assert checked.fields["air_temperature"].known[0, 0, hour]


def test_the_dew_point_of_a_source_that_gives_humidity_is_compared():
    dry = other(dew_point=None, relative_humidity=field(np.full(plain().hours, 10.0)))
    assert compare(plain(), dry, NOW)["dew_point"].contradict[0, at(plain(), NEXT_NOON)]


@pytest.mark.parametrize(
    ("name", "ours"), [("wind_gust", 12.0), ("relative_humidity", 60.0), ("cloud_cover", 30.0)]
)
@pytest.mark.parametrize(("factor", "known"), [(0.98, True), (1.02, False)])
def test_gusts_humidity_and_cloud_are_compared_as_the_temperature_is(name, ours, factor, known):
    hour = at(plain(), NEXT_NOON)
    lead = hour - at(plain(), "2026-09-21T06")
    step = factor * BEYOND * np.sqrt(2.0) * stated_error(name, lead)
    here = {name: field(np.full(plain().hours, ours))}
    there = changed(name, here[name].values[0, 0], slice(hour, hour + 1), lambda v: v - step)
    checked = cross_checked(plain(**here), other(**there), NOW)
    assert bool(checked.fields[name].known[0, 0, hour]) is known
    assert checked.fields[name].known[0, 0, hour + 1]


def test_chances_of_rain_are_not_compared():
    hours = plain().hours
    one, two = ({"precipitation_probability": field(np.full(hours, chance))} for chance in (90.0, 5.0))
    assert not disagreements(cross_checked(plain(**one), other(**two), NOW))


def rain_at(text: str, amount: float) -> dict:
    values = np.zeros(plain().hours)
    values[at(plain(), text)] = amount
    return {"precipitation": field(values)}


@pytest.mark.parametrize("swapped", [False, True])
def test_rain_of_one_and_none_of_the_other_makes_six_hours_unknown(swapped):
    wet = rain_at("2026-09-22T20", RAIN_MM)
    pair = (plain(), other(**wet)) if not swapped else (plain(**wet), other())
    checked = cross_checked(*pair, NOW)
    unknown = np.flatnonzero(checked.reason("precipitation")[0, 0] == Reason.DISAGREEMENT)
    assert list(unknown) == [at(plain(), "2026-09-22T18") + hour for hour in range(6)]


@pytest.mark.parametrize(
    "seconds",
    [
        rain_at("2026-09-23T01", MEASURABLE_RAIN_MM),  # within three hours after the six
        rain_at("2026-09-22T15", MEASURABLE_RAIN_MM),  # and before them
        {"precipitation": field(np.full(200, np.nan))},  # it does not say
    ],
)
def test_rain_a_little_earlier_or_later_is_no_contradiction(seconds):
    checked = cross_checked(plain(**rain_at("2026-09-22T20", 8.0)), other(**seconds), NOW)
    assert checked.fields["precipitation"].known.all()


def test_less_rain_than_a_tenth_of_an_inch_is_no_contradiction():
    checked = cross_checked(plain(**rain_at("2026-09-22T20", RAIN_MM - 0.1)), other(), NOW)
    assert checked.fields["precipitation"].known.all()


def test_rain_in_six_hour_blocks_is_compared_by_its_block():
    amounts = np.zeros(200)
    amounts[at(plain(), "2026-09-22T18") :][:6] = 0.5  # 3 mm in six hours
    blocked = {"precipitation": field(amounts, *blocks(200, 6))}
    checked = cross_checked(plain(), other(**blocked), NOW)
    assert (checked.reason("precipitation")[0, 0] == Reason.DISAGREEMENT).sum() == 6


def test_hours_that_are_over_are_not_compared():
    cold = {"air_temperature": field(day_and_night(-20.0, 6.0))}
    checked = cross_checked(plain(), other(**cold), NOW)
    known = checked.fields["air_temperature"].known[0, 0]
    now = at(plain(), "2026-09-21T12")
    assert known[:now].all() and not known[now:].any()


def test_hours_of_which_one_source_is_silent_stay_as_they_are():
    values = day_and_night(-20.0, 6.0)
    values[at(plain(), "2026-09-22T00") :] = np.nan
    checked = cross_checked(plain(), other(air_temperature=field(values)), NOW)
    assert checked.fields["air_temperature"].known[0, 0, at(plain(), NEXT_NOON)]


def test_a_silent_second_source_is_told_and_changes_nothing():
    nothing = dict.fromkeys(plain().fields)
    checked = cross_checked(plain(), other(**nothing), NOW)
    assert checked.fields.keys() == plain().fields.keys()
    assert "not cross-checked" in checked.provenance.notes[-1]


def test_all_members_lose_the_hour_and_the_mean_is_what_is_compared():
    members = ensemble()
    cold = other(air_temperature=field(day_and_night(-5.0, 6.0)))
    checked = cross_checked(members, cold, NOW)
    hour = at(plain(), NEXT_NOON)
    assert np.isnan(checked.values("air_temperature")[0, :, hour]).all()
    assert cross_checked(members, other(), NOW).fields["air_temperature"].known.all()


def test_a_wide_ensemble_is_contradicted_by_less():
    """What the members hold possible is no contradiction."""
    random = np.random.default_rng(1)
    wide = ensemble(30, air_temperature=field(day_and_night(15.0, 6.0) + 6.0 * random.standard_normal((30, 200))))
    away = other(air_temperature=field(day_and_night(21.5, 6.0)))
    hour = slice(at(plain(), "2026-09-21T12"), at(plain(), "2026-09-22T12"))
    assert compare(plain(), away, NOW)["air_temperature"].contradict[0, hour].all()
    assert compare(wide, away, NOW)["air_temperature"].contradict[0, hour].mean() < 0.2


def test_axes_need_not_be_the_same():
    later = other()
    shift = 30
    fields = {
        name: replace(one, values=one.values[..., shift:], reason=one.reason[..., shift:], **NO_BLOCKS)
        for name, one in later.fields.items()
    }
    later = replace(later, start=START + np.timedelta64(shift, "h"), hours=200 - shift, fields=fields,
                    nominal_members=later.nominal_members[shift:])  # fmt: skip
    found = compare(plain(), later, NOW)
    assert all(one.compared.shape == (1, 200) and not one.contradict.any() for one in found.values())
    assert found["air_temperature"].compared[0, 40] and not found["air_temperature"].compared[0, 20]


def test_it_never_makes_anything_known():
    """For any two forecasts what is known afterwards was known before."""
    random = np.random.default_rng(3)
    for _ in range(20):
        holes = {
            name: field(np.where(random.random(200) < 0.2, np.nan, 10.0 * random.random(200)))
            for name in ("air_temperature", "dew_point", "wind_speed_10m", "precipitation", "wind_from_direction")
        }
        before, second = plain(**holes), other(
            **{name: field(20.0 * random.random(200)) for name in holes}
        )  # fmt: skip
        after = cross_checked(before, second, NOW)
        for name, one in after.fields.items():
            assert (before.fields[name].known | ~one.known).all(), name
            same = one.known
            assert np.array_equal(one.values[same], before.fields[name].values[same])
