"""Days gathered from starts, and the words for them."""

from dataclasses import replace
from datetime import UTC, date, datetime, time

import numpy as np
import pytest
from strategies import HOURS, NOW, RULES, START, forecast, household, label, outlook, score

from advisor.forecast import REASON_TEXT, Reason, empty_forecast, extended
from advisor.messages.outlook_json import outlook_object
from advisor.messages.outlook_text import outlook_text, why_text
from advisor.model import Neighbour, Record
from advisor.quality import control
from advisor.rulebook.schema import Setting
from advisor.verdict import GO, NO_GO, UNKNOWN

WIND = [rule for rule in RULES if rule.id in ("wind-strong", "availability")]


def day(found, text: str):
    return next(one for one in found.tasks[0].days if one.day == date.fromisoformat(text))


def reason(found, text: str, rule: str):
    return next(one for one in day(found, text).reasons if one.rule == rule)


# the day --------------------------------------------------------------------------------------------------------


def test_a_day_is_go_if_any_start_is_no_go_if_all_are_and_unknown_otherwise():
    wind = np.full(HOURS, 2.5)
    wind[24:48] = 9.0  # all of the 16th is too windy, but for three hours
    wind[36:39] = 2.5
    wind[48:72] = 9.0
    wind[58:64] = np.nan
    found = outlook(household(), forecast({"wind_speed_10m": wind, "wind_gust": np.maximum(wind, 3.0)}))
    assert [day(found, f"2026-06-{d}").verdict for d in (15, 16, 17)] == ["go", "go", "unknown"]
    allowed = day(found, "2026-06-16").candidates
    codes = [found.verdicts.verdict[0, found.forecast.index(start)] for start in allowed]
    assert codes.count(GO) == 2, "the third hour ends in the wind"
    no = outlook(household(), forecast({"wind_speed_10m": 9.0, "wind_gust": 9.0}))
    *whole, last = no.tasks[0].days
    assert {one.verdict for one in whole} == {"no-go"} and last.verdict == "unknown", (
        "its last hours have no data"
    )


def test_starts_lie_in_the_future_and_inside_the_hours():
    home = household(hours=dict.fromkeys(range(7), ((time(8), time(12)),)))
    found = outlook(home, forecast(), now=datetime(2026, 6, 15, 14, 20, tzinfo=UTC))
    starts = [str(start)[11:] for start in day(found, "2026-06-15").candidates]
    assert starts == ["15"], "09:00 has begun, 10:00 fits, 11:00 leaves too little"
    tomorrow = [str(start)[11:] for start in day(found, "2026-06-16").candidates]
    assert tomorrow == ["13", "14", "15"]


def test_a_day_without_hours_is_a_no_for_that_reason_alone():
    found = outlook(household(hours=dict.fromkeys(range(7), ())), forecast())
    first = found.tasks[0].days[0]
    assert first.verdict == "no-go" and not first.candidates
    assert first.blocked.always == ("availability",)
    assert "no start fits your hours" in outlook_text(found)


def test_hours_of_the_last_day_that_lie_after_the_data_are_unknown():
    """The data end at 13:00 on the clock, the hours begin at 15:00: nothing is known, which is no no."""
    hours = 24 * 3 + 12
    home = household(hours=dict.fromkeys(range(7), ((time(15), time(18)),)))
    found = outlook(home, forecast(hours=hours))
    last = found.tasks[0].days[-1]
    assert last.day == date(2026, 6, 18) and last.verdict == "unknown" and last.candidates
    assert REASON_TEXT[Reason.AFTER_END] in " ".join(one.text for one in last.reasons)
    longer = extended(forecast(hours=hours), 100)
    assert longer.hours == 100 and np.isnan(longer.values("air_temperature")[0, 0, hours:]).all()
    assert len(longer.nominal_members) == 100 and longer.axis[-1] == START + np.timedelta64(99, "h")


