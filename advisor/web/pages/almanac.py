"""`/almanac`: how often a day had a window in past years, around each day of the year."""

from __future__ import annotations

from calendar import month_name

from markupsafe import Markup

from advisor.errors import InvalidFile
from advisor.figures import month_mean, year_axis_svg, year_svg
from advisor.past_weather import load_kept
from advisor.web.desk import Desk, Scene
from advisor.web.page import Page
from advisor.web.words import local


def almanac_page(desk: Desk, scene: Scene) -> Page:
    wrong, kept = "", None
    try:
        kept = load_kept(desk.service.folder)
    except InvalidFile as error:
        wrong = str(error)
    if kept is None:
        return Page("Almanac", "almanac.html", {"kept": None, "wrong": wrong}, {"almanac": None})
    today = local(scene.now, scene.household.site.zone).date()
    rows = []
    for name, shares in kept.near_day.items():
        treatment, _, area = name.rpartition("/")
        known = treatment in scene.household.treatments and area in scene.household.areas
        words = (
            f"{scene.household.areas[area].name}: {scene.household.treatments[treatment].name}"
            if known
            else name
        )
        months = [month_mean(shares, month) for month in range(1, 13)]
        told = [f"{month_name[at]} {share:.0%}" for at, share in enumerate(months, 1) if share is not None]
        rows.append({
            "name": words,
            "svg": Markup(year_svg(shares, today, f"How often a day had a window, {words}: {', '.join(told)}")),
            "months": ["not known" if share is None else f"{share:.0%}" for share in months],
        })  # fmt: skip
    return Page(
        "Almanac",
        "almanac.html",
        {
            "kept": kept,
            "wrong": wrong,
            "rows": rows,
            "axis": Markup(year_axis_svg(today)),
            "months": [month_name[month] for month in range(1, 13)],
        },
        {
            "almanac": {
                "source": kept.source,
                "made_at": kept.made_at,
                "first_day": kept.first_day,
                "last_day": kept.last_day,
                "near_day": {name: list(shares) for name, shares in kept.near_day.items()},
            }
        },
    )
