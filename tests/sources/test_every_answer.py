"""Every real answer at hand is read, or refused by name; none of them crashes."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime

import numpy as np
import payloads
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from weather_server import FAULTS, PROVIDERS, forecast_body

from advisor.errors import WeatherError
from advisor.forecast import Forecast, Reason
from advisor.sources import SOURCES, read_answer, recognise, source
from advisor.variables import VARIABLES

FORECASTS = [
    *payloads.names("nws/gridpoints_*.json"),
    *payloads.names("metno/*.json"),
    *(
        name
        for name in payloads.names("openmeteo/*.json")
        if not any(word in name for word in ("error", "daily", "multilocation"))
    ),
]
OTHERS = [
    *payloads.names("nws/[!g]*.json"),
    *payloads.names("nws_templated/[!g]*.json"),
    *payloads.names("openmeteo/error*"),
    "openmeteo/archive_Brasilia_daily_20221229.json",
    "openmeteo/archive_multilocation_list_20250615.json",
    "openmeteo/vcr_forecast_headers_20231113.yml",
]


def check_invariants(read: Forecast) -> None:
    assert read.hours == len(read.axis) > 0
    assert read.axis.dtype == np.dtype("datetime64[h]")
    assert read.nominal_members.shape == (read.hours,)
    for name, one in read.fields.items():
        assert name in VARIABLES
        assert one.values.shape == (1, one.values.shape[1], read.hours)
        assert one.reason.shape == (1, 1, read.hours)
        assert not np.isinf(one.values).any()
        # a value is known exactly where no reason is given
        np.testing.assert_array_equal(one.known.any(axis=1), one.reason[:, 0] == Reason.KNOWN)


@pytest.mark.parametrize("name", FORECASTS)
def test_it_is_read(name):
    body = payloads.body(name)
    read = read_answer(body)
    check_invariants(read)
    assert recognise(body) == read.provenance.source
    assert read.provenance.sha256 == hashlib.sha256(body).hexdigest()
    assert read.provenance.attribution == SOURCES[read.provenance.source].attribution
    assert read.provenance.latitude is not None and read.provenance.longitude is not None


@pytest.mark.parametrize("name", OTHERS)
def test_it_is_refused_by_name(name):
    with pytest.raises(WeatherError) as raised:
        read_answer(payloads.body(name))
    assert raised.value.hint
    assert "Traceback" not in str(raised.value)


@pytest.mark.parametrize("name", payloads.names("nws_templated/gridpoints_*.json"))
def test_an_answer_with_tokens_for_times_is_refused_until_it_is_rendered(name):
    with pytest.raises(WeatherError, match="no layer that can be used"):
        read_answer(payloads.body(name))


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b"", "empty"),
        (b"   \n", "empty"),
        (b"<html><title>Bad  gateway\n</title>", 'web page, which says "Bad gateway"'),
        (b"upstream connect error", 'begins with "upstream connect error"'),
        (b'{"hourly": {"time": ["2026-', "cut off"),
        (b'{"a": 1,, "b": 2}', "not valid JSON"),
        (b"[" * 100_000, "nested|cut off"),
        (b'{"a": ' + b"9" * 5000 + b"}", "number too long|no provider"),
        (b"null", "not of a weather source"),
        (b"[]", "not of a weather source"),
        (b"17", "not of a weather source"),
        (b'"text"', "not of a weather source"),
        (b'{"hello": "world"}', "not of a weather source"),
        (b"\xff\xfe\x00", "begins with"),
        (b'{"status_code": 503, "headers": {}, "data": {"a": 1}}', "status 503"),
        (b'{"http_interactions": [{"response": {}}]}', "holds no answer"),
        (b'{"http_interactions": [{}, {}]}', "holds 2 answers"),
    ],
)
def test_what_is_no_answer_is_said_by_name(body, says):
    with pytest.raises(WeatherError, match=says) as raised:
        read_answer(body)
    assert raised.value.hint
    assert recognise(body) is None


def test_an_unknown_source_suggests_the_nearest():
    with pytest.raises(WeatherError, match="nwz") as raised:
        source("nwz")
    assert "nws" in raised.value.hint


def _paths(node, path=()):
    yield path
    if isinstance(node, dict):
        for key, value in node.items():
            yield from _paths(value, (*path, key))
    elif isinstance(node, list):
        for index in range(min(len(node), 4)):
            yield from _paths(node[index], (*path, index))


_JUNK = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(allow_nan=True), st.text(max_size=12),
    st.just([]), st.just({}),
    st.just("2026-06-01T08:00:00+00:00/PT1H"), st.just(10**400), st.just("9999-12-31T23:00"),
    st.just("0001-01-01T00:00:00+00:00/P99999D"), st.lists(st.none(), max_size=3),
)  # fmt: skip


_SMALL = {
    "nws": {"days": 1},
    "open-meteo": {"past_days": 0, "days": 1},
    "met-norway": {"hourly": 8, "days": 1},
}


@pytest.mark.parametrize("provider", PROVIDERS)
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_no_damage_to_an_answer_gives_anything_but_a_forecast_or_a_weather_error(provider, data):
    body = forecast_body(provider, 41.6, -93.6, datetime(2026, 6, 1, 8, tzinfo=UTC), **_SMALL[provider])
    for _ in range(data.draw(st.integers(1, 3))):
        path = data.draw(st.sampled_from([path for path in _paths(body) if path]))
        holder = body
        for step in path[:-1]:
            holder = holder[step]
        if isinstance(holder, dict) and data.draw(st.booleans()):
            del holder[path[-1]]
        else:
            holder[path[-1]] = data.draw(_JUNK)
    try:
        read = read_answer(json.dumps(body).encode())
    except WeatherError as error:
        assert error.hint
    else:
        check_invariants(read)


def test_the_faults_of_the_loopback_provider_are_all_different():
    assert len(set(FAULTS)) == len(FAULTS)
