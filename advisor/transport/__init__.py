"""Asking a provider over HTTP, politely and without surprises.

`decide` is a pure function of what was kept and the time: use it, ask whether it changed, or ask anew.
`fetch` does what was decided and hands back an `Answer`, or raises one named error that says what to do. It
identifies itself, waits as long as it is told to (a minute at most; a longer wait is reported instead), never
reads more than a bounded amount, and takes nothing for weather data that is not JSON.
"""

from advisor.transport.asking import Answer, ask, fetch, fetch_or_keep, user_agent
from advisor.transport.policy import Archived, Decision, decide, lifetime
from advisor.transport.wire import new_session

__all__ = [
    "Answer",
    "Archived",
    "Decision",
    "ask",
    "decide",
    "fetch",
    "fetch_or_keep",
    "lifetime",
    "new_session",
    "user_agent",
]
