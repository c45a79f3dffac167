"""A new folder: loads, says what is blank, is whole or not there. Behaviour of our own, no outside source."""

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.errors import UsageError
from advisor.household import InitAnswers, check, load, write_new
from advisor.household.writer import quoted
from advisor.model import REQUIRED_LABEL_FIELDS

CHICAGO = InitAnswers(41.6, -93.6, "5000 ft^2", ("Kentucky bluegrass",))
MELBOURNE = InitAnswers(
    -37.8, 145.0, "180 m^2", ("kikuyu",), units="metric", soil="clay loam", elevation="60 m"
)


@pytest.mark.parametrize("answers, zone", [(CHICAGO, "America/Chicago"), (MELBOURNE, "Australia/Melbourne")])
def test_a_new_folder_loads_with_every_required_field_blank(tmp_path, answers, zone):
    paths = write_new(tmp_path / "lawn", answers)
    assert all(path.is_file() for path in paths)
    assert {path.name for path in paths} >= {"lawn.toml", "my-label.toml", "first-treatment.toml"}
    household = load(tmp_path / "lawn")
    assert household.site.zone.key == zone
    assert household.units == answers.units
    always = [name for name, (modes, _) in REQUIRED_LABEL_FIELDS.items() if len(modes) == 3]
    assert list(household.labels["my-label"].blank) == always
    report = check(tmp_path / "lawn")
    assert report.ok
    assert sum("is blank" in one.what for one in report.warnings) == len(always)
    assert not [one for one in report.warnings if "time_zone" in one.what]


def test_nothing_is_taken_for_granted(tmp_path):
    write_new(tmp_path / "lawn", CHICAGO)
    household = load(tmp_path / "lawn")
    site, area, sprayer = household.site, household.areas["lawn"], household.sprayers["sprayer"]
    assert [site.soil, site.elevation, site.first_frost, site.use, site.local_ban] == [None] * 5
    assert [area.irrigation, area.soil_state, area.green_share, area.open_flowers] == [None] * 4
    assert [sprayer.carrier_rate, sprayer.last_contents, sprayer.rinsed] == [None] * 3


def test_answers_come_back_as_given(tmp_path):
    answers = InitAnswers(
        -37.8,
        145.0,
        "180 m^2",
        ("couch", "kikuyu"),
        units="metric",
        name='The "old" lawn \\ # 1 § 2',
        soil="clay loam",
        elevation="60 m",
        first_frost="05-25",
        use="school",
        local_ban=True,
        irrigated=False,
        tank="5 L",
        carrier_rate="0.05 L/m^2",
        hours_weekdays="none",
        target="summer grass",
        sources=("met-norway", "open-meteo"),
    )
    write_new(tmp_path / "lawn", answers)
    household = load(tmp_path / "lawn")
    site, area = household.site, household.areas["lawn"]
    assert (household.name, site.soil, site.elevation) == (answers.name, "clay loam", 60.0)
    assert (site.first_frost, site.use, site.local_ban) == ((5, 25), "school", True)
    assert (area.size, area.turf, area.irrigation) == (180.0, ("bermudagrass", "kikuyugrass"), ())
    assert (household.sprayers["sprayer"].tank, household.sprayers["sprayer"].carrier_rate) == (5000.0, 0.05)
    assert (household.hours[0], household.settings.sources) == ((), answers.sources)
    assert household.treatments["first-treatment"].target == "summer grass"


@pytest.mark.parametrize("answers", [CHICAGO, MELBOURNE], ids=["us", "metric"])
def test_every_example_in_a_comment_is_valid(tmp_path, answers):
    """Whoever takes the # off a line gets a file that loads."""
    write_new(tmp_path / "lawn", answers)
    example = re.compile(r"^# (?=(\[\[?[a-z_.]+\]\]?|\"?[a-z_ -]+\"? = ))", re.MULTILINE)
    for path in (tmp_path / "lawn").rglob("*.toml"):
        text, count = example.subn("", path.read_text())
        assert count > 4, path
        if path.name == "lawn.toml":
            text = text.replace('irrigation = "none" ', "# irrigation ")
        if path.name == "my-label.toml":
            text = text.replace('adjuvant = "unstated"', 'adjuvant = "allowed"')
            text = text.replace("turf_species = []", 'turf_species = ["fine fescue", "couch", "kikuyu"]')
            text = text.replace('\nrate = ""', '\nrate = "6.4 mL/m^2"')
        path.write_text(text)
    report = check(tmp_path / "lawn")
    assert report.ok, [str(one) for one in report.errors]
    area = report.household.areas["lawn"]
    assert len(area.irrigation) == 1
    assert area.neighbours[0].kind == "edible"
    assert report.household.licence is not None
    assert [one["kind"] for one in report.household.notices.channels] == ["terminal", "file", "email", "webhook"]
    limits = report.household.labels["my-label"].limits
    assert {"wind_max", "delta_t_max", "water_buffer", "seeding_after"} <= set(limits)


