"""The passes that were made and the choices that changed the plan: the database and the household's history file."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

from advisor.errors import InvalidFile
from advisor.mix.calibration import with_calibrations
from advisor.model import Household, PlanEntry, Record
from advisor.outlook import Outlook
from advisor.spread import Learned
from advisor.statements import IRRIGATED, MISSED, SOIL, SOIL_WATER, Statement, with_statements


def read_ledger(household: Household, database: Path) -> tuple[Record, ...]:
    """All records, oldest first. A database that is not there yet is an empty ledger; nothing is created."""
    found = list(household.history)
    if database.exists():
        from advisor.store.database import Store
        from advisor.store.records import current

        with Store.open_readonly(database) as store:
            found += current(store)
    return tuple(sorted(found, key=lambda record: record.started_at))


def read_plans(database: Path) -> tuple[PlanEntry, ...]:
    """All choices that changed the plan, oldest first. Nothing is created."""
    if not database.exists():
        return ()
    from advisor.store.database import Store
    from advisor.store.plans import history

    with Store.open_readonly(database) as store:
        return tuple(history(store))


def read_statements(database: Path, until: datetime | None = None) -> tuple[Statement, ...]:
    """What people said of soil, water and missed passes, oldest first; nothing said after `until`."""
    if not database.exists():
        return ()
    from advisor.store.database import Store
    from advisor.store.measurements import of_subject

    with Store.open_readonly(database) as store:
        rows = [row for kind in (SOIL, SOIL_WATER, IRRIGATED, MISSED) for row in of_subject(store, kind, until=until)]
    return tuple(
        Statement(row.kind, row.subject, date.fromisoformat(str(row.data["on"])), row.taken_at, row.data, row.id)
        for row in sorted(rows, key=lambda row: row.taken_at)
    )


def read_calibrations(database: Path, until: datetime | None = None) -> dict[str, float]:
    """The newest calibrated output of each sprayer [L/m²], by the sprayer's id."""
    if not database.exists():
        return {}
    from advisor.store.database import Store
    from advisor.store.measurements import CALIBRATION, of_subject

    with Store.open_readonly(database) as store:
        return {row.subject: float(row.data["carrier_rate"]) for row in of_subject(store, CALIBRATION, until=until)}


def as_told(household: Household, database: Path, now: datetime) -> Household:
    """The household with what was said of it, and its sprayers as they were calibrated, up to `now`."""
    told = with_statements(household, read_statements(database, now))
    return with_calibrations(told, read_calibrations(database, now))


def read_learned(household: Household, database: Path) -> Learned | None:
    """What the service learned of the site's forecasts last; None where nothing was."""
    if not database.exists():
        return None
    from advisor.store.database import Store
    from advisor.weather.learning import kept_learned

    with Store.open_readonly(database) as store:
        return kept_learned(store, household)


def remembered(folder: Path, database: Path) -> dict[str, object]:
    """What an outlook is made with besides the passes and the weather: the choices that changed the plan, and what
    past years say of the days after the forecast. An almanac that cannot be read counts as none."""
    from advisor.past_weather import load_kept

    try:
        kept = load_kept(folder)
    except InvalidFile:
        kept = None
    return {"plans": read_plans(database), "climate": {} if kept is None else kept.climate()}


def keep_soil_water(store, outlook: Outlook) -> None:
    """Keep each area's soil water at the end of yesterday, so that the next run's balance goes on from it."""
    from advisor.store.measurements import add, of_subject

    for area, (day, depletion) in outlook.soil_water().items():
        kept = {row.data.get("on"): row.data.get("depletion") for row in of_subject(store, SOIL_WATER, area)}
        if kept.get(day.isoformat()) != depletion:
            data = {"on": day.isoformat(), "depletion": depletion}
            add(store, SOIL_WATER, area, outlook.now, data, written_at=outlook.now)
