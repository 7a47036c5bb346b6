"""The daemon as a whole, on real folders, with a stand-in for the chain: names, clashes, stops, other daemons."""

from __future__ import annotations

import json
import os
import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from studios import PDF, Stub, make_studio, names
from waiting import running, wait_for

from hotfolder.config.studio import Studio
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.ledger import Ledger
from hotfolder.daemon.loop import Daemon
from hotfolder.daemon.runner import Stopped
from hotfolder.errors import ConfigError
from hotfolder.record import JobRecord
from hotfolder.work import Order


def run(studio: Studio, runner: object | None = None) -> list[Event]:
    heard: list[Event] = []
    Daemon(studio, heard.append, runner=runner or Stub(), events=False).run(until_idle=True)  # type: ignore[arg-type]
    return heard


def drop(root: Path, name: str, data: bytes = PDF) -> None:
    (root / "in").mkdir(exist_ok=True)
    (root / "in" / name).write_bytes(data)


def outcomes(heard: list[Event]) -> list[tuple[str, str]]:
    return sorted((event.file, event.outcome) for event in heard if event.what is What.FINISHED)


NAMES = [
    "plain.pdf",
    "bad plain.pdf",
    "-bad-rf.pdf",
    "bad two\nlines.pdf",
    "bad tab\tand bell\a.pdf",
    "bad party \N{PARTY POPPER}\N{ZERO WIDTH JOINER}\N{SNOWMAN}.pdf",
    "bad no ending",
    "bad trailing dot.",
    "bad trailing space ",
    "bad.tar.gz.pdf",
    "bad" + "n" * 243 + ".pdf",
    "n" * 251 + ".pdf",
    "bad" + "\N{SNOWMAN}" * 80 + ".pdf",
    "bad." + "e" * 200,
    "CON.pdf",
    "bad aux.pdf",
    "bad " + os.fsdecode(b"\xff\xfe caf\xe9.pdf"),
    os.fsdecode(b"caf\xe9.pdf"),
    "bad ../etc.pdf".replace("/", "\N{FRACTION SLASH}"),
    "bad e\N{COMBINING ACUTE ACCENT}.pdf",
    "bad \N{LATIN SMALL LETTER E WITH ACUTE}.pdf",
    "bad \N{RIGHT-TO-LEFT OVERRIDE}fdp.exe",
    "bad $(touch x) `id` ; * ? \" ' % & .pdf",
]


@pytest.mark.skipif(sys.platform != "linux", reason="other systems don't take all of these names")
def test_names_of_every_kind(tmp_path: Path) -> None:
    for number, name in enumerate(NAMES):
        drop(tmp_path, name, PDF + b"%d" % number + b"\nstartxref %%EOF")
    heard = run(make_studio(tmp_path))
    assert names(tmp_path / "in") == []
    assert len(outcomes(heard)) == len(NAMES)
    held, passed = names(tmp_path / "hold"), names(tmp_path / "pass")
    bad = [name for name in NAMES if "bad" in name]
    assert len(held) == 3 * len(bad)
    assert len(passed) == 3 * (len(NAMES) - len(bad))
    for number, name in enumerate(NAMES):
        data = PDF + b"%d" % number + b"\nstartxref %%EOF"
        if name in bad:  # held under the very name it came with, byte for byte
            assert (tmp_path / "hold" / name).read_bytes() == data
        else:
            assert any((tmp_path / "pass" / made).read_bytes() == b"result of " + data for made in passed)
    json_lines = (tmp_path / "spool" / "daemon.log").read_text(encoding="utf-8").splitlines()
    assert all(json.loads(line) for line in json_lines)


def test_a_taken_name_numbers_the_whole_group(tmp_path: Path) -> None:
    for folder in ("pass", "hold"):
        (tmp_path / folder).mkdir()
    (tmp_path / "pass" / "a.report.html").write_text("earlier")
    (tmp_path / "hold" / "bad-2.log").write_text("earlier")
    for _ in range(3):
        drop(tmp_path, "a.pdf")
        drop(tmp_path, "bad.pdf")
        run(make_studio(tmp_path))
    assert names(tmp_path / "pass") == sorted(
        ["a.report.html", *(f"a-{n}{e}" for n in (2, 3, 4) for e in (".pdf", ".log", ".report.html"))]
    )
    assert names(tmp_path / "hold") == sorted(
        ["bad-2.log", *(f"bad{n}{e}" for n in ("", "-3", "-4") for e in (".pdf", ".log", ".report.html"))]
    )


