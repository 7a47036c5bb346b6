"""The command `jobs`: what became of the latest jobs, read from the ledger beside a daemon that may be at work."""

from __future__ import annotations

from contextlib import closing
from dataclasses import asdict
from pathlib import Path
from typing import Any

from hotfolder.cli.show import as_json, console, level, plain, say, table
from hotfolder.config.reader import load_studio
from hotfolder.daemon.ledger import Entry, HandOver, Ledger
from hotfolder.record import JobRecord
from hotfolder.report.words import show_time

_STATES = {"claimed": "at work", "committed": "being handed on"}
_SENT = {
    "waiting": "on its way to",
    "trying": "NOT handed over to",
    "failed": "NOT handed over to",
    "done": "handed over to",
}


def list_jobs(config: Path, last: int, *, json_: bool) -> None:
    """The latest jobs, the latest at the end. ConfigError where config or ledger can't be read."""
    path = load_studio(config).spool / "ledger.sqlite"
    found: list[tuple[Entry, JobRecord | None, list[HandOver]]] = []
    if path.exists():
        with closing(Ledger(path, look=True)) as ledger:
            found = [(each, ledger.record(each.job), ledger.hand_overs(each.job)) for each in ledger.latest(last)]
    if json_:
        as_json([_data(*each) for each in found])
        return
    if not found:
        say("No job has come yet.")
        return
    rows = table("job", "file", "outcome", "reason", "arrived", "handed over")
    for entry, record, sent in found:
        rows.add_row(
            plain(entry.job),
            plain(record.shown_file if record else entry.file),
            level(entry.outcome if entry.outcome and entry.state == "published" else _STATES.get(entry.state, "")),
            plain(record.reason if record else ""),
            plain(show_time(record.arrived) if record else entry.arrived),
            plain("; ".join(_sent(each) for each in sent)),
        )
    console().print(rows)


def _sent(way: HandOver) -> str:
    words = f"{_SENT[way.state]} {way.place}"
    if way.state == "done" or not way.words:
        return words
    tries = f"tried {way.tries} time{'s' if way.tries > 1 else ''}"
    return f"{words}: {way.words} ({tries}{'' if way.state == 'trying' else ', not tried again'})"


def _data(entry: Entry, record: JobRecord | None, sent: list[HandOver]) -> dict[str, Any]:
    return {
        **asdict(entry),
        "size": record.sizes[record.part - 1] if record and record.sizes else None,
        "reason": record.reason if record else "",
        "hand_overs": [asdict(each) for each in sent],
    }
