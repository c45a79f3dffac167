"""`advisor notice`: what a person would receive now, and whether a channel reaches them."""

from __future__ import annotations

import json

import click

from advisor.cli.options import common_options, load_household
from advisor.errors import UsageError, did_you_mean

#: as `advisor.messages.notice.KINDS`, which is not imported for the help
KINDS = ("evening", "morning", "changed", "closing", "follow-up", "overdue", "review", "source-down")
#: why there is no notice of a kind
_NOTHING = {
    "closing": "Nothing more may start today, so no window closes.",
    "follow-up": "No follow-up is open.",
    "overdue": "No follow-up is overdue.",
    "review": "No pass is on record yet, so there is nothing to look back at.",
}


@click.command(
    epilog="Example: advisor notice --kind evening --show   See also: advisor serve, advisor outlook, advisor doctor"
)
@common_options
@click.option("--kind", type=click.Choice(KINDS), default="evening", show_default=True,
              help="An evening's notice speaks of tomorrow, a morning's of today.")  # fmt: skip
@click.option("--show", is_flag=True, help="Only print it; nothing is sent or kept (the default).")
@click.option("--html", is_flag=True, help="Print it as a mail program would get it.")
@click.option("--send", is_flag=True, help="Send it through the household's channels, once, and keep it.")
@click.option("--all", "folder", metavar="DIR", help="The one notice of the round over all lawns in DIR.")
@click.option("--day", metavar="DAY", help="With --all: which day the round is of.")
@click.option("--test", "channel", metavar="CHANNEL", help="Send a test message through this channel alone.")
def notice(common, kind, show, html, send, channel, folder, day):
    """Show or send the notice of this moment, or test a channel.

    Kinds: evening and morning; changed, closing (of today's window); follow-up, overdue, review; source-down.
    """
    if sum((show, send, channel is not None)) > 1:
        raise UsageError("--show, --send and --test exclude each other")
    if folder is not None:
        if send or channel is not None:
            raise UsageError("--all only shows the notice", hint="advisor serve --all DIR sends it")
        _show(common, _of_round(common, folder, day), html)
        return
    if day is not None:
        raise UsageError("--day goes with --all")
    if channel is not None:
        _test(common, channel)
        return
    if send:
        _send(common, kind)
        return
    from advisor.cli.scene import make_scene

    scene = make_scene(common)
    made = _preview(common, scene, kind)
    if made is None:
        why = "No pass is open: there is nothing to tell." if not scene.outlook.tasks else _NOTHING.get(kind, "")
        click.echo(json.dumps({"notice": None, "why": why}) if common.as_json else why)
        return
    _show(common, made, html)


def _of_round(common, folder, day):
    from advisor.cli.rounds import make_round, tell_faults
    from advisor.messages.round_text import round_notice

    plan, faults = make_round(common, folder, day)
    tell_faults(faults)
    return round_notice(plan, common.now)


def _show(common, made, html):
    if common.as_json:
        click.echo(json.dumps({"schema": "advisor.notice/1", "kind": made.kind, "date": made.day.isoformat(),
                               "subject": made.subject, "text": made.text, "html": made.html, "answer": made.answer},
                              ensure_ascii=False))  # fmt: skip
        return
    click.echo(made.html if html else f"Subject: {made.subject}\n\n{made.text}")


def _preview(common, scene, kind):
    """The notice of a kind as it would read now, whether or not it is due."""
    from advisor.messages.notice import (
        make_closing,
        make_follow_up,
        make_notice,
        make_overdue,
        make_review,
        make_source_down,
    )

    if kind == "closing":
        return make_closing(scene.outlook)
    if kind == "follow-up":
        return make_follow_up(scene.outlook)
    if kind == "overdue":
        return make_overdue(scene.outlook)
    if kind == "source-down":
        source = scene.forecast.provenance
        return make_source_down(scene.outlook, source.fetched_at or source.issued_at)
    if kind == "review":
        return make_review(scene.outlook, _reviews(common, scene))
    return make_notice(scene.outlook, kind)


def _reviews(common, scene):
    """Of the newest day on which a pass was made."""
    from advisor.service.household import HouseholdService
    from advisor.service.occasions import review_day
    from advisor.service.reviewing import reviews_of

    done = [record for record in scene.records if record.started_at <= common.now]
    if not done:
        return []
    service = HouseholdService.open(common.home)
    return reviews_of(service, review_day(scene.household, done[-1]), common.now)


def _test(common, name):
    """One message through one channel, outside the outbox: nothing is kept and nothing is tried again."""
    from advisor.errors import NotDelivered
    from advisor.notify import Message, build_channel, named
    from advisor.store.masking import masked

    household = load_household(common)
    plans = named(household.notices.channels)
    if name not in plans:
        raise UsageError(f'there is no channel "{name}"', hint=did_you_mean(name, plans) or "name one in lawn.toml")
    channel = build_channel(plans[name], name, common.home)
    local = common.now.astimezone(household.site.zone)
    text = (
        f"Test: this channel works. It is no notice, and says nothing about the lawn.\n"
        f"{household.name}, {local:%A} {local.day} {local:%B %Y, %H:%M} {local.tzname()}\n"
    )
    message = Message(f"test-{common.now:%Y%m%dT%H%M%S}", "Test: this channel works", text, created_at=common.now,
                      kind="test", local_date=local.date())  # fmt: skip
    try:
        channel.send(message)
    except NotDelivered:
        raise
    except Exception as error:
        told = masked(str(error) or type(error).__name__, getattr(channel, "secrets", ()))
        raise NotDelivered(f"whether the test has arrived is not known: {told}", where=name) from error
    click.echo(f"The channel {name} took the test message.", err=True)


def _send(common, kind):
    """Keep the notice of this moment and deliver it, exactly as the service would."""
    from datetime import timedelta

    from advisor.errors import NotDelivered
    from advisor.notify import deliver_due
    from advisor.service.due import Work
    from advisor.service.household import HouseholdService
    from advisor.store import Store, notices, outbox

    service = HouseholdService.open(common.home)
    day = common.now.astimezone(service.household.site.zone).date()
    channels = service.channels()
    work = Work(kind, "", day, common.now, common.now + timedelta(hours=4))
    with Store.open(common.database) as store:
        kept = [notices.put(store, one, channels, common.now) for one in service.decide(work, common.now)]
        made = [one for one in kept if one is not None]
        if not made:
            told = "it has been told before" if kept else "it calls for no notice, or nothing has changed"
            click.echo(f"Nothing is sent: {told}.", err=True)
            return
        deliver_due(store, channels, common.now)
        rows = [row for one in made for row in outbox.of_notice(store, one.id)]
    failed = [row for row in rows if row.state != "sent"]
    if failed:
        raise NotDelivered(
            f"the notice did not reach {', '.join(row.channel for row in failed)}",
            hint=str(failed[0].last_error or "it is tried again by the service"),
        )
    click.echo(f"sent {', '.join(one.id for one in made)} to {', '.join(channels)}", err=True)
