"""Why a rule cannot be answered: a blank label, missing weather, an unstated fact, or too far ahead."""

from __future__ import annotations

import numpy as np

from advisor.area_conditions import AreaConditions
from advisor.clock import local_dates, local_text
from advisor.forecast import REASON_TEXT, Forecast, Reason
from advisor.model import LABEL_QUANTITIES, REQUIRED_LABEL_FIELDS
from advisor.rulebook.evaluate import Finding
from advisor.rulebook.quantities import QUANTITIES
from advisor.variables import VARIABLES

#: of these two one is enough, the other follows from it
_EITHER = ("dew_point", "relative_humidity")


def why_unknown(
    area: AreaConditions, finding: Finding, task: int, span: range, all_known: bool
) -> tuple[str, str]:
    """(what is missing in a few words, the whole sentence) for one rule at one start.

    Parameters
    ----------
    span : range
        Positions on the axis that the rule looks at; they may lie outside it.
    all_known : bool
        Whether every member is known, so that only the lead is too long to decide.
    """
    rule, table = finding.rule, area.table
    if finding.blank[task]:
        blank = [name for name in rule.label_fields if np.isnan(table.label[name][task])]
        names = " and ".join(f'"{name}"' for name in blank)
        text = f"The label file leaves {names} blank ({_what(blank[0])}): copy it from the product's label."
        return f"label field {names}", text
    if all_known:
        return rule.title.lower(), f"Too early to say: {rule.words['asks']}"
    quantity = QUANTITIES[rule.measure.quantity]
    reach = range(span.start, span.stop + quantity.looks_ahead)
    forecast = area.conditions.forecast
    site = int(table.site[task]) if forecast.sites > 1 else 0
    whole = _all_missing(forecast) if quantity.inputs else ""
    if whole:
        return "the forecast", f"Not known: {whole}."
    inputs = [_carrier(name, forecast) for name in quantity.inputs]
    inputs = [name for name in inputs if _counts(name, forecast)]
    note = table.notes.get((rule.measure.quantity, task))
    # the value of a day rests on hours of the day that the rule itself does not look at
    for hours in (reach, _whole_days(forecast, reach, table.zone[task])):
        told = [_missing(forecast, name, site, hours, table.zone[task]) for name in inputs]
        weight, name, sentence = max((row for row in told if row is not None), default=(0, "", ""))
        if name or note:
            break
    if note and weight < _IN_SPAN:
        return rule.title.lower(), f"Not known: {note}."
    if name:
        return name, f"Not known: {sentence}."
    return rule.title.lower(), f"Not known: {rule.words['asks']}"


_NOT_CARRIED, _BEFORE, _IN_SPAN = 1, 2, 3


def _whole_days(forecast: Forecast, span: range, zone) -> range:
    """The local days that a span touches, as far as the axis goes."""
    days = local_dates(forecast.axis, zone)
    touched = days[max(span.start, 0) : span.stop]
    if not len(touched):
        return span
    inside = np.flatnonzero((days >= touched[0]) & (days <= touched[-1]))
    return range(int(inside[0]), int(inside[-1]) + 1)


def _all_missing(forecast: Forecast) -> str:
    """Why nothing of the forecast can be used; empty where something can."""
    if not forecast.fields:
        return "; ".join(forecast.provenance.notes) or "there is no forecast"
    return next((flag.says for flag in forecast.flags if flag.check == "age"), "")


def _carrier(name: str, forecast: Forecast) -> str:
    """What carries an input: members carry the chance of rain in their amounts."""
    carried = name == "precipitation_probability" and name not in forecast.fields and forecast.members > 1
    return "precipitation" if carried and "precipitation" in forecast.fields else name


def _counts(name: str, forecast: Forecast) -> bool:
    """Whether the absence of an input is a reason at all."""
    return (
        name in forecast.fields or name not in _EITHER or not any(one in forecast.fields for one in _EITHER)
    )


def _missing(forecast: Forecast, name: str, site: int, span: range, zone) -> tuple[int, str, str] | None:
    """(weight, variable, since when and why) where a variable is missing over the span."""
    variable, axis = VARIABLES[name], forecast.axis
    if name not in forecast.fields:
        return _NOT_CARRIED, variable.says, f"{variable.says}: {REASON_TEXT[Reason.NOT_CARRIED]}"
    reasons = forecast.reason(name)
    row = reasons[site if reasons.shape[0] > 1 else 0, 0]
    stop = span.stop + (1 if variable.kind == "instant" else 0)
    low, high = max(span.start, 0), min(stop, len(row))
    unknown = np.flatnonzero(row[low:high])
    if len(unknown):
        first = low + int(unknown[0])
        why = REASON_TEXT[Reason(int(row[first]))]
        return _IN_SPAN, variable.says, f"{variable.says} from {local_text(axis[first], zone)}: {why}"
    if stop > len(row):
        end = local_text(axis[-1] + np.timedelta64(1, "h"), zone)
        return _IN_SPAN, variable.says, f"{variable.says} after {end}: {REASON_TEXT[Reason.AFTER_END]}"
    if span.start < 0:
        begin = local_text(axis[0], zone)
        return _BEFORE, variable.says, f"{variable.says} before {begin}: {REASON_TEXT[Reason.BEFORE_START]}"
    values = forecast.values(name)
    known = ~np.isnan(values[site if values.shape[0] > 1 else 0, :, low:high]).any(axis=1)
    if low < high and not known.all():
        members = int(forecast.nominal_members[low])
        return (
            _IN_SPAN,
            variable.says,
            f"only {int(known.sum())} of {members} members have {variable.says} throughout",
        )
    return None


def _what(name: str) -> str:
    if name in REQUIRED_LABEL_FIELDS:
        return REQUIRED_LABEL_FIELDS[name][1]
    return LABEL_QUANTITIES[name].replace("_", " ")
