"""`advisor batch` from table to table: the same days as the outlook, faulty rows, shared cells, broken runs, dask."""

import json
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from advisor.batch.cells import Cells, _Nearest, from_arrays, from_sources
from advisor.batch.sites_file import read_sites
from advisor.cli.batch import _cluster, _progress, batch
from advisor.cli.outlook import outlook
from advisor.errors import AdvisorError, InvalidFile, SourceUnreachable, WeatherError
from advisor.household import load
from advisor.sources import distance_km
from tests.batch.test_scoring import scene

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
HOME, ANSWERS = FIXTURES / "prairie-lawn", FIXTURES / "weather"
NOW = "2026-09-21T12:00Z"


@pytest.fixture
def home(tmp_path):
    """The demonstration lawn without its ledger, which the table of sites knows nothing of."""
    import shutil

    folder = tmp_path / "home"
    shutil.copytree(HOME, folder)
    (folder / "history.csv").unlink()
    lawn = folder / "lawn.toml"
    # wet ground, so that some days of the benchmark's weather are a go
    text = lawn.read_text().replace('soil_state = "moist"', 'soil_state = "wet"')
    lawn.write_text(text.replace("soil_seen = 2026-09-20", "soil_seen = 2026-09-21"))
    return folder


def call(*args: object):
    return CliRunner().invoke(batch, [*map(str, args), "--now", NOW], catch_exceptions=False)


def table(folder: Path, *lines: str, head: str = "site,latitude,longitude,elevation,time_zone") -> Path:
    path = folder / "sites.csv"
    path.write_text("\n".join([head, *lines]) + "\n")
    return path


def arrays(path: Path, sites: int = 9, members: int = 3, hours: int = 168) -> Path:
    """The benchmark's invented weather as arrays of (cell, member, hour)."""
    forecast, places = scene.weather(slice(0, sites), members, hours), scene.sites_table(sites)
    np.savez(
        path, latitude=places.latitude, longitude=places.longitude, start=str(forecast.start) + ":00Z",
        issued_at="2026-09-21T10:00Z", **{name: one.values for name, one in forecast.fields.items()},
    )  # fmt: skip
    return path


def places(folder: Path, sites: int = 9) -> Path:
    where = scene.sites_table(sites)
    return table(
        folder, *(f"s{at},{where.latitude[at]},{where.longitude[at]},{where.elevation[at]} m," for at in range(sites))
    )


def test_a_site_gets_the_days_of_the_outlook(home, tmp_path):
    sites = table(tmp_path, "lawn,41.6,-93.6,880 ft,America/Chicago")
    weather = ANSWERS / "prairie-open-meteo.json"
    told = CliRunner().invoke(
        outlook, ["--home", str(home), "--weather", str(weather), "--now", NOW, "--json"], catch_exceptions=False
    )
    rows = [json.loads(line) for line in call(sites, "--home", home, "--weather", ANSWERS).stdout.splitlines()]
    wanted = [
        (task["area"], day["date"], day["verdict"], pytest.approx(day["chance"], abs=6e-4) if day["best_start"] else 0)
        for task in json.loads(told.stdout)["treatments"] for day in task["days"]
    ]  # fmt: skip
    assert len(wanted) == 16
    assert [
        (row["area"], row["day"], row["verdict"], row["chance"] if row["best_start"] else 0) for row in rows
    ] == wanted
    assert {row["verdict"] for row in rows} >= {"go", "no-go"}
    # beside every chance stands what it rests on
    assert {row["spread"] for row in rows} == {"assumed spread"}


def test_faulty_rows_are_told_of_and_left_out(home, tmp_path):
    sites = table(
        tmp_path, "good,41.6,-93.6,,,", "word,north,-93.6,,,", "far,95,-93.6,,,", "bare,41.6,-93.6,880,,",
        "zone,41.6,-93.6,,Mars/Olympus,", "good,41.6,-93.6,,,", ",41.6,-93.6,,,", "treated,41.6,-93.6,,,nothing",
        "elsewhere,10,10,,,",
        head="site,latitude,longitude,elevation,time_zone,treatment",
    )  # fmt: skip
    done = call(sites, "--home", home, "--weather", ANSWERS)
    assert done.exit_code == 0
    assert {json.loads(line)["site"] for line in done.stdout.splitlines()} == {"good"}
    for says in (
        'sites.csv:3: latitude "north" is not a number', "sites.csv:4: latitude 95 is outside",
        "sites.csv:5: elevation: a unit is missing", 'sites.csv:6: time_zone "Mars/Olympus"',
        'sites.csv:7: the site "good" stands on line 2 already', "sites.csv:8: the site has no name",
        'sites.csv:9: treatment "nothing" is not known', 'site "elsewhere": the Open-Meteo answer is of',
        "1 sites scored, 8 left out",
    ):  # fmt: skip
        assert says in done.stderr, (says, done.stderr)


