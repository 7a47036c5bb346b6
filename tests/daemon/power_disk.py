"""A disk that forgets: records what a daemon does to its folders, and builds what may be left of it when the power goes.

What is taken for granted is what file systems with a journal grant: a rename is done or not done, never half; a synced
file has its bytes; a synced folder has the names that were changed in it. Nothing else is: bytes that were not synced
may be missing, short or zeros, and names that were not synced may be as before, each on its own or all from one on.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from hotfolder.daemon.files import Files, When

Node = tuple[int, int, int]  # disk, inode, and how often the inode's number was used before
Name = tuple[Node, str]  # the folder's node, and the name in it
LOOKS = {"list", "look", "there", "read", "digest"}


@dataclass(frozen=True)
class Renamed:
    """One change of names, done as a whole or not at all: what each name stands for afterwards; None: it is free."""

    names: tuple[tuple[Name, Node | None], ...]


@dataclass(frozen=True)
class Written:
    node: Node
    data: bytes
    mtime_ns: int


@dataclass(frozen=True)
class Synced:
    node: Node


@dataclass(frozen=True)
class Ledger:
    """The ledger's files. SQLite has its own tests for the loss of power; here they are as they are, older, or gone."""

    files: dict[str, bytes]


Deed = Renamed | Written | Synced | Ledger


@dataclass
class Seen:
    """The folders at one moment."""

    names: dict[Name, Node] = field(default_factory=dict)
    stamps: dict[Node, tuple[int, int, int]] = field(default_factory=dict)
    data: dict[Node, Written] = field(default_factory=dict)  # of those that look different
    ledger: dict[str, bytes] = field(default_factory=dict)


class Recorder(Files):
    """Looks at the folders at every point, and writes down what has changed since the last."""

    def __init__(self, *tops: Path) -> None:
        self.tops = tops
        self.deeds: list[Deed] = []
        self._used: dict[tuple[int, int], int] = {}
        self._alive: set[tuple[int, int]] = set()
        self._lock = threading.RLock()
        self.folders: set[Node] = set()
        self._seen = Seen()
        self._last: dict[Node, Written] = {}
        self._look()
        self.before = len(self.deeds)  # what was there before is on the disk
        self.first = [self._node(top.stat()) for top in tops]

    def point(self, when: When, call: str, path: Path) -> None:
        if call not in LOOKS:
            with self._lock:
                self._look()

    def _flush(self, handle: int) -> None:
        with self._lock:
            self._look()
            self.deeds.append(Synced(self._node(os.fstat(handle))))

    def _node(self, found: os.stat_result) -> Node:
        return found.st_dev, found.st_ino, self._used.get((found.st_dev, found.st_ino), 0)

    def _look(self) -> None:
        now = self._walked()
        while (again := self._walked()).names != now.names:  # another thread moved something under the walk
            now = again
        data = [written for node, written in now.data.items() if self._last.get(node) != written]
        self._last |= now.data  # a new name alone moves a stamp, too
        for gone in self._alive - {node[:2] for node in now.names.values()}:
            self._used[gone] = self._used.get(gone, 0) + 1
        self._alive = {node[:2] for node in now.names.values()}
        self.deeds += [*_changes(self._seen, now), *data]
        if now.ledger != self._seen.ledger:
            self.deeds.append(Ledger(now.ledger))
        self._seen = now

    def _walked(self) -> Seen:
        now = Seen()
        for top in self.tops:
            self._walk(top, self._node(top.stat()), now)
        return now

    def _walk(self, folder: Path, node: Node, now: Seen) -> None:
        try:
            entries = sorted(os.scandir(folder), key=lambda entry: entry.name)
        except FileNotFoundError:
            return
        for entry in entries:
            path = Path(entry.path)
            try:
                found = path.lstat()
                if entry.name.startswith("ledger.sqlite"):
                    if not entry.name.endswith("-shm"):
                        now.ledger[os.fspath(path)] = path.read_bytes()
                    continue
                child = self._node(found)
                if entry.is_dir(follow_symlinks=False):
                    self.folders.add(child)
                else:
                    stamp = (found.st_size, found.st_mtime_ns, found.st_ctime_ns)
                    if self._seen.stamps.get(child) != stamp:
                        now.data[child] = Written(child, path.read_bytes(), found.st_mtime_ns)
                    now.stamps[child] = stamp
                now.names[node, entry.name] = child
                if child in self.folders:
                    self._walk(path, child, now)
            except FileNotFoundError:  # moved on by another thread in this very moment; the next look finds it
                continue


def _changes(before: Seen, now: Seen) -> Iterator[Renamed]:
    """Names that came and went, a move as one change. What came is in the order of the walk: folders before theirs."""
    gone = {name: node for name, node in before.names.items() if name not in now.names}
    moved = {node: name for name, node in gone.items()}
    for name, node in now.names.items():
        if before.names.get(name) == node:
            continue
        left = moved.pop(node, None)
        if left is not None:
            del gone[left]
        yield Renamed((((left, None),) if left else ()) + ((name, node),))
    for name in reversed(gone):
        yield Renamed(((name, None),))


# ---- what is left


