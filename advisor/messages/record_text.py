"""A record for people: what is said when it is written, and the page that is printed and kept, as text or HTML."""

from __future__ import annotations

import html
from collections.abc import Sequence
from datetime import datetime

from advisor import units
from advisor.compass import point_of
from advisor.messages.mix_text import water
from advisor.messages.wording import wrap
from advisor.model import Household, Record
from advisor.recording.deadlines import HIRE_REMINDERS, RETENTION, deadlines
from advisor.recording.details import WeatherThen
from advisor.recording.elements import CHECK_YOUR_STATE, completeness
from advisor.recording.table import Row
from advisor.season import label_of


def record_fields(row: Row, household: Household, others: Sequence[Record] = ()) -> list[tuple[str, str]]:
    """(name, value) of everything that a record holds, in the order of the page; empty ones say what is missing."""
    record, details, system = row.record, row.details, household.units
    zone = household.site.zone
    label = label_of(household, record)
    area = household.areas.get(record.area)
    start = record.started_at.astimezone(zone)
    ended = "" if record.ended_at is None else record.ended_at.astimezone(zone).strftime("%H:%M")
    spot = completeness(record, details, others, zone).spot
    place = record.area if area is None else area.name
    spot_word = " (spot application)" if details.method == "spot" else ""
    rows = [
        ("date and time", f"{start.strftime('%a %Y-%m-%d %H:%M')} to {ended or '(end not recorded)'}, {zone.key}"),
        ("place", "; ".join(part for part in (place + spot_word, details.location) if part)),
        ("kind of site", "; ".join(part for part in (details.site_use, ", ".join(details.turf)) if part)),
        ("area treated", "" if record.size is None else units.show(record.size, "area", system)),
        ("product", record.product),
        ("registration number", details.registration_number),
        ("active ingredients", ", ".join(record.active_ingredients)),
        ("amount of product", amount_words(record, household)),
        ("rate", _rate(record, label, system)),
        ("finished spray", "" if details.mix_volume is None else water(details.mix_volume, system)),
        ("adjuvant", details.adjuvant or "none recorded"),
        ("weeds", details.target),
        ("method and equipment", ", ".join(part for part in (details.method, details.equipment) if part)),
        ("weather", weather_words(details.weather, system)),
        ("applied by", record.who),
        ("licence", details.licence_number),
        ("certified applicator", " ".join(part for part in (details.certified_name, details.certified_number) if part)),
        ("customer", "; ".join(part for part in (details.customer, details.customer_address) if part)),
        ("re-entry", details.re_entry),
        ("note", record.note),
        ("recorded", "" if row.written_at is None else row.written_at.astimezone(zone).strftime("%Y-%m-%d %H:%M")),
        ("record", record.id),
    ]  # fmt: skip
    if spot:
        rows.append(("list", "spot application below 1/10 acre in one day: the shorter list applies"))
    quiet = {"note", "recorded", "record", "finished spray", "licence", "certified applicator", "customer"}
    if details.for_hire:
        quiet -= {"licence", "customer"}
    if details.restricted_use:
        quiet -= {"certified applicator"}
    return [(name, value or "not recorded") for name, value in rows if value or name not in quiet]


def amount_words(record: Record, household: Household) -> str:
    if record.amount is None:
        return ""
    label = label_of(household, record)
    dimension = "volume" if label is None else label.amount_dimension
    return units.show(record.amount, dimension, household.units)


def _rate(record: Record, label, system: str) -> str:
    if record.amount is None or not record.size:
        return ""
    dimension = "volume_rate" if label is None else label.dimension_of("rate")
    return units.show(record.amount / record.size, dimension, system)


def weather_words(weather: WeatherThen, system: str) -> str:
    """The weather of the work in one line, each value with where it comes from."""
    shown = []
    for name, dimension, words in (
        ("air_temperature", "temperature", "{}"),
        ("wind_speed_2m", "speed", "wind {} at 2 m"),
        ("wind_speed_10m", "speed", "{} at 10 m"),
        ("wind_gust", "speed", "gusts {}"),
        ("relative_humidity", "percent", "{} humidity"),
        ("cloud_cover", "percent", "{} cloud"),
        ("precipitation", "water_depth", "rain {}"),
    ):
        value = getattr(weather, name)
        if value is None:
            continue
        text = words.format(units.show(value, dimension, system))
        if name == "wind_speed_2m" and weather.wind_from_direction is not None:
            text += f" from {point_of(weather.wind_from_direction)} ({weather.wind_from_direction:.0f}°)"
        shown.append(text)
    if not shown:
        return ""
    origins = sorted(set(weather.source.values()))
    told = f" ({'; '.join(origins)}{', ' + weather.said_by if weather.said_by else ''})" if origins else ""
    return ", ".join(shown) + told


