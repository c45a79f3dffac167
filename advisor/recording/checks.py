"""What speaks against a record: what cannot be true, and what should not have been done.

What cannot be true is refused for good. What should not have been done is refused too, but may be recorded as it
happened: a record must be true even when the deed was wrong, and then it carries what was wrong with it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from advisor import units
from advisor.clock import iso
from advisor.errors import did_you_mean
from advisor.mix.allowed import label_rate
from advisor.model import Household, Label, Record
from advisor.recording.details import Details
from advisor.recording.elements import completeness
from advisor.season import label_of, season_use, share_ingredient

#: measured sizes and amounts may differ by this share before they count as more than allowed
TOLERANCE = 0.05
#: a year's total adds measured sizes and amounts up, which are no better than this share
_TOTALS = 0.01
#: no pass of one person takes longer [h]
LONGEST = 24.0


@dataclass(frozen=True, slots=True)
class Fault:
    """`final` faults cannot be true; the others may be recorded as they happened."""

    code: str
    what: str
    hint: str = ""
    final: bool = False


def check_record(
    household: Household, record: Record, details: Details, ledger: Sequence[Record], now: datetime
) -> list[Fault]:
    """Everything that speaks against a record.

    Parameters
    ----------
    ledger : sequence of Record
        What counts already, without the record that this one corrects.
    """
    impossible = [*_times(record, now), *_numbers(record), *_names(household, record)]
    if any(fault.final for fault in impossible):
        return impossible
    label = label_of(household, record)
    found = [*impossible, *_amounts(household, record, label), *_order(household, record, ledger, label)]
    if label is not None:
        found += _season(household, record, label, ledger)
        found += _turf(household, record, label)
    found += _licence(household, record, details)
    missing = completeness(record, details, ledger, household.site.zone)
    if not missing.complete:
        names = ", ".join(one.says for one in missing.federal)
        why = "a restricted-use product" if details.restricted_use else "work for hire"
        found.append(Fault("incomplete", f"the record of {why} lacks by 7 CFR 110.3: {names}", "add them"))
    return found


# what cannot be true ----------------------------------------------------------------------------------------------


def _times(record: Record, now: datetime):
    if record.started_at > now:
        yield Fault(
            "future", f"the pass began in the future: it is {iso(now)} now", "check date, time and zone", True
        )
    elif record.ended_at is not None and record.ended_at > now:
        yield Fault(
            "future", f"the pass ended in the future: it is {iso(now)} now", "record it when it is over", True
        )
    if record.ended_at is not None and record.ended_at < record.started_at:
        yield Fault("backwards", "the pass ended before it began", "check both times", True)
    elif record.ended_at is not None and record.ended_at - record.started_at > timedelta(hours=LONGEST):
        hours = (record.ended_at - record.started_at).total_seconds() / 3600.0
        yield Fault("too-long", f"the pass took {hours:.0f} h", "check the date of both times")


def _numbers(record: Record):
    for name, value in (("amount", record.amount), ("size", record.size)):
        if value is not None and not (math.isfinite(value) and value > 0.0):
            yield Fault(
                "impossible", f"the {name} must be a number above 0", "leave it out if it is not known", True
            )


def _names(household: Household, record: Record):
    if not record.active_ingredients:
        yield Fault("ingredients", "no active ingredient is named, so the season's total cannot be kept",
                    "name the product of a label file, or its active ingredients", True)  # fmt: skip
    if record.area not in household.areas:
        yield Fault(
            "unknown-area", f'there is no area "{record.area}"', did_you_mean(record.area, household.areas)
        )
    if record.treatment and record.treatment not in household.treatments:
        yield Fault("unknown-treatment", f'there is no treatment "{record.treatment}"',
                    did_you_mean(record.treatment, household.treatments))  # fmt: skip
    treatment = household.treatments.get(record.treatment)
    if treatment is not None and record.area in household.areas and record.area not in treatment.areas:
        yield Fault("other-area", f'treatment "{record.treatment}" is not meant for area "{record.area}"',
                    "its areas: " + ", ".join(treatment.areas))  # fmt: skip
    if treatment is not None and record.product:
        label = household.labels[treatment.label]
        if not label.is_called(record.product):
            yield Fault("other-product",
                        f'treatment "{record.treatment}" is made with {label.product}, not {record.product}',
                        "check the product's name")  # fmt: skip


# what should not have been done -----------------------------------------------------------------------------------


def _amounts(household: Household, record: Record, label: Label | None):
    area = household.areas.get(record.area)
    if area is not None and record.size is not None and record.size > area.size * (1.0 + TOLERANCE):
        treated, whole = (units.show(one, "area", household.units) for one in (record.size, area.size))
        yield Fault("too-large", f"{treated} were treated, and {area.name} holds {whole}", "check the size")
    if label is None or area is None or record.amount is None:
        return
    size = record.size or area.size
    most = label_rate(label, area)
    if most is None:
        return
    if record.amount / size > most[0] * (1.0 + TOLERANCE):
        dimension = label.dimension_of("rate")
        put, allowed = (
            units.show(one, dimension, household.units) for one in (record.amount / size, most[0])
        )
        yield Fault("over-rate", f"{put} were put down, and the label allows {allowed} ({most[1]})",
                    "check amount and size")  # fmt: skip


def _same(record: Record, other: Record) -> bool:
    """Whether two passes put the same active ingredient on the same area."""
    return other.area == record.area and share_ingredient(record.active_ingredients, other.active_ingredients)


def _overlap(record: Record, other: Record) -> bool:
    """Whether two passes were going on at the same time, or one began as the other ended."""
    return record.started_at <= other.end and other.started_at <= record.end


def _order(household: Household, record: Record, ledger: Sequence[Record], label: Label | None):
    zone = household.site.zone

    def when(other: Record) -> str:
        return other.started_at.astimezone(zone).strftime("%Y-%m-%d %H:%M")

    for other in ledger:
        if other.area != record.area:
            continue
        if _overlap(record, other):
            what = f"it overlaps the pass of {when(other)} on the same area"
            yield Fault("overlap", what, f'if that one is wrong, correct it: --corrects "{other.id}"')
    later = [one for one in ledger if one.area == record.area and one.treatment == record.treatment
             and record.treatment and one.started_at > record.started_at]  # fmt: skip
    if later:
        what = f"it lies before the pass of {when(later[0])}, which would become the pass after it"
        yield Fault("out-of-order", what, "check the date; a forgotten pass is recorded as it happened")
    interval = None if label is None else label.limits.get("minimum_interval")
    if interval is None:
        return
    for other in ledger:
        if not _same(record, other) or _overlap(record, other):
            continue
        earlier, following = sorted((record, other), key=lambda one: one.started_at)
        gap = (following.started_at - earlier.end).total_seconds() / 3600.0
        if gap < interval * (1.0 - 1e-9):
            apart, least = (units.show(one, "time", household.units) for one in (gap, interval))
            yield Fault("interval", f"it lies {apart} from the pass of {when(other)}, and the label wants {least}",
                        "check the date")  # fmt: skip


def _season(household: Household, record: Record, label: Label, ledger: Sequence[Record]):
    area = household.areas.get(record.area)
    treatment = household.treatments.get(record.treatment) or next(
        (one for one in household.treatments.values() if one.label == label.id), None
    )
    if area is None or treatment is None or household.labels[treatment.label] is not label:
        return
    used = season_use(household, treatment, area, ledger, record.started_at)
    passes = label.limits.get("maximum_passes_per_year")
    if passes is not None and used.passes + 1 > passes:
        yield Fault("passes", f"it is pass {used.passes + 1} of the label year, and the label allows {passes:g}",
                    "check the date and the area")  # fmt: skip
    most = label.limits.get("maximum_per_year")
    if most is None or record.amount is None:
        return
    total = used.product + record.amount / (record.size or area.size)
    if total > most * (1.0 + _TOTALS):
        dimension = label.dimension_of("rate")
        put, allowed = (units.show(one, dimension, household.units) for one in (total, most))
        yield Fault("season-total", f"it brings the label year to {put}, and the label allows {allowed}",
                    "check the amount")  # fmt: skip


def _turf(household: Household, record: Record, label: Label):
    area = household.areas.get(record.area)
    if area is None or not label.turf_species:
        return
    missing = label.unlisted(area.turf)
    if missing:
        yield Fault("turf", f"the label does not list {', '.join(missing)}, which {area.name} holds",
                    "check the product")  # fmt: skip


def _licence(household: Household, record: Record, details: Details):
    licence = household.licence
    if not details.for_hire or licence is None or licence.valid_until is None:
        return
    if record.started_at.astimezone(household.site.zone).date() > licence.valid_until:
        yield Fault(
            "licence", f"the licence was valid until {licence.valid_until.isoformat()}", "check valid_until"
        )
