"""Broken files: every fault is named with its file and line, what is wrong, and what to write instead.

Behaviour of our own, no outside source.
"""

from datetime import UTC, datetime

import pytest

from advisor.errors import InvalidFile
from advisor.household import load
from tests.household.folder import LABEL, LAWN, TEXTS, changed, line_with, write

NOW = datetime(2026, 9, 21, 12, tzinfo=UTC)
LAWN_FILE, LABEL_FILE, TREATMENT_FILE = "lawn.toml", "labels/concentrate.toml", "treatments/broadleaf.toml"

# file, what is there, what is put there, the line named holds this, parts of the message
ROWS = [
    # keys
    (
        LAWN_FILE,
        'soil = "silt',
        'sol = "silt',
        "sol =",
        ['unknown key "sol" in [site]', 'did you mean "soil"?'],
    ),
    (LAWN_FILE, "[floors]", "[flors]", "[flors]", ['unknown key "flors"', 'did you mean "floors"?']),
    (LAWN_FILE, "safety = 0.95", "safty = 0.95", "safty", ['"safty" in [floors]', 'did you mean "safety"?']),
    (
        LAWN_FILE,
        'units = "us"',
        'units = "us"\nlatitude = 4.0',
        "latitude = 4.0",
        ["under the header [site]"],
    ),
    (
        LAWN_FILE,
        "[floors]",
        "for_hire = true\n[floors]",
        "for_hire",
        ["at the top of the file, before any [table]"],
    ),
    (LAWN_FILE, 'id = "back"\n', "", 'size = "5400', ["`id` is missing in [area]", 'write id = "front"'], -1),
    (LAWN_FILE, "latitude = 41.6\n", "", "[site]", ["`latitude` is missing in [site]", "north positive"]),
    (
        LAWN_FILE,
        'distance = "12 ft"\n',
        "",
        "[[area.neighbour]]",
        ["`distance` is missing in [area.neighbour]"],
    ),
    (LAWN_FILE, 'kind = "edible"', 'kind = ""', "[[area.neighbour]]", ["`kind` is missing", "edible"]),
    (
        LABEL_FILE,
        'wind_max = "10 mph"',
        'wind_maximum = "10 mph"',
        "wind_maximum",
        ['did you mean "wind_max"?'],
    ),
    (TREATMENT_FILE, "passes = 2", "pases = 2", "pases", ['did you mean "passes"?']),
    (
        TREATMENT_FILE,
        'sprayer = "knapsack"\n',
        "",
        'name = "Broad',
        ["`sprayer` is missing", "an id from lawn.toml"],
    ),
    # words
    (
        LAWN_FILE,
        'units = "us"',
        'units = "metrik"',
        "metrik",
        ["not a unit system", 'did you mean "metric"?'],
    ),
    (LAWN_FILE, '"silt loam"', '"silty lome"', "silty lome", ["not a soil texture", 'did you mean "silt']),
    (
        LAWN_FILE,
        '["Kentucky bluegrass"]',
        '["Kentuky bluegras"]',
        "Kentuky",
        ['did you mean "Kentucky bluegrass"?'],
    ),
    (
        LAWN_FILE,
        '["Kentucky bluegrass"]',
        '["buffalo grass"]',
        "buffalo grass",
        ["two grasses", "St. Augustinegrass"],
    ),
    (LAWN_FILE, 'kind = "edible"', 'kind = "eatable"', "eatable", ["not a kind of neighbour", "edible"]),
    (LAWN_FILE, 'soil_state = "moist"', 'soil_state = "moister"', "moister", ['did you mean "moist"?']),
    (LAWN_FILE, '"Tue"', '"Tus"', "Tus", ['"Tus" is not a weekday', "tuesday"]),
    (LAWN_FILE, "weekend =", "wekend =", "wekend", ['"wekend" is not a weekday', 'did you mean "weekend"?']),
    (
        LAWN_FILE,
        'kind = "terminal"',
        'kind = "terminl"',
        "terminl",
        ["not a kind of channel", 'mean "terminal"?'],
    ),
    (
        LAWN_FILE,
        'kind = "terminal"',
        'kind = "file"',
        "[[notices.channel]]",
        ["needs `path`", 'path = "notices"'],
    ),
    (
        LAWN_FILE,
        'time_zone = "America/Chicago"',
        'time_zone = "America/Chicgo"',
        "Chicgo",
        ['mean "America/Chicago"?'],
    ),
    (
        LABEL_FILE,
        'mode = "foliar"',
        'mode = "folar"',
        "folar",
        ['"folar" is not a mode', 'did you mean "foliar"?'],
    ),
    (
        LABEL_FILE,
        '["home-lawn"]',
        '["home lawn", "meadow"]',
        "meadow",
        ['"meadow" is not a place of use', "home-lawn"],
    ),
    (LABEL_FILE, '"tall fescue"]', '"tall fesque"]', "tall fesque", ['did you mean "tall fescue"?']),
    (TREATMENT_FILE, '"perennial"', '"perenial"', "perenial", ['did you mean "perennial"?']),
    (
        TREATMENT_FILE,
        'label = "concentrate"',
        'label = "concentrat"',
        "concentrat",
        ['did you mean "concentrate"?'],
    ),
    (TREATMENT_FILE, '"back"]', '"bak"]', "bak", ['no area "bak"', 'did you mean "back"?']),
    (
        TREATMENT_FILE,
        '"knapsack"',
        '"napsack"',
        "napsack",
        ['no sprayer "napsack"', 'did you mean "knapsack"?'],
    ),
    (
        TREATMENT_FILE,
        "passes = 2",
        'passes = 2\nduration = {fromt = "9 min"}',
        "fromt",
        ['did you mean "front"?'],
    ),
    # quantities
    (LABEL_FILE, '"10 mph"', "10", "wind_max = 10", ["`wind_max`: 10 has no unit", '"10 mph"']),
    (LABEL_FILE, '"10 mph"', '"10"', 'wind_max = "10"', ["a unit is missing"]),
    (LABEL_FILE, '"10 mph"', '"10 mhp"', "mhp", ['"mhp" is not a unit', 'did you mean "mph"?']),
    (LABEL_FILE, '"10 mph"', '"10 degF"', 'wind_max = "10 degF"', ["does not measure a speed"]),
    (LABEL_FILE, '"85 degF"', '"85 ft"', "85 ft", ["does not measure a temperature"]),
    (LABEL_FILE, '"85 degF"', '"850 degF"', "850", ["not plausible"]),
    (LABEL_FILE, '"10 mph"', '"fast"', '"fast"', ["does not begin with a number"]),
    (LABEL_FILE, 'rate = "1.5 floz/1000 ft^2"\nmax', "rate = 1.5\nmax", "rate = 1.5", ["1.5 has no unit"]),
    (
        LABEL_FILE,
        'rate = "1.5 floz/1000 ft^2"\nmax',
        'rate = "1.5 oz/1000 ft^2"\nmax',
        "1.5 oz",
        ["mass per area", "formulation"],
    ),
    (
        LABEL_FILE,
        'rate = "1.5 floz/1000 ft^2"\nmax',
        'rate = "15 mph"\nmax',
        "15 mph",
        ["does not measure a rate"],
    ),
    (LABEL_FILE, '"2 lb/gal"', '"12 g/kg"', "g/kg", ["does not fit a product that is a liquid", "2 lb/gal"]),
    (LAWN_FILE, '"3200 ft^2"', '"0 ft^2"', "0 ft^2", ["must be more than 0"]),
    (LAWN_FILE, '"3200 ft^2"', '"3200 ft"', '3200 ft"', ["does not measure an area"]),
    (LAWN_FILE, '"4 gal"', '"4 kg"', "4 kg", ["does not measure a volume", "a sprayer holds a volume"]),
    (LAWN_FILE, '"12 ft"', "12", "distance = 12", ["12 has no unit", '"25 ft"']),
    (LAWN_FILE, '"90 deg"', "90", "bearing = 90", ["90 is not a bearing", '"90 deg"']),
    (LAWN_FILE, '"90 deg"', '"eastish"', "eastish", ["not a bearing", '"E"']),
    (LAWN_FILE, '"90 deg"', '"400 deg"', "400 deg", ["outside 0 to 360"]),
    # places, dates, hours
    (LAWN_FILE, "latitude = 41.6", "latitude = 141.6", "141.6", ["latitude 141.6 is outside -90 to 90"]),
    (LAWN_FILE, "longitude = -93.6", 'longitude = "93.6 W"', "93.6 W", ["not a number", "east positive"]),
    (LAWN_FILE, '"10-08"', '"10-32"', "10-32", ["not a day of the year", "10-05"]),
    (LAWN_FILE, "2026-09-20", "2026-09-25", "2026-09-25", ["lies in the future: today is 2026-09-21"]),
    (LAWN_FILE, '"08:00-19:00"', '"19:00-08:00"', "19:00-08", ["ends before it begins", "split at midnight"]),
    (LAWN_FILE, '"06:30-08:30", ', '"06:30-17:30", ', "06:30-17:30", ["overlap"]),
    (LAWN_FILE, '"08:00-19:00"', '"8 to 25:00"', "25:00", ["not a time of day"]),
    (LAWN_FILE, 'evening = "18:30"', 'evening = "half six"', "half six", ["not a time of day", "06:30"]),
    (
        LAWN_FILE,
        "weekend =",
        'saturday = "none"\nSat = "09:00-10:00"\nweekend =',
        "Sat =",
        ["same days twice"],
    ),
    (LAWN_FILE, "safety = 0.95", "safety = 95", "safety = 95", ["not between 0 and 1", "60 percent"]),
    (
        LAWN_FILE,
        "[floors]",
        '[weather]\nsources = ["open-meto"]\n[floors]',
        "open-meto",
        ['mean "open-meteo"?'],
    ),
    (LAWN_FILE, "[floors]", "[decision]\ncost_of_waiting = 5\n[floors]", "[decision]", ["go together"]),
    (
        LAWN_FILE,
        "[floors]",
        "[decision]\ncost_of_waiting = 5\ncost_of_failure = 4\n[floors]",
        "[decision]",
        ["not less"],
    ),
    # types
    (LAWN_FILE, "local_ban = false", 'local_ban = "no"', "local_ban", ["should be true or false"]),
    (LAWN_FILE, 'name = "Test lawn"', "name = 3", "name = 3", ["3 is not text", "quotes"]),
    (LAWN_FILE, '["Kentucky bluegrass"]', '"Kentucky bluegrass"', 'turf = "Ken', ["should be a list"]),
    (LAWN_FILE, '["Kentucky bluegrass"]', "[]", "turf = []", ["is empty"]),
    (
        LAWN_FILE,
        'irrigation = "none"',
        'irrigation = "Tuesdays"',
        "Tuesdays",
        ["not a timetable", 'write "none"'],
    ),
    # one value against another
    (LAWN_FILE, 'id = "back"', 'id = "front"', 'id = "front"', ['"front" is used twice', "lawn.toml:15"], 8),
    (
        LAWN_FILE,
        '["tall fescue", "Kentucky bluegrass"]',
        '["tall fescue", "couch"]',
        "couch",
        ["turf_season"],
    ),
    (
        LABEL_FILE,
        'tion = "1.5 floz',
        'tion = "1.2 floz',
        "rate =",
        ["rate 1.50 fl oz", "more than the label's own maximum_per_app"],
    ),
    (
        LABEL_FILE,
        '"3 floz/1000 ft^2"',
        '"1 floz/1000 ft^2"',
        "maximum_per_app",
        ["maximum_per_year 1.00 fl oz"],
    ),
    (
        LABEL_FILE,
        'wind_max = "10 mph"',
        'wind_max = "10 mph"\nwind_min = "5 m/s"',
        "wind_min",
        ["not below wind_max"],
    ),
    (
        LABEL_FILE,
        'wind_max = "10 mph"',
        'wind_max = "10 mph"\nadjuvant_share = "1 %"',
        "adjuvant_share",
        ["unstated"],
    ),
    (
        TREATMENT_FILE,
        "passes = 2",
        'passes = 2\nrate = "2 floz/1000 ft^2"',
        "rate =",
        ["more than the label's rate"],
    ),
    (TREATMENT_FILE, "passes = 2", 'passes = 2\nrate = "3 lb/acre"', "rate =", ["leave rate out"]),
    (
        TREATMENT_FILE,
        '"2 weeks"',
        '"10 days"',
        "follow_up_from",
        ["shorter than the label's minimum interval of 14 days"],
    ),
    (TREATMENT_FILE, '"3 weeks"', '"15 minutes"', "follow_up_until", ["shorter than follow_up_from"]),
    (
        TREATMENT_FILE,
        "passes = 2",
        "passes = 2\nstart_from = 2026-10-01\nlatest = 2026-09-01",
        "latest",
        ["lies before"],
    ),
    (LAWN_FILE, 'work_rate = "9000 ft^2/h"\n', "", None, ["`duration`", "work_rate", 'duration = "40 min"']),
    (
        LAWN_FILE,
        'tank = "4 gal"',
        'kind = "spreader"\ntank = "4 kg"',
        None,
        ["is a spreader", "needs a sprayer"],
    ),
    # syntax
    (
        LAWN_FILE,
        'size = "3200 ft^2"',
        "size = 3200 ft^2",
        "3200 ft^2",
        ["not valid TOML", 'size = "3200 ft^2"'],
    ),
    (LABEL_FILE, 'mode = "foliar"', 'mode = "foliar', 'mode = "foliar', ["not valid TOML"]),
]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row[0].split('/')[0]}: {row[2][:40]!r}")
def test_a_fault_is_named_with_file_and_line(tmp_path, row):
    name, old, new, at, parts, *after = row
    texts = changed(name, old, new)
    with pytest.raises(InvalidFile) as caught:
        load(write(tmp_path, texts), now=NOW)
    told = [str(problem) for problem in caught.value.problems]
    if at is None:  # a fault of two files is told where the treatment names the area or the sprayer
        wanted = [one for one in told if one.startswith(f"{TREATMENT_FILE}:")]
    else:
        line = line_with(texts[name], at) + sum(after)
        wanted = [one for one in told if one.startswith(f"{name}:{line}:")]
    assert any(all(part in one for part in parts) for one in wanted), told


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row[0].split('/')[0]}: {row[2][:40]!r}")
def test_one_fault_brings_no_others(tmp_path, row):
    """A fault in one place is not followed by complaints about what depends on it."""
    with pytest.raises(InvalidFile) as caught:
        load(write(tmp_path, changed(*row[:3])), now=NOW)
    allowed = 2 if row[2] == '"15 minutes"' or 'kind = "spreader"' in row[2] or "work_rate" in row[1] else 1
    assert 1 <= len(caught.value.problems) <= allowed, [str(one) for one in caught.value.problems]


