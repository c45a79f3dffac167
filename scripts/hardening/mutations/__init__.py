"""Fail closed, proven: forecasts are changed at the level of the provider's answer, and the verdicts are compared.

(a) A change of shape, or to the impossible, leaves every start its verdict or makes it unknown.
(b) A removal never gains a go.
(c) A believable change to the harm of a rule never makes it easier to keep.
(d) A believable change in its favour cannot be seen from one source; beside a second source that disagrees it is.

Told apart, each with its reason beside it in `oracles`, and only where the oracle holds without the rule in question:

- (a) a no-go by a rule that assumes the worst of what is not known (drift, dry soil);
- (d) a go gained by what cannot be compared, by what the second source does not say, or within what forecasts err.

Not among (a): a known unit in place of another (km/h for m/s) and periods moved by a few hours, which look like any
other forecast. They count under (c) and (d).

Members are drawn by seed from an answer's first hour to its last; both answers are given the same draw, since another
one may move a chance near its floor to either side.

Every case is named by provider, season, kind of weather, number and what was done; `case(number, seed)` makes it again.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[3]
for place in (ROOT, ROOT / "tests"):
    if str(place) not in sys.path:
        sys.path.insert(0, str(place))

from hardening.lines import Line  # noqa: E402

from . import oracles, scenes  # noqa: E402
from .cells import Answer  # noqa: E402
from .change import Change  # noqa: E402
from .invented import KINDS  # noqa: E402
from .removals import REMOVALS  # noqa: E402
from .structural import STRUCTURAL  # noqa: E402
from .values import favourable, harmful  # noqa: E402

CAMPAIGN = "mutations"
#: cases of the two forms, and how many of them a scene sees
LONG, QUICK, A_SCENE = 21_000, 1_800, 40
#: in each block of cases of a scene: how many by oracle
SHARES = "aaaaaaaaaaaaabbbbbbbbbbbbbccccccccdddddd"
MUTATIONS = {"a": STRUCTURAL, "b": REMOVALS, "c": (harmful,), "d": (favourable,)}
WHAT = {
    "a": "(a) broken or impossible: unknown, or the same verdict",
    "b": "(b) removals: never a go gained",
    "c": "(c) harmful shifts, rule by rule: never eased",
    "d": "(d) favourable shifts, one source: cannot be seen",
    "e": "(d) the same beside a second source that disagrees: flagged",
}


@dataclass(frozen=True)
class Case:
    """A case that was run."""

    name: str
    oracle: str
    change: Change
    outcome: oracles.Outcome
    second: oracles.Outcome | None


def run(quick: bool, seed: int) -> list[Line]:
    """The lines of the table."""
    return table(cases(QUICK if quick else LONG, seed))


def cases(count: int, seed: int) -> Iterator[Case]:
    """So many cases, drawn over all providers, seasons and kinds of weather."""
    for number in range(count):
        yield case(number, seed)


def case(number: int, seed: int) -> Case:
    """One case by its number, always the same."""
    scene = _scene(number // A_SCENE, seed)
    oracle = SHARES[number % A_SCENE]
    random = np.random.default_rng([seed, number])
    for _ in range(10):
        mutation = MUTATIONS[oracle][random.integers(len(MUTATIONS[oracle]))]
        change = mutation(random, scene, Answer(scene.provider, scene.body))
        if change is not None:
            break
    name = f"case {number}, {scene.name}: {change.kind}, {change.says}"
    outcome, second = _outcome(scene, change)
    return Case(name, oracle, change, outcome, second)


@lru_cache(maxsize=4)
def _scene(at: int, seed: int) -> scenes.Scene:
    """The scene of a block of cases: mostly one with a go, since nothing is lost or gained in a hopeless one."""
    provider = scenes.PROVIDERS[at % 3]
    seasons, kinds = list(scenes.SEASONS), list(KINDS)
    random = np.random.default_rng([seed, at, 7])
    for attempt in range(6):
        season, kind = str(random.choice(seasons)), str(random.choice(kinds))
        number = 6 * at + attempt
        with_members = number % 3 == 2
        scene = scenes.make(provider, season, "steady" if with_members else kind, number, seed)
        if scene.has_go:
            break
    return scene


def _outcome(scene: scenes.Scene, change: Change) -> tuple[oracles.Outcome, oracles.Outcome | None]:
    try:
        after = scenes.judge(scene, change.body, asked_hours_ago=change.asked_hours_ago)
        if change.oracle == "a":
            return oracles.same_or_unknown(scene, after, change), None
        if change.oracle == "b":
            return oracles.never_gained(scene, after), None
        if change.oracle == "c":
            return oracles.never_eased(scene, after, change.rules), None
        return oracles.unseen(scene, after), oracles.told_by_another(scene, change)
    except Exception as error:  # noqa: BLE001  (whatever breaks the program is a survivor)
        broken = oracles.Outcome("broke", f"{type(error).__name__}: {error}")
        return broken, (broken if change.oracle == "d" else None)


def table(found) -> list[Line]:
    """Cases as one line an oracle."""
    words: dict[str, Counter] = {name: Counter() for name in WHAT}
    wrong: dict[str, list[str]] = {name: [] for name in WHAT}
    for one in found:
        for name, outcome in ((one.oracle, one.outcome), ("e", one.second)):
            if outcome is None:
                continue
            words[name][outcome.word] += 1
            if outcome.wrong:
                wrong[name].append(f"{one.name}: {outcome.wrong}")
    return [
        Line(
            CAMPAIGN,
            what,
            # the cases of the last line are those of the line before
            sum(words[name].values()) if name != "e" else 0,
            len(wrong[name]),
            ", ".join(f"{word} {count:,}" for word, count in words[name].most_common()),
            tuple(wrong[name][:5]),
        )
        for name, what in WHAT.items()
    ]
