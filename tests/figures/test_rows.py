"""The drawings: well-formed, escaped, inside their box, hatched exactly where a limit is passed. Our own behaviour."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from advisor.figures import (
    Lane,
    axis_svg,
    panel_svg,
    panels_of,
    patterns_svg,
    timeline_axis_svg,
    timeline_svg,
    week_frame,
)
from advisor.figures.rows import windows_svg
from advisor.figures.svg import element, number, path
from advisor.verdict import GO, UNKNOWN
from tests.figures.scene import LAST, MONDAY, ZONE, demo_outlook


@pytest.fixture(scope="module")
def drawn():
    outlook = demo_outlook()
    frame = week_frame(outlook, [0, 1], MONDAY, LAST)
    return outlook, frame, panels_of(outlook, [0, 1], frame)[0]


TAGS = {"svg", "defs", "pattern", "line", "circle", "rect", "path", "clipPath", "text", "title", "a", "g"}


def link(day: date) -> str:
    return f"/day/{day.isoformat()}"


def all_drawings(drawn) -> dict[str, str]:
    outlook, frame, panels = drawn
    verdict = outlook.verdicts.verdict[0, frame.first : frame.first + len(frame)]
    out = {
        f"{panel.rule}-{at}": panel_svg(panel, frame, f"k{at}", ZONE, link) for at, panel in enumerate(panels)
    }
    out["hourly"] = panel_svg(panels[0], frame, "h", ZONE, hourly=True)
    out["axis"] = axis_svg(frame, ZONE, link)
    out["windows"] = windows_svg(frame, verdict == GO, verdict == UNKNOWN, frame.mine, "Windows: some", ZONE)
    out["patterns"] = patterns_svg()
    lane = Lane("windows", ((739515.5, 739515.7, "a window"),))
    out["lane"] = timeline_svg(lane, 739500.0, 739560.0, 739514.3, "Windows")
    out["lane-axis"] = timeline_axis_svg(739500.0, 739560.0, 739514.3)
    return out


def test_every_drawing_is_well_formed_and_carries_no_style_or_script(drawn):
    for name, drawing in all_drawings(drawn).items():
        root = ET.fromstring(drawing)
        for node in root.iter():
            assert node.tag in TAGS, name
            assert "style" not in node.attrib and not any(key.startswith("on") for key in node.attrib), name
            assert "nan" not in " ".join(node.attrib.values()).lower(), name


def test_nothing_lies_outside_its_box(drawn):
    for name, drawing in all_drawings(drawn).items():
        for node in ET.fromstring(drawing).iter():
            for key in ("x", "x1", "x2"):
                value = node.attrib.get(key, "")
                if value.endswith("%"):
                    assert -0.01 <= float(value[:-1]) <= 100.01, (name, node.attrib)
            if node.attrib.get("width", "").endswith("%") and node.attrib.get("x", "0%").endswith("%"):
                assert float(node.attrib.get("x", "0%")[:-1]) + float(node.attrib["width"][:-1]) <= 100.5, (
                    name
                )


def test_names_on_one_page_are_told_apart(drawn):
    found = [
        name for drawing in all_drawings(drawn).values() for name in re.findall(r'\bid="([^"]+)"', drawing)
    ]
    assert len(found) == len(set(found)) and found


def test_the_hatched_space_is_where_the_curve_passes_the_limit(drawn):
    _, frame, panels = drawn
    checked = 0
    for panel in panels:
        if not panel.line:
            continue
        drawing = ET.fromstring(panel_svg(panel, frame, "k", ZONE))
        clips = {node.attrib["id"]: node[0].attrib["d"] for node in drawing.iter("clipPath")}
        for limit, side, sign in ((panel.at_most, "most", 1.0), (panel.at_least, "least", -1.0)):
            if limit is None:
                continue
            over = np.nan_to_num((panel.values - limit) * sign, nan=-1.0) > 0
            assert (f"k-{side}" in clips) == bool(over.any()), panel.rule
            if not over.any():
                continue
            points = [
                tuple(map(float, pair.split()))
                for pair in re.findall(r"[ML]([\d.]+ [\d.]+)", clips[f"k-{side}"])
            ]
            hours = {round(x * len(frame) - 0.5) for x, _ in points}
            assert set(np.flatnonzero(over)) <= hours
            assert all(0.0 <= x <= 1.0 and 0.0 <= y <= 1.0 for x, y in points)
            checked += 1
    assert checked >= 5


def test_a_bar_lies_where_the_rule_stands_against_one_of_the_persons_hours(drawn):
    _, frame, panels = drawn
    for panel in panels:
        drawing = ET.fromstring(panel_svg(panel, frame, "k", ZONE))
        hours = np.zeros(len(frame), dtype=bool)
        for node in drawing.iter("rect"):
            if node.attrib.get("class") == "against":
                first = round(float(node.attrib["x"][:-1]) / 100 * len(frame))
                hours[first : first + round(float(node.attrib["width"][:-1]) / 100 * len(frame))] = True
        assert int(hours.sum()) == panel.against, panel.rule


def test_every_row_says_itself_to_those_who_cannot_see_it(drawn):
    _, frame, panels = drawn
    for panel in panels:
        drawing = ET.fromstring(panel_svg(panel, frame, "k", ZONE, link))
        assert drawing.attrib["role"] == "img"
        words = drawing.attrib["aria-label"]
        assert words.startswith(panel.title) and "Mon 21" in words and panel.standing_words in words
        titles = [node.text for node in drawing.iter("title")]
        assert len(titles) == len(frame.days) and all(panel.title in text for text in titles)
    hourly = ET.fromstring(panel_svg(panels[0], frame, "k", ZONE, hourly=True))
    assert len([*hourly.iter("title")]) == len(frame)


def test_days_lead_to_their_reasons_and_only_once_by_the_keyboard(drawn):
    _, frame, panels = drawn
    axis = ET.fromstring(axis_svg(frame, ZONE, link))
    assert [node.attrib["href"] for node in axis.iter("a")] == [link(day) for day, _, _ in frame.days]
    assert all("tabindex" not in node.attrib and node.attrib["aria-label"] for node in axis.iter("a"))
    row = ET.fromstring(panel_svg(panels[0], frame, "k", ZONE, link))
    assert all(node.attrib["tabindex"] == "-1" for node in row.iter("a"))


def test_windows_are_brackets_over_go_starts_inside_the_persons_hours(drawn):
    outlook, frame, _ = drawn
    verdict = outlook.verdicts.verdict[0, frame.first : frame.first + len(frame)]
    spare = outlook.explainer.area.spare_time[0, 0, frame.first : frame.first + len(frame)] >= -1e-9
    drawing = ET.fromstring(windows_svg(frame, verdict == GO, verdict == UNKNOWN, spare, "w", ZONE))
    boxes = [node for node in drawing.iter("rect") if node.attrib.get("class") == "window"]
    runs = sum(len(day.windows) for day in outlook.tasks[0].days)
    assert len(boxes) == runs > 0


def test_words_from_outside_are_escaped(drawn):
    _, frame, panels = drawn
    panel = replace(panels[0], title='<script>"&', areas=("<b>",))
    drawing = panel_svg(panel, frame, "k", ZONE, link)
    assert "<script>" not in drawing and "<b>" not in drawing
    assert ET.fromstring(drawing).attrib["aria-label"].startswith('<script>"&')


def test_days_of_23_and_25_hours_keep_their_place():
    """Clocks change in Chicago on 1 November 2026 (25 h) and 8 March 2026 (23 h): IANA time zone database."""
    from tests.figures.scene import forecast, outlook_of

    weather = forecast()
    for day, hours in ((date(2026, 11, 1), 25), (date(2026, 3, 8), 23)):
        shift = np.timedelta64((day - MONDAY).days, "D")
        moved = replace(weather, start=weather.start + shift)
        now = demo_outlook().now + timedelta(days=(day - MONDAY).days)
        outlook = outlook_of(moved, now=now, treatment={"start_from": None, "latest": None})
        frame = week_frame(outlook, [0], day, day + timedelta(days=1))
        assert frame.days[0][2] - frame.days[0][1] == hours
        assert len(frame.clock_names) == 2
        ET.fromstring(axis_svg(frame, ZONE, link))


@pytest.mark.parametrize(
    ("value", "words"), [(1.0, "1"), (0.126, "0.13"), (-0.001, "0"), (12.5, "12.5"), (100.0, "100")]
)
def test_numbers_are_short(value, words):
    assert number(value) == words


def test_paths_and_elements():
    assert path([[(0, 0), (1, 2)], []]) == "M0 0L1 2"
    assert path([[(5, 1)]]) == "M4.7 1L5.3 1"
    assert path([[(0, 0), (1, 2), (2, 0)]], closed=True) == "M0 0L1 2L2 0Z"
    assert (
        element("rect", x=1.0, class_="a<b", stroke_width=2, y=None)
        == '<rect x="1" class="a&lt;b" stroke-width="2"/>'
    )


def test_the_time_line_places_days_by_the_calendar():
    first, last = date(2026, 8, 15).toordinal(), date(2026, 11, 23).toordinal()
    lane = Lane(
        "closed", ((date(2026, 8, 25).toordinal(), date(2026, 9, 8).toordinal(), "closed until Tue 8 Sep"),)
    )
    drawing = ET.fromstring(timeline_svg(lane, first, last, date(2026, 9, 21).toordinal(), "Interval"))
    box = next(node for node in drawing.iter("rect"))
    assert float(box.attrib["x"][:-1]) == pytest.approx(100 * 10 / 100, abs=0.01)
    assert float(box.attrib["width"][:-1]) == pytest.approx(100 * 14 / 100, abs=0.01)
    assert drawing.attrib["aria-label"] == "Interval: closed until Tue 8 Sep"
    names = [node.text for node in ET.fromstring(timeline_axis_svg(first, last, first + 31.0)).iter("text")]
    assert [name for name in names if name.isalpha()] == ["Aug", "Sep", "Oct", "Nov"]
