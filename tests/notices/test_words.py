"""What notices say, in which order and in how many words. Checks of our own behaviour, no outside source."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser

import pytest

from advisor.messages.notice import (
    KINDS,
    MOST_WORDS,
    make_closing,
    make_follow_up,
    make_notice,
    make_overdue,
    make_source_down,
)
from advisor.messages.notice.layout import CAUTIONS_TITLE, Parts, as_html, as_text, words

from .conftest import FRIDAY_MORNING, MONDAY, THURSDAY_EVENING, many_areas

HOUR = timedelta(hours=1)


def every_kind(outlook):
    found = [make_notice(outlook, kind) for kind in ("evening", "morning", "changed")]
    found += [make_closing(outlook), make_follow_up(outlook), make_overdue(outlook)]
    found.append(make_source_down(outlook, outlook.now - 13 * HOUR, "Open-Meteo: no connection."))
    return [one for one in found if one is not None]


def before_cautions(text):
    return text.partition(CAUTIONS_TITLE)[0]


@pytest.fixture(scope="module", params=["monday", "thursday evening", "friday morning", "many areas", "metric"])
def outlook(request, outlook_at):
    return {
        "monday": lambda: outlook_at(MONDAY),
        "thursday evening": lambda: outlook_at(THURSDAY_EVENING),
        "friday morning": lambda: outlook_at(FRIDAY_MORNING),
        "many areas": lambda: outlook_at(THURSDAY_EVENING, many_areas),
        "metric": lambda: outlook_at(THURSDAY_EVENING, lambda one: replace(one, units="metric")),
    }[request.param]()


def test_every_notice_says_answer_reason_and_next_chance_in_at_most_sixty_words(outlook):
    made = every_kind(outlook)
    assert len(made) >= 4
    for one in made:
        lead = before_cautions(one.text)
        assert len(lead.split()) <= MOST_WORDS == 60, lead
        lines = lead.strip().splitlines()
        assert len(lines) >= 3
        assert lines[0].rstrip(".") == one.subject, "the first line is the answer, and the subject too"
        assert any(line.startswith(("Next chance", "Next:")) for line in lines)


def test_every_notice_carries_all_cautions_the_place_and_the_age_of_the_forecast(outlook):
    for one in every_kind(outlook):
        after = one.text.partition(CAUTIONS_TITLE)[2]
        assert "The product label is the law" in after
        assert "no legal advice" in after and "invented product" in after
        assert "Test lawn" in after and "CDT" in after
        assert re.search(r"Forecast: .*, fetched .* ago", after)


class Words(HTMLParser):
    def __init__(self):
        super().__init__()
        self.found, self.tags, self.inside = [], set(), []

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.inside.append(tag)
        assert not {name for name, _ in attrs} - {"style", "lang", "charset"}

    def handle_endtag(self, tag):
        self.inside.remove(tag)

    def handle_data(self, data):
        if "title" not in self.inside:
            self.found += data.split()


def test_the_html_says_the_same_words_and_loads_nothing(outlook):
    for one in every_kind(outlook):
        page = Words()
        page.feed(one.html)
        plain = [word for line in one.text.splitlines() for word in line.removeprefix("- ").split()]
        assert page.found == plain
        assert not page.tags & {"script", "img", "link", "iframe", "form", "a"}
        assert "http" not in one.html


def test_what_people_wrote_is_escaped(outlook_at):
    evil = '<script>alert("x")</script> & co'

    def rename(household):
        areas = {key: replace(area, name=evil) for key, area in household.areas.items()}
        return replace(household, name=evil, areas=areas)

    for one in every_kind(outlook_at(THURSDAY_EVENING, rename)):
        assert "<script" not in one.html and "&lt;script&gt;" in one.html
        page = Words()
        page.feed(one.html)
        assert "script" not in page.tags


def test_it_reads_well_aloud(thursday_evening):
    """Days and months are whole words, and the sentences end."""
    lead = before_cautions(make_notice(thursday_evening, "evening").text).strip().splitlines()
    assert lead[0] == (
        "Tomorrow, Friday 25 September: go for front lawn and back lawn, start between 11:00 and 16:00."
    )
    assert lead[1].startswith("Chance that everything holds: 100%.")
    assert lead[2] == "Next chance: Monday 28 September from 11:00."
    assert lead[3].startswith("Go rather than wait: ")
    assert lead[5] == (
        "Mix of Test Concentrate: front lawn 4.8 fl oz in 3.2 gal; back lawn 8.1 fl oz in 5.4 gal, 2 loads."
    )
    assert all(line.endswith(".") for line in lead if line)


def test_a_no_names_what_stands_in_the_way_and_when_it_opens(monday):
    lines = make_notice(monday, "evening").text.splitlines()
    assert lines[0] == "Tomorrow, Tuesday 22 September: no-go for front lawn and back lawn."
    assert lines[1].startswith("Gusts alone")
    assert lines[2] == "Next chance: Friday 25 September from 11:00."


def test_one_notice_speaks_for_all_areas_each_with_its_own_answer(outlook_at):
    def dormant_back(household):
        back = replace(household.areas["back"], turf_state="dormant")
        return replace(household, areas={**household.areas, "back": back})

    lines = make_notice(outlook_at(FRIDAY_MORNING, dormant_back), "morning").text.splitlines()
    assert lines[0] == (
        "Today, Friday 25 September: go for front lawn, start between 11:00 and 16:00; no-go for back lawn."
    )
    assert "Mix of Test Concentrate: front lawn 4.8 fl oz in 3.2 gal." in lines


def test_several_treatments_are_told_apart(outlook_at):
    def two(household):
        first = household.treatments["broadleaf"]
        other = replace(first, id="other", name="Other weeds", areas=("front",))
        return replace(household, treatments={"broadleaf": first, "other": other})

    first = make_notice(outlook_at(FRIDAY_MORNING, two), "morning").text.splitlines()[0]
    assert "front lawn (Broadleaf weeds)" in first and "front lawn (Other weeds)" in first


def test_many_areas_are_counted_and_their_mix_stands_below(outlook_at):
    made = make_notice(outlook_at(THURSDAY_EVENING, many_areas), "evening")
    lead, _, after = made.text.partition(CAUTIONS_TITLE)
    assert "more areas" in lead and "Mix for 7 areas: see below." in lead
    assert after.count("fl oz of Test Concentrate") == 7


def test_the_answer_changes_with_the_starts_and_says_with_what_is_worth_telling(thursday_evening):
    one = make_notice(thursday_evening, "evening")
    assert one.verdicts == {"broadleaf/front#2": "go", "broadleaf/back#2": "go"}
    assert one.windows["broadleaf/front#2"] == (("2026-09-25T16:00:00Z", "2026-09-25T21:00:00Z"),)
    assert "2026-09-25T16:00:00Z/2026-09-25T21:00:00Z" in one.answer


def test_a_window_that_closes(outlook_at, monday):
    afternoon = outlook_at(datetime(2026, 9, 25, 20, 10, tzinfo=UTC))
    first = make_closing(afternoon).text.splitlines()[0]
    assert first == "Window closing in 50 minutes: last start today, front lawn and back lawn at 16:00."
    assert make_closing(monday) is None


def test_follow_up_and_overdue_name_pass_areas_and_dates(monday, outlook_at):
    assert make_overdue(monday).text.splitlines()[0] == (
        "Overdue: pass 2 on front lawn and back lawn was wanted by Tuesday 15 September, 6 days ago."
    )
    early = outlook_at(datetime(2026, 9, 10, 11, tzinfo=UTC))
    assert make_follow_up(early).text.splitlines()[0] == (
        "Follow-up due: pass 2 on front lawn and back lawn, wanted from now to Tuesday 15 September."
    )
    assert make_overdue(early) is None
    only_front = make_overdue(monday, lambda scored: scored.task.area.id == "front")
    assert "front lawn was" in only_front.subject and "back" not in only_front.subject


def test_nothing_is_said_where_no_pass_is_open(monday):
    nothing = replace(monday, tasks=())
    assert make_notice(nothing, "evening") is None
    assert make_closing(nothing) is make_follow_up(nothing) is make_overdue(nothing) is None
    assert make_source_down(nothing, MONDAY) is None


def test_of_stale_weather_it_is_not_said_that_a_window_is_unlikely(outlook_at):
    """Half a day without a new answer tells nothing of the weeks that are left."""
    stale = make_notice(outlook_at(MONDAY, fetched=MONDAY - 20 * HOUR), "evening")
    assert "stale" in before_cautions(stale.text)
    assert "Wait: nothing is known yet of a good window by 5 November." in stale.text


def test_a_source_that_is_silent(monday):
    made = make_source_down(monday, MONDAY - 13 * HOUR, "Open-Meteo: no connection.")
    assert made.text.splitlines()[0] == "No new forecast for 13 hours, since Sunday 20 September 18:00."
    assert "Open-Meteo: no connection." in made.text
    # Monday is windy: known from the last answer, and no go
    assert "Today is no go." in made.text and "not known" not in before_cautions(made.text)
    assert make_source_down(monday, None).text.startswith("No forecast: no weather source has answered yet.")


def test_the_kinds_are_those_of_the_command():
    from advisor.cli.notice import KINDS as OFFERED

    assert OFFERED == KINDS


@pytest.mark.parametrize("length", [5, 25, 80, 400])
def test_what_does_not_fit_is_shortened_from_the_reason_never_from_the_answer(length):
    parts = Parts(
        "Tomorrow: go for the front lawn.",
        [" ".join(["reason"] * length), "Short reason."],
        "Next chance: Friday.",
        "Go rather than wait.",
        ["Mix: " + "much " * 30, "Mix: see below."],
        ["detail"],
        ["The label is the law."],
        ["Foot"],
    )
    lines, mix = parts.lead()
    assert words([*lines, mix]) <= MOST_WORDS
    assert lines[0] == parts.answer and parts.chance in lines
    assert ("detail" in as_text(parts)) == (mix != parts.mix[0])
    assert as_html(parts, "s").count("<li>") == 1 + (mix != parts.mix[0])


def test_even_a_reason_without_a_short_form_leaves_the_next_chance():
    parts = Parts("Answer.", [" ".join(["why"] * 200)], "Next chance: Friday.", "wait " * 50)
    lines, _ = parts.lead()
    assert lines[0] == "Answer." and lines[-1] == "Next chance: Friday." and lines[1].endswith("why...")
    assert words(lines) <= MOST_WORDS
