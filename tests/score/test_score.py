"""Keeping score: the arithmetic by hand, the history file, and the command on the demonstration's kept history."""

from __future__ import annotations

import importlib.util
import json
import shutil
import xml.etree.ElementTree as ElementTree
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from advisor.cli.score import score
from advisor.errors import InvalidFile, UsageError
from advisor.household import load
from advisor.score.climate import crps_climate, rain_climate
from advisor.score.kept import from_forecasts, parse_history
from advisor.score.picture import score_picture
from advisor.score.report import make_score
from advisor.score.text import lead_words, score_object, score_text
from advisor.score.walk import crps_raw, crps_walked, rained, share_wet, student_quantiles, walk, walk_rain
from advisor.spread.pairs import make_pairs
from advisor.store import Store, payloads
from advisor.verification.crps import crps_ensemble, crps_gaussian
from advisor.weather import site_key
from tests.spread.forecasts import field, plain

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "fixtures" / "prairie-lawn"


def daily(errors, lead=30.0, variable="air_temperature", forecast=15.0):
    days = np.datetime64("2026-07-01") + np.arange(len(errors))
    forecast = np.full(len(errors), forecast)
    return make_pairs(variable, lead, forecast, forecast + np.asarray(errors), days.astype("datetime64[h]"))


def test_before_ten_days_the_assumed_spread_is_scored():
    walked = walk(daily(np.full(40, 2.0)))
    # what is valid at 00 UTC of a day was issued 30 h before, on the second day before it; known at the beginning of
    # that day is what was valid up to the third day before
    assert list(walked.days[:13]) == [0, 0, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10]
    assert not walked.learned[:12].any() and walked.learned[12:].all()
    assert walked.error[0] == 2.0 and walked.error[-1] < 1.0
    np.testing.assert_allclose(
        crps_walked(daily(np.full(40, 2.0)), walked)[0], crps_gaussian(0.0, walked.scale[0], 2.0), rtol=1e-5
    )


def test_a_constant_bias_is_learned_away_and_the_raw_forecast_keeps_it():
    pairs = daily(np.random.default_rng(1).standard_normal(120) + 4.0)
    found = make_score({"air_temperature": pairs}).errors[0]
    assert found.learned and found.days == found.pairs < 120
    assert found.crps < 0.35 * found.crps_raw
    assert found.crps_raw == pytest.approx(4.0, abs=0.3)


def test_raw_score_of_one_value_is_its_absolute_error():
    # Gneiting and Raftery (2007): the CRPS of a single value is the absolute error
    np.testing.assert_allclose(crps_raw(daily([2.0, -3.0])), [2.0, 3.0])
    members = np.array([[1.0, 2.0, 3.0, 4.0], [1.0, 2.0, np.nan, 3.0]])
    pairs = make_pairs("air_temperature", 30.0, members, [2.5, 2.0], ["2026-07-01T00"] * 2)
    # {1, 2, 3, 4} at 2.5: .375, computed with properscoring 0.1; a lost member does not count
    np.testing.assert_allclose(crps_raw(pairs), [0.375, crps_ensemble(np.array([1.0, 2.0, 3.0]), 2.0)])


def test_climate_leaves_the_day_itself_out():
    pairs = daily([0.0, 1.0, 5.0])
    expected = [crps_ensemble(np.array(others), at) for others, at in (([1, 5], 0), ([0, 5], 1), ([0, 1], 5))]
    np.testing.assert_allclose(crps_climate(pairs), expected)
    assert np.isnan(crps_climate(daily([1.0]))).all()


def test_climate_counts_each_day_once_however_many_forecasts_there_are_of_it():
    once, twice = daily([0.0, 1.0, 5.0]), daily([0.0, 1.0, 5.0])
    both = make_pairs(
        "air_temperature",
        np.r_[once.lead, twice.lead + 24],
        np.r_[once.members[:, 0], twice.members[:, 0]],
        np.r_[once.observed, twice.observed],
        np.r_[once.valid, twice.valid],
    )
    np.testing.assert_allclose(crps_climate(both), np.tile(crps_climate(once), 2))


def rain_table(observed, share=0.5):
    days = len(observed)
    members = np.where(np.arange(20) < 20 * share, 1.0, 0.0) * np.ones((days, 1))
    valid = (np.datetime64("2026-07-01") + np.arange(days)).astype("datetime64[h]")
    return make_pairs("precipitation", 30.0, members, observed, valid, period=12)


def test_rain_climate_by_hand():
    np.testing.assert_allclose(rain_climate(rain_table([1.0, 0.0, 0.0, 3.0])), [1 / 3, 2 / 3, 2 / 3, 1 / 3])
    assert np.isnan(rain_climate(rain_table([1.0]))).all()


