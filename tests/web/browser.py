"""Debian's Chromium, driven by playwright, and what it is asked of a page; what is missing is said, so that a test can
skip with it."""

from __future__ import annotations

import os
import shutil
from contextlib import contextmanager

from tests.web.contrast import over, parse, ratio

ARGUMENTS = ("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
             "--disable-component-update", "--disable-sync")  # fmt: skip


def missing() -> str:
    """Why no browser can be had; empty when one can."""
    if find() is None:
        return "no Chromium here: scripts/install-browser gets one"
    try:
        import playwright.sync_api  # noqa: F401
    except ImportError:
        return "the package playwright is absent: scripts/install-browser gets it"
    return ""


def find() -> str | None:
    named = os.environ.get("ADVISOR_BROWSER")
    found = (shutil.which(one) for one in (*([named] if named else []), "chromium", "chromium-browser"))
    return next((one for one in found if one), None)


@contextmanager
def launched():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=find(), args=list(ARGUMENTS))
        try:
            yield browser
        finally:
            browser.close()


#: every piece of text that is seen: its colour, what lies behind it, its size and weight
SEEN_TEXT = """() => {
  const out = new Map();
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const words = walker.currentNode.textContent.trim(), node = walker.currentNode.parentElement;
    if (!words || node.closest('title, option, .skip') || node.closest('details:not([open]) > :not(summary)')) continue;
    const box = node.getBoundingClientRect();
    if (!box.width || !box.height || box.right < 0) continue;
    const style = getComputedStyle(node), grounds = [];
    if (style.visibility === 'hidden') continue;
    let opacity = 1;
    for (let up = node; up; up = up.parentElement) {
      const its = getComputedStyle(up);
      opacity *= parseFloat(its.opacity);
      if (!(up instanceof SVGElement)) grounds.push(its.backgroundColor);
    }
    const colour = node instanceof SVGElement ? style.fill : style.color;
    const key = [colour, opacity, grounds.join('|'), style.fontSize, style.fontWeight].join(';');
    if (!out.has(key)) out.set(key, {colour, opacity, grounds, size: parseFloat(style.fontSize),
                                     weight: parseInt(style.fontWeight), words: words.slice(0, 40)});
  }
  return [...out.values()];
}"""


def ground(colours: list[str]):
    """The colour behind, from the innermost ground outward until one is opaque."""
    layers = []
    for text in colours:
        colour, opacity = parse(text)
        layers.append((colour, opacity))
        if opacity == 1.0:
            break
    behind = layers.pop()[0] if layers and layers[-1][1] == 1.0 else (255.0, 255.0, 255.0)
    for colour, opacity in reversed(layers):
        behind = over(colour, opacity, behind)
    return behind


def poor_contrast(page) -> list[str]:
    out = []
    for one in page.evaluate(SEEN_TEXT):
        behind = ground(one["grounds"])
        colour, opacity = parse(one["colour"])
        found = ratio(over(colour, opacity * one["opacity"], behind), behind)
        large = one["size"] >= 24 or one["size"] >= 18.66 and one["weight"] >= 700
        if found < (3.0 if large else 4.5):
            out.append(f"{one['words']!r}: {found:.2f}")
    return out


def opened(browser, address, path, told, **settings):
    """A page of its own context; everything that the browser complains of goes into `told`."""
    context = browser.new_context(**settings)
    page = context.new_page()
    page.on(
        "console",
        lambda message: told.append(f"{path}: {message.type}: {message.text} ({message.location['url']})"),
    )
    page.on("pageerror", lambda error: told.append(f"{path}: {error}"))
    page.on("requestfailed", lambda request: told.append(f"{path}: failed {request.url}"))
    page.on(
        "request",
        lambda request: None if request.url.startswith(address) else told.append(f"outside: {request.url}"),
    )
    page.on(
        "response", lambda answer: answer.status < 400 or told.append(f"{path}: {answer.status} {answer.url}")
    )
    page.goto(address + path)
    return context, page