def test_a_day_that_the_data_do_not_reach_says_when_they_should():
    """The data end on Wednesday at 13:00 on the clock. Of heavy rain within a day Monday's starts are known on Monday:
    a forecast of Wednesday that reaches as far should tell of Wednesday's."""
    home = household(hours=dict.fromkeys(range(7), ((time(15), time(18)),)))
    found = outlook(home, forecast(hours=24 * 2 + 12), rules=[r for r in RULES if r.id == "runoff"])
    last = day(found, "2026-06-17")
    assert last.verdict == "unknown" and day(found, "2026-06-15").verdict == "go"
    assert "from about Wed 17 Jun on" in " ".join(why_text(found, found.tasks[0], last).split())
    assert "later forecast" not in why_text(found, found.tasks[0], day(found, "2026-06-15"))
    days = {one["date"]: one["known_from"] for one in outlook_object(found)["treatments"][0]["days"]}
    assert days["2026-06-15"] is None and days["2026-06-17"] == "2026-06-17"


def test_the_best_start_is_the_likeliest_and_the_window_its_run():
    members = 10
    wind = np.full((members, HOURS), 2.5)
    wind[0, 28:34] = 9.0  # one member of ten: 0.9 is below the floor of safety rules
    wind[0, 8:10] = 9.0
    found = outlook(
        household(), forecast({"wind_speed_10m": wind, "wind_gust": np.maximum(wind, 3.0)}, members=members)
    )
    first = day(found, "2026-06-15")
    assert first.verdict == "go" and first.chance == 1.0
    assert first.windows[0][0] <= first.best_start <= first.window_end
    for begin, end in first.windows:
        for start in np.arange(begin, end + np.timedelta64(1, "h")):
            assert found.verdicts.verdict[0, found.forecast.index(start)] == GO


def test_the_chance_of_a_day_is_that_of_its_best_start_and_not_of_the_union():
    """Each half of the members keeps another half of the day dry: no start is likelier than one half."""
    rain = np.zeros((2, HOURS))
    rain[0, 5:20] = 2.0
    rain[1, 20:30] = 2.0
    found = outlook(
        household(),
        forecast({"precipitation": rain}, members=2),
        rules=[r for r in RULES if r.id == "rain-during"],
    )
    assert day(found, "2026-06-15").chance == 0.5


def test_too_early_shows_its_chance():
    """One of two members has rain in the day after, four days ahead: known, not enough, and too early to say no."""
    rain = np.zeros((2, 24 * 8))
    rain[0, 24 * 4 :] = 3.0
    found = outlook(household(), forecast({"precipitation": rain}, members=2, hours=24 * 8))
    third = day(found, "2026-06-19")
    assert third.verdict == "unknown" and third.too_early and third.chance == 0.5
    assert "too early" in outlook_text(found)


def test_records_of_the_future_and_of_other_areas_do_not_count():
    late = Record(
        "lawn",
        "weeds",
        "Invented Foliar",
        ("exemplic acid",),
        datetime(2026, 6, 20, tzinfo=UTC),
        None,
        120.0,
        300.0,
    )
    found = outlook(household(), forecast(), records=[late])
    assert found.tasks[0].task.pass_number == 1


def test_what_is_known_only_in_part_is_no_sole_blocker():
    """Too much wind at the beginning of an hour whose end is not known: with less wind the answer would be unknown."""
    home = household(hours=dict.fromkeys(range(7), ((time(11), time(13)),)))
    for end, sole in ((2.5, {"wind-strong"}), (np.nan, set())):
        wind = np.full(HOURS, 2.5)
        wind[10], wind[11] = 5.2, end
        found = outlook(home, forecast({"wind_speed_10m": wind, "wind_gust": 5.3}), rules=WIND)
        first = day(found, "2026-06-15")
        assert first.verdict == "no-go" and first.blocked.always == ("wind-strong",)
        assert {blocker.rule for blocker in first.blocked.sole} == sole


