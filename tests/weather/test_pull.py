"""One pull of everything, and what is made of it. Our own behaviour against a provider on this computer."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from weather_server import WeatherServer

from advisor.errors import SourceUnreachable
from advisor.forecast import Reason
from advisor.outlook import make_outlook
from advisor.rule_files import load_rules
from advisor.store import Store, payloads
from advisor.transport import new_session
from advisor.weather import current, gather, newest, obtain, pull, site_key
from weather.households import NOW, household, with_weather

RULES = list(load_rules())
HOUR = timedelta(hours=1)


class House:
    """A household, its ledger and a provider, at a time that can be moved."""

    def __init__(self, server, store, session, one):
        self.server, self.store, self.session, self.one, self.now = server, store, session, one, NOW
        self.set()

    def set(self, **settings):
        hosts = dict.fromkeys(("nws", "open-meteo", "met-norway"), self.server.base)
        self.one = with_weather(self.one, **{"source_hosts": hosts, **settings})

    def pull(self, hours: float = 0.0):
        self.now += hours * HOUR
        self.server.now = self.now
        self.server.requests.clear()
        return pull(self.one, self.store, self.now, session=self.session)

    def weather(self, hours: float = 0.0):
        self.now += hours * HOUR
        return current(self.one, self.store, self.now)[0]

    def today(self, hours: float = 0.0):
        forecast = self.weather(hours).forecast
        return make_outlook(self.one, forecast, RULES, [], self.now, 2).tasks[0].days[0]

    @property
    def asked(self) -> list[str]:
        return [path.split("?")[0] for path, _ in self.server.requests]

    @property
    def notes(self) -> str:
        return "; ".join(self.weather().forecast.provenance.notes)


@pytest.fixture
def house(tmp_path):
    one = household(tmp_path / "household")
    with WeatherServer(now=NOW) as server, new_session(attempts=0) as session, Store.open(tmp_path / "a.db") as store:
        server.size = {"days": 5}
        yield House(server, store, session, one)


def everything(house) -> None:
    house.set(sources=("nws",), cross_check="met-norway", ensemble=("gfs025", "icon_seamless_eps"))


# what is asked and kept


def test_everything_is_asked_for_once_and_kept_with_its_bytes_hash_headers_and_time(house):
    everything(house)
    answers = house.pull()
    assert house.asked == [
        "/points/41.6,-93.6", "/gridpoints/TST/12,34", "/weatherapi/locationforecast/2.0/complete", "/v1/ensemble",
        "/v1/ensemble", "/alerts/active", "/gridpoints/TST/12,34/stations", "/stations/KTST/observations",
    ]  # fmt: skip
    roles = [one.role for one in answers.kept]
    assert roles == ["forecast", "cross-check", "ensemble", "ensemble", "warnings", "observations"]
    with house.store.read() as connection:
        rows = connection.execute("SELECT source, status, headers, fetched_at, sha256 FROM payloads").fetchall()
    kept = {row["source"]: row for row in rows}
    assert set(kept) == {"nws:points", "nws", "met-norway", "open-meteo:gfs025", "open-meteo:icon_seamless_eps",
                         "nws:warnings", "nws:stations", "nws-observations", "pull"}  # fmt: skip
    for row in rows:
        assert payloads.body(house.store, row["sha256"])
        assert row["fetched_at"] == "2026-09-21T12:00:00Z"
        assert row["source"] == "pull" or "content-type" in row["headers"]


def test_the_second_pull_asks_neither_for_the_cell_nor_for_the_stations(house):
    everything(house)
    house.pull()
    house.pull(3)
    assert not any(path.startswith("/points") or path.endswith("/stations") for path in house.asked)
    assert "/alerts/active" in house.asked and "/gridpoints/TST/12,34" in house.asked
    house.pull(22)
    assert "/points/41.6,-93.6" in house.asked


def test_only_what_is_wanted_is_asked_for(house):
    house.set(sources=("open-meteo",))
    house.pull()
    assert house.asked == ["/v1/forecast"]
    house.set(sources=("nws",), warnings=False, observations=False)
    house.pull()
    assert house.asked == ["/points/41.6,-93.6", "/gridpoints/TST/12,34"]


def test_a_station_with_holes_is_not_enough_and_the_next_one_is_asked_too(house):
    house.set(sources=("nws",))
    house.server.stations = ["KTST", "KTSU", "KTSV"]
    house.pull()
    assert [path for path in house.asked if "observations" in path] == ["/stations/KTST/observations"]
    house.server.part_faults = {"observations": "status-404"}
    house.pull(3)
    assert [path for path in house.asked if "observations" in path] == [
        "/stations/KTST/observations", "/stations/KTSU/observations"]  # fmt: skip


def test_no_station_is_near_enough(house):
    house.set(sources=("nws",))
    house.server.stations = []
    house.pull()
    assert "no station lies within 40 km" in house.notes


# parts that fail


@pytest.mark.parametrize("part", ["stations", "observations", "ensemble"])
def test_a_part_that_fails_is_told_and_stops_nothing(part, house):
    everything(house)
    house.server.part_faults = {part: "status-503"}
    house.pull()
    assert house.today().verdict == "go"
    assert "not had" in house.notes and "status 503" in house.notes
    assert any("status 503" in line for line in house.weather().told)


def test_warnings_that_cannot_be_had_are_unknown_and_no_go(house):
    house.set(sources=("nws",))
    house.server.part_faults = {"alerts": "html"}
    house.pull()
    day = house.today()
    assert day.verdict == "unknown"
    assert [one.rule for one in day.reasons if one.verdict == "unknown"] == ["warnings"]
    assert "a web page in place of weather data" in house.notes


def test_the_last_list_of_warnings_counts_for_six_hours(house):
    house.set(sources=("nws",))
    house.pull()
    house.server.part_faults = {"alerts": "status-503"}
    house.pull(3)
    assert house.today().verdict == "go"
    house.pull(3.1)
    assert house.today().verdict == "unknown"
    assert "the newest list is 6 h old" in house.notes
    house.server.part_faults = {}
    house.pull()
    assert house.today().verdict == "go"


def test_a_warning_stops_the_day(house):
    house.set(sources=("nws",))
    onset, ends = (NOW + hours * HOUR for hours in (4, 9))
    house.server.alerts = [{"event": "Severe Thunderstorm Watch", "onset": onset.isoformat(), "ends": ends.isoformat(),
                            "expires": NOW.isoformat()}]  # fmt: skip
    house.pull()
    day = house.today()
    assert day.verdict == "no-go" and day.blocked.always == ("warnings",)
    assert "Severe Thunderstorm Watch" in house.notes


# the order of sources


def test_the_next_source_stands_in_and_the_first_one_comes_back(house):
    house.set(sources=("open-meteo", "met-norway"))
    house.server.part_faults = {"open-meteo": "status-503"}
    house.pull()
    assert house.weather().forecast.provenance.source == "met-norway"
    assert "MET Norway stands in: Open-Meteo: the provider has trouble (status 503)" in house.notes
    house.server.part_faults = {}
    house.pull(3)
    assert house.weather().forecast.provenance.source == "open-meteo"
    assert "stands in" not in house.notes


def test_an_answer_of_little_use_does_not_hide_a_good_one_that_still_counts(house):
    house.set(sources=("open-meteo",))
    house.pull()
    house.server.part_faults = {"open-meteo": "nulls"}
    with pytest.raises(SourceUnreachable, match="no weather source gave a usable answer"):
        house.pull(3)
    assert house.today().verdict == "go"
    assert "the last good answer, 3 h old, is used" in house.notes
    # it is kept all the same
    assert payloads.newest(house.store, "open-meteo:poor", site_key(house.one.site)) is not None


def test_an_answer_of_another_place_is_kept_as_evidence_and_never_used(house):
    house.set(sources=("open-meteo",))
    house.server.part_faults = {"open-meteo": "other-place"}
    with pytest.raises(SourceUnreachable):
        house.pull()
    assert payloads.newest(house.store, "open-meteo:refused", site_key(house.one.site)) is not None
    assert house.weather().forecast.fields.keys() <= {"warning_in_force"}


def test_a_confirmed_answer_is_as_young_as_its_confirmation(house):
    house.set(sources=("open-meteo",))
    house.server.cache_headers = {"ETag": '"one"', "Cache-Control": "max-age=60"}
    house.pull()
    for _ in range(4):  # 304 each time; twelve hours are the most an answer may be old
        house.pull(3)
        assert house.asked == ["/v1/forecast"]
    kept = gather(house.one, house.store, house.now).one("forecast")
    assert (kept.fetched_at, kept.confirmed_at) == (NOW, NOW + 12 * HOUR)
    assert not any(flag.check == "age" for flag in house.weather().forecast.flags)


# members


def test_models_weigh_the_same_and_join_the_run_of_another_source(house):
    house.server.members = {"gfs025": 31, "icon_seamless_eps": 40}
    everything(house)
    house.set(cross_check=None)
    house.pull()
    forecast = house.weather().forecast
    assert "pooled with equal weight: open-meteo gfs025 (31 members, each counted 4 times)" in house.notes
    known = forecast.fields["wind_speed_10m"].known[0, :, forecast.index(np.datetime64("2026-09-22T12"))]
    # the invented models differ by their number of members alone: 31 x 4 and 40 x 3, 124 and 120
    assert known.shape == (244,) and known.all()
    assert (forecast.nominal_members[-30:] <= 244).all()
    assert forecast.provenance.spread == "ensemble"
    # a dew point from elsewhere would contradict the members' own temperature and humidity
    assert "dew_point" not in forecast.fields
    assert forecast.fields["cloud_cover"].known.any()
    assert "Open-Meteo" in forecast.provenance.attribution and "Weather Service" in forecast.provenance.attribution
    assert house.today().verdict == "go"


def test_one_model_that_fails_leaves_the_other(house):
    house.server.members = {"gfs025": 31}
    house.set(sources=("open-meteo",), ensemble=("gfs025",))
    house.pull()
    assert house.weather().forecast.members == 31
    house.set(ensemble=("gfs025", "icon_seamless_eps"))
    house.server.part_faults = {"ensemble": "truncated"}
    house.pull(3)
    # the kept members of the one still count, of the other there are none
    assert house.weather().forecast.members == 31
    assert "cut off" in house.notes


def test_members_that_are_too_old_are_not_used(house):
    house.set(sources=("open-meteo",), ensemble=("gfs025",))
    house.pull()
    house.server.part_faults = {"ensemble": "status-503"}
    house.pull(13)
    assert house.weather().forecast.members == 1
    assert "not used: the members of gfs025" in house.notes


# the second source


def test_sources_that_agree_are_a_go_and_said(house):
    house.set(sources=("open-meteo",), cross_check="met-norway")
    house.pull()
    assert house.today().verdict == "go"
    assert "cross-checked with met-norway" in house.notes and "no contradiction" in house.notes
    assert "MET Norway" in house.weather().forecast.provenance.attribution


def test_a_contradiction_of_the_second_source_is_unknown_and_named(house, monkeypatch):
    import weather_bodies

    house.set(sources=("open-meteo",), cross_check="met-norway")
    plain = weather_bodies.met_norway_body

    def windy(*args, **size):
        body = plain(*args, **size)
        for entry in body["properties"]["timeseries"]:
            entry["data"]["instant"]["details"]["wind_speed"] += 9.0
        return body

    monkeypatch.setattr(weather_bodies, "met_norway_body", windy)
    house.pull()
    day = house.today()
    assert day.verdict == "unknown"
    calm = next(one for one in day.reasons if one.rule == "wind-strong")
    assert calm.verdict == "unknown" and "two sources differ" in calm.text
    assert "mean wind speed at 10 m" in house.notes and "contradicted and so not known" in house.notes


def test_a_second_source_that_is_silent_is_told_and_stops_nothing(house):
    house.set(sources=("open-meteo",), cross_check="met-norway")
    house.server.part_faults = {"met-norway": "status-503"}
    house.pull()
    assert house.today().verdict == "go"
    assert "not cross-checked: MET Norway has not answered" in house.notes


def test_a_source_that_stands_in_is_not_its_own_second_opinion(house):
    house.set(sources=("open-meteo", "met-norway"), cross_check="met-norway")
    house.server.part_faults = {"open-meteo": "status-503"}
    house.pull()
    assert house.weather().forecast.provenance.source == "met-norway"
    assert "not cross-checked: MET Norway itself stands in" in house.notes


def test_a_stale_second_opinion_does_not_count(house):
    house.set(sources=("open-meteo",), cross_check="met-norway")
    house.pull()
    house.server.part_faults = {"met-norway": "status-503"}
    house.pull(20)
    assert "not cross-checked: MET Norway: the forecast is stale" in house.notes
    assert "go" in house.today().verdict


# measured hours


def test_measured_hours_take_the_place_of_the_forecasts_past(house):
    house.server.warmer = 5.0
    house.set(sources=("nws",))
    house.pull()
    forecast = house.weather().forecast
    at = forecast.index(np.datetime64("2026-09-21T10"))
    hour = float(forecast.values("air_temperature")[0, 0, at])
    house.set(observations=False)
    plain = house.weather().forecast
    own = float(plain.values("air_temperature")[0, 0, plain.index(np.datetime64("2026-09-21T10"))])
    assert hour == pytest.approx(own + 5.0, abs=0.05)
    assert forecast.start < plain.start  # measured hours reach further back
    later = forecast.index(np.datetime64("2026-09-22T10"))
    assert forecast.values("air_temperature")[0, 0, later] == pytest.approx(own, abs=0.05)


def test_rain_that_no_report_states_is_not_measured(house):
    house.set(sources=("nws",))
    house.pull()
    forecast = house.weather().forecast
    rain = forecast.fields["precipitation"]
    known = rain.known[0, 0, : forecast.index(np.datetime64("2026-09-21T06"))]
    axis = forecast.axis[: len(known)]
    assert {str(hour)[11:] for hour in axis[known]} == {"07"}  # the one wet hour of the invented day


def test_reports_add_up_over_many_pulls(house):
    house.set(sources=("nws",))
    house.pull()
    for _ in range(6):
        house.pull(24)
    forecast = house.weather().forecast
    known = forecast.fields["air_temperature"].known[0, 0]
    now = forecast.index(np.datetime64(house.now.replace(tzinfo=None), "h"))
    assert known[now - 7 * 24 : now].all()


def test_past_hours_of_earlier_answers_fill_what_was_not_measured(house):
    """The National Weather Service's layers begin six hours before they are issued."""
    house.set(sources=("nws",), observations=False)
    for _ in range(9):
        house.pull(6)
    forecast = house.weather().forecast
    now = forecast.index(np.datetime64(house.now.replace(tzinfo=None), "h"))
    rain = forecast.fields["precipitation"].known[0, 0]
    assert rain[now - 48 : now].all()
    assert "past hours of a forecast" in house.notes


