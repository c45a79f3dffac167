"""Whether a page, a twin or a calendar with odd words in it is what it is with plain ones."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser

from icalendar import Calendar


class Skeleton(HTMLParser):
    """What a browser would make elements and attributes of; text does not count."""

    def __init__(self, text: str):
        super().__init__()
        self.tags: list[str] = []
        self.dangers: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append(f"{tag} {' '.join(name for name, _ in attrs)}")
        for name, value in attrs:
            if name.startswith("on") or (
                name in ("href", "src", "action", "formaction") and _leads_away(value or "")
            ):
                self.dangers.append(f"{tag} {name}={value}")
        if tag in ("script", "iframe", "object", "embed", "base", "foreignobject"):
            self.dangers.append(tag)

    def handle_endtag(self, tag):
        self.tags.append(f"/{tag}")


def _leads_away(address: str) -> bool:
    if address.startswith("data:image/svg+xml,%3Csvg xmlns="):
        return False  # the mark of the pages, which stands in them
    return bool(re.match(r"\s*(?:[a-z][a-z0-9+.-]*:|//|\\)", address, re.IGNORECASE))


def compared(text: str, beside: str) -> tuple[bool, str]:
    """Whether the page has the very elements of the page with plain words, and nothing dangerous."""
    seen, expected = Skeleton(text), Skeleton(beside)
    if seen.dangers:
        return False, f"{seen.dangers[:2]}"
    if seen.tags != expected.tags:
        at = next(
            (at for at, pair in enumerate(zip(seen.tags, expected.tags, strict=False)) if pair[0] != pair[1]),
            -1,
        )
        one, other = (tags[at] if tags else "nothing" for tags in (seen.tags, expected.tags))
        return False, f"other elements: {one!r} where {other!r} was expected"
    if str(1237 * 7919) in text:
        return False, "a template was carried out"
    return True, f"{len(seen.tags)} tags as with plain words"


def twins_alike(text: str, beside: str) -> tuple[bool, str]:
    """A JSON twin is JSON of the same shape, and no browser takes it for a page."""
    data, other = json.loads(text), json.loads(beside)
    same = _shape(data) == _shape(other)
    return same, "the same shape" if same else "another shape"


def _shape(data):
    if isinstance(data, dict):
        return {key: _shape(value) for key, value in data.items()}
    if isinstance(data, list):
        return [_shape(one) for one in data]
    return type(data).__name__


def calendars_alike(text: str, beside: str) -> tuple[bool, str]:
    """The lines are as many, none is longer than 75 octets, and there are the same events with the same properties."""
    lines = text.encode().split(b"\r\n")
    long = [line for line in lines if len(line) > 75]
    bare = b"\n" in text.encode().replace(b"\r\n", b"") or b"\r" in text.encode().replace(b"\r\n", b"")

    def events(whole):
        return [sorted(event.keys()) for event in Calendar.from_ical(whole).walk()]

    same = events(text) == events(beside)
    return (
        same and not long and not bare,
        f"{len(lines)} lines, {len(long)} too long, {'the same' if same else 'other'} events",
    )
