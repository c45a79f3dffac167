"""Readers at once while cycles run, and the proof that a lost cycle and a failed request are noticed."""

from __future__ import annotations

import sys
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "scripts"))

from hardening import load  # noqa: E402


def test_a_few_readers_for_a_moment():
    tally, cycles, wrong = load.measured(4.0, seed=1, readers=5)
    assert not tally.errors and not wrong
    assert len(tally.waits) >= 10 and cycles.done >= 1 and cycles.lost == 0
    assert set(tally.statuses) <= {200, 303, 304}


# begin and end of cycles, due at 0, 3, 6 and 9
@pytest.mark.parametrize(
    ("cycles", "expected"),
    [
        ([(0.0, 0.5), (3.0, 3.1), (6.1, 6.2), (9.0, 9.9)], load.Beats(4, 4, 0, 0)),
        ([(0.0, 0.5), (3.0, 3.1), (9.0, 9.9)], load.Beats(4, 3, 0, 1)),
        ([(0.0, 4.5), (6.0, 6.1), (9.0, 9.9)], load.Beats(4, 3, 1, 0)),
        ([(0.0, 0.5), (3.0, 3.1), (6.0, 6.1)], load.Beats(4, 3, 0, 1)),
        ([], load.Beats(4, 0, 0, 4)),
    ],
)
def test_cycles_are_counted(cycles, expected):
    assert load.beats(cycles, 0.0, 12.0, 3.0) == expected


def test_a_lost_cycle_is_a_survivor():
    tally = load.Tally(waits=[0.1, 0.2])
    assert [one.survivors for one in load.lines(tally, load.Beats(4, 3, 0, 1), [], 1.0)] == [0, 1]
    assert [one.survivors for one in load.lines(tally, load.Beats(4, 4, 0, 0), ["x"], 1.0)] == [0, 1]


@pytest.mark.parametrize("how", ["status", "break", "empty"])
def test_a_failed_request_is_a_survivor(how):
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self):  # noqa: N802
            if how == "break":
                self.close_connection = True
                return
            self.send_response(500 if how == "status" else 200)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_):
            pass

    tally, ending = load.Tally(), threading.Event()
    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
        reader = threading.Thread(
            target=load.read, args=(server.server_port, ending, 1, tally, threading.Lock(), False)
        )
        reader.start()
        ending.wait(0.5)
        ending.set()
        reader.join(10.0)
        server.shutdown()
    assert tally.errors
    assert load.lines(tally, load.Beats(1, 1, 0, 0), [], 0.5)[0].survivors == len(tally.errors)


def test_the_waits_are_told_by_their_share():
    tally = load.Tally(waits=[at / 100.0 for at in range(100, 0, -1)])
    assert (tally.wait(0.5), tally.wait(0.95), tally.wait(0.99), tally.wait(1.0)) == (0.51, 0.96, 1.0, 1.0)
