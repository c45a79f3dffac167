"""Every shipped rule in bits against the same from its numbers, in weather that is damaged in every way at once."""

from dataclasses import replace

import numpy as np
import pytest

from advisor.area_conditions import AreaConditions
from advisor.conditions import Conditions
from advisor.forecast import Field, Reason
from advisor.logic import within
from advisor.model import DEFAULT_FLOORS
from advisor.rule_files import load_rules
from advisor.rulebook.evaluate import evaluate
from advisor.rulebook.looking import _at_start
from advisor.rulebook.spans import Reduced, judge
from advisor.verdict import GO, judge_starts
from advisor.votes import Votes
from tests.batch.test_scoring import scene

SITES = 9
TABLE, RULES = scene.task_table(SITES), list(load_rules())
#: white nights and polar ones, beside ordinary places
FAR_NORTH = np.array([66.5, 41.0, 69.0, 41.0, 78.0, -70.0, -66.6, 85.0, 41.0])
SCENES = [
    (seed, (1, 2, 7, 8, 9, 31, 51, 300)[seed % 8], (30, 168, 72, 25)[seed // 2 % 4], seed % 5 == 4)
    for seed in range(48)
]


def damaged(seed: int, members: int, hours: int):
    """Hours, members, sites, the end or the beginning of each variable lost; one member for all; rain by the block."""
    draw = np.random.default_rng(seed)
    whole = scene.weather(slice(0, SITES), members, hours, gaps=True)
    fields = {}
    for name, one in whole.fields.items():
        values, why = one.values.astype(np.float64 if seed % 3 == 0 else np.float32), Reason.NULL
        what = draw.integers(7)
        if what == 0:
            values[draw.random(values.shape) < 0.03] = np.nan
        elif what == 1:
            values[..., draw.integers(20, hours) :] = np.nan
        elif what == 2:
            values[:, draw.integers(values.shape[1]) :] = np.nan
        elif what == 3:
            values = values[:, :1].copy()
        elif what == 4:
            values[draw.integers(SITES)] = np.nan
        elif what == 5:
            values[..., : draw.integers(1, 20)], why = np.nan, Reason.BEFORE_START
        lost = np.isnan(values).all(axis=1, keepdims=True)
        reason = np.where(lost, why, Reason.KNOWN).astype(np.uint8)
        first = last = None
        if seed % 3 == 1 and name.startswith("precipitation"):  # stated for six hours at once
            first = np.broadcast_to(np.arange(hours) // 6 * 6 - 2, reason.shape).astype(np.int32)
            last = first + 5
        fields[name] = Field(values, reason, first, last)
    return replace(whole, fields=fields)


def silent(seed: int):
    """The tasks under labels of which much is not stated, in limits and in spans; lengths of part hours and of none."""
    draw = np.random.default_rng([seed, 1])
    label = {}
    for name, stated in TABLE.label.items():
        values = np.where(draw.random(SITES) < 0.4, np.nan, stated)
        label[name] = np.where(draw.random(SITES) < 0.2, stated * draw.choice([0.0, 0.37, 3.1], SITES), values)
    return replace(TABLE, label=label, duration=draw.choice([0.25, 1.0, 2.4, 30.0], SITES))


def column(limit):
    return None if limit is None else limit[:, None, None]


@pytest.mark.parametrize("part", range(4))
def test_rules_in_bits_say_what_their_numbers_say(part):
    """No rule holds that its numbers do not hold, and the joint chance counts the members in which all of them do."""
    compared, held, blanks = 0, 0.0, 0
    for seed, members, hours, far in SCENES[part * 12 : part * 12 + 12]:
        forecast, sites = damaged(seed, members, hours), scene.sites_table(SITES)
        if far:
            sites = replace(sites, latitude=FAR_NORTH)
        table = silent(seed) if seed % 4 < 2 else TABLE
        findings = evaluate(RULES, AreaConditions(Conditions(forecast, sites), table))
        shape = SITES, members, hours
        together, against = np.ones(shape, dtype=bool), np.zeros(shape, dtype=bool)
        for finding in findings:
            rule, outcome = finding.rule, finding.outcome
            holds, fails = (np.broadcast_to(of, shape) for of in (outcome.holds, outcome.fails))
            together &= holds
            against |= fails
            sides = column(finding.at_least), column(finding.at_most)
            applies, blank = column(finding.applies), column(finding.blank)
            note = f"{rule.id}, scene {seed}"
            blanks += int(finding.blank.sum())
            if rule.measure.for_each == "neighbour":
                # only the numbers of the worst are kept: all hold where it does, and it fails where one does
                worst = within(finding.value, *sides)
                assert not (holds & applies & ~worst.holds).any(), note
                assert not (fails & applies & ~worst.fails).any(), note
                continue
            take = "last" if _at_start(rule) else rule.measure.take
            wanted = judge(Reduced(finding.value, finding.complete), take, *sides)
            assert np.array_equal(holds, np.broadcast_to((wanted.holds & ~blank) | ~applies, shape)), note
            assert np.array_equal(fails & ~blank, np.broadcast_to(wanted.fails & applies & ~blank, shape)), note
            compared, held = compared + 1, held + holds.mean()
        promised = np.full(hours, members + (seed % 2) * 4)
        verdicts = judge_starts(findings, promised, np.arange(hours) - 6.0, DEFAULT_FLOORS, 48.0, 0.6)
        lower, upper = together.sum(axis=1) / promised, 1.0 - against.sum(axis=1) / promised
        if any(finding.outcome.members == members for finding in findings):
            assert np.allclose(verdicts.everything.lower, lower), f"scene {seed}"
            assert np.allclose(verdicts.everything.upper, upper), f"scene {seed}"
        else:  # all values are shared: the one that is known counts as one member
            assert (verdicts.everything.lower <= lower + 1e-9).all(), f"scene {seed}"
        assert (lower[verdicts.verdict == GO] >= 0.6 - 1e-9).all()
        for finding in findings:
            assert not (finding.outcome.holds & column(finding.blank)).any(), "a blank field of the label holds"
    assert compared > 300 and 0.2 < held / compared < 0.9 and blanks > 50


def test_answers_of_different_numbers_of_members_do_not_go_together():
    """Five members fill one byte, which would fit beside the four bytes of 31."""
    five, many = (Votes.of(np.ones((2, members, 6), dtype=bool)) for members in (5, 31))
    for join in (five.__and__, five.__or__):
        with pytest.raises(ValueError, match="5 members and of 31"):
            join(many)
    assert (five & Votes.of(np.ones((2, 1, 6), dtype=bool))).members == 5
