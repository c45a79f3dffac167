"""Contrast of the page's colours, computed from its style sheet.

Formula and the least ratio of 4.5 for text and 3 for lines that carry meaning: W3C, Web Content Accessibility
Guidelines 2.2, success criteria 1.4.3 and 1.4.11.
"""

from __future__ import annotations

import re
from itertools import combinations
from pathlib import Path

import pytest

from tests.web.contrast import luminance, parse, ratio

CSS = (Path(__file__).resolve().parent.parent.parent / "advisor" / "web" / "static" / "page.css").read_text()


def palettes() -> dict[str, dict[str, str]]:
    """Custom properties by scheme; dark and print fall back on light."""
    blocks = {
        "light": re.search(r"^:root \{(.*?)\n\}", CSS, re.S | re.M).group(1),
        "dark": re.search(r"prefers-color-scheme: dark\) \{\s*:root \{(.*?)\}", CSS, re.S).group(1),
        "print": re.search(r"@media print \{\s*:root \{(.*?)\}", CSS, re.S).group(1),
    }
    found = {name: dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6})", block)) for name, block in blocks.items()}
    return {name: {**found["light"], **colours} for name, colours in found.items()}


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        ("#000000", "#ffffff", 21.0),  # WCAG 2.2, the range of the ratio
        (
            "#767676",
            "#ffffff",
            4.54,
        ),  # the lightest grey that passes on white, W3C technique G18 discussions (from memory)
        ("#777777", "#ffffff", 4.48),  # the next grey, which does not (from memory)
        ("#ffffff", "#ffffff", 1.0),
    ],
)
def test_the_formula(one, other, expected):
    assert ratio(parse(one)[0], parse(other)[0]) == pytest.approx(expected, abs=0.005)


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
def test_text_is_readable_on_every_ground(scheme):
    colours = palettes()[scheme]
    assert {"paper", "ink", "soft", "accent", "accent-soft", "faint"} <= set(colours)
    grounds = ["paper", "faint", "accent-soft"]
    for text in ("ink", "soft", "accent"):
        for ground in grounds:
            found = ratio(parse(colours[text])[0], parse(colours[ground])[0])
            assert found >= 4.5, f"{scheme}: {text} on {ground} is {found:.2f}"


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
def test_lines_that_carry_meaning_stand_out(scheme):
    colours = palettes()[scheme]
    for line in ("ink", "soft", "accent"):
        assert ratio(parse(colours[line])[0], parse(colours["paper"])[0]) >= 3.0


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
def test_in_grey_a_window_and_its_ground_are_still_two_things(scheme):
    """Nothing rests on hue: the accent is told from paper by its lightness, and from ink by the bracket's shape."""
    colours = palettes()[scheme]
    light = {name: luminance(parse(colours[name])[0]) for name in ("paper", "accent", "ink")}
    assert abs(light["paper"] - light["accent"]) > 0.3 and abs(light["paper"] - light["ink"]) > 0.5


def test_no_colour_stands_outside_the_palette():
    rest = re.sub(r":root \{.*?\}", "", CSS, flags=re.S)
    assert not re.findall(r"#[0-9a-fA-F]{3,8}\b|rgba?\(|hsla?\(", rest)
    names = set(re.findall(r"var\(--([\w-]+)\)", rest))
    assert names <= set(palettes()["light"]) | {"serif", "sans"}


def test_verdicts_differ_by_more_than_colour():
    shapes = [
        re.search(rf"\.verdict\.{name}::before \{{(.*?)\}}", CSS).group(1)
        for name in ("go", "no-go", "unknown")
    ]
    stripped = [re.sub(r"var\(--[\w-]+\)", "", shape) for shape in shapes]
    assert all(one != other for one, other in combinations(stripped, 2))
