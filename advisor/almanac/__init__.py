"""The almanac: how often windows occur, by week and hour, from the hours of past years judged by the same rules.

==========  ==============================================================================
history     past hours of one site, joined and cut into seasons
count       every past day judged by the rules that the weather decides
tables      frequencies, waits and what closes days, from the judged days
keep        what is kept of it as JSON, and read back for the days after a forecast
==========  ==============================================================================
"""

from advisor.almanac.count import DayBook, count_days, weather_rules
from advisor.almanac.history import join_history, missing_core, with_station_gusts
from advisor.almanac.keep import KeptAlmanac, kept_object, read_kept
from advisor.almanac.tables import Almanac, make_almanac

__all__ = [
    "Almanac",
    "DayBook",
    "KeptAlmanac",
    "count_days",
    "join_history",
    "kept_object",
    "make_almanac",
    "missing_core",
    "read_kept",
    "weather_rules",
    "with_station_gusts",
]