def test_nothing_is_overwritten_unless_told(tmp_path):
    write_new(tmp_path, CHICAGO)
    kept = (tmp_path / "lawn.toml").read_text() + "\n# mine\n"
    (tmp_path / "lawn.toml").write_text(kept)
    (tmp_path / "labels" / "my-label.toml").unlink()
    with pytest.raises(UsageError, match="would be overwritten") as caught:
        write_new(tmp_path, CHICAGO)
    assert "lawn.toml" in str(caught.value)
    assert (tmp_path / "lawn.toml").read_text() == kept
    assert not (tmp_path / "labels" / "my-label.toml").exists()
    write_new(tmp_path, CHICAGO, overwrite=True)
    assert "# mine" not in (tmp_path / "lawn.toml").read_text()
    assert (tmp_path / "labels" / "my-label.toml").exists()


def test_other_files_of_the_folder_are_left_alone(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    write_new(tmp_path, CHICAGO)
    assert (tmp_path / "notes.txt").read_text() == "mine"
    assert {path.name for path in tmp_path.iterdir()} == {
        "notes.txt", "lawn.toml", "labels", "treatments", ".gitignore",
    }  # fmt: skip


@pytest.mark.parametrize(
    "answers, part",
    [
        (InitAnswers(141.6, -93.6, "5000 ft^2", ("KBG",)), "are not a place"),
        (InitAnswers(41.6, -93.6, "5000", ("KBG",)), "a unit is missing"),
        (InitAnswers(41.6, -93.6, "5000 ft^2", ("Kentuky bluegras",)), 'did you mean "Kentucky bluegrass"?'),
        (InitAnswers(41.6, -93.6, "5000 ft^2", ()), "`turf`: is empty"),
        (InitAnswers(41.6, -93.6, "5000 ft^2", ("KBG",), time_zone="America/Chicgo"), "America/Chicago"),
        (InitAnswers(41.6, -93.6, "5000 ft^2", ("KBG",), hours_weekdays="evenings"), "17:00-20:30"),
    ],
)
def test_answers_that_cannot_be_read_leave_nothing_behind(tmp_path, answers, part):
    with pytest.raises(UsageError) as caught:
        write_new(tmp_path / "lawn", answers)
    assert part in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_a_failure_while_writing_leaves_nothing_behind(tmp_path, monkeypatch):
    real = Path.write_text

    def fail(self, *arguments, **settings):
        if self.name == "first-treatment.toml":
            raise OSError(28, "No space left on device")
        return real(self, *arguments, **settings)

    monkeypatch.setattr(Path, "write_text", fail)
    with pytest.raises(OSError, match="No space"):
        write_new(tmp_path / "lawn", CHICAGO)
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_way_is_named(tmp_path):
    (tmp_path / "lawn").write_text("")
    with pytest.raises(UsageError, match="a file, not a folder"):
        write_new(tmp_path / "lawn", CHICAGO)


@settings(deadline=None)
@given(st.text(alphabet=st.characters(exclude_categories=["Cs"])))
def test_any_text_survives_being_quoted(text):
    import tomllib

    assert tomllib.loads(f"a = {quoted(text)}")["a"] == text


@settings(deadline=None)
@given(st.floats(-60, 70), st.floats(-180, 180))
def test_coordinates_survive_being_written(latitude, longitude):
    import tomllib

    from advisor.household.writer import render

    text = render(InitAnswers(latitude, longitude, "1 ha", ("KBG",), time_zone="UTC"))["lawn.toml"]
    site = tomllib.loads(text)["site"]
    assert (site["latitude"], site["longitude"]) == (latitude, longitude)
