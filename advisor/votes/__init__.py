"""Answers in three values for many members at once, a bit a member, and spans of hours of them."""

from advisor.votes.votes import (
    EVERYONE,
    Votes,
    any_member,
    count_members,
    pack,
    pick_hours,
    row_bytes,
    unpack,
)

__all__ = ["EVERYONE", "Votes", "any_member", "count_members", "pack", "pick_hours", "row_bytes", "unpack"]
