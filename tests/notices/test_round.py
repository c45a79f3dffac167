"""The round over many lawns: order, hours, loads, wind, one screen and one notice. Our own behaviour, no source."""

from __future__ import annotations

import itertools
import json
import re
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.errors import InvalidFile
from advisor.household.lawns import read_lawns
from advisor.messages.notice.layout import MOST_WORDS
from advisor.messages.round_plan import EVERY_ORDER, Job, Lawn, _best_order, _walk, plan_round, wind_turns
from advisor.messages.round_text import round_notice, round_object, round_text
from advisor.model import Neighbour
from advisor.service import Cycle, Plan, SetClock
from advisor.service.round import RoundService
from advisor.store import Store, notices, payloads
from advisor.weather import site_key

from . import world
from .conftest import THURSDAY_EVENING, many_areas

FRIDAY = date(2026, 9, 25)
TRAVEL = timedelta(minutes=20)
#: 11:00 in Chicago on that Friday
ELEVEN = datetime(2026, 9, 25, 16, tzinfo=UTC)


def minutes(count):
    return timedelta(minutes=count)


def hours(*spans):
    day = tuple((time.fromisoformat(first), time.fromisoformat(last)) for first, last in spans)
    return dict.fromkeys(range(7), day)


@pytest.fixture
def lawn(outlook_at):
    def make(name, place, *spans, weather=(), **changes):
        def change(household):
            changed = replace(household, name=name, **changes)
            return replace(changed, hours=hours(*spans)) if spans else changed

        return Lawn(name.lower(), outlook_at(THURSDAY_EVENING, change, weather), place)

    return make


def names(plan):
    return [stop.job.lawn.name for stop in plan.stops]


def test_the_window_that_closes_soonest_comes_first_whatever_the_order_of_travel(lawn):
    plan = plan_round([lawn("Long", 0), lawn("Short", 1, ("11:00", "12:30"))], FRIDAY, THURSDAY_EVENING, TRAVEL)
    assert names(plan) == ["Short", "Short", "Long", "Long"]
    assert not plan.left_out and not plan.closed


def test_where_all_is_alike_the_order_of_travel_decides(lawn):
    for order in (("A", "B"), ("B", "A")):
        lawns = [lawn(name, place) for place, name in enumerate(order)]
        plan = plan_round(lawns, FRIDAY, THURSDAY_EVENING, TRAVEL)
        assert list(dict.fromkeys(names(plan))) == list(order)


def test_lawns_are_not_left_and_come_back_to(lawn):
    plan = plan_round([lawn("A", 0), lawn("B", 1)], FRIDAY, THURSDAY_EVENING, TRAVEL)
    assert [name for name, _ in itertools.groupby(names(plan))] == ["A", "B"]


def test_every_pass_keeps_to_window_hours_travel_and_clean_up(lawn):
    lawns = [lawn("A", 0), lawn("B", 1, ("12:00", "14:00")), lawn("C", 2, ("13:00", "17:00"))]
    plan = plan_round(lawns, FRIDAY, THURSDAY_EVENING, TRAVEL, hours(("11:30", "16:00")))
    assert len(plan.stops) == 6
    for stop in plan.stops:
        assert any(low <= stop.begins <= high for low, high in stop.job.starts)
        zone = stop.job.lawn.outlook.household.site.zone
        local = [moment.astimezone(zone).time() for moment in (stop.begins, stop.ends)]
        assert time(11, 30) <= local[0] and local[1] <= time(16)
    for one, other in itertools.pairwise(plan.stops):
        moved = one.job.lawn.key != other.job.lawn.key
        assert other.begins >= one.ends + (TRAVEL + minutes(20) if moved else minutes(0))


def test_hours_of_ones_own_that_leave_no_room_close_the_day(lawn):
    plan = plan_round([lawn("A", 0)], FRIDAY, THURSDAY_EVENING, TRAVEL, hours(("06:00", "08:00")))
    assert plan.stops == () and len(plan.closed) == 2
    assert "outside your hours" in round_text(plan, THURSDAY_EVENING)


def test_today_begins_now(lawn):
    now = ELEVEN + minutes(95)
    plan = plan_round([lawn("A", 0)], FRIDAY, now, TRAVEL)
    assert plan.stops[0].begins == now


# -- the order itself, on passes made by hand


