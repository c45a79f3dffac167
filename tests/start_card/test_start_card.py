"""The start card: readings on the spot through the real rules; never a go without every answer. Our own behaviour."""

from __future__ import annotations

import tempfile
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.conditions import Conditions, SiteTable
from advisor.drift.deposit import deposit_at_neighbour
from advisor.forecast import empty_forecast
from advisor.household import load
from advisor.outlook import make_outlook
from advisor.quality import control
from advisor.rule_files import load_rules
from advisor.sources import read_answer
from advisor.start_card import BEAUFORT, ConditionsOnTheSpot, Readings, judge_start
from tests.cli_programme.lawn import write

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
#: Friday 16:00 in Chicago, an hour that the outlook opens on both areas
NOW = datetime(2026, 9, 25, 21, 0, tzinfo=UTC)
with tempfile.TemporaryDirectory() as _folder:
    HOME = load(write(Path(_folder)))
    BODY = (Path(_folder) / "weather.json").read_bytes()
RULES = list(load_rules())
RAW = read_answer(BODY, fetched_at=NOW, latitude=HOME.site.latitude, longitude=HOME.site.longitude)
FORECAST = control(RAW, NOW)
OUTLOOK = make_outlook(HOME, FORECAST, RULES, HOME.history, NOW)
TASKS = {scored.task.area.id: scored.task for scored in OUTLOOK.tasks}
HOUR = FORECAST.index(np.datetime64("2026-09-25T21", "h"))

GOOD = Readings(
    taken_at=NOW - timedelta(minutes=5), wind_speed=2.2, wind_from=126.0, air_temperature=18.5, smoke="drifts",
    leaves_dry=True, people_away=True, windows_closed=True, sprayer_clean=True,
)  # fmt: skip


def card(area="front", now=NOW, forecast=FORECAST, records=HOME.history, task=None, **changes):
    changes.setdefault("taken_at", now - timedelta(minutes=5))
    return judge_start(task or TASKS[area], replace(GOOD, **changes), forecast, RULES, records, now)


def rules_saying(found, verdict: str) -> set[str]:
    return {reason.rule for reason in found.scored.reasons() if reason.verdict == verdict}


def test_good_readings_in_a_good_hour_are_a_go():
    found = card()
    assert found.verdict == "go", [(one.name, one.holds) for one in found.checks] + [
        (r.rule, r.text) for r in found.scored.reasons() if r.verdict != "go"
    ]
    assert found.scored.chance[0] >= 0.8


@pytest.mark.parametrize("name", ["wind_speed", "wind_from", "air_temperature", "leaves_dry", "people_away",
                                  "windows_closed", "sprayer_clean"])  # fmt: skip
def test_no_answer_is_no_go_whatever_is_missing(name):
    assert card(**{name: None}).verdict == "unknown"


@pytest.mark.parametrize("name", ["leaves_dry", "people_away", "windows_closed", "sprayer_clean"])
def test_a_no_on_the_spot_is_a_no(name):
    found = card(**{name: False})
    assert found.verdict == "no-go"
    assert [check.says for check in found.checks if check.holds is False]


@pytest.mark.parametrize(
    ("minutes", "verdict"), [(0, "go"), (15, "go"), (15.5, "unknown"), (120, "unknown"), (-5, "unknown")]
)
def test_readings_hold_for_a_quarter_of_an_hour(minutes, verdict):
    assert card(taken_at=NOW - timedelta(minutes=minutes)).verdict == verdict


#: readings -> the rule that they break, with limits of the label and the shipped rules
BREAKING = {
    "wind above the label": ({"wind_speed": 4.6}, "wind-strong"),
    "wind just above ten miles an hour": ({"wind_speed": 10.1 * 0.44704}, "wind-strong"),
    "a gust": ({"wind_gust": 6.0}, "gusts"),
    "still air with hanging smoke": ({"wind_speed": 0.8, "smoke": "hangs"}, "wind-calm"),
    "hardly a breath": ({"wind_speed": 0.3, "smoke": "drifts"}, "wind-calm"),
    "smoke that hangs in a wind": ({"smoke": "hangs"}, "inversion"),
    "heat": ({"air_temperature": 31.0}, "air-hot"),
    "cold": ({"air_temperature": 7.0}, "air-cold"),
    "wet leaves": ({"leaves_dry": False}, "leaves-wet"),
    "dry air": ({"air_temperature": 28.0, "relative_humidity": 12.0}, "evaporation"),
    "another product in the tank": ({"sprayer_clean": False}, "sprayer-clean"),
}


