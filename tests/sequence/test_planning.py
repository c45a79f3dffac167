"""Counting back from a seeding, and what to do about a weed. Calendar arithmetic by hand; no outside source."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from click.testing import CliRunner
from demo_lawn import FIXTURES, NOW, RATE, lawn, record, task

from advisor.cli import cli
from advisor.clock import local_instant, to_numpy
from advisor.lawn_work import time_since_mowing, time_to_mowing, time_to_seeding
from advisor.planning import day_for_seed, last_day_to_spray, plan_backward
from advisor.sequence import next_tasks
from advisor.sequence.answers import answers
from advisor.task_table import build

FIRST = record(datetime(2026, 8, 25, 22, tzinfo=UTC))
OCTOBER_30 = date(2026, 10, 30)


def back(household=None, records=(FIRST,), now=NOW, day=OCTOBER_30, area="front"):
    household = household or lawn()
    one = next(one for one in next_tasks(household, list(records), now) if one.area.id == area)
    return plan_backward(one, list(records), now, day)


# the calendar --------------------------------------------------------------------------------------------------


def test_the_last_day_to_spray_and_the_first_day_for_seed_are_inverse():
    for wait in (0.0, 6.0, 24.0, 25.0, 168.0, 672.0, 700.0):
        for day in (date(2026, 3, 1), OCTOBER_30, date(2028, 3, 1)):
            last = last_day_to_spray(day, wait)
            assert day_for_seed(last, wait) <= day < day_for_seed(last + timedelta(days=1), wait)
    # four weeks from the end of 1 October are over when the 30th begins
    assert last_day_to_spray(OCTOBER_30, 672.0) == date(2026, 10, 1)


def test_the_demonstration_seeds_on_30_october():
    found = back()
    assert [one.number for one in found.passes] == [2]
    only = found.passes[0]
    assert (only.earliest, only.last_day) == (date(2026, 9, 21), date(2026, 10, 1))
    assert (only.last_mowing, only.first_mowing) == (date(2026, 9, 28), date(2026, 10, 4))
    assert (only.dry_from, only.dry_until) == (date(2026, 10, 1), date(2026, 10, 2))
    assert (found.bound_by, found.why_not, found.wait_from_label) == ("seed", "", True)


def test_the_plan_keeps_the_rules_on_mowing_and_seeding_and_a_day_later_breaks_them():
    """The days of the plan put into the household: the rules' own quantities hold at every start of the last day."""
    found = back().passes[0]
    zone = lawn().site.zone
    front = {
        "last_mowed": found.last_mowing,
        "next_mowing": found.first_mowing,
        "seeding_planned": OCTOBER_30,
    }
    asked = datetime(2026, 9, 29, 12, tzinfo=UTC)  # the morning after the mowing
    table = build([task(lawn(front=front), number=2, done=[FIRST])], [FIRST], asked)

    def hours(day: date) -> np.ndarray:
        start = to_numpy(local_instant(day, datetime.min.time(), zone), "h")
        return start + np.arange(8, 19)

    axis = hours(found.last_day)
    assert (time_since_mowing(axis, table.instants, table.label) >= 48.0).all()
    assert (time_to_mowing(axis, table.instants, table.duration) >= 48.0).all()
    assert (time_to_seeding(axis, table.instants, table.duration) >= 672.0).all()
    late = hours(found.last_day + timedelta(days=1))
    assert not (time_to_seeding(late, table.instants, table.duration) >= 672.0).any()
    sooner = hours(found.last_day - timedelta(days=1))
    assert not (time_since_mowing(sooner, table.instants, table.label) >= 48.0).all()


def test_two_passes_are_spaced_by_the_label_and_the_last_is_bound_by_the_seed():
    early = datetime(2026, 8, 20, 12, tzinfo=UTC)
    found = back(records=[], now=early)
    assert [(one.number, one.earliest, one.last_day) for one in found.passes] == [
        (1, date(2026, 8, 20), date(2026, 9, 17)),
        (2, date(2026, 9, 3), date(2026, 10, 1)),
    ]


def test_what_does_not_fit_is_said():
    early = datetime(2026, 9, 20, 12, tzinfo=UTC)
    found = back(records=[], now=early)
    assert (len(found.passes), found.wanted) == (1, 2)