class Remains:
    """What may be found on the disk when the power went after the first `k` deeds."""

    def __init__(self, recorder: Recorder, k: int, chance: random.Random) -> None:
        self._recorder, self._chance = recorder, chance
        self._deeds = recorder.deeds[:k]
        self._kept = recorder.before
        self._names = self._left_names()

    def _left_names(self) -> dict[Name, Node]:
        changes = [(at, deed) for at, deed in enumerate(self._deeds) if isinstance(deed, Renamed)]
        sure = {at for at, deed in changes if at < self._kept or self._is_synced(at, deed)}
        ordered = self._chance.random() < 0.4
        last = max(sure, default=0)
        cut = self._chance.choice(
            [last, last, len(self._deeds), self._chance.randint(last, max(last, len(self._deeds)))]
        )
        likely = self._chance.choice([0.0, 0.5, 0.9])
        names: dict[Name, Node] = {}
        earlier: dict[Name, Name] = {}  # where a file still stands whose move was lost
        for at, deed in changes:
            kept = at in sure or (at <= cut if ordered else self._chance.random() < likely)
            if not kept or (at not in sure and not self._fits(deed, names)):  # it builds on one that is lost
                if self._moves(deed):
                    source, target = deed.names[0][0], deed.names[1][0]
                    earlier[target] = earlier.get(source, source)
                continue
            for name, node in deed.names:
                if node is not None:
                    names[name] = node
                else:
                    names.pop(name, None)
                    names.pop(earlier.get(name, name), None)
        return names

    def _moves(self, deed: Renamed) -> bool:
        return len(deed.names) > 1

    def _is_synced(self, at: int, deed: Renamed) -> bool:
        folders = {folder for (folder, _), _ in deed.names}
        return any(isinstance(later, Synced) and later.node in folders for later in self._deeds[at:])

    def _fits(self, deed: Renamed, names: dict[Name, Node]) -> bool:
        if self._moves(deed):
            return names.get(deed.names[0][0]) == deed.names[1][1]
        (name, node) = deed.names[0]
        return node is not None or name in names

    def _data(self, node: Node) -> tuple[bytes, int]:
        """A file's bytes: the last that were synced, with anything or nothing of what was written since."""
        synced, last, written, when = b"", (b"", 1), False, 1
        for at, deed in enumerate(self._deeds):
            if isinstance(deed, Written) and deed.node == node:
                last, written = (deed.data, deed.mtime_ns), True
                if at < self._kept:
                    synced, written, when = deed.data, False, deed.mtime_ns
            elif isinstance(deed, Synced) and deed.node == node:
                synced, written, when = last[0], False, last[1]
        if not written:
            return last
        if synced == last[0]:
            return synced, self._chance.choice([when, last[1]])  # only its date was changed
        data = last[0]
        short = data[: self._chance.randint(0, len(data))]
        return self._chance.choice(
            [synced, short, short + bytes(len(data) - len(short)), bytes(len(data)), data]
        ), last[1]

    def tell(self) -> str:
        """The deeds up to the moment and what is left of them, for those who look for a fault."""
        names = {node: name for name, node in self._names.items()}
        shown = {node: f"{name[1]}#{node[1]}" for node, name in names.items()}
        lines = []
        for at, deed in enumerate(self._deeds):
            if isinstance(deed, Renamed):
                each = [
                    f"{shown.get(folder, folder[1])}/{name} = {node and node[1]}" for (folder, name), node in deed.names
                ]
                lines.append(f"{at} names {each}")
            elif isinstance(deed, Written):
                lines.append(f"{at} written {shown.get(deed.node, deed.node[1])} {deed.data[:150]!r}")
            elif isinstance(deed, Synced):
                lines.append(f"{at} synced {shown.get(deed.node, deed.node[1])}")
        left = [str(path) for top in self._recorder.tops for path in sorted(top.rglob("*"))]
        return "\n".join([*lines, *left])

    def lay_down(self) -> None:
        """Put it into the folders from which it was recorded. Plans name inodes: these are put in step."""
        files: dict[Node, Path] = {}
        inodes: dict[int, int] = {}
        for top, node in zip(self._recorder.tops, self._recorder.first, strict=True):
            shutil.rmtree(top, ignore_errors=True)
            top.mkdir(parents=True)
            inodes[node[1]] = top.stat().st_ino
        for top, node in zip(self._recorder.tops, self._recorder.first, strict=True):
            self._fill(top, node, files, inodes)
        for path in set(files.values()):
            if path.name.startswith("plan") and path.suffix == ".json":
                _put_in_step(path, inodes)
        self._lay_ledger()

    def _fill(self, folder: Path, node: Node, files: dict[Node, Path], inodes: dict[int, int]) -> None:
        for (above, name), child in self._names.items():
            if above != node:
                continue
            path = folder / name
            if child in self._recorder.folders:
                path.mkdir(exist_ok=True)
                inodes[child[1]] = path.stat().st_ino
                self._fill(path, child, files, inodes)
            elif child in files:
                os.link(files[child], path)
            else:
                data, mtime = self._data(child)
                path.write_bytes(data)
                os.utime(path, ns=(mtime, mtime))
                files[child] = path
                inodes[child[1]] = path.stat().st_ino

    def _lay_ledger(self) -> None:
        copies = [deed.files for deed in self._deeds if isinstance(deed, Ledger)]
        fate = self._chance.choice(["whole", "whole", "whole", "older", "gone", "zeros"])
        if not copies or fate == "gone":
            return
        for name, data in (self._chance.choice(copies) if fate == "older" else copies[-1]).items():
            if Path(name).parent.is_dir():
                Path(name).write_bytes(bytes(len(data)) if fate == "zeros" else data)


def _put_in_step(path: Path, inodes: dict[int, int]) -> None:
    try:
        plan = json.loads(path.read_bytes())
    except ValueError:
        return
    stamp = path.stat().st_mtime_ns
    plan["inode"] = inodes.get(plan["inode"], 0)
    plan["marks"] = [[inodes.get(inode, inode), size, mtime] for inode, size, mtime in plan["marks"]]
    path.write_text(json.dumps(plan))
    os.utime(path, ns=(stamp, stamp))
