"""The attacks on the page, and the proof that one that gets through is noticed: each bug is planted, then seen."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "scripts"))

from hardening import web  # noqa: E402

from advisor.transport import guarded, wire  # noqa: E402
from advisor.web import security  # noqa: E402


def through(*names: str, group: str = "") -> dict[str, bool]:
    """By name of the attack, whether it got through; those of a group, or those named."""
    found = web.outcomes(True, lambda one: one.group == group if group else one.name in names)
    assert found
    return {one.attack.name: not one.refused for one in found}


def test_there_are_many_attacks_and_no_two_are_alike():
    every = [(one.group, one.name) for one in web.attacks(quick=True)]
    assert len(every) >= 60 and len(set(every)) == len(every)
    assert len(list(web.attacks(quick=False))) > len(every)


HELD = ("with our port", "two Host headers", "the first line asks for http://evil.example/", "no token", "Origin null",
        "GET /tell/soil?area=front&st", "/static/../app.py", "a form's token as a pass", "70 kB in chunks",
        "all at once: page /", "all at once: calendar", "headers of a refused request, 431",
        "http://lookalike.example:N/", "hosts: file:///etc/passwd", "60 MB packed into 60 kB",
        "signed by itself", "a good one, to see that the others fail for their own sake")  # fmt: skip


def test_some_of_each_kind_are_held():
    found = through(*HELD)
    assert len(found) == len(HELD) and not any(found.values()), found


def test_a_host_check_that_lets_everybody_in_is_seen(monkeypatch):
    monkeypatch.setattr(security, "host_name", lambda host: "localhost")
    assert through("with our port", "another name asks for /records") == {
        "with our port": True,
        "another name asks for /records": True,
    }


def test_a_form_check_that_takes_any_token_is_seen(monkeypatch):
    monkeypatch.setattr(security.hmac, "compare_digest", lambda one, other: True)
    found = through("a token made up", "Origin null", "a token of an earlier service")
    assert found == {"a token made up": True, "Origin null": False, "a token of an earlier service": True}


def test_text_that_is_not_escaped_is_seen(monkeypatch):
    monkeypatch.setattr("flask.Flask.select_jinja_autoescape", lambda self, name: False)
    assert all(through("all at once: page /", "all at once: addresses").values())


def test_a_missing_header_is_seen(monkeypatch):
    monkeypatch.delitem(security.HEADERS, "X-Frame-Options")
    assert all(through("headers of /", "headers of a refused request, 400").values())


def test_a_redirection_into_the_house_is_seen(monkeypatch):
    for module in (guarded, wire):
        monkeypatch.setattr(module, "is_public", lambda number: True)
    assert all(through("http://lookalike.example:N/", "http://127.0.0.1:N/").values())


def test_a_certificate_that_is_not_looked_at_is_seen(monkeypatch):
    real = guarded.OneAnswer.request
    monkeypatch.setattr(
        guarded.OneAnswer,
        "request",
        lambda self, *given, **how: real(self, *given, **{**how, "verify": False}),
    )
    monkeypatch.setattr("warnings.warn", lambda *_, **__: None)
    assert all(through("signed by itself", "signed by a stranger", "run out").values())


def test_an_answer_without_end_is_seen(monkeypatch):
    monkeypatch.setattr(guarded.Watch, "begin", lambda self, connection: None)
    assert all(through("a head, a byte each 50 ms").values())


def test_an_attack_that_breaks_counts_as_got_through():
    def broken(world):
        raise ZeroDivisionError

    (found,) = web.carried_out([web.Attack("x", "y", "z", broken)], None)
    assert not found.refused and "ZeroDivisionError" in found.actual
    (line,) = web.lines([found])
    assert (line.cases, line.survivors) == (1, 1) and "got through" in line.examples[0]


def test_the_slow_are_cut_off_and_others_do_not_wait():
    assert not any(through("40 heads, a byte at a time").values())


@pytest.mark.parametrize("group", ["guessing the word"])
def test_guesses_do_not_keep_the_household_out(group):
    assert not any(through(group=group).values())
