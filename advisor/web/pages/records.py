"""`/records`: what was applied, as the ledger has it."""

from __future__ import annotations

from typing import Any

from advisor import units
from advisor.clock import iso
from advisor.model import Household, Record
from advisor.store.records import Entry, current_entries, history
from advisor.web.desk import Desk, Scene
from advisor.web.page import Page
from advisor.web.words import clock, local


def records_page(desk: Desk, scene: Scene) -> Page:
    household, store = scene.household, desk.reader()
    entries = current_entries(store)
    corrected = {one.corrects: one for one in history(store) if one.corrects}
    found = sorted(
        [(record, None) for record in household.history] + [(entry.record, entry) for entry in entries],
        key=lambda pair: pair[0].started_at,
        reverse=True,
    )
    return Page(
        title="Records",
        template="records.html",
        context={
            "rows": [_row(record, entry, household) for record, entry in found],
            "replaced": [
                {"id": old, "by": one.record.id, "withdrawn": one.withdrawn, "note": one.record.note,
                 "written": local(one.written_at, household.site.zone).strftime("%-d %b %Y, %H:%M")}
                for old, one in corrected.items()
            ],
        },
        twin={"records": [_twin(record, entry) for record, entry in reversed(found)]},
    )  # fmt: skip


def _row(record: Record, entry: Entry | None, household: Household) -> dict[str, Any]:
    zone, system = household.site.zone, household.units
    label = next((one for one in household.labels.values() if one.product == record.product), None)
    dimension = "mass" if label is not None and label.formulation != "liquid" else "volume"
    area, treatment = household.areas.get(record.area), household.treatments.get(record.treatment)
    return {
        "id": record.id,
        "date": local(record.started_at, zone).strftime("%a %-d %b %Y"),
        "date_iso": iso(record.started_at),
        "from": clock(record.started_at, zone),
        "until": clock(record.ended_at, zone),
        "treatment": treatment.name if treatment else record.treatment,
        "area": area.name if area else record.area,
        "product": record.product,
        "ingredients": ", ".join(record.active_ingredients),
        "amount": units.show(record.amount, dimension, system)
        if record.amount is not None
        else "not recorded",
        "size": units.show(record.size, "area", system) if record.size is not None else "not recorded",
        "who": record.who,
        "note": record.note,
        "from_file": entry is None,
        "correction": bool(entry and entry.corrects),
    }


def _twin(record: Record, entry: Entry | None) -> dict[str, Any]:
    return {
        "id": record.id,
        "treatment": record.treatment,
        "area": record.area,
        "product": record.product,
        "active_ingredients": list(record.active_ingredients),
        "started_at": iso(record.started_at),
        "ended_at": iso(record.ended_at),
        "amount": record.amount,
        "size_m2": record.size,
        "who": record.who,
        "note": record.note,
        "written_at": None if entry is None else iso(entry.written_at),
        "corrects": None if entry is None else entry.corrects,
        "extra": {} if entry is None else dict(entry.extra),
    }
