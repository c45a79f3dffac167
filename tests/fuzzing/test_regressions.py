"""The smallest inputs that once broke a reader: each must now be taken, or refused in words that a person can use.

Found by the campaign of bad input (`scripts/harden --only fuzzing`). Checks of our own behaviour, no outside source.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

sys.path[:0] = [
    str(Path(__file__).resolve().parents[2]),
    str(Path(__file__).resolve().parents[2] / "scripts"),
]

from hardening.fuzzing.loop import warm  # noqa: E402
from hardening.fuzzing.oracle import bounded_memory, judge  # noqa: E402
from hardening.fuzzing.targets import targets  # noqa: E402

from advisor.errors import AdvisorError  # noqa: E402

_CELL = '{"properties": {"gridId": %s, "gridX": %s, "gridY": 4, "forecastGridData": ""}}'
_DATED = '{"data": {"generationtime_ms": 1}, "headers": {"Date": "%s"}}'
_RULE = (
    'id = "x"\nfloor = %s\n[measure]\nquantity = "wind_gust"\nspan = "nights-after"\ncount = %s\n'
    '[[example]]\ngiven = {"%s" = "1 mph"}\n'
)


def _layer(*spans: str) -> str:
    values = [{"validTime": f"2026-09-21T12:00:00+00:00/{span}", "value": 10} for span in spans]
    layers = {
        name: {"uom": "wmoUnit:degC", "values": values} for name in ("temperature", "dewpoint", "skyCover")
    }
    return json.dumps(
        {"properties": layers, "geometry": {"coordinates": [[[[1, 2], [3, 4]], [[1, 2], [3, 4]]]]}}
    )


def _members(count: int) -> str:
    times = [f"2026-09-{day:02}T{hour:02}:00" for day in range(21, 31) for hour in range(24)]
    hourly = {"time": times} | {f"precipitation_member01_m{at}": 0 for at in range(count)}
    return json.dumps({"utc_offset_seconds": 0, "hourly_units": {"time": "iso8601"}, "hourly": hourly})


#: reader, input, words of the error; "" where the input is taken
INPUTS: tuple[tuple[str, bytes | str, str], ...] = (
    # what weather services answer
    ("recorded", '{"http_interactions":[{"response":{"body":{"string":"\\ud809"}}}]}', "not JSON"),
    ("recorded", '{"data": {"generationtime_ms": 1}, "status_code": 1e400}', "no hourly forecast"),
    ("recorded", _DATED % "Fri, 31 Dec 9999 23:59:59 -1400", "no hourly forecast"),
    ("open-meteo", '{"error": true, "reason": "%s"}' % ("10 x" + " " * 3000 + "y"), "refused the request: 10 x"),
    ("ensemble", _members(20_000), "more than any model"),
    ("met-norway", '{"geometry": {"coordinates": [0, 0, 1e400]}, "properties": {"timeseries": [{"time":'
                   ' "2026-09-21T12:00:00Z", "data": {"instant": {"details": {"wind_speed": 1}}}}]}}', ""),
    ("nws", '{"correlationId": "", "status": 404, "title": {"a": "%s"}}' % ("b" * 3000), "it gives no reason"),
    ("nws", _layer("PT1H"), ""),
    ("nws", _layer("PT1H", "PT" + "9" * 5000 + "H"), ""),
    ("nws", _layer(*["P60D"] * 4000), "no layer that can be used"),
    ("points", _CELL % ('{"": ""}', "2"), "names no grid cell"),
    ("points", _CELL % ('"../../x"', "2"), "names no grid cell"),
    ("points", _CELL % ('"ABC"', "1e400"), "names no grid cell"),
    # files that people write
    ("rules", "y = " + "[" * 3000 + "]" * 3000, "deep inside each other"),
    ("rules", "y = " + "9" * 5000, "a whole number is too long"),
    ("rules", _RULE % ("0x" + "F" * 6000, "1", "0"), "beyond 64 bits"),
    ("rules", _RULE % ("0.5", "999999999999", "0"), "count must be a whole number from 1 to 14"),
    ("rules", _RULE % ("0.5", "1", "9" * 5000), "not an hour or a range of hours"),
    ("labels", "rate = " + "9" * 5000, "a whole number is too long"),
    ("labels", "volatile = 0x" + "F" * 6000, "beyond 64 bits"),
    ("labels", "a = " + "[" * 300 + "]" * 300, "deep inside each other"),
    ("labels", 'weeks_to_effect = "%s g/kg"' % ("9" * 2500), "not a finite number"),
    ("labels", 'maximum_passes_per_year = "%s"' % ("9" * 5000), "is not a whole number"),
    ("labels", 'rainfast_time = "10 m**9**9**9"', "not a unit that is known here"),
    ("treatments", "name = 0x" + "F" * 6000, "beyond 64 bits"),
    ("household", "h = " + "[" * 300 + "]" * 300, "deep inside each other"),
    ("household", '[site]\ntime_zone = "%s"' % ("a../America/Chicago" * 300), "not a time zone"),
    ("several lawns", 'lawns = ["%s"]' % ("h" * 300), "holds no lawn.toml"),
    ("several lawns", 'lawns = ["home"]\ntravel = "10 m^9^9^9"', "not a unit that is known here"),
    ("household history", "a" * 140_000, "a cell is too long"),
    ("household history", b"area,started_at\n\xc9", "is not UTF-8 text"),
    ("household history", 'area,started_at\n"' + "a\n" * 90_000, "a cell is too long"),
    ("household history", "area,started_at,active_ingredients\nfront,0001-01-01T00:00:00+14:00,x", "outside the years"),
    ("records CSV", "area,size_m2,started_at\r" + "a" * 140_000, ""),
    ("records CSV", "area,size_m2,started_at\nfront,1,0001-01-01T00:00:00+14:00", ""),
    ("past weather CSV", "a" * 140_000, "a cell is too long"),
    ("past weather CSV", ",latitude,utc_offset_seconds\n)\n5", "no column of times"),
    ("past weather CSV",
     "time,temp [degF],b" + "\x1f" * 30_000 + "a\n2025-06-01T00:00Z,60,1\n2025-06-01T01:00Z,61,1", ""),
    ("past weather CSV", "latitude,utc_offset_seconds\n1,99999999999999\ntime,temp [degF]\n2025-06-01T00:00,1",
     "no column"),
    ("kept forecasts CSV", '"\n"', "the kept history is not valid"),
    ("kept forecasts CSV", "valid,lead_hours\n2026-07-26T00:00Z," + "1" * 140_000, "a cell that is too long"),
    ("sites CSV", "51," * 12_000, "its heading has 12001 cells"),
    ("sites CSV", b"\x80", "is not UTF-8 text"),
    ("sites CSV", 'site,latitude,longitude,time_zone\none,6,-93,"%s"' % ("a../America/Chicago" * 300), ""),
    ("sites CSV", "site,latitude,longitude,treatment,pass\none,6,-93,broadleaf-autumn," + "9" * 5000, ""),
    ("sites CSV", "site,latitude,longitude,treatment,pass,last_pass\none,6,-93,broadleaf-autumn,2,9999-12-31", ""),
    ("quantities", "0 9**9**9", "not a unit that is known here"),
    ("quantities", "1 x" + " " * 60_000 + "y", "too long for a unit"),
    ("quantities", "5!°C", "not a unit that is known here"),
    ("quantities", "1e308 km", "not a finite number"),
    ("instants", "9999-12-31T23:00-10:00", "outside the years 1 to 9999"),
    ("instants", "1 1" * 800, "is not a date and time"),
    # forms and addresses
    ("form /start", "wind_from=x", ""),
    ("form /start", "beaufort=-", ""),
    ("form /tell/cover", "untreated=10%20m%2A%2A9%2A%2A9%2A%2A9", ""),
    ("form /tell/done", "amount=1+x" + "+" * 60_000 + "y", ""),
    ("addresses", b"records?\xd8", ""),
    ("addresses", b"units/metric?\xfe", ""),
    ("headers", "Host:" + "l" * 70, ""),
)  # fmt: skip


@pytest.mark.parametrize(("name", "data", "words"), INPUTS, ids=lambda value: repr(value)[:40])
def test_what_once_broke_a_reader_is_taken_or_refused_in_words(name, data, words):
    target = targets()[name]
    data = data if isinstance(data, bytes) else data.encode("utf-8", "surrogatepass")
    warm(target, target.seeds()[:1])
    with bounded_memory():
        fault = judge(target, data)
    assert fault is None, fault
    if name == "quantities":
        return _told_for_some_dimension(data, words)
    try:
        target.read(data)
    except AdvisorError as error:
        assert words and words in str(error), str(error)
    else:
        assert not words, "it is taken"
    return None


def _told_for_some_dimension(data: bytes, words: str) -> None:
    from advisor.units import DIMENSIONS, UnitError, parse

    told = ""
    for dimension in DIMENSIONS:
        try:
            parse(data.decode(), dimension)
        except UnitError as error:
            told += str(error)
    assert words in told


def test_hours_that_any_two_intervals_share_are_unknown():
    # the second and the third do not touch each other, and both lie inside the first
    spans = (("12", "P1D", 10), ("13", "PT1H", 11), ("16", "PT1H", 12))
    values = [
        {"validTime": f"2026-09-21T{hour}:00:00+00:00/{span}", "value": value} for hour, span, value in spans
    ]
    layer = {"uom": "wmoUnit:degC", "values": values}
    sound = {"uom": "wmoUnit:degC", "values": [{"validTime": "2026-09-21T12:00:00+00:00/P1D", "value": 5}]}
    body = json.dumps({"properties": {"temperature": layer, "dewpoint": sound, "skyCover": sound}}).encode()
    forecast = targets()["nws"].read(body)[0]
    assert not forecast.fields["air_temperature"].known.any()
    assert forecast.fields["dew_point"].known.all()
