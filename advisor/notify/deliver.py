"""Delivers what the outbox holds: claim, send, confirm. What dies in between is never lost and never doubled.

| a process dies ... | idempotent channel | any other channel |
|---|---|---|
| before the claim | sent later | sent later |
| between claim and confirmation | sent again, with the same result | marked uncertain, never sent again |
| after the confirmation | nothing to do | nothing to do |

A lock on a file beside the ledger is held while delivering, so a claimed row that is found under the lock
belongs to a process that is no more.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from advisor.errors import NotDelivered
from advisor.notify.message import Channel, Message, message_of
from advisor.store import Store, notices, outbox
from advisor.store.faults import file_explained
from advisor.store.locking import FileLock
from advisor.store.masking import masked
from advisor.store.outbox import Delivery

INTERRUPTED = "the process ended while sending; whether it has arrived is not known"


@dataclass(frozen=True, slots=True)
class Retry:
    """Waits of 1, 2, 4 ... minutes up to `longest`; at most `attempts` attempts in all, or, where the way may open
    again and it is known until when a notice is news, until then."""

    first: timedelta = timedelta(minutes=1)
    longest: timedelta = timedelta(minutes=60)
    attempts: int = 8

    def wait(self, attempts: int, asked: float = 0.0) -> timedelta:
        """How long to wait after this many attempts; longer where the receiver asked for more [s], up to `longest`."""
        asked_for = timedelta(seconds=min(asked, self.longest.total_seconds()))
        return max(asked_for, min(self.longest, self.first * 2 ** min(max(attempts - 1, 0), 30)))


@dataclass(slots=True)
class Report:
    """What one call of `deliver_due` did."""

    sent: int = 0
    postponed: int = 0
    failed: int = 0
    uncertain: int = 0
    too_late: int = 0
    #: somebody else is delivering right now
    busy: bool = False
    errors: list[str] = field(default_factory=list)


def deliver_due(
    store: Store,
    channels: Mapping[str, Channel] | Iterable[Channel],
    now: datetime,
    *,
    retry: Retry = Retry(),  # noqa: B008 - frozen
    should_stop: Callable[[], bool] = lambda: False,
) -> Report:
    """Deliver every row of the outbox whose time has come, on the channels given.

    Errors of a channel end in the outbox and in the report, never here. Rows of channels that are not given
    wait.

    Parameters
    ----------
    channels : mapping or iterable of Channel
        By name, or with names.
    should_stop : callable
        Asked before each message; True leaves the rest for later.

    Raises
    ------
    StoreError
        When the ledger cannot be read or written.
    """
    by_name = dict(channels) if isinstance(channels, Mapping) else {one.name: one for one in channels}
    report = Report()
    lock = FileLock(store.path.with_name(store.path.name + "-delivery.lock"))
    with file_explained(lock.path):
        report.busy = not lock.acquire()
    if report.busy:
        return report
    try:
        _recover(store, by_name, now, retry, report)
        report.too_late = outbox.drop_late(store, now)
        for delivery in outbox.due(store, now, longest_wait=retry.longest):
            if should_stop():
                break
            channel = by_name.get(delivery.channel)
            if channel is None:
                continue
            message = message_of(notices.find(store, delivery.notice_id))
            if outbox.claim(store, delivery.id, now):
                _send(store, channel, message, delivery, now, retry, report)
    finally:
        lock.release()
    return report


def _recover(
    store: Store, channels: Mapping[str, Channel], now: datetime, retry: Retry, report: Report
) -> None:
    for delivery in outbox.claimed(store):
        channel = channels.get(delivery.channel)
        news = delivery.good_until is None or now <= delivery.good_until
        if channel is None and news:
            continue  # its channel may be there next time
        # A message that ends the process each time must not do so for ever.
        if news and channel.idempotent and delivery.attempts < retry.attempts:
            outbox.postpone(store, delivery.id, now, None)
        elif outbox.settle(store, delivery.id, "uncertain", now, INTERRUPTED):
            report.uncertain += 1
            report.errors.append(f"{delivery.channel}: {delivery.notice_id}: {INTERRUPTED}")


def _send(
    store: Store,
    channel: Channel,
    message: Message,
    delivery: Delivery,
    now: datetime,
    retry: Retry,
    report: Report,
) -> None:
    attempts = delivery.attempts + 1
    try:
        channel.send(message)
    except Exception as error:
        text = _told(channel, error)
        known = isinstance(error, NotDelivered)
        if not known and not channel.idempotent:
            # It may have arrived all the same: telling twice is worse than saying that we do not know.
            outbox.settle(store, delivery.id, "uncertain", now, text)
            report.uncertain += 1
        elif (known and error.permanent) or (attempts >= retry.attempts and not _still_news(known, delivery)):
            outbox.settle(store, delivery.id, "failed", now, text)
            report.failed += 1
        else:
            asked = error.not_before if known else 0.0
            outbox.postpone(store, delivery.id, now + retry.wait(attempts, asked), text)
            report.postponed += 1
        report.errors.append(f"{channel.name}: {delivery.notice_id}: {text}")
    else:
        outbox.settle(store, delivery.id, "sent", now)
        report.sent += 1


def _still_news(known: bool, delivery: Delivery) -> bool:
    """Whether an error of the way is waited out until the notice is news no more: a silence of hours is no reason to
    let go of what is good for days. An error of our own is not waited out."""
    return known and delivery.good_until is not None


def _told(channel: Channel, error: Exception) -> str:
    """One line about an error, without secrets: those of the channel's `secrets` and those in addresses."""
    text = " ".join(str(error).split()) or type(error).__name__
    if not isinstance(error, NotDelivered):
        text = f"{type(error).__name__}: {text}"
    return masked(text, getattr(channel, "secrets", ()))[:500]
