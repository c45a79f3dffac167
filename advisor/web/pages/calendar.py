"""`/calendar.ics`: windows and dates for a calendar program, where the calendar is part of this version."""

from __future__ import annotations

from importlib import import_module

from flask import Flask, Response

from advisor.errors import UsageError
from advisor.web.desk import Desk


def register(app: Flask, desk: Desk) -> None:
    @app.get("/calendar.ics")
    def feed():
        scene = desk.scene()
        try:
            calendar_text = import_module("advisor.calendar").calendar_text
        except (ImportError, AttributeError):
            raise UsageError("the calendar is not part of this version yet") from None
        text = calendar_text(scene.outlook)
        headers = {"Content-Disposition": 'inline; filename="lawn.ics"'}
        response = Response(text, mimetype="text/calendar", headers=headers)
        response.add_etag()
        return response