def test_the_needed_change_also_meets_safety_and_label_rules_jointly():
    """Ten members; two have rain at work, which is allowed. Of the rain after it, 1 mm too much falls in those two,
    2 mm in six others and 5 mm in two: eight hold after 2 mm less, but with a dry work only after 5 mm less."""
    home = household(hours=dict.fromkeys(range(7), ((time(11), time(13)),)))
    rain = np.zeros((10, HOURS))
    rain[:2, 10] = 1.0
    limit = next(rule for rule in RULES if rule.id == "runoff").at_most.default
    rain[:, 20] = limit + np.array([1, 1, 2, 2, 2, 2, 2, 2, 5, 5], dtype=float)
    rules = [rule for rule in RULES if rule.id in ("rain-during", "runoff", "availability")]
    found = outlook(home, forecast({"precipitation": rain}, members=10), rules=rules)
    (blocker,) = day(found, "2026-06-15").blocked.sole
    assert blocker.rule == "runoff" and blocker.change == pytest.approx(5.0)


def test_a_span_that_only_the_label_could_give_is_unknown_without_it():
    """Hot days after 24 h, and a rule that looks as far as the label's field says, which is blank."""
    hot = next(rule for rule in RULES if rule.id == "air-hot")
    open_ended = replace(hot, measure=replace(hot.measure, length=Setting(None, "weeks_to_effect")))
    warm = np.where(np.arange(HOURS) < 40, 20.0, 40.0)
    weather = forecast({"air_temperature": warm})
    for stated, verdict in (
        ({"weeks_to_effect": 6.0}, GO),
        ({"weeks_to_effect": 48.0}, NO_GO),
        ({}, UNKNOWN),
    ):
        found = score(household(stated=label(**stated)), weather, rules=[open_ended])
        assert found.codes[10] == verdict, stated
    told = outlook(household(), weather, rules=[open_ended])
    assert '"weeks_to_effect"' in reason(told, "2026-06-15", "air-hot").text


# the words ------------------------------------------------------------------------------------------------------


def test_a_no_says_rule_hour_value_limit_source_and_change():
    """10 mph at 2 m for two hours from 16 UTC on, against the default of 8 mph."""
    wind = np.full(HOURS, 2.5)
    wind[10:13] = 10 * 0.44704 * np.log(67.8 * 10 - 5.42) / 4.87
    home = household(hours=dict.fromkeys(range(7), ((time(11), time(13)),)))
    found = outlook(home, forecast({"wind_speed_10m": wind, "wind_gust": np.maximum(wind, 4.0)}))
    told = reason(found, "2026-06-15", "wind-strong")
    assert told.verdict == "no-go" and told.kind == "safety"
    assert "10.0 mph" in told.text and "8.0 mph" in told.text and "2.0 mph over" in told.text
    assert "Mon 15 Jun 11:00" in told.text
    assert told.value == pytest.approx(4.4704) and told.limit == pytest.approx(3.57632)
    assert told.headroom == pytest.approx(-0.89408)
    assert "pesticidestewardship.org" in told.source


def test_a_limit_of_the_label_says_so():
    found = outlook(household(stated=label(wind_max=3.0, temperature_min=25.0)), forecast())
    assert reason(found, "2026-06-15", "wind-strong").source.startswith("label: wind_max")
    cold = reason(found, "2026-06-15", "air-cold")
    assert cold.kind == "label" and cold.verdict == "no-go", "an effect rule becomes one of the label"


def test_a_blank_label_field_blocks_by_name():
    found = outlook(household(stated=label(rainfast_time=None)), forecast())
    assert {one.verdict for one in found.tasks[0].days} <= {"unknown", "no-go"}
    told = reason(found, "2026-06-15", "rainfast")
    assert (
        told.verdict == "unknown"
        and '"rainfast_time"' in told.text
        and "how long it needs to stay dry" in told.text
    )
    assert '"rainfast_time"' in reason(found, "2026-06-15", "label-complete").text


