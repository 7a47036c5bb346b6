"""Looks at `pass` and `hold` all the time, and notes what each file was like when it was first seen."""

from __future__ import annotations

import json
import os
import signal
import time
from pathlib import Path
from types import FrameType

from place import Place, digest


def watch(place: Place) -> None:
    """Until SIGTERM; then what was seen is written down."""
    sights: dict[str, dict[str, object]] = {}
    asked: list[int] = []

    def stop(number: int, frame: FrameType | None) -> None:
        asked.append(number)

    signal.signal(signal.SIGTERM, stop)
    looks = 0
    while not asked:
        looks += 1
        time.sleep(0.0005)  # leaves the others something of the machine
        for folder in ("pass", "hold"):
            for name in os.listdir(place.root / folder):
                shown = f"{folder}/{name}"
                if shown not in sights and not name.startswith("."):
                    sights[shown] = first_sight(place.root / shown)
    place.sights.write_text(json.dumps({"looks": looks, "sights": sights}))


def first_sight(path: Path) -> dict[str, object]:
    with path.open("rb") as stream:
        found = digest(stream.read())
    log = path.with_name(path.stem + ".log").exists() if path.suffix == ".pdf" else None
    return {"digest": found, "log": log}
