"""history.csv: what is read, and how faults are named. Behaviour of our own, no outside source."""

from datetime import UTC, datetime

import pytest

from advisor.errors import InvalidFile
from advisor.household import check, load
from tests.household.folder import HISTORY, write

HEADER, FRONT, BACK = HISTORY.strip().split("\n")

# text of the second line (line 2 of the file), parts of the message
ROWS = [
    (FRONT.replace("front", "frnt", 1), ['no area "frnt"', 'did you mean "front"?']),
    (FRONT.replace("front", "", 1), ["area is blank", "known: front, back"]),
    (FRONT.replace("broadleaf", "brodleaf"), ['no treatment "brodleaf"', 'did you mean "broadleaf"?']),
    (
        FRONT.replace("2026-08-25 17:05", "25 August"),
        ['started_at "25 August" is not a date and time', "2026-08-25 17:10"],
    ),
    (FRONT.replace("2026-08-25 17:05", "2026-08-25"), ["has no time of day", "the latest it can have been"]),
    (FRONT.replace("2026-08-25 17:05", ""), ["started_at is blank"]),
    (FRONT.replace("17:27", "16:27"), ["ended_at lies before started_at"]),
    (FRONT.replace("2026-08-25", "2027-08-25"), ["started_at lies in the future", "2026-09-21T12:00:00Z"]),
    (FRONT.replace("4.8 floz", "4.8"), ["amount: a unit is missing", '"4.8 floz"']),
    (FRONT.replace("4.8 floz", "4.8 oz"), ['"oz" does not measure a volume']),
    (FRONT.replace("4.8 floz", "0 floz"), ["must be more than 0"]),
    (FRONT.replace("3200 ft^2", "3200 ft"), ['size: "ft" does not measure an area']),
    (FRONT.replace("3200 ft^2", "-1 ft^2"), ["must be more than 0"]),
    (FRONT + ",dry, warm", ["has 12 cells where the header has 10", "quotes"]),
    (
        ",".join(["front", "", "x", "", "2026-08-25 17:05", "", "", "", "", ""]),
        ["active_ingredients is blank", "parted by ;"],
    ),
]


@pytest.mark.parametrize("line, parts", ROWS, ids=[row[1][0][:40] for row in ROWS])
def test_a_fault_is_named_with_its_line(tmp_path, line, parts):
    text = "\n".join([HEADER, line, BACK, ""])
    with pytest.raises(InvalidFile) as caught:
        load(write(tmp_path, {"history.csv": text}), now=datetime(2026, 9, 21, 12, tzinfo=UTC))
    problem = caught.value.problems[0]
    assert len(caught.value.problems) == 1
    assert problem.where == "history.csv:2"
    assert all(part in str(problem) for part in parts), str(problem)


@pytest.mark.parametrize(
    "header, part",
    [
        (HEADER.replace("amount", "amout"), 'did you mean "amount"?'),
        (HEADER.replace("started_at", "when"), 'column "started_at" is missing'),
        (HEADER.replace("note", "who"), 'column "who" stands twice'),
    ],
)
def test_a_fault_of_the_header(tmp_path, header, part):
    with pytest.raises(InvalidFile) as caught:
        load(write(tmp_path, {"history.csv": f"# a comment\n{header}\n{FRONT}\n"}))
    assert part in str(caught.value)
    assert "history.csv:2" in str(caught.value)


def test_lines_are_counted_past_comments_blanks_and_broken_cells(tmp_path):
    text = "\n".join(
        ["# comment", "", HEADER, FRONT.replace("me,", 'me,"dry,\nwarm"'), "", BACK.replace("back", "bak", 1)]
    )
    with pytest.raises(InvalidFile) as caught:
        load(write(tmp_path, {"history.csv": text}))
    assert [problem.where for problem in caught.value.problems] == ["history.csv:7"]
    text = text.replace("bak", "back")
    assert load(write(tmp_path, {"history.csv": text})).history[0].note == "dry,\nwarm"


def test_times_without_a_zone_are_local_and_others_keep_theirs(tmp_path):
    """Chicago keeps UTC-5 in August."""
    text = "\n".join([HEADER, FRONT, BACK.replace("2026-08-25 17:40", "2026-08-25T22:40Z"), ""])
    front, back = load(write(tmp_path, {"history.csv": text})).history
    assert front.started_at == datetime(2026, 8, 25, 22, 5, tzinfo=UTC)
    assert back.started_at == datetime(2026, 8, 25, 22, 40, tzinfo=UTC)
    assert front.amount == pytest.approx(4.8 * 29.5735295625, rel=1e-12)
    assert front.id != back.id


def test_passes_come_in_order_of_time(tmp_path):
    history = load(write(tmp_path, {"history.csv": "\n".join([HEADER, BACK, FRONT, ""])})).history
    assert [record.area for record in history] == ["front", "back"]


def test_a_treatment_fills_in_product_and_ingredients(tmp_path):
    line = "front,broadleaf,,,2026-08-25 17:05,,4.8 floz,3200 ft^2,,"
    record = load(write(tmp_path, {"history.csv": f"{HEADER}\n{line}\n"})).history[0]
    assert record.product == "Test Concentrate"
    assert record.active_ingredients == ("exemplic acid",)
    assert record.ended_at is None


def test_a_pass_of_another_product_needs_no_treatment(tmp_path):
    line = "front,,Something else,other acid; exemplic acid,2026-05-01 10:00,,200 g,,,"
    record = load(write(tmp_path, {"history.csv": f"{HEADER}\n{line}\n"})).history[0]
    assert (record.treatment, record.amount) == ("", 200.0)
    assert record.active_ingredients == ("other acid", "exemplic acid")


def test_the_same_pass_twice_is_a_fault(tmp_path):
    with pytest.raises(InvalidFile, match="repeats the pass of line 2"):
        load(write(tmp_path, {"history.csv": f"{HEADER}\n{FRONT}\n{FRONT}\n"}))


def test_doubtful_passes_are_warned_of(tmp_path):
    lines = [
        FRONT.replace("4.8 floz", "9.6 floz"),
        BACK.replace("5400 ft^2", "9000 ft^2"),
        BACK.replace("8.1 floz", "").replace("17:40", "17:41"),
    ]
    report = check(write(tmp_path, {"history.csv": "\n".join([HEADER, *lines, ""])}))
    told = {problem.where: problem.what for problem in report.warnings}
    assert "more was put down than the label allows" in told["history.csv:2"]
    assert "9,000 ft² were treated, more than the area's 5,400 ft²" in told["history.csv:3"]
    assert "amount is blank" in told["history.csv:4"]


def test_an_empty_file_and_none_at_all(tmp_path):
    assert load(write(tmp_path / "a", {"history.csv": ""})).history == ()
    assert load(write(tmp_path / "b", {"history.csv": None})).history == ()


def test_a_faulty_label_brings_no_complaints_about_the_history(tmp_path):
    from tests.household.folder import changed

    line = "front,broadleaf,,,2026-08-25 17:05,,4.8 floz,3200 ft^2,,"
    texts = {
        **changed("labels/concentrate.toml", '"10 mph"', '"10 mhp"'),
        "history.csv": f"{HEADER}\n{line}\n",
    }
    with pytest.raises(InvalidFile) as caught:
        load(write(tmp_path, texts))
    assert len(caught.value.problems) == 1
