"""SVG as text: elements with escaped attributes, short numbers, and paths."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from xml.sax.saxutils import escape, quoteattr


def element(name: str, *children: str, **attributes: object) -> str:
    """An element. `children` are SVG already; `class_` and the like lose their last underscore, `stroke_width` is
    written with a hyphen, None leaves an attribute out."""
    given = "".join(
        f" {_hyphened(key)}={quoteattr(_text(value))}"
        for key, value in attributes.items()
        if value is not None
    )
    inside = "".join(children)
    return f"<{name}{given}>{inside}</{name}>" if inside else f"<{name}{given}/>"


def text(words: object, **attributes: object) -> str:
    return element("text", escape(str(words)), **attributes)


def title(words: str) -> str:
    return element("title", escape(words))


def percent(share: float) -> str:
    """A share of the width, such as "12.5%"."""
    return f"{number(100.0 * share)}%"


def number(value: float, decimals: int = 2) -> str:
    """Without trailing zeros and without a negative zero."""
    return f"{round(value, decimals) + 0.0:.{decimals}f}".rstrip("0").rstrip(".")


def path(runs: Iterable[Sequence[tuple[float, float]]], *, closed: bool = False, decimals: int = 2) -> str:
    """Path data of polylines; runs of one point are drawn as a short stroke, so that nothing known goes unseen."""
    parts = []
    for run in runs:
        points = list(run)
        if not points:
            continue
        if len(points) == 1 and not closed:
            x, y = points[0]
            points = [(x - 0.3, y), (x + 0.3, y)]
        first, *rest = (f"{number(x, decimals)} {number(y, decimals)}" for x, y in points)
        parts.append(f"M{first}" + "".join(f"L{point}" for point in rest) + ("Z" if closed else ""))
    return "".join(parts)


_FULL = {"viewBox": "viewBox", "preserveAspectRatio": "preserveAspectRatio", "clipPathUnits": "clipPathUnits",
         "patternUnits": "patternUnits", "patternTransform": "patternTransform"}  # fmt: skip


def _hyphened(key: str) -> str:
    return _FULL.get(key) or key.rstrip("_").replace("_", "-")


def _text(value: object) -> str:
    return number(value) if isinstance(value, float) else str(value)
