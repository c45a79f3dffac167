"""How a notice is laid out: answer, reason, next chance, wait or go; mix; cautions; forecast. As text and as HTML.

What stands before the cautions is at most `MOST_WORDS` words, so that it is heard to the end when it is read aloud.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from html import escape

MOST_WORDS = 60
_ROOM_FOR_WHY = 8
#: more names of areas than this are counted instead; fewer where words are short
MOST_NAMES = (3, 1, 0)
CAUTIONS_TITLE, DETAIL_TITLE = "Before you start:", "The mix, area by area:"

#: a window of go starts, UTC text of the first and the last start
Windows = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class NoticeText:
    """A notice in words.

    `day` is the local day that it speaks of; `answer` what it says of each task in one word, and of a go its starts, so
    that it changes when the answer does; `says` changes when anything changes that is worth telling again.
    """

    kind: str
    day: date
    subject: str
    text: str
    answer: str
    html: str = ""
    says: str = ""
    #: by task and pass, "treatment/area#2": the verdict of the day and its windows
    verdicts: Mapping[str, str] = field(default_factory=dict)
    windows: Mapping[str, Windows] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Parts:
    """`why` and `mix` hold the same in several lengths, the longest first: the longest that leaves room is told.

    `mix_detail` is told after the cautions where only a shorter mix had room; `after` are further lists with titles.
    """

    answer: str
    why: Sequence[str]
    chance: str
    wait: str = ""
    mix: Sequence[str] = ("",)
    mix_detail: Sequence[str] = ()
    cautions: Sequence[str] = ()
    foot: Sequence[str] = ()
    after: Sequence[tuple[str, Sequence[str]]] = ()

    def lead(self) -> tuple[list[str], str]:
        """The lines before the mix, and the mix: together at most `MOST_WORDS` words.

        The answer and the next chance are never shortened.
        """
        for wait in dict.fromkeys((self.wait, "")):
            for mix in self.mix:
                for why in self.why:
                    lines = [line for line in (self.answer, why, self.chance, wait) if line]
                    if words([*lines, mix]) <= MOST_WORDS:
                        return lines, mix
        if not self.fits():
            return [self.answer, self.chance], ""
        mix = self.mix[-1]
        left = MOST_WORDS - words([self.answer, self.chance, mix])
        why = _clipped(self.why[-1], left)
        return [line for line in (self.answer, why, self.chance) if line], mix

    def fits(self) -> bool:
        """Whether there is room for what is never shortened, and for a little of the reason."""
        return words([self.answer, self.chance, self.mix[-1]]) <= MOST_WORDS - _ROOM_FOR_WHY

    def lists(self) -> list[tuple[str, Sequence[str]]]:
        """What stands after the lead: the cautions first."""
        shortened = self.mix_detail and self.lead()[1] != self.mix[0]
        mix = [(DETAIL_TITLE, self.mix_detail)] if shortened else []
        return [(CAUTIONS_TITLE, self.cautions), *mix, *((title, lines) for title, lines in self.after if lines)]


def fitted(make: Callable[[int], Parts]) -> Parts:
    """The parts with as many areas by name as leave room; `make` gives them for so many names."""
    for most in MOST_NAMES:
        parts = make(most)
        if parts.fits():
            break
    return parts


def words(lines: Sequence[str]) -> int:
    return sum(len(line.split()) for line in lines)


def _clipped(text: str, most: int) -> str:
    found = text.split()
    if len(found) <= most:
        return text
    return " ".join(found[:most]).rstrip(",;:.") + "..." if most > 3 else ""


def as_text(parts: Parts) -> str:
    lines, mix = parts.lead()
    lines += ["", mix] if mix else []
    for title, found in parts.lists():
        lines += ["", title, *(f"- {line}" for line in found)]
    return "\n".join([*lines, "", *parts.foot])


_BODY = "font-family:Georgia,'Times New Roman',serif;font-size:16px;line-height:1.45;max-width:38em;margin:1em"


def as_html(parts: Parts, subject: str) -> str:
    """The same words for a mail program: no image, no script, nothing from elsewhere; everything escaped."""
    (answer, *rest), mix = parts.lead()
    body = [f'<p style="font-size:1.2em;margin:0 0 .5em"><strong>{escape(answer)}</strong></p>']
    body += [f'<p style="margin:.3em 0">{escape(line)}</p>' for line in rest]
    body += [f"<p>{escape(mix)}</p>"] if mix else []
    body += [_list(title, found) for title, found in parts.lists()]
    body.append('<p style="font-size:.9em">' + "<br>\n".join(escape(line) for line in parts.foot) + "</p>")
    inside = "\n".join(body)
    return (
        f'<!doctype html>\n<html lang="en">\n<head><meta charset="utf-8"><title>{escape(subject)}</title></head>\n'
        f'<body style="{_BODY}">\n{inside}\n</body>\n</html>\n'
    )


def _list(title: str, lines: Sequence[str]) -> str:
    items = "\n".join(f"<li>{escape(line)}</li>" for line in lines)
    return f'<p style="margin:1em 0 .2em"><strong>{escape(title)}</strong></p>\n<ul>\n{items}\n</ul>'
