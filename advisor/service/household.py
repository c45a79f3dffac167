"""What the service does for a household: pull its weather, decide, and put the notice into words with its evidence."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from advisor.errors import WeatherError
from advisor.forecast import Forecast, empty_forecast
from advisor.household import load
from advisor.ledger import as_told, read_ledger, remembered
from advisor.messages.notice import NoticeText, make_notice
from advisor.messages.outlook_json import outlook_object
from advisor.model import Household
from advisor.notify import Channel, build_channels
from advisor.outlook import Outlook, make_outlook
from advisor.quality import control
from advisor.rule_files import RuleSet, load_rules
from advisor.service.cycle import Plan
from advisor.service.due import Schedule, Work
from advisor.store import Store, notices
from advisor.store.notices import CHANGED, Notice
from advisor.weather import newest, pull, site_key

#: the notices speak of the whole household, so one name stands for all its tasks
EVERYTHING = "household"
#: local hours in which nobody is told that an answer changed
QUIET_FROM, QUIET_UNTIL = 21, 6


@dataclass(slots=True)
class HouseholdService:
    """The household's part of a cycle; `reload` replaces what was read from its files."""

    folder: Path
    database: Path
    household: Household
    rules: RuleSet

    @classmethod
    def open(cls, folder: Path) -> HouseholdService:
        return cls(folder, folder / "advisor.db", load(folder), load_rules(folder / "rules"))

    def schedule(self) -> Schedule:
        plan = self.household.notices
        return Schedule(zone=self.household.site.zone, key=site_key(self.household.site), evening=plan.evening,
                        morning=plan.morning, pull_every_hours=self.household.settings.pull_every_hours)  # fmt: skip

    def channels(self) -> Mapping[str, Channel]:
        return build_channels(self.household.notices.channels, self.folder)

    def plan(self) -> Plan:
        return Plan(self.schedule(), self.channels())

    def reload(self) -> Plan:
        """Read the files again; a fault in any of them leaves everything as it was."""
        fresh = HouseholdService.open(self.folder)
        plan = fresh.plan()
        self.household, self.rules = fresh.household, fresh.rules
        return plan

    def pull(self, now: datetime) -> None:
        with Store.open(self.database) as store:
            pull(self.household, store, now)

    def outlook(self, now: datetime) -> tuple[Outlook, tuple[str, ...]]:
        """What stands at a moment, by the newest kept answer, the ledger and what people told; and its hash."""
        forecast, hashes = self._forecast(now)
        household = as_told(self.household, self.database, now)
        kept = remembered(self.folder, self.database)
        records = read_ledger(household, self.database)
        return make_outlook(household, forecast, list(self.rules), records, now, **kept), hashes

    def decide(self, work: Work, now: datetime) -> Notice | None:
        """The notice for one piece of work, with everything it was made from."""
        outlook, hashes = self.outlook(now)
        if work.kind != "changed":
            day = work.local_date + timedelta(days=1) if work.kind == "evening" else work.local_date
            made = make_notice(outlook, work.kind, day)
            return (
                None
                if made is None
                else self._notice(made, work.kind, work.local_date, outlook, hashes, now, work.good_until)
            )
        return self._changed(outlook, hashes, now)

    def _changed(self, outlook, hashes, now: datetime) -> Notice | None:
        """A notice where the answer is no longer what was told last for a day that is not over."""
        local = now.astimezone(self.household.site.zone)
        if local.hour >= QUIET_FROM or local.hour < QUIET_UNTIL:
            return None
        with Store.open_readonly(self.database) as store:
            last = notices.last_told(store, EVERYTHING)
        if last is None:
            return None
        told = last.evidence.get("notice", {})
        day = date.fromisoformat(str(told.get("day", "1970-01-01")))
        if day < local.date():
            return None
        made = make_notice(outlook, CHANGED, day)
        if made is None or made.answer == told.get("answer"):
            return None
        return self._notice(made, CHANGED, local.date(), outlook, hashes, now, None)

    def _forecast(self, now: datetime) -> tuple[Forecast, tuple[str, ...]]:
        """The newest kept answer after quality control; an empty forecast, which is never a go, where there is none."""
        try:
            with Store.open_readonly(self.database) as store:
                found = newest(self.household, store, now)
        except WeatherError as error:
            return empty_forecast(now, error.what), ()
        if found is None:
            return empty_forecast(now, "no weather source has answered yet"), ()
        payload, forecast = found
        return control(forecast, now), (payload.sha256,)

    def _notice(
        self, made: NoticeText, kind: str, local_date: date, outlook, hashes, now, good_until
    ) -> Notice:
        evidence = {
            "notice": {"kind": kind, "day": made.day.isoformat(), "answer": made.answer},
            "outlook": outlook_object(outlook),
        }
        return Notice(
            kind=kind, local_date=local_date, task=EVERYTHING, subject=made.subject, text=made.text, created_at=now,
            answer=made.answer, evidence=evidence, payloads=hashes, rules_version=self.rules.version,
            label_hash=self._label_hash(), good_until=good_until,
        )  # fmt: skip

    def _label_hash(self) -> str:
        stated = {label.id: [label.product, label.mode, dict(sorted(label.limits.items())), label.blank]
                  for label in self.household.labels.values()}  # fmt: skip
        return hashlib.sha256(json.dumps(stated, sort_keys=True).encode()).hexdigest()[:16]