def test_a_hundredth_of_an_inch_is_rain_and_less_is_not():
    # AMS Glossary of Meteorology, "probability of precipitation": 0.01 in (0.254 mm)
    np.testing.assert_array_equal(rained(rain_table([0.254, 0.25, 0.0, np.nan])), [1.0, 0.0, 0.0, np.nan])
    np.testing.assert_allclose(share_wet(rain_table([0.0], 0.3).members), [0.3])


def test_a_chance_of_rain_that_is_always_too_high_is_learned_down():
    random = np.random.default_rng(7)
    pairs = rain_table(np.where(random.random(150) < 0.2, 2.0, 0.0), share=0.8)
    chance, days = walk_rain(pairs)
    assert chance[0] == 0.8 and days[0] == 0
    assert 0.1 < chance[-1] < 0.35
    found = make_score({"precipitation": pairs})
    assert found.rain[0].own.score < found.rain[0].raw.score
    assert found.own.count.sum() == found.raw.count.sum() == found.rain[0].pairs


def test_students_quantiles_agree_with_scipy():
    stats = pytest.importorskip("scipy.stats")
    for degrees in (20.0, 45.0, 200.0):
        mine = student_quantiles(np.array(degrees), 51)
        theirs = stats.t.ppf((np.arange(51) + 0.5) / 51, degrees)
        np.testing.assert_allclose(mine, theirs, atol=1e-3)


def test_stated_error_of_the_wind_is_scored_in_its_own_unit():
    pairs = daily(np.zeros(30), variable="wind_speed_10m", forecast=4.0)
    found = make_score({"wind_speed_10m": pairs}).errors[0]
    assert 0.0 < found.crps < 0.5 and found.crps_raw == 0.0
    assert found.inside == 1.0


@pytest.mark.parametrize(
    "low, high, words", [(0, 24, "day 1"), (72, 120, "days 4-5"), (168, np.inf, "day 8 on")]
)
def test_leads_in_words(low, high, words):
    assert lead_words(low, high) == words


# the history file ---------------------------------------------------------------------------------------------------

HEADER = "valid,lead_hours,air_temperature,air_temperature_observed,precipitation,precipitation_observed\n"


def test_empty_cells_are_unknown_and_remarks_are_skipped():
    text = "# a remark\n" + HEADER + "2026-08-01T12:00Z,24,20,18,,\n2026-08-02T12:00Z,24,,17,1.0,2.5\n"
    found = parse_history(text)
    assert len(found["air_temperature"]) == 1 and len(found["precipitation"]) == 1
    assert found["precipitation"].observed[0] == 2.5
    assert found["precipitation"].lead[0] == 36.0
    assert "wind_speed_10m" not in found
    assert parse_history("# nothing\n") == {}


@pytest.mark.parametrize(
    "text, told",
    [
        ("valid,lead_hours,temperature\n", 'unknown column "temperature"'),
        ("valid,air_temperature\n", '"lead_hours" is missing'),
        (HEADER + "2026-08-01 12:00,24,1,1,,\n", "no full hour"),
        (HEADER + "2026-08-01T12:30Z,24,1,1,,\n", "no full hour"),
        (HEADER + "2026-08-01T12:00Z,24,warm,1,,\n", "is not a number"),
        (HEADER + "2026-08-01T12:00Z,24,1e999,1,,\n", "is not a number"),
        (HEADER + "2026-08-01T12:00Z,24,1\n", "3 cells"),
    ],
)
def test_faults_are_told_by_their_line(text, told):
    with pytest.raises(InvalidFile, match="kept-history.csv:") as error:
        parse_history(text)
    assert told in str(error.value)


def test_impossible_observations_of_a_history_do_not_count():
    text = HEADER + "2026-08-01T12:00Z,24,20,18,,\n2026-08-02T12:00Z,24,20,480,,\n"
    assert np.isnan(parse_history(text)["air_temperature"].observed).sum() == 1


def test_pairs_of_kept_forecasts_take_one_a_day():
    measured = plain(precipitation=field(np.full(200, 0.1)))
    found = from_forecasts([plain(), plain()], measured)
    assert len(np.unique(found["air_temperature"].valid)) == len(found["air_temperature"])
    assert found["air_temperature"].members.shape[1] == 1
    assert found["precipitation"].members.shape[1] == 51
    assert set(found) == {"air_temperature", "dew_point", "wind_speed_10m", "precipitation"}


# the command --------------------------------------------------------------------------------------------------------


def run(*arguments):
    return CliRunner().invoke(score, list(map(str, arguments)), catch_exceptions=False)


