"""`/openapi.json`: what programs may ask of the pages, and what they get, in the form of OpenAPI 3.1.

Written by hand, and held against the pages by the tests: every JSON twin is listed, and every answer fits its schema.
Forms are for people; they are listed with what they bring, and take the token of a page that was asked before.
"""

from __future__ import annotations

from typing import Any

from flask import Flask, jsonify

import advisor

_TEXT, _LIST, _OBJECT = {"type": "string"}, {"type": "array"}, {"type": "object"}
_INSTANT = {"type": ["string", "null"], "description": "UTC, to the second, ending in Z"}
_TASK = {"type": "string", "description": 'a treatment and an area, such as "broadleaf/front"'}
_DAY = {"type": "string", "description": "year-month-day; today where it is empty"}
_CLOCK = {"type": "string", "description": "hours and minutes of the household's clock"}

#: address of a twin -> what stands in it besides the head
TWINS: dict[str, dict[str, dict[str, Any]]] = {
    "/index.json": {"site": _OBJECT, "treatments": _LIST, "present": _LIST},
    "/day/{date}.json": {"site": _OBJECT, "treatments": _LIST, "starts": _LIST},
    "/sequence.json": {"sequences": _LIST},
    "/start.json": {"cards": _LIST},
    "/mix.json": {"mixes": _LIST, "refused": _LIST},
    "/tell.json": {"told": _LIST},
    "/records.json": {"records": _LIST},
    "/reviews.json": {"reviews": _LIST},
    "/almanac.json": {"almanac": {"type": ["object", "null"]}},
    "/score.json": {"score": {"type": ["object", "null"]}},
    "/calendar.json": {"closed": {"type": "boolean"}, "given_out": {"type": "boolean"}},
    "/sources.json": {"sources": _LIST, "used": _LIST, "flags": _LIST, "problems": _LIST, "heartbeat_at": _INSTANT},
    "/settings.json": {"groups": _LIST, "rules": _LIST, "rules_version": _TEXT},
}  # fmt: skip

#: address of a form -> its fields; those that are needed come first, as many as the number says
FORMS: dict[str, tuple[int, dict[str, dict[str, Any]]]] = {
    "/tell/soil": (2, {"area": _TEXT, "state": _TEXT, "on": _DAY, "at": _CLOCK}),
    "/tell/irrigated": (3, {"area": _TEXT, "at": _CLOCK, "depth": _TEXT, "on": _DAY}),
    "/tell/missed": (1, {"task": _TASK, "on": _DAY, "note": _TEXT}),
    "/tell/cover": (2, {"task": _TASK, "cover": _TEXT, "untreated": _TEXT, "on": _DAY}),
    "/tell/done": (2, {"task": _TASK, "began": _CLOCK, "ended": _CLOCK, "on": _DAY, "amount": _TEXT, "size": _TEXT,
                       "who": _TEXT, "note": _TEXT, "as_it_happened": {"type": "string", "enum": ["yes"]}}),
    "/start": (1, {"task": _TASK, "taken": _CLOCK, "wind": _TEXT, "gust": _TEXT, "beaufort": _TEXT, "wind_from": _TEXT,
                   "temperature": _TEXT, "humidity": _TEXT, "smoke": _TEXT, "leaves_dry": _TEXT, "people_away": _TEXT,
                   "windows_closed": _TEXT, "sprayer_clean": _TEXT}),
}  # fmt: skip

_HEAD = {
    "type": "object",
    "required": ["schema", "generated_at", "time_zone", "units", "weather", "cautions"],
    "properties": {
        "schema": {"type": "string", "pattern": r"^advisor\.page\.[a-z_]+/1$|^advisor\.[a-z_.]+/\d+$"},
        "generated_at": _TEXT,
        "time_zone": _TEXT,
        "units": {"enum": ["us", "metric"]},
        "weather": {
            "type": "object",
            "required": ["source", "issued_at", "fetched_at", "age_hours"],
            "properties": {
                "source": _TEXT, "issued_at": _INSTANT, "fetched_at": _INSTANT,
                "age_hours": {"type": ["number", "null"]},
            },
        },
        "cautions": {"type": "array", "items": _TEXT, "minItems": 1},
    },
}  # fmt: skip
_FAULT = {
    "type": "object",
    "required": ["error"],
    "properties": {
        "error": {
            "type": "object",
            "required": ["code", "message", "hint", "run_id"],
            "properties": {"code": {"type": "integer"}, "message": _TEXT, "hint": _TEXT, "run_id": _TEXT},
        }
    },
}


