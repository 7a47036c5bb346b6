"""Small studios for the daemon's tests: one route, and a stand-in for the chain that takes no time."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pluggy

from hotfolder import work
from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.config.studio import Limits, Route, Studio
from hotfolder.finding import Finding, Level, Outcome
from hotfolder.hookspecs import PROJECT, Hooks
from hotfolder.loading import Plugins
from hotfolder.names import safe_stem
from hotfolder.record import JobRecord, part_id
from hotfolder.work import Order

PDF = b"%PDF-1.7\n" + b"%" + b"x" * 200 + b"\nstartxref\n9\n%%EOF\n"


def no_plugins() -> Plugins:
    manager = pluggy.PluginManager(PROJECT)
    manager.add_hookspecs(Hooks)
    return Plugins(manager, {}, (Path(),))


def make_studio(
    root: Path,
    *,
    settle: float = 0.0,
    patience: float = 0.2,
    chain: tuple[Any, ...] = (),
    elsewhere: Path | None = None,
    loaded: Plugins | None = None,
    limits: Limits | None = None,
    workers: int = 1,
    rescan: float = 0.5,
) -> Studio:
    """One route, `in` -> `pass` or `hold`; with `elsewhere`, these three lie there and the spool stays below `root`."""
    base = elsewhere or root
    route = Route("posters", base / "in", base / "pass", base / "hold", chain, settle=settle, patience=patience)
    return Studio(
        file=None,
        folder=root,
        spool=root / "spool",
        plugins=loaded or no_plugins(),
        conditions=SHIPPED,
        condition=DEFAULT,
        routes=(route,),
        workers=workers,
        rescan=rescan,
        limits=limits or Limits(),
    )


SIZES = ("A2", "A3")


class Stub:
    """A runner without a process: names that hold "bad" are held, all else passes; the result tells its source.

    A name that begins with "two" is ordered in two sizes; with "half", the second of them is held.
    """

    def __init__(self) -> None:
        self.runs: list[str] = []

    def run(self, order: Order, heard: Callable[[str], None] | None = None) -> JobRecord:
        self.runs.append(order.name)
        data = order.original.read_bytes()
        held = "bad" in order.name or ("half" in order.name and order.part == 2)
        sizes = list(SIZES) if order.name.startswith("two") else []
        size = f"_{sizes[order.part - 1]}" if sizes else ""
        record = JobRecord(
            job=part_id(order.job, order.part, len(sizes)),
            part=order.part,
            sizes=sizes,
            file=order.name.encode("utf-8", "replace").decode(),
            route=order.route,
            arrived=order.arrived,
            finished=dt.datetime.now(dt.UTC),
            outcome=Outcome.HOLD if held else Outcome.PASS,
            bytes=len(data),
            digest=hashlib.sha256(data).hexdigest(),
            attempt=order.attempt,
            findings=[Finding(code="no_good", level=Level.HOLD, message="No good.")] if held else [],
            result_stem=safe_stem(Path(order.name).stem + size),
        )
        if not held:
            (order.out / work.RESULT).write_bytes(b"result of " + data + size.encode())
            record.result_digest = hashlib.sha256(b"result of " + data + size.encode()).hexdigest()
        (order.out / work.LOG).write_text(f"log of {record.digest}\n")
        (order.out / work.REPORT).write_text(f"report of {record.digest}\n")
        (order.out / work.RECORD).write_text(record.model_dump_json())
        return record


def names(folder: Path) -> list[str]:
    """What stands in a folder, hidden files included."""
    return sorted(path.name for path in folder.iterdir()) if folder.exists() else []
