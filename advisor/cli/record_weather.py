"""Where a record takes the weather of its hour from: a file, what is kept, or the start card."""

from __future__ import annotations

from advisor.cli.answers import stored_past
from advisor.errors import UsageError


def weather_of(common, household, made):
    """(weather of that time, until when it had happened, what it then counts as): the file, else what is kept."""
    from advisor.recording.details import OBSERVED, PAST_HOURS

    if common.weather is not None:
        return (*stored_past(common, household), PAST_HOURS)
    if not common.database.exists():
        return None, None, PAST_HOURS
    from datetime import timedelta

    from advisor.review.observed import MEASURED, merge
    from advisor.review.pass_made import HOURS_BEFORE, axis_of
    from advisor.seen_weather import newest_forecast, parts
    from advisor.store import Store

    with Store.open_readonly(common.database) as store:
        first, hours = axis_of(made)
        since = made.started_at - timedelta(hours=HOURS_BEFORE)
        found = parts(
            household, store, since, made.end + timedelta(hours=1), common.now
        )
        seen = merge(found, first, hours)
        kind = seen.kind(list(seen.origin), HOURS_BEFORE, HOURS_BEFORE + 1)
        if kind:
            return seen.forecast, common.now, OBSERVED if kind == MEASURED else PAST_HOURS
        return newest_forecast(household, store, made.started_at), None, PAST_HOURS


def newest_card(common, area, treatment):
    """The newest start card, of the area where one is named."""
    from advisor.store.measurements import START_CARD, of_subject

    cards = []
    if common.database.exists():
        from advisor.store import Store

        with Store.open_readonly(common.database) as store:
            cards = of_subject(store, START_CARD, until=common.now)
    cards = [one for one in cards if area in (None, one.data["area"])
             and treatment in (None, one.data["treatment"])]  # fmt: skip
    if not cards:
        raise UsageError("there is no start card to take readings from", hint="make one with: advisor start")
    from advisor.clock import parse_instant

    newest = cards[-1]
    return {**newest.data, "id": newest.id, "started_at": parse_instant(newest.data["start"])}