def register(app: Flask) -> None:
    @app.get("/openapi.json")
    def described():
        return jsonify(description())


def description() -> dict[str, Any]:
    """The pages of one lawn as an OpenAPI document; of several, each has them under its own address."""
    paths: dict[str, Any] = {address: {"get": _twin(address, content)} for address, content in TWINS.items()}
    paths |= {address: {"post": _form(address, *fields)} for address, fields in FORMS.items()}
    ready = {"type": "object", "required": ["ready", "reasons"],
             "properties": {"ready": {"type": "boolean"}, "reasons": {"type": "array", "items": _TEXT}}}  # fmt: skip
    said = {
        status: _json_answer(words, ready)
        for status, words in (("200", "It can answer."), ("503", "It cannot."))
    }
    paths["/readyz"] = {"get": {"operationId": "readyz", "summary": "Whether it can answer, or why not",
                                "responses": said | _refusals("404")}}  # fmt: skip
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Pages of the application-window advisor",
            "version": advisor.__version__,
            "description": "What each page says, for programs. The product label is the law and overrides all of it.",
        },
        "servers": [{"url": "/"}],
        "paths": paths,
        "components": {"schemas": {"Head": _HEAD, "Fault": _FAULT}},
    }


def _twin(address: str, content: dict[str, dict[str, Any]]) -> dict[str, Any]:
    page = address.removesuffix(".json").split("/")[1]
    schema = {
        "allOf": [
            {"$ref": "#/components/schemas/Head"},
            {"type": "object", "required": sorted(content), "properties": content},
        ]
    }
    parameters = [
        _parameter("cookie", "advisor_units", {"enum": ["us", "metric"]}, "the units to be answered in")
    ]
    if "{date}" in address:
        day = {"type": "string", "format": "date"}
        parameters += [_parameter("path", "date", day, "a day of the outlook"),
                       _parameter("query", "at", _TEXT, "a start of that day to be looked at, HH:MM")]  # fmt: skip
    return {
        "operationId": page,
        "summary": f'What the page "{page}" says',
        "parameters": parameters,
        "responses": {"200": _json_answer("What the page says.", schema)} | _refusals("400", "404", "503"),
    }


def _form(address: str, needed: int, fields: dict[str, dict[str, Any]]) -> dict[str, Any]:
    names = list(fields)
    token = {
        "type": "string",
        "description": "as it stands in the page's own form, with the cookie that came with it",
    }
    body = {
        "type": "object",
        "required": ["token", *names[:needed]],
        "properties": {"token": token, **fields},
    }
    page = {"content": {"text/html": {"schema": _TEXT}}}
    told = {
        "303": {"description": "It is written down; Location shows it."},
        "400": {"description": "The form cannot be read.", **page},
        "403": {"description": "The form did not come from a page of this service.", **page},
        "413": {"description": "That is more than a form brings.", **page},
        "422": {"description": "Nothing is written; the page tells what is wrong beside each field.", **page},
    }
    return {
        "operationId": "send-" + address.strip("/").replace("/", "-"),
        "summary": "A form, written into the ledger",
        "requestBody": {"required": True, "content": {"application/x-www-form-urlencoded": {"schema": body}}},
        "responses": told,
    }


def _parameter(place: str, name: str, schema: dict[str, Any], says: str) -> dict[str, Any]:
    return {"in": place, "name": name, "required": place == "path", "schema": schema, "description": says}


def _json_answer(words: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"description": words, "content": {"application/json": {"schema": schema}}}


def _refusals(*statuses: str) -> dict[str, Any]:
    words = {
        "400": "It cannot be read.",
        "404": "There is no such page.",
        "503": "The ledger cannot be read.",
    }
    fault = {"$ref": "#/components/schemas/Fault"}
    return {status: _json_answer(words[status], fault) for status in statuses}
