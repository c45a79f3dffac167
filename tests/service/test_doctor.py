"""The doctor, the unit and the container's file. Checks of our own behaviour, no outside source but where named."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from pathlib import Path

import pytest

from advisor.service.doctor import examine, service_time
from advisor.service.due import HEARTBEAT
from advisor.service.unit import NAME, unit_text
from advisor.store import Store, marks, notices, outbox, payloads
from advisor.store.notices import Notice

ROOT = Path(__file__).resolve().parents[2]
NOW = datetime(2026, 9, 21, 12, tzinfo=UTC)
SITE = "41.6000,-93.6000"


@pytest.fixture
def folder(tmp_path):
    shutil.copytree(ROOT / "fixtures" / "prairie-lawn", tmp_path / "lawn")
    return tmp_path / "lawn"


@pytest.fixture
def ledger(folder):
    """A service that beat a minute ago and pulled an hour ago."""
    with Store.open(folder / "advisor.db") as store:
        beat(store, NOW - timedelta(minutes=1))
        answered(store, NOW - timedelta(hours=1))
        yield store


def beat(store, at, **data):
    marks.put(store, HEARTBEAT, at, {"real_at": at, "seconds": 300.0, "trouble": None, **data})


def answered(store, at, **headers):
    payloads.add(
        store, source="open-meteo", site=SITE, url="http://x/", body=str(at).encode(), fetched_at=at, headers=headers
    )


def told(folder, name, now=NOW):
    return [one for one in examine(folder, now) if one.name.startswith(name)]


def failing(folder, now=NOW):
    return {one.name for one in examine(folder, now) if not one.ok}


def test_all_is_well(folder, ledger):
    found = examine(folder, NOW)
    assert failing(folder) == set()
    names = [one.name for one in found]
    assert names == [
        "files", "rules", "database", "source open-meteo", "clock", "scheduler", "channel terminal", "channel file",
    ]  # fmt: skip
    assert "America/Chicago" in told(folder, "clock")[0].says and "07:00" in told(folder, "clock")[0].says
    assert "1.0 h ago" in told(folder, "source")[0].says


def test_a_folder_that_is_new(folder):
    assert failing(folder) == {"scheduler"}
    assert "advisor serve" in told(folder, "scheduler")[0].fix
    assert not (folder / "advisor.db").exists(), "looking makes nothing"


def test_no_folder_at_all(tmp_path):
    found = examine(tmp_path / "nowhere", NOW)
    assert not found[0].ok and found[0].exit_status == 5
    assert all(one.fix for one in found if not one.ok)


def test_a_fault_in_the_files_has_file_line_and_what_to_write(folder, ledger):
    text = (folder / "lawn.toml").read_text()
    (folder / "lawn.toml").write_text(text.replace('elevation = "880 ft"', 'elevation = "880 mph"'))
    (finding,) = told(folder, "files")
    assert not finding.ok and "lawn.toml:" in finding.says and finding.fix


def test_a_fault_in_an_own_rule(folder, ledger):
    (folder / "rules").mkdir()
    (folder / "rules" / "bad.toml").write_text("id = ")
    (finding,) = told(folder, "rules")
    assert not finding.ok and "bad.toml" in finding.says and finding.exit_status == 5


def test_a_silent_source(folder, ledger):
    now = NOW + timedelta(hours=30)
    beat(ledger, now)
    (finding,) = told(folder, "source", now)
    assert not finding.ok and "31.0 h ago" in finding.says and finding.exit_status == 6


def test_a_scheduler_that_stopped(folder, ledger):
    (finding,) = told(folder, "scheduler", NOW + timedelta(hours=2))
    assert not finding.ok and "last heartbeat" in finding.says


def test_a_cycle_that_failed(folder, ledger):
    beat(ledger, NOW, trouble="reload: lawn.toml:3: a fault (the earlier files are still in use)")
    assert "lawn.toml:3" in told(folder, "scheduler")[0].says


def test_a_clock_that_differs_from_the_weather_services(folder, ledger):
    at = NOW - timedelta(minutes=30)
    answered(ledger, at, Date=format_datetime(at - timedelta(hours=3), usegmt=True))
    (finding,) = told(folder, "clock")
    assert not finding.ok and "180 min ahead of" in finding.says
    answered(ledger, NOW, Date=format_datetime(NOW, usegmt=True))
    assert told(folder, "clock")[0].ok
    # RFC 9111, 5.1: an Age says that the answer lay in a cache; its date tells nothing of the clock
    answered(ledger, NOW, Date=format_datetime(NOW - timedelta(hours=3), usegmt=True), Age="10800")
    assert told(folder, "clock")[0].ok


def test_a_clock_that_was_set_back(folder, ledger):
    assert "clock" in failing(folder, NOW - timedelta(days=2))


def test_a_demonstration_on_a_fast_clock_is_judged_by_its_own(folder, ledger):
    marks.put(ledger, HEARTBEAT, NOW + timedelta(days=90), {"real_at": NOW, "seconds": 1.0, "trouble": None})
    answered(ledger, NOW + timedelta(days=90))
    assert service_time(ledger, NOW) == NOW + timedelta(days=90)
    assert failing(folder) == set()


def test_a_channel_that_failed_names_how_to_test_it(folder, ledger):
    notice = Notice("evening", NOW.date(), "t", "s", "text", NOW)
    notices.put(ledger, notice, ["file"], NOW)
    (row,) = outbox.listing(ledger)
    outbox.claim(ledger, row.id, NOW)
    outbox.settle(ledger, row.id, "failed", NOW - timedelta(minutes=5), "the disk is full")
    (finding,) = told(folder, "channel file")
    assert not finding.ok and "the disk is full" in finding.says and finding.fix == "advisor notice --test file"
    assert finding.exit_status == 7


def test_a_channel_without_its_secret(folder, ledger):
    text = (folder / "lawn.toml").read_text()
    more = '\n[[notices.channel]]\nkind = "webhook"\nurl = "https://example.org/"\nsecret_file = "gone"\n\n[decision]'
    (folder / "lawn.toml").write_text(text.replace("\n[decision]", more))
    (finding,) = told(folder, "channel webhook")
    assert not finding.ok and "cannot be read" in finding.says
    assert told(folder, "channel file")[0].ok, "the others are looked at all the same"


def test_a_damaged_database(folder, ledger):
    ledger.close()
    path = folder / "advisor.db"
    body = bytearray(path.read_bytes())
    body[4096:8192] = os.urandom(4096)
    path.write_bytes(bytes(body))
    (finding,) = told(folder, "database")
    assert not finding.ok and finding.fix


def run(*words, home=None):
    return subprocess.run(
        [sys.executable, "-m", "advisor", *words, *(["--home", str(home)] if home else [])],
        capture_output=True, text=True, timeout=60, cwd=ROOT,
    )  # fmt: skip


def test_the_command_has_a_line_each_a_status_and_json(folder, ledger):
    answer = run("doctor", "--now", "2026-09-21T12:00Z", home=folder)
    assert answer.returncode == 0, answer.stdout
    assert len(answer.stdout.splitlines()) == 8 and all(line.startswith("ok") for line in answer.stdout.splitlines())
    answer = run("doctor", "--now", "2026-09-23T12:00Z", "--json", home=folder)
    whole = json.loads(answer.stdout)
    assert answer.returncode == 6 and whole["ok"] is False and whole["schema"] == "advisor.doctor/1"
    assert {row["name"] for row in whole["findings"] if not row["ok"]} == {"source open-meteo", "scheduler"}


def test_health_is_for_monitors(folder, ledger):
    beat(ledger, datetime.now(UTC))
    assert run("service", "health", home=folder).returncode == 0
    beat(ledger, datetime.now(UTC) - timedelta(hours=1))
    answer = run("service", "health", home=folder)
    assert answer.returncode == 1 and "last heartbeat" in answer.stdout


# -- kept beside the program


def test_the_kept_unit_is_what_the_program_prints():
    kept = (ROOT / "scripts" / "systemd" / NAME).read_text()
    assert kept == unit_text("/opt/advisor/bin/advisor")
    for line in ("Type=exec", "Restart=on-failure", "DynamicUser=yes", "StateDirectory=advisor", "UMask=0077",
                 "ProtectSystem=strict", "NoNewPrivileges=yes"):  # fmt: skip
        assert line in kept.splitlines()


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd-analyze is not on this computer")
@pytest.mark.parametrize("user", [False, True])
def test_systemd_itself_finds_nothing_wrong_with_it(tmp_path, user):
    path = tmp_path / NAME
    path.write_text(unit_text(f"{sys.executable} -m advisor", str(tmp_path), user=user))
    mode = ["--user"] if user else []
    answer = subprocess.run(
        ["systemd-analyze", *mode, "verify", "--man=no", path], capture_output=True, text=True, timeout=30
    )
    complaints = [line for line in answer.stderr.splitlines() if NAME in line]
    assert complaints == [], answer.stderr


def test_a_path_with_a_blank_or_a_percent_is_quoted():
    assert '--home "/home/me/my lawn"' in unit_text("/x", "/home/me/my lawn", user=True)
    assert "--home /tmp/50%%" in unit_text("/x", "/tmp/50%", user=True)


def test_the_container_copies_what_is_there_runs_as_nobody_and_asks_for_its_health():
    text = (ROOT / "scripts" / "docker" / "Dockerfile").read_text()
    copied = [word for line in text.splitlines() if line.startswith("COPY") and "--from" not in line
              for word in line.split()[1:-1]]  # fmt: skip
    assert copied and all((ROOT / word).exists() for word in copied)
    ignored = (ROOT / "scripts" / "docker" / "Dockerfile.dockerignore").read_text().splitlines()
    assert {f"!{word}" for word in copied} <= set(ignored)
    assert "\nUSER 10001\n" in text and 'CMD ["advisor", "service", "health"]' in text and "VOLUME /data" in text


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_prints_a_script(shell):
    answer = run("completion", shell)
    assert answer.returncode == 0 and "_ADVISOR_COMPLETE" in answer.stdout
    if shutil.which(shell):
        check = subprocess.run([shell, "-n"], input=answer.stdout, capture_output=True, text=True, timeout=30)
        assert check.returncode == 0, check.stderr
