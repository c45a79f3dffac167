"""Attacks on the page over bare sockets, and on what goes out: each is a row, and a row that got through is a bug.

`python -m hardening.web` prints every row.
"""

from __future__ import annotations

import logging
import tempfile
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from hardening.lines import Line
from hardening.web import endless, entering, hosts, lawns, outgoing, paths, texts
from hardening.web.attack import Attack, Outcome, carried_out
from hardening.web.world import World

#: examples of what got through, for each line of the table
_MOST_EXAMPLES = 5


def attacks(quick: bool) -> Iterator[Attack]:
    yield from hosts.rebinding()
    yield from hosts.foreign_forms()
    yield from hosts.reading_that_writes()
    yield from paths.traversal(quick)
    yield from paths.headers()
    yield from paths.too_much()
    yield from paths.slow()
    yield from texts.attacks(quick)
    yield from entering.word()
    yield from entering.guesses()
    yield from entering.told_to_browsers()
    yield from lawns.attacks()
    yield from outgoing.configuration(quick)
    yield from outgoing.redirections()
    yield from outgoing.certificates()
    yield from endless.attacks()


def outcomes(quick: bool, wanted: Callable[[Attack], bool] = lambda attack: True) -> list[Outcome]:
    """Carry out the attacks that are wanted, on households of their own."""
    logging.getLogger("waitress").setLevel(logging.CRITICAL)
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        world = World(Path(folder))
        try:
            return carried_out([one for one in attacks(quick) if wanted(one)], world)
        finally:
            world.close()


def lines(found: Iterable[Outcome]) -> list[Line]:
    groups: dict[str, list[Outcome]] = {}
    for one in found:
        groups.setdefault(one.attack.group, []).append(one)
    return [
        Line(
            "web",
            group,
            len(some),
            sum(not one.refused for one in some),
            examples=tuple(one.row for one in some if not one.refused)[:_MOST_EXAMPLES],
        )
        for group, some in groups.items()
    ]


def run(quick: bool, seed: int) -> list[Line]:
    """The attacks are written down, not drawn: `seed` changes nothing."""
    return lines(outcomes(quick))
