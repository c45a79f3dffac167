"""Figures as SVG text: the week as small multiples, one day of it, and the sequence on a time line.

Every figure is as wide as the place it is put in and keeps the size of its letters and the slant of its hatching:
horizontal positions are percentages, curves stand in an inner view of their own, and hatched shapes are cut out of
unstretched rectangles. Colours are classes, so that light, dark and print are the page's business. Text only: nothing
here reads a file or a clock.
"""

from advisor.figures.frame import Frame, week_frame
from advisor.figures.panels import Fixed, Panel, panels_of
from advisor.figures.rows import axis_svg, panel_svg, patterns_svg, windows_svg
from advisor.figures.timeline import Lane, timeline_axis_svg, timeline_svg
from advisor.figures.year import month_mean, year_axis_svg, year_svg

__all__ = [
    "Fixed", "Frame", "Lane", "Panel", "axis_svg", "month_mean", "panel_svg", "panels_of", "patterns_svg",
    "timeline_axis_svg", "timeline_svg", "week_frame", "windows_svg", "year_axis_svg", "year_svg",
]  # fmt: skip
