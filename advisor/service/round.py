"""The notice of tomorrow's round, made from what the services of the single lawns have kept."""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from advisor.errors import AdvisorError
from advisor.household.lawns import Lawns, read_lawns
from advisor.messages.round_plan import Lawn, Round, plan_round
from advisor.messages.round_text import round_notice, round_object
from advisor.notify import Channel, build_channels
from advisor.service.cycle import Plan
from advisor.service.due import Schedule, Work
from advisor.service.household import HouseholdService
from advisor.service.log import event
from advisor.service.serve import Part
from advisor.store.notices import Notice

log = logging.getLogger(__name__)

ROUND = "round"


@dataclass(slots=True)
class RoundService:
    """The person's part beside the lawns': one notice an evening, in a ledger of its own."""

    lawns: Lawns
    services: Sequence[HouseholdService]

    @classmethod
    def open(cls, folder: Path) -> RoundService:
        lawns = read_lawns(folder)
        return cls(lawns, [HouseholdService.open(one) for one in lawns.folders])

    @property
    def database(self) -> Path:
        return self.lawns.folder / "advisor.db"

    def key(self, service: HouseholdService) -> str:
        """What sets a lawn apart from the others: its folder within theirs."""
        return service.folder.relative_to(self.lawns.folder).as_posix()

    def schedule(self) -> Schedule:
        # Nothing is pulled here and nobody is told in the morning: the single lawns do that.
        first = self.services[0].household
        return Schedule(zone=first.site.zone, key=ROUND, evening=self.lawns.evening, pull_every_hours=24.0)

    def channels(self) -> Mapping[str, Channel]:
        return build_channels(self.lawns.channels, self.lawns.folder)

    def reload(self) -> Plan:
        """Read `lawns.toml` again; lawns that are new or gone need a restart, which is said."""
        fresh = read_lawns(self.lawns.folder)
        channels = build_channels(fresh.channels, fresh.folder)
        if fresh.folders != self.lawns.folders:
            event(log, "restart_needed", logging.WARNING, reason="the list of lawns has changed")
        self.lawns = Lawns(
            fresh.folder, self.lawns.folders, fresh.travel, fresh.evening, fresh.hours, fresh.channels
        )
        return Plan(self.schedule(), channels)

    def plan(self, now: datetime) -> Round | None:
        """Tomorrow's round by what is kept; None where no lawn can be looked at."""
        found = []
        for place, service in enumerate(self.services):
            try:
                outlook, _ = service.outlook(now)
            except AdvisorError:
                continue  # its own service says what is wrong with it
            found.append(Lawn(self.key(service), outlook, place))
        if not found:
            return None
        today = now.astimezone(self.services[0].household.site.zone).date()
        return plan_round(found, today + timedelta(days=1), now, self.lawns.travel, self.lawns.hours)

    def decide(self, work: Work, now: datetime) -> Notice | None:
        if work.kind != "evening":
            return None
        plan = self.plan(now)
        if plan is None or not any(lawn.outlook.tasks for lawn in plan.lawns):
            return None
        made = round_notice(plan, now)
        return Notice(
            kind=work.kind, local_date=work.local_date, task=ROUND, subject=made.subject, text=made.text,
            html=made.html, created_at=now, answer=made.answer, evidence={"round": round_object(plan, now)},
            good_until=work.good_until,
        )  # fmt: skip

    def parts(self) -> list[Part]:
        """What one process serves: every lawn, then the round."""
        found = [part_of(service) for service in self.services]
        own = Part(
            self.database, self.lawns.folder / "advisor.lock", self.schedule(), lambda now: None, self.decide,
            self.channels(), self.reload,
        )  # fmt: skip
        return [*found, own]


def part_of(service: HouseholdService) -> Part:
    plan = service.plan()
    return Part(
        service.database, service.folder / "advisor.lock", plan.schedule, service.pull, service.decide, plan.channels,
        service.reload, service.occasions, service.kept_for,
    )  # fmt: skip