def job(name, opens, closes, loss=0.1, length=30, lawn=None, place=0):
    key = lawn or name
    return Job(
        SimpleNamespace(key=key, name=key, place=place), SimpleNamespace(task=SimpleNamespace(id=name)), None,
        ((ELEVEN + minutes(opens), ELEVEN + minutes(closes)),), length / 60.0, loss,
    )  # fmt: skip


def ids(stops):
    return [stop.job.task.id for stop in stops]


def test_what_loses_most_by_waiting_is_done_where_not_all_fit():
    # both close at 11:10 and take half an hour each: only one fits
    cheap, dear = job("cheap", 0, 10, loss=0.05), job("dear", 0, 10, loss=0.6)
    assert ids(_best_order([cheap, dear], ELEVEN, TRAVEL)) == ["dear"]


def test_a_dear_one_that_closes_later_is_not_given_up_for_cheap_ones_before_it():
    jobs = [job("a", 0, 5, loss=0.1), job("b", 30, 60, loss=0.1), job("dear", 20, 40, loss=0.9, length=60)]
    assert "dear" in ids(_best_order(jobs, ELEVEN, TRAVEL))


def test_time_until_a_window_opens_is_used():
    later, now = job("later", 120, 150), job("now", 0, 300)
    assert ids(_best_order([later, now], ELEVEN, TRAVEL)) == ["now", "later"]


#: (opens, open for, loss, work, lawn)
ROWS = st.tuples(
    st.integers(0, 200), st.integers(0, 120), st.integers(0, 100), st.integers(10, 60), st.integers(0, 2)
)


@settings(max_examples=60, deadline=None)
@given(st.lists(ROWS, min_size=1, max_size=9))
def test_no_order_saves_more_than_the_one_chosen_and_none_is_against_its_window(rows):
    jobs = [
        job(f"{at}", opens, opens + length, loss / 100.0, work, lawn=f"lawn{where}")
        for at, (opens, length, loss, work, where) in enumerate(rows)
    ]
    stops = _best_order(jobs, ELEVEN, TRAVEL)
    for stop in stops:
        assert any(low <= stop.begins <= high for low, high in stop.job.starts)
    for one, other in itertools.pairwise(stops):
        assert other.begins >= one.ends + (TRAVEL if one.job.lawn.key != other.job.lawn.key else minutes(0))
    if len(jobs) <= 5 <= EVERY_ORDER:
        # every order, walked without the code that compares them
        saved = sum(stop.job.loss for stop in stops)
        for order in itertools.permutations(jobs):
            assert sum(stop.job.loss for stop in _walk(order, ELEVEN, TRAVEL)) <= saved + 1e-3


# -- what is needed on the way


def with_neighbour(household, **given):
    one = Neighbour(**{"name": "vegetable bed", "kind": "edible", "distance": 12.0, "bearing": 90.0, **given})
    areas = household.areas.items()
    return {key: replace(area, neighbours=(one,) if key == "front" else ()) for key, area in areas}


def test_a_wind_that_turns_names_the_lawn_to_leave_and_the_next(lawn, outlook_at):
    areas = with_neighbour(outlook_at(THURSDAY_EVENING).household, sensitivity="high")
    plan = plan_round([lawn("Bed", 0, areas=areas), lawn("Free", 1)], FRIDAY, THURSDAY_EVENING, TRAVEL)
    turns = {turn.origin: turn for turn in wind_turns(plan.stops)}
    # the bed lies to the east: a west wind blows straight at it, an east wind away from it
    assert "W" in turns and "E" not in turns and "NE" not in turns
    assert [(stop.job.lawn.name, stop.job.task.area.id, name) for stop, name in turns["W"].closed] == [
        ("Bed", "front", "vegetable bed")
    ]
    assert (turns["W"].following.job.lawn.name, turns["W"].following.job.task.area.id) == ("Bed", "back")
    text = round_text(plan, THURSDAY_EVENING)
    assert "If the wind turns:" in text and "leave Bed, front lawn (vegetable bed); next Bed, back lawn" in text


def test_a_neighbour_without_a_bearing_is_reached_by_every_wind(lawn, outlook_at):
    household = outlook_at(THURSDAY_EVENING).household
    areas = with_neighbour(household, bearing=None, kind="bees", name="hives", distance=2.0)
    plan = plan_round([lawn("Hives", 0, areas=areas)], FRIDAY, THURSDAY_EVENING, TRAVEL)
    assert all(stop.job.task.area.id != "front" for stop in plan.stops)
    assert [stop.job.task.area.id for stop in plan.stops] == ["back"] and wind_turns(plan.stops) == []


