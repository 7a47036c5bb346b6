"""Says what is not as it must be, once all the killing is over and a last daemon has done what was left."""

from __future__ import annotations

import json
import sqlite3
from collections import Counter
from pathlib import Path

import pikepdf
from dropper import MUST, NEVER
from place import Place, digest

from hotfolder.daemon.claiming import out_name
from hotfolder.daemon.ledger import Ledger
from hotfolder.record import JobRecord


def judge(place: Place) -> tuple[list[str], Counter[str]]:
    """What is wrong, and how many of what there was."""
    spool = place.root / "spool"
    wrong = [
        f"left: {path}"
        for folder in (place.root / "in", place.root / "in-real", spool / "work", spool / "damaged", spool / "handing")
        for path in folder.rglob("*")
        if path.is_file() or folder == spool / "work"
    ]
    counts: Counter[str] = Counter()
    outcomes: Counter[str] = Counter()
    accounted: set[str] = set()
    for home in sorted(place.done.iterdir()):
        wrong += judge_job(place, home, outcomes, counts, accounted)
    wrong += judge_drops(place, outcomes, counts)
    there = {f"{folder}/{path.name}" for folder in ("pass", "hold") for path in (place.root / folder).iterdir()}
    wrong += [f"nobody's: {name}" for name in sorted(there - accounted)]
    wrong += judge_sights(place, there, counts)
    return wrong + judge_ledger(place, len(list(place.done.iterdir()))), counts


def judge_job(place: Place, home: Path, outcomes: Counter[str], counts: Counter[str], accounted: set[str]) -> list[str]:
    claim = json.loads((home / "claim.json").read_text())
    record = JobRecord.model_validate_json((home / out_name(1) / "record.json").read_text())
    names = json.loads((home / "published.json").read_text())[record.job]
    assert record.outcome is not None
    folder = record.outcome.value
    accounted |= {f"{folder}/{name}" for name in names}
    outcomes[record.digest] += 1
    counts[folder] += 1
    counts["more than one attempt"] += record.attempt > 1
    counts |= Counter({f"hold: {finding.code}": 0 for finding in record.findings})
    counts.update(f"{folder}: {finding.code}" for finding in record.findings[:1])
    missing = [name for name in names if not (place.root / folder / name).is_file()]
    if missing:
        return [f"{record.job}: missing {missing}"]
    artwork = (place.root / folder / names[-1]).read_bytes()
    wrong = []
    if not any(name.endswith(".log") for name in names):
        wrong.append(f"{record.job} has no log")
    original = artwork if folder == "hold" else (home / "original" / claim["name"]).read_bytes()
    if digest(original) != record.digest:
        wrong.append(f"{record.job}: its original is not what was dropped")
    if folder == "pass":
        if digest(artwork) != record.result_digest:
            wrong.append(f"{record.job}: the result is not what was made")
        try:
            pikepdf.open(place.root / folder / names[-1]).close()
        except pikepdf.PdfError as error:
            wrong.append(f"{record.job}: the result does not open: {error}")
    return wrong


def judge_drops(place: Place, outcomes: Counter[str], counts: Counter[str]) -> list[str]:
    wrong = []
    drops = [json.loads(line) for line in place.drops.read_text().splitlines()]
    known = {drop["digest"] for drop in drops}
    for drop in drops:
        counts["dropped"] += 1
        found = outcomes[drop["digest"]]
        if found > 1 or (drop["fate"] == MUST and found != 1) or (drop["fate"] == NEVER and found):
            wrong.append(f"{drop['way']}: {found} outcomes")
    wrong += [f"somebody's bytes that nobody dropped: {each}" for each in outcomes if each not in known]
    tickets = Counter(
        digest(path.read_bytes())
        for path in [*place.done.glob("*/tickets/*"), *(place.root / "hold").glob("*.ticket.toml")]
    )
    return wrong + [
        f"a ticket is there {tickets[drop['ticket']]} times"
        for drop in drops
        if "ticket" in drop and tickets[drop["ticket"]] != 1
    ]


def judge_sights(place: Place, there: set[str], counts: Counter[str]) -> list[str]:
    seen = json.loads(place.sights.read_text())
    counts["looks"] = seen["looks"]
    wrong = []
    for name, sight in seen["sights"].items():
        if name not in there:
            wrong.append(f"seen and gone again: {name}")
        elif digest((place.root / name).read_bytes()) != sight["digest"]:
            wrong.append(f"seen before it was whole: {name}")
        if sight["log"] is False:
            wrong.append(f"seen before its log: {name}")
    return wrong


def judge_ledger(place: Place, homes: int) -> list[str]:
    path = place.root / "spool" / "ledger.sqlite"
    with sqlite3.connect(path) as connection:
        checked = connection.execute("PRAGMA integrity_check").fetchone()[0]
    ledger = Ledger(path, look=True)
    entries = ledger.entries()
    ledger.close()
    wrong = [] if checked == "ok" else [f"the ledger: {checked}"]
    states = Counter(entry.state for entry in entries)
    return wrong + ([] if states == {"published": homes} else [f"the ledger has {dict(states)} of {homes} jobs"])
