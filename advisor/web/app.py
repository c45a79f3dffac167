"""The Flask application: routes, the frame around every page, JSON twins, and friendly faults."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from flask import Flask, Response, jsonify, render_template, request
from markupsafe import Markup
from werkzeug.exceptions import HTTPException

from advisor.clock import iso
from advisor.errors import AdvisorError, UsageError
from advisor.figures import patterns_svg
from advisor.messages.cautions import SHORT_CAUTION, cautions
from advisor.service.log import event, new_run_id
from advisor.store.encoding import plain
from advisor.web import description, feed, health, rounds, start, tell, units_choice
from advisor.web.desk import Desk, Scene
from advisor.web.desks import Desks
from advisor.web.page import Page
from advisor.web.pages import (
    almanac,
    calendar,
    day,
    mixing,
    records,
    reviews,
    score,
    sequence,
    settings,
    sources,
    week,
)
from advisor.web.security import protect
from advisor.web.words import hours_words, local, moment_words

log = logging.getLogger(__name__)

#: (address, name in the list of pages)
NAVIGATION = (
    ("/", "Week"),
    ("/sequence", "Sequence"),
    ("/start", "Start card"),
    ("/mix", "Mix"),
    ("/tell", "Tell"),
    ("/records", "Records"),
    ("/reviews", "Reviews"),
    ("/almanac", "Almanac"),
    ("/score", "Score"),
    ("/sources", "Sources"),
    ("/settings", "Settings"),
)
_FAULTS = {
    400: ("This cannot be read", "The address or the form is not one that this page knows."),
    401: ("The page's word is needed", "Enter it on the page /enter, or send it as a bearer token."),
    403: ("Nothing was written", "The form is older than this service, or did not come from one of its pages. "
          "Open the page again and send it once more."),
    404: ("There is no such page", "It may have been a day that is over by now."),
    405: ("This cannot be done here", "Use the page's own form."),
    413: ("That is too much", "A form of this page never brings so much; nothing was written."),
    421: ("This address is not served here", "Ask for the page by the address that the service printed at its start."),
    429: ("Too many wrong words", "Wait a minute."),
    500: ("Something went wrong", "This is a fault of the program. The service goes on; its log has the details."),
}  # fmt: skip


def create_app(desk: Desk | Desks, hosts: tuple[str, ...] = (), word: str | None = None) -> Flask:
    """The pages of one household, or of several and of the round over them.

    Parameters
    ----------
    hosts : tuple of str
        Names, besides those of the loopback address, under which the pages may be asked for.
    word : str, optional
        What visitors must give first, where the pages are open to other computers.
    """
    app = Flask("advisor.web", root_path=str(Path(__file__).parent))
    app.config["PROPAGATE_EXCEPTIONS"] = False
    app.url_map.strict_slashes = False
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    desks = Desks.of(desk)
    desk = desks.attach(app)  # from here on that which a request asks for
    token = feed.FeedToken(desks.folder)
    protect(app, hosts, word, token)

    def show(page: Page, scene: Scene | None, twin: bool = False) -> Response:
        if twin:
            return _json({**_head(scene, page), **page.twin}, page.status)
        body = render_template(page.template, **_frame(page, scene), **page.context)
        return _tagged(Response(body, page.status, mimetype="text/html"))

    def show_round(page: Page, around: dict[str, Any], head: dict[str, Any] | None) -> Response:
        if head is not None:
            return _json({**_schema(page), **head, **page.twin}, page.status)
        body = render_template(
            page.template,
            title=page.title,
            css=_css(),
            patterns=Markup(patterns_svg()),
            **around,
            **page.context,
        )
        return _tagged(Response(body, page.status, mimetype="text/html"))

    def add(path: str, name: str, build: Callable[..., Page]) -> None:
        def view(twin: bool = False, **given: Any):
            scene = desk.scene(units_choice.chosen())
            return show(build(desk, scene, **given), scene, twin)

        app.add_url_rule(path, name, view)
        beside = "/index.json" if path == "/" else f"{path}.json"
        app.add_url_rule(beside, f"{name}-json", lambda **given: view(twin=True, **given))

    def first_page(scene: Scene) -> Page:
        return scene.once("week", lambda: week.week(scene))

    for one in desks.all:
        one.make_ready = first_page
    add("/", "week", lambda desk, scene: first_page(scene))
    add("/day/<text>", "day", lambda desk, scene, text: _day(scene, text, request.args.get("at")))
    add("/sequence", "sequence", lambda desk, scene: sequence.sequence_page(desk, scene))
    add("/mix", "mix", lambda desk, scene: mixing.mixing_page(desk, scene))
    add("/records", "records", lambda desk, scene: records.records_page(desk, scene))
    add("/reviews", "reviews", lambda desk, scene: reviews.reviews_page(desk, scene))
    add("/almanac", "almanac", lambda desk, scene: almanac.almanac_page(desk, scene))
    add("/score", "score", lambda desk, scene: score.score_page(desk, scene))
    add("/sources", "sources", lambda desk, scene: sources.sources_page(desk, scene))
    add("/settings", "settings", lambda desk, scene: settings.settings_page(desk, scene))
    units_choice.register(app)
    start.register(app, desk, add, show)
    tell.register(app, desk, add, show)
    calendar.register(app, desk)
    feed.register(app, desk, token, add, show, word is not None)
    score.register(app, desk)
    health.register(app, desks)
    description.register(app)
    rounds.register(app, desks, show_round)

    def fault(status: int, told: str, run_id: str) -> Response:
        return _fault(status, told, run_id, (("/", "Round"),) if desks.at_front() else NAVIGATION)

    @app.errorhandler(HTTPException)
    def refused(error: HTTPException):
        return fault(error.code or 500, "", new_run_id())

    @app.errorhandler(AdvisorError)
    def expected(error: AdvisorError):
        status = 404 if isinstance(error, UsageError) else 503
        run_id = new_run_id()
        event(log, "page_refused", path=request.path, status=status, reason=str(error))
        return fault(status, f"{error.what}. {error.hint}".rstrip(". ") + ".", run_id)

    @app.errorhandler(Exception)
    def unexpected(error: Exception):
        run_id = new_run_id()
        event(log, "page_failed", logging.ERROR, error=error, path=request.path)
        return fault(500, "", run_id)

    return app


def _day(scene: Scene, text: str, hour: str | None) -> Page:
    return scene.once(("day", text, hour), lambda: day.day_page(scene, text, hour))


def _fault(status: int, told: str, run_id: str, navigation: tuple[tuple[str, str], ...]) -> Response:
    heading, advice = _FAULTS.get(status, ("The page cannot be shown", "Try again in a minute."))
    if request.path.endswith(".json"):
        return _json(
            {"error": {"code": status, "message": told or heading, "hint": advice, "run_id": run_id}}, status
        )
    body = render_template("fault.html", title=heading, heading=heading, advice=told or advice, run_id=run_id,
                           status=status, navigation=navigation, css=_css(), caution=SHORT_CAUTION)  # fmt: skip
    return Response(body, status, mimetype="text/html")


def _frame(page: Page, scene: Scene) -> dict[str, Any]:
    """What stands around every page: whose, when, from what forecast, and the cautions."""
    outlook, household = scene.outlook, scene.household
    zone = household.site.zone
    provenance, forecast = outlook.forecast.provenance, outlook.forecast
    age = provenance.age_hours(scene.now)
    now = local(scene.now, zone)
    labels = tuple({one.task.label.id: one.task.label for one in outlook.tasks}.values()) or tuple(
        household.labels.values()
    )
    path = request.path
    return {
        "title": page.title,
        "household": household.name,
        "when": f"{now.strftime('%A %-d %B %Y, %H:%M')} {now.tzname()}",
        "when_iso": iso(scene.now),
        "zone": zone.key,
        "units": units_choice.WORDS[household.units],
        "unit_system": household.units,
        "other_units": [(one, units_choice.WORDS[one]) for one in units_choice.SYSTEMS if one != household.units],
        "here": scene.path + (request.full_path.rstrip("?") if request.method == "GET" else path),
        "source": provenance.attribution or provenance.source,
        "age": _age_words(age, "issued" if provenance.issued_at else "fetched"),
        "spread": "one forecast, no members: chances are 0 or 100 %" if provenance.spread == "none" else (
            f"{provenance.spread}, {forecast.members} members"),
        "stale": any(flag.check == "age" for flag in forecast.flags) or provenance.source == "none",
        "problems": scene.problems,
        "cautions": cautions(household, labels),
        "caution": SHORT_CAUTION,
        "navigation": NAVIGATION,
        "path": path,
        "twin": None if page.without_twin else _twin(scene.path, path),
        "css": _css(),
        "patterns": Markup(patterns_svg()),
        "moment_words": lambda moment: moment_words(moment, zone),
    }  # fmt: skip


def _twin(before: str, path: str) -> str:
    return before + ("/index.json" if path == "/" else f"{path.rstrip('/')}.json")


def _age_words(age: float | None, since: str) -> str:
    if age is None:
        return "of unknown age"
    return f"{since} just now" if age < 1 / 60 else f"{since} {hours_words(age)} ago"


def _head(scene: Scene, page: Page) -> dict[str, Any]:
    """What stands at the head of every JSON twin."""
    provenance = scene.outlook.forecast.provenance
    age = provenance.age_hours(scene.now)
    labels = tuple(scene.household.labels.values())
    return {
        **_schema(page),
        "generated_at": iso(scene.now),
        "time_zone": scene.household.site.zone.key,
        "units": scene.household.units,
        "weather": {
            "source": provenance.source,
            "issued_at": iso(provenance.issued_at),
            "fetched_at": iso(provenance.fetched_at),
            "age_hours": None if age is None else round(age, 2),
        },
        "cautions": cautions(scene.household, labels),
    }


def _schema(page: Page) -> dict[str, str]:
    return {"schema": f"advisor.page.{page.template.removesuffix('.html')}/1"}


def _json(content: dict[str, Any], status: int = 200) -> Response:
    response = jsonify(plain(content))
    response.status_code = status
    return _tagged(response)


def _tagged(response: Response) -> Response:
    """With an ETag, so that a page that has not changed is not sent again."""
    if response.status_code == 200:
        response.add_etag(weak=response.mimetype == "text/html")
        response.make_conditional(request)
    return response


@cache
def _digest() -> str:
    return hashlib.sha256((Path(__file__).parent / "static" / "page.css").read_bytes()).hexdigest()[:12]


def _css() -> str:
    return f"/static/page.css?v={_digest()}"
