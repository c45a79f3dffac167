"""How fast and how many at once a host is asked. Limits of the providers as in their terms (MET Norway: 20 a second for
a program; Open-Meteo: 600 calls a minute); the rest is our own choice."""

from __future__ import annotations

import threading
from datetime import timedelta

import pytest
from weather_server import WeatherServer

from advisor.sources import openmeteo
from advisor.transport import Archived, ask, decide, new_session
from advisor.transport.limits import ANY_OTHER, LIMITS, THIS_COMPUTER, Gate, limit_of
from weather.households import CONTACT, NOW, PLACE


class Time:
    """A clock that only sleeping moves."""

    def __init__(self):
        self.now, self.slept = 100.0, []

    def clock(self) -> float:
        return self.now

    def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.now += seconds


def starts(host: str, count: int, weight: float = 1.0) -> list[float]:
    time, found = Time(), []
    gate = Gate(time.clock, time.sleep)
    for _ in range(count):
        with gate.passing(host, weight):
            found.append(time.now)
    return found


def test_met_norway_gets_at_most_half_of_what_it_allows_a_program():
    found = starts("api.met.no", 40)
    assert max(sum(one <= other < one + 1.0 - 1e-6 for other in found) for one in found) <= 10


def test_open_meteo_gets_fewer_calls_than_its_minute_allows_whatever_they_weigh():
    for weight in (1.0, 7.3, 73.0):
        found = starts("api.open-meteo.com", 2000, weight)
        within = max(sum(one <= other < one + 60.0 for other in found[:1000]) for one in found[:1])
        assert (within - 1) * weight <= 600.0


def test_an_ensemble_request_weighs_what_its_members_cost():
    # the provider's example: 6 variables of 122 members count as 73 calls
    assert openmeteo.call_weight(6, 122, 7.0) == pytest.approx(73.2)
    assert openmeteo.ensemble_request(*PLACE, ["gfs025"]).weight > 20.0
    assert openmeteo.forecast_request(*PLACE).weight == 1.0


def test_two_hosts_of_one_provider_share_its_pace_and_others_do_not_wait_for_it():
    time = Time()
    gate = Gate(time.clock, time.sleep)
    for host in ("api.open-meteo.com", "ensemble-api.open-meteo.com"):
        with gate.passing(host):
            pass
    assert time.slept == [pytest.approx(LIMITS["open-meteo.com"].spacing)]
    with gate.passing("api.weather.gov"):
        pass
    assert len(time.slept) == 1


def test_after_a_pause_nobody_waits():
    time = Time()
    gate = Gate(time.clock, time.sleep)
    for _ in range(3):
        with gate.passing("api.met.no"):
            pass
        time.now += 10.0
    assert time.slept == []


@pytest.mark.parametrize(
    ("host", "limit"),
    [("API.MET.NO", LIMITS["api.met.no"]), ("customer-api.open-meteo.com", LIMITS["open-meteo.com"]),
     ("open-meteo.com.example.org", ANY_OTHER), ("example.org", ANY_OTHER), ("127.0.0.1", THIS_COMPUTER),
     ("[::1]", THIS_COMPUTER), ("localhost", THIS_COMPUTER), ("", ANY_OTHER)],
)  # fmt: skip
def test_the_limit_of_a_host(host, limit):
    assert limit_of(host) == limit


def test_no_more_than_so_many_at_once():
    gate = Gate(sleep=lambda seconds: None)
    inside, most, guard, full = 0, 0, threading.Lock(), threading.Event()
    allowed = ANY_OTHER.at_once

    def work():
        nonlocal inside, most
        with gate.passing("example.org"):
            with guard:
                inside += 1
                most = max(most, inside)
                if inside == allowed:
                    full.set()
            full.wait(5)
            with guard:
                inside -= 1

    threads = [threading.Thread(target=work) for _ in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(10)
    assert most == allowed and inside == 0


def test_a_place_is_given_back_after_an_error():
    gate = Gate(sleep=lambda seconds: None)
    for _ in range(2 * ANY_OTHER.at_once):
        with pytest.raises(ValueError, match="gone"), gate.passing("example.org"):
            raise ValueError("gone")
    with gate.passing("example.org"):
        pass


# the cell of a point, kept and used again


def test_a_kept_cell_is_used_for_a_day_and_then_asked_for_again():
    with WeatherServer(now=NOW) as server, new_session(attempts=0) as session:
        server.cache_headers = {"Cache-Control": "max-age=1"}
        options = {"contact": CONTACT, "base": server.base, "session": session}
        first = ask("nws", *PLACE, now=NOW, **options)
        shelf = {first[0].url: first[0].archived()}
        for hours, asked in ((3.0, False), (23.9, False), (24.1, True)):
            server.requests.clear()
            ask("nws", *PLACE, now=NOW + timedelta(hours=hours), kept=shelf.get, **options)
            assert any(path.startswith("/points/") for path, _ in server.requests) is asked


def test_a_longer_life_than_the_headers_say_is_only_given_where_it_is_asked_for():
    kept = Archived(b"{}", NOW, "https://example.org/x", 200, {"cache-control": "max-age=60"})
    later = NOW + timedelta(hours=1)
    assert decide(kept, kept.url, later).action == "ask"
    assert decide(kept, kept.url, later, at_least=24.0).action == "use"
    assert decide(kept, kept.url, later, at_least=24.0, force=True).action == "ask"
