"""The checks against the outside world that the program stands on are there, by name, so that none can vanish."""

import pytest
from literature.tables import load_rows

ROWS = {row["id"]: row for row in load_rows()}

NAMED = {
    "FAO-56 example 14": ["fao56-ex14"],
    "FAO-56 example 17": ["fao56-ex17"],
    "FAO-56 example 18": ["fao56-ex18"],
    "FAO-56 example 37": ["fao56-ex37-stress", "fao56-ex37-depletion"],
    "psychrometer table, 20 degC and 50 %": ["wet-bulb-psychrometer-20-50"],
    "NREL solar position case": ["spa-elevation", "spa-azimuth"],
    "Turner's table": [
        f"turner-key-{wind}-index-{index}"
        for wind in ("0-1kt", "2-3kt", "4-5kt", "6kt", "7kt", "8-9kt", "10kt", "11kt", "12kt-and-more")
        for index in ("4", "3", "2", "1", "0", "minus-1", "minus-2")
    ],
    "JKI drift table": ["jki-table-1"],
}


@pytest.mark.parametrize("name", NAMED)
def test_is_there(name):
    missing = [row for row in NAMED[name] if row not in ROWS]
    assert not missing
    assert all(ROWS[row]["source"] for row in NAMED[name])


def test_the_drift_table_holds_1_5_and_10_metres():
    """JKI basic drift values, field crops, one application: 2.77, 0.57 and 0.29 % at 1, 5 and 10 m."""
    text = str(ROWS["jki-table-1"])
    for number in ("2.77", "0.57", "0.29"):
        assert number in text, number
