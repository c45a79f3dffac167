"""`advisor replay`: make a notice's verdict again from what was kept with it."""

from __future__ import annotations

import json

import click

from advisor.cli.options import find_home


@click.command(epilog="Example: advisor replay n-0123456789abcdef   See also: advisor notice, advisor why")
@click.option("--home", metavar="DIR", envvar="ADVISOR_HOME", help="The household folder.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.argument("notice_id", metavar="[NOTICE_ID]", required=False)
def replay(home, as_json, notice_id):
    """Make the verdict of a notice again from its evidence: weather, files, rules and ledger as they stood.

    Without NOTICE_ID the newest notices are listed. Exits with 1 when the verdict comes out otherwise.
    """
    from advisor.replay import replay as make_again
    from advisor.store import Store, notices

    folder = find_home(home)
    with Store.open_readonly(folder / "advisor.db") as store:
        if notice_id is None:
            _list(notices.recent(store), as_json)
            return
        made = make_again(store, notice_id, folder)
    if as_json:
        click.echo(json.dumps(_object(made), ensure_ascii=False, allow_nan=False))
    else:
        _show(made)
    if not made.same:
        raise click.exceptions.Exit(1)


def _list(found, as_json: bool) -> None:
    from advisor.clock import iso

    if as_json:
        rows = [{"id": one.id, "kind": one.kind, "date": one.local_date.isoformat(), "created_at": iso(one.created_at),
                 "subject": one.subject} for one in found]  # fmt: skip
        click.echo(json.dumps({"schema": "advisor.notices/1", "notices": rows}, ensure_ascii=False))
        return
    if not found:
        click.echo("No notice has been kept yet.")
    for one in found:
        click.echo(f"{one.id}  {iso(one.created_at)}  {one.kind:<10} {one.subject}")


def _show(made) -> None:
    import advisor
    from advisor.clock import iso

    notice, evidence = made.notice, made.evidence
    click.echo(f"Notice {notice.id}, {notice.kind} of {notice.local_date.isoformat()}, made {iso(notice.created_at)}.")
    click.echo(f"It said: {notice.subject}")
    ledger = evidence.ledger
    click.echo(
        f"Its evidence: {_many(len(evidence.answers.kept), 'answer')} of weather services, "
        f"{_many(len(evidence.files), 'household file')}, {_many(len(evidence.rules.rules), 'rule')} "
        f"(version {evidence.rules.version}), {_many(len(ledger.records), 'pass', 'passes')}, "
        f"{_many(len(ledger.statements), 'statement')}, {_many(len(ledger.plans), 'choice')} of the plan."
    )
    for key, verdict in made.again.items():
        told = made.told.get(key, "nothing")
        click.echo(f"  {key}  {verdict}" + ("" if told == verdict else f"   (was told {told})"))
    if made.same:
        exact = "every number and word of it too" if made.identical else "some of its numbers or words are not"
        click.echo(f"Made again from its evidence the verdict is the same; {exact}.")
    else:
        click.echo(f"Made again from its evidence the verdict is NOT the same: {'; '.join(made.differences)}.")
    if made.other_version:
        click.echo(f"It was made by version {made.version} of this program, and this is version {advisor.__version__}: "
                   "another version may answer otherwise.")  # fmt: skip
    if made.changed_since:
        click.echo(f"Changed since, and not looked at: {', '.join(made.changed_since)}.")


def _many(count: int, one: str, several: str = "") -> str:
    return f"{count} {one if count == 1 else several or one + 's'}"


def _object(made) -> dict:
    import advisor

    return {
        "schema": "advisor.replay/1",
        "notice": made.notice.id,
        "same": made.same,
        "identical": made.identical,
        "told": dict(made.told),
        "again": dict(made.again),
        "differences": list(made.differences),
        "made_by_version": made.version,
        "this_version": advisor.__version__,
        "changed_since": list(made.changed_since),
    }