@pytest.mark.parametrize("case", BREAKING)
def test_readings_go_through_the_real_rules(case):
    changes, rule = BREAKING[case]
    found = card(**changes)
    assert rule in rules_saying(found, "no-go") and found.verdict == "no-go"


def test_wind_onto_the_vegetable_bed_closes_the_back_lawn_alone():
    # the bed lies 12 ft to the east
    west = {"wind_from": 270.0}
    assert card("front", **west).verdict == "go"
    found = card("back", **west)
    assert "drift-deposit-sensitive" in rules_saying(found, "no-go") and found.verdict == "no-go"
    assert card("back", wind_from=90.0).verdict == "go"


def test_a_light_wind_goes_only_with_smoke_that_moves():
    # 2 mph under a heating sun: without the smoke nobody knows, with it the air mixes
    light = 2.0 * 0.44704
    assert card(wind_speed=light, smoke=None).verdict == "unknown"
    assert "wind-calm" in rules_saying(card(wind_speed=light, smoke=None), "unknown")
    assert "wind-calm" not in rules_saying(card(wind_speed=light, smoke="drifts"), "no-go")
    assert card(wind_speed=light, smoke="hangs").verdict == "no-go"


@pytest.mark.parametrize(
    ("force", "rule"), [(0, "wind-calm"), (1, "wind-calm"), (4, "wind-strong"), (5, "wind-strong")]
)
def test_a_wind_that_is_only_seen_counts_at_the_end_that_is_worse(force, rule):
    found = card(wind_speed=None, beaufort=force)
    assert rule in rules_saying(found, "no-go")


def test_beaufort_three_is_a_breeze():
    assert card(wind_speed=None, beaufort=3).verdict == "go"
    low, high, _ = BEAUFORT[3]
    wind = Readings(NOW, beaufort=3).wind_range
    # FAO-56 eq. 47 from 10 m
    assert wind == pytest.approx((low * 0.748, high * 0.748), rel=1e-3)


def test_an_anemometer_at_another_height_is_brought_to_two_metres():
    # FAO-56 eq. 47
    at_3m = Readings(NOW, wind_speed=3.0, wind_height=3.0).wind_range[0]
    assert at_3m == pytest.approx(3.0 * 4.87 / np.log(67.8 * 3 - 5.42)) and at_3m < 3.0
    assert Readings(NOW, wind_speed=3.0, wind_height=0.2).wind_range is None


# -- the readings stand at the hour of the start, and nowhere else

SERIES = ["air_temperature", "relative_humidity", "dew_point", "wind_speed_10m", "wind_speed_2m", "mixing_wind",
          "wind_from_direction", "wind_gust_2m", "delta_t", "leaf_wet", "inversion_sign"]  # fmt: skip


@settings(max_examples=25, deadline=None)
@given(
    wind=st.floats(0.0, 12.0), warm=st.floats(-5.0, 40.0), humid=st.none() | st.floats(10.0, 100.0),
    hour=st.integers(2, 100), dry=st.booleans(),
)  # fmt: skip
def test_only_the_hour_of_the_start_is_replaced(wind, warm, humid, hour, dry):
    readings = replace(
        GOOD, wind_speed=wind, air_temperature=warm, relative_humidity=humid, leaves_dry=dry, wind_gust=13.0
    )
    before = Conditions(FORECAST, SiteTable.of(HOME.site))
    after = ConditionsOnTheSpot(FORECAST, SiteTable.of(HOME.site), readings=readings, hour=hour)
    for name in SERIES:
        one, other = getattr(before, name), getattr(after, name)
        rest = np.arange(one.shape[-1]) != hour
        # a gust is of an hour that the wind at its end belongs to as well
        np.testing.assert_array_equal(one[..., rest], other[..., rest], err_msg=name)
    assert after.wind_speed_2m[0, 0, hour] == pytest.approx(wind, abs=1e-9)
    lowest = after.mixing_wind[0, 0, hour]
    assert lowest == wind or (0.447 <= wind < 1.3412 and lowest == pytest.approx(3 * 0.44704))
    assert after.air_temperature[0, 0, hour] == warm and after.leaf_wet[0, 0, hour] == float(not dry)
    # what is derived from a reading follows it
    if humid is not None:
        assert after.dew_point[0, 0, hour] <= warm + 1e-6
    assert not np.array_equal(before.delta_t[..., hour], after.delta_t[..., hour])


