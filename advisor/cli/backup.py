"""`advisor backup` and `advisor restore`: copies of the ledger, checked before they count."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import click

from advisor.cli.options import find_home, instant
from advisor.errors import StoreError, UsageError


@click.command(
    epilog="Example: advisor backup --home my-lawn --to /media/stick/lawn.bak   See also: advisor restore"
)
@click.option("--home", metavar="DIR", envvar="ADVISOR_HOME", help="The household folder.")
@click.option("--to", "target", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
              help="Where to.  [default: a new file in backups/ of the household folder]")  # fmt: skip
@click.option("--overwrite", is_flag=True, help="Let it take the place of a file that is there.")
@click.option("--check", "checked", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
              help="Make none; look whether this one is whole.")  # fmt: skip
@click.option("--now", metavar="T", help='Pretend that it is this time, such as "2026-09-21T12:00Z".')
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def backup(home, target, overwrite, checked, now, as_json):
    """Copy records, notices and kept answers into one file, also while the service runs, and check the copy.

    The household's own files (lawn.toml, labels, rules) are not in it: copy the folder for those. Checked are every
    page, the references between tables, the version, and the chain of the records; exits with 1 where one is wrong.
    """
    from advisor.store import copies

    folder = find_home(home)
    if checked is not None:
        if target is not None or overwrite:
            raise UsageError("--check makes no backup", hint="leave --to and --overwrite away")
        found, what = copies.examine(checked), "checked"
    else:
        moment = (instant(now, "--now") or datetime.now(UTC)).astimezone(UTC)
        target = target or folder / "backups" / f"advisor-{moment:%Y%m%dT%H%M%SZ}.db"
        if target.exists() and target.samefile(folder / "advisor.db"):
            raise UsageError(
                "a backup cannot take the place of the ledger", where=str(target), hint="name another"
            )
        found, what = _written(folder / "advisor.db", target, overwrite), "written"
    status = int(bool(found.problems or found.breaks))
    if as_json:
        click.echo(json.dumps({"schema": "advisor.backup/1", "ok": status == 0, what: str(found.path),
                               **_object(found)}, ensure_ascii=False))  # fmt: skip
    else:
        for line in _lines(found, what):
            click.echo(line)
    raise click.exceptions.Exit(status)


def _written(database: Path, target: Path, overwrite: bool):
    from advisor.store import copies

    try:
        return copies.write(database, target, overwrite=overwrite)
    except StoreError as error:
        if error.what == "the backup's file exists already":
            hint = "name another file, or add --overwrite"
            raise StoreError(error.what, where=str(target), hint=hint) from error
        raise


def _object(found) -> dict:
    return {
        "version": found.version,
        "records": found.records,
        "head": None if found.chain is None else found.chain.head,
        "problems": [one.what for one in found.problems],
        "breaks": [{"row": one.row, "id": one.id or None, "what": one.what} for one in found.breaks],
    }


def _lines(found, what):
    if found.problems:
        for one in found.problems[:5]:
            yield f"DAMAGED  {found.path}: {one.what}"
        yield f"To do: {found.problems[0].hint}"
        return
    count = "1 record" if found.records == 1 else f"{found.records} records"
    word = "Written and checked" if what == "written" else "Whole"
    yield f"{word}: {found.path} ({count}, tables of version {found.version})"
    for one in found.breaks:
        name = f'record "{one.id}" (row {one.row})' if one.id else f"row {one.row}"
        yield f"DOES NOT FIT  {name}: {one.what}"
    if found.breaks:
        yield "To do: keep this file; advisor records --verify says what to do about the records."
    elif found.chain is None:
        yield "It is of an earlier version, whose records have no chain yet."
    else:
        yield f"The records are as written, by their chain; head {found.chain.head}"


@click.command(
    epilog="Example: advisor restore --home my-lawn /media/stick/lawn.bak   See also: advisor backup --check"
)
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--home", metavar="DIR", envvar="ADVISOR_HOME", help="The household folder.")
@click.option("--give-up-newer", is_flag=True,
              help="Also where the ledger holds records that the backup does not; it is kept aside.")  # fmt: skip
@click.option(
    "--even-if-changed", is_flag=True, help="Also where the backup's records do not fit their chain."
)
@click.option("--now", metavar="T", help='Pretend that it is this time, such as "2026-09-21T12:00Z".')
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def restore(file, home, give_up_newer, even_if_changed, now, as_json):
    """Go back to a backup: check it, keep the present ledger aside, and put it in its place in one step.

    Refused while the service runs, for a damaged or newer backup, and where records would be given up. What was
    told since the backup stays told, so that no notice is sent again.
    """
    from advisor.service.lock import ServiceLock
    from advisor.store.restoring import restore as put_back

    folder = find_home(home)
    moment = (instant(now, "--now") or datetime.now(UTC)).astimezone(UTC)
    if not folder.is_dir():
        raise UsageError("there is no such household folder", where=str(folder), hint="name it with --home")
    with ServiceLock(folder / "advisor.lock"):
        done = put_back(file, folder / "advisor.db", moment, give_up_newer=give_up_newer,
                        even_if_changed=even_if_changed)  # fmt: skip
    if as_json:
        click.echo(json.dumps({
            "schema": "advisor.restore/1", "restored": str(file),
            "kept_as": None if done.kept_as is None else str(done.kept_as),
            "notices_carried_over": done.carried_over, "given_up": list(done.given_up), "blind": done.blind,
            **_object(done.ledger),
        }, ensure_ascii=False))  # fmt: skip
        return
    count = "1 record" if done.ledger.records == 1 else f"{done.ledger.records} records"
    click.echo(f"Restored from {file}: {count}, head {done.ledger.chain.head}")
    if done.kept_as is not None:
        click.echo(f"The ledger as it was is kept as {done.kept_as}")
    if done.carried_over:
        click.echo(f"{done.carried_over} notices told since the backup stay told.")
    if done.given_up:
        click.echo(f"Given up: {', '.join(done.given_up)}")
    if done.blind:
        click.echo("The ledger before could not be read: what was told since the backup is not known, and a notice of "
                   "the last hours may come again.")  # fmt: skip