def test_what_is_missing_is_named_with_hour_and_reason():
    gust = np.full(HOURS, 4.0)
    gust[10:] = np.nan
    found = outlook(household(), forecast({"wind_gust": gust}))
    told = reason(found, "2026-06-16", "gusts")
    assert told.verdict == "unknown" and told.missing == "gust at 10 m"
    assert "gust at 10 m from" in told.text and REASON_TEXT[Reason.NULL] in told.text


def test_a_stale_forecast_says_so_once():
    old = control(forecast(), datetime(2026, 6, 16, 12, tzinfo=UTC))
    found = outlook(household(), old, now=datetime(2026, 6, 16, 12, tzinfo=UTC))
    assert {one.verdict for one in found.tasks[0].days} == {"unknown"}
    text = outlook_text(found)
    assert (
        text.count("the forecast is stale: it is 24 h old")
        + text.count("The forecast is stale: it is 24 h old")
        == 1
    )


def test_no_forecast_at_all_says_why():
    found = outlook(household(), empty_forecast(NOW, "no weather source has answered yet"))
    assert {one.verdict for one in found.tasks[0].days} == {"unknown"}
    assert "o weather source has answered yet" in outlook_text(found)
    assert outlook_object(found)["weather"]["source"] == "none"


def test_members_that_are_missing_are_counted_in_the_reason():
    gust = np.full((10, HOURS), 4.0)
    gust[3:, 8:] = np.nan
    found = outlook(household(), forecast({"wind_gust": gust}, members=10))
    told = reason(found, "2026-06-16", "gusts")
    assert told.verdict == "unknown" and "only 3 of 10 members have gust at 10 m" in told.text


def test_an_estimate_says_so():
    found = outlook(household(), forecast({"wind_gust": None}))
    told = reason(found, "2026-06-15", "gusts")
    assert told.verdict == "go" and told.estimated and "estimated" in told.text


def test_when_too_many_members_break_a_limit_that_the_median_keeps_the_sentence_is_about_them():
    """Nights of 39 to 47 degF over ten members, with the default limit of 40 degF for effect rules at 0.60."""
    nights = np.full((10, HOURS), 20.0)
    fahrenheit = np.array([35, 36, 37, 38, 39, 41, 42, 43, 44, 45])
    nights[:, 22:30] = ((fahrenheit - 32) * 5 / 9)[:, None]
    found = outlook(
        household(),
        forecast({"air_temperature": nights, "dew_point": -3.0, "relative_humidity": 30.0}, members=10),
    )
    told = reason(found, "2026-06-15", "nights")
    assert told.verdict == "no-go" and told.chance == 0.5
    assert told.value == pytest.approx(((39 + 41) / 2 - 32) * 5 / 9), "the median is on the limit"
    assert told.headroom == pytest.approx(-1 * 5 / 9), "the sixth of ten is 1 degF short"
    assert (
        "39 °F" in told.text
        and "1.0 °F below the limit of 40 °F" in told.text
        and "Half of the members" in told.text
    )


def test_headroom_and_tightest_rule():
    """Least headroom over max(ensemble spread, assumed spread); dates, yes or no and sums have none."""
    found = outlook(household(), forecast())
    told = day(found, "2026-06-15").reasons
    by_rule = {one.rule: one for one in told}
    for rule in (
        "inversion",
        "interval",
        "latest-date",
        "turf",
        "passes",
        "rainfast",
        "runoff",
        "season-total",
    ):
        if rule in by_rule:
            assert by_rule[rule].headroom is None, rule
    ranked = [one.standing for one in told]
    assert ranked == sorted(ranked)
    calm = by_rule["wind-calm"]
    assert day(found, "2026-06-15").tightest == calm == told[0]
    assert calm.standing == pytest.approx(calm.headroom / 1.05), (
        "assumed spread of the wind at 2 m one day ahead"
    )


