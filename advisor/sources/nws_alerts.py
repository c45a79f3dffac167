"""Warnings of the National Weather Service: what they are about and from when to when.

`expires` is the end of the message, not of the event; the event ends at `ends`, or at the message's own
eventEndingTime. Where neither is stated the end is not known, and the warning counts as going on.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from advisor.errors import WeatherError
from advisor.sources.nws import ACCEPT, BASE, NAME, kind_of, refuse_problem
from advisor.sources.reading import Document, moment, words
from advisor.sources.request import Request, latitude_text, longitude_text

#: what an event's name says it is about, first match first
_SUBJECTS: tuple[tuple[str, str], ...] = (
    (r"thunder|tornado|hail", "thunder"),
    (r"hurricane|tropical|typhoon|wind|gale|dust|blizzard", "wind"),
    (r"flood|surge|debris flow", "flood"),
    (r"heat|hot", "heat"),
    (r"frost|freez|cold|chill", "frost"),
    (r"red flag|fire|smoke", "fire"),
)
SUBJECTS = ("thunder", "wind", "flood", "heat", "frost", "fire", "other")


@dataclass(frozen=True, slots=True)
class Alert:
    """One warning, watch or advisory.

    Attributes
    ----------
    subject : str
        One of `SUBJECTS`.
    onset, ends : datetime, optional
        When the event begins and ends; None where that is not stated.
    expires : datetime, optional
        When the message itself runs out and is replaced.
    """

    event: str
    subject: str
    onset: datetime | None
    ends: datetime | None
    expires: datetime | None
    severity: str = ""
    certainty: str = ""
    urgency: str = ""
    headline: str = ""
    areas: str = ""
    identifier: str = ""

    def touches(self, start: datetime, end: datetime) -> bool:
        """Whether the event overlaps [start, end); an end that is not known is no end."""
        return (self.onset is None or self.onset < end) and (self.ends is None or self.ends > start)


def alerts_request(latitude: float, longitude: float, *, base: str | None = None) -> Request:
    """The warnings in force or announced at a place."""
    params = {"point": f"{latitude_text(latitude)},{longitude_text(longitude)}", "status": "actual"}
    return Request(f"{(base or BASE).rstrip('/')}/alerts/active", params, {"Accept": ACCEPT}, NAME)


def read_alerts(document: Document) -> tuple[Alert, ...]:
    """Warnings that are meant (no tests, no cancellations), earliest first.

    Raises
    ------
    WeatherError
        When the answer is no list of warnings. An empty list is an answer: there are none.
    """
    data = document.data
    refuse_problem(data)
    features = data.get("features") if isinstance(data, dict) else None
    if not isinstance(features, list) or (features and kind_of(data) != "alerts"):
        raise WeatherError(
            "the answer is no list of warnings", hint="ask the address /alerts/active with a point"
        )
    read = (_alert(feature) for feature in features)
    return tuple(
        sorted((alert for alert in read if alert), key=lambda alert: (_stamp(alert.onset), alert.event))
    )


def _stamp(instant: datetime | None) -> float:
    return float("-inf") if instant is None else instant.timestamp()


def _alert(feature: Any) -> Alert | None:
    said = feature.get("properties") if isinstance(feature, dict) else None
    if not isinstance(said, Mapping):
        return None
    if said.get("status", "Actual") != "Actual" or said.get("messageType") == "Cancel":
        return None
    event = words(said.get("event")) or "unnamed event"
    return Alert(
        event,
        subject_of(event),
        moment(said.get("onset")) or moment(said.get("effective")),
        moment(said.get("ends")) or _stated_end(said.get("parameters")),
        moment(said.get("expires")),
        words(said.get("severity")),
        words(said.get("certainty")),
        words(said.get("urgency")),
        words(said.get("headline")),
        words(said.get("areaDesc"), 2000),
        words(said.get("id")),
    )


def _stated_end(parameters: Any) -> datetime | None:
    stated = parameters.get("eventEndingTime") if isinstance(parameters, Mapping) else None
    return moment(stated[0]) if isinstance(stated, list) and stated else None


def subject_of(event: str) -> str:
    """What an event such as "Heat Advisory" is about: one of `SUBJECTS`."""
    return next(
        (subject for pattern, subject in _SUBJECTS if re.search(pattern, event, re.IGNORECASE)), "other"
    )


def in_force(alerts: Iterable[Alert], start: datetime, end: datetime) -> tuple[Alert, ...]:
    """Warnings whose event overlaps [start, end)."""
    return tuple(alert for alert in alerts if alert.touches(start, end))