def test_what_was_only_forecast_is_no_past(house):
    """MET Norway's answers begin with the present hour, so they say nothing of what has been."""
    house.set(sources=("met-norway",))
    for _ in range(4):
        house.pull(6)
    forecast = house.weather().forecast
    now = forecast.index(np.datetime64(house.now.replace(tzinfo=None), "h"))
    assert not forecast.fields["precipitation"].known[0, 0, :now].any()


# what is said


def test_work_for_hire_is_told_the_terms(house):
    house.one = replace(house.one, for_hire=True)
    house.set(sources=("open-meteo",))
    house.pull()
    assert "free for non-commercial use" in house.notes and "works for hire" in house.notes
    house.set(sources=("met-norway",))
    house.pull(3)
    assert "for hire" not in house.notes


def test_a_question_about_an_earlier_time_gets_what_was_kept_then(house):
    house.set(sources=("open-meteo",))
    house.pull()
    first = gather(house.one, house.store, house.now)
    house.server.part_faults = {"open-meteo": "status-503"}
    with pytest.raises(SourceUnreachable):
        house.pull(3)
    then = gather(house.one, house.store, NOW + HOUR)
    assert then.failures == () and then.kept == first.kept
    assert gather(house.one, house.store, NOW - HOUR).kept == ()


def test_answers_from_before_there_were_notes_still_count(house):
    house.set(sources=("open-meteo",))
    house.pull()
    with house.store.write() as connection:
        connection.execute("DELETE FROM payloads WHERE source = 'pull'")
    assert house.today().verdict == "go"
    assert newest(house.one, house.store, house.now)[1].provenance.source == "open-meteo"


