"""`check`: what is blank or doubtful, what is not stated and what happens then. Behaviour of our own."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from advisor.household import check
from advisor.household.blanks import OPTIONAL_LABEL_FIELDS
from advisor.household.fields import COMPASS
from advisor.household.label_file import LABEL_BOUNDS, LabelFile
from advisor.household.lawn_file import ChannelTable
from advisor.household.vocabulary import CHANNEL_KINDS
from advisor.model import LABEL_QUANTITIES, RATE_FIELDS, REQUIRED_LABEL_FIELDS
from advisor.rule_files import load_rules
from advisor.units import show
from tests.household.folder import LABEL, LAWN, TREATMENT, changed, line_with, write

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
NOW = datetime(2026, 9, 21, 12, tzinfo=UTC)


def told(problems, where):
    return [str(problem) for problem in problems if problem.where == where]


def test_blank_required_fields_are_listed_with_their_lines(tmp_path):
    text = LABEL.replace('"6 h"', '""').replace('re_entry = "when dry"\n', "")
    report = check(write(tmp_path, {"labels/concentrate.toml": text}))
    assert report.ok
    line = line_with(text, "rainfast_time")
    (blank,) = told(report.warnings, f"labels/concentrate.toml:{line}")
    assert "`rainfast_time` is blank (how long it needs to stay dry)" in blank
    assert "unknown until it is filled in" in blank
    (absent,) = [one for one in told(report.warnings, "labels/concentrate.toml:1") if "re_entry" in one]
    assert "when people and pets may go back" in absent
    assert any("blank: rainfast_time, re_entry" in line for line in report.understood)


def test_what_is_not_stated_is_told_with_the_default_of_the_rule(tmp_path):
    """The numbers come from the rule files, so that they cannot drift apart."""
    report = check(write(tmp_path, changed("labels/concentrate.toml", 'wind_max = "10 mph"\n', "")))
    default = load_rules().rules["wind-strong"].at_most.default
    (note,) = [str(one) for one in report.notes if "`wind_max`" in one.what]
    assert f"rule wind-strong holds with its own {show(default, 'speed', 'us')}" in note
    assert not [one for one in report.notes if "`temperature_max`" in one.what]


def test_notes_follow_mode_and_units(tmp_path):
    texts = {
        "lawn.toml": LAWN.replace('units = "us"', 'units = "metric"'),
        "labels/concentrate.toml": LABEL.replace('mode = "foliar"', 'mode = "soil"'),
    }
    names = [one.what.split("`")[1] for one in check(write(tmp_path, texts)).notes if "labels/" in one.where]
    assert "dry_before" not in names
    assert "gust_max" in names
    note = next(one.what for one in check(tmp_path).notes if "`gust_max`" in one.what)
    assert note.endswith("m/s")


def test_a_label_looser_than_a_cap_is_told(tmp_path):
    report = check(write(tmp_path, changed("labels/concentrate.toml", '"10 mph"', '"15 mph"')))
    (note,) = [str(one) for one in report.notes if one.what.startswith("wind_max")]
    assert "looser than rule wind-strong lets it be: 10.0 mph holds" in note
    assert f"labels/concentrate.toml:{line_with(LABEL, 'wind_max')}:" in note
    report = check(write(tmp_path, changed("labels/concentrate.toml", '"10 mph"', '"9 mph"')))
    assert not [one for one in report.notes if one.what.startswith("wind_max")]


def test_rules_for_volatile_products_are_only_told_of_for_those(tmp_path):
    """Rule vapour caps temperature_max lower than rule air-hot does."""
    rules = load_rules().rules
    assert rules["vapour"].at_most.cap < rules["air-hot"].at_most.cap
    hot = LABEL.replace("85 degF", "88 degF")
    calm = check(write(tmp_path, {"labels/concentrate.toml": hot}))
    assert not [one for one in calm.notes if "rule vapour" in one.what]
    fuming = check(
        write(tmp_path, {"labels/concentrate.toml": hot.replace("wind_max", "volatile = true\nwind_max")})
    )
    assert [one for one in fuming.notes if "looser than rule vapour" in one.what]


def test_every_optional_field_is_one_of_the_label_and_has_words():
    fields = set(LabelFile.model_fields)
    assert set(OPTIONAL_LABEL_FIELDS) <= fields
    required = set(REQUIRED_LABEL_FIELDS)
    assert not required & set(OPTIONAL_LABEL_FIELDS)
    silent = {"formulation", "turf_rates", "turf_shares", "year_starts", "invented", "adjuvant_share"}
    assert fields == required | set(OPTIONAL_LABEL_FIELDS) | silent


def test_every_quantity_of_a_label_has_bounds_and_every_rule_finds_its_field():
    assert set(LABEL_BOUNDS) | set(RATE_FIELDS) | {"maximum_passes_per_year"} == set(LABEL_QUANTITIES)
    for rule in load_rules():
        for field in rule.label_fields:
            assert field in LabelFile.model_fields


def test_channels_are_those_that_notices_can_go_to():
    from advisor.notify import kinds

    assert set(CHANNEL_KINDS) == set(kinds())
    assert {key for wants in CHANNEL_KINDS.values() for key in wants} <= set(ChannelTable.model_fields)


# file, what is there, what is put there, the line named holds this, parts of the warning
WARNINGS = [
    ("lawn.toml", "America/Chicago", "Europe/Paris", "time_zone", ["lie in America/Chicago", "time_zone ="]),
    ("lawn.toml", "-93.6", "93.6", "time_zone", ["coordinates lie in", "west and south are negative"]),
    ("lawn.toml", '"10-08"', '"05-08"', "first_frost", ["no autumn date of the northern hemisphere"]),
    ("lawn.toml", "safety = 0.95", "safety = 0.5", "safety", ["50%, below the usual 95%"]),
    ("lawn.toml", "soil_seen = 2026-09-20\n", "", "soil_state", ["no soil_seen", "cannot be used"]),
    (
        "lawn.toml", 'soil_state = "moist"\nsoil_seen = 2026-09-20\n', 'soil_seen_at = "07:30"\n', "soil_seen_at",
        ["no soil_seen", "write soil_seen = "],
    ),
    ("lawn.toml", 'slope = "gentle"', 'turf_season = "warm-season"', "turf_season", ["is cool-season turf"]),
    ("lawn.toml", 'slope = "gentle"', "next_mowing = 2026-09-02", "next_mowing", ["has passed"]),
    ("lawn.toml", 'slope = "gentle"', "seeded_on = 2026-05-02", "seeded_on", ["no mowings_since_seeding"]),
    ("lawn.toml", "rinsed = true\n", "", "[[sprayer]]", ["neither last_contents nor rinsed"]),
    ("lawn.toml", 'carrier_rate = "1 gal/1000 ft^2"\n', "", "[[sprayer]]", ["carrier_rate", "calibrate"]),
    ("lawn.toml", 'units = "us"', 'units = "us"\nfor_hire = true', "for_hire", ["needs a licence number"]),
    ("labels/concentrate.toml", '["home-lawn"]', '["park"]', None, ["home-lawn", "does not list"]),
    ("labels/concentrate.toml", '"tall fescue"]', '"zoysia"]', None, ["tall fescue", "does not list"]),
    (
        "labels/concentrate.toml",
        'mode = "foliar"',
        'mode = "foliar"\nadjuvant = "required"',
        "adjuvant",
        ["0.25"],
    ),
    ("treatments/broadleaf.toml", "passes = 2", "passes = 3", "passes", ["come to more than", "3.00 fl oz"]),
]


@pytest.mark.parametrize("row", WARNINGS, ids=lambda row: row[2][:30])
def test_what_is_doubtful_is_warned_of_and_loads(tmp_path, row):
    name, old, new, at, parts = row
    texts = changed(name, old, new)
    report = check(write(tmp_path, texts), now=NOW)
    assert report.ok, [str(one) for one in report.errors]
    if at is None:
        found = [str(one) for one in report.warnings if one.where.startswith("treatments/broadleaf.toml:")]
    else:
        found = told(report.warnings, f"{name}:{line_with(texts[name], at)}")
    assert any(all(part in one for part in parts) for one in found), [str(one) for one in report.warnings]


def test_the_untouched_household_has_no_warnings(tmp_path):
    report = check(write(tmp_path), now=NOW)
    assert report.ok
    assert report.warnings == ()


@pytest.mark.parametrize("name", ["prairie-lawn", "southern-lawn"])
def test_the_demonstration_households_have_neither_errors_nor_warnings(name):
    report = check(FIXTURES / name, now=NOW)
    assert (report.errors, report.warnings) == ((), ())
    assert report.household is not None


def test_work_for_hire_is_told_of_terms_and_a_licence_that_ran_out(tmp_path):
    text = LAWN.replace('units = "us"', 'units = "us"\nfor_hire = true')
    text += '\n[licence]\nnumber = "12"\nvalid_until = 2026-09-20\n'
    report = check(write(tmp_path, {"lawn.toml": text}), now=NOW)
    assert any("ran out on 2026-09-20" in one.what for one in report.warnings)
    text = text.replace("[licence]", '[weather]\nsources = ["open-meteo"]\n[licence]')
    report = check(write(tmp_path, {"lawn.toml": text}), now=NOW)
    assert any("do not cover work for hire" in one.what for one in report.warnings)


def test_other_names_of_the_same_clock_are_no_mismatch(tmp_path):
    for zone in ("US/Central", "America/Menominee"):
        report = check(write(tmp_path, changed("lawn.toml", "America/Chicago", zone)))
        assert not [one for one in report.warnings if "time_zone" in one.what]


def test_folders_in_the_wrong_place_are_noticed(tmp_path):
    write(tmp_path)
    (tmp_path / "labels").rename(tmp_path / "label")
    for path in (tmp_path / "treatments").iterdir():
        path.unlink()
    (tmp_path / "treatments").rmdir()
    (tmp_path / "history.csv").unlink()
    report = check(tmp_path)
    (warning,) = [one for one in report.warnings if one.where == "labels/"]
    assert 'is it in "label"?' in warning.hint


def test_errors_leave_nothing_understood_but_blanks_are_still_listed(tmp_path):
    texts = {
        **changed("lawn.toml", "41.6", "141.6"),
        "labels/concentrate.toml": LABEL.replace('"when dry"', '""'),
        "treatments/broadleaf.toml": TREATMENT,
    }
    report = check(write(tmp_path, texts))
    assert not report.ok
    assert report.household is None
    assert report.understood == ()
    assert any("`re_entry` is blank" in one.what for one in report.warnings)


def test_the_summary_names_what_counts():
    lines = "\n".join(check(FIXTURES / "prairie-lawn").understood)
    for part in (
        "41.6° N, 93.6° W",
        "America/Chicago",
        "3,200 ft²",
        "2 waterings a week",
        "holds 4 gal",
        "1.50 fl oz/1,000 ft²",
        "interval 14 days",
        "2 passes",
        "the last on 2026-08-25",
    ):
        assert part in lines, part


def test_the_compass_is_whole():
    assert len(set(COMPASS)) == 16
    assert COMPASS[::4] == ("N", "E", "S", "W")