def test_several_sizes_of_one_arrival(tmp_path: Path) -> None:
    drop(tmp_path, "two.pdf")
    drop(tmp_path, "two half.pdf", PDF + b"%%EOF")
    runner = Stub()
    heard = run(make_studio(tmp_path), runner)
    assert outcomes(heard) == [
        ("two half.pdf (A2)", "pass"), ("two half.pdf (A3)", "hold"), ("two.pdf (A2)", "pass"), ("two.pdf (A3)", "pass"),
    ]  # fmt: skip
    assert names(tmp_path / "pass") == sorted(
        f"{stem}{ending}" for stem in ("two half_A2", "two_A2", "two_A3") for ending in (".log", ".pdf", ".report.html")
    )
    assert names(tmp_path / "hold") == ["two half.pdf", "two half_A3.log", "two half_A3.report.html"]
    assert not any(event.what is What.SEEN_BEFORE for event in heard)  # brothers and sisters don't count
    ledger = Ledger(tmp_path / "spool" / "ledger.sqlite")
    ids = [entry.job for entry in ledger.entries("published")]
    assert sorted(job[-5:] for job in ids) == ["-1of2", "-1of2", "-2of2", "-2of2"]
    ledger.close()
    (tmp_path / "spool" / "ledger.sqlite").unlink()
    run(make_studio(tmp_path))  # the ledger is made again from the folders
    ledger = Ledger(tmp_path / "spool" / "ledger.sqlite")
    assert sorted(entry.job for entry in ledger.entries("published")) == sorted(ids)
    ledger.close()


def test_stopped_between_two_sizes(tmp_path: Path) -> None:
    class StoppedAtTheSecond(Stub):
        def run(self, order: Order, heard: Callable[[str], None] | None = None) -> JobRecord:
            if order.part == 2:
                raise Stopped
            return super().run(order, heard)

    drop(tmp_path, "two.pdf")
    daemon: list[Daemon] = []
    heard: list[Event] = []

    def hear(event: Event) -> None:
        heard.append(event)
        if event.what is What.PUT_BACK:
            daemon[0].stop()

    daemon.append(Daemon(make_studio(tmp_path), hear, runner=StoppedAtTheSecond(), events=False))
    daemon[0].run()
    assert names(tmp_path / "in") == ["two.pdf"]
    assert names(tmp_path / "pass") == names(tmp_path / "spool" / "work") == names(tmp_path / "spool" / "done") == []
    assert len(outcomes(run(make_studio(tmp_path)))) == 2


def test_the_same_bytes_are_noticed(tmp_path: Path) -> None:
    drop(tmp_path, "a.pdf")
    run(make_studio(tmp_path))
    drop(tmp_path, "b.pdf")
    heard = run(make_studio(tmp_path))
    (seen,) = [event for event in heard if event.what is What.SEEN_BEFORE]
    assert (seen.file, "a.pdf" in seen.words) == ("b.pdf", True)


def test_a_lost_or_damaged_ledger_is_made_again(tmp_path: Path) -> None:
    drop(tmp_path, "a.pdf")
    drop(tmp_path, "bad.pdf")
    run(make_studio(tmp_path))
    path = tmp_path / "spool" / "ledger.sqlite"
    for damage in (path.unlink, lambda: path.write_bytes(b"no ledger" * 1000)):
        damage()
        run(make_studio(tmp_path))
        ledger = Ledger(path)
        assert [(entry.file, entry.state, entry.outcome) for entry in ledger.entries()] == [
            ("a.pdf", "published", "pass"),
            ("bad.pdf", "published", "hold"),
        ]
        ledger.close()
    assert (tmp_path / "spool" / "ledger.sqlite.damaged-1").exists()


