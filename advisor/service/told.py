"""What people have been told last of a day, from the notices that are kept."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from advisor.store import Store
from advisor.store.encoding import instant
from advisor.store.notices import CHANGED

#: the notices about a day speak of the whole household, so one name stands for all its tasks
EVERYTHING = "household"
DAY_KINDS = ("evening", "morning", CHANGED, "closing")
#: so many notices are looked through for the last one that spoke of a day
_LOOKED_AT = 24


@dataclass(frozen=True, slots=True)
class Told:
    """What a notice said of its day; see `advisor.messages.notice.NoticeText`."""

    kind: str
    day: date
    created_at: datetime
    says: str = ""
    verdicts: Mapping[str, str] = field(default_factory=dict)
    windows: Mapping[str, tuple] = field(default_factory=dict)

    @property
    def is_go(self) -> bool:
        return "go" in self.verdicts.values()

    @property
    def closes_at(self) -> datetime | None:
        """The last start that was told as a go; of several tasks, that of the one which closes first."""
        ends = [max(instant(last) for _, last in runs) for runs in self.windows.values() if runs]
        return min(ends, default=None)


def last_told(store: Store) -> list[Told]:
    """What was told of days, the newest first."""
    marks = ", ".join("?" for _ in DAY_KINDS)
    with store.read() as connection:
        rows = connection.execute(
            "SELECT kind, created_at, json_extract(evidence, '$.notice') AS said FROM notices "
            f"WHERE task = ? AND kind IN ({marks}) ORDER BY row DESC LIMIT {_LOOKED_AT}",
            (EVERYTHING, *DAY_KINDS),
        ).fetchall()
    found = []
    for row in rows:
        said = json.loads(row["said"]) if row["said"] else {}
        if "day" in said:
            found.append(
                Told(
                    row["kind"],
                    date.fromisoformat(said["day"]),
                    instant(row["created_at"]),
                    said.get("says", ""),
                    said.get("verdicts", {}),
                    said.get("windows", {}),
                )
            )
    return found


def of_day(told: list[Told], day: date) -> Told | None:
    """The newest that spoke of a day: what the person believes of it now."""
    return next((one for one in told if one.day == day), None)
