"""Until when a record is written, copied and kept, to the day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

#: 7 CFR 110.3: written within 14 days, the customer's copy within 30, kept for two years
WRITE_WITHIN, COPY_WITHIN, KEEP_YEARS = 14, 30, 2
RETENTION = (
    "Keep it two years (7 CFR 110.3); some states ask for longer, three years for instance. Check your state."
)
#: for hire, in general terms; common practice of the states, no source for yours
HIRE_REMINDERS = (
    "Before the work: tell the customer, and the neighbours who have asked to be told, as your state wants it.",
    "At the start: put up the signs that your state asks for, and leave them for the time that it names.",
    "After the work: leave the customer a copy with product, amount, date, and when people and pets may go back.",
    "All of this differs between states, counties and towns: check your state.",
)


@dataclass(frozen=True, slots=True)
class Deadlines:
    write_by: date
    #: None where nobody works for hire
    copy_by: date | None
    keep_until: date


def deadlines(done_on: date, for_hire: bool, keep_years: int = KEEP_YEARS) -> Deadlines:
    """The last days for a pass of a local day.

    Parameters
    ----------
    keep_years : int
        Two by federal rule; more where the state says so.
    """
    return Deadlines(
        done_on + timedelta(days=WRITE_WITHIN),
        done_on + timedelta(days=COPY_WITHIN) if for_hire else None,
        _years_later(done_on, keep_years),
    )


def _years_later(day: date, years: int) -> date:
    """The same day of a later year; 1 March where 29 February is none, so that nothing is thrown away too soon."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)
