"""What a channel carries and what a channel is."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Protocol, runtime_checkable

from advisor.store.notices import Notice


@dataclass(frozen=True, slots=True)
class Message:
    """One text to one person. Its `id` is the same at every attempt: a channel can recognise a repetition."""

    id: str
    subject: str
    text: str
    html: str | None = None
    created_at: datetime = field(kw_only=True)
    kind: str = field(default="message", kw_only=True)
    #: the date the message belongs to, where the person is; None takes the UTC date of `created_at`
    local_date: date | None = field(default=None, kw_only=True)


@runtime_checkable
class Channel(Protocol):
    """A way to a person.

    Attributes
    ----------
    name : str
        By which its rows in the outbox are found again; unique in a household.
    idempotent : bool
        True when sending the same message twice leaves one message (a file of that name, a calendar entry
        with that id). Only such a channel is used again after a process died while sending.
    """

    name: str
    idempotent: bool

    def send(self, message: Message) -> None:
        """Deliver, or raise.

        Raises
        ------
        NotDelivered
            The message has certainly not arrived: `permanent=True` when trying again is of no use.
        Exception
            Anything else means that nobody knows whether it has arrived.
        """
        ...


def message_of(notice: Notice) -> Message:
    return Message(
        notice.id,
        notice.subject,
        notice.text,
        notice.html,
        created_at=notice.created_at,
        kind=notice.kind,
        local_date=notice.local_date,
    )