def test_a_rule_without_headroom_ranks_by_its_chance():
    """Rain at work in one member of ten: 0.90 against a floor of 0.80 is tighter than any wind of 4 spreads."""
    rain = np.zeros((10, HOURS))
    rain[0, :] = 0.15
    rules = [rule for rule in RULES if rule.id in ("rain-during", "air-hot", "interval")]
    found = outlook(
        household(), forecast({"precipitation": rain, "air_temperature": 15.0}, members=10), rules=rules
    )
    first = day(found, "2026-06-15")
    assert first.verdict == "go" and first.tightest.rule == "rain-during"
    assert np.isfinite(first.tightest.standing)


def test_texts_read_well():
    """No braces, no "None", no double blanks, whole sentences; for a go, a no and an unknown of each rule."""
    bed = Neighbour("rose bed", "planting", 1.5, 20.0)
    bad = {
        "air_temperature": 2.0, "dew_point": 2.0, "relative_humidity": 100.0, "wind_speed_10m": 9.0, "wind_gust": 14.0,
        "precipitation": 2.0, "precipitation_probability": 80.0,
    }  # fmt: skip
    record = Record(
        "lawn",
        "weeds",
        "Invented Foliar",
        ("exemplic acid",),
        datetime(2026, 6, 10, tzinfo=UTC),
        None,
        120.0,
        300.0,
    )
    seen = set()
    cases = {
        "us": ({}, bad, dict.fromkeys(bad, np.nan)),
        "metric": (dict.fromkeys(bad), {"air_temperature": 33.0, "wind_speed_10m": 0.1}),
    }
    for units, values in ((units, values) for units, all_values in cases.items() for values in all_values):
        home = household(neighbours=(bed,), units=units, treatment={"latest": date(2026, 6, 14)})
        found = outlook(home, forecast(values), records=[record])
        for one in found.tasks[0].days:
            for told in one.reasons:
                seen.add((told.rule, told.verdict))
                assert not told.text[0].islower() and told.text.endswith((".", "?", ")", "!")), told.text
                for wrong in (
                    "{",
                    "}",
                    "None",
                    "nan ",
                    " inf",
                    "  ",
                    "unknown below",
                    "unknown over",
                    "then ",
                ):
                    assert wrong not in told.text, told.text
            page = why_text(found, found.tasks[0], one)
            assert all(len(line) <= 80 for line in page.splitlines()), page
        assert all(len(line) <= 80 for line in outlook_text(found).splitlines())
    assert len({rule for rule, _ in seen}) > 25
    assert ("drift-deposit", "no-go") in seen
    assert ("interval", "no-go") in seen and ("latest-date", "no-go") in seen


def test_neighbours_are_named_in_a_sentence():
    bed = Neighbour("rose bed", "planting", 1.5, 20.0)
    found = outlook(household(neighbours=(bed,)), forecast())
    assert "onto the rose bed" in reason(found, "2026-06-15", "drift-deposit").text


def test_json_knows_no_nan_and_keeps_unknown_apart():
    import json

    found = outlook(household(), forecast({"wind_gust": np.nan}))
    text = json.dumps(outlook_object(found), allow_nan=False)
    told = json.loads(text)["treatments"][0]["days"][0]["reasons"]
    gusts = next(one for one in told if one["rule"] == "gusts")
    assert gusts["verdict"] == "unknown" and gusts["value"] is None and gusts["headroom"] is None


def test_codes_are_what_the_words_say():
    assert (GO, NO_GO, UNKNOWN) == (1, 0, -1)


def test_cost_of_waiting_moves_the_floor_of_everything():
    """An effect at one half: no under the usual floor, go where a failed pass costs twice a day of waiting."""
    cloud = np.full((2, HOURS), 40.0)
    humidity = np.full((2, HOURS), 49.0)
    humidity[0] = 95.0
    weather = forecast({"cloud_cover": cloud, "relative_humidity": humidity}, members=2)
    usual = outlook(household(), weather)
    dear = outlook(household(settings={"cost_of_waiting": 10.0, "cost_of_failure": 20.0}), weather)
    assert day(usual, "2026-06-15").verdict == "no-go" and day(dear, "2026-06-15").verdict == "go"
    assert replace(household(), name="x").name == "x"