def test_all_files_are_read_before_anything_is_said(tmp_path):
    texts = {
        **changed(LAWN_FILE, "latitude = 41.6", "latitude = 141.6"),
        **changed(LABEL_FILE, '"10 mph"', '"10 mhp"'),
        **changed(TREATMENT_FILE, '"knapsack"', '"napsack"'),
        "history.csv": TEXTS["history.csv"].replace("4.8 floz", "4.8"),
    }
    with pytest.raises(InvalidFile) as caught:
        load(write(tmp_path, texts))
    places = [problem.where for problem in caught.value.problems]
    assert places == sorted(places)
    assert [place.split(":")[0] for place in places] == ["history.csv", LABEL_FILE, LAWN_FILE, TREATMENT_FILE]
    assert "4 problems" in str(caught.value)
    assert caught.value.exit_status == 5


def test_several_faults_of_one_file_are_all_named(tmp_path):
    text = LAWN.replace('"Tue"', '"Tus"').replace("latitude = 41.6\n", "").replace('"12 ft"', "12")
    with pytest.raises(InvalidFile) as caught:
        load(write(tmp_path, {LAWN_FILE: text}))
    assert len(caught.value.problems) == 3


def test_a_folder_that_is_not_there_and_one_without_lawn(tmp_path):
    with pytest.raises(InvalidFile, match="no such folder"):
        load(tmp_path / "nowhere")
    (tmp_path / "lwan.toml").write_text(LAWN)
    with pytest.raises(InvalidFile) as caught:
        load(tmp_path)
    assert 'did you mean "lwan.toml"?' in str(caught.value)


