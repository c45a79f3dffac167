"""Tables of TOML files: what is read, what is left out, and every fault with its path. Checks of our own behaviour."""

import pytest

from advisor.household.fields import Text, number, whole
from advisor.household.tables import ByName, Each, Fault, Faults, Table, table_of


class Tank(Table):
    name: Text
    holds: number("tank", 0.0, 100.0) = 5.0
    rinsed: bool = None


class Shed(Table):
    name: Text
    tanks: Each(Tank, least=1)
    best: Tank = Tank.read({"name": "none"})
    marks: ByName(whole(0, 9), Text) = {}

    def check(self):
        if self.name == "nowhere":
            raise Fault("is no place", "name another")


class Larger(Shed, doors=whole(1, 4)):
    floor: Text = "earth"


def faults(table, data) -> list[tuple]:
    with pytest.raises((Fault, Faults)) as raised:
        table.read(data)
    found = getattr(raised.value, "found", [raised.value])
    return [(one.kind, one.path, one.what) for one in found]


def test_what_is_written_is_read_and_what_is_left_out_is_as_the_table_says():
    shed = Shed.read({"name": " back ", "tanks": [{"name": "can", "holds": 8}], "marks": {"a": 3}})
    assert (shed.name, shed.marks, shed.best.name) == ("back", {"a": 3}, "none")
    assert [(one.name, one.holds, one.rinsed) for one in shed.tanks] == [("can", 8.0, None)]
    assert shed.stated == {"name", "tanks", "marks"} and shed.tanks[0].stated == {"name", "holds"}
    assert shed.tanks[0].plain() == {"name": "can", "holds": 8.0}


def test_one_table_leaves_nothing_to_the_next():
    first, second = (Tank.read({"name": name}) for name in ("a", "b"))
    assert (first.name, second.name, Tank.keys.keys()) == ("a", "b", {"name", "holds", "rinsed"})


def test_empty_text_counts_as_left_out():
    assert Tank.read({"name": "can", "holds": "  "}).holds == 5.0
    assert faults(Tank, {"name": ""}) == [("missing", ("name",), "is missing")]


def test_every_fault_is_told_with_its_path_in_the_order_of_the_keys():
    data = {
        "tanks": [{"name": 1}, {"holds": 500}, "x"],
        "marks": {"a": 12, "b": 3},
        "colour": "red",
        "name": "shed",
    }
    assert [(kind, path) for kind, path, _ in faults(Shed, data)] == [
        ("value", ("tanks", 0, "name")),
        ("missing", ("tanks", 1, "name")),
        ("value", ("tanks", 1, "holds")),
        ("value", ("tanks", 2)),
        ("value", ("marks", "a")),
        ("unknown", ("colour",)),
    ]


@pytest.mark.parametrize(
    ("table", "data", "path", "what"),
    [
        (Tank, "can", (), "should be a table, not 'can'"),
        (Tank, [], (), "should be a table"),
        (
            Tank,
            {"name": "a", "rinsed": "no"},
            ("rinsed",),
            "should be true or false, without quotes, not 'no'",
        ),
        (Tank, {"name": "a", "rinsed": 1}, ("rinsed",), "should be true or false, without quotes, not 1"),
        (Shed, {"name": "a", "tanks": {}}, ("tanks",), "should be a list"),
        (Shed, {"name": "a", "tanks": []}, ("tanks",), "is empty"),
        (Shed, {"name": "a", "tanks": [{"name": "b"}], "marks": 3}, ("marks",), "should be a table, not 3"),
        (Shed, {"name": "nowhere", "tanks": [{"name": "b"}]}, (), "is no place"),
    ],
)
def test_what_is_of_another_kind(table, data, path, what):
    assert faults(table, data) == [("value", path, what)]


def test_keys_that_do_not_go_together_are_looked_at_once_each_is_right():
    assert [path for _, path, _ in faults(Shed, {"name": "nowhere", "tanks": []})] == [("tanks",)]


def test_a_list_is_no_longer_than_it_may_be_and_may_stand_there_as_something_else():
    names = Each(Text, most=2, before=lambda value: value.split() if isinstance(value, str) else value)
    assert names("one two") == ["one", "two"]
    with pytest.raises(Fault, match="names 3, and may name 2 at most"):
        names("one two three")


def test_a_table_takes_the_keys_of_the_one_it_extends():
    larger = Larger.read({"name": "a", "tanks": [{"name": "b"}]})
    assert (larger.floor, larger.doors) == ("earth", None)
    assert list(Larger.keys) == ["name", "tanks", "best", "marks", "floor", "doors"]
    assert list(Shed.keys) == ["name", "tanks", "best", "marks"]


def test_the_table_inside_a_reader():
    assert table_of(Shed.keys["tanks"]) == (Tank, True)
    assert table_of(Shed.keys["best"]) == (Tank, False)
    assert table_of(Shed.keys["marks"]) == (None, False)