def test_loads_of_the_whole_round_and_who_is_told(lawn):
    plan = plan_round([lawn("A", 0), lawn("B", 1)], FRIDAY, THURSDAY_EVENING, TRAVEL)
    text = round_text(plan, THURSDAY_EVENING)
    # by hand: 2 lawns x (3,200 + 5,400) ft^2 x 1.5 fl oz = 25.8 fl oz in 17.2 gal; 1 + 2 loads of 4 gal on each
    assert "Test Concentrate: 25.8 fl oz in 17.2 gal, 6 loads of the knapsack." in text
    assert "Tell and post" not in text


def test_for_hire_somebody_is_told_and_signs_are_posted(lawn):
    from advisor.model import Licence

    licence = Licence("Test crew", "123", date(2027, 1, 1), "456")
    plan = plan_round([lawn("A", 0, for_hire=True, licence=licence)], FRIDAY, THURSDAY_EVENING, TRAVEL)
    if not plan.stops:
        pytest.skip("the rules on hire ask for more than this household says")
    assert "post signs at the start" in round_text(plan, THURSDAY_EVENING)


def test_what_does_not_go_says_why_and_when_next(lawn):
    storm = [("2026-09-25T10:00", "2026-09-26T05:00", world.STORM)]
    plan = plan_round([lawn("Calm", 0), lawn("Windy", 1, weather=storm)], FRIDAY, THURSDAY_EVENING, TRAVEL)
    text = " ".join(round_text(plan, THURSDAY_EVENING).split())
    assert "Windy, front lawn and back lawn: gusts; next chance Saturday 26 September." in text
    assert text.startswith("Tomorrow, Friday 25 September: 1 of 2 lawns, 11:00 to ")


@pytest.mark.parametrize("count", [1, 3, 5])
def test_one_notice_for_all_in_at_most_sixty_words(lawn, outlook_at, count):
    areas = many_areas(outlook_at(THURSDAY_EVENING).household).areas
    names_of = [f"{chr(65 + at)} lawn with a rather long name" for at in range(count)]
    lawns = [lawn(name, at) for at, name in enumerate(names_of)]
    if count == 3:
        lawns[0] = lawn("Closed", 0, weather=[("2026-09-25T10:00", "2026-09-26T05:00", world.STORM)])
    assert areas
    plan = plan_round(lawns, FRIDAY, THURSDAY_EVENING, TRAVEL)
    made = round_notice(plan, THURSDAY_EVENING)
    lead, _, after = made.text.partition("Before you start:")
    assert len(lead.split()) <= MOST_WORDS and len(lead.strip().splitlines()) >= 3
    assert lead.startswith("Tomorrow, Friday 25 September: ") and "Next chance: " in lead
    assert "The product label is the law" in after and "The round:" in after and "Loads:" in after
    assert re.search(r"the oldest is \d+ (h|min) old \(", after) and made.html.startswith("<!doctype html>")


def test_nothing_goes(lawn):
    storm = [("2026-09-20", "2026-10-06", world.STORM)]
    made = round_notice(plan_round([lawn("A", 0, weather=storm)], FRIDAY, THURSDAY_EVENING, TRAVEL), THURSDAY_EVENING)
    assert made.text.splitlines()[:3] == [
        "Tomorrow, Friday 25 September: none of 1 lawns goes.", "A: gusts.",
        "Next chance: none in the days of this forecast.",
    ]  # fmt: skip


def test_chances_say_what_they_rest_on_and_open_days_are_named(lawn):
    plan = plan_round([lawn("A", 0)], FRIDAY, THURSDAY_EVENING, TRAVEL)
    (one,) = plan.lawns
    source = replace(one.outlook.forecast.provenance, spread="assumed spread")
    spread = replace(one.outlook, forecast=replace(one.outlook.forecast, provenance=source))
    open_days = replace(spread, tasks=tuple(
        replace(scored, days=tuple(replace(day, verdict="unknown") for day in scored.days)) for scored in spread.tasks
    ))  # fmt: skip
    made = round_notice(replace(plan, lawns=(replace(one, outlook=open_days),)), THURSDAY_EVENING)
    assert "Chances: assumed spread." in made.text
    assert "Next chance: no day is sure yet; Saturday 26 September is still open." in made.text


