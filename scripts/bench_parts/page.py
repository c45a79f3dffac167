"""How long the page takes to answer: the first time in a process, and warm. The demonstration lawn, no network."""

from __future__ import annotations

import shutil
import statistics
import tempfile
import time
from pathlib import Path

from advisor.service.clocks import SetClock
from advisor.service.household import HouseholdService
from advisor.store import Store, payloads
from advisor.weather import site_key
from advisor.web import Desk, create_app
from bench_parts.scene import FIXTURES, NOW


def answer_times(runs: int) -> tuple[float, float]:
    """Milliseconds of the first answer with its outlook, and the median of those that follow."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "prairie-lawn"
        shutil.copytree(FIXTURES / "prairie-lawn", home)
        service = HouseholdService.open(home)
        body = (FIXTURES / "weather" / "prairie-open-meteo.json").read_bytes()
        with Store.open(service.database) as store:
            payloads.add(store, source="open-meteo", site=site_key(service.household.site), url="https://example.org/",
                         body=body, fetched_at=NOW)  # fmt: skip
        desk = Desk(service, SetClock(NOW))
        client = create_app(desk).test_client()
        took = []
        for _ in range(runs + 1):
            began = time.perf_counter()
            answer = client.get("/")
            took.append(1e3 * (time.perf_counter() - began))
            if answer.status_code != 200:
                raise SystemExit(f"the page answered {answer.status_code}")
        desk.close()
    return took[0], statistics.median(took[1:])