def test_a_second_daemon_on_the_spool_is_refused_in_words(tmp_path: Path) -> None:
    studio = make_studio(tmp_path)
    first = Daemon(studio, lambda event: None, runner=Stub(), events=False)
    with running(first):
        wait_for(lambda: (tmp_path / "spool" / "daemon.log").exists())
        with pytest.raises(ConfigError) as refused:
            run(studio)
    assert refused.value.problems == [
        f"Another hotfolder (process {os.getpid()}) is at work on the spool {tmp_path / 'spool'}. Stop it first, or "
        "set `spool` to a folder of its own in one of the two configs."
    ]


def test_two_daemons_on_one_folder_give_each_file_one_outcome(tmp_path: Path) -> None:
    for number in range(60):
        drop(tmp_path, f"{'bad' if number % 3 == 0 else 'a'}{number}.pdf", PDF + b"%%EOF%d" % number)
    runners = [Stub(), Stub()]
    studios = []
    for number in (1, 2):
        (tmp_path / str(number)).mkdir()
        studios.append(make_studio(tmp_path / str(number), elsewhere=tmp_path, workers=2))
    threads = [threading.Thread(target=run, args=pair) for pair in zip(studios, runners, strict=True)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(runners[0].runs) + len(runners[1].runs) == 60
    assert names(tmp_path / "in") == []
    assert sum(name.endswith(".pdf") for name in names(tmp_path / "pass") + names(tmp_path / "hold")) == 60
    assert not [name for name in names(tmp_path / "pass") + names(tmp_path / "hold") if "-2" in name]


class Slow(Stub):
    """Works until it is let go, or told to stop."""

    def __init__(self) -> None:
        super().__init__()
        self.begun, self.go = threading.Event(), threading.Event()
        self.stopped = False

    def run(self, order: Order, heard: Callable[[str], None] | None = None) -> JobRecord:
        self.begun.set()
        self.go.wait(20)
        if self.stopped:
            raise Stopped
        return super().run(order, heard)


def test_stop_lets_the_running_job_finish_and_takes_no_more(tmp_path: Path) -> None:
    drop(tmp_path, "a.pdf")
    drop(tmp_path, "b.pdf")
    runner = Slow()
    daemon = Daemon(make_studio(tmp_path), lambda event: None, runner=runner, events=False)
    with running(daemon):
        assert runner.begun.wait(10)
        daemon.stop()
        runner.go.set()
    assert names(tmp_path / "in") == ["b.pdf"]
    assert "a.pdf" in names(tmp_path / "pass")


def test_a_job_that_is_stopped_lies_in_the_watched_folder_again(tmp_path: Path) -> None:
    drop(tmp_path, "a.pdf")
    drop(tmp_path, "a.ticket.toml", b"pages = 1")
    runner = Slow()
    runner.stopped = True
    daemon = Daemon(make_studio(tmp_path), lambda event: None, runner=runner, events=False)
    with running(daemon):
        assert runner.begun.wait(10)
        daemon.stop()
        runner.go.set()
    assert names(tmp_path / "in") == ["a.pdf", "a.ticket.toml"]
    assert names(tmp_path / "spool" / "work") == []
    assert outcomes(run(make_studio(tmp_path))) == [("a.pdf", "pass")]


def test_a_job_that_ended_the_daemon_time_and_again_is_held(tmp_path: Path) -> None:
    drop(tmp_path, "a.pdf")
    break_down(make_studio(tmp_path))
    (job,) = (tmp_path / "spool" / "work").iterdir()
    (attempt,) = job.iterdir()
    attempt.rename(job / "a5-cafe")  # as five kills of the daemon leave it
    runner = Stub()
    (finished,) = [event for event in run(make_studio(tmp_path), runner) if event.what is What.FINISHED]
    assert (finished.outcome, runner.runs) == ("hold", [])
    assert (tmp_path / "hold" / "a.pdf").read_bytes() == PDF


class Breaking(Stub):
    """Fails in a way that its author did not foresee."""

    def run(self, order: Order, heard: Callable[[str], None] | None = None) -> JobRecord:
        raise ZeroDivisionError


def break_down(studio: Studio) -> list[Event]:
    """A daemon gives up on what it took; pauses between tries pass faster than in earnest."""
    heard: list[Event] = []
    quick = Daemon(studio, heard.append, runner=Breaking(), events=False, clock=lambda: time.monotonic() * 20)
    quick.run(until_idle=True)
    return heard


def test_an_unforeseen_fault_costs_nothing_but_time(tmp_path: Path) -> None:
    drop(tmp_path, "a.pdf")
    assert What.AGAIN in [event.what for event in break_down(make_studio(tmp_path))]
    assert outcomes(run(make_studio(tmp_path))) == [("a.pdf", "pass")]


def test_a_damaged_job_is_set_aside_whole(tmp_path: Path) -> None:
    drop(tmp_path, "a.pdf")
    break_down(make_studio(tmp_path))
    (claim,) = (tmp_path / "spool" / "work").rglob("claim.json")
    claim.write_bytes(b"\0" * 100)
    heard = run(make_studio(tmp_path))
    assert What.DAMAGED in [event.what for event in heard]
    (original,) = (tmp_path / "spool" / "damaged").rglob("original/a.pdf")
    assert original.read_bytes() == PDF


def test_the_watched_folder_may_go_and_come_back(tmp_path: Path) -> None:
    heard: list[Event] = []
    daemon = Daemon(make_studio(tmp_path), heard.append, runner=Stub())
    with running(daemon):
        wait_for(lambda: What.WATCHING in [event.what for event in heard])
        time.sleep(0.2)
        (tmp_path / "in").rmdir()
        wait_for(lambda: What.UNREACHABLE in [event.what for event in heard])
        drop(tmp_path, "a.pdf")
        wait_for(lambda: outcomes(heard) == [("a.pdf", "pass")])
        drop(tmp_path, "b.pdf")
        wait_for(lambda: len(outcomes(heard)) == 2)


def test_events_make_it_faster_than_the_rescan(tmp_path: Path) -> None:
    heard: list[Event] = []
    studio = make_studio(tmp_path)
    slow = Studio(**{**{name: getattr(studio, name) for name in studio.__slots__}, "rescan": 3600.0})
    with running(Daemon(slow, heard.append, runner=Stub())):
        wait_for(lambda: What.WATCHING in [event.what for event in heard])
        time.sleep(0.3)
        drop(tmp_path, "a.pdf")
        wait_for(lambda: outcomes(heard) == [("a.pdf", "pass")])


def test_many_files_through_few_threads(tmp_path: Path) -> None:
    for number in range(100):
        drop(tmp_path, f"a{number:03}.pdf", PDF + b"%%EOF%d" % number)
    heard = run(make_studio(tmp_path, workers=3))
    assert len(outcomes(heard)) == 100
    assert len(names(tmp_path / "pass")) == 300


@pytest.mark.skipif(not Path("/dev/shm").is_dir(), reason="there is no second file system")
def test_three_daemons_on_one_folder_of_another_disk(tmp_path: Path) -> None:
    """There the artwork is copied, not moved: a hidden name in the watched folder decides who has it."""
    share = Path(tempfile.mkdtemp(prefix="hotfolder-", dir="/dev/shm"))
    try:
        for number in range(30):
            drop(share, f"{'bad' if number % 3 == 0 else 'a'}{number}.pdf", PDF + b"%%EOF%d" % number)
        runners = [Stub() for _ in range(3)]
        threads = []
        for number, runner in enumerate(runners):
            (tmp_path / str(number)).mkdir()
            studio = make_studio(tmp_path / str(number), elsewhere=share, workers=2)
            threads.append(threading.Thread(target=run, args=(studio, runner)))
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        done = [name for name in names(share / "pass") + names(share / "hold") if name.endswith(".pdf")]
        assert sum(len(runner.runs) for runner in runners) == len(done) == 30
        assert (names(share / "in"), [name for name in done if "-2" in name]) == ([], [])
    finally:
        shutil.rmtree(share)
