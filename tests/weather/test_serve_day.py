"""`advisor serve` lives from a morning into the night against the script that serves stored weather:
everything of one provider, with a second one beside it. Our own behaviour on invented weather."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from weather_bodies import (
    met_norway_body,
    nws_alerts_body,
    nws_body,
    nws_observations_body,
    nws_points_body,
    nws_stations_body,
)

from advisor.replay import replay
from advisor.store import Store, notices
from weather import households

ROOT = Path(__file__).resolve().parents[2]
BEGIN = datetime(2026, 9, 21, 12, tzinfo=UTC)
#: when the stored answers were made: early in the day, so that they reach back into the day before
MADE = BEGIN.replace(hour=3)
#: clock seconds a second: half a day in twenty seconds, so that a slow decision still falls into the evening
RATE = 2000.0
#: pulls that are waited for, one in three hours
PULLS = 6
#: real time after which a service that has not come so far counts as stuck, on however busy a computer [s]
PATIENCE = 240.0


def stored(folder: Path) -> list[str]:
    """Answers of one moment, as files, and the options that serve them."""
    place = households.PLACE
    # over the work of the next day, also where the server's clock has begun a new day a little before the service's
    begins, ends = (BEGIN + timedelta(hours=hours) for hours in (20, 80))
    alert = {"event": "Wind Advisory", "onset": begins.isoformat(), "ends": ends.isoformat()}
    alerts = {**nws_alerts_body(alert), "updated": BEGIN.isoformat()}
    bodies = {
        "nws-points": nws_points_body(*place), "nws-grid": nws_body(*place, MADE), "nws-alerts": alerts,
        "nws-stations": nws_stations_body(*place, "KTST"), "nws-observations": nws_observations_body(*place, MADE),
        "met-norway": met_norway_body(*place, MADE),
    }  # fmt: skip
    options = []
    for name, body in bodies.items():
        (folder / f"{name}.json").write_text(json.dumps(body))
        options += [f"--{name}", str(folder / f"{name}.json")]
    return options


def address(process: subprocess.Popen) -> str:
    line = process.stdout.readline().strip()
    assert line.startswith("http://127.0.0.1:"), line
    return line


@pytest.fixture
def base(tmp_path):
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    words = [sys.executable, str(ROOT / "scripts" / "weather_server.py"), *stored(tmp_path)]
    words += ["--fresh", "--now", f"{BEGIN:%Y-%m-%dT%H:%MZ}@{RATE:g}"]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=environment)
    try:
        yield address(process)
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(10)
        process.stdout.close()


def served(words: list[str]) -> tuple[int, list[dict]]:
    """(exit status, log lines) of a service that is told to end once it has pulled often enough."""
    process = subprocess.Popen(words, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    stuck = threading.Timer(PATIENCE, process.kill)
    stuck.start()
    lines, pulls = [], 0
    try:
        for line in process.stderr:
            if not line.startswith("{"):
                continue
            lines.append(json.loads(line))
            pulls += lines[-1].get("event") == "cycle" and bool(lines[-1].get("pulled"))
            if pulls == PULLS:
                process.terminate()
                pulls += 1  # told once
        return process.wait(PATIENCE), lines
    finally:
        stuck.cancel()
        process.kill()
        process.wait()
        process.stderr.close()


def test_a_day_of_service_on_stored_weather(base, tmp_path):
    hosts = "".join(f'{name} = "{base}"\n' for name in ("nws", "met-norway"))
    channel = '[[notices.channel]]\nkind = "file"\npath = "notices"\n'
    decision = "[decision]\nassumed_members = 0\n"
    weather = f'sources = ["nws"]\ncross_check = "met-norway"\n[weather.hosts]\n{hosts}{decision}'
    home = households.write(tmp_path / "home", weather + channel)
    lawn = (home / "lawn.toml").read_text().replace('[[notices.channel]]\nkind = "terminal"\n', "", 1)
    # both notices of the day are wanted, also where the second says what the first said
    lawn = lawn.replace('evening = "18:30"', 'evening = "18:30"\nrepeat_unchanged = true')
    (home / "lawn.toml").write_text(lawn)
    words = [sys.executable, "-m", "advisor", "serve", "--home", str(home), "--heartbeat", "1800", "--clock",
             f"{BEGIN:%Y-%m-%dT%H:%MZ}@{RATE:g}", "--no-page"]  # fmt: skip
    status, lines = served(words)
    assert status == 0
    cycles = [line for line in lines if line.get("event") == "cycle"]
    faults = [line["reason"] for line in lines if "reason" in line]
    assert sum(bool(line.get("pulled")) for line in cycles) >= PULLS, faults
    assert not any(line.get("errors") for line in cycles), faults

    with Store.open_readonly(home / "advisor.db") as store:
        kept = {(one.kind, one.local_date): one for one in notices.recent(store, 50)}
        evening = kept[("evening", date(2026, 9, 21))]
        with store.read() as connection:
            counted = dict(
                connection.execute("SELECT source, count(*) FROM payloads GROUP BY source").fetchall()
            )
        again = replay(store, evening.id, home)
    # the wind advisory lies over the next day's work
    assert "Wind Advisory" in evening.text, evening.text
    assert again.same and again.identical
    assert {one.role for one in again.evidence.answers.kept} == {
        "forecast",
        "cross-check",
        "warnings",
        "observations",
    }
    # the cell and the stations were asked for about once a day, everything else at each pull but the second, which
    # comes so soon after the first one of a start that the answers are still good
    assert counted["nws:points"] <= 2 and counted["nws:stations"] <= 2
    assert counted["nws:warnings"] == counted["nws"] >= PULLS - 1
    files = [path.read_text() for path in (home / "notices").glob("*.txt")]
    assert any("Wind Advisory" in text for text in files)
