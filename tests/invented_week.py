"""An invented week for the demonstration household: still days and windy ones, as a test wants them."""

from __future__ import annotations

from collections.abc import Collection
from datetime import UTC, datetime, timedelta

import numpy as np

from advisor.forecast import Field, Forecast, Provenance, Reason
from advisor.rule_files import load_rules
from advisor.rulebook.schema import Rule

#: rules that the tests of sequences go by: the weather that these weeks hold, the ledger, mowing and seeding
IDS = (
    "air-cold", "air-hot", "availability", "daylight", "gusts", "inversion", "interval", "label-complete",
    "latest-date", "mowing-after", "mowing-before", "nights", "nights-autumn", "passes", "place", "rain-during",
    "rainfast", "rate", "season-ingredient", "season-total", "seeding-after", "seeding-after-soil",
    "seeding-before", "turf", "turf-state", "wind-calm", "wind-strong",
)  # fmt: skip
RULES: list[Rule] = [rule for rule in load_rules() if rule.id in IDS]
#: [m/s] at 10 m
STILL_ENOUGH, TOO_WINDY = 3.4, 9.0


def week(first: datetime, good_days: Collection[int], days: int = 7, past_days: int = 12) -> Forecast:
    """Hours from `past_days` before the local midnight of `first` (UTC-5) on, so many days ahead.

    The air's temperature is known for a day longer, for the nights; after that, nothing is.

    `good_days` are days of the month that are still enough; the others are too windy from morning to night.
    """
    midnight = first.astimezone(UTC).replace(hour=5, minute=0, second=0, microsecond=0)
    start = np.datetime64((midnight - timedelta(days=past_days)).replace(tzinfo=None), "h")
    ahead = 24 * (past_days + days)
    hours = ahead + 24
    local = start - np.timedelta64(5, "h") + np.arange(hours + 1)
    day_of_month = (local.astype("datetime64[D]") - local.astype("datetime64[M]")).astype(int) + 1
    clock = (local - local.astype("datetime64[D]")).astype(int)
    warm = 15.0 - 5.0 * np.cos((clock - 3) / 24.0 * 2.0 * np.pi)
    wind = np.where(np.isin(day_of_month, list(good_days)), STILL_ENOUGH, TOO_WINDY)
    series = {
        "air_temperature": warm,
        "dew_point": np.full(hours + 1, 7.0),
        "wind_speed_10m": wind,
        "wind_from_direction": np.full(hours + 1, 90.0),
        "cloud_cover": np.full(hours + 1, 30.0),
        "precipitation": np.zeros(hours + 1),
    }
    for name, values in series.items():
        # an instant bounds the hour before it; sums end an hour sooner
        if name != "air_temperature":
            values[ahead + (name != "precipitation") :] = np.nan
    fields = {}
    for name, values in series.items():
        reason = np.where(np.isnan(values), Reason.AFTER_END, Reason.KNOWN).astype(np.uint8)
        fields[name] = Field(values[None, None, :], reason[None, None, :])
    provenance = Provenance("invented", fetched_at=first, issued_at=first, latitude=41.6, longitude=-93.6)
    return Forecast(start, hours + 1, fields, provenance, np.ones(hours + 1, dtype=int))
