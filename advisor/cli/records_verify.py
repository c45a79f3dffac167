"""`advisor records --verify`: whether the records are still what was written."""

from __future__ import annotations

import json
import re

import click

from advisor.errors import UsageError


def tell(common, expect: str | None) -> int:
    """Print what verifying the chain found; the exit status."""
    from advisor.store import Store
    from advisor.store.migrations import CHAINED_FROM

    if expect is not None and not re.fullmatch(r"[0-9a-f]{64}", expect.strip()):
        raise UsageError(
            f'--expect "{expect}" is no head of a chain', hint="64 digits from 0 to 9 and a to f"
        )
    with Store.open_readonly(common.database) as store:
        found, version = store.verify_records(), store.version_of_file
    unchained = version is not None and version < CHAINED_FROM
    since = None if expect is None else found.since(expect.strip())
    missing = expect is not None and since is None
    status = int(bool(found.breaks) or missing)
    if common.as_json:
        click.echo(json.dumps({
            "schema": "advisor.verification/1", "ok": status == 0, "records": found.records, "head": found.head,
            "chained": not unchained, "expected": expect, "since_expected": since,
            "breaks": [{"row": one.row, "id": one.id or None, "what": one.what} for one in found.breaks],
        }, ensure_ascii=False))  # fmt: skip
        return status
    for line in _lines(common, found, expect, since, unchained):
        click.echo(line)
    return status


def _lines(common, found, expect, since, unchained):
    if unchained:
        yield (
            f"The database is of an earlier version, whose records have no links yet ({found.records} records): "
            "nothing to hold them against. The next command that writes adds the links."
        )
    elif not found.records and not found.breaks:
        yield "No record is in the database yet."
    elif not found.breaks:
        every = "The one record is" if found.records == 1 else f"All {found.records} records are"
        yield f"{every} as written, by the chain."
    for one in found.breaks:
        name = f'record "{one.id}" (row {one.row})' if one.id else f"row {one.row}"
        yield f"DOES NOT FIT  {name}: {one.what}"
    if expect is not None and since is None:
        yield f"NOT THERE  the expected head {expect} is no link of this chain: newer records were removed, or the"
        yield "           chain was made anew, or the head is that of another ledger"
    elif expect is not None:
        added = "no record has" if since == 0 else "1 record has" if since == 1 else f"{since} records have"
        yield f"The expected head is there; {added} been added since."
    if found.breaks or (expect is not None and since is None):
        yield "To do: keep the file as it is; compare it with an export or a backup (advisor backup --check FILE), and"
        yield "       write what is right as a correction (advisor record --corrects ID). A break stays visible."
    if not unchained:
        yield f"Head: {found.head}"
    if expect is None and not found.breaks and not unchained:
        yield "Keep it elsewhere, on paper or in a mail; later: advisor records --verify --expect HEAD"
    if common.home.joinpath("history.csv").exists():
        yield "Passes of history.csv are the household's own file and stand in no chain."
