"""The conditions at the sites of a forecast: derived hourly series, each computed once and only when asked for.

Arrays are (site, member, hour) as in the forecast; what does not differ between members has member length 1.
Instants keep their instants: a limit looks at both ends of every hour (`advisor.spans`), so nothing is averaged here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from advisor.atmosphere import inversions, leaves, moisture, stability, wind
from advisor.atmosphere.stable_air import stable_air
from advisor.forecast import Forecast
from advisor.model import Site
from advisor.sun import nights, solar_elevation
from advisor.variables import MEASURABLE_RAIN_MM
from advisor.votes import Votes

#: 3 mph, below which a label calls the air calm, and 1 mph, below which it is calm whatever the sun does [m/s]
CALM_BELOW = 3 * 0.44704
STILL_BELOW = 1 * 0.44704
#: Turner's class C is the last unstable one
CLASS_C = 3


@dataclass(frozen=True)
class SiteTable:
    """Per-site constants (site,): degrees, metres, whether the site is a hollow that holds cold air, and sheltered."""

    latitude: np.ndarray
    longitude: np.ndarray
    elevation: np.ndarray
    hollow: np.ndarray
    #: True for all sites, False for none, or (site,)
    sheltered: np.ndarray | bool = False

    @classmethod
    def of(cls, *sites: Site) -> SiteTable:
        """The table of these sites, in order; an elevation that is not stated is NaN."""
        return cls(
            np.array([site.latitude for site in sites]),
            np.array([site.longitude for site in sites]),
            np.array([np.nan if site.elevation is None else site.elevation for site in sites]),
            np.array([site.hollow for site in sites]),
            np.array([site.exposure == "sheltered" for site in sites]),
        )

    @property
    def least_share_of_wind(self) -> np.ndarray:
        """Share of the open land's wind that is sure to blow at the site (site, 1, 1)."""
        return np.where(np.atleast_1d(self.sheltered), wind.SHELTERED_SHARE, 1.0)[:, None, None]


