"""Contrast of two colours by WCAG 2.2, definitions of relative luminance and contrast ratio."""

from __future__ import annotations

import re

Colour = tuple[float, float, float]


def parse(text: str) -> tuple[Colour, float]:
    """(red, green, blue in 0..255, opacity) of "#rrggbb", "#rgb", "rgb(...)" or "rgba(...)"."""
    text = text.strip().lower()
    if text == "transparent":
        return (0.0, 0.0, 0.0), 0.0
    if text.startswith("#"):
        digits = text[1:]
        if len(digits) == 3:
            digits = "".join(one * 2 for one in digits)
        return tuple(float(int(digits[at : at + 2], 16)) for at in (0, 2, 4)), 1.0
    numbers = [float(one) for one in re.findall(r"[\d.]+", text)]
    return (numbers[0], numbers[1], numbers[2]), numbers[3] if len(numbers) > 3 else 1.0


def over(top: Colour, opacity: float, below: Colour) -> Colour:
    return tuple(a * opacity + b * (1.0 - opacity) for a, b in zip(top, below, strict=True))


def luminance(colour: Colour) -> float:
    parts = [one / 255.0 for one in colour]
    red, green, blue = (one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def ratio(one: Colour, other: Colour) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
