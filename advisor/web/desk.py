"""What all pages are made from: the household's service, its clock and its ledger, with the last outlook kept ready.

An outlook is kept for a minute of the service's clock, and only as long as the ledger, with its newest answer of the
weather source, is as it was: a form that writes changes the ledger, so the page after it is made anew.
"""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from advisor.errors import AdvisorError, Problem
from advisor.ledger import read_plans
from advisor.model import Household, PlanEntry
from advisor.outlook import Outlook
from advisor.rule_files import RuleSet
from advisor.service.clocks import Clock
from advisor.service.health import Health, check
from advisor.service.household import HouseholdService
from advisor.store import Store
from advisor.store.payloads import Payload, newest
from advisor.weather import site_key

#: real time for which an outlook is good when the clock runs fast [s], and the most of its own time [min]
_REAL_SECONDS, _MOST_MINUTES = 10.0, 30
#: things kept with a scene
_MOST_MADE = 60

_VERSION = """
SELECT (SELECT max(row) FROM records), (SELECT max(row) FROM measurements), (SELECT max(row) FROM plans),
       (SELECT max(id) FROM payloads), (SELECT max(confirmed_at) FROM payloads)
"""


@dataclass(frozen=True, eq=False)
class Scene:
    """Everything that a page may show of one moment.

    Attributes
    ----------
    household : Household
        As the files and what people told leave it.
    payloads : tuple of Payload
        The newest kept answer of each of the household's sources, without the ones that never answered.
    problems : tuple of Problem
        What is wrong with the service.
    path : str
        Under which its pages stand, see `Desk`.
    """

    now: datetime
    household: Household
    rules: RuleSet
    outlook: Outlook
    plans: tuple[PlanEntry, ...]
    payloads: tuple[Payload, ...]
    hashes: tuple[str, ...]
    problems: tuple[Problem, ...]
    path: str = ""
    #: what was made of this scene, such as its figures
    _made: dict[object, Any] = field(default_factory=dict, repr=False)

    def once(self, name: object, make: Callable[[], Any]) -> Any:
        """What `make` gives, made once for this scene; only for what follows from the scene alone."""
        if name not in self._made:
            made = make()
            if len(self._made) >= _MOST_MADE:
                return made
            self._made[name] = made
        return self._made[name]


class Desk:
    """Gives scenes. Safe to ask from several threads.

    Parameters
    ----------
    service : HouseholdService
        Looked at anew for every scene, so that files that were read again count at once.
    clock : Clock
    health : Health, optional
        What the running service knows of itself; None where only pages are served.
    path : str
        Under which the household's pages stand: "" where it is the only one, else such as "/lawn/hill-road".
    least_minutes : int
        For how long an outlook is kept at least, where many households share the computer.
    """

    def __init__(
        self,
        service: HouseholdService,
        clock: Clock,
        health: Health | None = None,
        *,
        path: str = "",
        least_minutes: int = 1,
    ):
        self.service, self.clock, self.health = service, clock, health
        self.path, self._least_minutes = path, least_minutes
        self._store: Store | None = None
        #: by the units that were asked for, None for the household's own
        self._kept: dict[str | None, tuple[Household, RuleSet, tuple, Scene]] = {}
        self._making = threading.Lock()
        self._asked_at: datetime | None = None
        self._for_a_while: dict[str, tuple[float, Any]] = {}
        #: what is made of a scene before it is asked for
        self.make_ready: Callable[[Scene], object] = lambda scene: None

    @property
    def database(self):
        return self.service.database

    @property
    def step(self) -> timedelta:
        """For how long of the service's clock an outlook is kept."""
        minutes = round(self.clock.rate * _REAL_SECONDS / 60.0)
        return timedelta(minutes=min(max(minutes, self._least_minutes), _MOST_MINUTES))

    def now(self) -> datetime:
        """The present by the service's clock, to the second as the ledger keeps it."""
        return self.clock.now().astimezone(UTC).replace(microsecond=0)

    def reader(self) -> Store:
        """The ledger for reading, one for all threads."""
        if self._store is None:
            self._store = Store.open_readonly(self.database)
        return self._store

    def version(self) -> tuple:
        """What tells that the ledger has changed."""
        with self.reader().read() as connection:
            return tuple(connection.execute(_VERSION).fetchone())

    def scene(self, units: str | None = None) -> Scene:
        """The scene of this minute, in the household's units or in others."""
        self._asked_at = datetime.now(UTC)
        return self._scene(self.step, None if units == self.service.household.units else units)

    def prepare(self) -> None:
        """Make the coming scene before it is asked for, where pages have been looked at lately."""
        if self._asked_at is not None and datetime.now(UTC) - self._asked_at < timedelta(minutes=15):
            self.make_ready(self._scene(self.step / 2))

    def for_a_while(self, name: str, seconds: float, make: Callable[[], Any]) -> Any:
        """What `make` gives, kept for so much real time [s] whatever the ledger does: for what takes long."""
        with self._making:
            made_at, made = self._for_a_while.get(name, (-math.inf, None))
            if time.monotonic() - made_at > seconds:
                made = make()
                self._for_a_while[name] = time.monotonic(), made
            return made

    def close(self) -> None:
        if self._store is not None:
            self._store.close()

    def _scene(self, good_for: timedelta, units: str | None = None) -> Scene:
        with self._making:
            service = self.service
            household, rules = service.household, service.rules
            now, version = self.now(), self.version()
            if units in self._kept:
                of_household, of_rules, of_version, scene = self._kept[units]
                same = of_household is household and of_rules is rules and of_version == version
                if same and timedelta(0) <= now - scene.now < good_for:
                    return scene
            outlook, hashes = service.outlook(now, units)
            scene = Scene(
                now=now, household=outlook.household, rules=rules, outlook=outlook,
                plans=tuple(plan for plan in read_plans(self.database) if plan.made_at <= now),
                payloads=self._payloads(household, now), hashes=hashes, problems=self.problems(), path=self.path,
            )  # fmt: skip
            self._kept[units] = household, rules, version, scene
            return scene

    def _payloads(self, household: Household, now: datetime) -> Sequence[Payload]:
        key, store = site_key(household.site), self.reader()
        found = (newest(store, name, key, until=now) for name in household.settings.sources)
        return tuple(payload for payload in found if payload is not None)

    def problems(self) -> tuple[Problem, ...]:
        """What is wrong with the service, by the real clock; nothing where none runs beside the pages."""
        if self.health is None:
            return ()
        try:
            return check(self.reader(), datetime.now(UTC))
        except AdvisorError as error:
            return error.problems
