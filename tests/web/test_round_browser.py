"""The page of several lawns in a real browser: both widths, light, dark and paper, links without scripts, a form.

The contrast formula and its limits are those of the W3C's Web Content Accessibility Guidelines 2.2, 1.4.3; that a page
must not scroll sideways at 320 CSS pixels is 1.4.10. The rest is our own behaviour.
"""

from __future__ import annotations

import pytest

from advisor.store import Store, measurements
from advisor.web import open_desks
from tests.demo_page import demo_desks, demo_lawns
from tests.web.browser import launched, missing, opened, poor_contrast

pytestmark = pytest.mark.skipif(bool(missing()), reason=missing() or "there is a browser")

PATHS = (
    "/",
    "/round/2026-09-21",
    "/round/2026-09-23",
    "/lawn/hill-road/",
    "/lawn/southern-lawn/day/2026-09-23",
)


@pytest.fixture(scope="module")
def browser():
    with launched() as found:
        yield found


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """(address, folder) of three lawns."""
    folder = tmp_path_factory.mktemp("lawns")
    with open_desks(demo_desks(demo_lawns(folder, members=0)), port=0) as page:
        yield page.address.rstrip("/"), folder


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 360, 1400])
def test_the_round_is_readable(browser, served, width, scheme):
    told: list[str] = []
    for path in PATHS:
        settings = {"viewport": {"width": width, "height": 900}, "color_scheme": scheme}
        context, page = opened(browser, served[0], path, told, **settings)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, f"{path} scrolls sideways"
        assert not poor_contrast(page), path
        context.close()
    assert not told


@pytest.mark.parametrize("width", [320, 360, 1400])
def test_no_words_of_the_round_lie_over_others(browser, served, width):
    """Boxes of text of the same list or table do not overlap by more than a hair."""
    told: list[str] = []
    context, page = opened(browser, served[0], "/", told, viewport={"width": width, "height": 900})
    boxes = page.evaluate(
        "() => [...document.querySelectorAll('.round .slot, .round .until, .round h3, .round p, .lawns th, .lawns td')]"
        ".map(e => { const r = document.createRange(); r.selectNodeContents(e); const b = r.getBoundingClientRect();"
        " return [e.textContent.trim().slice(0, 30), b.left, b.top, b.right, b.bottom, e.className]; })"
        ".filter(b => b[3] > b[1])"
    )
    context.close()
    assert len(boxes) > 20
    leaves = [one for one in boxes if one[5] != "when"]
    overlapping = [
        (one[0], other[0])
        for at, one in enumerate(leaves)
        for other in leaves[at + 1 :]
        if min(one[3], other[3]) - max(one[1], other[1]) > 1
        and min(one[4], other[4]) - max(one[2], other[2]) > 6
    ]
    assert not overlapping and not told


def test_the_round_on_paper(browser, served):
    told: list[str] = []
    context, page = opened(browser, served[0], "/", told, viewport={"width": 800, "height": 1000})
    page.emulate_media(media="print", color_scheme="light")
    assert page.locator("h1").is_visible() and not page.locator("nav").is_visible()
    assert page.locator(".round .slot").first.is_visible() and not page.locator(".acts").first.is_visible()
    assert not poor_contrast(page)
    context.close()
    assert not told


def test_from_the_round_to_why_and_to_the_lawn_without_scripts(browser, served):
    told: list[str] = []
    context, page = opened(browser, served[0], "/", told, java_script_enabled=False)
    page.get_by_role("cell", name="No-go").first.get_by_role("link").click()
    assert "/lawn/prairie-lawn/day/2026-09-21" in page.url
    page.get_by_role("link", name="All lawns").click()
    assert page.url == served[0] + "/"
    page.get_by_role("link", name="Hill Road", exact=True).first.click()
    assert page.url == served[0] + "/lawn/hill-road/"
    page.get_by_role("navigation").get_by_role("link", name="Tell").click()
    assert page.url == served[0] + "/lawn/hill-road/tell"
    soil = page.locator("#soil")
    soil.get_by_label("Area").select_option("back")
    soil.get_by_label("dry", exact=True).check()
    soil.get_by_role("button").click()
    assert "Written down: The soil of back lawn was dry" in page.get_by_role("status").inner_text()
    assert page.url.startswith(served[0] + "/lawn/hill-road/tell?kept=")
    context.close()
    with Store.open_readonly(served[1] / "hill-road" / "advisor.db") as store:
        assert [one.data["state"] for one in measurements.of_subject(store, "soil")] == ["dry"]
    assert not told
