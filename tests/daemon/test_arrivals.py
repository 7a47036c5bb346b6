"""When a file may be taken: not before it has come to rest, and never what is no artwork."""

from __future__ import annotations

import errno
import mmap
import os
import socket
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from studios import PDF

from hotfolder.daemon.arrivals import Arrivals, State, is_written_to
from hotfolder.daemon.files import Files, Stamp

Writer = Callable[[Path], Iterator[None]]


class Clock:
    """A clock that stands still until it is moved."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


class Room:
    """A watched folder, looked at by a clock that the test moves."""

    def __init__(self, root: Path, files: Files | None = None) -> None:
        self.root, self.clock, self.told = root, Clock(), list[tuple[str, str]]()
        root.mkdir(exist_ok=True)
        self.arrivals = Arrivals("posters", root, 2.0, 60.0, files or Files(), self.clock, self._tell)

    def _tell(self, what: str, path: Path, words: str) -> None:
        self.told.append((what, path.name))

    def after(self, seconds: float) -> dict[str, State]:
        self.clock.now += seconds
        self.arrivals.sweep()
        return {arrival.name: arrival.state for arrival in self.arrivals.ready}


@pytest.fixture
def room(tmp_path: Path) -> Room:
    return Room(tmp_path / "in")


def test_a_file_at_rest_is_ready_after_the_settle_time(room: Room) -> None:
    (room.root / "a.pdf").write_bytes(PDF)
    assert room.after(0) == {}
    assert room.after(1.9) == {}
    assert room.after(0.2) == {"a.pdf": State.READY}


def test_one_look_is_never_enough(room: Room) -> None:
    (room.root / "a.pdf").write_bytes(PDF)
    assert room.after(100) == {}
    assert room.after(100) == {"a.pdf": State.READY}


def grow(path: Path) -> None:
    with path.open("ab") as stream:
        stream.write(b"\n")


def grow_with_old_time(path: Path) -> None:
    grow(path)
    os.utime(path, (0, 0))


def fill(path: Path) -> None:
    """Rewritten in place, with size and mtime as they were: only ctime tells."""
    before = path.stat()
    with path.open("r+b") as stream:
        stream.seek(20)
        stream.write(b"y" * 20)
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


def replace_by_rename(path: Path) -> None:
    other = path.with_name(".other")
    other.write_bytes(PDF)
    other.replace(path)


@pytest.mark.parametrize("change", [grow, grow_with_old_time, fill, replace_by_rename])
def test_every_kind_of_writing_starts_the_wait_anew(room: Room, change: object) -> None:
    path = room.root / "a.pdf"
    path.write_bytes(PDF)
    os.utime(path, (10**9, 10**9))
    room.after(0)
    for _ in range(3):
        assert callable(change)
        change(path)
        assert room.after(1.5) == {}
    room.after(1.5)
    assert room.after(1.5) == {"a.pdf": State.READY}


def test_a_file_that_comes_by_rename_is_found(room: Room, tmp_path: Path) -> None:
    (tmp_path / "a.pdf").write_bytes(PDF)
    (tmp_path / "a.pdf").rename(room.root / "a.pdf")
    room.after(0)
    assert room.after(2) == {"a.pdf": State.READY}


def test_times_in_the_past_and_future_change_nothing(room: Room) -> None:
    for name, when in (("old.pdf", 0), ("new.pdf", 4_000_000_000)):
        (room.root / name).write_bytes(PDF)
        os.utime(room.root / name, (when, when))
    room.after(0)
    assert sorted(room.after(2)) == ["new.pdf", "old.pdf"]


@pytest.mark.parametrize(
    ("data", "state"), [(PDF[:100], State.CUT_SHORT), (b"", State.EMPTY)], ids=["cut short", "empty"]
)
def test_an_unfinished_file_is_given_up_after_the_patience(room: Room, data: bytes, state: State) -> None:
    (room.root / "a.pdf").write_bytes(data)
    room.after(0)
    assert room.after(59) == {}
    assert room.arrivals.waiting == 1
    assert room.after(2) == {"a.pdf": state}


def write_beside_and_rename(folder: Path) -> Iterator[None]:
    """As many programs save: a hidden or temporary name first, then over the one that was there."""
    (folder / "a.pdf").write_bytes(PDF[:50])
    yield
    (folder / "a.pdf.tmp").write_bytes(PDF)
    yield
    (folder / "a.pdf.tmp").replace(folder / "a.pdf")
    yield


def truncate_and_rewrite(folder: Path) -> Iterator[None]:
    (folder / "a.pdf").write_bytes(PDF)
    yield
    os.truncate(folder / "a.pdf", 0)
    yield
    with (folder / "a.pdf").open("r+b") as stream:
        stream.write(PDF[:100])
    yield
    (folder / "a.pdf").write_bytes(PDF)
    yield


def reserve_room_and_fill(folder: Path) -> Iterator[None]:
    """As copying programs do that ask for all the room first: the size is right from the beginning."""
    with (folder / "a.pdf").open("wb") as stream:
        stream.truncate(len(PDF))
    yield
    for at in (0, 100):
        with (folder / "a.pdf").open("r+b") as stream:
            stream.seek(at)
            stream.write(PDF[at : at + 100])
        yield
    (folder / "a.pdf").write_bytes(PDF)
    yield


def copy_in_bursts_with_an_old_time(folder: Path) -> Iterator[None]:
    for at in range(0, len(PDF), 70):
        with (folder / "a.pdf").open("ab") as stream:
            stream.write(PDF[at : at + 70])
        os.utime(folder / "a.pdf", (10**9, 10**9))
        yield


def take_away_and_bring_back(folder: Path) -> Iterator[None]:
    (folder / "a.pdf").write_bytes(PDF)
    yield
    (folder / "a.pdf").rename(folder.parent / "elsewhere.pdf")
    yield
    (folder.parent / "elsewhere.pdf").rename(folder / "a.pdf")
    yield


WRITERS = [
    write_beside_and_rename, truncate_and_rewrite, reserve_room_and_fill, copy_in_bursts_with_an_old_time,
    take_away_and_bring_back,
]  # fmt: skip


@pytest.mark.parametrize("pause", [0.3, 1.9])
@pytest.mark.parametrize("writer", WRITERS)
def test_programs_that_write_in_their_own_way(room: Room, writer: Writer, pause: float) -> None:
    for _ in writer(room.root):
        assert room.after(pause) == {}
    assert (room.root / "a.pdf").read_bytes() == PDF
    room.after(1)
    assert room.after(2) == {"a.pdf": State.READY}


def test_a_file_that_is_mapped_into_a_program_is_left_alone(room: Room) -> None:
    """Closed, but what is written into the mapped memory still changes it, at any time and without a new date."""
    path = room.root / "a.pdf"
    path.write_bytes(PDF)
    with path.open("r+b") as stream:
        mapped = mmap.mmap(stream.fileno(), 0)
    if not is_written_to(path):
        mapped.close()
        pytest.skip("this system does not tell")
    room.after(0)
    assert room.after(30) == {}
    mapped[20:40] = b"y" * 20
    mapped.close()
    room.after(0)
    assert room.after(2) == {"a.pdf": State.READY}


def test_a_clock_that_is_set_changes_no_wait(room: Room) -> None:
    """Waits are measured by a clock that can't be set; dates of files are compared with one another only."""
    path = room.root / "a.pdf"
    path.write_bytes(PDF)
    room.after(0)
    os.utime(path, (4_000_000_000, 4_000_000_000))  # written on by a server with another time
    assert room.after(1.5) == {}
    os.utime(path, (1, 1))
    assert room.after(1.5) == {}
    assert room.after(1.9) == {}
    assert room.after(0.2) == {"a.pdf": State.READY}


