"""The outlook as JSON, and its schema. Keys are only added within a major version; never NaN, times UTC with Z."""

from __future__ import annotations

from typing import Any

from advisor import units
from advisor.clock import iso
from advisor.explain import Blocker, RuleReason, difference
from advisor.messages.cautions import cautions
from advisor.messages.outlook_text import decided_at, reached_on
from advisor.messages.waiting import waiting_object
from advisor.messages.weather_text import licences
from advisor.outlook import Day, Outlook, TaskOutlook

SCHEMA_ID = "advisor.outlook/1"


def outlook_object(outlook: Outlook) -> dict[str, Any]:
    """The object that `advisor outlook --json` prints."""
    household, forecast = outlook.household, outlook.forecast
    system = household.units
    today = outlook.now.astimezone(household.site.zone).date()
    provenance = forecast.provenance
    age = provenance.age_hours(outlook.now)
    site = household.site
    labels = tuple({task.task.label.id: task.task.label for task in outlook.tasks}.values())
    return {
        "schema": SCHEMA_ID,
        "site": {
            "name": site.name, "latitude": site.latitude, "longitude": site.longitude, "time_zone": site.zone.key,
        },
        "generated_at": iso(outlook.now),
        "weather": {
            "source": provenance.source,
            "issued_at": iso(provenance.issued_at),
            "fetched_at": iso(provenance.fetched_at),
            "age_hours": None if age is None else round(age, 2),
            "members": forecast.members,
            "spread": provenance.spread,
            "attribution": provenance.attribution,
            "licence": "; ".join(licences(provenance.attribution)),
            "notes": [*provenance.notes, *(flag.says for flag in forecast.flags)],
        },
        "units": system,
        "cautions": cautions(household, labels),
        "treatments": [
            {
                "treatment": scored.task.treatment.id,
                "area": scored.task.area.id,
                "pass": scored.task.pass_number,
                "days": [_day(scored, day, outlook) for day in scored.days],
                "waiting": waiting_object(scored.waiting(today), today),
            }
            for scored in outlook.tasks
        ],
    }  # fmt: skip


def _day(scored: TaskOutlook, day: Day, outlook: Outlook) -> dict[str, Any]:
    tightest, system = day.tightest, outlook.household.units
    decided, reached = decided_at(day, outlook), reached_on(scored, day, outlook)
    return {
        "date": day.day.isoformat(),
        "verdict": day.verdict,
        "best_start": iso(day.best_start),
        "window_end": iso(day.window_end),
        "chance": _round(day.chance, 3),
        "chance_upper": _round(day.chance_upper, 3),
        "too_early": day.too_early,
        # when an open day should be known: the instant of the decision horizon, or the day whose forecast reaches it
        "known_from": iso(decided) if decided else reached.isoformat() if reached else None,
        "tightest_rule": tightest.rule if tightest else None,
        "headroom": headroom(tightest, system) if tightest else None,
        "shown_start": iso(day.shown_start),
        "windows": [{"first_start": iso(first), "last_start": iso(last)} for first, last in day.windows],
        "blocks_all_day": list(day.blocked.always),
        "opens_together": list(day.blocked.together),
        "sole_blockers": [_blocker(blocker, system) for blocker in day.blocked.sole],
        "reasons": [reason_object(reason, system) for reason in day.reasons],
    }


def reason_object(reason: RuleReason, system: str) -> dict[str, Any]:
    unit = _unit(reason.dimension, system)
    margin = headroom(reason, system)
    return {
        "rule": reason.rule,
        "kind": reason.kind,
        "verdict": reason.verdict,
        "at": iso(reason.at),
        "value": _in_units(reason.value, reason.dimension, system),
        "limit": _in_units(reason.limit, reason.dimension, system),
        "unit": unit,
        "headroom": margin["value"] if margin else None,
        "chance": round(reason.chance, 3),
        "text": reason.text,
        "source": reason.source,
        "title": reason.title,
        "estimated": reason.estimated,
        "anyway": reason.anyway,
    }


def headroom(reason: RuleReason, system: str) -> dict[str, Any] | None:
    if reason.headroom is None:
        return None
    dimension = difference(reason.dimension)
    return {"value": _in_units(reason.headroom, dimension, system), "unit": _unit(dimension, system)}


def _blocker(blocker: Blocker, system: str) -> dict[str, Any]:
    dimension = difference(blocker.dimension)
    return {
        "rule": blocker.rule,
        "change": _in_units(blocker.change, dimension, system),
        "unit": _unit(dimension, system),
        "start": iso(blocker.start),
        "text": blocker.text,
    }


