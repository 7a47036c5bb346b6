"""The log: every line is JSON again, whatever names and sentences say, and whoever wrote before."""

from __future__ import annotations

import datetime as dt
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from hotfolder.finding import Box, Finding, Level, Outcome
from hotfolder.report.log import JobLog
from hotfolder.ticket import Ticket


def lines(path: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in path.read_bytes().decode("utf-8").splitlines()]


def test_a_job_reads_back(tmp_path: Path) -> None:
    finding = Finding(
        code="too_coarse",
        level=Level.HOLD,
        message="Too coarse.",
        measured="72 ppi",
        required="150 ppi",
        page=1,
        box=Box(1, 2, 3, 4.5),
        step="check_pictures",
    )
    with JobLog(tmp_path / "job.log", job="20261125-142257-7f3a9c") as log:
        log.write(
            "ticket read",
            ticket=Ticket.model_validate({"trim": "24x36in", "bleed": "3mm"}),
            origins={"trim": "the file name"},
        )
        log.write("finding", **finding.model_dump(mode="json", exclude_none=True))
        log.write("job finished", outcome=Outcome.HOLD, reason="Too coarse.")
    ticket, found, finished = lines(tmp_path / "job.log")
    assert list(ticket)[:3] == ["time", "event", "job"]
    assert ticket["ticket"]["trim"] == "24x36in"
    assert ticket["ticket"]["bleed"] == "3mm"
    assert found == {
        "time": found["time"],
        "event": "finding",
        "job": "20261125-142257-7f3a9c",
        "code": "too_coarse",
        "level": "hold",
        "message": "Too coarse.",
        "measured": "72 ppi",
        "required": "150 ppi",
        "page": 1,
        "box": [1, 2, 3, 4.5],
        "step": "check_pictures",
    }
    assert finished["outcome"] == "hold"


def test_times_have_their_zone(tmp_path: Path) -> None:
    before = dt.datetime.now(dt.UTC)
    with JobLog(tmp_path / "job.log", job="j") as log:
        log.write("job started")
    written = dt.datetime.fromisoformat(lines(tmp_path / "job.log")[0]["time"])
    assert written.utcoffset() == dt.timedelta(0)
    assert before <= written <= dt.datetime.now(dt.UTC)


@pytest.mark.parametrize(
    "text",
    [
        'line\nbreak, return\r, quote " and \\',
        "null \0, escape \x1b[31m, delete \x7f, C1 \x85 \x9b",
        "separators \u2028 \u2029, turned \u202e gnp.exe, zero width \u200b\ufeff",
        "undecodable \udce9\udcff, half a pair \ud83d",
        "poster ☂ 🎷 café 日本",
        "tag \U000e0041 and \U0010ffff",
        "x" * 200_000,
        "",
    ],
)
def test_any_text_stays_on_its_line_and_reads_back_the_same(tmp_path: Path, text: str) -> None:
    path = tmp_path / "job.log"
    with JobLog(path, job="j") as log:
        log.write("finding", message=text, told=[text, {text: text}])
    written = path.read_bytes().decode("utf-8")
    assert written.endswith("\n")
    assert written[:-1].isprintable()
    assert json.loads(written)["message"] == text
    assert json.loads(written)["told"] == [text, {text: text}]


def test_readable_text_is_not_escaped(tmp_path: Path) -> None:
    with JobLog(tmp_path / "job.log", job="j") as log:
        log.write("job started", file="Café 🎷.pdf")
    assert "Café 🎷.pdf" in (tmp_path / "job.log").read_text(encoding="utf-8")


def test_values_json_does_not_know(tmp_path: Path) -> None:
    loop: list[Any] = []
    loop.append(loop)
    with JobLog(tmp_path / "job.log", job="j") as log:
        log.write(
            "step finished",
            nan=float("nan"),
            infinite=float("inf"),
            path=Path("a/b"),
            raw=b"\xff\n",
            day=dt.date(2026, 11, 25),
            thing=object,
            group={3},
            loop=loop,
        )
    line = lines(tmp_path / "job.log")[0]
    assert (line["nan"], line["infinite"], line["path"]) == ("nan", "inf", "a/b")
    assert (line["raw"], line["day"], line["group"]) == ("\\xff\n", "2026-11-25", [3])
    assert line["thing"] == "<class 'object'>"
    assert "..." in json.dumps(line["loop"])


def test_each_line_is_there_before_the_next(tmp_path: Path) -> None:
    with JobLog(tmp_path / "job.log", job="j") as log:
        for number in range(3):
            log.write("step finished", step=f"step_{number}")
            assert len(lines(tmp_path / "job.log")) == number + 1


def test_another_process_goes_on_after_the_writer_died(tmp_path: Path) -> None:
    path = tmp_path / "job.log"
    script = (
        "import os, sys; from pathlib import Path; from hotfolder.report.log import JobLog\n"
        "log = JobLog(Path(sys.argv[1]), job='j'); log.write('job started', file='a.pdf'); os._exit(9)"
    )
    died = subprocess.run([sys.executable, "-c", script, str(path)], cwd=Path(__file__).parents[2], check=False)
    assert died.returncode == 9
    with path.open("a") as stream:
        stream.write('{"time": "2026-11-25T14:2')  # as a writer leaves it that died within a line
    with JobLog(path, job="j") as log:
        log.write("job finished", outcome="hold")
    assert [(line["event"], line.get("piece")) for line in lines(path)] == [
        ("job started", None),
        ("line cut short", '{"time": "2026-11-25T14:2'),
        ("job finished", None),
    ]