def test_rows_that_are_no_rows_leave_the_others_alone(home, tmp_path):
    """A comma too many, a quote in the wrong place, an empty line, a short row, commas at the end."""
    lines = ("a,41.6,-93.6,,", "Smith,John,41.6,-93.6,,880 ft", '"b"x,41.6,-93.6,,', "", "c,41.6,-93.6",
             "d,41.6,-93.6,,,,", '"e,\nf",41.6,-93.6,,', "g,95,-93.6,,", "h," + "1" * 200_000)  # fmt: skip
    rows, faults = read_sites(table(tmp_path, *lines), load(home))
    assert [(row.line, row.name) for row in rows] == [(2, "a"), (6, "c"), (7, "d"), (8, "e,\nf")]
    told = [(fault.where, fault.what[:22]) for fault in faults]
    assert told == [
        ("sites.csv:3", "the row has 6 cells, a"), ("sites.csv:4", "the row cannot be read"),
        ("sites.csv:5", "the site has no name"), ("sites.csv:10", "latitude 95 is outside"),
        ("sites.csv:11", "the row cannot be read"),
    ]  # fmt: skip
    with pytest.raises(InvalidFile, match="end of data"):
        read_sites(table(tmp_path, "a,41.6,-93.6,,", '"b,41.6,-93.6,,', "c,41.6,-93.6,,"), load(home))
    with pytest.raises(InvalidFile, match="stands twice"):
        read_sites(table(tmp_path, "a,41.6,-93.6,a", head="site,latitude,longitude,site"), load(home))


def test_a_table_without_its_columns_is_refused(home, tmp_path):
    with pytest.raises(InvalidFile, match="not valid") as told:
        call(table(tmp_path, "x,1", head="site,lattitude"), "--home", home, "--weather", ANSWERS)
    assert 'the column "latitude" is missing' in str(told.value)
    assert 'did you mean "latitude"?' in str(told.value)
    with pytest.raises(AdvisorError, match="no site can be scored"):
        call(table(tmp_path, "x,10,10,,"), "--home", home, "--weather", ANSWERS)


def test_a_later_pass_keeps_the_interval_of_the_label(home, tmp_path):
    """14 days on the invented label: not before 5 October after a pass on 20 September, whose whole day counts."""
    head = "site,latitude,longitude,pass,last_pass,area"
    sites = table(
        tmp_path, "new,41.6,-93.6,1,,front",
        "early,41.6,-93.6,2,2026-09-20,front", "none,41.6,-93.6,2,,front", head=head
    )  # fmt: skip
    done = call(sites, "--home", home, "--weather", ANSWERS)
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    assert {row["verdict"] for row in rows if row["site"] == "early"} == {"no-go"}
    assert "go" in {row["verdict"] for row in rows if row["site"] == "new"}
    assert "pass 2 needs the day of the pass before it" in done.stderr


def test_arrays_in_every_format_chunk_and_order(home, tmp_path):
    pytest.importorskip("pyarrow")
    sites, weather = places(tmp_path), arrays(tmp_path / "weather.npz", hours=169)
    found = []
    for kind, chunk in (("csv", 2), ("jsonl", 100), ("parquet", 4)):
        out = tmp_path / f"days.{kind}"
        done = call(sites, "--home", home, "--weather", weather, "--out", out, "--chunk", chunk)
        assert "9 sites scored, 0 left out, 1 answers" in done.stderr
        read = {"csv": pd.read_csv, "parquet": pd.read_parquet, "jsonl": lambda path: pd.read_json(path, lines=True)}
        frame = read[kind](out)
        frame["day"] = pd.to_datetime(frame["day"]).dt.strftime("%Y-%m-%d")
        found.append(frame[["site", "area", "day", "verdict", "chance", "chance_at_most"]])
    assert list(dict.fromkeys(found[0]["site"])) == [f"s{at}" for at in range(9)]
    # the data end at midnight of the mountain sites, and an hour into an eighth day of the central ones
    assert set(found[0].groupby(["site", "area"]).size()) == {7, 8}
    assert set(found[0]["verdict"]) == {"go", "no-go", "unknown"}
    for other in found[1:]:
        pd.testing.assert_frame_equal(found[0], other, check_dtype=False)


ODD = {
    "members of two counts": {"precipitation_probability": np.zeros((9, 2, 168))},
    "cells that are not there": {"wind_gust": np.zeros((4, 3, 168))},
    "a longitude less": {"longitude": np.zeros(8)},
    "one latitude alone": {"latitude": np.array(41.0)},
    "words": {"air_temperature": np.full((9, 3, 168), "warm")},
    "places in words": {"latitude": np.array(["north"] * 9)},
    "a promise for two hours": {"nominal_members": np.array([3, 3])},
    "a promise in words": {"nominal_members": np.array("all")},
    "no members": {name: np.zeros((9, 0, 168)) for name in scene.weather(slice(0, 1), 1, 25).fields},
}