def _in_units(value: float | None, dimension: str, system: str) -> float | None:
    return None if value is None else _round(units.to_display(value, dimension, system)[0], 4)


def _unit(dimension: str, system: str) -> str:
    return units.display_unit(dimension, system).replace("delta_", "")


def _round(value: float | None, places: int) -> float | None:
    return None if value is None else round(float(value), places) + 0.0


_TIME = {"type": ["string", "null"], "pattern": r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$"}
_NUMBER, _WORD = {"type": ["number", "null"]}, {"type": "string"}
_VERDICT = {"enum": ["go", "no-go", "unknown"]}


def _object(
    required: dict[str, Any], optional: dict[str, Any] | None = None, nullable: bool = False
) -> dict[str, Any]:
    return {
        "type": ["object", "null"] if nullable else "object",
        "properties": {**required, **(optional or {})},
        "required": list(required),
    }


_DATE = {"type": ["string", "null"], "format": "date"}
_SHARE = {"type": "number", "minimum": 0, "maximum": 1}
_WAITING = _object(
    {
        "date": {**_DATE, "type": "string"},
        "go": {**_SHARE, "description": "worth of going on that date, in passes made on time"},
        "wait": {**_SHARE, "description": "worth of the best policy over the later days"},
        "good_window": {**_SHARE, "description": "chance of at least one later good window"},
        "advice": {"enum": ["go", "wait", "nothing left"]},
        "text": _WORD,
    },
    {"until": _DATE, "on_time_until": _DATE, "best_date": _DATE, "forecast_until": _DATE,
     "beyond_forecast": {"enum": ["almanac", "none", "unneeded"]}},
    nullable=True,
)  # fmt: skip

OUTLOOK_SCHEMA: dict[str, Any] = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "$id": SCHEMA_ID,
    "title": "Outlook: verdicts of the days ahead for every treatment and area",
    **_object(
        {
            "schema": {"const": SCHEMA_ID},
            "site": _object(
                {
                    "name": _WORD,
                    "latitude": {"type": "number"},
                    "longitude": {"type": "number"},
                    "time_zone": _WORD,
                }
            ),
            "generated_at": {"type": "string", "pattern": _TIME["pattern"]},
            "weather": _object(
                {"source": _WORD, "issued_at": _TIME, "age_hours": _NUMBER},
                {"fetched_at": _TIME, "members": {"type": "integer"}, "spread": _WORD, "attribution": _WORD,
                 "licence": _WORD, "notes": {"type": "array", "items": _WORD}},
            ),
            "units": {"enum": ["us", "metric"]},
            "cautions": {"type": "array", "items": _WORD, "minItems": 1},
            "treatments": {
                "type": "array",
                "items": _object({
                    "treatment": _WORD,
                    "area": _WORD,
                    "pass": {"type": "integer", "minimum": 1},
                    "days": {
                        "type": "array",
                        "items": _object({
                            "date": {"type": "string", "format": "date"},
                            "verdict": _VERDICT,
                            "best_start": {**_TIME, "description": "UTC hour of the go start of highest chance"},
                            "window_end": {**_TIME, "description": "latest start of the run of go hours around it"},
                            "chance": {**_NUMBER, "minimum": 0, "maximum": 1,
                                       "description": "lower chance that every rule holds"},
                            "tightest_rule": {"type": ["string", "null"]},
                            "headroom": _object({"value": {"type": "number"}, "unit": _WORD}, nullable=True),
                            "reasons": {
                                "type": "array",
                                "items": _object({
                                    "rule": _WORD,
                                    "kind": {"enum": ["safety", "label", "effect"]},
                                    "verdict": _VERDICT,
                                    "at": _TIME,
                                    "value": _NUMBER,
                                    "limit": _NUMBER,
                                    "unit": _WORD,
                                    "headroom": _NUMBER,
                                    "chance": {**_NUMBER, "minimum": 0, "maximum": 1},
                                    "text": _WORD,
                                    "source": _WORD,
                                }, {"title": _WORD, "estimated": {"type": "boolean"}, "anyway": _WORD}),
                            },
                        }, {"chance_upper": _NUMBER, "too_early": {"type": "boolean"}, "shown_start": _TIME,
                            "known_from": {"type": ["string", "null"]},
                            "windows": {"type": "array"}, "blocks_all_day": {"type": "array", "items": _WORD},
                            "sole_blockers": {"type": "array"},
                            "opens_together": {"type": "array", "items": _WORD}}),
                    },
                }, {"waiting": _WAITING}),
            },
        }
    ),
}  # fmt: skip

SCHEMAS = {"outlook": OUTLOOK_SCHEMA}