@dataclass(frozen=True, eq=False)
class Conditions:
    """Derived series of a forecast at its sites.

    Parameters
    ----------
    forecast : Forecast
        After quality control.
    sites : SiteTable
        Same order as the forecast's site axis.
    """

    forecast: Forecast
    sites: SiteTable
    #: hours by which the closed time before sunset and after sunrise is set (GRDC 2025, module 10.8; label-type rule)
    inversion_before_sunset: float = 2.0
    inversion_after_sunrise: float = 1.0

    @cached_property
    def axis(self) -> np.ndarray:
        return self.forecast.axis

    def _site(self, values: np.ndarray) -> np.ndarray:
        return np.asarray(values, dtype=float)[:, None, None]

    def _as_weather(self, values: np.ndarray) -> np.ndarray:
        """In the type of the weather, so that what all members share does not turn its arrays into longer ones."""
        return values.astype(self.air_temperature.dtype, copy=False)

    # what the source says, or what follows from it --------------------------------------------------------------

    @cached_property
    def air_temperature(self) -> np.ndarray:
        return self.forecast.values("air_temperature")

    @cached_property
    def relative_humidity(self) -> np.ndarray:
        """Stated; from the dew point (FAO-56 eq. 10 and 11) where the source carries none. A gap stays a gap."""
        if "relative_humidity" in self.forecast.fields:
            return self.forecast.values("relative_humidity")
        return moisture.relative_humidity(self.air_temperature, self.forecast.values("dew_point"))

    @cached_property
    def dew_point(self) -> np.ndarray:
        """Stated; from the relative humidity where the source carries none. A gap stays a gap."""
        if "dew_point" in self.forecast.fields:
            return self.forecast.values("dew_point")
        return moisture.dew_point(self.air_temperature, self.forecast.values("relative_humidity"))

    @cached_property
    def pressure(self) -> np.ndarray:
        """Stated, or of the standard atmosphere at the site's height (FAO-56 eq. 7); it moves Delta T by little."""
        stated = self.forecast.values("surface_pressure")
        unknown = np.isnan(stated)
        if not unknown.any():
            return stated
        standard = self._site(moisture.atmospheric_pressure(np.nan_to_num(self.sites.elevation)))
        return np.where(unknown, self._as_weather(standard), self._as_weather(stated))

    @cached_property
    def delta_t(self) -> np.ndarray:
        return moisture.delta_t(self.air_temperature, self.relative_humidity, self.pressure)

    @cached_property
    def dew_point_depression(self) -> np.ndarray:
        return self.air_temperature - self.dew_point

    @cached_property
    def wind_speed_10m(self) -> np.ndarray:
        return self.forecast.values("wind_speed_10m")

    @cached_property
    def wind_from_direction(self) -> np.ndarray:
        return self.forecast.values("wind_from_direction")

    @cached_property
    def wind_speed_2m(self) -> np.ndarray:
        """Over short grass, FAO-56 eq. 47: for upper limits, without credit for shelter."""
        return wind.wind_speed_2m(self.wind_speed_10m)

    @cached_property
    def wind_gust_2m(self) -> np.ndarray:
        """The gust's excess over the mean does not shrink towards the ground, the mean does.

        In the surface layer the standard deviation of the wind is about constant with height (Panofsky & Dutton 1984,
        from memory), so the gust at 2 m is the mean there plus the excess at 10 m.
        """
        return self._gust_2m(self.forecast.values("wind_gust"))

    @cached_property
    def wind_gust_2m_estimated(self) -> np.ndarray:
        """From the mean wind, where the source gives no gust."""
        return self._gust_2m(wind.gust_estimate(self.wind_speed_hour_maximum))

    def _gust_2m(self, gust: np.ndarray) -> np.ndarray:
        mean = self.wind_speed_hour_maximum
        return wind.wind_speed_2m(mean) + np.maximum(gust - mean, 0.0)

    @cached_property
    def wind_speed_hour_maximum(self) -> np.ndarray:
        """The larger of the two instants that bound each hour; unknown in the last hour."""
        return np.maximum(self.wind_speed_10m, _following(self.wind_speed_10m))

    @cached_property
    def cloud_cover(self) -> np.ndarray:
        return self.forecast.values("cloud_cover")

    @cached_property
    def precipitation(self) -> np.ndarray:
        return self.forecast.values("precipitation")

    @cached_property
    def precipitation_probability(self) -> np.ndarray:
        """[%] Stated by the source, else the share of members with measurable rain in the hour's block.

        A single run without a stated chance has none; members of which some are not known have none either.
        """
        if "precipitation_probability" in self.forecast.fields or self.forecast.members == 1:
            return self.forecast.values("precipitation_probability")
        rain = self.forecast.fields.get("precipitation")
        if rain is None:
            return np.full((1, 1, self.forecast.hours), np.nan)
        length = 1 if rain.block_first is None else rain.block_last - rain.block_first + 1
        amount = rain.values * length
        share = (amount >= MEASURABLE_RAIN_MM).mean(axis=1, keepdims=True) * 100.0
        return np.where(np.isnan(amount).any(axis=1, keepdims=True), np.nan, share)

    @cached_property
    def warning_in_force(self) -> np.ndarray:
        """1 where an official warning stands, 0 where none does, NaN where that is not known."""
        return self.forecast.values("warning_in_force")

    @cached_property
    def precipitation_probability_unstated(self) -> np.ndarray:
        """[%] 10 wherever an amount is known: what stands in where the source states no chance.

        The amount itself is judged by rules of its own; this says only that a dry hour in a forecast is a wet one now
        and then. Common practice, no source.
        """
        return np.where(np.isnan(self.precipitation), np.nan, 10.0)

    # sun and nights ---------------------------------------------------------------------------------------------

    @cached_property
    def sun_elevation(self) -> np.ndarray:
        return solar_elevation(
            self.axis[None, None, :], self._site(self.sites.latitude), self._site(self.sites.longitude)
        )

    @cached_property
    def nights(self) -> tuple[np.ndarray, np.ndarray]:
        """(sunset, sunrise) of consecutive nights, datetime64[s] (site, night)."""
        return nights(
            self.axis[0].astype("datetime64[s]"),
            (self.axis[-1] + np.timedelta64(1, "h")).astype("datetime64[s]"),
            np.asarray(self.sites.latitude, dtype=float),
            np.asarray(self.sites.longitude, dtype=float),
        )

    @cached_property
    def is_night(self) -> np.ndarray:
        """EPA-454/R-99-005, section 6.4.1: from one hour before sunset to one hour after sunrise."""
        sunset, sunrise = self.nights
        return inversions.is_night(self.axis.astype("datetime64[s]"), sunset, sunrise)[:, None, :]

    # stability --------------------------------------------------------------------------------------------------

    @cached_property
    def stability_class(self) -> np.ndarray:
        """Turner's class 1 (A) to 7 (G); NaN without cloud or wind."""
        return stability.turner_class(*self._sky, self.cloud_cover, self.wind_speed_10m)

    @cached_property
    def _sky(self) -> tuple[np.ndarray, np.ndarray]:
        return self._as_weather(self.sun_elevation), self.is_night

    @cached_property
    def inversion_closed(self) -> np.ndarray:
        """Boolean (site, 1, hour): hours closed around the night whatever the weather; an hour longer in hollows."""
        sunset, sunrise = self.nights
        closed = inversions.inversion_closed(
            self.axis.astype("datetime64[s]"),
            sunset,
            sunrise,
            self.inversion_before_sunset,
            self.inversion_after_sunrise,
        )
        if np.any(self.sites.hollow):
            longer = inversions.inversion_closed(
                self.axis.astype("datetime64[s]"),
                sunset,
                sunrise,
                self.inversion_before_sunset + 1.0,
                self.inversion_after_sunrise + 1.0,
            )
            closed = np.where(np.asarray(self.sites.hollow, dtype=bool)[:, None], longer, closed)
        return closed[:, None, :]

    @property
    def inversion_sign(self) -> np.ndarray:
        """1 where the air is or may be stable, 0 where it is not, else NaN."""
        return self.stable_air.numbers

    @cached_property
    def stable_air(self) -> Votes:
        """Where the air is or may be stable: in closed hours, and in Turner's classes E to G.

        By day no class is stable whatever the cloud, so a source without cloud is enough there.
        """
        stable = stable_air(*self._sky, self.cloud_cover, self.wind_speed_10m)
        return Votes.of(self.inversion_closed) | stable

    @cached_property
    def mixing_wind(self) -> np.ndarray:
        """Lower estimate of the wind at 2 m, counted as 3 mph where 1 to 3 mph blow in unstable air (class A to C).

        At sheltered sites half of the open land's wind is sure; upper limits take no credit for shelter.
        Light wind under a heating sun mixes; the same wind in neutral or stable air drifts. Common practice, no source.
        Where the cloud is not known the most stable class counts, and where that decides whether the air is calm, the
        answer is not known.
        """
        exact = self.stability_class
        if not np.isnan(exact).any():
            return self._mixed(exact)
        best, worst = stability.turner_class_bounds(*self._sky, self.wind_speed_10m)
        low, high = (self._mixed(np.where(np.isnan(exact), bound, exact)) for bound in (worst, best))
        return np.where((low < CALM_BELOW) & (high >= CALM_BELOW), low.dtype.type(np.nan), low)

    def _mixed(self, stability_class: np.ndarray) -> np.ndarray:
        light = wind.lowest_wind_speed_2m(self.wind_speed_10m, stability_class)
        if np.any(self.sites.sheltered):
            light = light * self.sites.least_share_of_wind.astype(light.dtype)
        # where the air is unstable and not still, at least as much as 3 mph
        mixed = (stability_class <= CLASS_C) & (light >= STILL_BELOW)
        return np.maximum(light, mixed * light.dtype.type(CALM_BELOW), out=light)

    # leaves -----------------------------------------------------------------------------------------------------

    @property
    def leaf_wet(self) -> np.ndarray:
        """1 where leaves are wet, 0 where they are dry throughout the hour, NaN unknown."""
        return self.leaves_wet.numbers

    @cached_property
    def leaves_wet(self) -> Votes:
        """Where leaves are wet by humidity or dew-point depression at either end of the hour, or by rain in it."""
        air = leaves.wet_by_air(self.relative_humidity, self.dew_point_depression)
        return air | air.following() | leaves.wet_by_rain(self.precipitation)


def _following(values: np.ndarray) -> np.ndarray:
    """The next hour's values; unknown in the last hour."""
    following = np.full_like(values, np.nan)
    following[..., :-1] = values[..., 1:]
    return following
