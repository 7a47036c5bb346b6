"""One job, one process: whatever the code in it does, there is a record with a reason, and nothing is left running."""

from __future__ import annotations

import datetime as dt
import os
import shutil
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import psutil
import pytest

from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.config.studio import Limits
from hotfolder.daemon.runner import Runner, Stopped
from hotfolder.finding import Outcome
from hotfolder.loading import load_plugins
from hotfolder.record import JobRecord
from hotfolder.work import LOG, RECORD, REPORT, Order

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plugins")
    shutil.copy(HERE / "wild_steps.py", folder / "wild_steps.py")
    return folder


@pytest.fixture(scope="module")
def runner(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Runner]:
    notes = tmp_path_factory.mktemp("notes")
    os.environ["ONCE"], os.environ["LEFT"] = str(notes / "once"), str(notes / "left")
    # Open, for some deeds reach outside; what a job is kept from is tried in test_confined.py.
    runner = Runner([folder], Limits(seconds=4, memory_mb=300, confine=False))
    yield runner
    runner.close()


def order(folder: Path, root: Path, deed: str) -> Order:
    out = root / "out"
    out.mkdir()
    artwork = root / f"{deed}.bin"
    artwork.write_bytes(b"artwork")
    step = load_plugins([folder]).steps["run_wild"]()
    return Order(
        job="20260101-120000-abc123",
        route="posters",
        name=artwork.name,
        subfolder="",
        original=artwork,
        ticket_files=(),
        out=out,
        arrived=dt.datetime.now(dt.UTC),
        attempt=1,
        chain=(step,),
        ticket={},
        file_names=(),
        subfolders="",
        conditions=SHIPPED,
        condition=DEFAULT,
    )


def codes(record: JobRecord) -> list[str]:
    return [finding.code for finding in record.findings]


DEEDS = [
    ("good", "fine"),
    ("exit", "worker_died"),
    ("crash", "worker_died"),
    ("loop", "too_slow"),
    ("sleep", "too_slow"),
    ("eat", "too_much_memory"),
    ("huge", "fault"),
    ("raise", "fault"),
    ("quit", "worker_died"),
    ("end the parent", "worker_died"),
    ("leave a thread", "fine"),
    ("flood", "worker_died"),
    ("crash once", "fine"),
    ("close everything", "worker_died"),
    ("good", "fine"),
]


@pytest.mark.skipif(sys.platform != "linux", reason="memory is only watched, and processes only copied, on Linux")
@pytest.mark.parametrize(("deed", "code"), DEEDS, ids=[f"{deed}-{place}" for place, (deed, _) in enumerate(DEEDS)])
def test_every_deed_gets_a_record(runner: Runner, folder: Path, tmp_path: Path, deed: str, code: str) -> None:
    record = runner.run(order(folder, tmp_path, deed))
    assert (record.outcome, codes(record)) == (Outcome.HOLD, [code])
    assert {LOG, REPORT, RECORD} <= {path.name for path in (tmp_path / "out").iterdir()}
    assert JobRecord.model_validate_json((tmp_path / "out" / RECORD).read_bytes()) == record
    assert (tmp_path / f"{deed}.bin").read_bytes() == b"artwork"


@pytest.mark.skipif(sys.platform != "linux", reason="strays are only found on Linux")
def test_a_process_left_behind_is_ended(runner: Runner, folder: Path, tmp_path: Path) -> None:
    Path(os.environ["LEFT"]).unlink(missing_ok=True)
    runner.run(order(folder, tmp_path, "leave a process"))
    left = int(Path(os.environ["LEFT"]).read_text())
    end = time.monotonic() + 10
    while psutil.pid_exists(left) and time.monotonic() < end:
        time.sleep(0.05)
    assert not psutil.pid_exists(left)


def test_steps_are_heard_as_they_end(runner: Runner, folder: Path, tmp_path: Path) -> None:
    heard: list[str] = []
    runner.run(order(folder, tmp_path, "good"), heard.append)
    assert heard == ["run_wild"]


def test_the_crash_is_told_in_the_log(runner: Runner, folder: Path, tmp_path: Path) -> None:
    runner.run(order(folder, tmp_path, "crash"))
    log = (tmp_path / "out" / LOG).read_text()
    assert "SIGSEGV" in log
    assert "wild_steps.py" in log  # where it happened


def test_a_new_process_for_each_job_does_the_same(folder: Path, tmp_path: Path) -> None:
    runner = Runner([folder], Limits(seconds=60), copies=False)
    for number, (deed, code) in enumerate([("good", "fine"), ("raise", "fault")]):
        (tmp_path / str(number)).mkdir()
        heard: list[str] = []
        assert codes(runner.run(order(folder, tmp_path / str(number), deed), heard.append)) == [code]
        assert heard == ["run_wild"]
    runner.close()


def test_a_worker_that_dies_over_one_of_several_sizes(runner: Runner, folder: Path, tmp_path: Path) -> None:
    first = replace(order(folder, tmp_path, "exit"), ticket={"trim": "A2 and A3"})
    record = runner.run(first)  # nothing is known of the order's other sizes: the file is held once
    assert (record.job, record.sizes, record.outcome) == (first.job, [], Outcome.HOLD)
    record.sizes = ["A2", "A3"]
    (second,) = first.others(record)
    (tmp_path / "out-2").mkdir()
    record = runner.run(replace(second, out=tmp_path / "out-2"))
    assert (record.job, record.part, str(record.ticket.trim)) == (f"{first.job}-2of2", 2, "A3")
    assert (record.outcome, codes(record)) == (Outcome.HOLD, ["worker_died"])


def test_stop_ends_what_runs(folder: Path, tmp_path: Path) -> None:
    runner = Runner([folder], Limits(seconds=60))
    ended: list[type[BaseException]] = []

    def run() -> None:
        try:
            runner.run(order(folder, tmp_path, "sleep"))
        except Stopped:
            ended.append(Stopped)

    thread = threading.Thread(target=run)
    thread.start()
    time.sleep(1)
    runner.stop()
    thread.join(20)
    assert ended == [Stopped]
    runner.close()
