"""One stored answer tells one story, whoever asks: the terminal, the page, the notice. Checks of our own behaviour.

An answer that does not say when it was issued has the same members in all of them, although the page's forecast is made
longer than the answer, and may have past weather laid before it.
"""

from __future__ import annotations

import json
from datetime import timedelta

import numpy as np
import pytest
from click.testing import CliRunner

from advisor.cli import cli
from advisor.messages.outlook_json import outlook_object
from advisor.service.due import Work
from advisor.sources import read_answer
from advisor.spread import apply_learned
from advisor.weather.answers import Answers, Kept
from advisor.weather.assembling import assemble, of_file
from tests.demo_page import FIXTURES, NOW, WEATHER, demo_client, demo_desk, demo_home

SOURCE, NAME = WEATHER["prairie-lawn"]
ANSWER = FIXTURES / "weather" / NAME


@pytest.fixture
def home(tmp_path):
    """The demonstration household, whose ledger holds the answer."""
    return demo_home(tmp_path)


def terminal(*words: str, home):
    arguments = [*words, "--home", home, "--weather", ANSWER, "--now", NOW.isoformat(), "--json"]
    done = CliRunner().invoke(cli, [str(one) for one in arguments], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def told(outlook: dict) -> list:
    """What is said of each area and day that the answer reaches."""
    return [
        {
            "area": treatment["area"],
            **{key: day[key] for key in ("date", "verdict", "windows", "chance", "tightest_rule")},
        }
        for treatment in outlook["treatments"]
        for day in treatment["days"]
    ]


def test_terminal_and_page_and_notice_tell_the_same_days(home):
    here = told(terminal("outlook", home=home))
    assert any(day["windows"] for day in here)
    client, desk = demo_client(home)
    served, _ = desk.service.outlook(NOW)
    page = client.get("/index.json", headers={"Host": "localhost"}).get_json()
    work = Work("evening", "evening", NOW.date(), NOW, NOW + timedelta(hours=6))
    (notice,) = desk.service.decide(work, NOW)
    desk.close()
    assert served.forecast.hours > read_answer(ANSWER.read_bytes()).hours, (
        "eight days, whatever the answer holds"
    )
    assert told(outlook_object(served)) == here
    assert told(page) == here
    assert told(notice.evidence["outlook"]) == here


def test_members_do_not_depend_on_when_the_answer_came_nor_on_what_is_laid_around_it(home):
    desk = demo_desk(home)
    household = desk.service.household
    desk.close()

    def wind(forecast):
        made = apply_learned(forecast, NOW, None, 51, "here").values("wind_speed_10m")[0]
        begin = forecast.index(np.datetime64(NOW.replace(tzinfo=None), "h"))
        return made[:, begin : begin + 96]

    stored = of_file(household, read_answer(ANSWER.read_bytes(), fetched_at=NOW), NOW)
    fetched = NOW - timedelta(hours=7)
    kept = Kept("forecast", SOURCE, "", fetched, fetched, body=ANSWER.read_bytes())
    served = assemble(household, Answers((kept,)), NOW).forecast
    assert served.hours > stored.hours
    # the same pattern of errors, although their sizes count from when the answer came
    one, other = wind(stored), wind(served)
    assert not np.array_equal(one, other)
    np.testing.assert_array_equal(one.argsort(axis=0), other.argsort(axis=0))
