"""Answers that are larger than they should be, or never end."""

from __future__ import annotations

import gzip
import socket
import time
from collections.abc import Callable, Iterator

from hardening.web.attack import Attack
from hardening.web.mouth import Mouth, asked_of, sent_to, whole


def attacks() -> Iterator[Attack]:
    """Answers that are larger than they should be, or never end."""

    def says(speak: Callable[[socket.socket], None], *words: str, most: float = 4.0, send=asked_of):
        def run(world):
            with Mouth(lambda connection, line: speak(connection)) as mouth:
                began = time.monotonic()
                told = send(f"http://127.0.0.1:{mouth.port}/")
                took = time.monotonic() - began
                return any(word in told for word in words) and took < most, f"{told} ({took:.1f} s)"

        return run

    head = b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n"

    def repeat(piece: bytes, times: int, pause: float = 0.0):
        def speak(connection: socket.socket) -> None:
            for _ in range(times):
                connection.sendall(piece)
                if pause:
                    time.sleep(pause)

        return speak

    def after(beginning: bytes, then: Callable[[socket.socket], None]):
        def speak(connection: socket.socket) -> None:
            connection.sendall(beginning)
            then(connection)

        return speak

    bomb = gzip.compress(b"[" + b" " * 60_000_000 + b"]", 1)
    squeezed = head + b"Content-Encoding: gzip\r\nContent-Length: %d\r\n\r\n" % len(bomb)
    late, large = "not complete after", "larger than"
    rows = {
        "a body of 4 MB, cap 0.2 MB": (after(head + b"\r\n", repeat(b"x" * 40_000, 100)), (large,)),
        "a body that announces 9 TB": (
            after(head + b"Content-Length: 9999999999999\r\n\r\n", repeat(b"x" * 40_000, 100)),
            (large,),
        ),
        "a body in chunks without end": (
            after(
                head + b"Transfer-Encoding: chunked\r\n\r\n",
                repeat(b"9c40\r\n" + b"x" * 40_000 + b"\r\n", 100),
            ),
            (large,),
        ),
        "60 MB packed into 60 kB": (after(squeezed, lambda one: one.sendall(bomb)), (large,)),
        "packed twice": (
            after(
                head + b"Content-Encoding: gzip, gzip\r\nConnection: close\r\n\r\n",
                lambda one: one.sendall(gzip.compress(bomb)),
            ),
            (large, "damaged", "JSON"),
        ),
        "a body, a byte each 50 ms": (after(head + b"\r\n", repeat(b"x", 100, 0.05)), (late,)),
        "a head, a byte each 50 ms": (after(b"HTTP/1.1 200 OK\r\nX: ", repeat(b"x", 100, 0.05)), (late,)),
        "a first line, a byte each 50 ms": (after(b"HTTP/1.1 ", repeat(b"2", 100, 0.05)), (late, "broke")),
        "chunks' lengths, a byte each 50 ms": (
            after(head + b"Transfer-Encoding: chunked\r\n\r\n", repeat(b"0", 100, 0.05)),
            (late,),
        ),
        "silence": (lambda one: time.sleep(4.0), (late, "silent", "did not answer")),
        "silence within the body": (
            after(head + b"Content-Length: 9\r\n\r\n[", lambda one: time.sleep(4.0)),
            (late, "stopped"),
        ),
        "5,000 headers": (
            after(head, repeat(b"X-Name: value\r\n" * 50, 100)),
            ("failed", "cannot be reached", "broke"),
        ),
        "a header of 1 MB": (
            after(head + b"X: ", repeat(b"y" * 40_000, 25)),
            ("failed", "cannot be reached", "broke"),
        ),
        "a first line of 1 MB": (repeat(b"z" * 40_000, 25), ("failed", "cannot be reached", "broke")),
        "interim answers without end": (
            repeat(b"HTTP/1.1 100 Continue\r\n\r\n", 3000, 0.002),
            (late, "broke", "cannot be reached"),
        ),
        "a redirection with a body without end": (
            after(
                b"HTTP/1.1 302 Found\r\nLocation: http://10.0.0.1/\r\n\r\n", repeat(b"x" * 40_000, 100_000)
            ),
            ("not public",),
        ),
        "a page of the web": (
            lambda one: one.sendall(whole(b"<html>").replace(b"application/json", b"text/html")),
            ("a web page",),
        ),
        "JSON 30,000 brackets deep": (
            lambda one: one.sendall(whole(b"[" * 30_000 + b"]" * 30_000)),
            ("JSON", "deep", "nested"),
        ),
    }
    for name, (speak, words) in rows.items():
        yield Attack("endless answer", name, "given up in time", says(speak, *words))

    def hook(speak, *words: str):
        return says(speak, *words, send=sent_to)

    yield Attack(
        "endless answer",
        "a webhook's body without end",
        "not read",
        hook(after(b"HTTP/1.1 200 OK\r\n\r\n", repeat(b"x" * 40_000, 4000)), "taken"),
    )
    yield Attack(
        "endless answer",
        "a webhook's redirection with a body without end",
        "not read",
        hook(
            after(b"HTTP/1.1 307 X\r\nLocation: http://10.0.0.1/\r\n\r\n", repeat(b"x" * 40_000, 100_000)),
            "307",
        ),
    )
    yield Attack(
        "endless answer",
        "a webhook's first line, a byte each 50 ms",
        "given up in time",
        hook(after(b"HTTP/1.1 ", repeat(b"2", 100, 0.05)), "broke"),
    )