def test_the_season_may_end_before_the_seed_binds():
    found = back(household=lawn(treatment={"latest": date(2026, 9, 25)}))
    assert (found.bound_by, found.passes[0].last_day) == ("season", date(2026, 9, 25))


def test_no_pass_fits_when_the_interval_ends_too_late():
    recent = record(datetime(2026, 9, 19, 22, tzinfo=UTC))
    found = back(records=[recent])
    # the interval ends on 3 October, the last day is 1 October
    assert found.passes == ()
    assert found.why_not == "the last day to spray would be 1 Oct 2026, 2 days before a pass can be made"
    assert found.seed_soonest == date(2026, 11, 1)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"limits": {"maximum_per_year": RATE}}, "leaves room for no pass more"),
        (
            {"label": {"mode": "soil"}, "limits": {"seeding_after": None}},
            "does not say how long seed must wait",
        ),
    ],
)
def test_why_no_pass_fits(changes, says):
    found = back(household=lawn(**changes))
    assert found.passes == () and says in found.why_not


def test_a_day_that_is_over_is_no_plan():
    assert back(day=date(2026, 9, 21)).why_not == "that day is not ahead"


def test_a_label_that_does_not_say_waits_the_usual_four_weeks():
    found = back(household=lawn(limits={"seeding_after": None}))
    assert (found.passes[0].last_day, found.wait_from_label) == (date(2026, 10, 1), False)


def test_a_soil_product_needs_no_mowing_and_no_dry_leaves():
    found = back(household=lawn(label={"mode": "soil"})).passes[0]
    assert (found.last_mowing, found.dry_from, found.waterings) == (None, None, ())


def test_the_sprinklers_own_days_are_named():
    # the back lawn waters on Tuesdays and Fridays; 2 October is a Friday
    records = [FIRST, record(FIRST.started_at, area="back")]
    assert back(records=records, area="back").passes[0].waterings == (date(2026, 10, 2),)


def test_a_longer_rainfast_time_keeps_the_sprinkler_off_longer():
    assert back(household=lawn(limits={"rainfast_time": 48.0})).passes[0].dry_until == date(2026, 10, 3)


# weeds ---------------------------------------------------------------------------------------------------------


def asked(target, *, stage="", cover=None, today=date(2026, 9, 21), southern=False, **changes):
    household = lawn(**changes)
    label = household.labels["broadleaf-concentrate"]
    return answers(
        target, household.areas["front"], label, today, stage=stage, cover=cover, southern=southern
    )


@pytest.mark.parametrize(
    ("target", "given", "kind"),
    [
        ("dandelion", {}, "treat"),
        ("dandelion", {"today": date(2026, 7, 21)}, "wait"),
        ("dandelion", {"today": date(2026, 4, 21), "southern": True}, "treat"),
        ("dandelion", {"stage": "flowering"}, "wait"),
        ("dandelion", {"cover": 1.0}, "pull by hand"),
        ("dandelion", {"cover": 2.0}, "spot"),
        ("dandelion", {"cover": 20.0}, "treat"),
        ("white clover", {"cover": 1.0}, "spot"),  # comes back from what stays in the ground
        ("nimblewill", {}, "no selective option"),
        ("dallisgrass", {}, "no selective option"),
        ("something green", {}, "ask the label"),
        ("smooth crabgrass", {"label": {"mode": "soil"}, "today": date(2026, 3, 10)}, "treat"),
        ("smooth crabgrass", {"label": {"mode": "soil"}, "today": date(2026, 6, 10)}, "wait"),
    ],
)
def test_what_to_do_about_a_weed(target, given, kind):
    found = asked(target, **given)
    assert [one.kind for one in found] == [kind]
    assert found[0].why


def test_every_weed_gets_its_own_answer():
    found = asked("dandelion, nimblewill, something green", cover=1.0)
    assert [one.kind for one in found] == ["pull by hand", "no selective option", "ask the label"]


# the command ---------------------------------------------------------------------------------------------------


@pytest.fixture
def home(tmp_path):
    return shutil.copytree(FIXTURES / "prairie-lawn", tmp_path / "lawn")


