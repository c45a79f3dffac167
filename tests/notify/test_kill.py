"""kill -9 at any point of a delivery loses nothing, doubles no file and never prints anything twice."""

import os
import random
import signal
import time
from collections import Counter

import pytest

from advisor.notify import Retry, deliver_due
from advisor.notify.channels.file import FileChannel
from advisor.notify.channels.terminal import TerminalChannel
from advisor.store import Store, outbox

from .conftest import keep

#: giving up after so many deaths has a test of its own; on a slow computer one row may be hit often
PATIENT = Retry(attempts=10_000)


def in_a_process(work):
    """Run `work` in a process of its own; its id. Nothing of this process is cleaned up in it."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            work()
            code = 0
        finally:
            os._exit(code)
    return child


def channels(folder):
    stream = (folder / "terminal.txt").open("a", encoding="utf-8")
    return [TerminalChannel(stream=stream), FileChannel(folder / "notices")]


def check(folder, kept):
    """Every notice is accounted for; printed at most once; its file there once, whole."""
    with Store.open_readonly(folder / "ledger.db") as store:
        rows = outbox.listing(store)
        problems = store.integrity_check()
    assert problems == ()
    terminal = folder / "terminal.txt"
    printed = Counter(terminal.read_text().splitlines()) if terminal.exists() else Counter()
    text = {notice.id: notice.text.strip() for notice in kept}
    assert len(rows) == 2 * len(kept)
    for row in rows:
        if row.channel == "file":
            path = folder / "notices" / f"2026-09-20-evening-{row.notice_id}.txt"
            assert row.state == "sent"
            assert path.read_text() == text[row.notice_id] + "\n"
        else:
            assert row.state in ("sent", "uncertain")
            assert printed[text[row.notice_id]] <= 1
            if row.state == "sent":
                assert printed[text[row.notice_id]] == 1
    assert len(list((folder / "notices").glob("*.txt"))) == len(kept)
    return Counter(row.state for row in rows if row.channel == "terminal")


def test_kills_at_random_moments(tmp_path, now):
    def deliver():
        with Store.open(tmp_path / "ledger.db") as own:
            os.write(started, b".")
            deliver_due(own, channels(tmp_path), now, retry=PATIENT)

    chance = random.Random(20260920)
    kept, kills = [], 0
    while kills < 25:
        # No connection is open in this process while another is forked from it.
        with Store.open(tmp_path / "ledger.db") as store:
            for _ in range(30):
                kept.append(keep(store, f"task {len(kept)}", now, "terminal", "file"))
        finished = False
        while not finished:
            ready, started = os.pipe()
            child = in_a_process(deliver)
            os.close(started)
            os.read(ready, 1)
            os.close(ready)
            if kills < 60:
                time.sleep(chance.uniform(0.0, 0.015))
                os.kill(child, signal.SIGKILL)
            status = os.waitpid(child, 0)[1]
            kills += os.WIFSIGNALED(status)
            finished = os.WIFEXITED(status)
            assert not finished or os.WEXITSTATUS(status) == 0
    check(tmp_path, kept)


@pytest.mark.parametrize("moment", ["before claim", "after claim", "in send", "after send", "after confirm"])
def test_a_kill_at_each_step(tmp_path, now, moment):
    with Store.open(tmp_path / "ledger.db") as store:
        kept = [keep(store, "only", now, "terminal", "file")]

    def die(*_, **__):
        os.kill(os.getpid(), signal.SIGKILL)

    def then_die(function):
        def call(*given, **named):
            function(*given, **named)
            die()

        return call

    def deliver():
        ways = channels(tmp_path)
        if moment == "before claim":
            outbox.claim = die
        elif moment == "after claim":
            outbox.claim = then_die(outbox.claim)
        elif moment == "in send":
            for way in ways:
                way.send = die
        elif moment == "after send":
            for way in ways:
                way.send = then_die(way.send)
        else:
            outbox.settle = then_die(outbox.settle)
        with Store.open(tmp_path / "ledger.db") as own:
            deliver_due(own, ways, now)

    for _ in range(2):  # once in the terminal's row, once in the file's
        child = in_a_process(deliver)
        assert os.WTERMSIG(os.waitpid(child, 0)[1]) == signal.SIGKILL
    with Store.open(tmp_path / "ledger.db") as own:
        deliver_due(own, channels(tmp_path), now)
    states = check(tmp_path, kept)
    certain = moment in ("before claim", "after confirm")
    assert states == {"sent" if certain else "uncertain": 1}


def test_a_power_cut_cannot_take_a_claim_back(store, put, now):
    """The claim waits for the disk (synchronous FULL) before the channel is used."""
    put("t", "a")
    seen = []

    class Look:
        name, idempotent = "a", False

        def send(self, message):
            with store.read() as connection:
                seen.append(connection.execute("PRAGMA synchronous").fetchone()[0])

    deliver_due(store, [Look()], now)
    assert seen == [2]
