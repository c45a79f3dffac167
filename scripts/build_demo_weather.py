#!/usr/bin/env python3
"""Write the invented demonstration weather into fixtures/weather. The same bytes every time.

python scripts/build_demo_weather.py
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / "fixtures" / "weather"

if __name__ == "__main__":
    sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]


def build() -> dict[str, bytes]:
    """The files by name."""
    from demo_weather import prairie, southern

    answers = {"prairie-open-meteo.json": prairie.answer(), "southern-metno.json": southern.answer()}
    return {name: _bytes(answer) for name, answer in answers.items()}


def _bytes(answer: dict) -> bytes:
    """Compact JSON, one series or time step a line, so that a change can be read in a difference."""
    text = json.dumps(answer, ensure_ascii=False, separators=(",", ":"))
    for before, after in (('],"', '],\n"'), ('},{"time"', '},\n{"time"'), ('"hourly":{', '"hourly":{\n')):
        text = text.replace(before, after)
    return (text + "\n").encode()


def main() -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name, body in build().items():
        (FOLDER / name).write_bytes(body)
        print(f"{name}: {len(body):,} bytes")


if __name__ == "__main__":
    main()
