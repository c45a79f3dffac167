"""What the site's own kept forecasts teach of their errors, worked out once a day and kept between runs."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

from advisor.errors import AdvisorError
from advisor.model import Household
from advisor.spread import Learned, control_pairs, learn
from advisor.store import Store, marks
from advisor.weather.answers import site_key
from advisor.weather.kept_pairs import pairs_of_database

#: how long what was learned stands before it is worked out again
GOOD_FOR = timedelta(hours=20)


def kept_learned(store: Store, household: Household) -> Learned | None:
    """What was learned last of the household's site; None where nothing was."""
    mark = marks.get(store, _key(household))
    text = None if mark is None else mark.data.get("learned")
    return Learned.from_json(text) if isinstance(text, str) and text else None


def learn_when_due(household: Household, database: Path, now: datetime) -> None:
    """Learn again from the database's kept forecasts, at most once a day. What cannot be paired teaches nothing."""
    with Store.open(database) as store:
        mark = marks.get(store, _key(household))
        if mark is not None and timedelta(0) <= now - mark.at < GOOD_FOR:
            return
        try:
            tables, _ = pairs_of_database(database, household, now)
        except AdvisorError:
            tables = {}
        text = ""
        if tables:
            today = now.astimezone(household.site.zone).date()
            text = learn(
                [control_pairs(pairs)[0] for pairs in tables.values()], today, site_key(household.site)
            ).to_json()
        marks.put(store, _key(household), now, {"learned": text})


def _key(household: Household) -> str:
    return f"learned:{site_key(household.site)}"
