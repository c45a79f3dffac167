"""What the service does for a household: pull its weather, decide, and put the notice into words with its evidence."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from pathlib import Path

from advisor.evidence import Evidence, Ledger, almanac_text, keep, load_with_texts
from advisor.ledger import keep_soil_water
from advisor.messages.notice import NoticeText, make_review
from advisor.messages.outlook_json import outlook_object
from advisor.model import Household
from advisor.notify import Channel, build_channels
from advisor.outlook import Outlook
from advisor.rule_files import RuleSet, load_rules
from advisor.sequence import next_tasks
from advisor.service import occasions
from advisor.service.cycle import Plan
from advisor.service.due import Occasion, Schedule, Work
from advisor.service.reviewing import reviews_of
from advisor.service.telling import texts_of
from advisor.service.told import DAY_KINDS, EVERYTHING, last_told, of_day
from advisor.store import Store
from advisor.store.notices import CHANGED, Notice
from advisor.weather import gather, pull, site_key
from advisor.weather.learning import kept_learned, learn_when_due


@dataclass(slots=True)
class HouseholdService:
    """The household's part of a cycle; `reload` replaces what was read from its files."""

    folder: Path
    database: Path
    household: Household
    rules: RuleSet
    #: the household's files as they were read
    texts: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def open(cls, folder: Path) -> HouseholdService:
        household, texts = load_with_texts(folder)
        return cls(folder, folder / "advisor.db", household, load_rules(folder / "rules"), texts)

    def schedule(self) -> Schedule:
        plan = self.household.notices
        return Schedule(zone=self.household.site.zone, key=site_key(self.household.site), evening=plan.evening,
                        morning=plan.morning, pull_every_hours=self.household.settings.pull_every_hours,
                        quiet=plan.quiet)  # fmt: skip

    def channels(self) -> Mapping[str, Channel]:
        return build_channels(self.household.notices.channels, self.folder)

    def plan(self) -> Plan:
        return Plan(self.schedule(), self.channels())

    def reload(self) -> Plan:
        """Read the files again; a fault in any of them leaves everything as it was."""
        fresh = HouseholdService.open(self.folder)
        plan = fresh.plan()
        self.household, self.rules, self.texts = fresh.household, fresh.rules, fresh.texts
        return plan

    def pull(self, now: datetime) -> None:
        with Store.open(self.database) as store:
            pull(self.household, store, now)
        learn_when_due(self.household, self.database, now)

    def evidence(self, now: datetime) -> Evidence:
        """Everything that an answer at a moment is made from: kept weather, files and rules as they were read, the
        ledger and what people told."""
        with Store.open_readonly(self.database) as store:
            answers = gather(self.household, store, now)
            learned = kept_learned(store, self.household)
        # what is kept is kept to the second, and a replay must not differ by the rest of one
        now = now.replace(microsecond=0)
        return Evidence(
            now, self.texts, self.rules, Ledger.read(self.household, self.database, now), answers,
            almanac_text(self.folder), learned,
        )  # fmt: skip

    def outlook(self, now: datetime, units: str | None = None) -> tuple[Outlook, tuple[str, ...]]:
        """What stands at a moment, and the hashes of the answers of weather services that it rests on.

        `units` puts it into other words than the household's own; no number changes by it.
        """
        found = self.evidence(now)
        household = self.household if units is None else replace(self.household, units=units)
        return found.outlook(household), tuple(one.sha256 for one in found.answers.kept)

    def occasions(self, now: datetime) -> list[Occasion]:
        """What the ledger and the weather give cause to tell; nothing of weather where no pass is open."""
        household = self.household
        records, plans = occasions.ledger_of(household, self.database, now)
        found = [*occasions.of_sequence(household, records, plans, now), *occasions.of_reviews(household, records, now)]
        if next_tasks(household, records, now, plans):
            today = now.astimezone(household.site.zone).date()
            with Store.open_readonly(self.database) as store:
                found += occasions.of_windows(of_day(last_told(store), today))
                found += occasions.of_sources(household, store, now)
        return found

    def kept_for(self) -> timedelta:
        """How long answers of weather services are kept."""
        return timedelta(hours=self.household.settings.keep_hours)

    def decide(self, work: Work, now: datetime) -> list[Notice]:
        """The notices for one piece of work, with everything they were made from; none where nothing is to be told."""
        found = self.evidence(now)
        outlook = found.outlook(self.household)
        with Store.open(self.database) as store:
            keep_soil_water(store, outlook)
        if work.kind == "review":
            made = [make_review(outlook, reviews_of(self, work.local_date, now))]
        else:
            with Store.open_readonly(self.database) as store:
                made = list(texts_of(store, self.household, outlook, work, now))
        # A change belongs to the day on which it is told, whatever day it speaks of.
        day = now.astimezone(self.household.site.zone).date() if work.kind == CHANGED else work.local_date
        until = None if work.kind == CHANGED else work.good_until
        return [self._notice(one, day, outlook, found, now, until, work.of) for one in made if one is not None]

    def _notice(
        self,
        made: NoticeText,
        local_date: date,
        outlook: Outlook,
        found: Evidence,
        now: datetime,
        good_until: datetime | None,
        of: str = "",
    ) -> Notice:
        replay, hashes = self._keep(found)
        said = {
            "kind": made.kind, "day": made.day.isoformat(), "answer": made.answer, "says": made.says,
            "verdicts": dict(made.verdicts), "windows": {key: list(runs) for key, runs in made.windows.items()},
        }  # fmt: skip
        # Changes of two days that are told together are two notices, although their answers may read alike.
        answer = f"{made.day.isoformat()}: {made.answer}" if made.kind == CHANGED else made.answer
        task = EVERYTHING if made.kind in DAY_KINDS else ":".join(filter(None, (EVERYTHING, made.kind, of)))
        return Notice(
            kind=made.kind, local_date=local_date, subject=made.subject, text=made.text, html=made.html, created_at=now,
            task=task, answer=answer,
            evidence={"notice": said, "outlook": outlook_object(outlook), "replay": replay}, payloads=hashes,
            rules_version=self.rules.version, label_hash=self._label_hash(), good_until=good_until,
        )  # fmt: skip

    def _keep(self, found: Evidence) -> tuple[Mapping[str, object], tuple[str, ...]]:
        """Keep what a notice rests on; how it is found again, and the hashes that are never let go."""
        with Store.open(self.database) as store:
            return keep(store, site_key(self.household.site), found)

    def _label_hash(self) -> str:
        stated = {label.id: [label.product, label.mode, dict(sorted(label.limits.items())), label.blank]
                  for label in self.household.labels.values()}  # fmt: skip
        return hashlib.sha256(json.dumps(stated, sort_keys=True).encode()).hexdigest()[:16]
