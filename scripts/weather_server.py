#!/usr/bin/env python3
"""Serve stored weather answers on this computer alone, for trying things without a network.

    python scripts/weather_server.py --open-meteo fixtures/weather/prairie-open-meteo.json --port 8090

and in the household's lawn.toml:

    [weather.hosts]
    open-meteo = "http://127.0.0.1:8090"

With `--now` an answer is moved by whole days, so that it is of the day on which it is asked for: `--now real` for
today, `--now 2026-09-21T12:00Z@3600` for a clock that begins then and runs 3600 times as fast. With `--fresh` the time
of issue is stated anew as well, six hours before it is asked for: a service that runs for days would find it stale, or
still to come. Nothing is asked of anyone, and what is served stays what it was: old or invented weather under another
date.
"""

from __future__ import annotations

import argparse
import json
import re
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from email.utils import format_datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

#: pattern of a path -> (name of the stored answer, type of its content)
PATHS = {
    r"/v1/forecast": ("open-meteo", "application/json; charset=utf-8"),
    r"/v1/ensemble": ("open-meteo-ensemble", "application/json; charset=utf-8"),
    r"/weatherapi/locationforecast/2\.0/": ("met-norway", "application/json"),
    r"/points/": ("nws-points", "application/geo+json"),
    r"/gridpoints/[^/]+/[^/]+/stations": ("nws-stations", "application/geo+json"),
    r"/gridpoints/": ("nws-grid", "application/geo+json"),
    r"/stations/[^/]+/observations": ("nws-observations", "application/geo+json"),
    r"/alerts/active": ("nws-alerts", "application/geo+json"),
}
_DATE = re.compile(r"\d{4}-\d\d-\d\d(?=T\d\d:\d\d)")


def moved(data, days: int):
    """JSON with every date that has a time behind it moved by whole days; times of day stay, and so does the sun."""
    if isinstance(data, dict):
        return {key: moved(value, days) for key, value in data.items()}
    if isinstance(data, list):
        return [moved(value, days) for value in data]
    if isinstance(data, str):
        return _DATE.sub(lambda found: (date.fromisoformat(found[0]) + timedelta(days)).isoformat(), data)
    return data


def day_of(data: dict, query: dict) -> date | None:
    """The day on which an answer was made: its own statement, or its first label and the past days asked for."""
    properties = data.get("properties") or {}
    newest = next(iter(data.get("features") or ()), {}).get("properties") or {}
    stated = (
        properties.get("updateTime")
        or (properties.get("meta") or {}).get("updated_at")
        or data.get("updated")
        or newest.get("timestamp")
    )
    if isinstance(stated, str) and _DATE.match(stated):
        return date.fromisoformat(stated[:10])
    labels = (data.get("hourly") or {}).get("time")
    if labels and isinstance(labels[0], str):
        return date.fromisoformat(labels[0][:10]) + timedelta(int(query.get("past_days", ["0"])[0]))
    return None


def clock(text: str | None) -> Callable[[], datetime] | None:
    """None leaves answers as they are; "real" is the computer's clock; else an instant, and a rate after an @."""
    if text is None:
        return None
    if text == "real":
        return lambda: datetime.now(UTC)
    start, _, rate = text.partition("@")
    begin, anchor = datetime.fromisoformat(start).astimezone(UTC), time.monotonic()
    factor = float(rate or 1.0)
    return lambda: begin + timedelta(seconds=(time.monotonic() - anchor) * factor)


def issued(data, at: datetime):
    """JSON with its time of issue stated anew."""
    properties = data.get("properties") if isinstance(data, dict) else None
    if not isinstance(properties, dict):
        return data
    if "updateTime" in properties:
        properties = {**properties, "updateTime": f"{at:%Y-%m-%dT%H:%M:%S}+00:00"}
    if "updated_at" in (properties.get("meta") or {}):
        properties = {**properties, "meta": {**properties["meta"], "updated_at": f"{at:%Y-%m-%dT%H:%M:%SZ}"}}
    return {**data, "properties": properties}


def server(
    answers: dict[str, bytes], port: int = 0, now: Callable[[], datetime] | None = None, fresh: bool = False
) -> ThreadingHTTPServer:
    """A server on the loopback address; `answers` by the names in `PATHS`. The caller runs and ends it."""

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self):  # noqa: N802
            asked = urlsplit(self.path)
            name, kind = next((where for path, where in PATHS.items() if re.match(path, asked.path)), ("", ""))
            if name not in answers:
                self.answer(404, "application/json", b'{"error":true,"reason":"nothing is stored for this path"}')
                return
            body = answers[name]
            if now is not None:
                data, query = json.loads(body), parse_qs(asked.query)
                made = day_of(data, query)
                if made is not None:
                    data = moved(data, (now().date() - made).days)
                    data = issued(data, now() - timedelta(hours=6)) if fresh else data
                    body = json.dumps(data, ensure_ascii=False).encode()
            self.answer(200, kind, body)

        def answer(self, status: int, kind: str, body: bytes) -> None:
            self.send_response(status)
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def date_time_string(self, timestamp=None):
            return format_datetime(now() if now else datetime.now(UTC), usegmt=True)

        def log_message(self, *_):
            pass

    return ThreadingHTTPServer(("127.0.0.1", port), Handler)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    for name in dict.fromkeys(name for name, _ in PATHS.values()):
        parser.add_argument(f"--{name}", type=Path, metavar="FILE", help=f"stored answer for {name}")
    parser.add_argument("--port", type=int, default=0, help="0 takes a free one, which is printed")
    parser.add_argument("--now", metavar="T[@RATE]", help='move answers to this day; "real" for today')
    parser.add_argument("--fresh", action="store_true", help="with --now: state the time of issue anew too")
    given = vars(parser.parse_args())
    port, now, fresh = given.pop("port"), given.pop("now"), given.pop("fresh")
    files = {name.replace("_", "-"): path for name, path in given.items() if path is not None}
    if not files:
        parser.error("give at least one stored answer, such as --open-meteo FILE")
    try:
        answers = {name: path.read_bytes() for name, path in files.items()}
        serving = server(answers, port, clock(now), fresh)
    except (OSError, ValueError) as error:
        parser.exit(1, f"weather_server: {error}\n")
    print(f"http://127.0.0.1:{serving.server_port}", flush=True)
    try:
        serving.serve_forever()
    except KeyboardInterrupt:
        serving.server_close()


if __name__ == "__main__":
    main()
