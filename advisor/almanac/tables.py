"""From judged days to frequencies: by week, by hour, around a date; how long one waits; what closes days."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from advisor.almanac.count import DayBook
from advisor.verdict import GO, UNKNOWN

WEEKS, DAYS_OF_YEAR = 52, 366
#: days on either side of a date that count for it (design: within ten days of the date)
AROUND_DAYS = 10
#: a frequency from fewer judged days than this says nothing. Common practice, no source.
FEWEST_DAYS = 10


@dataclass(frozen=True, eq=False)
class Almanac:
    """What past years say of one treatment on one area. Shares are of the days that could be judged; NaN where too few.

    Attributes
    ----------
    by_week, by_week_any_hour : ndarray (52,)
        Share of days with a window inside the person's hours, and at any hour. Week 0 begins on 1 January, the last
        one has the rest of the year.
    by_week_and_hour : ndarray (52, 24)
        Share of days on which a start at that local clock hour would have gone.
    by_month : ndarray (12,)
    by_month_and_hour : ndarray (12, 24)
    near_day : ndarray (366,)
        Share of days with a window within ten days of each day of a leap year.
    judged, unknown : ndarray of int (12,)
        Days by month that could be judged, and that could not.
    closes, alone : ndarray (rule, 12)
        Share of the judged days of a month that a rule closes, by failing at every start; on which it alone does.
    wait_mean, wait_median, wait_nine_of_ten : ndarray (12,)
        [days] from a day of the month to the next day with a window, 0 on such a day; days that could not be judged
        count as none. Days after the last window of the history are left out.
    longest_wait : int
        [days] The longest stretch without one.
    """

    book: DayBook
    by_week: np.ndarray
    by_week_any_hour: np.ndarray
    by_week_and_hour: np.ndarray
    by_month: np.ndarray
    by_month_and_hour: np.ndarray
    near_day: np.ndarray
    judged: np.ndarray
    unknown: np.ndarray
    closes: np.ndarray
    alone: np.ndarray
    wait_mean: np.ndarray
    wait_median: np.ndarray
    wait_nine_of_ten: np.ndarray
    longest_wait: int

    @property
    def days(self) -> int:
        return len(self.book.days)

    @property
    def windows(self) -> int:
        return int((self.book.verdict == GO).sum())

    def near(self, day: date) -> float | None:
        """Share of days with a window within ten days of this date; None where the years do not tell."""
        value = self.near_day[day_of_year(np.datetime64(day))[()]]
        return None if np.isnan(value) else float(value)

    def closers(self, month: int, most: int = 3) -> list[tuple[str, float]]:
        """Titles of the rules that close most days of a month (1 to 12), with the share."""
        shares = self.closes[:, month - 1]
        order = sorted(range(len(shares)), key=lambda at: (-np.nan_to_num(shares[at]), self.book.rules[at]))
        return [(self.book.titles[at], float(shares[at])) for at in order[:most] if shares[at] > 0.0]


def make_almanac(book: DayBook) -> Almanac:
    """Frequencies, waits and closing rules of judged days."""
    days = book.days
    month = days.astype("datetime64[M]").astype(int) % 12
    doy = day_of_year(days)
    week = week_of_year(days)
    known, go = book.verdict != UNKNOWN, book.verdict == GO
    judged = np.bincount(month[known], minlength=12)
    waits = _waits(days, go)
    told = ~np.isnan(waits)
    by_month = [waits[told & (month == one)] for one in range(12)]
    any_known, any_go = book.any_hour != UNKNOWN, book.any_hour == GO
    return Almanac(
        book,
        by_week=_share(week, go, known, WEEKS),
        by_week_any_hour=_share(week, any_go, any_known, WEEKS),
        by_week_and_hour=_by_hour(week, book.hours, WEEKS),
        by_month=_share(month, go, known, 12),
        by_month_and_hour=_by_hour(month, book.hours, 12),
        near_day=_around(doy, go, known),
        judged=judged,
        unknown=np.bincount(month[~known], minlength=12),
        closes=_by_rule(book.closes, month, known),
        alone=_by_rule(book.alone, month, known),
        wait_mean=np.array([_or_nan(np.mean, one) for one in by_month]),
        wait_median=np.array([_or_nan(np.median, one) for one in by_month]),
        wait_nine_of_ten=np.array([_or_nan(lambda x: np.quantile(x, 0.9), one) for one in by_month]),
        longest_wait=int(np.nanmax(waits)) if told.any() else 0,
    )


def day_of_year(days: np.ndarray) -> np.ndarray:
    """Position in a leap year, 0 to 365: 1 March is 60 in every year."""
    days = np.asarray(days, dtype="datetime64[D]")
    month = days.astype("datetime64[M]")
    first_of_month = np.array([0, 31, 60, 91, 121, 152, 182, 213, 244, 274, 305, 335])
    return first_of_month[month.astype(int) % 12] + (days - month.astype("datetime64[D]")).astype(int)


def week_of_year(days: np.ndarray) -> np.ndarray:
    """0 to 51: seven days each from 1 January of a leap year on, the last one nine."""
    return np.minimum(day_of_year(days) // 7, WEEKS - 1)


def _share(groups: np.ndarray, yes: np.ndarray, known: np.ndarray, count: int) -> np.ndarray:
    total = np.bincount(groups[known], minlength=count).astype(float)
    found = np.bincount(groups[yes & known], minlength=count)
    return np.where(total > 0, found / np.maximum(total, 1.0), np.nan)


def _by_hour(groups: np.ndarray, hours: np.ndarray, count: int) -> np.ndarray:
    flat = (groups[:, None] * 24 + np.arange(24)).ravel()
    codes = hours.ravel()
    return _share(flat, codes == GO, codes != UNKNOWN, count * 24).reshape(count, 24)


def _by_rule(table: np.ndarray, month: np.ndarray, known: np.ndarray) -> np.ndarray:
    return np.array([_share(month, row, known, 12) for row in table]).reshape(len(table), 12)


def _around(doy: np.ndarray, go: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Share within `AROUND_DAYS` of each day of the year, around the turn of the year too."""
    total = np.bincount(doy[known], minlength=DAYS_OF_YEAR).astype(float)
    found = np.bincount(doy[go & known], minlength=DAYS_OF_YEAR).astype(float)
    around = [
        np.roll(series, shift) for series in (total, found) for shift in range(-AROUND_DAYS, AROUND_DAYS + 1)
    ]
    half = len(around) // 2
    days, windows = sum(around[:half]), sum(around[half:])
    return np.where(days >= FEWEST_DAYS, windows / np.maximum(days, 1.0), np.nan)


def _waits(days: np.ndarray, go: np.ndarray) -> np.ndarray:
    """[days] from each day to the next day with a window; NaN after the last one."""
    numbers = days.astype(int)
    coming = np.where(go, numbers, np.iinfo(np.int64).max)
    coming = np.minimum.accumulate(coming[::-1])[::-1]
    return np.where(coming == np.iinfo(np.int64).max, np.nan, (coming - numbers).astype(float))


def _or_nan(reduce, values: np.ndarray) -> float:
    return float(reduce(values)) if len(values) else np.nan
