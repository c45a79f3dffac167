"""The case of a day is worked out when it is asked for, piece by piece; the pieces are those of the whole.

Checks of our own behaviour, no outside source.
"""

from __future__ import annotations

import numpy as np
import pytest

from advisor.outlook import make_outlook
from advisor.rule_files import load_rules
from tests.core.test_relaxing import weather
from tests.demo_lawn import NOW, lawn

RULES = list(load_rules())


@pytest.fixture(scope="module", params=["fifty-one", "gaps", "lost", "one member"])
def outlook(request):
    random = np.random.default_rng(11)
    return make_outlook(lawn(front={"neighbours": ()}), weather(request.param, random), RULES, (), NOW)


def days(outlook):
    return [
        (task, outlook.forecast.index(day.shown_start), day)
        for task, scored in enumerate(outlook.tasks)
        for day in scored.days
    ]


def test_the_pieces_are_those_of_all_reasons(outlook):
    words = set()
    for task, shown, day in days(outlook):
        whole = tuple(outlook.explainer.reasons(task, shown))
        # the pieces first: none of them may rest on the whole having been made
        assert day.tightest == whole[0]
        assert day.failing == tuple(one for one in whole if one.verdict == "no-go")
        assert day.unknown == tuple(one for one in whole if one.verdict == "unknown")
        assert day.reasons == whole
        assert sorted(one.rule for one in whole) == sorted(
            finding.rule.id for finding in outlook.explainer.findings if finding.applies[task]
        )
        words.add(whole[0].verdict)
    assert "no-go" in words or "unknown" in words


def test_the_start_that_is_shown_is_the_nearest_by_all_rules(outlook):
    """Most likely, then fewest failing and fewest unknown rules, then most headroom of the worst rule, then soonest."""
    explainer, verdicts = outlook.explainer, outlook.verdicts
    for task in range(len(outlook.tasks)):
        for first in range(3, outlook.forecast.hours - 6, 25):
            hours = np.arange(first, first + 6)

            def place(hour: int, task=task):
                told = explainer.reasons(task, hour)
                count = [sum(one.verdict == word for one in told) for word in ("no-go", "unknown")]
                worst = min(one.standing for one in told)
                return -verdicts.everything.lower[task, hour], *count, -worst, hour

            assert explainer.nearest(task, hours) == min(map(int, hours), key=place)


def test_nothing_stands_against_a_day_with_a_go(outlook):
    for _, _, day in days(outlook):
        blocked = day.blocked
        if day.verdict == "go":
            assert (blocked.always, blocked.sole, blocked.together) == ((), (), ())
        elif not day.candidates:
            assert blocked.always == ("availability",)