@pytest.mark.parametrize("changes", ODD.values(), ids=ODD)
def test_arrays_of_odd_shapes_are_refused(tmp_path, changes):
    path = arrays(tmp_path / "weather.npz")
    with np.load(path) as held:
        np.savez(path, **{**held, **changes})
    with pytest.raises(WeatherError, match="not numbers of"):
        from_arrays(path, [], scene.NOW)


@pytest.mark.parametrize("damage", ["half", "a block of zeros", "text", "nothing", "one bare array", "folder"])
def test_arrays_that_cannot_be_read_are_refused(tmp_path, damage):
    path = arrays(tmp_path / "weather.npz")
    whole = path.read_bytes()
    np.save(tmp_path / "bare.npy", np.zeros(3))
    path.write_bytes({
        "half": whole[: len(whole) // 2], "a block of zeros": whole[:5000] + bytes(500) + whole[5500:],
        "text": b"hello", "nothing": b"", "one bare array": (tmp_path / "bare.npy").read_bytes(), "folder": b"",
    }[damage])  # fmt: skip
    with pytest.raises(WeatherError, match="cannot be read"):
        from_arrays(tmp_path if damage == "folder" else path, [], scene.NOW)


def test_sites_as_parquet(home, tmp_path):
    pytest.importorskip("pyarrow")
    frame = pd.read_csv(places(tmp_path), keep_default_na=False)
    frame.to_parquet(tmp_path / "sites.parquet")
    rows, faults = read_sites(tmp_path / "sites.parquet", load(home))
    assert len(rows) == 9 and not faults


def test_a_broken_run_goes_on_where_it_stopped(home, tmp_path, monkeypatch):
    from advisor.batch import journal as kept
    from advisor.batch import run

    sites, weather, out = places(tmp_path), arrays(tmp_path / "weather.npz"), tmp_path / "days.csv"
    common = (sites, "--home", home, "--weather", weather, "--out", out, "--chunk", 2, "--threads", 1)
    call(*common)
    whole = out.read_bytes()
    out.unlink()
    written, add = [], kept.Journal.add

    def breaks(self, found):
        if len(written) == 2:
            raise KeyboardInterrupt
        written.append(1)
        add(self, found)

    with monkeypatch.context() as patched:
        patched.setattr(kept.Journal, "add", breaks)
        CliRunner().invoke(batch, [*map(str, common), "--now", NOW])
    unfinished = out.with_name("days.csv.unfinished")
    assert unfinished.exists() and not out.exists()
    with unfinished.open("a") as file:
        file.write('{"site": "s4", "rows": [{"si')  # torn by a power cut
    asked, score = [], run.score_chunks
    monkeypatch.setattr(run, "score_chunks", lambda *args, **more: asked.append(len(args[2])) or score(*args, **more))
    done = call(*common)
    assert "4 sites were done before" in done.stderr
    assert asked == [5 * 2], "only the tasks of the five sites left"
    assert out.read_bytes() == whole and not unfinished.exists()


def test_a_terminal_sees_how_far_it_is(monkeypatch, capsys):
    """On a terminal a bar counts the sites; a file or a pipe gets no control letters."""
    with _progress(9) as tell:
        tell(9)
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    with _progress(9) as tell:
        tell(4)
        tell(5)
    assert "9/9" in capsys.readouterr().err


def test_another_question_does_not_take_up_a_journal(home, tmp_path):
    sites, weather, out = places(tmp_path), arrays(tmp_path / "weather.npz"), tmp_path / "days.csv"
    out.with_name("days.csv.unfinished").write_text('{"about": "something else"}\n{"site": "s0", "rows": []}\n')
    done = call(sites, "--home", home, "--weather", weather, "--out", out)
    assert "were done before" not in done.stderr
    assert "s0" in set(pd.read_csv(out)["site"])


def test_sites_of_one_cell_share_one_question(home):
    household, asked = load(home), []
    forecast = scene.weather(slice(0, 1), 1, 48)

    def ask(one):
        asked.append((one.site.latitude, one.site.longitude))
        if one.site.latitude < 0:
            raise SourceUnreachable("nobody answers")
        return forecast

    spots = [(41.62, -93.61), (41.68, -93.69), (41.62, -93.61), (41.72, -93.61), (-10.0, 3.0), (-10.01, 3.01)]
    wanted = [
        (replace(household.site, name=str(at), latitude=latitude, longitude=longitude), "")
        for at, (latitude, longitude) in enumerate(spots)
    ]
    cells = from_sources(wanted, household, scene.NOW, ask)
    assert cells.of_site == [0, 0, 0, 1, -1, -1]
    assert len(asked) == cells.read == 4
    assert [fault.where for fault in cells.faults] == ['site "4"', 'site "5"']
    assert cells.groups() == [[0, 1, 2, 3]]


def test_the_nearest_place_is_that_of_the_great_circle():
    """Against the haversine formula (Sinnott 1984), over the date line, at a pole, with places that are not known."""
    draw = np.random.default_rng(4)
    places = np.column_stack([draw.uniform(-90, 90, 300), draw.uniform(-180, 180, 300)])
    places[:3], places[7] = [(89.9, 10.0), (0.0, 179.95), (0.0, -179.8)], np.nan
    nearest, household = _Nearest(places.tolist()), load(HOME)
    sites = [(90.0, -170.0), (0.0, -179.99), *zip(draw.uniform(-90, 90, 60), draw.uniform(-180, 180, 60), strict=True)]
    for latitude, longitude in sites:
        away = [distance_km(latitude, longitude, *place) for place in places.tolist()]
        found = nearest.to(replace(household.site, latitude=latitude, longitude=longitude))
        assert away[found] == pytest.approx(np.nanmin(away), abs=1e-6)
    assert _Nearest([(41.0, -93.0), (41.0, -93.0)]).to(household.site) == 0


def test_ten_thousand_sites_find_their_cells_at_once(tmp_path):
    """A look at every cell for every site, one by one, took a minute."""
    household, draw, count = load(HOME), np.random.default_rng(5), 10_000
    latitude, longitude = draw.uniform(30, 48, count), draw.uniform(-110, -80, count)
    path = tmp_path / "weather.npz"
    np.savez(path, latitude=latitude, longitude=longitude, start="2026-09-21T06:00Z", issued_at="2026-09-21T10:00Z",
             air_temperature=np.full((count, 1, 2), 15.0, dtype=np.float32))  # fmt: skip
    wanted = [(replace(household.site, latitude=float(a), longitude=float(o)), "")
              for a, o in zip(latitude, longitude, strict=True)]  # fmt: skip
    began = time.process_time()
    assert from_arrays(path, wanted, scene.NOW).of_site == list(range(count))
    assert time.process_time() - began < 20.0


def test_forecasts_that_carry_other_things_are_scored_by_themselves():
    whole = scene.weather(slice(0, 1), 1, 48)
    less = replace(whole, fields={name: one for name, one in whole.fields.items() if name != "wind_gust"})
    cells = Cells([0, 1, 0], [(whole, 0), (less, 0)])
    assert cells.groups() == [[0, 2], [1]]
    assert "wind_gust" not in cells.weather([1]).fields
    assert cells.weather([0, 2]).values("wind_gust").shape[1:] == (1, 48)


def test_dask_gives_the_same_to_the_bit(home, tmp_path):
    """Two workers of their own, against threads of this process."""
    pytest.importorskip("distributed")
    sites, weather = places(tmp_path), arrays(tmp_path / "weather.npz")
    here, there = tmp_path / "here.jsonl", tmp_path / "there.jsonl"
    common = (sites, "--home", home, "--weather", weather, "--chunk", 2)
    call(*common, "--out", here)
    call(*common, "--out", there, "--engine", "dask")
    assert here.read_bytes() == there.read_bytes()
    assert {json.loads(line)["site"] for line in here.read_text().splitlines()} == {f"s{at}" for at in range(9)}


@pytest.mark.parametrize("kind", ["threads", "dask"])
def test_any_executor_will_do(kind):
    """What dask brings is an executor; whichever it is, verdicts, chances and candidates are the same to the bit."""
    from advisor.model import DEFAULT_FLOORS
    from advisor.rule_files import load_rules
    from advisor.scoring import at_sites, score_chunks

    forecast, rules = scene.weather(slice(0, 9), 3, 168), list(load_rules())
    asked = scene.sites_table(9), scene.task_table(9), rules, scene.NOW, DEFAULT_FLOORS, 48.0
    if kind == "dask":
        pytest.importorskip("distributed")
    with ThreadPoolExecutor(3) if kind == "threads" else _cluster(None) as pool:
        spread = list(score_chunks(lambda part: at_sites(forecast, part), *asked, chunk=2, pool=pool))
    alone = list(score_chunks(lambda part: at_sites(forecast, part), *asked, chunk=9))
    for name in ("candidates", "best"):
        joined = np.concatenate([getattr(one, name) for one in spread])
        assert np.array_equal(joined, getattr(alone[0], name)), name
    for name in ("everything", "safety_and_label"):
        for side in ("lower", "upper"):
            joined = np.concatenate([getattr(getattr(one.verdicts, name), side) for one in spread])
            assert np.array_equal(joined, getattr(getattr(alone[0].verdicts, name), side)), (name, side)
    assert np.array_equal(np.concatenate([one.verdicts.verdict for one in spread]), alone[0].verdicts.verdict)
