"""`advisor notice` and `advisor outlook --all` as they are typed. Checks of our own behaviour, no outside source."""

from __future__ import annotations

import json
import shutil
import threading
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from click.testing import CliRunner

from advisor.cli.notice import KINDS, notice
from advisor.cli.outlook import outlook
from advisor.errors import AdvisorError, NotDelivered, UsageError
from advisor.store import Store, notices, outbox, payloads
from tests.demo_lawn import FIXTURES

from . import world
from .conftest import BEFORE_FRIDAY

NOW = "2026-09-24T23:30Z"


@pytest.fixture
def home(tmp_path):
    world.write(tmp_path / "lawn")
    (tmp_path / "weather.json").write_bytes(world.answer((*BEFORE_FRIDAY, world.STORM)))
    return tmp_path / "lawn"


def run(command, home, *words, now=NOW, weather=True):
    stored = ["--weather", str(home.parent / "weather.json")] if weather else []
    given = [*words, "--home", str(home), "--now", now, *stored]
    result = CliRunner().invoke(command, given, catch_exceptions=True)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_can_be_looked_at_and_leaves_no_trace(home, kind):
    result = run(notice, home, "--kind", kind, "--show")
    assert result.exit_code == 0
    if kind == "closing":
        assert result.stdout == "Nothing more may start today, so no window closes.\n"
    else:
        first, blank, answer, *_ = result.stdout.splitlines()
        assert first == f"Subject: {answer.rstrip('.')}" and blank == ""
        assert "Before you start:" in result.stdout
    assert not (home / "advisor.db").exists()


def test_json_and_html_say_the_same(home):
    whole = json.loads(run(notice, home, "--json").stdout)
    assert whole["schema"] == "advisor.notice/1" and whole["date"] == "2026-09-25"
    assert run(notice, home, "--html").stdout.strip() == whole["html"].strip()
    assert whole["text"] in run(notice, home).stdout


def test_a_test_message_goes_through_one_channel_and_is_kept_nowhere(home):
    result = run(notice, home, "--test", "file", weather=False)
    assert result.exit_code == 0 and "took the test message" in result.stderr
    (path,) = (home / "notices").iterdir()
    assert path.read_text().startswith("Test: this channel works. It is no notice")
    assert not (home / "advisor.db").exists()


def test_an_unknown_channel_names_the_known_ones(home):
    with pytest.raises(UsageError) as caught:
        run(notice, home, "--test", "fiel", weather=False)
    assert 'did you mean "file"' in str(caught.value)


def test_a_channel_that_refuses_is_told_with_status_7_and_without_its_secret(home):
    class Refuses(BaseHTTPRequestHandler):
        def do_POST(self):  # noqa: N802
            self.rfile.read(int(self.headers["Content-Length"]))
            self.send_response(403)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Refuses)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    (home / "secret").write_text("a secret of enough letters")
    (home / "secret").chmod(0o600)
    text = (home / "lawn.toml").read_text()
    hook = (
        f'[[notices.channel]]\nkind = "webhook"\nurl = "http://127.0.0.1:{server.server_port}/x?key=sesame"\n'
    )
    (home / "lawn.toml").write_text(text.replace("[decision]", f'{hook}secret_file = "secret"\n\n[decision]'))
    with pytest.raises(NotDelivered, match="403") as caught:
        run(notice, home, "--test", "webhook", weather=False)
    server.shutdown()
    assert caught.value.exit_status == 7
    assert "sesame" not in str(caught.value) and "enough letters" not in str(caught.value)


@pytest.mark.parametrize(
    "words",
    [("--show", "--send"), ("--send", "--test", "file"), ("--all", ".", "--send"), ("--day", "today")],
)
def test_options_that_exclude_each_other(home, words):
    with pytest.raises(UsageError):
        run(notice, home, *words)


def test_send_is_once(home):
    from advisor.household import load
    from advisor.weather import site_key

    with Store.open(home / "advisor.db") as store:
        payloads.add(store, source="open-meteo", site=site_key(load(home).site), url="http://x/", body=world.answer(),
                     fetched_at=datetime(2026, 9, 24, 23, tzinfo=UTC))  # fmt: skip
    assert "sent n-" in run(notice, home, "--send", weather=False).stderr
    assert "told before" in run(notice, home, "--send", weather=False).stderr
    with Store.open_readonly(home / "advisor.db") as store:
        assert len(notices.recent(store)) == 1 and [row.state for row in outbox.listing(store)] == ["sent"]
    assert len(list((home / "notices").iterdir())) == 1


# -- all lawns


@pytest.fixture
def lawns(home):
    world.write(home.parent / "lawns" / "maple")
    world.write(home.parent / "lawns" / "elm")
    return home.parent / "lawns"


def test_a_round_on_one_screen(home, lawns):
    result = run(outlook, home, "--all", str(lawns))
    assert result.exit_code == 0
    assert (
        result.stdout.startswith("Tomorrow, Friday 25 September: 1 of 2 lawns") or "2 lawns" in result.stdout
    )
    assert len(result.stdout.splitlines()) <= 40 and max(map(len, result.stdout.splitlines())) <= 80
    whole = json.loads(run(outlook, home, "--all", str(lawns), "--json").stdout)
    assert [one["lawn"] for one in whole["lawns"]] == ["elm", "maple"] and len(whole["stops"]) == 4
    assert whole["faults"] == []


def test_a_lawn_with_a_fault_does_not_hide_the_others(home, lawns):
    (lawns / "elm" / "lawn.toml").write_text("name = ")
    result = run(outlook, home, "--all", str(lawns))
    assert result.exit_code == 0 and "elm is left out" in result.stderr
    assert "1 of 1 lawns" in result.stdout
    (lawns / "maple" / "lawn.toml").write_text("name = ")
    with pytest.raises(AdvisorError):
        run(outlook, home, "--all", str(lawns))


def test_the_round_of_another_day(home, lawns):
    assert (
        "Today, Thursday 24 September: none of 2 lawns goes."
        in run(outlook, home, "--all", str(lawns), "--day", "today").stdout
    )
    with pytest.raises(UsageError, match="is over"):
        run(outlook, home, "--all", str(lawns), "--day", "2026-09-01")
    with pytest.raises(UsageError, match="--day goes with --all"):
        run(outlook, home, "--day", "today")


def test_one_notice_of_the_round(home, lawns):
    result = run(notice, home, "--all", str(lawns))
    assert result.stdout.startswith("Subject: Tomorrow, Friday 25 September: 2 of 2 lawns")
    assert "Next chance: Saturday 26 September" in result.stdout and "The round:" in result.stdout


def test_a_review_says_what_was_broken_once(tmp_path):
    """The demonstration's passes of August ended after sunset, when its invented air was stable."""
    shutil.copytree(FIXTURES / "prairie-lawn", tmp_path / "lawn")
    given = ["--home", str(tmp_path / "lawn"), "--now", "2026-09-21T12:00Z", "--kind", "review", "--show",
             "--weather", str(FIXTURES / "weather" / "prairie-open-meteo.json")]  # fmt: skip
    lead = CliRunner().invoke(notice, given).stdout.partition("Before you start:")[0]
    assert "limits broken: inversion." in lead and "Broken: " not in lead
    assert "the air near the ground" in lead
