"""Reading a page as a program does: its links, headings, forms and words."""

from __future__ import annotations

import re
from html.parser import HTMLParser

PAGES = ("/", "/day/2026-09-23", "/sequence", "/start", "/mix", "/tell", "/records", "/reviews", "/almanac", "/score",
         "/sources", "/settings")  # fmt: skip
VOID = {"meta", "link", "input", "br", "img", "hr", "line", "rect", "path", "circle"}


class Seen(HTMLParser):
    """What stands on a page. `open_tags` is empty at the end when every tag was closed in order."""

    def __init__(self, text: str):
        super().__init__()
        self.links: list[tuple[str, str]] = []
        self.headings: list[tuple[str, str]] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open_tags: list[str] = []
        self.faults: list[str] = []
        self.words = ""
        self._capturing: list[tuple[str, list[str], str]] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.tags.append((tag, given))
        if tag not in VOID:
            self.open_tags.append(tag)
        if tag in ("a", "h1", "h2", "h3"):
            self._capturing.append((tag, [], given.get("href") or ""))

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if tag in VOID:
            return
        if not self.open_tags or self.open_tags[-1] != tag:
            self.faults.append(f"</{tag}> while {self.open_tags[-3:]} are open")
        else:
            self.open_tags.pop()
        if self._capturing and self._capturing[-1][0] == tag:
            name, parts, href = self._capturing.pop()
            words = re.sub(r"\s+", " ", "".join(parts)).strip()
            if name == "a":
                self.links.append((href, words))
            else:
                self.headings.append((name, words))

    def handle_data(self, data):
        self.words += data
        for _, parts, _ in self._capturing:
            parts.append(data)


def seen(response) -> Seen:
    return Seen(response.get_data(as_text=True))


def token(client, path: str = "/tell") -> str:
    """The form token of a page, with its cookie kept by the client."""
    found = re.search(r'name="token" value="([^"]+)"', client.get(path).get_data(as_text=True))
    return found.group(1)