def test_the_forecasts_own_values_as_readings_give_the_outlooks_verdict():
    conditions = OUTLOOK.explainer.area.conditions
    here = HOUR - conditions.forecast.index(FORECAST.axis[0])
    values = {
        "wind_speed": float(conditions.wind_speed_2m[0, 0, here]),
        "wind_from": float(conditions.wind_from_direction[0, 0, here]),
        "air_temperature": float(conditions.air_temperature[0, 0, here]),
        "relative_humidity": float(conditions.relative_humidity[0, 0, here]),
        "wind_gust": float(conditions.wind_gust_2m[0, 0, here]),
    }
    for at, area in enumerate(("front", "back")):
        found = card(area, **values)
        expected = {one.rule: one.verdict for one in OUTLOOK.explainer.reasons(at, here)}
        assert expected.pop("availability") == "go"
        assert {one.rule: one.verdict for one in found.scored.reasons()} == expected
        assert found.scored.chance[0] == pytest.approx(float(OUTLOOK.verdicts.everything.lower[at, here]))


def test_a_lighter_wind_makes_no_stronger_gust():
    plain = Conditions(FORECAST, SiteTable.of(HOME.site)).wind_gust_2m
    calm = ConditionsOnTheSpot(
        FORECAST, SiteTable.of(HOME.site), readings=replace(GOOD, wind_speed=0.5), hour=HOUR
    )
    np.testing.assert_array_equal(plain, calm.wind_gust_2m)


def test_a_late_start_in_the_hour_runs_into_what_closes_after_it():
    # the evening closes at 18:00 (inversion); 36 min of work from 17:10 end before it, from 17:40 they do not
    assert "inversion" in rules_saying(card("back", now=NOW + timedelta(minutes=100)), "no-go")
    early = card("back", now=NOW + timedelta(minutes=5))
    assert early.verdict == "go"
    late = card("back", now=NOW + timedelta(minutes=50))
    # 16:50 and 36 minutes reach into the hour that closes at 18:00
    assert "inversion" in rules_saying(late, "no-go") and late.verdict == "no-go"


def test_the_time_that_is_gone_of_the_hour_is_not_counted_one_and_a_half_times():
    spare = {minutes: card(now=NOW + timedelta(minutes=minutes)).scored for minutes in (0, 30)}
    left = [float(one.explainer.area.spare_time[0, 0, one.hour]) for one in spare.values()]
    assert left[0] - left[1] == pytest.approx(0.5)


# -- fail closed


def test_without_a_usable_forecast_it_is_unknown():
    seen_today = replace(TASKS["front"].area, soil_seen=NOW.date())
    task = replace(TASKS["front"], area=seen_today)
    assert card(forecast=empty_forecast(NOW, "nobody answered"), task=task).verdict == "unknown"
    stale = control(RAW, NOW + timedelta(hours=24))
    late = NOW + timedelta(hours=24)
    assert (
        judge_start(TASKS["front"], replace(GOOD, taken_at=late), stale, RULES, HOME.history, late).verdict
        == "unknown"
    )
    off_axis = NOW + timedelta(days=60)
    found = judge_start(
        TASKS["front"], replace(GOOD, taken_at=off_axis), FORECAST, RULES, HOME.history, off_axis
    )
    assert found.verdict == "unknown" and found.notes and found.scored is None


@pytest.mark.parametrize(
    "name", ["wind_speed", "air_temperature", "wind_from", "relative_humidity", "wind_gust"]
)
def test_a_reading_that_is_no_number_is_never_a_go(name):
    assert card("back", **{name: np.nan}).verdict != "go"


@pytest.mark.parametrize("name", ["precipitation", "wind_speed_10m", "air_temperature", "relative_humidity"])
def test_weather_to_come_that_is_missing_is_never_a_go(name):
    field = FORECAST.fields[name]
    values = np.array(field.values)
    values[..., HOUR:] = np.nan
    hurt = FORECAST.with_fields({name: replace(field, values=values, reason=np.full_like(field.reason, 2))})
    assert card(forecast=hurt).verdict != "go"


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_any_set_of_readings_with_a_gap_or_a_no_is_never_a_go(data):
    changes = {}
    for one in fields(Readings):
        if one.name in ("leaves_dry", "people_away", "windows_closed", "sprayer_clean"):
            changes[one.name] = data.draw(st.sampled_from([True, False, None]))
    found = card(**changes)
    if set(changes.values()) != {True}:
        assert found.verdict != "go"
    else:
        assert found.verdict == "go"