def test_the_command_works_on_the_demonstrations_kept_history(tmp_path):
    picture = tmp_path / "score.svg"
    done = run("--home", DEMO, "--picture", picture)
    assert done.exit_code == 0
    assert "invented history" in done.output
    for words in ("CRPS", "Brier", "reliab.", "climate", "raw", "day 1", "°F", "mph", "0-10 %"):
        assert words in done.output, words
    assert max(map(len, done.output.splitlines())) <= 100
    ElementTree.parse(picture)


def test_json_is_one_object_without_nan():
    done = run("--home", DEMO, "--json")
    found = json.loads(done.output, parse_constant=lambda text: pytest.fail(text))
    assert found["schema"] == "advisor.score/1"
    for row in found["errors"]:
        assert row["spread"] == "learned"
        assert row.get("crps_degC", row.get("crps_m_s")) < row.get("crps_raw_degC", row.get("crps_raw_m_s"))
    for row in found["rain"]:
        parts = row["brier"]
        whole = parts["reliability"] - parts["resolution"] + parts["uncertainty"] + parts["within_bins"]
        assert parts["score"] == pytest.approx(whole, abs=1e-12)  # Murphy (1973)
    assert sum(row["count"] for row in found["reliability"]["advisor"]) == sum(
        row["pairs"] for row in found["rain"]
    )


def test_units_change_the_numbers_and_nothing_else():
    us, metric = run("--home", DEMO, "--units", "us").output, run("--home", DEMO, "--units", "metric").output
    assert "°C" in metric and "m/s" in metric and "°F" not in metric
    assert us.splitlines()[-20:] == metric.splitlines()[-20:]


def test_kept_answers_of_the_database_are_scored_against_the_past_hours_of_later_ones(tmp_path):
    home = tmp_path / "home"
    shutil.copytree(DEMO, home, ignore=shutil.ignore_patterns("kept-history.csv", "advisor.db*"))
    first = datetime(2026, 9, 21, 12, tzinfo=UTC)
    answer = json.loads((ROOT / "fixtures" / "weather" / "prairie-open-meteo.json").read_text())
    key = site_key(load(home).site)
    with Store.open(home / "advisor.db") as store:
        for days in range(4):
            later = json.loads(json.dumps(answer))
            # the same weather a day later each time
            times = np.array(later["hourly"]["time"], dtype="datetime64[m]") + np.timedelta64(24 * days, "h")
            later["hourly"]["time"] = [str(time) for time in times]
            fetched = first + timedelta(days=days)
            payloads.add(store, source="open-meteo", site=key, url="https://example.invalid/", fetched_at=fetched,
                         body=json.dumps(later).encode())  # fmt: skip
    done = run("--home", home, "--now", "2026-09-25T12:00Z")
    assert done.exit_code == 0
    assert "past hours of a forecast" in done.output and "assumed spread" in done.output
    assert "day 1" in done.output and "Brier" in done.output


def test_without_any_history_it_says_what_to_do(tmp_path):
    shutil.copytree(DEMO, tmp_path / "home", ignore=shutil.ignore_patterns("kept-history.csv", "advisor.db*"))
    with pytest.raises(UsageError) as error:
        run("--home", tmp_path / "home")
    assert "no forecast is kept" in str(error.value) and "advisor serve" in str(error.value)


def test_the_picture_says_everything_in_titles_and_in_shapes():
    found = make_score(parse_history((DEMO / "kept-history.csv").read_text()), "Site <&>", "a test")
    text = score_picture(found, "metric")
    root = ElementTree.fromstring(text)
    space = "{http://www.w3.org/2000/svg}"
    own = [one for one in root.iter(f"{space}rect") if one.get("class") == "own"]
    raw = [one for one in root.iter(f"{space}circle") if one.get("class") == "raw"]
    # every mark but those of the key carries a title
    assert sum(one.find(f"{space}title") is not None for one in own) == len(own) - 1
    assert sum(one.find(f"{space}title") is not None for one in raw) == len(raw) - 1
    assert "Site &lt;&amp;&gt;" in text
    assert score_text(found, "metric") and score_object(found)["site"] == "Site <&>"


def test_a_score_without_rain_or_wind_is_drawn_too():
    found = make_score({"air_temperature": daily(np.zeros(3))}, "x", "y")
    ElementTree.fromstring(score_picture(found, "us"))
    assert "assumed spread" in score_text(found, "us")
    assert make_score({}).empty


def test_the_history_in_the_fixtures_is_what_the_script_writes():
    path = ROOT / "scripts" / "build_demo_history.py"
    spec = importlib.util.spec_from_file_location("build_demo_history", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert module.build() == (DEMO / "kept-history.csv").read_text(), "run scripts/build_demo_history.py"
