"""Which units a visitor reads in: the household's own, or the others by a choice that a cookie keeps.

A form says in which units it was shown, so that a choice made in between never turns ounces into millilitres.
"""

from __future__ import annotations

from typing import get_args

from flask import Flask, redirect, request

from advisor.model import UnitSystem

COOKIE, FIELD = "advisor_units", "units"
SYSTEMS: tuple[str, ...] = get_args(UnitSystem)
WORDS = {"us": "US customary units", "metric": "metric units"}


def chosen() -> str | None:
    """The units of this visitor; those of the form where one was sent; None for the household's own."""
    for given in (request.form.get(FIELD), request.cookies.get(COOKIE)):
        if given in SYSTEMS:
            return given
    return None


def register(app: Flask) -> None:
    @app.get("/units/<system>")
    def choose(system: str):
        back = request.args.get("back", "/")
        # only to a page of ours: "//elsewhere" and "/\\elsewhere" would lead away
        own = back.startswith("/") and not back.startswith(("//", "/\\")) and back.isprintable()
        response = redirect(back if own else "/", 303)
        if system in SYSTEMS:
            response.set_cookie(
                COOKIE, system, max_age=365 * 86400, httponly=True, samesite="Strict", path="/"
            )
        return response