def written_text(
    row: Row, household: Household, others: Sequence[Record], dry_run: bool, width: int = 80
) -> str:
    """What a person reads after recording: the record, what is missing, what spoke against it, what is owed."""
    lines = [
        "This would be recorded (--dry-run, nothing is kept):" if dry_run else f"Recorded as {row.record.id}."
    ]
    lines += [_row(name, value, width) for name, value in record_fields(row, household, others)]
    lines += ["", *_afterwards(row, household, others, width)]
    return "\n".join(lines)


def _afterwards(row: Row, household: Household, others: Sequence[Record], width: int) -> list[str]:
    record, details = row.record, row.details
    zone = household.site.zone
    found = completeness(record, details, others, zone)
    owed = deadlines(record.started_at.astimezone(zone).date(), details.for_hire)
    lines = []
    for title, missing in (
        ("Missing by 7 CFR 110.3", found.federal),
        ("Missing of what states often ask", found.state),
    ):
        if missing:
            lines.append(wrap(f"{title}: {', '.join(one.says for one in missing)}.", width))
    if details.flags:
        lines.append("Recorded as it happened, although:")
        lines += [wrap(flag, width, "  ! ", "    ") for flag in details.flags]
    binds = "" if found.binding else " (binding for restricted products and work for hire)"
    owing = (
        f"To be written by {owed.write_by.isoformat()} and kept until {owed.keep_until.isoformat()}{binds}."
    )
    lines.append(wrap(f"{owing} {RETENTION}", width))
    if owed.copy_by is not None:
        lines.append(wrap(f"The customer's copy is owed by {owed.copy_by.isoformat()}.", width))
        lines += [wrap(text, width, "- ", "  ") for text in HIRE_REMINDERS]
    lines.append(wrap(CHECK_YOUR_STATE, width))
    return lines


def page_text(rows: Sequence[Row], household: Household, now: datetime, width: int = 80) -> str:
    """All records to print and keep, as plain text."""
    zone = household.site.zone
    records = [row.record for row in rows]
    lines = [
        f"Application records, {household.name}",
        f"Printed {now.astimezone(zone).strftime('%Y-%m-%d %H:%M %Z')}",
    ]
    for row in rows:
        lines += ["", "-" * min(width, 60)]
        lines += [_row(name, value, width) for name, value in record_fields(row, household, records)]
        lines += _standing(row, width)
    lines += ["", wrap(RETENTION, width), wrap(CHECK_YOUR_STATE, width)]
    return "\n".join(lines)


def _standing(row: Row, width: int) -> list[str]:
    lines = [wrap(flag, width, "  ! ", "    ") for flag in row.details.flags]
    if row.withdrawn:
        lines.append(wrap(f"Withdraws {row.corrects}: that pass did not happen.", width, "  ", "  "))
    elif row.corrects:
        lines.append(wrap(f"Corrects {row.corrects}.", width, "  ", "  "))
    if not row.counts and not row.withdrawn:
        lines.append("  Replaced by a later record; kept as it was written.")
    return lines


def page_html(rows: Sequence[Row], household: Household, now: datetime) -> str:
    """The same page as HTML that stands alone: no script, nothing from elsewhere."""
    zone = household.site.zone
    records = [row.record for row in rows]
    parts = [
        "<!doctype html>", '<html lang="en"><head><meta charset="utf-8">',
        f"<title>Application records, {html.escape(household.name)}</title>",
        "<style>body{font:1rem/1.4 sans-serif;max-width:50rem;margin:1rem auto;padding:0 1rem}"
        "table{border-collapse:collapse;width:100%;margin:0 0 1.5rem}"
        "th{text-align:left;width:13rem;font-weight:600;vertical-align:top}th,td{padding:.15rem .5rem .15rem 0}"
        "caption{text-align:left;font-weight:700;border-bottom:1px solid}p.mark{font-weight:600}"
        "@media print{table{break-inside:avoid}}</style></head><body>",
        f"<h1>Application records, {html.escape(household.name)}</h1>",
        f"<p>Printed {now.astimezone(zone).strftime('%Y-%m-%d %H:%M %Z')}</p>",
    ]  # fmt: skip
    for row in rows:
        start = row.record.started_at.astimezone(zone).strftime("%Y-%m-%d %H:%M")
        parts.append(f"<table><caption>{start}, {html.escape(row.record.area)}</caption><tbody>")
        for name, value in record_fields(row, household, records):
            parts.append(f'<tr><th scope="row">{html.escape(name)}</th><td>{html.escape(value)}</td></tr>')
        parts.append("</tbody></table>")
        parts += [f'<p class="mark">{html.escape(line.strip())}</p>' for line in _standing(row, 10_000)]
    parts += [f"<p>{html.escape(RETENTION)}</p>", f"<p>{html.escape(CHECK_YOUR_STATE)}</p>", "</body></html>"]
    return "\n".join(parts)


def _row(name: str, value: str, width: int) -> str:
    return wrap(value, width, f"  {name:<21} ", " " * 24)
