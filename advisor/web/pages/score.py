"""`/score`: how the forecasts of this site have fared against what came, by lead time."""

from __future__ import annotations

import math
from typing import Any

from flask import Flask, Response, abort

from advisor import units
from advisor.score.picture import score_picture
from advisor.score.report import Score, make_score
from advisor.score.text import error_dimension, lead_words, reliability_rows, score_object
from advisor.variables import VARIABLES
from advisor.weather.kept_pairs import kept_pairs
from advisor.web.desk import Desk, Scene
from advisor.web.page import Page

#: real time for which a score is kept [s]
GOOD_FOR = 3600.0


def register(app: Flask, desk: Desk) -> None:
    @app.get("/score.svg")
    def picture():
        scene = desk.scene()
        found = _score(desk, scene)
        if found.empty:
            abort(404)
        response = Response(score_picture(found, scene.household.units), mimetype="image/svg+xml")
        # a picture of its own, with its own style inside, and nothing else
        response.headers["Content-Security-Policy"] = "default-src 'none'; style-src 'unsafe-inline'"
        return response


def score_page(desk: Desk, scene: Scene) -> Page:
    found = _score(desk, scene)
    if found.empty:
        return Page("Score", "score.html", {"score": None}, {"score": None})
    system = scene.household.units
    errors = [_errors(found, name, system) for name in dict.fromkeys(row.variable for row in found.errors)]
    return Page(
        "Score",
        "score.html",
        {
            "score": found,
            "days": f"{found.first} to {found.last}",
            "errors": errors,
            "shortly": _shortly(errors),
            "rain": [_rain(row) for row in found.rain],
            "stated": reliability_rows(found) if found.rain else [],
            "assumed": any(not row.learned for row in (*found.errors, *found.rain)),
        },
        {"score": score_object(found)},
    )


def _score(desk: Desk, scene: Scene) -> Score:
    def make() -> Score:
        tables, truth = kept_pairs(desk.service.folder, scene.household, scene.now)
        return make_score(tables, scene.household.name, truth)

    return desk.for_a_while("score", GOOD_FOR, make)


def _errors(found: Score, variable: str, system: str) -> dict[str, Any]:
    dimension = error_dimension(variable)
    unit = units.display_unit(dimension, system)
    factor, _ = units.conversion(unit, dimension)

    def words(value: float) -> str:
        return "not known" if not math.isfinite(value) else f"{value / factor:.2f}"

    return {
        "says": VARIABLES[variable].says,
        "unit": units.PRINTED.get(unit, unit),
        "rows": [
            {
                "lead": lead_words(row.low, row.high) + ("" if row.learned else " *"),
                "days": row.days,
                "own": words(row.crps),
                "raw": words(row.crps_raw),
                "climate": words(row.crps_climate),
                "inside": "not known" if not math.isfinite(row.inside) else f"{row.inside:.0%}",
            }
            for row in found.errors
            if row.variable == variable
        ],
    }


def _shortly(errors: list[dict[str, Any]]) -> str:
    """The errors of the nearest day in one sentence, beside those of the raw forecast."""
    nearest = [(one, one["rows"][0]) for one in errors if one["rows"]]
    if not nearest:
        return ""
    told = [
        f"{one['says']} by {row['own']} {one['unit']} (the raw forecast by {row['raw']})"
        for one, row in nearest
    ]
    return f"On {nearest[0][1]['lead'].rstrip(' *')} of the forecast it was off: {'; '.join(told)}."


def _rain(row) -> dict[str, Any]:
    def words(value: float) -> str:
        return "not known" if value is None or not math.isfinite(value) else f"{value:.3f}"

    return {
        "lead": lead_words(row.low, row.high) + ("" if row.learned else " *"),
        "days": row.days,
        "own": words(row.own.score),
        "raw": words(row.raw.score),
        "climate": words(row.climate),
        "reliability": words(row.own.reliability),
        "resolution": words(row.own.resolution),
        "uncertainty": words(row.own.uncertainty),
    }
