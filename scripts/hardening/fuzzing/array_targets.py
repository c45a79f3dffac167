"""The reader of arrays of weather for many sites, an .npz file: a zip of numpy's own files."""

from __future__ import annotations

import io
import os
import zipfile
from functools import cache
from pathlib import Path
from random import Random

import numpy as np

from advisor.batch.cells import from_arrays
from advisor.errors import AdvisorError
from hardening.fuzzing import odd, scratch
from hardening.fuzzing.file_targets import NOW, demo_household
from hardening.fuzzing.oracle import Target
from hardening.fuzzing.weather_targets import forecasts_fault

#: what the first line of numpy's files is made of
_HEAD = b"0123456789<>|?fiucOSUM'(),:{} \x00\xff"


def _seeds() -> list[bytes]:
    """Two cells, three members, thirty hours, packed and not."""
    rows = np.linspace(0.0, 1.0, 2 * 3 * 30, dtype=np.float32).reshape(2, 3, 30)
    arrays = {
        "latitude": np.array([41.6, 42.0]), "longitude": np.array([-93.6, -93.0]), "start": "2026-09-21T06:00Z",
        "issued_at": "2026-09-21T10:00Z", "nominal_members": np.array(3), "air_temperature": 12.0 + 8.0 * rows,
        "wind_speed_10m": 1.0 + 3.0 * rows, "precipitation": 0.0 * rows[:, :1],
    }  # fmt: skip
    found = []
    for save in (np.savez, np.savez_compressed):
        made = io.BytesIO()
        save(made, **arrays)
        found.append(made.getvalue())
    return found


def _change(chance: Random, data: bytes, others: list[bytes]) -> bytes:
    """Other words in the head of one of its files, or one cut off, left out or renamed, in a zip that is whole."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as held:
            files = {name: held.read(name) for name in held.namelist()}
        chosen = chance.choice(sorted(files))
    except Exception:  # no zip any more
        return odd.changed(chance, data)
    body = bytearray(files.pop(chosen))
    for _ in range(chance.randrange(4)):
        if body:
            body[chance.randrange(min(len(body), 140))] = chance.choice(_HEAD)
    kind = chance.randrange(10)
    if kind == 0:
        body = body[: chance.randrange(len(body) + 1)]
    if kind != 1:
        files["wind_gust.npy" if kind == 2 else chosen] = bytes(body)
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as out:
        for name, content in files.items():
            out.writestr(name, content)
    return made.getvalue()[: 4 * odd.LONGEST]


@cache
def _path(process: int) -> Path:
    return scratch.folder() / "weather.npz"


def _read(data: bytes):
    path = _path(os.getpid())
    path.write_bytes(data)
    cells = from_arrays(path, [(demo_household().site, "")], NOW)
    return [cells.weather([0])] if cells.of_site[0] >= 0 else []


def array_targets() -> list[Target]:
    """Arrays of weather."""
    errors = (AdvisorError,)
    return [Target("arrays of weather", "arrays of many sites", _seeds, _change, _read, errors, forecasts_fault)]
