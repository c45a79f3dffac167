"""The table of turf species, and the lines of a TOML text by key path. Behaviour of our own."""

import tomllib

import pytest

from advisor.household import turf
from advisor.toml_lines import key_lines, line_of


def test_no_name_stands_for_two_species():
    names = [
        name.casefold()
        for species in turf.SPECIES
        for name in {
            species.name,
            *species.also,
            *([] if "spp." in species.scientific else [species.scientific]),
        }
    ]
    assert len(names) == len(set(names))
    for species in turf.SPECIES:
        assert set(species.covers) <= set(turf.BY_NAME)
        assert all(turf.BY_NAME[one].season == species.season for one in species.covers)


@pytest.mark.parametrize(
    "written, name",
    [
        ("Poa pratensis", "Kentucky bluegrass"),
        ("KENTUCKY  BLUEGRASS", "Kentucky bluegrass"),
        ("smooth meadow-grass", "Kentucky bluegrass"),
        ("couch", "bermudagrass"),
        ("kikuyu", "kikuyugrass"),
        ("Festuca arundinacea", "tall fescue"),
        ("St Augustine", "St. Augustinegrass"),
        ("buffalo grass", None),
        ("moss", None),
    ],
)
def test_species_by_any_of_their_names(written, name):
    assert turf.canonical_name(written) == name


def test_seasons():
    assert turf.season(("Kentucky bluegrass", "tall fescue")) == "cool-season"
    assert turf.season(("bermudagrass",)) == "warm-season"
    assert turf.season(("bermudagrass", "perennial ryegrass")) is None


def test_a_name_near_none_lists_all():
    assert turf.suggestion("qqqq").startswith("known: Kentucky bluegrass, ")


TEXT = '''\
# comment with "quotes" and [brackets]
top = 1
"quoted key" = "a # no comment"
dotted.inner.key = [1, 2]

[table]
text = """
[not.a.table]
key = 1"""
after = \'\'\'x\'\'\'
list = [
  "one",  # comment ]
  "two",
  { a = 1, b = "}" },
]

[[many]]
name = "first"
[many.sub]
x = 1
[[many.deep]]
y = 1
[[many.deep]]
y = 2

[[many]]
name = "second"
[[many.deep]]
y = 3
z = { q = 1, r = [1,
  2] }
'''

PLACES = [
    (("top",), "top = 1"),
    (("quoted key",), '"quoted key"'),
    (("dotted", "inner", "key"), "dotted.inner"),
    (("table",), "[table]"),
    (("table", "text"), 'text = """'),
    (("table", "after"), "after ="),
    (("table", "list", 0), '"one"'),
    (("table", "list", 1), '"two"'),
    (("table", "list", 2, "b"), "{ a = 1"),
    (("many", 0), "[[many]]"),
    (("many", 0, "name"), 'name = "first"'),
    (("many", 0, "sub", "x"), "x = 1"),
    (("many", 0, "deep", 1, "y"), "y = 2"),
    (("many", 1, "name"), 'name = "second"'),
    (("many", 1, "deep", 0, "y"), "y = 3"),
    (("many", 1, "deep", 0, "z", "r", 1), "  2] }"),
]


@pytest.mark.parametrize(
    "path, piece", PLACES, ids=lambda value: ".".join(map(str, value)) if isinstance(value, tuple) else ""
)
def test_the_line_of_a_key(path, piece):
    tomllib.loads(TEXT)
    wanted = next(number for number, line in enumerate(TEXT.split("\n"), 1) if piece in line)
    assert key_lines(TEXT)[path] == wanted


def test_a_path_that_is_not_there_falls_back_to_what_is_around_it():
    lines = key_lines(TEXT)
    assert line_of(lines, ("table", "nowhere", 3)) == lines[("table",)]
    assert line_of(lines, ("nowhere",)) == 1


def test_every_key_of_a_document_has_a_line():
    def paths(value, path=()):
        if path:
            yield path
        items = (
            value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
        )
        for key, inner in items:
            yield from paths(inner, (*path, key))

    lines = key_lines(TEXT)
    assert [path for path in paths(tomllib.loads(TEXT)) if path not in lines] == []
