"""Where it all takes place: the folders and the config of the print shop that is being disturbed."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

CONFIG = """
spool = "spool"
workers = 2
rescan = 0.5
plugins = ["{steps}"]

[routes.quick]
watch = "in"
pass = "pass"
hold = "hold"
settle = 0.2
patience = 8
chain = ["open_pdf", "hold_marked"]

[routes.real]
watch = "in-real"
pass = "pass"
hold = "hold"
settle = 0.2
patience = 8
"""


@dataclass(frozen=True)
class Place:
    """The folders below `root`."""

    root: Path

    @property
    def config(self) -> Path:
        return self.root / "studio.toml"

    @property
    def drops(self) -> Path:
        """What was dropped, one JSON object a line."""
        return self.root / "drops.jsonl"

    @property
    def sights(self) -> Path:
        """What the watcher saw."""
        return self.root / "sights.json"

    @property
    def outside(self) -> Path:
        """Where files lie before they are moved in."""
        return self.root / "outside"

    @property
    def done(self) -> Path:
        return self.root / "spool" / "done"

    def make(self) -> None:
        for name in ("in", "in-real", "pass", "hold", "outside"):
            (self.root / name).mkdir(parents=True, exist_ok=True)
        self.config.write_text(CONFIG.format(steps=Path(__file__).with_name("steps")))


def digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
