"""What a person is told of the weather's origin: credit, licence, terms, faults. Licences and terms as in the services'
own terms of use, as the table of sources states them; the rest is our own behaviour."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from click.testing import CliRunner
from weather_server import WeatherServer

from advisor.cli import cli
from advisor.errors import InvalidFile
from advisor.household import check, load
from advisor.messages.outlook_json import outlook_object
from advisor.messages.outlook_text import outlook_text
from advisor.outlook import make_outlook
from advisor.rule_files import load_rules
from advisor.store import Store
from advisor.transport import new_session
from advisor.weather import current, pull
from weather import households
from weather.households import NOW

HIRE = 'for_hire = true\n'


@pytest.fixture(scope="module")
def server():
    with WeatherServer(now=NOW) as running:
        running.size = {"days": 4}
        yield running


def hosts(server) -> str:
    return "[weather.hosts]\n" + "".join(f'{name} = "{server.base}"\n' for name in ("nws", "open-meteo", "met-norway"))


def outlook(folder, server, weather: str, before: str = ""):
    home = households.write(folder, weather + "\n" + hosts(server), before)
    one = households.with_weather(load(home, now=NOW))
    with new_session(attempts=0) as session, Store.open(home / "advisor.db") as store:
        pull(one, store, NOW, session=session)
        found = current(one, store, NOW)[0]
    return make_outlook(one, found.forecast, list(load_rules()), [], NOW, 2)


@pytest.mark.parametrize(
    ("source", "line"),
    [
        ("open-meteo", "Forecast: Weather data by Open-Meteo.com (CC BY 4.0), fetched 0 min ago"),
        ("nws", "Forecast: Data from the US National Weather Service (US public domain), issued 1 h ago"),
        ("met-norway", "Forecast: Data from MET Norway (CC BY 4.0 / NLOD 2.0), issued 2 h ago"),
    ],
)
def test_credit_and_licence_stand_where_the_data_are_shown(source, line, tmp_path, server):
    made = outlook(tmp_path, server, f'sources = ["{source}"]')
    assert line in outlook_text(made).splitlines()
    weather = outlook_object(made)["weather"]
    assert weather["licence"] in line and weather["attribution"] in line


def test_every_service_that_took_part_is_credited(tmp_path, server):
    made = outlook(tmp_path, server, 'sources = ["nws"]\ncross_check = "met-norway"\nensemble = "gfs025"')
    text = outlook_text(made)
    for name in ("Open-Meteo.com (CC BY 4.0)", "US National Weather Service (US public domain)", "MET Norway (CC BY"):
        assert name in text.replace("\n", " ")


def test_the_terms_of_the_free_host_are_told_to_those_who_work_for_hire(tmp_path, server):
    made = outlook(tmp_path / "a", server, 'sources = ["open-meteo"]', HIRE)
    assert "free for non-commercial use" in " ".join(outlook_text(made).split())
    made = outlook(tmp_path / "b", server, 'sources = ["open-meteo"]')
    assert "non-commercial" not in outlook_text(made)
    made = outlook(tmp_path / "c", server, 'sources = ["met-norway"]', HIRE)
    assert "non-commercial" not in outlook_text(made)


def test_what_is_not_looked_at_is_said(tmp_path, server):
    text = outlook_text(outlook(tmp_path, server, 'sources = ["met-norway"]'))
    assert "official warnings are not looked at: no source in use offers them" in text


# advisor check


def told(folder, weather: str, before: str = "") -> str:
    report = check(households.write(folder, weather, before), now=NOW)
    return "\n".join(str(one) for one in (*report.errors, *report.warnings, *report.notes))


@pytest.mark.parametrize(
    ("weather", "before", "says"),
    [
        ('sources = ["open-meteo"]', HIRE, 'the terms of "open-meteo" do not cover work for hire'),
        ('sources = ["nws"]\ncross_check = "open-meteo"', HIRE, 'the terms of "open-meteo" do not cover work for hire'),
        ('sources = ["nws"]\nensemble = "gfs025"', HIRE, "the members of `ensemble` come from \"open-meteo\""),
        ('sources = ["nws"]\ncross_check = "met-norwey"', "", 'did you mean "met-norway"?'),
        ('sources = ["nws"]\ncross_check = "nws"', "", "nothing is checked against itself"),
        ('sources = ["met-norway"]', "", "no source in use offers them"),
        ('sources = ["nws"]\nwarnings = false', "", "official warnings are switched off"),
        ('sources = ["nws"]\npull_every = "8 h"', "", "in between no start can go"),
        ('ensemble = "GFS 025"', "", "is not the name of an ensemble model"),
        ('ensemble = ["gfs025", 3]', "", "ensemble"),
    ],
)
def test_check_tells_of_sources(weather, before, says, tmp_path):
    assert says in told(tmp_path, weather, before)


def test_check_says_nothing_of_a_choice_that_is_in_order(tmp_path):
    said = told(tmp_path, 'sources = ["nws", "met-norway"]\ncross_check = "met-norway"\npull_every = "3 h"')
    assert "weather" not in said and "warnings" not in said


@pytest.mark.parametrize(
    "text", ['"gfs025, ecmwf_ifs025"', '["gfs025", "ecmwf_ifs025"]', '"gfs025,gfs025 , ecmwf_ifs025"']
)
def test_models_are_written_in_a_line_or_a_list(text, tmp_path):
    one = load(households.write(tmp_path, f"ensemble = {text}"))
    assert one.settings.ensemble == ("gfs025", "ecmwf_ifs025")


def test_the_defaults(tmp_path):
    settings = load(households.write(tmp_path)).settings
    assert (settings.ensemble, settings.cross_check, settings.observations, settings.warnings) == ((), None, True, True)


def test_a_wrong_model_keeps_the_household_from_loading(tmp_path):
    with pytest.raises(InvalidFile, match="weather.ensemble|ensemble"):
        load(households.write(tmp_path, 'ensemble = "a b"'))


# advisor sources


def run(home, *words):
    return CliRunner().invoke(cli, ["sources", "--home", str(home), "--now", "2026-09-21T13:00Z", *words])


def test_sources_are_named_with_use_credit_licence_terms_and_age(tmp_path, server):
    outlook(tmp_path, server, 'sources = ["nws", "open-meteo"]\ncross_check = "met-norway"\nensemble = "gfs025"', HIRE)
    done = run(tmp_path)
    assert done.exit_code == 0, done.output
    for text in (
        "National Weather Service (nws): forecast, choice 1; official warnings; measured hours of stations",
        "MET Norway (met-norway): cross-check", "members of gfs025", "last answer 1.0 h ago; one counts for 18 h",
        "licence: CC BY 4.0 / NLOD 2.0", "terms: free for non-commercial use", "does not cover".replace("does", "do"),
        "This household works for hire", "Official warnings: asked for.",
    ):  # fmt: skip
        assert text in done.output, text
    found = json.loads(run(tmp_path, "--json").output)
    assert [row["source"] for row in found["sources"]] == ["nws", "open-meteo", "met-norway"]
    assert found["sources"][0]["age_hours"] == 1.0 and found["failures"] == []


def test_sources_of_a_household_that_has_asked_nobody_yet(tmp_path):
    done = run(households.write(tmp_path, 'sources = ["met-norway"]'))
    assert done.exit_code == 0
    assert "no answer kept yet" in done.output and "Not used: " in done.output
    assert not (tmp_path / "advisor.db").exists()


def test_sources_tell_what_failed_last(tmp_path, server):
    server.part_faults = {"met-norway": "status-503"}
    try:
        outlook(tmp_path, server, 'sources = ["open-meteo"]\ncross_check = "met-norway"')
    finally:
        server.part_faults = {}
    assert "MET Norway: the provider has trouble (status 503)" in run(tmp_path).output


def test_a_stored_answer_has_no_warnings_to_look_at(tmp_path, server):
    """So a household that asks for them gets no go out of a file."""
    from advisor.quality import control
    from advisor.weather import of_file

    made = outlook(tmp_path, server, 'sources = ["nws"]')
    one, forecast = made.household, control(made.forecast, NOW)
    bare = replace(forecast, fields={k: v for k, v in forecast.fields.items() if k != "warning_in_force"}, flags=())
    again = make_outlook(one, of_file(one, bare, NOW), list(load_rules()), [], NOW, 2)
    assert made.tasks[0].days[0].verdict == "go"
    assert again.tasks[0].days[0].verdict == "unknown"
    assert "the weather is a stored answer" in outlook_text(again).replace("\n    ", " ")
