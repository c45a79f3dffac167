"""Kills while records are written, ledgers brought up to date, backups written, and backups put back."""

from __future__ import annotations

import random
import shutil
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

from advisor.errors import AdvisorError
from advisor.store import Store, copies, outbox, records
from advisor.store.migrations import CHAINED_FROM, MIGRATIONS
from advisor.store.restoring import restore

from . import dying
from .ledgers import NOW, everything, fill, lost_or_changed, older, put_notice, rows_of, unwhole, write_passes


@dataclass
class Tally:
    """Runs, those that were killed, and what was found wrong, with how to repeat it."""

    runs: int = 0
    killed: int = 0
    wrong: list[str] = field(default_factory=list)
    survivors: int = 0
    notes: Counter = field(default_factory=Counter)

    def judge(self, name: str, end: dying.End | None, complaints: list[str]) -> None:
        self.runs += 1
        self.killed += end is not None and end.killed
        if end is not None and end.fault:
            complaints = [*complaints, f"a fault of its own: {end.fault.strip().splitlines()[-1]}"]
        self.survivors += bool(complaints)
        self.wrong += [f"{name}: {one}" for one in complaints[:2]]


# -- records


def on_records(folder: Path, seed: int, kills: int, write: Callable = write_passes) -> Tally:
    """A ledger that lives through all kills: start, write passes, die, start again."""
    tally, dice, path = Tally(), random.Random(f"records {seed}"), folder / "records.db"
    fill(path, 3, 0)
    kept = {row["id"]: row for row in rows_of(path)}
    next_number = 3

    def session(first: int, target: Path) -> Callable:
        def act(say) -> None:
            with Store.open(target) as store:
                write(store, range(first, first + 12), lambda made: say((made.id, made.amount, made.note)))

        return act

    trial = folder / "trial.db"
    shutil.copy(path, trial)
    whole = dying.run(session(10_000, trial))
    while tally.killed < kills and tally.runs < 4 * kills:
        before = set(kept)
        end = dying.run(session(next_number, path), **dying.draw(dice, whole, file_limit=400_000))
        complaints, rows = _reopened(path)
        present = {row["id"]: row for row in rows}
        for name, amount, note in end.said:
            row = present.get(name)
            if row is None:
                complaints.append(f"record {name} was said to be kept, and is lost")
            elif (row["amount"], row["note"]) != (amount, note):
                complaints.append(f"record {name} is not what was said")
        complaints += lost_or_changed(kept, rows)
        unsaid = set(present) - before - {name for name, *_ in end.said}
        if len(unsaid) > 1:
            complaints.append(f"{len(unsaid)} records that nobody was told of")
        complaints += unwhole(path)
        kept = present
        tally.judge(f"records, kill {tally.runs}", end, complaints)
        next_number += 12
    tally.notes["records"] = len(kept)
    return tally


def _reopened(path: Path) -> tuple[list[str], list[dict]]:
    try:
        return [], rows_of(path)
    except AdvisorError as error:
        return [f"the next start fails: {error}"], []


# -- migrations


def on_migrations(folder: Path, seed: int, kills: int, migrations=MIGRATIONS) -> Tally:
    """An old ledger, a start that dies, and the next start."""
    tally, dice, at = Tally(), random.Random(f"migrations {seed}"), 0
    templates = {version: folder / f"old-{version}.db" for version in range(1, CHAINED_FROM)}
    rows = {version: older(path, version, 40) for version, path in templates.items()}
    whole = {}
    for version, template in templates.items():
        shutil.copy(template, folder / f"trial-{version}.db")
        whole[version] = dying.run(_opening(folder / f"trial-{version}.db", migrations))
    while tally.killed < kills and tally.runs < 4 * kills:
        version = dice.choice(sorted(templates))
        home = folder / f"migration-{at}"
        home.mkdir()
        path, at = home / "advisor.db", at + 1
        shutil.copy(templates[version], path)
        limit = 2 * templates[version].stat().st_size
        end = dying.run(_opening(path, migrations), **dying.draw(dice, whole[version], file_limit=limit))
        complaints = _migrated(path, version, rows[version], migrations)
        tally.judge(f"migration {at - 1} from version {version}", end, complaints)
        shutil.rmtree(home)
    return tally


def _opening(path: Path, migrations) -> Callable:
    return lambda say: Store.open(path, migrations=migrations).close()


def _migrated(path: Path, version: int, before: list[tuple], migrations) -> list[str]:
    found = []
    try:
        with Store.open_readonly(path, migrations=migrations) as store, store.read() as connection:
            if store.version_of_file not in (version, len(migrations)):
                found.append(f"the file is left at version {store.version_of_file}")
            if [tuple(row) for row in connection.execute("SELECT * FROM records ORDER BY row")] != before:
                found.append("records lost or changed before the next start")
        Store.open(path, migrations=migrations).close()
    except AdvisorError as error:
        return [*found, f"the next start fails: {error}"]
    rows = rows_of(path)
    if [tuple(row.values())[:-1] for row in rows] != before:
        found.append("records lost or changed")
    found += unwhole(path)
    backups = sorted(path.parent.glob("*.bak"))
    if not any(copies.examine(one).version == version for one in backups):
        found.append("no backup of the old version was kept")
    for one in backups:
        found += [f"{one.name}: {text}" for text in unwhole(one)]
    left = [one.name for one in path.parent.iterdir() if one not in (path, *backups)]
    if left:
        found.append(f"left behind: {', '.join(sorted(left))}")
    return found