def test_a_file_that_is_not_utf8(tmp_path):
    write(tmp_path)
    (tmp_path / LABEL_FILE).write_bytes(LABEL.encode() + b'\nsignal_word = "\xff"\n')
    with pytest.raises(InvalidFile) as caught:
        load(tmp_path)
    assert f"{LABEL_FILE}:{LABEL.count(chr(10)) + 2}" in str(caught.value)
    assert "UTF-8" in str(caught.value)


def test_windows_line_ends_and_a_byte_order_mark_are_no_fault(tmp_path):
    write(tmp_path / "plain")
    write(tmp_path / "other")
    for name, text in TEXTS.items():
        (tmp_path / "other" / name).write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    plain, other = load(tmp_path / "plain"), load(tmp_path / "other")
    assert plain.areas == other.areas
    assert plain.labels == other.labels
    assert plain.history == other.history


def test_future_dates_are_only_faults_where_now_is_given(tmp_path):
    texts = changed(LAWN_FILE, "2026-09-20", "2026-09-25")
    assert load(write(tmp_path, texts)).areas["front"].soil_seen.day == 25


def test_the_day_of_now_is_that_of_the_site(tmp_path):
    """01:30 UTC on 21 September is still the evening of the 20th in Chicago (UTC-5)."""
    texts = changed(LAWN_FILE, "2026-09-20", "2026-09-21")
    with pytest.raises(InvalidFile, match="today is 2026-09-20"):
        load(write(tmp_path, texts), now=datetime(2026, 9, 21, 1, 30, tzinfo=UTC))
    assert load(tmp_path, now=datetime(2026, 9, 21, 5, 30, tzinfo=UTC)).areas["front"].soil_seen.day == 21
