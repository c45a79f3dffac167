"""Several sources as one ensemble, and an ensemble joined to a forecast without members.

Member 7 of one source and member 7 of another have nothing to do with each other: members of different sources are
never matched. What a source does not carry is either unknown in its members, or borrowed: then one value is shared by
all members, whose link with the rest of their weather is lost, and the provenance says 'dependence assumed'.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from advisor.clock import HOUR
from advisor.forecast import Field, Forecast, Provenance, Reason, on_axis
from advisor.spread.pairs import mean_known
from advisor.variables import VARIABLES

DEPENDENCE_ASSUMED = "dependence assumed"
#: models weigh the same to within this part of their weight; members are repeated to reach it
EQUAL_WITHIN = 0.05
#: but no more members than this many times the largest source's
_MOST_REPEATS = 4
#: what may stand for all members as one value. A mean of rain would drizzle in every member, and a stated chance beside
#: members would count twice, so neither is lent.
_LENDABLE = ("instant", "mean", "max")


def padded(forecast: Forecast) -> Forecast:
    """An ensemble whose members that never arrived are there as unknown ones, so that losing members never helps.

    A field with a member axis of length 1 means 'shared by all members'; an ensemble that lost all members but one
    would look like that, and is therefore filled up with NaN to the number that its source promises.
    """
    promised = int(forecast.nominal_members.max(initial=1))
    if promised <= 1:
        return forecast
    lone = forecast.members == 1
    fields = {}
    for name, one in forecast.fields.items():
        count = one.values.shape[1]
        if 1 < count < promised or (lone and forecast.provenance.spread == "ensemble"):
            values = np.full((one.values.shape[0], promised, forecast.hours), np.nan, dtype=one.values.dtype)
            values[:, :count] = one.values
            one = replace(one, values=values)
        fields[name] = one
    return replace(forecast, fields=fields)


def join(ensemble: Forecast, deterministic: Forecast) -> Forecast:
    """An ensemble with what it lacks taken from a forecast without members: variables, and the hours before it begins.

    Parameters
    ----------
    ensemble, deterministic : Forecast
        Of the same sites. The ensemble's own values are never replaced.

    Returns
    -------
    Forecast
        On the axis of both. A borrowed variable is shared by all members. In the hours before the ensemble begins all
        members have the value of the other, which is what has happened by then.

    Notes
    -----
    A chance of rain is not borrowed for an ensemble that has rain of its own: its members carry the chance.
    """
    ensemble = padded(ensemble)
    start, hours = _axis([ensemble, deterministic])
    own, other = on_axis(ensemble, start, hours), on_axis(deterministic, start, hours)
    fields = dict(own.fields)
    borrowed, prefixed = [], []
    for name, lent in other.fields.items():
        if lent.values.shape[1] > 1:
            lent = replace(lent, values=mean_known(lent.values, 1)[:, None])
        if name in fields:
            fields[name], did = _prefixed(fields[name], lent)
            if did:
                prefixed.append(VARIABLES[name].says)
        elif name != "precipitation_probability" or "precipitation" not in own.fields:
            fields[name] = lent
            borrowed.append(VARIABLES[name].says)
    notes = list(ensemble.provenance.notes)
    if borrowed:
        notes.append(f"{', '.join(borrowed)} from {deterministic.provenance.source}: {DEPENDENCE_ASSUMED}")
    if prefixed:
        notes.append(f"past hours from {deterministic.provenance.source}: {', '.join(prefixed)}")
    provenance = _oldest([ensemble.provenance, deterministic.provenance])
    provenance = replace(
        provenance,
        source=ensemble.provenance.source,
        spread=ensemble.provenance.spread,
        notes=tuple(notes),
        latitude=ensemble.provenance.latitude,
        longitude=ensemble.provenance.longitude,
        elevation=ensemble.provenance.elevation,
        sha256=ensemble.provenance.sha256,
        own_axis=(start, hours),
        no_past_before=_no_past_before([ensemble.provenance, deterministic.provenance]),
        attribution=_attribution([ensemble.provenance, deterministic.provenance]),
    )
    flags = (*ensemble.flags, *deterministic.flags)
    nominal = _promised(own.nominal_members)
    return Forecast(start, hours, fields, provenance, nominal, flags)


def pool(forecasts: Sequence[Forecast]) -> Forecast:
    """One ensemble of several sources, models weighing the same whatever their number of members.

    Parameters
    ----------
    forecasts : sequence of Forecast
        Of the same sites, each with its own members.

    Returns
    -------
    Forecast
        Members of one source after those of another. Each member of a smaller source is repeated, until the sources
        weigh the same within 5 %; `nominal_members` counts the repeats. Where a source does not reach, its members are
        unknown. A variable that it does not carry is lent by the others as their mean, and the notes say so; rain is
        never lent.
    """
    if not forecasts:
        raise ValueError("Give at least one forecast to pool.")
    forecasts = [padded(one) for one in forecasts]
    if len(forecasts) == 1:
        return forecasts[0]
    start, hours = _axis(forecasts)
    placed = [on_axis(one, start, hours) for one in forecasts]
    repeats = repeats_for_equal_weight([one.members for one in placed])
    names = list(dict.fromkeys(name for one in placed for name in one.fields))
    fields: dict[str, Field] = {}
    notes = [note for one in forecasts for note in one.provenance.notes]
    for name in names:
        if name == "precipitation_probability" and "precipitation" in names:
            continue
        fields[name], lacking = _stacked(name, placed, repeats)
        if lacking:
            notes.append(
                f"{VARIABLES[name].says} of {', '.join(lacking)} from the others: {DEPENDENCE_ASSUMED}"
            )
    counted = [one.nominal_members * times for one, times in zip(placed, repeats, strict=True)]
    told = [
        f"{one.provenance.source} ({one.members} members"
        + (f", each counted {times} times)" if times > 1 else ")")
        for one, times in zip(placed, repeats, strict=True)
    ]
    notes.insert(0, f"pooled with equal weight: {', '.join(told)}")
    provenances = [one.provenance for one in forecasts]
    provenance = replace(
        _oldest(provenances),
        source="+".join(dict.fromkeys(one.source for one in provenances)),
        own_axis=(start, hours),
        no_past_before=_no_past_before(provenances),
        spread="ensemble"
        if all(one.spread == "ensemble" for one in provenances)
        else _widest_word(provenances),
        attribution=_attribution(provenances),
        notes=tuple(dict.fromkeys(notes)),
    )
    flags = tuple(flag for one in forecasts for flag in one.flags)
    return Forecast(start, hours, fields, provenance, _promised(np.sum(counted, axis=0)), flags)


def _no_past_before(provenances: Sequence[Provenance]) -> np.datetime64 | None:
    """The earliest hour of all; None where one of them has a past."""
    firsts = [one.no_past_before for one in provenances]
    return None if any(first is None for first in firsts) else min(firsts)


def _promised(counts: np.ndarray) -> np.ndarray:
    """Members promised at each hour: fewer where a model has ended, but all of them where nobody reaches any more, so
    that those hours are unknown and not counted over nothing."""
    return np.where(counts > 0, counts, max(int(counts.max(initial=1)), 1))


def repeats_for_equal_weight(counts: Sequence[int]) -> list[int]:
    """How often each member of each source is to count so that the sources weigh the same within 5 %.

    The smallest total that does it; where none does within four times the largest source, the best one.
    """
    best: tuple[float, list[int]] | None = None
    for target in range(max(counts), _MOST_REPEATS * max(counts) + 1):
        repeats = [max(round(target / count), 1) for count in counts]
        totals = [times * count for times, count in zip(repeats, counts, strict=True)]
        unequal = max(totals) / min(totals) - 1.0
        if best is None or unequal < best[0] - 1e-12:
            best = (unequal, repeats)
        if unequal <= EQUAL_WITHIN + 1e-9:
            return repeats
    return best[1]


def _axis(forecasts: Sequence[Forecast]) -> tuple[np.datetime64, int]:
    start = min(one.start for one in forecasts)
    end = max(one.start + one.hours * HOUR for one in forecasts)
    return start, int((end - start) / HOUR)


def _prefixed(own: Field, lent: Field) -> tuple[Field, bool]:
    """A field with the other's values in the hours before its own first known one."""
    known = own.known.any(axis=(0, 1))
    first = int(np.argmax(known)) if known.any() else 0
    early = (np.arange(len(known)) < first) & lent.known.any(axis=(0, 1))
    if not early.any():
        return own, False
    values = np.where(early, lent.values, own.values).astype(own.values.dtype)
    reason = np.where(early, lent.reason, own.reason)
    first_hour, last_hour = own.block_first, own.block_last
    if first_hour is not None or lent.block_first is not None:
        hours = np.arange(len(known), dtype=np.int32)
        first_hour, last_hour = (
            np.where(early, hours if theirs is None else theirs, hours if ours is None else ours).astype(
                np.int32
            )
            for ours, theirs in ((own.block_first, lent.block_first), (own.block_last, lent.block_last))
        )
    return Field(values, reason, first_hour, last_hour), True


