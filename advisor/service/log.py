"""One event a line: for people on a terminal, JSON elsewhere; UTC, never payloads, never secrets."""

from __future__ import annotations

import contextvars
import json
import logging
import secrets
import sys
import traceback
from datetime import UTC, datetime
from typing import TextIO

from advisor.store.encoding import plain
from advisor.store.masking import masked

RUN_ID: contextvars.ContextVar[str] = contextvars.ContextVar("run_id", default="-")

_LIBRARIES = {"apscheduler": logging.CRITICAL, "urllib3": logging.WARNING, "waitress": logging.WARNING}


def new_run_id() -> str:
    """Start a new run id in this context; lines of one run can be found by it."""
    run_id = secrets.token_hex(4)
    RUN_ID.set(run_id)
    return run_id


def event(
    logger: logging.Logger, name: str, level: int = logging.INFO, *, error=None, **fields: object
) -> None:
    """Log an event with its fields; `error` is an exception whose traceback belongs to the line."""
    logger.log(level, name, extra={"event_fields": fields}, exc_info=error)


class _Formatter(logging.Formatter):
    def parts(self, record: logging.LogRecord) -> dict[str, object]:
        fields = getattr(record, "event_fields", None)
        parts: dict[str, object] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")[:-6] + "Z",
            "level": record.levelname.lower(),
            "event": record.msg if fields is not None else "log",
            "run_id": RUN_ID.get(),
        }
        if fields is None:
            parts["logger"] = record.name
            parts["message"] = record.getMessage()
        for name, value in (fields or {}).items():
            if value is not None:
                parts[name if name not in parts else f"{name}_"] = _writable(value)
        if record.exc_info and record.exc_info[1] is not None:
            parts["traceback"] = "".join(traceback.format_exception(record.exc_info[1]))
        return {name: masked(value) if isinstance(value, str) else value for name, value in parts.items()}


class JsonFormatter(_Formatter):
    def format(self, record: logging.LogRecord) -> str:
        return json.dumps(self.parts(record), ensure_ascii=False)


class HumanFormatter(_Formatter):
    def format(self, record: logging.LogRecord) -> str:
        parts = self.parts(record)
        found = parts.pop("traceback", "")
        head = f"{parts.pop('time')} {parts.pop('level'):<7} {parts.pop('event')}"
        if (run_id := parts.pop("run_id")) != "-":
            parts["run_id"] = run_id
        tail = " ".join(f"{name}={_word(value)}" for name, value in parts.items())
        return f"{head} {tail}".rstrip() + (f"\n{found.rstrip()}" if found else "")


def configure(
    stream: TextIO | None = None, *, level: int = logging.INFO, as_json: bool | None = None
) -> None:
    """Send all logs to a stream (the standard error), in the form that suits it. May be called again."""
    stream = sys.stderr if stream is None else stream
    if as_json is None:
        as_json = not (hasattr(stream, "isatty") and stream.isatty())
    handler = logging.StreamHandler(stream)
    handler.setFormatter(JsonFormatter() if as_json else HumanFormatter())
    handler.set_name("advisor")
    root = logging.getLogger()
    for other in [one for one in root.handlers if one.get_name() == "advisor"]:
        root.removeHandler(other)
    root.addHandler(handler)
    root.setLevel(level)
    for name, least in _LIBRARIES.items():
        logging.getLogger(name).setLevel(max(level, least))


def _writable(value: object) -> object:
    try:
        found = plain(value)
    except TypeError:
        return str(value)
    return (
        found
        if isinstance(found, (str, int, float, bool, type(None)))
        else json.dumps(found, ensure_ascii=False)
    )


def _word(value: object) -> str:
    text = str(value)
    return json.dumps(text, ensure_ascii=False) if not text or any(char in text for char in ' "=\n') else text