def test_a_ticket_is_known_by_its_name_however_a_system_writes_it(room: Room) -> None:
    """One system writes an accented letter as one sign, another as two (Unicode Standard Annex 15); some change case."""
    (room.root / "Cafe\N{COMBINING ACUTE ACCENT}.pdf").write_bytes(PDF)
    (room.root / "caf\N{LATIN SMALL LETTER E WITH ACUTE}.ticket.toml").write_bytes(b"pages = 1")
    (room.root / "STRASSE.pdf").write_bytes(PDF)
    (room.root / "stra\N{LATIN SMALL LETTER SHARP S}e.Ticket.TOML").write_bytes(b"pages = 1")
    room.after(0)
    room.after(3)
    assert sorted(arrival.tickets for arrival in room.arrivals.ready) == [
        ("caf\N{LATIN SMALL LETTER E WITH ACUTE}.ticket.toml",),
        ("stra\N{LATIN SMALL LETTER SHARP S}e.Ticket.TOML",),
    ]


def test_names_that_differ_in_signs_only_are_files_of_their_own(room: Room) -> None:
    for name in ("e\N{COMBINING ACUTE ACCENT}.pdf", "\N{LATIN SMALL LETTER E WITH ACUTE}.pdf", "A.pdf", "a.pdf"):
        (room.root / name).write_bytes(PDF)
    there = sorted(path.name for path in room.root.iterdir())  # some disks keep fewer
    room.after(0)
    assert sorted(room.after(3)) == there


