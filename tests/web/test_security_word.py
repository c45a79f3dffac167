"""The page's word, the visitor's pass and the calendar feed's own token. Checks of our own behaviour."""

from __future__ import annotations

import ast
import os
import re
from pathlib import Path

import pytest

from advisor.errors import UsageError
from advisor.web import feed, security, word
from advisor.web.feed import FeedToken
from advisor.web.word import MOST_KNOWN, PAUSE, WRONG_IN_ALL, WRONG_WORDS, Attempts, neighbourhood, read_word
from tests.demo_page import demo_client, demo_home
from tests.web.reading import token

WORD = "a word of some length"


@pytest.fixture
def guarded(tmp_path):
    client, desk = demo_client(demo_home(tmp_path, members=0), word=WORD)
    yield client, desk
    desk.close()


def entered(client):
    answer = client.post("/enter", data={"token": token(client, "/enter"), "word": WORD})
    assert answer.status_code == 303
    return answer


# the pass


def test_the_token_of_a_form_is_never_a_pass(guarded):
    """The form on /enter is signed for whatever cookie is sent; what it signs must open nothing."""
    client, _ = guarded
    nonce = "abcdefghijklmnopqrstuvwx"
    for cookie in (f"pass:{nonce}", f"pass\n{nonce}", f"{nonce}.99999999999", nonce):
        client.set_cookie("advisor_form", cookie)
        proof = token(client, "/enter")
        for given in (proof, f"99999999999.{proof}"):
            client.set_cookie("advisor_form", nonce)
            client.set_cookie("advisor_pass", given)
            assert client.get("/").status_code == 303, (cookie, given)


def test_a_cookie_of_somebody_elses_making_does_not_outlive_entering(guarded):
    client, _ = guarded
    client.set_cookie("advisor_form", "planted-by-somebody-else")
    entered(client)
    assert client.get_cookie("advisor_form").value != "planted-by-somebody-else"
    assert client.get("/").status_code == 200


def test_a_pass_ends_after_its_time(guarded, monkeypatch):
    client, _ = guarded
    monkeypatch.setattr(security, "PASS_SECONDS", -1)
    entered(client)
    assert client.get("/").status_code == 303


def test_the_end_of_a_pass_cannot_be_moved(guarded):
    client, _ = guarded
    entered(client)
    until, _, proof = client.get_cookie("advisor_pass").value.partition(".")
    client.set_cookie("advisor_pass", f"{int(until) + 1}.{proof}")
    assert client.get("/").status_code == 303


@pytest.mark.parametrize("value", ["", ".", "x.y", "²." + "0" * 64, "9" * 400 + ".0", "é.é"])
def test_a_pass_that_cannot_be_read_is_none(guarded, value):
    client, _ = guarded
    client.get("/enter")
    client.set_cookie("advisor_pass", value)
    assert client.get("/").status_code == 303


# wrong words


class Time:
    now = 0.0

    def __call__(self):
        return self.now


def test_wrong_words_of_one_address_do_not_keep_another_out():
    attempts = Attempts(Time())
    assert [attempts.judge("192.0.2.1", "no", WORD) for _ in range(WRONG_WORDS + 2)] == [
        False
    ] * WRONG_WORDS + [None] * 2
    assert attempts.judge("192.0.2.1", WORD, WORD) is None
    assert attempts.judge("192.0.2.2", WORD, WORD) is True


def test_an_address_may_try_again_after_the_pause():
    time = Time()
    attempts = Attempts(time)
    for _ in range(WRONG_WORDS):
        attempts.judge("192.0.2.1", "no", WORD)
    time.now = PAUSE + 1
    assert attempts.judge("192.0.2.1", WORD, WORD) is True


def test_many_addresses_have_one_allowance_and_known_ones_a_place_of_their_own():
    attempts = Attempts(Time())
    assert attempts.judge("198.51.100.7", WORD, WORD) is True
    judged = [attempts.judge(f"10.1.{at // 250}.{at % 250}", "no", WORD) for at in range(5000)]
    assert judged.count(False) == WRONG_IN_ALL and judged.count(None) == 5000 - WRONG_IN_ALL
    assert attempts.judge("203.0.113.9", WORD, WORD) is None
    assert attempts.judge("198.51.100.7", WORD, WORD) is True


def test_the_table_of_addresses_is_bounded():
    time = Time()
    attempts = Attempts(time)
    for at in range(20_000):
        time.now += 0.01
        attempts.judge(f"2001:db8:{at:x}::1", "no" if at % 3 else WORD, WORD)
        assert len(attempts) <= WRONG_IN_ALL + MOST_KNOWN


