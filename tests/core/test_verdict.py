"""Chances, floors and verdicts by their definitions, on arrays made by hand.

Members are written as text, one letter each: y the rule holds in it, n it does not, ? not known.
"""

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.logic import Kleene
from advisor.model import DEFAULT_FLOORS
from advisor.rulebook.evaluate import Finding
from advisor.verdict import GO, NO_GO, UNKNOWN, chances, everything_floor, judge_starts


def outcome(letters: str) -> Kleene:
    holds = np.array([letter == "y" for letter in letters])[None, :, None]
    known = np.array([letter != "?" for letter in letters])[None, :, None]
    return Kleene(holds, known)


def rule(kind: str, letters: str, floor: float | None = None, applies: bool = True) -> Finding:
    found = outcome(letters)
    no = np.zeros(1, dtype=bool)
    if not applies:
        found = Kleene(np.ones_like(found.holds), np.ones_like(found.known))
    return Finding(
        rule=SimpleNamespace(id=kind, kind=kind, floor=floor), applies=np.array([applies]),
        value=np.zeros((1, 1, 1)), at_least=None, at_most=None, outcome=found, complete=found.known,
        from_label=no, blank=no, estimated=np.zeros((1, 1, 1), dtype=bool), length=np.full(1, np.nan),
    )  # fmt: skip


def judge(
    *rules: Finding,
    nominal: int = 1,
    lead: float = 24.0,
    joint: float = DEFAULT_FLOORS["everything"],
    floors=None,
):
    return judge_starts(
        rules, np.array([nominal]), np.array([lead]), {**DEFAULT_FLOORS, **(floors or {})}, 48.0, joint
    )


def verdict(*rules: Finding, **given) -> int:
    return int(judge(*rules, **given).verdict[0, 0])


# chances --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("letters", "nominal", "lower", "upper"),
    [
        ("yyyn", 4, 0.75, 0.75),
        ("yyy?", 4, 0.75, 1.0),
        ("nnn?", 4, 0.0, 0.25),
        ("yyyn", 8, 3 / 8, 7 / 8),  # four of eight members did not come
        ("yy??", 4, 0.5, 1.0),
    ],
)
def test_chances_count_over_the_promised_members(letters, nominal, lower, upper):
    found = chances(outcome(letters), np.array([nominal]))
    assert found.lower[0, 0] == pytest.approx(lower) and found.upper[0, 0] == pytest.approx(upper)


def test_a_model_that_has_ended_counts_no_more():
    """Of 60 members 20 end before this lead, where 40 are promised: they are not lost, they were never to come."""
    found = chances(outcome("y" * 38 + "n" * 2 + "?" * 20), np.array([40]))
    assert found.lower[0, 0] == pytest.approx(38 / 40) and found.upper[0, 0] == pytest.approx(38 / 40)


def test_chances_never_leave_0_to_1_even_where_fewer_are_promised_than_came():
    found = chances(outcome("y" * 10), np.array([3]))
    assert found.lower[0, 0] == 1.0 and found.upper[0, 0] == 1.0


@settings(max_examples=200, deadline=None)
@given(st.lists(st.sampled_from("yn?"), min_size=2, max_size=12), st.integers(0, 6), st.data())
def test_a_lost_member_never_raises_a_chance(letters, more, data):
    nominal = np.array([len(letters) + more])
    lost = data.draw(st.integers(0, len(letters) - 1))
    before = chances(outcome("".join(letters)), nominal)
    after = chances(outcome("".join([*letters[:lost], "?", *letters[lost + 1 :]])), nominal)
    assert after.lower[0, 0] <= before.lower[0, 0] and after.upper[0, 0] >= before.upper[0, 0]


# floors ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "of_twenty", "expected"),
    [
        ("safety", 19, GO),  # 0.95
        ("safety", 18, NO_GO),
        ("label", 18, GO),  # 0.90
        ("label", 17, NO_GO),
        ("effect", 12, GO),  # 0.60, the floor of everything jointly
        ("effect", 11, NO_GO),
    ],
)
def test_the_floor_of_each_kind(kind, of_twenty, expected):
    assert verdict(rule(kind, "y" * of_twenty + "n" * (20 - of_twenty)), nominal=20) == expected


