"""Where the sun stands and when it rises and sets.

``position`` is the vectorised astronomy that the core uses; ``events`` finds sunrise, sunset and nights;
``printed`` gives the times that are shown to a person.
"""

from advisor.sun.events import SunEvents, nights, sun_events
from advisor.sun.position import solar_declination, solar_elevation, solar_position
from advisor.sun.printed import SunDay, sun_day

__all__ = [
    "SunDay",
    "SunEvents",
    "nights",
    "solar_declination",
    "solar_elevation",
    "solar_position",
    "sun_day",
    "sun_events",
]
