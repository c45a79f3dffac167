"""Changes of the files that people write: TOML by line, tables of cells, forms by field, addresses."""

from __future__ import annotations

import re
from random import Random
from urllib.parse import quote, quote_plus

from hardening.fuzzing import odd

#: values of TOML that a household never writes
_TOML = (
    "nan", "inf", "-inf", "+1", "1e400", "0x" + "F" * 6000, "9" * 5000, "0b1", "0o7", "-0", "true", "false",
    "[]", "{}", "[[]]",
    "[1, \"a\"]", "[{}]", "{a = 1}", "[" * 300 + "]" * 300, "[" * 3000 + "]" * 3000, "{a=" * 300 + "1" + "}" * 300,
    "2026-09-21", "0001-01-01", "9999-12-31", "2026-09-21T12:00:00Z", "0001-01-01T00:00:00+14:00", "07:32:00",
    "23:59:59.999999", "2026-02-30", '""', "''", '"""\n"""', "'''a'b'''", '"\\u0000"', '"\\ud800"', '"\\U00110000"',
    '"""a\\\n  b"""""', "'''''a'''''", '"a\\"]#b"', "1.", ".5", "1__0", "bare", "", "[1,,2]", '["a",\n#x\n"b",]',
)  # fmt: skip
_NUMBERS = re.compile(r"\d{4}-\d\d-\d\d|\d+(?:\.\d+)?")
_NEAR = ("0", "1", "2", "3", "7", "12", "23", "24", "45", "59", "60", "89.99", "90", "100", "179.9", "180",
         "365", "1000", "5280",
         "99999", "0.0001", "0.5", "1e-9", "-0", "-1", "-40")  # fmt: skip
_DATES = ("0001-01-01", "1582-10-15", "1970-01-01", "2024-02-29", "2026-03-08", "2026-09-20", "2026-09-21",
          "2026-09-22",
          "2026-11-01", "2100-02-28", "9999-12-31")  # fmt: skip


def toml(chance: Random, data: bytes, others: list[bytes]) -> bytes:
    """The file with one to four lines changed."""
    lines = data.decode("utf-8", "replace").split("\n")
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        at = chance.randrange(len(lines))
        kind = chance.randrange(16)
        if kind >= 11:
            lines[at] = near(chance, lines[at])
        elif kind <= 3 and "=" in lines[at]:
            key = lines[at].partition("=")[0]
            lines[at] = f"{key}= {_toml_value(chance)}"
        elif kind == 4:
            del lines[at]
        elif kind == 5:
            lines.insert(at, lines[chance.randrange(len(lines))])
        elif kind == 6:
            other = chance.choice(others).decode("utf-8", "replace").split("\n")
            lines[at] = chance.choice(other)
        elif kind == 7:
            name = chance.choice(
                ("a", "a.b", '"a b"', '""', "limit", "measure", "site.latitude", "area", "'x\"y'")
            )
            lines.insert(at, chance.choice((f"[{name}]", f"[[{name}]]", f"{name} = {_toml_value(chance)}")))
        elif kind == 8:
            lines[at] = re.sub(r'"[^"]*"', lambda _: _quoted(odd.text(chance)), lines[at], count=1)
        elif kind == 9:
            lines[at] = lines[at].replace("=", chance.choice((".x =", "==", " ", "= {y =", "=\n")), 1)
        else:
            lines[at] += chance.choice((" # x", "\r", " \x00", "]", '"', ", 1", "\\"))
        lines = lines or [""]
    ending = chance.choice(("\n",) * 8 + ("\r\n", "\r"))
    return ending.join(lines)[: odd.LONGEST].encode("utf-8", "surrogatepass")


def near(chance: Random, text: str) -> str:
    """The text with one of its dates or numbers replaced, so that most readers still take it."""
    found = list(_NUMBERS.finditer(text))
    if not found:
        return text
    one = chance.choice(found)
    return text[: one.start()] + chance.choice(_DATES if "-" in one[0] else _NEAR) + text[one.end() :]


def _toml_value(chance: Random) -> str:
    return chance.choice(_TOML) if chance.random() < 0.5 else _quoted(odd.text(chance))


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(char if char >= " " else f"\\u{ord(char):04x}" for char in escaped) + '"'


