"""Forms: what is written, what is refused, and that what was told is used. Checks of our own behaviour."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime

import pytest

from advisor.store import Store, measurements, records
from tests.web.reading import seen, token

TASK = "broadleaf-autumn/front"


def send(client, form: str, **fields):
    return client.post(f"/tell/{form}", data={"token": token(client), **fields})


def kept(desk, kind: str):
    with Store.open_readonly(desk.database) as store:
        return measurements.of_subject(store, kind)


def passes(desk):
    with Store.open_readonly(desk.database) as store:
        return records.current_entries(store)


def drought(client, area: str) -> list[str]:
    """Days on which the rule on dry soil says no-go."""
    twin = client.get("/index.json").get_json()
    days = next(one["days"] for one in twin["treatments"] if one["area"] == area)
    return [
        day["date"] for day in days
        if any(one["rule"] == "moisture-stress" and one["verdict"] == "no-go" for one in day["reasons"])
    ]  # fmt: skip


def test_a_look_at_the_soil_is_written_down_and_used(writing):
    client, desk, _ = writing
    before = client.get("/index.json").get_json()
    response = send(client, "soil", area="front", state="dry", on="2026-09-21")
    assert response.status_code == 303
    page = client.get(response.headers["Location"])
    assert "Written down: The soil of front lawn was dry on 2026-09-21." in seen(page).words
    assert [(one.subject, one.data["state"]) for one in kept(desk, "soil")] == [("front", "dry")]
    after = client.get("/index.json").get_json()
    assert len(drought(client, "front")) >= 3
    fronts = [
        next(one["days"] for one in twin["treatments"] if one["area"] == "front") for twin in (before, after)
    ]
    assert {day["verdict"] for day in fronts[0]} != {day["verdict"] for day in fronts[1]}
    assert "soil" in client.get("/settings").get_data(as_text=True)
    assert "dry, seen 2026-09-21" in seen(client.get("/settings")).words


def test_a_watering_after_the_look_is_written_down_and_used(writing):
    client, desk, _ = writing
    send(client, "soil", area="front", state="dry", on="2026-09-21")
    before = drought(client, "front")
    assert len(before) >= 3
    response = send(client, "irrigated", area="front", on="2026-09-21", at="06:10", depth="1.5")
    assert response.status_code == 303
    # 1 in = 25.4 mm exactly
    assert kept(desk, "irrigated")[0].data["depth"] == pytest.approx(38.1)
    # what was watered today is in the soil tomorrow
    after = drought(client, "front")
    assert set(after) < set(before) and "2026-09-22" in before and "2026-09-22" not in after
    assert "Front lawn was watered with 1.50 in on 2026-09-21 at 06:10." in seen(client.get("/tell")).words


def test_a_pass_is_written_down_and_the_sequence_moves_on(writing):
    client, desk, _ = writing
    fields = {"task": TASK, "on": "2026-09-20", "began": "17:05", "ended": "17:27", "amount": "4.8", "size": "3200",
              "who": "householder", "note": "mild <b>"}  # fmt: skip
    response = send(client, "done", **fields)
    assert response.status_code == 303, seen(response).words
    assert (
        "A pass was made on front lawn, Sun 20 Sep 2026, 17:05 CDT."
        in seen(client.get(response.headers["Location"])).words
    )
    (entry,) = passes(desk)
    found = entry.record
    assert (found.area, found.treatment, found.product) == (
        "front",
        "broadleaf-autumn",
        "Demo Broadleaf Concentrate",
    )
    assert found.active_ingredients == ("exemplic acid", "samplopyr")
    # 17:05 in Chicago in September is 22:05 UTC
    assert found.started_at == datetime(2026, 9, 20, 22, 5, tzinfo=UTC)
    # 1 US fl oz = 29.5735 mL, 1 ft = 0.3048 m: NIST SP 811
    assert found.amount == pytest.approx(4.8 * 29.5735295625) and found.size == pytest.approx(
        3200 * 0.3048**2
    )
    assert entry.extra["registration_number"] == "DEMO-0001"
    twin = client.get("/index.json").get_json()
    assert "front" not in {one["area"] for one in twin["treatments"]}, "its two passes are made"
    words = seen(client.get("/records")).words
    assert "4.8 fl oz" in words and "3,200 ft²" in words and "mild <b>" in words


def test_the_same_pass_sent_twice_is_one_row(writing):
    client, desk, _ = writing
    fields = {"task": TASK, "on": "2026-09-20", "began": "17:05", "amount": "4.8", "size": "3200"}
    first, second = send(client, "done", **fields), send(client, "done", **fields)
    assert first.status_code == second.status_code == 303
    assert first.headers["Location"] == second.headers["Location"]
    assert len(passes(desk)) == 1


def test_a_deed_that_should_not_have_been_done_is_recorded_only_when_it_is_confirmed(writing):
    client, desk, _ = writing
    fields = {"task": TASK, "on": "2026-09-20", "began": "17:05", "amount": "20", "size": "3200"}
    response = send(client, "done", **fields)
    assert response.status_code == 422 and not passes(desk)
    words = re.sub(r"\s+", " ", seen(response).words)
    assert (
        "Nothing was written" in words
        and "the label allows" in words
        and "It happened so, all the same" in words
    )
    assert 'value="20"' in response.get_data(as_text=True), "what was typed stays"
    response = send(client, "done", as_it_happened="yes", **fields)
    assert response.status_code == 303
    assert passes(desk)[0].extra["flags"] and passes(desk)[0].extra["as_it_happened"] is True


@pytest.mark.parametrize(
    ("form", "fields", "field", "says"),
    [
        ("done", {"task": TASK, "on": "2026-09-22", "began": "10:00"}, "on", "future"),
        ("done", {"task": TASK, "on": "2026-09-21", "began": "11:00"}, "record", "future"),
        ("done", {"task": TASK, "on": "2026-09-20", "began": "half past five"}, "began", "hours and minutes"),
        ("done", {"task": "x/y", "on": "2026-09-20", "began": "10:00"}, "task", "Choose"),
        ("done", {"task": TASK, "on": "2026-09-20", "began": "10:00", "amount": "-3"}, "amount", "not between"),
        ("done", {"task": TASK, "on": "2026-09-20", "began": "10:00", "amount": "nan"}, "amount", "not between"),
        ("done", {"task": TASK, "on": "2026-09-20", "began": "10:00", "amount": "3 mph"}, "amount", "cannot be read"),
        ("done", {"task": TASK, "on": "2026-09-20", "began": "10:00", "note": "x" * 500}, "note", "longer than"),
        ("missed", {"task": TASK, "on": "2026-13-40"}, "on", "year-month-day"),
        ("missed", {"task": TASK, "on": "1999-01-01"}, "on", "ten years"),
        ("soil", {"area": "front", "state": "soggy"}, "state", "Choose"),
        ("soil", {"area": "../back", "state": "dry"}, "area", "Choose"),
        ("soil", {"area": "front"}, "state", "Choose one"),
        ("irrigated", {"area": "front", "at": "06:00", "depth": ""}, "depth", "number is needed"),
        ("irrigated", {"area": "front", "at": "06:00", "depth": "1e9"}, "depth", "not between"),
        ("irrigated", {"area": "front", "at": "23:00", "depth": "0.5"}, "at", "future"),
        ("cover", {"task": TASK, "cover": "101"}, "cover", "not between"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_beside_its_field(writing, form, fields, field, says):
    client, desk, _ = writing
    response = send(client, form, **fields)
    assert response.status_code == 422
    page = response.get_data(as_text=True)
    assert "Nothing was written" in page
    if field != "record":
        told = re.search(rf'id="fault-{form}-{field}">([^<]*)<', page)
        assert told and says in told.group(1)
    else:
        assert says in page
    assert not passes(desk) and not any(kept(desk, kind) for kind in ("soil", "irrigated", "missed", "cover"))


def test_a_missed_pass_stands_on_the_time_line(writing):
    client, desk, _ = writing
    assert send(client, "missed", task=TASK, on="2026-09-12", note="away").status_code == 303
    assert kept(desk, "missed")[0].data["treatment"] == "broadleaf-autumn"
    words = seen(client.get("/sequence")).words
    assert "Told as missed" in words and "missed, Sat 12 Sep" in words
    twin = client.get("/sequence.json").get_json()["sequences"]
    assert [one["missed"] for one in twin if one["area"] == "front"][0][0]["on"] == "2026-09-12"


def test_the_cover_of_weeds_is_written_down(writing):
    client, desk, _ = writing
    assert send(client, "cover", task=TASK, on="2026-09-20", cover="12.5", untreated="30").status_code == 303
    (one,) = kept(desk, "cover")
    assert one.subject == TASK and one.data == {"cover": 12.5, "untreated": 30.0}
    # noon in Chicago in September is 17:00 UTC
    assert one.taken_at == datetime(2026, 9, 20, 17, tzinfo=UTC)
    assert (
        "Weeds covered 12.5 % of front lawn, and 30 % of the untreated strip"
        in seen(client.get("/tell")).words
    )


def test_quantities_may_carry_a_unit_of_their_own(writing):
    client, desk, _ = writing
    assert (
        send(client, "irrigated", area="back", on="2026-09-20", at="05:00", depth="12 mm").status_code == 303
    )
    assert kept(desk, "irrigated")[0].data["depth"] == pytest.approx(12.0)


def test_a_form_counts_in_the_units_in_which_it_was_shown(writing):
    client, desk, _ = writing
    page = client.get("/tell").get_data(as_text=True)
    assert 'name="units" value="us"' in page
    given = {
        "token": token(client),
        "units": "us",
        "area": "back",
        "on": "2026-09-20",
        "at": "05:00",
        "depth": "0.5",
    }
    client.get("/units/metric")
    assert client.post("/tell/irrigated", data=given).status_code == 303
    # 0.5 in = 12.7 mm exactly
    assert kept(desk, "irrigated")[0].data["depth"] == pytest.approx(12.7)


def test_nothing_that_was_told_is_changed_or_lost(writing):
    client, desk, _ = writing
    for state in ("dry", "moist", "wet"):
        send(client, "soil", area="front", state=state, on="2026-09-21")
    assert [one.data["state"] for one in kept(desk, "soil")] == ["dry", "moist", "wet"]
    assert desk.scene().household.areas["front"].soil_state == "wet"
    assert desk.scene().household.areas["back"].soil_seen == date(2026, 9, 20)
