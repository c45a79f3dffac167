"""Official warnings: the hours that they stop, and what becomes of a verdict. Event names from the provider's list of
event types, from memory; the rest is our own invention."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import payloads
import pytest
from weather_bodies import forecast_body

from advisor.forecast import Reason
from advisor.outlook import make_outlook
from advisor.quality import control
from advisor.rule_files import load_rules
from advisor.sources import read_answer
from advisor.sources.nws_alerts import Alert, read_alerts, subject_of
from advisor.sources.reading import read_document
from advisor.warnings_in_force import LIST_AGE_LIMIT, Warnings, asked_for, in_words, offering, with_warnings
from weather import households
from weather.households import NOW

RULES = list(load_rules())
HOUR = timedelta(hours=1)
#: a weekday's first start, 09:00 local time, and the end of the day after the last one's work
NINE = datetime(2026, 9, 21, 14, tzinfo=UTC)


def alert(event="Heat Advisory", onset: datetime | None = NINE, ends: datetime | None = NINE + 3 * HOUR) -> Alert:
    return Alert(event, subject_of(event), onset, ends, expires=NINE - HOUR)


def forecast(provider: str = "nws"):
    body = json.dumps(forecast_body(provider, *households.PLACE, NOW)).encode()
    return control(read_answer(body, fetched_at=NOW), NOW)


def known(*alerts: Alert, fetched_at: datetime | None = NOW) -> Warnings:
    return Warnings("known", alerts, fetched_at, source="nws")


def hours_of(*alerts: Alert) -> list[str]:
    made = with_warnings(forecast(), known(*alerts), NOW)
    return [str(hour)[5:] for hour in made.axis[made.values("warning_in_force")[0, 0] == 1.0]]


# hours


def test_from_the_onset_to_the_end_and_not_to_the_end_of_the_message():
    assert hours_of(alert()) == ["09-21T14", "09-21T15", "09-21T16"]


def test_an_hour_that_is_only_touched_counts():
    part = alert(onset=NINE + timedelta(minutes=50), ends=NINE + timedelta(minutes=61))
    assert hours_of(part) == ["09-21T14", "09-21T15"]


def test_an_end_on_the_hour_does_not_touch_the_next():
    assert hours_of(alert(ends=NINE + HOUR)) == ["09-21T14"]


def test_an_end_that_is_not_stated_is_no_end():
    made = hours_of(alert(ends=None))
    assert made[0] == "09-21T14" and len(made) > 100


def test_an_onset_that_is_not_stated_is_now():
    assert "09-21T12" in hours_of(alert(onset=None))


def test_what_is_over_or_backward_touches_nothing():
    assert hours_of(alert(onset=NINE - 90 * HOUR, ends=NINE - 80 * HOUR)) == []
    assert hours_of(alert(onset=NINE, ends=NINE - HOUR)) == []


@pytest.mark.parametrize(
    ("event", "stops"),
    [("Severe Thunderstorm Watch", True), ("Tornado Warning", True), ("Wind Advisory", True),
     ("High Wind Watch", True), ("Flash Flood Warning", True), ("Extreme Heat Warning", True),
     ("Freeze Warning", False), ("Air Quality Alert", False), ("Red Flag Warning", False)],
)  # fmt: skip
def test_wind_thunder_flood_and_heat_stop_and_nothing_else(event, stops):
    assert bool(hours_of(alert(event))) is stops


def test_an_empty_list_is_a_known_no():
    made = with_warnings(forecast(), known(), NOW)
    assert (made.values("warning_in_force") == 0.0).all()
    assert made.provenance.notes[-1] == "official warnings: none for wind, thunder, heat or flood"


@pytest.mark.parametrize(
    ("warnings", "says"),
    [
        (Warnings("missing", why="the provider has trouble (status 503)"), "the provider has trouble"),
        (known(fetched_at=NOW - (LIST_AGE_LIMIT + 0.1) * HOUR), "the newest list is 6 h old"),
        (known(fetched_at=None), "not known when"),
        (known(fetched_at=NOW + 2 * HOUR), "in the future"),
    ],
)
def test_a_list_that_is_not_there_or_too_old_is_unknown(warnings, says):
    made = with_warnings(forecast(), warnings, NOW)
    assert np.isnan(made.values("warning_in_force")).all()
    assert (made.reason("warning_in_force") == Reason.NOT_FETCHED).all()
    assert says in made.provenance.notes[-1]


@pytest.mark.parametrize("hours", [LIST_AGE_LIMIT, -0.9])
def test_a_list_within_its_limit_counts(hours):
    made = with_warnings(forecast(), known(fetched_at=NOW - hours * HOUR), NOW)
    assert not np.isnan(made.values("warning_in_force")).any()


@pytest.mark.parametrize("state", ["off", "not-offered"])
def test_where_nobody_asks_or_nobody_has_them_there_is_no_series_and_a_note(state):
    made = with_warnings(forecast(), Warnings(state), NOW)
    assert "warning_in_force" not in made.fields
    assert "official warnings are not looked at" in made.provenance.notes[-1]


def test_the_real_heat_advisory_goes_on_until_its_end():
    """MPX, 2026-07-19: expires 09:00, ends 18:00 local time, UTC-5."""
    alerts = read_alerts(read_document(payloads.body("nws/alerts_active_point_MPX_20260719.json")))
    (heat,) = [one for one in alerts if one.event == "Heat Advisory"]
    now = heat.expires + HOUR
    body = json.dumps(forecast_body("nws", 45.176, -93.43, now)).encode()
    made = with_warnings(read_answer(body), known(heat, fetched_at=now), now)
    last = made.axis[made.values("warning_in_force")[0, 0] == 1.0][-1]
    assert last == np.datetime64(heat.ends.astimezone(UTC).replace(tzinfo=None), "h") - np.timedelta64(1, "h")
    assert heat.ends > heat.expires


# who is asked


@pytest.mark.parametrize(
    ("weather", "state", "source"),
    [
        ('sources = ["nws"]', "missing", "nws"),
        ('sources = ["open-meteo", "nws"]', "missing", "nws"),
        ('sources = ["open-meteo"]\ncross_check = "nws"', "missing", "nws"),
        ('sources = ["open-meteo", "met-norway"]', "not-offered", None),
        ('sources = ["nws"]\nwarnings = false', "off", "nws"),
    ],
)
def test_they_are_asked_for_where_a_source_in_use_has_them(tmp_path, weather, state, source):
    settings = households.household(tmp_path, weather).settings
    assert asked_for(settings) == state
    assert offering(settings) == source


# verdicts


def outlook(folder, warnings: Warnings, weather='sources = ["nws"]'):
    household = households.household(folder, weather)
    return make_outlook(household, with_warnings(forecast(), warnings, NOW), RULES, [], NOW)


def today(made):
    return made.tasks[0].days[0]


def reason(made, day: int = 0):
    return next(one for one in made.tasks[0].days[day].reasons if one.rule == "warnings")


def test_without_a_warning_the_day_is_a_go(tmp_path):
    made = outlook(tmp_path, known())
    assert today(made).verdict == "go" and reason(made).verdict == "go"


def test_a_warning_over_the_work_is_the_sole_blocker_and_named(tmp_path):
    made = outlook(tmp_path, known(alert("Wind Advisory", NINE - HOUR, NINE + 12 * HOUR)))
    assert today(made).verdict == "no-go"
    assert today(made).blocked.always == ("warnings",)
    assert [one.rule for one in today(made).blocked.sole] == ["warnings"]
    assert reason(made).text == "Wind Advisory from Mon 21 Sep 08:00 to Mon 21 Sep 21:00."
    assert reason(made).kind == "safety"
    assert today(made).blocked.sole[0].text.startswith("Wind Advisory from Mon 21 Sep 08:00 to")


@pytest.mark.parametrize(("begins", "verdict"), [(23, "no-go"), (25, "go")])
def test_until_a_day_after_the_end_of_the_work(tmp_path, begins, verdict):
    """The work begins at 09:00 and takes less than an hour."""
    made = outlook(tmp_path, known(alert("Flood Watch", NINE + begins * HOUR, NINE + (begins + 3) * HOUR)))
    hour = made.forecast.index(np.datetime64("2026-09-21T14", "h"))
    found = next(one for one in made.explainer.reasons(0, hour) if one.rule == "warnings")
    assert found.verdict == verdict


def test_a_warning_that_is_over_before_the_work_does_not_stop_it(tmp_path):
    made = outlook(tmp_path, known(alert("Tornado Watch", NOW - 6 * HOUR, NINE)))
    assert today(made).verdict == "go"


def test_a_list_that_could_not_be_fetched_is_never_a_go(tmp_path):
    made = outlook(tmp_path, Warnings("missing", why="the provider has trouble (status 503)"))
    assert {day.verdict for day in made.tasks[0].days} <= {"unknown", "no-go"}
    assert today(made).verdict == "unknown"
    assert "official warnings" in reason(made).text and reason(made).verdict == "unknown"


def test_a_forecast_without_the_series_is_never_a_go_where_warnings_are_asked_for(tmp_path):
    made = make_outlook(households.household(tmp_path, 'sources = ["nws"]'), forecast(), RULES, [], NOW)
    assert today(made).verdict == "unknown"


@pytest.mark.parametrize("weather", ['sources = ["met-norway"]', 'sources = ["nws"]\nwarnings = false'])
def test_where_they_are_not_asked_for_the_rule_does_not_apply(tmp_path, weather):
    household = households.household(tmp_path, weather)
    warnings = Warnings("off" if "false" in weather else "not-offered")
    made = make_outlook(household, with_warnings(forecast(), warnings, NOW), RULES, [], NOW)
    assert today(made).verdict == "go"
    assert all(one.rule != "warnings" for one in today(made).reasons)


def test_words_name_each_warning_once():
    heat = alert(ends=None)
    made = with_warnings(forecast(), known(heat, heat), NOW)
    said = in_words(made, 0, made.hours, ZoneInfo("America/Chicago"))
    assert said == "Heat Advisory, its end not stated, from Mon 21 Sep 09:00"
