"""Drops files in every way that people and programs do it, and notes for each whether it has to have an outcome."""

from __future__ import annotations

import contextlib
import json
import os
import random
import time
from pathlib import Path

from place import Place, digest

from hotfolder.testing import make_pdf

MUST, MAY, NEVER = "must", "may", "never"  # have an outcome: exactly one, one at most, none
_MOST_WAITING = 30


class Dropper:
    """One who drops. Nothing is dropped while many files wait: what is dropped has to be done in the end."""

    def __init__(self, place: Place, seed: int) -> None:
        self.place, self.chance, self.number = place, random.Random(seed), 0
        self.notes = place.drops.open("a", encoding="utf-8")
        small = make_pdf(place.root / "small.pdf", trim_mm=(60, 80)).read_bytes()
        large = make_pdf(place.root / "large.pdf", trim_mm=(60, 80), content=b"% " + os.urandom(150_000).hex().encode())
        self.bodies = [small, small, small, large.read_bytes()]
        self.poster = make_pdf(place.root / "poster.pdf").read_bytes()

    def drop_until(self, end: float) -> None:
        ways = [
            self.slow_copy, self.copy_and_rename, self.replace, self.rewrite, self.delete, self.folder, self.many,
            self.with_ticket, self.cut_short, self.old_date, self.empty_at_first,
        ]  # fmt: skip
        real = 0.0
        while time.time() < end:
            if len(os.listdir(self.place.root / "in")) > _MOST_WAITING:
                time.sleep(0.05)
                continue
            self.chance.choice(ways)()
            if time.time() - real > 12:
                real = time.time()
                self.real()
            time.sleep(self.chance.uniform(0, 0.15))

    # ---- what is dropped

    def new(self) -> tuple[Path, bytes]:
        self.number += 1
        bad = "-bad" if self.chance.random() < 0.4 else ""
        return self.place.root / "in" / f"d{self.number:05}{bad}.pdf", self.content()

    def content(self) -> bytes:
        return self.chance.choice(self.bodies) + f"\n% {self.chance.getrandbits(64):x}\n".encode()

    def note(self, data: bytes, fate: str, way: str, **more: str) -> None:
        self.notes.write(json.dumps({"digest": digest(data), "fate": fate, "way": way, **more}) + "\n")
        self.notes.flush()

    def pause(self, longest: float) -> None:
        time.sleep(self.chance.uniform(0, longest))

    def bring(self, path: Path, data: bytes) -> None:
        """Whole from its first moment."""
        beside = self.place.outside / path.name
        beside.write_bytes(data)
        beside.replace(path)

    # ---- the ways

    def slow_copy(self) -> None:
        path, data = self.new()
        with path.open("wb") as stream:
            for part in range(0, len(data), len(data) // 4 + 1):
                stream.write(data[part : part + len(data) // 4 + 1])
                stream.flush()
                self.pause(0.3)
        self.note(data, MUST, "slow copy")

    def copy_and_rename(self) -> None:
        path, data = self.new()
        hidden = path.with_name(path.name + ".part")
        hidden.write_bytes(data)
        self.pause(0.2)
        hidden.rename(path)
        self.note(data, MUST, "copy and rename")

    def replace(self) -> None:
        """Another file under the same name; the first may be gone already, or still lie there."""
        path, first = self.new()
        second = self.content()
        self.bring(path, first)
        self.pause(0.8)
        self.bring(path, second)
        self.note(first, MAY, "replaced")
        self.note(second, MUST, "replacing")

    def rewrite(self) -> None:
        """The same file written anew, perhaps while the daemon takes it."""
        path, first = self.new()
        second = self.content()
        self.bring(path, first)
        self.pause(0.5)
        try:
            stream = path.open("r+b")
        except FileNotFoundError:
            self.note(first, MUST, "taken before it was rewritten")
            return
        with stream:
            self.pause(0.1)
            stream.truncate(0)
            stream.write(second[: len(second) // 2])
            stream.flush()
            self.pause(0.2)
            stream.write(second[len(second) // 2 :])
        self.note(first, MAY, "rewritten")
        self.note(second, MUST, "rewriting")

    def delete(self) -> None:
        path, data = self.new()
        self.bring(path, data)
        self.pause(0.6)
        try:
            path.unlink()
        except FileNotFoundError:
            self.note(data, MUST, "taken before it was deleted")
        else:
            self.note(data, NEVER, "deleted")

    def folder(self) -> None:
        self.number += 1
        folder = self.place.outside / f"folder-{self.number}"
        folder.mkdir()
        dropped = [self.new() for _ in range(3)]
        for path, data in dropped:
            (folder / path.name).write_bytes(data)
        folder.rename(self.place.root / "in" / folder.name)
        for _, data in dropped:
            self.note(data, MUST, "folder")

    def many(self) -> None:
        dropped = [self.new() for _ in range(12)]
        for path, data in dropped:
            path.write_bytes(data)
        for _, data in dropped:
            self.note(data, MUST, "many at once")

    def with_ticket(self) -> None:
        path, data = self.new()
        words = f'title = "Poster {self.number}"\n'.encode()
        self.bring(path.with_suffix(".ticket.toml"), words)
        self.bring(path, data)
        self.note(data, MUST, "with a ticket", ticket=digest(words))

    def cut_short(self) -> None:
        """A copy that was broken off and never finished."""
        if self.chance.random() < 0.8:  # each of them waits for its patience
            return
        path, data = self.new()
        cut = data[: len(data) // 2] + f"\n% {self.number}".encode()  # no two alike, although their ends are gone
        path.write_bytes(cut)
        self.note(cut, MUST, "cut short")

    def old_date(self) -> None:
        path, data = self.new()
        path.write_bytes(data)
        with contextlib.suppress(FileNotFoundError):
            os.utime(path, (10**9, 10**9))
        self.note(data, MUST, "old date")

    def empty_at_first(self) -> None:
        path, data = self.new()
        with path.open("wb") as stream:
            self.pause(0.8)
            stream.write(data)
        self.note(data, MUST, "empty at first")

    def real(self) -> None:
        """Through the chain that posters go through."""
        self.number += 1
        data = self.poster + f"\n% {self.number}\n".encode()
        self.bring(self.place.root / "in-real" / f"real-{self.number}.pdf", data)
        self.note(data, MUST, "real chain")