def test_safety_and_label_rules_jointly():
    """Two label rules at 0.90 each that fail in other members hold together in 0.80; a third brings 0.70."""
    one, other = rule("label", "nn" + "y" * 18), rule("label", "yynn" + "y" * 16)
    assert judge(one, other, nominal=20).safety_and_label.lower[0, 0] == pytest.approx(0.8)
    assert verdict(one, other, nominal=20) == GO
    assert verdict(one, other, rule("label", "yyyynn" + "y" * 14), nominal=20) == NO_GO


def test_everything_jointly_counts_members_in_which_all_hold_at_once():
    label, effect = rule("label", "n" + "y" * 9), rule("effect", "y" * 6 + "nnnn")
    assert judge(label, effect, nominal=10).everything.lower[0, 0] == pytest.approx(0.5)
    assert verdict(label, effect, nominal=10) == NO_GO
    overlapping = rule("effect", "nnnn" + "y" * 6)
    assert judge(label, overlapping, nominal=10).everything.lower[0, 0] == pytest.approx(0.6)
    assert verdict(label, overlapping, nominal=10) == GO


def test_a_rule_may_have_a_floor_of_its_own():
    assert verdict(rule("safety", "y" * 8 + "nn", floor=0.8), nominal=10) == GO
    assert verdict(rule("safety", "y" * 7 + "nnn", floor=0.8), nominal=10) == NO_GO


def test_a_rule_that_does_not_apply_limits_nothing():
    assert verdict(rule("safety", "nnnn", applies=False), rule("effect", "yyyy"), nominal=4) == GO


def test_no_floor_is_kept_by_what_is_unknown():
    """Whatever the household chooses as floors: missing weather is never a go."""
    none = dict.fromkeys(DEFAULT_FLOORS, 0.0)
    for kind in ("safety", "label", "effect"):
        assert verdict(rule(kind, "?"), floors=none, joint=0.0) == UNKNOWN
        assert verdict(rule(kind, "?" * 20), nominal=20, floors=none, joint=0.0) == UNKNOWN


# the three verdicts ---------------------------------------------------------------------------------------------


def test_one_known_member_is_a_yes_or_a_no():
    assert verdict(rule("safety", "y")) == GO
    assert verdict(rule("safety", "n")) == NO_GO
    assert verdict(rule("safety", "?")) == UNKNOWN


def test_a_known_false_wins_over_an_unknown_at_any_lead():
    assert verdict(rule("effect", "n"), rule("safety", "?"), lead=200.0) == NO_GO


def test_known_and_not_enough_is_a_no_within_the_horizon_and_too_early_beyond_it():
    half = rule("effect", "y" * 10 + "n" * 10)
    within = judge(half, nominal=20, lead=48.0)
    beyond = judge(half, nominal=20, lead=49.0)
    assert within.verdict[0, 0] == NO_GO and not within.too_early[0, 0]
    assert beyond.verdict[0, 0] == UNKNOWN and beyond.too_early[0, 0]


def test_hopeless_is_a_no_at_any_lead():
    """An upper chance below 0.25: a quarter exactly is not below."""
    assert verdict(rule("effect", "y" * 4 + "n" * 16), nominal=20, lead=200.0) == NO_GO
    assert verdict(rule("effect", "y" * 5 + "n" * 15), nominal=20, lead=200.0) == UNKNOWN
    assert verdict(rule("effect", "????" + "n" * 16), nominal=20, lead=200.0) == NO_GO
    assert verdict(rule("effect", "?????" + "n" * 15), nominal=20, lead=200.0) == UNKNOWN


def test_a_go_needs_no_horizon():
    assert verdict(rule("safety", "y" * 20), nominal=20, lead=240.0) == GO


def test_something_missing_is_unknown_and_not_too_early():
    found = judge(rule("effect", "y" * 11 + "?" * 9), nominal=20)
    assert found.verdict[0, 0] == UNKNOWN and not found.too_early[0, 0]


