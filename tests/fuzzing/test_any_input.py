"""Whatever is fed to a reader: an answer, or the error that it declares, in words. Inputs drawn by hypothesis.

Checks of our own behaviour, no outside source. The budgets are small; `scripts/harden --only fuzzing` has large ones.
"""

from __future__ import annotations

import json
import sys
from functools import cache
from pathlib import Path
from urllib.parse import urlencode

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path[:0] = [
    str(Path(__file__).resolve().parents[2]),
    str(Path(__file__).resolve().parents[2] / "scripts"),
]

from hardening.fuzzing import odd  # noqa: E402
from hardening.fuzzing.loop import warm  # noqa: E402
from hardening.fuzzing.oracle import Target, judge  # noqa: E402
from hardening.fuzzing.page_targets import FORMS  # noqa: E402
from hardening.fuzzing.targets import targets  # noqa: E402

PROVIDERS = (
    "open-meteo",
    "ensemble",
    "met-norway",
    "nws",
    "points",
    "alerts",
    "stations",
    "observations",
    "recorded",
)
TOML = ("rules", "labels", "treatments", "household", "several lawns")
TABLES = ("household history", "past weather CSV", "kept forecasts CSV", "records CSV", "sites CSV")
few = settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))

words = st.one_of(st.sampled_from(odd.TEXTS), st.text(max_size=30))
numbers = st.one_of(
    st.integers(), st.floats(), st.sampled_from([0, 1, -1, 10**30, 1e308, 90, 180, 360, 3600])
)
leaves = st.one_of(st.none(), st.booleans(), numbers, words)
anything = st.recursive(
    leaves, lambda part: st.lists(part, max_size=4) | st.dictionaries(words, part, max_size=4), max_leaves=12
)


@cache
def reader(name: str) -> Target:
    """Once warm, so that no input pays for what is loaded late."""
    target = targets()[name]
    warm(target, target.seeds()[:2])
    return target


def holds(name: str, data: bytes | str) -> None:
    target = reader(name)
    fault = judge(target, data if isinstance(data, bytes) else data.encode("utf-8", "surrogatepass"))
    assert fault is None, fault


def keys_of(document: object) -> set[str]:
    """Names that a service uses, wherever they stand."""
    if isinstance(document, list):
        return set().union(*(keys_of(one) for one in document[:3])) if document else set()
    if not isinstance(document, dict):
        return set()
    return set(document).union(*(keys_of(one) for one in document.values()))


@st.composite
def answers(draw, name: str) -> bytes:
    """A document of the service with some of its names holding anything, at the top and one level below."""
    document = json.loads(draw(st.sampled_from(targets()[name].seeds())))
    holder = document[0] if isinstance(document, list) else document
    for _ in range(draw(st.integers(1, 3))):
        inner = [one for one in holder.values() if isinstance(one, dict) and one]
        place = draw(st.sampled_from([holder, *inner]))
        place[draw(st.sampled_from(sorted(keys_of(document))))] = draw(anything)
    return json.dumps(document, allow_nan=True).encode("utf-8", "surrogatepass")


@pytest.mark.parametrize("name", PROVIDERS)
@few
@given(data=st.data())
def test_any_answer_of_a_weather_service(name, data):
    holds(name, data.draw(answers(name)))


@few
@given(body=st.one_of(st.binary(max_size=200), anything.map(lambda one: json.dumps(one).encode())))
def test_any_bytes_as_an_answer(body):
    for name in ("nws", "recorded", "alerts"):
        holds(name, body)


@st.composite
def toml_texts(draw, name: str) -> str:
    """A file with one value replaced by any value of TOML, spelled by JSON where the two agree."""
    lines = draw(st.sampled_from(targets()[name].seeds())).decode().split("\n")
    places = [at for at, line in enumerate(lines) if "=" in line and not line.startswith("#")]
    at = draw(st.sampled_from(places))
    value = draw(st.one_of(anything.map(json.dumps), words.map(json.dumps), words, numbers.map(str)))
    lines[at] = f"{lines[at].partition('=')[0]}= {value}"
    return "\n".join(lines)


@pytest.mark.parametrize("name", TOML)
@few
@given(data=st.data())
def test_any_value_in_a_file(name, data):
    holds(name, data.draw(toml_texts(name)))


@st.composite
def tables(draw, name: str) -> str:
    rows = [line.split(",") for line in draw(st.sampled_from(targets()[name].seeds())).decode().split("\n")]
    for _ in range(draw(st.integers(1, 3))):
        row = draw(st.sampled_from(rows))
        row[draw(st.integers(0, len(row) - 1))] = draw(words)
    return draw(st.sampled_from(["\n", "\r\n", "\r"])).join(",".join(row) for row in rows)


@pytest.mark.parametrize("name", TABLES)
@few
@given(data=st.data())
def test_any_cell_in_a_table(name, data):
    holds(name, data.draw(tables(name)))


@few
@given(text=st.one_of(words, st.tuples(numbers, words).map(lambda pair: f"{pair[0]} {pair[1]}")))
def test_any_text_as_a_quantity_or_an_instant(text):
    holds("quantities", text)
    holds("instants", text)


@pytest.mark.parametrize("path", FORMS)
@settings(few, max_examples=15)
@given(data=st.data())
def test_any_words_in_a_form(path, data):
    fields = {name: value for name, value in FORMS[path].items() if data.draw(st.booleans())}
    fields |= data.draw(st.dictionaries(st.sampled_from(sorted(FORMS[path])), words, max_size=3))
    holds(f"form {path}", urlencode(fields, errors="replace"))


@few
@given(
    parts=st.lists(words, max_size=3),
    query=st.dictionaries(st.sampled_from(["at", "task", "card", "kept"]), words),
)
def test_any_address(parts, query):
    path = "/" + "/".join(parts).replace("?", "%3f")
    holds("addresses", f"{path}?{urlencode(query, errors='replace')}".replace("\n", ""))