# -- stop conditions


def test_the_limits_in_force_are_the_stop_conditions():
    found = card("back")
    values = {stop.rule: stop.value for stop in found.stops if stop.value is not None}
    assert values["wind-strong"] == pytest.approx(10 * 0.44704)  # the label's 10 mph
    assert values["wind-calm"] == pytest.approx(3 * 0.44704)
    assert values["air-hot"] == pytest.approx((85 - 32) / 1.8)
    told = " ".join(stop.text for stop in found.stops)
    for word in ("first drops", "people", "dew", "vegetable bed"):
        assert word in told
    assert found.closes_at == datetime(2026, 9, 25, 23, 0, tzinfo=UTC) and found.closes == "Inversion"


def test_the_wind_may_turn_wherever_no_stop_names_it():
    """Against the deposit itself: every direction that lands more than the limit lies in a stop's arc."""
    import re

    found = card("back")
    arcs = [tuple(map(float, re.findall(r"\((\d+)° to (\d+)°\)", stop.text)[0])) for stop in found.stops
            if stop.rule == "drift-deposit"]  # fmt: skip
    assert len(arcs) == 1
    first, last = arcs[0]
    bed = TASKS["back"].area.neighbours[0]
    for direction in np.arange(0.0, 360.0, 5.0):
        lands = deposit_at_neighbour(bed.distance, bed.bearing, direction, 3.0, bed.arc)
        inside = (direction - first) % 360.0 <= (last - first) % 360.0
        assert (lands > 0.1) == inside, direction


def test_soil_products_ask_for_no_dry_leaf():
    southern = load(FIXTURES / "southern-lawn")
    now = datetime(2026, 9, 23, 2, 0, tzinfo=UTC)
    body = (FIXTURES / "weather" / "southern-metno.json").read_bytes()
    forecast = control(read_answer(body), datetime(2026, 9, 21, 21, tzinfo=UTC))
    task = make_outlook(southern, forecast, RULES, (), now).tasks[0].task
    found = judge_start(task, replace(GOOD, taken_at=now, leaves_dry=None), forecast, RULES, (), now)
    assert "leaves" not in {check.name for check in found.checks}
    assert not any("dew" in stop.text for stop in found.stops)


def test_calm_air_needs_no_direction_but_is_no_go():
    found = card(wind_speed=0.1, wind_from=None)
    assert next(one for one in found.checks if one.name == "wind-from").holds is True
    assert found.verdict == "no-go"


def test_a_record_takes_the_readings_over():
    values = replace(GOOD, wind_gust=4.0, relative_humidity=50.0).for_record()
    assert values == {"wind_speed_2m": pytest.approx(2.2), "wind_from_direction": 126.0, "wind_gust": 4.0,
                      "air_temperature": 18.5, "relative_humidity": 50.0}  # fmt: skip
    assert Readings(NOW).for_record() == {}


@pytest.mark.parametrize(("until", "verdict"), [(None, "unknown"), (2027, "go"), (2025, "no-go")])
def test_for_hire_nobody_starts_without_a_licence_in_date(until, verdict):
    from datetime import date

    from advisor.model import Licence

    licence = None if until is None else Licence("A. Mower", "L-1", date(until, 1, 1))
    task = replace(TASKS["front"], household=replace(HOME, for_hire=True, licence=licence))
    assert card(task=task).verdict == verdict


def test_a_restricted_product_wants_a_certified_applicator():
    from advisor.model import Licence

    task = replace(TASKS["front"], label=replace(TASKS["front"].label, restricted_use=True))
    assert card(task=task).verdict == "unknown"
    named = replace(HOME, licence=Licence("A. Mower", "L-1", None, "C-1"))
    assert card(task=replace(task, household=named)).verdict == "go"


def test_who_stands_on_the_lawn_has_the_time():
    # 14:30 lies between the hours that the file gives
    found = card(now=NOW - timedelta(minutes=90))
    assert found.verdict == "go" and any("outside the hours" in note for note in found.notes)
    assert card().notes == ()