def test_an_ipv6_network_counts_as_one_visitor():
    assert (
        neighbourhood("2001:db8:1:2:3::4")
        == neighbourhood("2001:db8:1:2:ffff::1")
        != neighbourhood("2001:db8:1:3::1")
    )
    assert neighbourhood("::ffff:192.0.2.1") == neighbourhood("192.0.2.1") == "192.0.2.1"
    assert neighbourhood(None) == neighbourhood("nonsense") == "unknown"


def test_secrets_are_compared_in_constant_time_alone():
    """Read from the source: whatever holds a secret is handed to hmac.compare_digest, and never to == or in."""
    secret_names = {"word", "given", "proof", "kept", "token", "nonce"}
    digests = 0
    for module in (security, word, feed):
        tree = ast.parse(Path(module.__file__).read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "hmac.compare_digest":
                digests += 1
            if isinstance(node, ast.Compare):
                sides = [node.left, *node.comparators]
                none = any(isinstance(side, ast.Constant) and side.value is None for side in sides)
                named = {side.id for side in sides if isinstance(side, ast.Name)}
                assert none or not named & secret_names, (
                    f"{module.__name__}:{node.lineno}: {ast.unparse(node)}"
                )
    assert digests == 5


# the file of the word


def test_the_word_is_the_first_line_of_a_file_of_ones_own(tmp_path):
    file = tmp_path / "word"
    file.write_text(f" {WORD} \nnot this\n")
    file.chmod(0o600)
    assert read_word(file) == WORD


@pytest.mark.skipif(os.name != "posix", reason="modes are those of POSIX")
@pytest.mark.parametrize("mode", [0o644, 0o640, 0o604, 0o660])
def test_a_word_that_others_can_read_is_refused(tmp_path, mode):
    file = tmp_path / "word"
    file.write_text(WORD)
    file.chmod(mode)
    with pytest.raises(UsageError, match="other users can read") as caught:
        read_word(file)
    assert "chmod 600" in str(caught.value) and WORD not in str(caught.value)


def test_a_word_handed_over_by_the_system_may_be_readable_by_its_group(tmp_path, monkeypatch):
    file = tmp_path / "word"
    file.write_text(WORD)
    file.chmod(0o440)
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path))
    assert read_word(file) == WORD


@pytest.mark.parametrize("content", [b"", b"\nword", b"\xff\xfe"])
def test_a_file_without_a_word_is_refused(tmp_path, content):
    file = tmp_path / "word"
    file.write_bytes(content)
    file.chmod(0o600)
    with pytest.raises(UsageError, match="word"):
        read_word(file)


# the calendar feed


def made_address(client) -> str:
    page = client.post("/calendar", data={"token": token(client, "/calendar"), "do": "make"})
    assert page.status_code == 200 and page.headers["Cache-Control"] == "no-store"
    return re.search(r"http://localhost(/calendar\.ics\?token=[\w-]+)", page.get_data(as_text=True))[1]


def test_the_feed_opens_by_its_own_token_and_opens_nothing_else(guarded):
    client, desk = guarded
    assert client.get("/calendar.ics").status_code == 401
    entered(client)
    address = made_address(client)
    assert address not in client.get("/calendar").get_data(as_text=True), "shown once"
    kept = FeedToken(desk.service.folder).path
    assert kept.stat().st_mode & 0o777 == 0o600 and address.partition("=")[2] not in kept.read_text()
    client.delete_cookie("advisor_pass")
    assert client.get(address).get_data().startswith(b"BEGIN:VCALENDAR")
    for path in ("/", "/index.json", "/records", "/score.svg"):
        assert client.get(f"{path}?{address.partition('?')[2]}").status_code in (303, 401), path


@pytest.mark.parametrize("how", ["withdraw", "make", "file"])
def test_the_feeds_token_can_be_revoked_at_once(guarded, how):
    client, desk = guarded
    entered(client)
    address = made_address(client)
    if how == "file":
        FeedToken(desk.service.folder).path.unlink()
    else:
        client.post("/calendar", data={"token": token(client, "/calendar"), "do": how})
    client.delete_cookie("advisor_pass")
    assert client.get(address).status_code == 401


def test_guesses_at_the_feeds_token_are_counted(guarded):
    client, _ = guarded
    statuses = [client.get(f"/calendar.ics?token={at}").status_code for at in range(WRONG_WORDS + 2)]
    assert statuses == [401] * WRONG_WORDS + [429] * 2


def test_a_stranger_makes_no_address_for_the_feed(guarded):
    client, desk = guarded
    answer = client.post("/calendar", data={"token": token(client, "/enter"), "do": "make"})
    assert answer.status_code == 401 and not FeedToken(desk.service.folder).given_out


def test_without_a_word_there_is_no_address_to_make(writing):
    client, desk, _ = writing
    assert client.post("/calendar", data={"token": token(client), "do": "make"}).status_code == 404
    assert not FeedToken(desk.service.folder).given_out and client.get("/calendar").status_code == 200
