"""Comparisons of our formulas with general reference libraries on wide grids, and with real observations.

Every comparison returns what was compared, the largest difference found, the bound that the tests hold it to
and why the two disagree at all. ``report`` runs them all, for a table of the validation.
"""

from __future__ import annotations

from . import compare_evapotranspiration, compare_moisture, compare_sun, greensboro

COMPARISONS = (
    compare_moisture.saturation_psychrolib,
    compare_moisture.saturation_metpy,
    compare_moisture.dew_point_psychrolib,
    compare_moisture.dew_point_metpy,
    compare_moisture.wet_bulb_residual,
    compare_moisture.wet_bulb_psychrolib,
    compare_moisture.wet_bulb_psychrolib_ordinary,
    compare_moisture.wet_bulb_metpy,
    compare_moisture.stull_against_psychrometer,
    compare_sun.sun_position_pvlib,
    compare_sun.sun_events_ephem,
    compare_sun.sun_events_ephem_near_the_circle,
    compare_sun.extraterrestrial_pvlib,
    compare_evapotranspiration.daily_short_refet,
    compare_evapotranspiration.daily_tall_refet,
    compare_evapotranspiration.daily_fao_refet,
    compare_evapotranspiration.hourly_short_refet,
    compare_evapotranspiration.hourly_tall_refet,
    compare_evapotranspiration.hourly_short_night_refet,
    compare_evapotranspiration.hourly_tall_night_refet,
    greensboro.greensboro_turner,
    greensboro.greensboro_july_sum,
    greensboro.greensboro_hourly_and_daily_et,
    greensboro.greensboro_extraterrestrial,
    greensboro.greensboro_shortwave_from_cloud,
)


def report() -> list[tuple[str, str, str, str]]:
    """Rows (topic, method, checked against, largest difference) of the comparisons that can be run here."""
    rows = []
    for compare in COMPARISONS:
        try:
            found = compare()
        except ImportError:
            continue
        rows.append((found.topic, found.method, found.against, f"{found.largest:.3g} {found.unit}"))
    return rows
