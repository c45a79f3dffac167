"""Changes of a JSON document that keep most of it whole, so that they reach past the decoder."""

from __future__ import annotations

import json
from random import Random
from typing import Any

from hardening.fuzzing import odd

#: JSON that the standard writer would not write
_RAW = (
    "null", "true", "false", "0", "-0", "-1", "1", "0.5", "1e308", "-1e308", "1e400", "-1e400", "1e-400", "NaN",
    "Infinity",
    "-Infinity", "12345678901234567890123", "9" * 5000, "[]", "{}", "[[]]", "[null]", '""', '"\\ud800"',
    '"\\udfff\\ud800"',
    '"\\u0000"', '{"value": null}', '{"value": 1, "unitCode": "wmoUnit:degC"}', '{"": {}}', "[1, 2]",
    "[[[0, 1], [2, 3]]]",
    '["a", "b", "c"]', "[1e400, 1]", "[0, 0, 1e400]", "[91, 181]", "[" * 200 + "]" * 200, "[" * 900 + "]" * 900,
    '{"a":' * 300 + "1" + "}" * 300, "01", "1.", "'x'", "undefined", "[1,]", "1 2",
)  # fmt: skip
_MARK = "\x02raw%d\x03"


def changed(chance: Random, data: bytes, others: list[bytes]) -> bytes:
    """The document with one to four parts replaced, left out, doubled, renamed or moved."""
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):
        return odd.changed(chance, data)
    raw: list[str] = []
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        document = _one(chance, document, raw, others)
    try:
        text = json.dumps(document, ensure_ascii=chance.random() < 0.7)
    except RecursionError:
        return data
    for at, what in enumerate(raw):
        mark = json.dumps(_MARK % at)
        text = text.replace(mark, what).replace(json.dumps(_MARK % at, ensure_ascii=False), what)
    return text[: odd.LONGEST].encode("utf-8", "surrogatepass")


def _one(chance: Random, document: Any, raw: list[str], others: list[bytes]) -> Any:
    path = _path(chance, document)
    if not path:
        return document if isinstance(document, dict | list) and document else _value(chance, raw)
    holder = document = _copied(document, path)
    for step in path[:-1]:
        holder = holder[step]
    last = path[-1]
    kind = chance.randrange(11)
    if kind <= 3:
        holder[last] = _value(chance, raw)
    elif kind == 4:
        del holder[last]
    elif kind == 5 and isinstance(holder, dict):
        holder[chance.choice((str(last) + "x", odd.text(chance), str(last).upper(), str(last)[:-1]))] = (
            holder.pop(last)
        )
    elif kind == 6 and isinstance(holder, dict):
        # the same key twice: a mark stands for the one in front
        raw.append(json.dumps(str(last)))
        told = holder.pop(last)
        holder[_MARK % (len(raw) - 1)] = chance.choice((0, None, "x", []))
        holder[str(last)] = told
    elif kind == 7 and isinstance(holder, list):
        few = chance.choice((0, 1, 2, len(holder) * 2, 2000))
        holder[:] = (holder * (few // max(len(holder), 1) + 1))[:few]
    elif kind == 8 and isinstance(holder, list):
        chance.shuffle(holder)
    elif kind == 9:
        holder[last] = _part(chance, others, raw)
    else:
        holder[last] = [holder[last]] if chance.random() < 0.5 else {"value": holder[last]}
    return document


def _path(chance: Random, document: Any) -> list:
    """A way down into the document; the upper parts are chosen as often as the leaves."""
    path: list = []
    here = document
    while isinstance(here, dict | list) and here and (not path or chance.random() < 0.8):
        step = chance.choice(list(here)) if isinstance(here, dict) else chance.randrange(len(here))
        path.append(step)
        here = here[step]
    return path


def _copied(document: Any, path: list) -> Any:
    """The document with the parts along a path copied, so that the given one stays as it is."""
    top = here = document.copy()
    for step in path[:-1]:
        here[step] = here[step].copy()
        here = here[step]
    return top


def _value(chance: Random, raw: list[str]) -> Any:
    if chance.random() < 0.5:
        return odd.text(chance)
    raw.append(chance.choice(_RAW))
    return _MARK % (len(raw) - 1)


def _part(chance: Random, others: list[bytes], raw: list[str]) -> Any:
    """A part of another document of the same reader."""
    try:
        here = json.loads(chance.choice(others))
    except (ValueError, IndexError):
        return _value(chance, raw)
    for step in _path(chance, here):
        here = here[step]
    return here
