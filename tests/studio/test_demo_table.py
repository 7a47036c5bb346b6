"""The demo's table keeps every name whole on one line, in a narrow window as in a wide one."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path

import pytest
from rich.console import Console

from hotfolder import demo
from hotfolder.demo.arrivals import arrivals
from hotfolder.finding import Outcome
from hotfolder.record import JobRecord


@pytest.mark.parametrize("width", [80, 100, 149, 150, 160, 250])
def test_names_stay_whole(tmp_path: Path, width: int) -> None:
    every = arrivals()
    records = [
        JobRecord(job=f"job-{number}", file=arrival.path, route="posters", arrived=dt.datetime.now(dt.UTC))
        for number, arrival in enumerate(every)
    ]
    places = {}
    for record in records:
        record.outcome = Outcome.PASS
        names = (f"{Path(record.file).stem}{ending}" for ending in (".log", ".report.html", ".pdf"))
        places[record.job] = [tmp_path.resolve() / "pass" / name for name in names]
    gathered = demo.Gathered({record.job: record for record in records}, places)
    out = io.StringIO()
    Console(file=out, width=width).print(demo._table(tmp_path, every, gathered, narrow=width < demo._WIDE))
    for record in records:
        stem = Path(record.file).stem
        for name in (record.file, str(Path("pass", f"{stem}.pdf")), str(Path("pass", f"{stem}.report.html"))):
            assert name in out.getvalue()
    assert ".log" not in out.getvalue()
    assert max(map(len, out.getvalue().splitlines())) <= width
