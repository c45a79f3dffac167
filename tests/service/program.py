"""A whole service for the tests of signals: python program.py FOLDER [KEY=VALUE ...]"""

import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from advisor.errors import AdvisorError, InvalidFile
from advisor.notify.channels.file import FileChannel
from advisor.notify.channels.terminal import TerminalChannel
from advisor.service import FastClock, Plan, Schedule, serve
from advisor.service.log import configure
from advisor.store.notices import Notice


def main(folder, **given):
    configure()
    clock = FastClock(
        datetime(2026, 9, 20, 12, tzinfo=UTC),
        float(given.get("rate", 1.0)),
        float(given.get("anchor", time.monotonic())),
    )
    hang = float(given.get("hang", 0.0))
    channels = [
        FileChannel(folder / "notices"),
        TerminalChannel(stream=(folder / "terminal.txt").open("a", encoding="utf-8")),
    ]

    def pull(now):
        (folder / "pulling").write_text("x")
        time.sleep(hang)

    def decide(work, now):
        if work.kind == "changed":
            return None
        text = f"Go, {work.kind} of {work.local_date}."
        return Notice(work.kind, work.local_date, "autumn/front", "Go", text, now, answer="go")

    def reload():
        if (folder / "bad").exists():
            raise InvalidFile("a fault", where="lawn.toml:3")
        return Plan(schedule, {one.name: one for one in channels})

    schedule = Schedule(ZoneInfo("America/Chicago"))
    try:
        return serve(
            folder / "ledger.db",
            folder / "service.lock",
            clock,
            float(given.get("seconds", 300.0)),
            schedule,
            pull,
            decide,
            channels,
            reload,
            drain_seconds=float(given.get("drain", 9.0)),
        )
    except AdvisorError as error:
        print(error, file=sys.stderr)
        return error.exit_status


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), **dict(word.split("=", 1) for word in sys.argv[2:])))