def test_an_empty_file_that_is_filled_late_is_ready(room: Room) -> None:
    (room.root / "a.pdf").touch()
    room.after(0)
    room.after(50)
    (room.root / "a.pdf").write_bytes(PDF)
    room.after(0)
    assert room.after(3) == {"a.pdf": State.READY}


def test_a_file_that_is_open_for_writing_is_left_alone(room: Room) -> None:
    path = room.root / "a.pdf"
    path.write_bytes(PDF)
    with path.open("ab"):
        if not is_written_to(path):
            pytest.skip("this file system grants no leases")
        room.after(0)
        assert room.after(30) == {}
        assert room.after(31) == {}
        assert room.told == [("open", "a.pdf")]
        assert room.arrivals.waiting == 0  # it does not keep the daemon from being idle
    assert room.after(0) == {"a.pdf": State.READY}


IGNORED = [
    ".hidden.pdf", "~$poster.pdf", "poster.pdf~", "poster.TMP", "poster.pdf.part", "poster.pdf.crdownload",
    "desktop.ini", "Thumbs.db", ".DS_Store", "._poster.pdf", "poster.pdf.filepart", "Icon\r", "poster.ticket.toml",
    "poster.pdf.ticket.JSON",
]  # fmt: skip


@pytest.mark.parametrize("name", IGNORED)
def test_ignored_names(room: Room, name: str) -> None:
    (room.root / name).write_bytes(PDF)
    (room.root / "seen.pdf").write_bytes(PDF)
    room.after(0)
    assert list(room.after(100)) == ["seen.pdf"]
    assert room.told == []


def test_links_pipes_and_sockets_are_refused_in_words_once(room: Room, tmp_path: Path) -> None:
    (tmp_path / "secret.pdf").write_bytes(PDF)
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "b.pdf").write_bytes(PDF)
    (room.root / "link.pdf").symlink_to(tmp_path / "secret.pdf")
    (room.root / "folder").symlink_to(tmp_path / "other")
    (room.root / "round").symlink_to(room.root)
    os.mkfifo(room.root / "pipe.pdf")
    with socket.socket(socket.AF_UNIX) as server:
        os.chdir(room.root)
        server.bind("socket.pdf")
        room.after(0)
        assert room.after(100) == {}
        os.chdir("/")
    assert sorted(room.told) == sorted(
        ("refused", name) for name in ("link.pdf", "folder", "round", "pipe.pdf", "socket.pdf")
    )


def test_subfolders_are_looked_through_and_named(room: Room) -> None:
    deep = room.root / "quay market" / "march"
    deep.mkdir(parents=True)
    (room.root / ".trash").mkdir()
    (room.root / ".trash" / "x.pdf").write_bytes(PDF)
    (room.root / "folder.pdf").mkdir()
    (deep / "a.pdf").write_bytes(PDF)
    room.after(0)
    room.after(3)
    (arrival,) = room.arrivals.ready
    assert (arrival.subfolder, arrival.path) == ("quay market/march", deep / "a.pdf")


