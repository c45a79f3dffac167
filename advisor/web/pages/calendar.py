"""`/calendar.ics`: windows, wanted days and checks for a calendar program."""

from __future__ import annotations

from flask import Flask, Response, request

from advisor.calendar import calendar_text
from advisor.ledger import read_ledger
from advisor.web.desk import Desk


def register(app: Flask, desk: Desk) -> None:
    @app.get("/calendar.ics")
    def feed():
        scene = desk.scene()
        records = read_ledger(scene.household, desk.database)
        text = scene.once("calendar", lambda: calendar_text(scene.outlook, records, scene.plans))
        headers = {"Content-Disposition": 'inline; filename="lawn.ics"'}
        response = Response(text, mimetype="text/calendar", headers=headers)
        response.add_etag()
        return response.make_conditional(request)