def table(chance: Random, data: bytes, others: list[bytes]) -> bytes:
    """The table with cells, rows, columns, quotes and line ends changed."""
    rows = [line.split(",") for line in data.decode("utf-8", "replace").split("\n")]
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        at = chance.randrange(len(rows))
        column = chance.randrange(len(rows[at])) if rows[at] else 0
        kind = chance.randrange(14)
        if kind >= 11 and rows[at]:
            rows[at][column] = near(chance, rows[at][column])
        elif kind <= 4 and rows[at]:
            cell = odd.text(chance)
            rows[at][column] = chance.choice(
                (cell, cell, f'"{cell}"', f'"{cell}', f'{cell}"', f'"a""{cell}"')
            )
        elif kind == 5 and rows[at]:
            del rows[at][column]
        elif kind == 6:
            rows[at].insert(column, odd.text(chance))
        elif kind == 7:
            del rows[at]
        elif kind == 8:
            times = chance.choice((1, 2, 200))
            rows[at:at] = [list(rows[at]) for _ in range(times)]
        elif kind == 9:
            rows[at] = chance.choice(others).decode("utf-8", "replace").split("\n")[0].split(",")
        elif rows[at]:
            rows[at][column] = '"' + "a" * chance.choice((10, 140_000)) + '"'
        rows = rows or [[""]]
    ends = ("\n",) * 8 + ("\r\n", "\r", "\n\n", "\u2028")
    apart = chance.choice((",",) * 8 + (";", "\t", ", "))
    ending = chance.choice(ends)
    text = ending.join(apart.join(row) for row in rows)
    return text[: odd.LONGEST].encode("utf-8", "surrogatepass")


def form(chance: Random, data: bytes, others: list[bytes]) -> bytes:
    """An encoded form with fields left out, doubled, changed, added, or encoded as no browser does."""
    fields = [part.partition(b"=")[::2] for part in data.split(b"&")]
    for _ in range(chance.choice((1, 1, 2, 3))):
        at = chance.randrange(len(fields))
        name = fields[at][0]
        kind = chance.randrange(9)
        if kind <= 4:
            fields[at] = name, _encoded(chance, odd.text(chance))
        elif kind == 5:
            del fields[at]
        elif kind == 6:
            fields.append((name, _encoded(chance, odd.text(chance))))
        elif kind == 7:
            fields.append((_encoded(chance, odd.text(chance)), b"1"))
        else:
            fields += [(b"f%d" % number, b"x") for number in range(chance.choice((3, 60, 1500)))]
        fields = fields or [(b"", b"")]
    joint = chance.choice((b"&",) * 8 + (b";", b"&&"))
    return joint.join(name + b"=" + value for name, value in fields)[: odd.LONGEST]


def _encoded(chance: Random, text: str) -> bytes:
    kind = chance.randrange(6)
    if kind == 0:
        return quote(text, safe="", errors="surrogatepass").encode()
    if kind == 1:
        return text.encode("utf-16", "surrogatepass")
    if kind == 2:
        return text.encode("utf-8", "surrogatepass")
    if kind == 3:
        return (
            chance.choice((b"%", b"%f", b"%ff%fe", b"%u1234", b"%00", b"%ed%a0%80", b"+"))
            + quote_plus(text, errors="replace").encode()
        )
    return quote_plus(text, errors="replace").encode()


def address(chance: Random, data: bytes, others: list[bytes]) -> bytes:
    """A path with its query: other parts, other fields, other encodings."""
    path, mark, query = data.partition(b"?")
    kind = chance.randrange(5)
    if kind == 0:
        steps = path.split(b"/")
        steps[chance.randrange(len(steps))] = _encoded(chance, odd.text(chance))
        path = b"/" + b"/".join(steps).lstrip(b"/")
    elif kind == 1:
        path += chance.choice(
            (b"/", b".json", b".json/", b"/x", b"//", b"/..", b";x", b"%2f", b".JSON", b"%00")
        )
    else:
        fields = (
            query
            if query
            else chance.choice((b"at=1", b"task=a", b"card=x", b"kept=1", b"back=/", b"began=1"))
        )
        query, mark = form(chance, fields, others), b"?"
    return (path + mark + query).split(b"\n")[0].replace(b"\r", b"").replace(b" ", b"%20")[:8000]


def word(chance: Random, data: bytes, others: list[bytes]) -> bytes:
    """A short text replaced, or joined with an odd one."""
    text, strange = data.decode("utf-8", "replace"), odd.text(chance)
    at = chance.randrange(len(text) + 1)
    made = (
        strange,
        text[:at] + strange,
        strange + text[at:],
        text[:at] + strange + text[at:],
        f"{text} {strange}",
    )
    return chance.choice(made)[: odd.LONGEST].encode("utf-8", "surrogatepass")