def test_tickets_belong_to_their_artwork_and_must_rest_too(room: Room) -> None:
    for name in ("jazz.pdf", "jazz.jpg", "blues.pdf", "blues.pdf.ticket.toml", "jazz.ticket.toml"):
        (room.root / name).write_bytes(b"hello")
    (room.root / "blues.ticket.json").write_bytes(b"{}")
    room.after(0)
    grow(room.root / "blues.pdf.ticket.toml")
    assert sorted(room.after(2)) == ["jazz.jpg", "jazz.pdf"]
    room.after(2)
    ready = {arrival.name: (arrival.tickets, sorted(arrival.shared)) for arrival in room.arrivals.ready}
    assert ready == {
        "jazz.pdf": (("jazz.ticket.toml",), ["jazz.ticket.toml"]),
        "jazz.jpg": (("jazz.ticket.toml",), ["jazz.ticket.toml"]),
        "blues.pdf": (("blues.ticket.json", "blues.pdf.ticket.toml"), []),
    }


def test_a_folder_that_is_away_is_not_an_empty_folder(room: Room, tmp_path: Path) -> None:
    (room.root / "a.pdf").write_bytes(PDF)
    room.after(0)
    room.root.rename(tmp_path / "away")
    for _ in range(3):
        room.after(1)
    assert room.told == [("unreachable", "in")]
    (tmp_path / "away").rename(room.root)
    assert room.after(1) == {"a.pdf": State.READY}
    assert room.told == [("unreachable", "in"), ("reachable", "in")]


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can become somebody who may not read a file")
def test_a_file_that_may_not_be_read_is_given_up_after_the_patience(room: Room) -> None:
    for parent in room.root.parents:
        if parent.is_relative_to(tempfile.gettempdir()) and parent != Path(tempfile.gettempdir()):
            parent.chmod(0o755)  # pytest keeps its folders closed to others
    path = room.root / "a.pdf"
    path.write_bytes(PDF)
    path.chmod(0)
    # Of a process that is root, the file system asks the effective user; Linux and macOS alike.
    os.seteuid(65534)
    try:
        for parent in room.root.parents:
            if not os.access(parent, os.X_OK, effective_ids=True):
                pytest.skip("the temporary folder is closed to others")
        room.after(0)
        assert room.after(50) == {}
        assert room.after(11) == {"a.pdf": State.UNREADABLE}
    finally:
        os.seteuid(0)


class Failing(Files):
    """A disk on which one name can't be looked at."""

    def __init__(self, name: str) -> None:
        self.name = name

    def look(self, path: Path) -> Stamp | None:
        if path.name == self.name:
            raise OSError(errno.EIO, os.strerror(errno.EIO), os.fspath(path))
        return super().look(path)


def test_one_file_that_can_not_be_looked_at_is_told_once_and_keeps_no_other_back(tmp_path: Path) -> None:
    files = Failing("bad.pdf")
    room = Room(tmp_path / "in", files)
    for name in ("a.pdf", "bad.pdf"):
        (room.root / name).write_bytes(PDF)
    for _ in range(5):
        room.after(3)
        room.arrivals.look_again()
    assert [arrival.name for arrival in room.arrivals.ready] == ["a.pdf"]
    assert (room.told, room.arrivals.waiting) == ([("unreachable", "bad.pdf")], 0)
    files.name = ""
    room.after(3)
    assert sorted(room.after(3)) == ["a.pdf", "bad.pdf"]
    assert room.told == [("unreachable", "bad.pdf"), ("reachable", "bad.pdf")]


def test_a_file_in_trouble_that_is_taken_away_is_in_trouble_no_more(tmp_path: Path) -> None:
    room = Room(tmp_path / "in", Failing("bad.pdf"))
    (room.root / "bad.pdf").write_bytes(PDF)
    room.after(3)
    (room.root / "bad.pdf").unlink()
    room.after(3)
    assert room.told == [("unreachable", "bad.pdf"), ("reachable", "bad.pdf")]