def _stacked(name: str, placed: Sequence[Forecast], repeats: Sequence[int]) -> tuple[Field, list[str]]:
    """All sources' members of one variable after one another, and the sources that do not carry it."""
    have = [one.fields.get(name) for one in placed]
    lacking = [one.provenance.source for one, field in zip(placed, have, strict=True) if field is None]
    lendable = VARIABLES[name].kind in _LENDABLE
    lent = _mean_of(name, [field for field in have if field is not None]) if lacking and lendable else None
    instead = np.full((1, 1, placed[0].hours), np.nan) if lent is None else lent
    sites = max(one.sites for one in placed)
    parts = []
    for one, field, times in zip(placed, have, repeats, strict=True):
        values = np.broadcast_to(instead if field is None else field.values, (sites, one.members, one.hours))
        parts.append(np.repeat(values, times, axis=1))
    stacked = np.concatenate(parts, axis=1)
    present = [field for field in have if field is not None]
    known = (~np.isnan(stacked)).any(axis=1, keepdims=True)
    reason = np.where(known, np.uint8(Reason.KNOWN), np.max([field.reason for field in present], axis=0))
    first, last = _widest_blocks(present, placed[0].hours)
    return Field(stacked, reason.astype(np.uint8), first, last), lacking if lendable else []