def run(home, *given):
    line = ["plan", "--home", str(home), "--now", "2026-09-21T12:00Z", *given]
    return CliRunner().invoke(cli, line, catch_exceptions=False)


def test_the_plan_of_the_demonstration(home):
    told = run(home).output
    assert max(map(len, told.splitlines())) <= 80
    for words in (
        "1 of 2 made: 25 Aug", "6 days overdue", "exemplic acid: 50% of its yearly maximum, 100% with the next",
        "5 Nov 2026, the last sensible day", "28 days after the pass (the label)", "dandelion: treat",
    ):  # fmt: skip
        assert words in " ".join(told.split()), words
    assert not (home / "advisor.db").exists()


def test_seed_by_gives_the_last_days_in_json(home):
    told = json.loads(run(home, "--seed-by", "2026-10-30", "--area", "front", "--json").output)
    assert told["schema"] == "advisor.plan/1"
    only = told["backward"][0]["passes"][0]
    assert (only["last_day_to_spray"], only["last_mowing"], only["sprinkler_off_from"]) == (
        "2026-10-01",
        "2026-09-28",
        "2026-10-01",
    )
    sequence = told["sequences"][0]
    assert (sequence["next_pass"], sequence["wanted_until"]) == (2, "2026-09-15")
    assert sequence["label_year"]["ingredients"][0]["maximum_g_m2"] == pytest.approx(0.2288, abs=1e-4)


def test_a_weed_its_stage_and_cover_can_be_asked_about(home):
    told = json.loads(
        run(home, "--area", "front", "--weed", "dandelion", "--cover", "1 percent", "--json").output
    )
    assert told["sequences"][0]["weeds"][0]["answer"] == "pull by hand"
    told = json.loads(
        run(home, "--area", "front", "--weed", "nimblewill", "--stage", "vegetative", "--json").output
    )
    assert told["sequences"][0]["weeds"][0]["answer"] == "no selective option"


def test_a_cover_that_was_written_down_counts(home):
    from advisor.store import Store, measurements

    with Store.open(home / "advisor.db") as store:
        measurements.add(store, "cover", "broadleaf-autumn/front", NOW, {"cover": 12.0}, written_at=NOW)
    told = json.loads(run(home, "--area", "front", "--json").output)
    assert {one["answer"] for one in told["sequences"][0]["weeds"]} == {"spot"}


def test_a_turf_that_lowers_the_rate_says_why(home):
    label = home / "labels" / "broadleaf-concentrate.toml"
    label.write_text(
        label.read_text() + '\n[turf_rates]\n"tall fescue" = "1 floz/1000 ft^2"\n', encoding="utf-8"
    )
    told = run(home, "--area", "back").output
    assert (
        "1.00 fl oz/1,000 ft², lower than the label's 1.50 fl oz/1,000 ft²: the label's rate for tall fescue"
        in (" ".join(told.split()))
    )


@pytest.mark.parametrize(
    ("share", "words"),
    [
        ("", "its share here is not stated (turf_shares): no start can go"),
        ('turf_shares = { "tall fescue" = "15 percent" }', "up to 20% of the mixture, and here it is 15%"),
        ('turf_shares = { "tall fescue" = "40 percent" }', "here it is 40%: no start can go"),
    ],
)
def test_a_turf_that_is_allowed_up_to_a_share_only(home, share, words):
    label = home / "labels" / "broadleaf-concentrate.toml"
    label.write_text(label.read_text() + '\n[turf_shares]\n"tall fescue" = "20 percent"\n', encoding="utf-8")
    lawn_file = home / "lawn.toml"
    turf = 'turf = ["Kentucky bluegrass", "tall fescue"]'
    lawn_file.write_text(lawn_file.read_text().replace(turf, f"{turf}\n{share}"), encoding="utf-8")
    assert words in " ".join(run(home, "--area", "back").output.split())


@pytest.mark.parametrize(
    "given", [("--seed-by", "30 October"), ("--cover", "10"), ("--cover", "120 percent"), ("--stage", "big"),
              ("--area", "fornt")],
)  # fmt: skip
def test_what_cannot_be_read_is_refused(home, given):
    from advisor.errors import UsageError

    with pytest.raises(UsageError):
        run(home, *given)