# -- backups


def on_backups(folder: Path, seed: int, kills: int, write: Callable = copies.write) -> Tally:
    """A backup that dies has either its name and everything in it, or no name."""
    tally, dice = Tally(), random.Random(f"backups {seed}")
    path, target = folder / "advisor.db", folder / "backups" / "lawn.bak"
    fill(path, 60)
    before = everything(path)
    whole = dying.run(lambda say: write(path, folder / "trial.bak"))
    while tally.killed < kills and tally.runs < 4 * kills:
        target.unlink(missing_ok=True)
        end = dying.run(lambda say: write(path, target),
                        **dying.draw(dice, whole, file_limit=2 * path.stat().st_size))  # fmt: skip
        complaints = unwhole(target) if target.exists() else []
        if target.exists() and not complaints and everything(target) != before:
            complaints = ["the backup is another ledger"]
        complaints += unwhole(path)
        tally.judge(f"backup {tally.runs}", end, complaints)
        tally.notes["had its name"] += end.killed and target.exists()
    target.unlink(missing_ok=True)
    write(path, target)
    left = [one.name for one in target.parent.iterdir() if one != target]
    if left:
        tally.judge("the last backup", None, [f"left behind: {', '.join(left)}"])
    return tally


# -- restores


def on_restores(folder: Path, seed: int, kills: int, put_back: Callable = restore) -> Tally:
    """Going back to a backup that dies leaves the ledger of before or the restored one; the next try succeeds."""
    tally, dice = Tally(), random.Random(f"restores {seed}")
    backup, present = folder / "lawn.bak", folder / "present.db"
    _two_ledgers(backup, present)
    damaged = folder / "damaged.db"
    damaged.write_bytes(bytes(random.Random(1).randbytes(200)) + present.read_bytes()[200:])
    before = everything(present)
    kinds = {"whole": present, "damaged": damaged}
    whole, after = {}, {}
    for kind, template in kinds.items():
        trial = _fresh(folder, f"trial-{kind}", template)
        whole[kind] = dying.run(_restoring(put_back, backup, trial))
        after[kind] = everything(trial)
    while tally.killed < kills and tally.runs < 4 * kills:
        kind = dice.choice(("whole", "whole", "damaged"))
        path = _fresh(folder, f"restore-{tally.runs}", kinds[kind])
        limit = 2 * kinds[kind].stat().st_size
        end = dying.run(_restoring(put_back, backup, path), **dying.draw(dice, whole[kind], file_limit=limit))
        complaints = list(_after_restore(path, kind, before, after[kind], tally))
        if not complaints:
            again = dying.run(_restoring(put_back, backup, path))
            if again.fault:
                complaints.append(f"the next try fails: {again.fault.strip().splitlines()[-1]}")
            elif kind == "whole" and everything(path) != after[kind]:
                complaints.append("the next try ends elsewhere")
        tally.judge(f"restore {tally.runs} over a {kind} ledger", end, complaints)
        shutil.rmtree(path.parent)
    return tally


def _two_ledgers(backup: Path, present: Path) -> None:
    """A backup, and the ledger as it went on: told since what waited then, and more."""
    fill(present, 40)
    copies.write(present, backup)
    with Store.open(present) as store:
        for row in outbox.listing(store, "waiting")[:5]:
            outbox.claim(store, row.id, NOW)
            outbox.settle(store, row.id, "sent", NOW)
        for number in range(6, 9):
            put_notice(store, number)
        records.add(store, _newest(), written_at=NOW)


def _newest():
    from .ledgers import deed

    return deed(4_000)


def _fresh(folder: Path, name: str, template: Path) -> Path:
    home = folder / name
    home.mkdir()
    shutil.copy(template, home / "advisor.db")
    return home / "advisor.db"


def _restoring(put_back: Callable, backup: Path, path: Path) -> Callable:
    return lambda say: put_back(backup, path, NOW + timedelta(hours=1), give_up_newer=True)


def _after_restore(path: Path, kind: str, before: dict, after: dict, tally: Tally) -> Iterator[str]:
    try:
        found = everything(path)
    except AdvisorError as error:
        # as it was before: damaged, with what to do
        if kind == "whole" or "advisor restore" not in str(error):
            yield f"the next start fails: {error}"
        return
    if found == after:
        tally.notes["restored"] += 1
        asides = list(path.parent.glob("*.before-restore-*.bak"))
        if not asides:
            yield "the ledger of before was not kept aside"
        elif kind == "whole" and everything(asides[-1]) != before:
            yield "what was kept aside is not the ledger of before"
    elif kind == "damaged" or found != before:
        yield "neither the ledger of before nor the restored one"
    yield from unwhole(path)
