"""The real household service with a scripted weather in the place of the science: sequence, occasions, what is told and
how it is worded, ledger and outbox are those that people get."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, time, timedelta
from pathlib import Path

from advisor.clock import local_instant, to_numpy
from advisor.errors import SourceUnreachable
from advisor.forecast import empty_forecast
from advisor.ledger import read_ledger, read_plans
from advisor.outlook import Day, Outlook, TaskOutlook
from advisor.quality import age_limit
from advisor.sequence import next_tasks
from advisor.service.household import HouseholdService
from advisor.store import Store, payloads
from advisor.weather import site_key

from .world import FIRST_START, ZONE, World

SOURCE = "open-meteo"
DAYS = 6


class Scripted:
    """Stands where the evidence stands: an outlook that follows from the newest answer that was pulled."""

    def __init__(self, service: SeasonService, now: datetime):
        self._service, self._now = service, now
        with Store.open_readonly(service.database) as store:
            self.newest = payloads.newest(store, SOURCE, site_key(service.household.site), until=now)

    def outlook(self, household) -> Outlook:
        now, newest = self._now, self.newest
        records = [one for one in read_ledger(household, self._service.database) if one.started_at <= now]
        plans = [one for one in read_plans(self._service.database) if one.made_at <= now]
        forecast = empty_forecast(now, "a scripted season")
        pulled = None if newest is None else newest.confirmed_at
        if pulled is not None:
            forecast = replace(forecast, provenance=replace(forecast.provenance, fetched_at=pulled))
        days = self._days(pulled)
        tasks = tuple(TaskOutlook(task, days) for task in next_tasks(household, records, now, plans))
        return Outlook(household, now, forecast, tasks, None, None)

    def _days(self, pulled: datetime | None) -> tuple[Day, ...]:
        today = self._now.astimezone(ZONE).date()
        return tuple(self.day(today + timedelta(days=ahead), pulled) for ahead in range(DAYS))

    def day(self, day, pulled: datetime | None) -> Day:
        world, now = self._service.world, self._now
        stale = pulled is None or now - pulled > timedelta(hours=age_limit(SOURCE))
        word = "unknown" if stale else world.forecast(day, pulled)
        hours: list = []
        if word == "go":
            last = world.last_start(day, pulled)
            hours = [local_instant(day, time(hour), ZONE) for hour in range(FIRST_START, last + 1)]
            hours = [hour for hour in hours if hour >= now]
            word = "go" if hours else "no-go"
        starts = tuple(to_numpy(hour, "h") for hour in hours)
        windows = ((starts[0], starts[-1]),) if starts else ()
        return Day(
            day, word, starts[0] if starts else None, starts[-1] if starts else None, starts[0] if starts else None,
            0.9 if starts else 0.0, 0.9, windows, starts, word == "unknown",
        )  # fmt: skip


class SeasonService(HouseholdService):
    """`world` and the folder's clock decide; nothing is asked of any server."""

    world: World

    @classmethod
    def make(cls, folder: Path, world: World, households: Path) -> SeasonService:
        base = HouseholdService.open(households)
        treatments = {
            key: replace(one, passes=9, start_from=None, latest=None)
            for key, one in base.household.treatments.items()
        }
        plan = replace(base.household.notices, channels=(), repeat_unchanged=True, at_most_per_day=50)
        household = replace(base.household, treatments=treatments, notices=plan, history=())
        made = cls(folder, folder / "advisor.db", household, base.rules, base.texts)
        made.world = world
        return made

    def evidence(self, now: datetime) -> Scripted:
        return Scripted(self, now)

    def pull(self, now: datetime) -> None:
        if self.world.is_down(self.world.provider_down, now):
            raise SourceUnreachable("no weather source gave a usable answer")
        with Store.open(self.database) as store:
            payloads.add(store, source=SOURCE, site=site_key(self.household.site), url="http://weather.invalid/",
                         body=f"an answer of {now.isoformat()}".encode(), fetched_at=now)  # fmt: skip

    def _keep(self, found: Scripted):
        return {}, (() if found.newest is None else (found.newest.sha256,))
