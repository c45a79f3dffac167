"""`advisor notice`: what a person would receive now."""

from __future__ import annotations

import json

import click

from advisor.cli.options import common_options
from advisor.errors import UsageError


@click.command(
    epilog="Example: advisor notice --kind evening --show   See also: advisor serve, advisor outlook"
)
@common_options
@click.option("--kind", type=click.Choice(["evening", "morning"]), default="evening", show_default=True,
              help="An evening's notice speaks of tomorrow, a morning's of today.")  # fmt: skip
@click.option("--show", is_flag=True, help="Only print it; nothing is sent or kept (the default).")
@click.option("--send", is_flag=True, help="Send it through the household's channels, once, and keep it.")
def notice(common, kind, show, send):
    """Show or send the go/no-go notice of this moment."""
    from advisor.cli.scene import make_scene
    from advisor.messages.notice import make_notice

    if show and send:
        raise UsageError("--show and --send exclude each other")
    scene = make_scene(common)
    made = make_notice(scene.outlook, kind)
    if made is None:
        click.echo(
            "No pass is open: there is nothing to tell."
            if not common.as_json
            else json.dumps({"notice": None})
        )
        return
    if send:
        _send(common, kind)
        return
    if common.as_json:
        click.echo(json.dumps({"schema": "advisor.notice/1", "kind": made.kind, "date": made.day.isoformat(),
                               "subject": made.subject, "text": made.text, "answer": made.answer}, ensure_ascii=False))  # fmt: skip
        return
    click.echo(f"Subject: {made.subject}\n\n{made.text}")


def _send(common, kind):
    """Keep the notice of this moment and deliver it, exactly as the service would."""
    from advisor.errors import NotDelivered
    from advisor.notify import deliver_due
    from advisor.service.due import Work
    from advisor.service.household import HouseholdService
    from advisor.store import Store, notices, outbox

    service = HouseholdService.open(common.home)
    day = common.now.astimezone(service.household.site.zone).date()
    channels = service.channels()
    from datetime import timedelta

    work = Work(kind, "", day, common.now, common.now + timedelta(hours=4))
    with Store.open(common.database) as store:
        made = service.decide(work, common.now)
        if made is None or notices.put(store, made, channels, common.now) is None:
            click.echo("This notice has been kept before; it is not sent twice.", err=True)
            return
        deliver_due(store, channels, common.now)
        failed = [row for row in outbox.of_notice(store, made.id) if row.state != "sent"]
    if failed:
        raise NotDelivered(
            f"the notice did not reach {', '.join(row.channel for row in failed)}",
            hint=str(failed[0].last_error or "it is tried again by the service"),
        )
    click.echo(f"sent {made.id} to {', '.join(channels)}", err=True)