def _mean_of(name: str, fields: Sequence[Field]) -> np.ndarray:
    """Mean over the sources' means; of directions along the mean vector."""
    if VARIABLES[name].dimension != "angle":
        return mean_known(np.concatenate([mean_known(one.values, 1)[:, None] for one in fields], axis=1), 1)[
            :, None
        ]
    angle = np.concatenate([np.deg2rad(one.values) for one in fields], axis=1)
    east, north = mean_known(np.sin(angle), 1), mean_known(np.cos(angle), 1)
    # opposite directions cancel, and no direction is left
    there = np.where(np.hypot(east, north) > 1e-6, np.rad2deg(np.arctan2(east, north)) % 360.0, np.nan)
    return there[:, None]


def _widest_blocks(fields: Sequence[Field], hours: int) -> tuple[np.ndarray | None, np.ndarray | None]:
    """Block bounds that hold those of every source: an amount that is only partly in a span counts whole."""
    if all(one.block_first is None for one in fields):
        return None, None
    own = np.arange(hours, dtype=np.int32)[None, None]
    first = np.minimum.reduce([own if one.block_first is None else one.block_first for one in fields])
    last = np.maximum.reduce([own if one.block_last is None else one.block_last for one in fields])
    return first.astype(np.int32), last.astype(np.int32)


def _oldest(provenances: Sequence[Provenance]) -> Provenance:
    """The provenance whose issue, or else fetch, lies furthest back: a pooled forecast is as old as its oldest part."""

    def since(one: Provenance):
        return one.issued_at or one.fetched_at

    unknown = [one for one in provenances if since(one) is None]
    return unknown[0] if unknown else min(provenances, key=since)


def _attribution(provenances: Sequence[Provenance]) -> str:
    return "; ".join(dict.fromkeys(one.attribution for one in provenances if one.attribution))


def _widest_word(provenances: Sequence[Provenance]) -> str:
    """What is said of a mixed ensemble: the weakest of what its parts say."""
    words = [one.spread for one in provenances]
    return next((word for word in ("none", "assumed spread") if word in words), words[0])
