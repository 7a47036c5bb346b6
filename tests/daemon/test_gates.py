"""Full disks, folders that can't be written to, shares that go and come back: told once, and work goes on by itself."""

from __future__ import annotations

import os
import subprocess
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from studios import PDF, Stub, make_studio, names
from waiting import running, wait_for

from hotfolder.config.studio import Studio
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.files import Files
from hotfolder.daemon.gates import MB, Gates
from hotfolder.daemon.loop import Daemon
from hotfolder.daemon.places import Places

GB = 1000 * MB


class Disk:
    """How much is free, as the test says."""

    def __init__(self, free: int, total: int = 100 * GB) -> None:
        self.free, self.total = free, total

    def __call__(self, folder: Path) -> tuple[int, int]:
        return self.free, self.total


def daemon(studio: Studio, heard: list[Event], disk: Disk | None = None) -> Daemon:
    given = {"room": disk} if disk else {}
    return Daemon(studio, heard.append, runner=Stub(), events=False, **given)  # type: ignore[arg-type]


def told(heard: list[Event], *kinds: What) -> list[What]:
    return [event.what for event in heard if event.what in (kinds or (What.PAUSED, What.RESUMED, What.AGAIN))]


def outcomes(heard: list[Event]) -> int:
    return sum(event.what is What.FINISHED for event in heard)


def drop(folder: Path, name: str) -> None:
    folder.mkdir(exist_ok=True)
    (folder / name).write_bytes(PDF + name.encode())


def test_nothing_is_taken_while_the_disk_is_too_full(tmp_path: Path) -> None:
    heard: list[Event] = []
    disk = Disk(2 * GB)
    for number in range(5):
        drop(tmp_path / "in", f"a{number}.pdf")
    with running(daemon(replace(make_studio(tmp_path), reserve_mb=3000), heard, disk)):
        wait_for(lambda: What.PAUSED in told(heard))
        time.sleep(1.2)  # several looks
        disk.free = int(3.1 * GB)  # more than the reserve, but not by enough: it would stop and go
        time.sleep(1.2)
        assert len(names(tmp_path / "in")) == 5
        assert told(heard) == [What.PAUSED]
        disk.free = 4 * GB
        wait_for(lambda: outcomes(heard) == 5)
    assert told(heard) == [What.PAUSED, What.RESUMED]
    (paused,) = [event for event in heard if event.what is What.PAUSED]
    assert paused.words == (
        "Only 2 GB are free on this disk, and 3 GB are kept free; no file is taken until there is room again. "
        "Make room, or move what was fetched out of `pass`; work goes on by itself."
    )


def gates(tmp_path: Path, reserve_mb: float | None, disk: Disk) -> Gates:
    return Gates(tmp_path, reserve_mb, 2, [], Places(tmp_path / "p.json", Files()), lambda event: None, disk)


@pytest.mark.parametrize(
    ("reserve_mb", "total", "reserve"), [(None, 500 * GB, 5 * GB), (0, 500 * GB, 0), (250, GB, 250 * MB)]
)
def test_how_much_is_kept_free(tmp_path: Path, reserve_mb: float | None, total: int, reserve: int) -> None:
    assert gates(tmp_path, reserve_mb, Disk(0)).reserve(total) == reserve


def test_the_largest_waiting_file_counts(tmp_path: Path) -> None:
    heard: list[Event] = []
    drop(tmp_path / "in", "a.pdf")
    with (tmp_path / "in" / "b.pdf").open("wb") as stream:  # 1 GB, with nothing in it
        stream.truncate(GB - len(PDF))
        stream.seek(0, os.SEEK_END)
        stream.write(PDF)
    disk = Disk(2 * GB)  # more than 1 % of the disk, less than what two such jobs at once may need
    with running(daemon(make_studio(tmp_path, workers=2, settle=0.5), heard, disk)):
        wait_for(lambda: What.PAUSED in told(heard))
        (tmp_path / "in" / "b.pdf").unlink()
        wait_for(lambda: outcomes(heard) == 1)
    assert told(heard) == [What.PAUSED, What.RESUMED]