def test_members_that_never_came_can_make_no_go():
    """51 are promised and 20 came, all of them good."""
    found = judge(rule("safety", "y" * 20), nominal=51)
    assert found.verdict[0, 0] == UNKNOWN
    assert found.everything.lower[0, 0] == pytest.approx(20 / 51)


def test_the_one_member_of_many_that_came_does_not_speak_for_all():
    found = judge(rule("safety", "y"), rule("effect", "y"), nominal=51)
    assert found.verdict[0, 0] == UNKNOWN and found.everything.lower[0, 0] == pytest.approx(1 / 51)


def test_what_all_members_share_counts_for_all():
    """The sun is the same in every member; the weather is not."""
    assert verdict(rule("safety", "y"), rule("effect", "y" * 12 + "n" * 8), nominal=20) == GO
    assert verdict(rule("safety", "n"), rule("effect", "y" * 20), nominal=20) == NO_GO


# cost and loss --------------------------------------------------------------------------------------------------


def test_cost_and_loss_move_the_floor_of_everything_and_of_nothing_else():
    """1 - C/F: waiting costs 10, a failed pass 40, so going pays from 0.75 on. Murphy (1977), from memory."""
    assert everything_floor(DEFAULT_FLOORS, 10.0, 40.0) == pytest.approx(0.75)
    assert everything_floor(DEFAULT_FLOORS, None, None) == DEFAULT_FLOORS["everything"]
    effect = rule("effect", "y" * 14 + "n" * 6)
    assert verdict(effect, nominal=20, joint=0.6) == GO
    assert verdict(effect, nominal=20, joint=0.75) == NO_GO
    lower = everything_floor(DEFAULT_FLOORS, 39.0, 40.0)
    assert verdict(rule("effect", "y" + "n" * 19), nominal=20, joint=lower) == GO
    for kind, good in (("safety", 18), ("label", 17)):
        assert verdict(rule(kind, "y" * good + "n" * (20 - good)), nominal=20, joint=lower) == NO_GO
    one, other, third = (rule("label", "y" * k + "nn" + "y" * (18 - k)) for k in (0, 4, 8))
    assert verdict(one, other, third, nominal=20, joint=lower) == NO_GO, "jointly 0.70, below 0.80"


@settings(max_examples=300, deadline=None)
@given(st.data(), st.integers(1, 6))
def test_against_counting_by_hand(data, members):
    """The whole definition once more, member by member, for up to three rules."""
    kinds = data.draw(st.lists(st.sampled_from(["safety", "label", "effect"]), min_size=1, max_size=3))
    letters = [data.draw(st.text("yn?", min_size=members, max_size=members)) for _ in kinds]
    nominal, lead = members + data.draw(st.integers(0, 2)), data.draw(st.sampled_from([10.0, 100.0]))

    def joint(rows):
        out = ""
        for column in zip(*rows, strict=True):
            out += "n" if "n" in column else "?" if "?" in column else "y"
        return out

    def lower(row):
        return row.count("y") / nominal

    def upper(row):
        return 1 - row.count("n") / nominal

    if members == 1 and nominal > 1:
        return  # told apart in tests of their own: shared by all, or the only one that came
    strict = [row for row, kind in zip(letters, kinds, strict=True) if kind != "effect"]
    go = lower(joint(letters)) >= 0.6
    go &= all(
        lower(row) >= DEFAULT_FLOORS[kind]
        for row, kind in zip(letters, kinds, strict=True)
        if kind != "effect"
    )
    go &= not strict or lower(joint(strict)) >= 0.8
    all_known = all("?" not in row for row in letters) and nominal == members
    no_go = not go and (all_known and lead <= 48.0 or upper(joint(letters)) < 0.25)
    expected = GO if go else NO_GO if no_go else UNKNOWN
    found = verdict(
        *(rule(k, row) for k, row in zip(kinds, letters, strict=True)), nominal=nominal, lead=lead
    )
    assert found == expected
