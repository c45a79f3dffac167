"""What must be true of every rule, forecast and verdict, whatever the weather; on forecasts of our own invention."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from strategies import (
    FAIR,
    HOURS,
    NOW,
    RULES,
    changed,
    field,
    forecast,
    gaps,
    household,
    label,
    outlook,
    score,
    weathers,
)

from advisor import units
from advisor.model import LABEL_QUANTITIES, Neighbour
from advisor.rule_files import load_rules
from advisor.rulebook.evaluate import AreaConditions, evaluate_rule
from advisor.rulebook.examples import _conditions, _table
from advisor.rulebook.parse import EXAMPLE_SPAN
from advisor.rulebook.quantities import QUANTITIES
from advisor.rulebook.schema import Example, Setting
from advisor.rulebook.spans import Series
from advisor.verdict import GO, NO_GO, UNKNOWN

EPS = 1e-9
SHIPPED = load_rules().rules
slow = settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
#: a bed upwind of the fair weather's wind, so near that any wind toward it is too much
BED = Neighbour("bed", "edible", distance=4.0, bearing=200.0, arc=40.0)
HOME = household(neighbours=(BED,))


def test_the_fair_weather_is_a_go_so_that_the_properties_mean_something():
    assert GO in score(HOME, forecast()).codes


# each rule on its own quantity ----------------------------------------------------------------------------------


def outcome_of(rule, values: np.ndarray):
    """What a rule makes of a series of its own quantity, (1, member, hour), all through the evaluator."""
    settings = [
        one for one in (rule.at_least, rule.at_most, rule.measure.length) if one is not None and one.label
    ]
    example = Example("", (), "go", label={one.label: _number(one) for one in settings})
    quantity = QUANTITIES[rule.measure.quantity]
    given = Series(values[None] if quantity.scope == "neighbour" else values, quantity.instant)
    area = AreaConditions(_conditions(*EXAMPLE_SPAN), _table(rule, example))
    return evaluate_rule(rule, area, given).outcome


def _number(setting: Setting) -> float:
    """The default, or something for the label to say where only the label can."""
    if setting.default is not None:
        return setting.default
    return {"time": 24.0, "count": 2.0}.get(LABEL_QUANTITIES[setting.label], 3.0)


@pytest.mark.parametrize("rule", SHIPPED.values(), ids=SHIPPED.keys())
def test_harsher_never_helps_a_rule(rule):
    chance = np.random.default_rng(len(rule.id))
    shape = (1, 6, EXAMPLE_SPAN[1] - EXAMPLE_SPAN[0])
    limit = _number(rule.at_most or rule.at_least)
    width = max(abs(limit), 1.0)
    # round the limit, in a way that some members keep it throughout and some do not
    centre = limit + np.linspace(-1.0, 1.0, shape[1])[None, :, None] * width
    values = centre + chance.uniform(-0.5, 0.5, shape) * width
    if rule.measure.take == "sum":
        values = np.abs(values) / 24.0
    values[:, ::2][chance.random((1, 3, shape[2])) < 0.02] = np.nan
    harsher = chance.uniform(0.0, 0.5, shape) * width * (chance.random(shape) < 0.5)
    if rule.at_most is None:
        harsher = -harsher
    after = values + harsher
    if rule.measure.take == "sum":
        after = np.maximum(after, 0.0)
    mild, harsh = outcome_of(rule, values), outcome_of(rule, after)
    assert not (harsh.holds & ~mild.holds).any()
    assert not (mild.fails & ~harsh.fails).any()
    assert mild.fails.any(), "the test weather reaches beyond the limit"
    assert mild.holds.any() or rule.measure.take == "sum", "and stays inside it somewhere"


@pytest.mark.parametrize(
    ("variable", "step", "rules"),
    [
        ("precipitation", 0.4, ["rainfast", "rain-during", "runoff", "runoff-two-days", "leaves-wet"]),
        ("wind_speed_10m", 0.7, ["wind-strong"]),
        ("wind_gust", 1.0, ["gusts"]),
        ("air_temperature", 2.0, ["air-hot"]),
        ("air_temperature", -2.0, ["air-cold", "nights", "frost"]),
        ("precipitation_probability", 9.0, ["rain-chance"]),
    ],
)
@slow
@given(st.data())
def test_harsher_weather_never_helps_the_rule_that_guards_against_it(variable, step, rules, data):
    weather = data.draw(weathers(members=3))
    chance = np.random.default_rng(data.draw(st.integers(0, 999)))
    shape = weather.fields[variable].values.shape
    more = np.abs(step) * chance.random(shape) * (chance.random(shape) < 0.5) * np.sign(step)
    after = score(HOME, changed(weather, {variable: weather.fields[variable].values + more}))
    before = score(HOME, weather)
    for rule in rules:
        assert (after.chance(rule) <= before.chance(rule) + EPS).all(), rule


# limits ---------------------------------------------------------------------------------------------------------


@slow
@given(weathers(members=4), st.sampled_from([rule.id for rule in RULES]), st.floats(0.0, 1.0))
def test_a_stricter_limit_never_raises_a_chance(weather, rule_id, share):
    rule = SHIPPED[rule_id]
    side = "at_most" if rule.at_most is not None else "at_least"
    setting = getattr(rule, side)
    assume(setting.default is not None)
    step = -share * 3.0 if side == "at_most" else share * 3.0
    cap = None if setting.cap is None else setting.cap + step
    strict = replace(rule, **{side: Setting(setting.default + step, setting.label, cap)})
    rules = [strict if one.id == rule_id else one for one in RULES]
    before, after = score(HOME, weather), score(HOME, weather, rules=rules)
    if any(finding.rule.id == rule_id for finding in before.findings):
        assert (after.chance(rule_id) <= before.chance(rule_id) + EPS).all()
    assert (after.verdicts.everything.lower <= before.verdicts.everything.lower + EPS).all()
    assert not ((after.codes == GO) & (before.codes != GO)).any()


#: label field, the way in which it is stricter
STRICTER = {
    "wind_max": -1.0, "gust_max": -1.0, "temperature_max": -1.0, "delta_t_max": -1.0, "wind_min": 1.0,
    "temperature_min": 1.0, "night_temperature_min": 1.0, "rainfast_time": 1.0, "dry_before": 1.0,
    "minimum_interval": 1.0, "maximum_per_year": -0.1, "maximum_per_application": -0.1,
}  # fmt: skip


@slow
@given(weathers(members=4), st.sampled_from(sorted(STRICTER)), st.floats(0.0, 3.0))
def test_a_stricter_label_never_makes_a_go(weather, name, more):
    base = {
        "wind_max": 4.4, "gust_max": 6.0, "temperature_max": 31.0, "delta_t_max": 9.0, "wind_min": 1.2,
        "temperature_min": 11.0, "night_temperature_min": 5.0, "rainfast_time": 3.0, "dry_before": 1.0,
    }.get(name, label().limits.get(name))  # fmt: skip
    before = score(household(stated=label(**{name: base})), weather)
    after = score(household(stated=label(**{name: max(base + STRICTER[name] * more, 0.0)})), weather)
    assert not ((after.codes == GO) & (before.codes != GO)).any()


def test_a_label_loosens_only_to_the_cap_and_only_by_a_stated_number():
    """8 mph and a cap of 10 mph: a label of 15 mph makes 9.5 mph a go and 10.5 mph none; a silent label neither."""
    at_2m = 4.87 / np.log(67.8 * 10 - 5.42)  # FAO-56 eq. 47
    for mph, stated, expected in (
        (9.5, 15.0, GO),
        (10.5, 15.0, NO_GO),
        (9.5, None, NO_GO),
        (7.5, 7.0, NO_GO),
    ):
        speed = mph * 0.44704 / at_2m
        limits = {"gust_max": 50 * 0.44704} | ({} if stated is None else {"wind_max": stated * 0.44704})
        home = household(stated=label(**limits))
        rules = [rule for rule in RULES if rule.id in ("wind-strong", "rainfast")]
        found = score(home, forecast({"wind_speed_10m": speed}), rules=rules)
        assert found.codes[10] == expected, (mph, stated)


@pytest.mark.parametrize(
    ("name", "spellings"),
    [
        ("wind_max", ["8 mph", "3.57632 m/s", "12.874752 km/h", "6.951838 kn"]),
        ("rainfast_time", ["6 h", "360 min", "0.25 day"]),
        ("temperature_max", ["30 degC", "86 degF"]),
        ("night_temperature_min", ["50 degF", "10 degC"]),
        ("delta_t_max", ["9 degC", "16.2 degF"]),
        ("minimum_interval", ["2 weeks", "14 days", "336 h"]),
        ("maximum_per_year", ["3 floz/1000 ft^2", "3.0 floz/kft2", "0.95497 mL/m^2", "9.5497 L/ha"]),
    ],
)
def test_units_never_change_a_verdict(name, spellings):
    """Also not on the limit itself: the first weather of each pair lies exactly on it."""
    weather = forecast(
        {
            "wind_speed_10m": np.linspace(2.0, 8.0, HOURS),
            "air_temperature": np.where(np.arange(HOURS) % 24 < 12, 10.0, 30.0),
        }
    )
    found = [
        score(household(stated=label(**{name: units.parse(text, LABEL_QUANTITIES[name])})), weather)
        for text in spellings
    ]
    for other in found[1:]:
        assert (other.codes == found[0].codes).all()
        for one, two in zip(found[0].findings, other.findings, strict=True):
            assert (one.outcome.holds == two.outcome.holds).all(), one.rule.id


def test_the_units_shown_never_change_a_verdict():
    weather = forecast({"wind_speed_10m": np.linspace(1.0, 8.0, HOURS)})
    us, metric = (outlook(household(units=system), weather).tasks[0].days for system in ("us", "metric"))
    for one, other in zip(us, metric, strict=True):
        assert (one.verdict, one.windows, one.chance) == (other.verdict, other.windows, other.chance)
        assert [reason.value for reason in one.reasons] == [reason.value for reason in other.reasons]


# members --------------------------------------------------------------------------------------------------------


@slow
@given(weathers(members=5), st.permutations(range(5)))
def test_the_order_of_members_changes_nothing(weather, order):
    shuffled = changed(weather, {name: one.values[:, order] for name, one in weather.fields.items()})
    before, after = score(HOME, weather), score(HOME, shuffled)
    assert (before.codes == after.codes).all()
    np.testing.assert_array_equal(before.verdicts.everything.lower, after.verdicts.everything.lower)
    for one, other in zip(before.verdicts.rules, after.verdicts.rules, strict=True):
        np.testing.assert_array_equal(one.lower, other.lower)


#: where something unknown is taken as the worst: a wet soil, a thirsty day, a wind toward the neighbour
PESSIMISTIC = ("runoff-curve", "moisture-stress", "drift-deposit", "drift-deposit-sensitive")


@slow
@given(weathers(members=5), st.integers(0, 4), st.integers(0, 60), st.integers(1, 72))
def test_losing_a_member_never_raises_a_chance(weather, member, first, length):
    """Its values are gone and the number that is promised stays."""
    values = {}
    for name, one in weather.fields.items():
        array = one.values.copy()
        array[:, member, first : first + length] = np.nan
        values[name] = array
    before, after = score(HOME, weather), score(HOME, changed(weather, values))
    pairs = [*zip(before.verdicts.rules, after.verdicts.rules, strict=True)]
    pairs.append((before.verdicts.everything, after.verdicts.everything))
    pairs.append((before.verdicts.safety_and_label, after.verdicts.safety_and_label))
    for one, other in pairs:
        assert (other.lower <= one.lower + EPS).all()
    for at, finding in enumerate(before.findings):
        if finding.rule.id not in PESSIMISTIC:
            assert (after.verdicts.rules[at].upper >= before.verdicts.rules[at].upper - EPS).all(), (
                finding.rule.id
            )
    assert not ((after.codes == GO) & (before.codes != GO)).any()


@slow
@given(weathers(members=4), st.integers(1, 30))
def test_members_that_were_promised_and_never_came_make_no_go(weather, more):
    promised = replace(weather, nominal_members=weather.nominal_members + more)
    before, after = score(HOME, weather), score(HOME, promised)
    assert (after.verdicts.everything.lower <= before.verdicts.everything.lower + EPS).all()
    assert not ((after.codes == GO) & (before.codes != GO)).any()


# missing data ---------------------------------------------------------------------------------------------------


@settings(slow, max_examples=60)
@given(st.data())
def test_removing_data_never_makes_a_go(data):
    weather = data.draw(weathers(members=data.draw(st.sampled_from([1, 3])), wildness=(0.0, 0.5)))
    less = data.draw(gaps(weather))
    before, after = score(HOME, weather), score(HOME, less)
    assert not ((after.codes == GO) & (before.codes != GO)).any()
    assert (after.verdicts.everything.lower <= before.verdicts.everything.lower + EPS).all()
    for one, other in zip(before.verdicts.rules, after.verdicts.rules, strict=True):
        assert (other.lower <= one.lower + EPS).all()


@pytest.mark.parametrize("variable", sorted(FAIR))
def test_a_variable_that_is_carried_and_empty_leaves_no_go(variable):
    found = score(HOME, forecast({variable: np.nan}))
    if variable == "wind_from_direction":
        # an unknown direction counts as toward every neighbour, and the bed lies too near for that
        assert (found.codes != GO).all()
        assert GO in score(household(), forecast({variable: np.nan})).codes
    elif variable == "dew_point":
        assert (found.codes != GO).all()
    elif variable == "cloud_cover":
        # by day no cloud makes the air stable, and the wind is strong enough under any
        assert (found.codes == score(HOME, forecast()).codes).all()
    else:
        assert (found.codes != GO).all()
        assert UNKNOWN in found.codes


@pytest.mark.parametrize("variable", sorted(FAIR))
def test_a_variable_that_is_not_carried(variable):
    """A source may do without gusts, chances of rain, cloud and one of the two humidities: all that say so."""
    found = score(HOME, forecast({variable: None}))
    can_do_without = (
        "wind_gust",
        "precipitation_probability",
        "cloud_cover",
        "dew_point",
        "relative_humidity",
    )
    assert (GO in found.codes) == (variable in can_do_without), variable
    estimated = {finding.rule.id for finding in found.findings if finding.estimated.any()}
    assert estimated == {"wind_gust": {"gusts"}, "precipitation_probability": {"rain-chance"}}.get(
        variable, set()
    )


def test_a_gap_in_what_is_carried_is_never_filled_from_an_estimate():
    """60 % of rain at one hour is a no; the same hour empty must not become a yes."""
    for variable, bad, rule in (
        ("precipitation_probability", 60.0, "rain-chance"),
        ("wind_gust", 15.0, "gusts"),
    ):
        values = np.full(HOURS, FAIR[variable])
        values[20] = bad
        stated = score(HOME, forecast({variable: values}))
        values = values.copy()
        values[20] = np.nan
        gap = score(HOME, forecast({variable: values}))
        assert stated.chance(rule)[20] == 0.0 and gap.chance(rule)[20] == 0.0
        assert (gap.codes[20] != GO) and not np.isclose(gap.chance(rule)[30], 0.0)


def test_all_missing_is_all_unknown():
    found = score(HOME, forecast(dict.fromkeys(FAIR)))
    # the clock alone closes the night and the hours around it
    by_day = (found.chance("daylight") == 1.0) & (
        found.verdicts.rules[_index(found, "inversion")].upper[0] == 1.0
    )
    assert by_day.any() and (found.codes[by_day] == UNKNOWN).all()
    assert (found.codes != GO).all()


def _index(found, rule: str) -> int:
    return next(at for at, finding in enumerate(found.findings) if finding.rule.id == rule)


# what stands in the way -----------------------------------------------------------------------------------------


def relaxed(rule, by: float):
    side = "at_most" if rule.at_most is not None else "at_least"
    setting = getattr(rule, side)
    new = setting.default + by if side == "at_most" else setting.default - by
    return replace(rule, **{side: Setting(new, setting.label, None)})


@settings(slow, max_examples=25)
@given(st.data())
def test_a_sole_blocker_opens_the_day_when_relaxed_by_the_stated_amount_and_not_by_less(data):
    members = data.draw(st.sampled_from([1, 1, 6]))
    weather = data.draw(weathers(members=members, wildness=(0.0, 0.25)))
    found = outlook(HOME, weather)
    tried = 0
    for day in found.tasks[0].days:
        for blocker in day.blocked.sole:
            if blocker.change is None or blocker.change < 1e-3 or tried > 3:
                continue
            tried += 1
            assert day.verdict != "go"
            enough, less = (
                outlook(HOME, weather, rules=[relaxed(r, by) if r.id == blocker.rule else r for r in RULES])
                for by in (blocker.change + 1e-6, blocker.change * 0.98 - 1e-5)
            )
            at = weather.index(blocker.start)
            assert enough.verdicts.verdict[0, at] == GO, blocker
            again = next(one for one in less.tasks[0].days if one.day == day.day)
            assert again.verdict != "go", blocker


def test_the_properties_meet_sole_blockers_at_all():
    """So that the property above is not empty: a cold night alone, by 1.5 K, and 0.4 m/s too much wind at 2 m."""
    night = np.full(HOURS, 20.0)
    night[0:2] = 20.0
    cold = 40 * 5 / 9 - 160 / 9 - 1.5
    night[24:28] = cold
    found = outlook(
        household(), forecast({"air_temperature": night, "dew_point": -5.0, "relative_humidity": 30.0})
    )
    blockers = {b.rule: b for day in found.tasks[0].days for b in day.blocked.sole}
    assert blockers["nights"].change == pytest.approx(1.5, abs=1e-6)
    assert "2.7 °F more" in blockers["nights"].text
    wind = 8 * 0.44704 + 0.4
    found = outlook(household(), forecast({"wind_speed_10m": wind * np.log(67.8 * 10 - 5.42) / 4.87}))
    blockers = {b.rule: b for day in found.tasks[0].days for b in day.blocked.sole}
    assert blockers["wind-strong"].change == pytest.approx(0.4, abs=1e-6)
    assert "0.9 mph less" in blockers["wind-strong"].text


# precision ------------------------------------------------------------------------------------------------------


@slow
@given(weathers(members=3))
def test_single_precision_gives_the_same_verdicts_away_from_the_limits(weather):
    short = changed(weather, {name: one.values.astype(np.float32) for name, one in weather.fields.items()})
    assert field(weather.fields["air_temperature"].values.astype(np.float32)).values.dtype == np.float32
    exact, rounded = score(HOME, weather), score(HOME, short)
    near = np.zeros(weather.hours, dtype=bool)
    for finding in exact.findings:
        margin = finding.margin()
        near |= (np.abs(margin) < 1e-3).any(axis=(0, 1)) & (
            QUANTITIES[finding.rule.measure.quantity].dimension != "truth"
        )
    wet = [one for one in exact.findings if one.rule.measure.take == "sum"]
    for finding in wet:
        near &= ~(finding.value == 0.0).all(axis=(0, 1)) | near
    agree = exact.codes == rounded.codes
    assert agree[~near].all()
    assert agree.mean() > 0.9


def test_now_is_inside_the_invented_forecast():
    assert 0 <= forecast().index(np.datetime64(NOW.replace(tzinfo=None), "h")) < HOURS