def test_another_choice_of_sources_does_not_use_the_old_choice(house):
    house.set(sources=("open-meteo",))
    house.pull()
    house.set(sources=("met-norway",))
    assert house.today().verdict == "unknown"


def test_tidying_up_leaves_what_counts(house):
    everything(house)
    house.pull()
    payloads.prune(house.store, NOW + 1000 * HOUR)
    assert house.today(1).verdict == "go"
    assert house.weather().forecast.members > 1


# asked now


def test_without_a_network_the_kept_weather_is_used(house, tmp_path):
    house.set(sources=("open-meteo",))
    house.pull()
    path = house.store.path
    house.server.requests.clear()
    assert obtain(house.one, path, house.now + HOUR, offline=True).forecast.provenance.source == "open-meteo"
    assert house.asked == []
    with pytest.raises(SourceUnreachable, match="--offline forbids"):
        obtain(house.one, tmp_path / "none.db", house.now, offline=True)
    assert not (tmp_path / "none.db").exists()


def test_a_failure_falls_back_on_what_is_kept_and_says_so(house, tmp_path):
    house.set(sources=("open-meteo",))
    house.server.part_faults = {"open-meteo": "status-404"}
    with pytest.raises(SourceUnreachable, match="no weather source gave a usable answer"):
        obtain(house.one, tmp_path / "new.db", house.now, offline=False)
    house.server.part_faults = {}
    house.pull()
    house.server.part_faults = {"open-meteo": "status-404"}
    found = obtain(house.one, house.store.path, house.now + HOUR, offline=False)
    assert "the newest kept answer is used" in found.told[0]
    assert found.forecast.fields["air_temperature"].known.any()


def test_the_reason_of_an_empty_ledger_is_that_nobody_has_answered(house):
    forecast = house.weather().forecast
    assert "no weather source has answered yet" in house.notes
    assert (forecast.reason("air_temperature") == Reason.NOT_CARRIED).all()
    assert house.today().verdict == "unknown"


# damage


def test_damaged_bytes_are_no_weather_and_a_new_pull_heals(house):
    everything(house)
    house.pull()
    with house.store.write() as connection:
        connection.execute("UPDATE payload_bodies SET compressed = x'00'")
    assert house.today().verdict == "unknown"
    house.pull(3)
    assert house.today().verdict == "go"
