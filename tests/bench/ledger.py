"""The ledger with one million jobs: each question takes hardly longer than with ten thousand.

Run: .venv/bin/python tests/bench/ledger.py [JOBS] [FOLDER]
"""

from __future__ import annotations

import datetime as dt
import hashlib
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from hotfolder.daemon.ledger import Ledger
from hotfolder.finding import Outcome
from hotfolder.record import JobRecord

BEGIN = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)
TIMES = 200


def record(number: int) -> JobRecord:
    arrived = BEGIN + dt.timedelta(seconds=20 * number)
    return JobRecord(
        job=f"{arrived:%Y%m%d-%H%M%S}-{number:06x}",
        file=f"poster {number}.pdf",
        route="posters",
        arrived=arrived,
        finished=arrived + dt.timedelta(seconds=5),
        outcome=Outcome.HOLD if number % 7 == 0 else Outcome.PASS,
        digest=hashlib.sha256(b"%d" % number).hexdigest(),
    )


def fill(path: Path, count: int) -> None:
    """As the daemon's own calls write it, but in one go."""
    Ledger(path).close()
    text = record(0).model_dump_json()
    with sqlite3.connect(path) as connection:
        connection.executemany(
            "INSERT INTO jobs (job, route, file, digest, state, attempts, outcome, arrived, finished, record) "
            "VALUES (?, 'posters', ?, ?, 'published', 1, ?, ?, ?, ?)",
            (
                (
                    f"{BEGIN + dt.timedelta(seconds=20 * n):%Y%m%d-%H%M%S}-{n:06x}",
                    f"poster {n}.pdf",
                    hashlib.sha256(b"%d" % n).hexdigest(),
                    "hold" if n % 7 == 0 else "pass",
                    (BEGIN + dt.timedelta(seconds=20 * n)).isoformat(timespec="microseconds"),
                    None,
                    text,
                )
                for n in range(count)
            ),
        )
    connection.close()


def ask(path: Path, count: int) -> dict[str, float]:
    """Median seconds of each thing that the daemon and the commands ask of it."""
    start = time.perf_counter()
    ledger = Ledger(path)
    found = {"opening": time.perf_counter() - start}
    numbers = iter(range(count, count + 10 * TIMES))
    calls: dict[str, Callable[[], object]] = {
        "a job is taken": lambda: ledger.claimed(f"new-{next(numbers)}", "posters", "a.pdf", BEGIN, 1),
        "a job is settled": lambda: ledger.settled(record(next(numbers)), "published"),
        "seen before?": lambda: ledger.seen_before(hashlib.sha256(b"%d" % (next(numbers) % count)).hexdigest()),
        "a job by its name": lambda: ledger.record(record(next(numbers) % count).job),
        "jobs at work": lambda: ledger.entries("committed"),
        "the latest 20": lambda: ledger.latest(20),
        "50 old jobs dropped": lambda: ledger.drop(BEGIN + dt.timedelta(days=9999), 50),
    }
    for name, call in calls.items():
        spans = []
        for _ in range(TIMES if "dropped" not in name else 20):
            start = time.perf_counter()
            call()
            spans.append(time.perf_counter() - start)
        found[name] = statistics.median(spans)
    ledger.close()
    return found


def main(most: int, where: Path) -> None:
    small, large = {}, {}
    for count, found in ((10_000, small), (most, large)):
        path = where / f"ledger-{count}.sqlite"
        fill(path, count)
        found.update(ask(path, count))
        print(f"{count:9,} jobs: {path.stat().st_size / 1e6:.0f} MB")
    for name, span in large.items():
        print(f"{name:22} {span * 1000:8.2f} ms, {span / small[name]:5.1f} times that of 10,000 jobs")


if __name__ == "__main__":
    jobs = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    with tempfile.TemporaryDirectory(dir=sys.argv[2] if len(sys.argv) > 2 else None) as folder:
        main(jobs, Path(folder))
