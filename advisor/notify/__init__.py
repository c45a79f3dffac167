"""Channels to people, and the delivery of what the outbox holds."""

from advisor.notify.build import build_channel, build_channels, kinds, named
from advisor.notify.deliver import Report, Retry, deliver_due
from advisor.notify.message import Channel, Message, message_of

__all__ = [
    "Channel",
    "Message",
    "Report",
    "Retry",
    "build_channel",
    "build_channels",
    "deliver_due",
    "kinds",
    "message_of",
    "named",
]