def mount(*arguments: object) -> None:
    done = subprocess.run(["mount", *map(str, arguments)], capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip(f"file systems can't be mounted here: {done.stderr.strip()}")


def unmount(folder: Path) -> None:
    subprocess.run(["umount", "--lazy", str(folder)], capture_output=True, check=False)


@pytest.fixture
def share(tmp_path: Path) -> Iterator[Path]:
    """A file system of its own that can be taken off and put back with all that is on it."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        pytest.skip("only root can mount file systems")
    server, share = tmp_path / "server", tmp_path / "share"
    server.mkdir()
    share.mkdir()
    mount("-t", "tmpfs", "none", server)
    mount("--bind", server, share)
    yield share
    unmount(share)
    unmount(server)


def test_a_share_that_goes_and_comes_back(tmp_path: Path, share: Path) -> None:
    heard: list[Event] = []
    studio = make_studio(tmp_path, elsewhere=share)
    with running(daemon(studio, heard)):
        drop(share / "in", "a.pdf")
        wait_for(lambda: outcomes(heard) == 1)
        unmount(share)
        wait_for(lambda: len(told(heard)) == 3)
        time.sleep(1)
        assert names(share) == []  # nothing is made in the empty folder below the share
        mount("--bind", tmp_path / "server", share)
        drop(share / "in", "b.pdf")
        wait_for(lambda: outcomes(heard) == 2)
    assert told(heard) == [What.PAUSED] * 3 + [What.RESUMED] * 3  # in, pass and hold
    assert told(heard, What.UNREACHABLE, What.REACHABLE) == [What.UNREACHABLE, What.REACHABLE]
    assert [name for name in names(share / "pass") if name.endswith(".pdf")] == ["a.pdf", "b.pdf"]


def test_a_share_that_is_away_at_the_start(tmp_path: Path, share: Path) -> None:
    """As after the machine was started, with the network not up yet."""
    heard: list[Event] = []
    drop(share / "in", "a.pdf")
    daemon(make_studio(tmp_path, elsewhere=share), heard).run(until_idle=True)
    unmount(share)
    with running(daemon(make_studio(tmp_path, elsewhere=share), heard)):
        wait_for(lambda: len(told(heard)) == 3)
        assert names(share) == []
        mount("--bind", tmp_path / "server", share)
        drop(share / "in", "b.pdf")
        wait_for(lambda: outcomes(heard) == 2)


class Takes(Stub):
    """The share goes while the job is worked on."""

    def __init__(self, share: Path) -> None:
        super().__init__()
        self.share = share

    def run(self, order, heard=None):  # type: ignore[no-untyped-def]
        unmount(self.share)
        return super().run(order, heard)


def test_a_finished_job_waits_for_the_share_it_belongs_to(tmp_path: Path, share: Path) -> None:
    heard: list[Event] = []
    drop(share / "in", "a.pdf")
    studio = make_studio(tmp_path, elsewhere=share)
    with running(Daemon(studio, heard.append, runner=Takes(share), events=False)):
        wait_for(lambda: len(told(heard, What.PAUSED)) == 3)
        time.sleep(0.7)
        assert names(share) == []
        mount("--bind", tmp_path / "server", share)
        wait_for(lambda: outcomes(heard) == 1)
    assert "a.pdf" in names(share / "pass")
    assert told(heard, What.AGAIN) == []


def test_a_pass_folder_that_may_not_be_written_to(tmp_path: Path, share: Path) -> None:
    heard: list[Event] = []
    (tmp_path / "pass").mkdir()
    mount("--bind", share, tmp_path / "pass")
    try:
        mount("-o", "remount,bind,ro", tmp_path / "pass")
        with running(daemon(make_studio(tmp_path), heard)):
            drop(tmp_path / "in", "a.pdf")
            drop(tmp_path / "in", "b.pdf")
            wait_for(lambda: What.PAUSED in told(heard))
            time.sleep(1.2)
            assert names(tmp_path / "in") == ["a.pdf", "b.pdf"]
            assert names(tmp_path / "spool" / "work") == []
            mount("-o", "remount,bind,rw", tmp_path / "pass")
            wait_for(lambda: outcomes(heard) == 2)
    finally:
        unmount(tmp_path / "pass")
    assert told(heard) == [What.PAUSED, What.RESUMED]
    (paused,) = [event for event in heard if event.what is What.PAUSED]
    assert paused.words == (
        "Nothing can be moved into or out of this folder (Read-only file system); work goes on by itself when it can."
    )


def test_a_disk_that_runs_full_for_real(tmp_path: Path, share: Path) -> None:
    heard: list[Event] = []
    small = tmp_path / "small"
    small.mkdir()
    mount("-t", "tmpfs", "-o", "size=4m", "none", small)
    try:
        (small / "ballast").write_bytes(bytes(3_500_000))
        drop(small / "in", "a.pdf")
        with running(daemon(replace(make_studio(small), reserve_mb=1), heard)):
            wait_for(lambda: What.PAUSED in told(heard))
            (small / "ballast").unlink()
            wait_for(lambda: outcomes(heard) == 1)
        assert told(heard) == [What.PAUSED, What.RESUMED]
    finally:
        unmount(small)
