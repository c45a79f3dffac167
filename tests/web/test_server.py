"""The pages beside the service: ports, ends, health, and the whole command. Checks of our own behaviour."""

from __future__ import annotations

import json
import os
import re
import select
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from advisor.errors import UsageError
from advisor.service.clocks import SetClock
from advisor.service.health import Health
from advisor.service.household import HouseholdService
from advisor.web import open_page
from advisor.web.server import is_loopback
from tests.demo_page import FIXTURES, NOW, demo_home

ROOT = Path(__file__).resolve().parent.parent.parent


def fetch(address: str) -> tuple[int, str]:
    try:
        with urllib.request.urlopen(address, timeout=10) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode()


def page_of(home: Path, **given):
    return open_page(HouseholdService.open(home), SetClock(NOW), None, **given)


def test_it_listens_and_ends(tmp_path):
    with page_of(demo_home(tmp_path, members=0), port=0) as page:
        assert page.address.startswith("http://127.0.0.1:")
        assert fetch(page.address)[0] == 200
        assert fetch(f"{page.address}healthz") == (200, "ok\n")
        assert json.loads(fetch(f"{page.address}readyz")[1]) == {"ready": True, "reasons": []}
    with pytest.raises(OSError), socket.create_connection(("127.0.0.1", page.port), timeout=1):
        pass


def test_a_port_that_is_taken_is_told_before_the_service_starts(tmp_path):
    home = demo_home(tmp_path, members=0)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(UsageError, match="cannot listen on 127.0.0.1, port") as caught:
            page_of(home, port=port)
        assert "--port" in str(caught.value)


def test_without_a_port_a_free_one_is_taken_where_the_usual_one_is_not(tmp_path, monkeypatch):
    from advisor.web import server

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        monkeypatch.setattr(server, "DEFAULT_PORT", taken.getsockname()[1])
        with page_of(demo_home(tmp_path, members=0)) as page:
            assert page.port != taken.getsockname()[1] and fetch(page.address)[0] == 200


def test_other_computers_are_let_in_only_with_a_word(tmp_path):
    home = demo_home(tmp_path, members=0)
    with pytest.raises(UsageError, match="open to other computers"):
        page_of(home, host="0.0.0.0", port=0)
    with pytest.raises(UsageError, match="take at least|letters"):
        page_of(home, host="0.0.0.0", port=0, word="short")
    with page_of(home, host="0.0.0.0", port=0, word="a word of some length") as page:
        status, text = fetch(f"http://127.0.0.1:{page.port}/index.json")
        assert status == 401 and "Prairie" not in text


OWN = ("127.0.0.1", "::1", "localhost", "127.8.8.8")
OPEN = ("0.0.0.0", "::", "192.168.1.2", "lawn")


@pytest.mark.parametrize(("host", "own"), [*((one, True) for one in OWN), *((one, False) for one in OPEN)])
def test_which_addresses_are_this_computers_own(host, own):
    assert is_loopback(host) is own


def test_readiness_knows_of_a_service_that_stands_still(tmp_path):
    page = open_page(HouseholdService.open(demo_home(tmp_path, members=0)), SetClock(NOW), Health(), port=0)
    with page:
        status, text = fetch(f"{page.address}readyz")
        assert status == 503 and "the service has never run" in text
        assert "the service has never run" in fetch(page.address)[1]


def test_the_command_opens_the_page_and_ends_on_a_signal(tmp_path):
    home = demo_home(tmp_path, members=0)
    environment = {name: value for name, value in os.environ.items() if not name.startswith("ADVISOR")}
    command = [sys.executable, "-m", "advisor", "serve", "--home", str(home), "--port", "0", "--heartbeat", "3600",
               "--clock", "2026-09-21T12:00Z@1"]  # fmt: skip
    process = subprocess.Popen(
        command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    )
    try:
        address = _address(process, 30.0)
        assert address is not None, "no line page_opened"
        status, text = fetch(address)
        assert status == 200 and "Prairie lawn" in text
        process.send_signal(signal.SIGTERM)
        assert process.wait(timeout=15) == 0
        port = int(re.search(r":(\d+)/", address).group(1))
        with pytest.raises(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
            pass
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()
        process.stderr.close()


def _address(process: subprocess.Popen, seconds: float) -> str | None:
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline and process.poll() is None:
        if select.select([process.stderr], [], [], 0.2)[0]:
            found = re.search(r'page_opened.*?"?address"?[=:] ?"?(http://[^"\s]+)', process.stderr.readline())
            if found:
                return found.group(1)
    return None


def test_the_command_refuses_an_open_address_without_a_word(tmp_path):
    home = demo_home(tmp_path, members=0)
    for given, status in ((["--host", "0.0.0.0"], 2), (["--word-file", str(tmp_path / "none")], 2)):
        command = [sys.executable, "-m", "advisor", "serve", "--home", str(home), "--port", "0", *given]
        run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=60)
        assert run.returncode == status and "Traceback" not in run.stderr, run.stderr
        assert "word" in run.stderr


def test_the_demonstration_is_where_it_is_said_to_be():
    assert (FIXTURES / "weather" / "prairie-open-meteo.json").is_file()
