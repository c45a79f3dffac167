"""Pictures of the page for the README, each under 120 kB: python scripts/take_screenshots.py BROWSER FOLDER

With --every as a third word it takes every page whole instead, at both widths, light, dark, in grey and on paper, to be
looked at; these are not kept.
"""

from __future__ import annotations

import io
import shutil
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

from advisor.service.clocks import SetClock
from advisor.service.household import HouseholdService
from advisor.store import Store, payloads
from advisor.weather import site_key
from advisor.web import open_page

ROOT = Path(__file__).resolve().parent.parent
NOW = datetime(2026, 9, 21, 12, tzinfo=UTC)
LARGEST = 120_000
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
             "--disable-component-update", "--disable-sync", "--font-render-hinting=none"]  # fmt: skip
#: name -> (address, width, colour scheme, what is shown: an element, or so many pixels from the top)
PICTURES: dict[str, tuple[str, int, str, str | int]] = {
    "week": ("/", 1200, "light", 1180),
    "rules": ("/", 1200, "light", "figure.multiples"),
    "day": ("/day/2026-09-24", 1200, "light", 980),
    "sequence": ("/sequence", 1200, "light", 760),
    "narrow-dark": ("/", 360, "dark", 1150),
}
#: every page, for those who look at them all
PAGES = {"week": "/", "day": "/day/2026-09-22", "day-against": "/day/2026-09-24", "sequence": "/sequence",
         "start": "/start", "mix": "/mix", "tell": "/tell", "records": "/records", "reviews": "/reviews",
         "almanac": "/almanac", "score": "/score", "sources": "/sources", "settings": "/settings"}  # fmt: skip
#: name -> (width, colour scheme, medium, seen in grey)
LOOKS = {"360-light": (360, "light", "screen", False), "360-dark": (360, "dark", "screen", False),
         "1400-light": (1400, "light", "screen", False), "1400-dark": (1400, "dark", "screen", False),
         "1400-grey": (1400, "light", "screen", True), "paper": (760, "light", "print", False)}  # fmt: skip


def demo_home(folder: Path) -> Path:
    """A copy of the invented household with its invented forecast."""
    home = folder / "prairie-lawn"
    shutil.copytree(ROOT / "fixtures" / "prairie-lawn", home)
    service = HouseholdService.open(home)
    body = (ROOT / "fixtures" / "weather" / "prairie-open-meteo.json").read_bytes()
    with Store.open(service.database) as store:
        payloads.add(store, source="open-meteo", site=site_key(service.household.site), url="https://example.org/forecast",
                     body=body, fetched_at=NOW)  # fmt: skip
    return home


def taken(browser, address: str, width: int, scheme: str, shown: str | int) -> bytes:
    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
    page = context.new_page()
    page.goto(address)
    if isinstance(shown, str):
        picture = page.locator(shown).first.screenshot()
    else:
        picture = page.screenshot(full_page=True, clip={"x": 0, "y": 0, "width": width, "height": shown})
    context.close()
    return picture


def every_page(browser, address: str, folder: Path) -> None:
    """Each page whole, in every look."""
    for look, (width, scheme, medium, grey) in LOOKS.items():
        context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
        page = context.new_page()
        page.emulate_media(media=medium, color_scheme=scheme)
        if grey:
            client = context.new_cdp_session(page)
            client.send("Emulation.setEmulatedVisionDeficiency", {"type": "achromatopsia"})
        for name, path in PAGES.items():
            page.goto(address + path)
            page.screenshot(path=folder / f"{name}-{look}.png", full_page=True)
        context.close()


def small(picture: bytes) -> bytes:
    """The same in as many shades as fit."""
    image = Image.open(io.BytesIO(picture)).convert("RGB")
    for colours in (128, 64, 32, 16, 8):
        out = io.BytesIO()
        image.quantize(colours, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
        if out.tell() <= LARGEST:
            break
    return out.getvalue()


def main(browser_path: str, folder: Path, every: bool = False) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as place, sync_playwright() as driver:
        service = HouseholdService.open(demo_home(Path(place)))
        browser = driver.chromium.launch(executable_path=browser_path, args=ARGUMENTS)
        with open_page(service, SetClock(NOW), None, port=0) as server:
            if every:
                every_page(browser, server.address.rstrip("/"), folder)
            for name, (path, width, scheme, shown) in () if every else PICTURES.items():
                data = small(taken(browser, server.address.rstrip("/") + path, width, scheme, shown))
                (folder / f"{name}.png").write_bytes(data)
                print(f"{folder / name}.png  {len(data) / 1000:.0f} kB")
        browser.close()


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), sys.argv[3:] == ["--every"])
