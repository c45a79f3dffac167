"""`/healthz`: the process lives, without looking at anything. `/readyz`: it can answer, or why not."""

from __future__ import annotations

from flask import Flask, jsonify

from advisor.errors import AdvisorError
from advisor.quality import age_limit
from advisor.web.desk import Desk
from advisor.web.desks import Desks


def register(app: Flask, desks: Desks) -> None:
    @app.get("/healthz")
    def healthz():
        return "ok\n", 200, {"Content-Type": "text/plain; charset=utf-8"}

    @app.get("/readyz")
    def readyz():
        asked = desks.asked_for()
        reasons = [
            f"{desk.service.household.name}: {reason}" if len(asked) > 1 else reason
            for desk in asked
            for reason in not_ready(desk)
        ]
        if desks.at_front():
            reasons += [f"the round: {problem.what}" for problem in desks.problems()]
        return jsonify({"ready": not reasons, "reasons": reasons}), 503 if reasons else 200


def not_ready(desk: Desk) -> list[str]:
    """Why the service cannot be relied upon now; empty when it can."""
    reasons = []
    try:
        scene = desk.scene()
    except AdvisorError as error:
        return [str(error)]
    if not list(scene.rules):
        reasons.append("no rules are loaded")
    provenance = scene.outlook.forecast.provenance
    age = provenance.age_hours(scene.now)
    if provenance.source == "none" or age is None:
        reasons.append("no weather source has answered yet")
    elif age > age_limit(provenance.source):
        reasons.append(f"the newest forecast is {age:.0f} h old")
    return reasons + [problem.what for problem in desk.problems()]
