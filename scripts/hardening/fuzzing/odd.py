"""Odd words that are put where a reader expects something else, and changes of raw bytes."""

from __future__ import annotations

from random import Random

#: texts that have broken readers elsewhere: empty, blank, extreme, of other scripts, of other grammars
TEXTS: tuple[str, ...] = (
    "", " ", "\t", "\n", "\r\n", "\x00", "a\x00b", "\x1f", "\x7f", "\u2028", "\ufeff", "\ud800", "\U0001f33f", "é",
    "null", "None", "NaN", "nan", "inf", "-inf", "Infinity", "true", "yes", "no", "unknown", "0", "-0", "-1", "1", "00",
    "1e400", "-1e400", "1e308", "1e-320", "0x10", "1_0", "١٢", "²", "½", "1,5", "1.5.5", "--1", "+", "9" * 5000,
    "2026-09-21", "2026-02-30", "2026-13-01", "0000-00-00", "0001-01-01", "9999-12-31", "2026-09-21T12:00",
    "2026-09-21T12:00Z", "2026-09-21T12:00:00+00:00", "2026-09-21T12:30:00+05:30", "0001-01-01T00:00:00+14:00",
    "9999-12-31T23:59:59-14:00", "2026-09-21T24:00:00Z", "2026-W39-1", "20260921", "2026-11-01T01:30", "25:00",
    "23:59", "24:00", "-1:00", "06:00:00.000001", "06:00+05:00", "2026-09-21T12:00:00+00:00/PT6H",
    "2026-09-21T12:00:00+00:00/PT0H", "2026-09-21T12:00:00+00:00/P99999D", "2026-09-21T12:00:00+00:00/PT" + "9" * 5000,
    "2026-09-21T12:00:00+00:00/P1M", "/", "//", "PT6H", "P", "Mon, 21 Sep 2026 12:00:00 GMT",
    "Mon, 01 Jan 0001 00:00:00 +1400", "Fri, 31 Dec 9999 23:59:59 -1400",
    "10 mph", "10 m", "10 degC", "-300 degC", "1e400 mph", "1e308 km", "10 m**9**9**9", "10 m^9^9^9",
    "1 floz/1000 ft^2",
    "10 (((((", "10 m/0", "10 9**9**9", "10 m" + "*m" * 300, "5 %%", "5 delta_degC", "10 x" + " " * 3000 + "y", "°C",
    "1" + ",000" * 400, "1 1" * 800, "10 [m]", "10 __import__('os')", "10 lambda", "10 m;m", "10 m\nm",
    "../../x", "C:\\x", "/etc/passwd", "<b>", "&amp;", "{0}", "{value", "{value.__class__}", "%s", "%n", "'", '"',
    '"""', "''", "`", ";", "=cmd()", "'; drop table records; --", "(" * 200, "[" * 400, "\\u0000", "\\", "a" * 3000,
    "x," * 500, "America", "../America/Chicago", "US/Central ", "z" * 300,
)  # fmt: skip

#: byte sequences that end up in files: marks of order, cut or forbidden UTF-8, other encodings, other formats
BYTES: tuple[bytes, ...] = (
    b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff", b"\x00", b"\xff", b"\x80", b"\xc3", b"\xc0\xaf", b"\xed\xa0\x80",
    b"\xf4\x90\x80\x80", b"\xe2\x80\xa8", b"\x85", b"\x0b", b"\x0c", b"\x1a", b"\r", b"\r\n", b"\n\r", b"\n\n",
    b"\x1f\x8b\x08\x00",
    b"PK\x03\x04", b"<html>", b"<!DOCTYPE", b"{", b"}", b"[", b"]", b'"', b"'", b"=", b",", b";", b":", b"#", b"\\",
    b"\\u", b"\\ud800", b"\\x00", b"%00", b"%", b"%ff", b"&", b"+", b"-", b"e", b"E400", b"9999999999", b"null", b"NaN",
    b'"""', b"'''", b"[[", b"]]", b"\t", b" ",
)  # fmt: skip

#: a text longer than this is never made, so that a slow reader is told from a long file
LONGEST = 200_000


def text(chance: Random) -> str:
    """An odd text; now and then a long one."""
    one = chance.choice(TEXTS)
    if chance.random() < 0.03 and one:
        return (one * (chance.choice((50, 1000, 60_000)) // len(one) + 1))[:60_000]
    return one


def changed(chance: Random, data: bytes) -> bytes:
    """The bytes with one change: some replaced, put in, taken out, doubled or cut off."""
    at = chance.randrange(len(data) + 1)
    far = min(len(data), at + chance.choice((1, 1, 2, 4, 16, 200)))
    kind = chance.randrange(8)
    if kind == 0:
        return data[:at] + bytes([chance.randrange(256)]) + data[at + 1 :]
    if kind == 1:
        return data[:at] + chance.choice(BYTES) + data[at:]
    if kind == 2:
        return data[:at] + chance.choice(BYTES) + data[far:]
    if kind == 3:
        return data[:at] + data[far:]
    if kind == 4:
        return data[:far] + data[at:]
    if kind == 5:
        return data[:at]
    if kind == 6 and at < len(data):
        return data[:at] + bytes([data[at] ^ (1 << chance.randrange(8))]) + data[at + 1 :]
    times = chance.choice((2, 10, 300))
    return (data[:at] + data[at:far] * times + data[far:])[:LONGEST]