def test_json_has_no_nan_and_the_order(lawn):
    plan = plan_round([lawn("A", 0), lawn("B", 1)], FRIDAY, THURSDAY_EVENING, TRAVEL)
    whole = json.loads(json.dumps(round_object(plan, THURSDAY_EVENING), allow_nan=False))
    assert whole["schema"] == "advisor.round/1" and [stop["lawn"] for stop in whole["stops"]] == ["a", "a", "b", "b"]
    assert whole["stops"][0]["begins"] == "2026-09-25T16:00:00Z" and whole["cautions"]


# -- lawns.toml


def folder_with(tmp_path, text=None, *lawns):
    for name in lawns or ("maple", "elm"):
        world.write(tmp_path / name)
        (tmp_path / name / "lawn.toml").write_text(
            (tmp_path / name / "lawn.toml").read_text().replace("Test lawn", f"{name.title()} street")
        )
    if text is not None:
        (tmp_path / "lawns.toml").write_text(text)
    return tmp_path


def test_lawns_in_the_order_of_travel(tmp_path):
    text = 'lawns = ["maple", "elm"]\ntravel = "25 min"\n[hours]\nweekdays = "8:00-12:00"\n'
    found = read_lawns(folder_with(tmp_path, text))
    assert [one.name for one in found.folders] == ["maple", "elm"]
    assert found.travel == minutes(25) and found.hours[0] == ((time(8), time(12)),) and found.hours[6] == ()


def test_without_the_file_all_folders_by_name(tmp_path):
    assert [one.name for one in read_lawns(folder_with(tmp_path)).folders] == ["elm", "maple"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('lawns = ["mapel"]', 'did you mean "maple"?'),
        ('lawns = ["maple", "maple"]', "named twice"),
        ('lawns = ["../elsewhere"]', "outside this folder"),
        ('lawns = ["/etc"]', "outside this folder"),
        ("lawns = []", "empty"),
        ('lawns = ["maple"]\ntravel = "20 mph"', "lawns.toml:2"),
        ('lawns = ["maple"]\ncolour = "red"', 'unknown key "colour"'),
        ("lawns = [", "not valid TOML"),
    ],
)
def test_faults_are_named_with_their_line(tmp_path, text, says):
    with pytest.raises(InvalidFile) as caught:
        read_lawns(folder_with(tmp_path, text))
    assert says in str(caught.value) and "lawns.toml" in str(caught.value)


def test_a_folder_without_lawns(tmp_path):
    with pytest.raises(InvalidFile, match="no lawn here"):
        read_lawns(tmp_path)


# -- one process for all of them


def test_one_service_tells_each_customer_and_the_operator_once(tmp_path):
    text = 'lawns = ["maple", "elm"]\nevening = "18:15"\n[[channel]]\nkind = "file"\npath = "rounds"\n'
    folder = folder_with(tmp_path, text)
    clock = SetClock(THURSDAY_EVENING - minutes(5))

    def live():
        round_service = RoundService.open(folder)
        cycles = []
        for part in round_service.parts():
            store = Store.open(part.store_path)
            pull = fill(store, part) if part.occasions is not None else part.pull
            cycles.append(
                Cycle(store, clock, Plan(part.schedule, part.channels), pull=pull, decide=part.decide,
                      occasions=part.occasions, keep=part.keep)
            )  # fmt: skip
        return cycles

    def fill(store, part):
        site = RoundService.open(folder).services[0].household.site
        key, body = site_key(site), world.answer()
        return lambda now: payloads.add(
            store, source="open-meteo", site=key, url="http://x/", body=body, fetched_at=now
        )

    for beats in (2, 1):  # the second life finds everything told
        cycles = live()
        for _ in range(beats):
            for cycle in cycles:
                assert cycle.run().errors == []
            clock.advance(minutes(5))
        for cycle in cycles:
            cycle.store.close()
    # elm and maple: tomorrow's go in the evening, and the overdue follow-up
    for name in ("maple", "elm"):
        told = sorted(path.name.split("-n-")[0][11:] for path in (folder / name / "notices").iterdir())
        assert told == ["evening", "overdue"]
    (round_file,) = (folder / "rounds").iterdir()
    assert round_file.name.startswith("2026-09-24-evening")
    assert "2 of 2 lawns" in round_file.read_text()
    with Store.open_readonly(folder / "advisor.db") as store:
        (kept,) = notices.recent(store)
        assert kept.evidence["round"]["stops"]
