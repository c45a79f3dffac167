"""The notices a person receives: first the answer, then the reason, then the next chance; mix, cautions, forecast."""

from advisor.messages.notice.daily import (
    make_closing,
    make_notice,
    notice_day,
    task_key,
    withdrawn,
    worth_telling,
)
from advisor.messages.notice.events import make_follow_up, make_overdue, make_review, make_source_down
from advisor.messages.notice.layout import MOST_WORDS, NoticeText

#: about one day, which a household's times bring
DAILY = ("evening", "morning")
KINDS = (*DAILY, "changed", "closing", "follow-up", "overdue", "review", "source-down")

__all__ = [
    "DAILY",
    "KINDS",
    "MOST_WORDS",
    "NoticeText",
    "make_closing",
    "make_follow_up",
    "make_notice",
    "make_overdue",
    "make_review",
    "make_source_down",
    "notice_day",
    "task_key",
    "withdrawn",
    "worth_telling",
]
