"""Records as rows for tables: what the ledger holds and what it implies, in SI, with names that say the unit."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from advisor.clock import iso
from advisor.model import Household, Record
from advisor.recording.deadlines import deadlines
from advisor.recording.details import Details, presumed
from advisor.recording.elements import completeness
from advisor.season import label_of


@dataclass(frozen=True, slots=True)
class Row:
    """A record with its details, and how the ledger has it; `counts` while nothing has replaced it."""

    record: Record
    details: Details
    written_at: datetime | None = None
    corrects: str | None = None
    withdrawn: bool = False
    counts: bool = True
    #: the record's link in the chain of the ledger; None for a record of the household's own history file
    link: str | None = None


#: columns that stood in the table first, in their order
FIRST_COLUMNS = (
    "id", "treatment", "area", "product", "active_ingredients", "started_at", "ended_at", "amount", "size_m2", "who",
    "note",
)  # fmt: skip
COLUMNS = (
    *FIRST_COLUMNS,
    "amount_unit", "rate_per_m2", "registration_number", "restricted_use", "method", "target", "site_use", "turf",
    "location", "equipment", "mix_volume_ml", "adjuvant", "re_entry", "licence_number", "certified_name",
    "certified_number", "customer", "customer_address", "wind_speed_2m_m_s", "wind_speed_10m_m_s",
    "wind_from_direction_deg", "wind_gust_m_s", "air_temperature_degc", "relative_humidity_percent", "cloud_percent",
    "rain_mm", "weather_from", "as_it_happened", "flags", "missing", "written_at", "write_by", "keep_until", "corrects",
    "withdrawn", "counts", "link",
)  # fmt: skip


def row_object(row: Row, household: Household, others: Sequence[Record] = ()) -> dict[str, object]:
    """One record for programs, by `COLUMNS`; lists stay lists, what is not known is None."""
    record, details, weather = row.record, row.details, row.details.weather
    label = label_of(household, record)
    day = record.started_at.astimezone(household.site.zone).date()
    missing = completeness(record, details, others, household.site.zone)
    owed = deadlines(day, details.for_hire)
    known = record.amount is not None and record.size
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
        "amount_unit": None if label is None else ("mL" if label.amount_dimension == "volume" else "g"),
        "rate_per_m2": record.amount / record.size if known else None,
        "registration_number": details.registration_number,
        "restricted_use": details.restricted_use,
        "method": details.method,
        "target": details.target,
        "site_use": details.site_use,
        "turf": list(details.turf),
        "location": details.location,
        "equipment": details.equipment,
        "mix_volume_ml": details.mix_volume,
        "adjuvant": details.adjuvant,
        "re_entry": details.re_entry,
        "licence_number": details.licence_number,
        "certified_name": details.certified_name,
        "certified_number": details.certified_number,
        "customer": details.customer,
        "customer_address": details.customer_address,
        "wind_speed_2m_m_s": weather.wind_speed_2m,
        "wind_speed_10m_m_s": weather.wind_speed_10m,
        "wind_from_direction_deg": weather.wind_from_direction,
        "wind_gust_m_s": weather.wind_gust,
        "air_temperature_degc": weather.air_temperature,
        "relative_humidity_percent": weather.relative_humidity,
        "cloud_percent": weather.cloud_cover,
        "rain_mm": weather.precipitation,
        "weather_from": sorted(set(weather.source.values())),
        "as_it_happened": details.as_it_happened,
        "flags": list(details.flags),
        "missing": [one.name for one in (*missing.federal, *missing.state)],
        "written_at": iso(row.written_at),
        "write_by": owed.write_by.isoformat(),
        "keep_until": owed.keep_until.isoformat(),
        "corrects": row.corrects,
        "withdrawn": row.withdrawn,
        "counts": row.counts,
        "link": row.link,
    }


def csv_text(rows: Sequence[Row], household: Household) -> str:
    """The table as CSV, one line a record under `COLUMNS`; lists are parted by "; "."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    records = [row.record for row in rows]
    for row in rows:
        cells = row_object(row, household, records)
        writer.writerow({name: _cell(value) for name, value in cells.items()})
    return out.getvalue()


def _cell(value: object) -> object:
    if isinstance(value, list):
        return "; ".join(str(one) for one in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value


def presumed_row(household: Household, record: Record) -> Row:
    """A record of the household's own history file, with what the files say of it."""
    return Row(record, presumed(household, record))


def local(instant: datetime, zone: ZoneInfo) -> str:
    return instant.astimezone(zone).strftime("%Y-%m-%d %H:%M")
