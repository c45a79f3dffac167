"""Keys of an Open-Meteo answer: variable, member and model.

A key is the variable's name, then `_memberNN` for all members but the control, then the model's name when
several models answered. The model's name in a key need not be the one that was asked, so keys are matched by
pattern.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from advisor.clock import HOUR, to_numpy
from advisor.forecast import Flag, Forecast, ForecastBuilder

#: pattern of the model's name, members with the control, horizon [days]. Open-Meteo's ensemble page, 2026-08.
MODELS: tuple[tuple[str, int, float], ...] = (
    (r"icon_d2", 20, 2.0),
    (r"icon_eu", 40, 5.0),
    (r"icon_ch1", 11, 1.4),
    (r"icon_ch2", 21, 5.0),
    (r"icon", 40, 7.5),
    (r"aigefs|aigfs", 31, 16.0),
    (r"g(?:e)?fs_?0?25|ncep_gefs025", 31, 10.0),
    (r"g(?:e)?fs", 31, 35.0),
    (r"aifs", 51, 15.0),
    (r"ecmwf", 51, 15.0),
    (r"gem", 21, 16.0),
    (r"access|bom", 18, 10.0),
    (r"mogreps_uk|ukmo_uk", 3, 5.0),
    (r"mogreps|ukmo", 18, 8.0),
    (r"weathernext", 64, 15.0),
)

_TAIL = re.compile(r"^(?:_member(?P<member>\d{1,3}))?(?:_(?P<model>[a-z][a-z0-9_]*))?$")
#: what may follow a variable's name and is no model
_NOT_MODELS = re.compile(
    r"^(?:low|mid|high|mean|max|min|sum|std|spread|instant|dominant|probability|hours|previous_day\d)(?:_|$)"
)


@dataclass(frozen=True, slots=True)
class Layout:
    """Which key holds which member of which variable.

    Attributes
    ----------
    members : tuple of (str, int)
        Model and member number, in the order of the member axis; the control is member 0.
    keys : mapping of variable to (member to key)
    """

    members: tuple[tuple[str, int], ...]
    keys: Mapping[str, Mapping[tuple[str, int], str]]
    ensemble: bool
    notes: tuple[str, ...] = ()
    flags: tuple[Flag, ...] = ()

    def nominal(self, axis: np.ndarray, fetched_at: datetime | None, builder: ForecastBuilder) -> np.ndarray:
        """How many members are promised at each hour (hour,), whatever arrived.

        A model among several counts to its horizon, and beyond it for as long as any of its members is there.
        """
        if not self.ensemble:
            return np.ones(len(axis), dtype=int)
        origin = axis[0] if fetched_at is None else to_numpy(fetched_at, "h")
        models = sorted({model for model, _ in self.members})
        total = np.zeros(len(axis), dtype=int)
        for model in models:
            rows = [row for row, (name, _) in enumerate(self.members) if name == model]
            count, days = promised(model, len(rows))
            expected = (axis - origin) / HOUR <= days * 24.0
            if len(models) == 1:
                expected = np.ones(len(axis), dtype=bool)
            total += np.where(expected | builder.present(rows), count, 0)
        return total


def promised(model: str, arrived: int) -> tuple[int, float]:
    """Members and horizon [days] of a model by its name; unnamed, the smallest count that fits."""
    for pattern, members, days in MODELS:
        if model and re.search(pattern, model):
            return max(members, arrived), days
    counts = sorted({members for _, members, _ in MODELS if members >= arrived})
    return (counts[0] if counts else arrived), 35.0


def within_horizon(forecast: Forecast, model: str) -> Forecast:
    """A forecast of one model that promises no members beyond the model's horizon, unless some are there.

    Alone, an answer promises its members to its end. Beside longer models, one that has ended must not count as lost.
    """
    since = forecast.provenance.fetched_at
    _, days = promised(model, forecast.members)
    origin = forecast.start if since is None else to_numpy(since, "h")
    there = np.zeros(forecast.hours, dtype=bool)
    for one in forecast.fields.values():
        there |= one.known.any(axis=(0, 1))
    expected = (forecast.axis - origin) / HOUR <= days * 24.0
    return replace(forecast, nominal_members=np.where(expected | there, forecast.nominal_members, 0))


def layout(hourly: Iterable[str], names: Iterable[str]) -> Layout:
    """Sort the keys of an answer by variable, model and member.

    A deterministic answer of several models is read as its first model: three opinions are no ensemble.
    """
    by_length = sorted(names, key=len, reverse=True)
    bare = set(hourly) & set(by_length)
    found: dict[str, dict[tuple[str, int], str]] = {}
    ensemble = False
    for key in hourly:
        name = next((name for name in by_length if key.startswith(name)), None)
        tail = _TAIL.match(key[len(name) :]) if name else None
        if not tail:
            continue
        model = tail["model"] or ""
        if model and _NOT_MODELS.match(model):
            continue
        if model and name in bare and not tail["member"]:
            continue  # beside the bare name, a longer one is another variable
        ensemble = ensemble or bool(tail["member"])
        found.setdefault(name, {})[model, int(tail["member"] or 0)] = key
    models = list(dict.fromkeys(model for keys in found.values() for model, _ in keys))
    notes: tuple[str, ...] = ()
    flags: tuple[Flag, ...] = ()
    if ensemble:
        rank = {model: at for at, model in enumerate(models)}
        members = sorted(
            {member for keys in found.values() for member in keys}, key=lambda m: (rank[m[0]], m[1])
        )
        if len(models) > 1:
            notes = ("several models pooled, each member counting once: " + ", ".join(models),)
        return Layout(tuple(members), found, True, notes)
    if len(models) > 1:
        chosen = "" if "" in models else models[0]
        others = [model for model in models if model != chosen]
        flags = (
            Flag(
                "several-models",
                "all",
                f"several models in one answer: {chosen or 'the one without a name'} is read, "
                f"{', '.join(others)} left aside",
            ),
        )
        found = {name: {("", 0): keys[chosen, 0]} for name, keys in found.items() if (chosen, 0) in keys}
    elif models and models[0]:
        notes = (f"model {models[0]}",)
        found = {name: {("", 0): next(iter(keys.values()))} for name, keys in found.items()}
    return Layout((("", 0),), found, False, notes, flags)
