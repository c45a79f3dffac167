"""A weather provider on the loopback, in the three shapes that the program reads, with faults on demand.

The weather is our own invention: a mild day with a daily course, repeated. `bodies` makes the answers,
`WeatherServer` serves them under the providers' own paths.

    with WeatherServer() as server:
        server.fault = "status-503"
        ask("nws", 41.6, -93.6, contact="test@example.org", base=server.base)
"""

from __future__ import annotations

import gzip
import json
import socket
import struct
import threading
import time
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlsplit

from weather_bodies import (
    PROVIDERS,
    ensemble_body,
    forecast_body,
    nws_alerts_body,
    nws_observations_body,
    nws_points_body,
    nws_stations_body,
    with_nulls,
    with_wrong_units,
)

__all__ = ["FAULTS", "PROVIDERS", "WeatherServer", "closed_port", "forecast_body"]

#: what each fault does stands in `_Handler.fault`
FAULTS = (
    "reset", "slow-headers", "slow-body", "redirect-301", "redirect-loop", "status-203",
    "status-304", "status-403",
    "status-404", "status-429-seconds", "status-429-date", "status-500", "status-503", "html",
    "html-200-json-type",
    "truncated", "short-body", "invalid-json", "empty", "wrong-type", "wrong-units", "nulls",
    "stale", "other-place",
    "huge", "gzip-bomb", "damaged-gzip",
)  # fmt: skip

