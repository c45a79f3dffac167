"""What the weather did, from what is kept: reports of stations, and the past hours of forecasts that came later."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from advisor.errors import AdvisorError
from advisor.forecast import Forecast
from advisor.model import Household
from advisor.quality import control
from advisor.review.observed import MEASURED, PAST_HOURS, Part
from advisor.sources import nws_observations, read_answer
from advisor.sources.reading import read_document
from advisor.store import Store, payloads
from advisor.weather import current, site_key
from advisor.weather.answers import REPORTS

#: answers later than this after the last hour that is asked for tell nothing new of it
_LATER = timedelta(days=11)


def parts(household: Household, store: Store, since: datetime, until: datetime, now: datetime) -> list[Part]:
    """Pieces of past weather that are kept, the surest and newest first.

    Parameters
    ----------
    since, until : datetime
        Hours that are asked for.
    now : datetime
        Answers fetched after it are not looked at.
    """
    site, key = household.site, site_key(household.site)
    found: list[Part] = []
    for kept in reversed(payloads.between(store, REPORTS, key, since, min(until + _LATER, now))):
        try:
            reports = nws_observations.read_observations(read_document(kept.body))
            found.append(Part(nws_observations.hourly(reports), MEASURED, until=kept.fetched_at))
        except AdvisorError:
            continue
    for name in household.settings.sources:
        for kept in reversed(
            payloads.between(store, name, key, since, min(until + _LATER, now) + timedelta(seconds=1))
        ):
            try:
                forecast = read_answer(
                    kept.body, fetched_at=kept.confirmed_at, latitude=site.latitude, longitude=site.longitude
                )
            except AdvisorError:
                continue
            found.append(Part(control(forecast, now, math.inf), PAST_HOURS, until=kept.fetched_at))
    return found


def newest_forecast(household: Household, store: Store, now: datetime) -> Forecast | None:
    """The household's weather at `now` from what is kept; None where no forecast is."""
    try:
        weather, answers = current(household, store, now)
    except AdvisorError:
        return None
    return weather.forecast if answers.one("forecast") else None
