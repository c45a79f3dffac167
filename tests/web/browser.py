"""Debian's Chromium, driven by playwright; what is missing is said, so that a test can skip with it."""

from __future__ import annotations

import os
import shutil
from contextlib import contextmanager

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