_PAGE = b"<!DOCTYPE html><html><head><title>Access Denied</title></head><body>Reference 18.2</body></html>"


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server: WeatherServer

    def log_message(self, *arguments) -> None:
        pass

    def do_GET(self) -> None:
        outer = self.server.outer
        with outer.lock:
            outer.requests.append((self.path, dict(self.headers)))
        parts = urlsplit(self.path)
        query = parse_qs(parts.query)
        with suppress(BrokenPipeError, ConnectionResetError):
            if parts.path.startswith("/points/"):
                latitude, longitude = (float(text) for text in parts.path.rsplit("/", 1)[1].split(","))
                outer.place = (latitude, longitude)
                self.part("points", nws_points_body(latitude, longitude))
            elif parts.path == "/alerts/active":
                self.part("alerts", nws_alerts_body(*outer.alerts))
            elif parts.path.startswith("/gridpoints/") and parts.path.endswith("/stations"):
                self.part("stations", nws_stations_body(*outer.place, *outer.stations))
            elif parts.path.startswith("/stations/"):
                station = parts.path.split("/")[2]
                self.part("observations", nws_observations_body(*outer.place, self.time(), station=station,
                                                                warmer=outer.warmer))  # fmt: skip
            elif parts.path.startswith("/gridpoints/"):
                self.forecast("nws", self.next_fault("nws"))
            elif parts.path == "/v1/ensemble":
                model = query["models"][0]
                self.part("ensemble", ensemble_body(*outer.place, self.time(), model=model,
                                                    members=outer.members.get(model, 31)))  # fmt: skip
            elif parts.path in ("/v1/forecast", "/v1/archive"):
                outer.place = (float(query["latitude"][0]), float(query["longitude"][0]))
                self.forecast("open-meteo", self.next_fault("open-meteo"))
            elif parts.path.startswith("/weatherapi/locationforecast/2.0/"):
                outer.place = (float(query["lat"][0]), float(query["lon"][0]))
                self.forecast("met-norway", self.next_fault("met-norway"))
            elif parts.path == "/loop":
                self.say(301, b"", "text/plain", {"Location": "/loop"})
            else:
                self.say(404, {"title": "Not Found", "status": 404, "detail": "no such address"})

    def next_fault(self, provider: str) -> str:
        outer = self.server.outer
        with outer.lock:
            return outer.faults.pop(0) if outer.faults else outer.part_faults.get(provider, outer.fault)

    def time(self) -> datetime:
        return self.server.outer.now or datetime.now(UTC)

    def part(self, name: str, body: dict) -> None:
        """What is no forecast: its own fault, or the good answer."""
        kind = "application/json" if name == "ensemble" else "application/geo+json"
        fault = self.server.outer.part_faults.get(name, "")
        latitude, longitude = self.server.outer.place
        self.fault(fault, name, body, kind, {}, latitude, longitude, self.time())

    def say(self, status: int, body, kind: str = "application/json", headers=()) -> None:
        raw = body if isinstance(body, bytes) else json.dumps(body).encode()
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(raw)))
        for name, value in dict(headers).items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(raw)

    def forecast(self, provider: str, fault: str) -> None:
        outer = self.server.outer
        latitude, longitude = outer.place
        now = self.time()
        body = forecast_body(provider, latitude, longitude, now, **outer.size)
        kind = "application/geo+json" if provider == "nws" else "application/json"
        headers = dict(outer.cache_headers)
        if fault == "" and self._unchanged(headers):
            self.send_response(304)
            for name, value in headers.items():
                self.send_header(name, value)
            self.end_headers()
            return
        self.fault(fault, provider, body, kind, headers, latitude, longitude, now)

    def _unchanged(self, headers: dict[str, str]) -> bool:
        asked = {name.lower(): value for name, value in self.headers.items()}
        return bool(headers) and (
            ("ETag" in headers and asked.get("if-none-match") == headers["ETag"])
            or ("Last-Modified" in headers and asked.get("if-modified-since") == headers["Last-Modified"])
        )

    def fault(self, fault, provider, body, kind, headers, latitude, longitude, now) -> None:
        raw = json.dumps(body).encode()
        if fault == "":
            self.say(200, raw, kind, headers)
        elif fault in ("reset", "short-body"):
            self.send_response(200)
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(len(raw)))
            self.end_headers()
            self.wfile.write(raw[: len(raw) // 2])
            self.wfile.flush()
            if fault == "reset":
                time.sleep(0.05)
                self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            self.connection.close() if fault == "reset" else self.connection.shutdown(socket.SHUT_RDWR)
            self.close_connection = True
        elif fault == "slow-headers":
            self.server.outer.closing.wait(2.0)
            self.close_connection = True
        elif fault == "slow-body":
            self.send_response(200)
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(len(raw)))
            self.end_headers()
            for index in range(0, 400):
                self.wfile.write(raw[index : index + 1])
                self.wfile.flush()
                if self.server.outer.closing.wait(0.02):
                    break
            self.close_connection = True
        elif fault == "redirect-301":
            moved = self.path + ("&" if "?" in self.path else "?") + "moved=1"
            if "moved=1" in self.path:
                self.say(200, raw, kind)
            else:
                self.say(301, b"", "text/plain", {"Location": moved})
        elif fault == "redirect-loop":
            self.say(301, b"", "text/plain", {"Location": "/loop"})
        elif fault == "status-203":
            self.say(203, raw, kind)
        elif fault == "status-304":
            self.send_response(304)
            self.end_headers()
        elif fault == "status-403":
            self.say(403, _PAGE, "text/html")
        elif fault == "status-404":
            problem = {"type": "https://api.weather.gov/problems/InvalidPoint", "title": "Data Unavailable",
                       "status": 404, "detail": "Unable to provide data for requested point"}  # fmt: skip
            self.say(404, problem, "application/problem+json")
        elif fault == "status-429-seconds":
            self.say(
                429,
                {"error": True, "reason": "Hourly limit exceeded."},
                headers={"Retry-After": self.server.outer.retry_after},
            )
        elif fault == "status-429-date":
            until = format_datetime(datetime.now(UTC) + timedelta(minutes=30), usegmt=True)
            self.say(429, _PAGE, "text/html", {"Retry-After": until})
        elif fault == "status-500":
            problem = {"type": "urn:noaa:nws:api:UnexpectedProblem", "title": "Unexpected Problem",
                       "status": 500, "detail": "An unexpected problem has occurred."}  # fmt: skip
            self.say(500, problem, "application/problem+json")
        elif fault == "status-503":
            self.say(503, _PAGE, "text/html")
        elif fault == "html":
            self.say(200, _PAGE, "text/html; charset=utf-8")
        elif fault == "html-200-json-type":
            self.say(200, _PAGE, kind)
        elif fault == "truncated":
            self.say(200, raw[: len(raw) * 2 // 3], kind)
        elif fault == "invalid-json":
            self.say(200, raw.replace(b":", b"=", 3), kind)
        elif fault == "empty":
            self.say(200, b"", kind)
        elif fault == "wrong-type":
            self.say(200, raw, "image/png")
        elif fault == "wrong-units":
            self.say(200, with_wrong_units(provider, body), kind)
        elif fault == "nulls":
            self.say(200, with_nulls(provider, body), kind)
        elif fault == "stale":
            self.say(200, forecast_body(provider, latitude, longitude, now - timedelta(days=12)), kind)
        elif fault == "other-place":
            self.say(200, forecast_body(provider, latitude + 3.0, longitude, now), kind)
        elif fault == "huge":
            self.say(200, b'{"padding": "' + b"x" * 3_000_000 + b'"}', kind)
        elif fault == "gzip-bomb":
            self.say(200, _BOMB, kind, {"Content-Encoding": "gzip"})
        elif fault == "damaged-gzip":
            # a block of the kind that RFC 1951 (3.2.3) calls an error, whatever the weather
            self.say(200, gzip.compress(raw)[:10] + b"\xff" * 200, kind, {"Content-Encoding": "gzip"})
        else:
            raise AssertionError(f"no fault is called {fault}")


#: 64 MB of blanks in 64 kB
_BOMB = gzip.compress(b" " * 64 * 1024 * 1024, compresslevel=9)


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    #: tests break connections on purpose
    handle_error = staticmethod(lambda request, address: None)


class WeatherServer:
    """Serves on a free port of the loopback until it is left.

    Attributes
    ----------
    fault : str
        What goes wrong with each forecast: one of `FAULTS`, or nothing.
    faults : list of str
        Faults of the next forecasts, one each, before `fault` counts again; "" is a good answer.
    now : datetime, optional
        The time that the forecasts are made for; the present when not set.
    cache_headers : dict
        ETag, Last-Modified, Expires and the like of a good answer; conditional requests are then answered.
    part_faults : dict
        Faults of other answers than forecasts by name ("points", "alerts", "stations", "observations", "ensemble"),
        and of the forecasts of one provider alone by its name.
    alerts : list of dict
        What the warnings in force say; none are in force when empty.
    stations : list of str
        Stations near the place, the nearest first.
    warmer : float
        By how much stations measure warmer than the forecast is [K].
    members : dict
        How many members a model has; 31 where it is not named.
    size : dict
        How many days the forecasts hold, where it is not the ordinary number: {"days": 4}.
    retry_after : str
        What "status-429-seconds" asks to wait [s].
    requests : list of (path, headers)
        What was asked.
    """

    def __init__(self, now: datetime | None = None):
        self.fault, self.faults, self.now = "", [], now
        self.part_faults: dict[str, str] = {}
        self.size: dict[str, int] = {}
        self.alerts: list[dict] = []
        self.stations, self.warmer, self.members = ["KTST", "KTSU"], 0.0, {}
        self.cache_headers: dict[str, str] = {}
        self.retry_after = "1800"
        self.requests: list[tuple[str, dict[str, str]]] = []
        self.place = (41.6, -93.6)
        self.lock, self.closing = threading.Lock(), threading.Event()
        self._server = _Server(("127.0.0.1", 0), _Handler)
        self._server.outer = self
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True)

    @property
    def base(self) -> str:
        return f"http://127.0.0.1:{self._server.server_address[1]}"

    def __enter__(self) -> WeatherServer:
        self._thread.start()
        return self

    def __exit__(self, *_) -> None:
        self.closing.set()
        self._server.shutdown()
        self._server.server_close()


def closed_port() -> str:
    """Address of a port on which nobody listens."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return f"http://127.0.0.1:{probe.getsockname()[1]}"
