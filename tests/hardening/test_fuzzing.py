"""The campaign of bad input in a tiny form, and the proof that its judge can say no: each bug is planted, then seen.

Checks of our own behaviour, no outside source.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from random import Random

import numpy as np
import pytest

sys.path[:0] = [
    str(Path(__file__).resolve().parents[2]),
    str(Path(__file__).resolve().parents[2] / "scripts"),
]

from hardening.fuzzing import loop, odd  # noqa: E402
from hardening.fuzzing.loop import feed, made, smaller  # noqa: E402
from hardening.fuzzing.oracle import Target, judge  # noqa: E402
from hardening.fuzzing.page_targets import answers_fault  # noqa: E402
from hardening.fuzzing.targets import targets  # noqa: E402
from hardening.fuzzing.weather_targets import forecasts_fault, weather_seeds  # noqa: E402

from advisor.errors import InvalidFile  # noqa: E402

pytestmark = pytest.mark.skipif(
    not hasattr(os, "fork"), reason="children are forked, which this system cannot do"
)


def planted(read, check=lambda found: "", seconds: float = 0.2) -> Target:
    def change(chance, data, others):
        return b"c"

    return Target("planted", "", lambda: [b"a", b"b"], change, read, (InvalidFile,), check, seconds=seconds)


def refuse(what: str):
    def read(data: bytes):
        raise InvalidFile(what)

    return read


def stand_still(data: bytes):
    while True:
        pass


def test_a_reader_that_keeps_its_promise_has_no_fault():
    assert judge(planted(lambda data: data), b"") is None
    assert judge(planted(refuse("line 3 is not TOML")), b"") is None


def test_a_traceback_is_seen_with_its_place():
    fault = judge(planted(lambda data: {}["x"]), b"")
    assert (
        fault.kind == "traceback"
        and fault.place.startswith("KeyError at")
        and "test_fuzzing.py" in fault.place
    )


@pytest.mark.parametrize(
    "what", ["", "  ", "a" * 590 + "\nTypeError", "'NoneType' object", "<class 'int'> is not iterable",
             "x at 0x: object at 0x7f"]
)  # fmt: skip
def test_an_error_without_words_for_a_person_is_seen(what):
    assert judge(planted(refuse(what)), b"").kind == "message"


def test_what_the_person_wrote_may_be_told_back_in_quotes():
    assert judge(planted(refuse('"<class TypeError" is not a unit')), b"") is None


def test_a_standstill_is_cut_off():
    began = time.process_time()
    assert judge(planted(stand_still), b"").kind == "hang"
    assert time.process_time() - began < 2.0


def test_a_standstill_below_python_ends_its_process_and_the_loop_goes_on(monkeypatch):
    # arithmetic on whole numbers answers no signal until it is done
    monkeypatch.setattr(loop, "STANDSTILL", 1.0)
    result = feed(planted(lambda data: data == b"a" and 9**9**9), 1, 2)
    (found,) = result.found.values()
    assert found.fault.kind == "process" and "stood still" in found.fault.says and found.number == 0
    assert result.cases == 2


def test_a_process_that_dies_is_a_fault_of_its_input():
    result = feed(planted(lambda data: data if data in (b"a", b"b") else os._exit(3)), 1, 3)
    (found,) = result.found.values()
    assert found.fault.kind == "process" and found.number == 2 and found.smallest not in (b"a", b"b")


def test_memory_is_bounded():
    # what is valid is read before memory is bounded
    result = feed(planted(lambda data: None if data in (b"a", b"b") else np.ones(2**27), seconds=5.0), 1, 3)
    assert [one.fault.kind for one in result.found.values()] == ["memory"]


def test_an_answer_that_is_none_is_seen():
    forecast = targets()["open-meteo"].read(weather_seeds("open-meteo")[0])[1]
    assert forecasts_fault([forecast, forecast]) == ""
    field = forecast.fields["air_temperature"]
    for wrong, words in ((np.inf, "implausible"), (200.0, "implausible"), (np.nan, "known where it says")):
        values = field.values.copy()
        values[0, 0, 3] = wrong
        spoilt = forecast.with_fields({"air_temperature": type(field)(values, field.reason)})
        assert words in forecasts_fault([forecast, spoilt])
    turned = type(field)(field.values.transpose(2, 1, 0), field.reason)
    assert "axes" in forecasts_fault([forecast.with_fields({"air_temperature": turned})])


def test_a_page_that_fails_is_seen():
    from flask import Flask

    app = Flask("planted")
    app.add_url_rule("/fault", "fault", lambda: ("x", 500))
    app.add_url_rule("/said", "said", lambda: "<pre>Traceback (most recent call last)</pre>")
    app.add_url_rule(
        "/number", "number", lambda: app.response_class('{"a": NaN}', mimetype="application/json")
    )
    client = app.test_client()
    assert "500" in answers_fault([client.get("/fault")]) and "traceback" in answers_fault(
        [client.get("/said")]
    )
    with pytest.raises(ValueError, match="NaN"):
        answers_fault([client.get("/number")])


def test_the_smallest_input_is_found():
    target = planted(lambda data: {}["x"] if b"!" in data and b"?" in data else data)
    data = b"a" * 500 + b"!" + b"b" * 300 + b"?" + b"c"
    assert smaller(target, data, judge(target, data)) == b"!?"


def test_the_same_seed_makes_the_same_inputs():
    target = targets()["rules"]
    seeds = target.seeds()
    first, again, other = ([made(target, seeds, seed, at) for at in range(100, 140)] for seed in (1, 1, 2))
    assert first == again and sum(a != b for a, b in zip(first, other, strict=True)) > 30
    assert len(set(first)) > 35 and all(len(one) <= 4 * odd.LONGEST for one in first)


@pytest.mark.parametrize("name", targets())
def test_each_reader_takes_a_seed_and_stands_a_few_changed_ones(name):
    target = targets()[name]
    seeds = target.seeds()
    if name != "quantities":  # asked of every dimension at once, so that one of them always refuses
        assert any(judge_takes(target, one) for one in seeds)
    for at in range(len(seeds), len(seeds) + 12):
        fault = judge(target, made(target, seeds, 11, at))
        assert fault is None, fault


def judge_takes(target: Target, data: bytes) -> bool:
    try:
        found = target.read(data)
    except target.errors:
        return False
    return not target.check(found)


def test_changes_keep_to_bytes_and_to_a_bounded_length():
    for target in targets().values():
        chance = Random(5)
        seeds = target.seeds()
        for _ in range(5):
            assert len(target.change(chance, seeds[0], seeds)) <= 4 * odd.LONGEST
