"""The pictures that the README shows: small, and of the sizes that the script takes. Our own behaviour."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

FOLDER = Path(__file__).resolve().parent.parent.parent / "fixtures" / "screenshots"
#: name -> widest and narrowest it may be [px]
EXPECTED = {
    "week": (1200, 1200),
    "rules": (1000, 1200),
    "day": (1200, 1200),
    "sequence": (1200, 1200),
    "narrow-dark": (360, 360),
}


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_a_picture_is_small(name):
    data = (FOLDER / f"{name}.png").read_bytes()
    assert data[:8] == b"\x89PNG\r\n\x1a\n" and len(data) <= 120_000
    # PNG specification, 11.2.2: the header's width and height follow its name
    width, height = struct.unpack(">II", data[16:24])
    low, high = EXPECTED[name]
    assert low <= width <= high and 300 <= height <= 2000


def test_there_is_no_picture_that_nothing_speaks_of():
    assert {path.stem for path in FOLDER.iterdir()} == set(EXPECTED)
