"""Sends passed jobs on to other places: kept ready in the spool until each has arrived, whole and once.

`handing/<job>` holds the job's files and `parcels.json`, which is written last, before the files appear in `pass`; it
is removed first once everything has arrived. A place is done when `done-<number>` says so.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import errno
import json
import os
import threading
from collections.abc import Callable, Sequence
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from hotfolder.daemon.bundle import checksums, write_zip
from hotfolder.daemon.files import Files
from hotfolder.daemon.publish import PLAN, Member, put
from hotfolder.daemon.remote import Remote
from hotfolder.daemon.spool import PUBLISHED
from hotfolder.names import safe_stem
from hotfolder.parcel import Content, Parcel
from hotfolder.record import JobRecord, arrival_of
from hotfolder.work import LOG, PROOF, REPORT, RESULT

_LIST = "parcels.json"
Taken = Callable[[str], bool]  # whether a name is taken at the place
_MOST_NUMBERS = 10_000


class Altered(Exception):
    """What was to be sent is not what passed any more; it is not sent."""


class Waybill(BaseModel):
    """What is written down of a job's parcels before its files are handed on."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    job: str
    arrival: str
    route: str
    file: str
    stem: str
    digest: str
    finished: dt.datetime
    parcels: tuple[Parcel, ...]


class Parcels:
    """The parcels of one spool. `folder`: where places without a full path begin. OSError: nothing is lost, again later."""

    def __init__(self, files: Files, spool: Path, folder: Path) -> None:
        self.files = files
        self._spool = spool
        self.root = spool / "handing"
        self.folder = folder
        self._ending = threading.Lock()  # else one delivery removes the box under another that has just arrived, too

    # ---- made ready

    def prepare(self, out: Path, record: JobRecord, parcels: Sequence[Parcel]) -> None:
        """Keep what is to be sent of a job that passed. May be repeated until its files stand in `pass`."""
        box = self.root / record.job
        if not parcels or self.files.there(box / _LIST):
            return
        self.files.mkdir_lasting(box)
        for name in (LOG, REPORT, PROOF, RESULT):
            self.files.unlink(box / name)
            if self.files.look(out / name) is not None:
                self.files.link(out / name, box / name)
        waybill = Waybill(
            job=record.job,
            arrival=record.arrival,
            route=record.route,
            file=record.shown_file,
            stem=safe_stem(record.result_stem),
            digest=record.result_digest or "",
            finished=record.finished or record.arrived,
            parcels=tuple(parcels),
        )
        self.files.write(box / _LIST, waybill.model_dump_json().encode())

    def waiting(self, job: str | None = None) -> list[tuple[Waybill, int]]:
        """Every parcel whose job stands in `pass` and that has not arrived, or those of one job, with its number."""
        found = []
        if not self.files.there(self.root):
            return []
        for name in [job] if job else [entry.name for entry in self.files.list(self.root)]:
            waybill = self._read(name)
            if waybill is None and self._published(arrival_of(name)[0]):
                with self._ending:
                    self._remove(name)  # killed while it was removed
            if waybill is not None and self._published(waybill.arrival):
                left = [number for number in range(len(waybill.parcels)) if not self._done(name, number)]
                found += [(waybill, number) for number in left]
                if not left:
                    self._remove(name)
        return found

    def _read(self, job: str) -> Waybill | None:
        try:
            return Waybill.model_validate_json(self.files.read(self.root / job / _LIST))
        except (FileNotFoundError, NotADirectoryError, ValueError):
            return None  # not written yet, or all has arrived

    def _published(self, arrival: str) -> bool:
        home = self._spool / "done" / arrival
        return self.files.there(home / PUBLISHED) or not self.files.there(home)

    def _done(self, job: str, number: int) -> bool:
        return self.files.there(self.root / job / f"done-{number}")

    def _remove(self, job: str) -> None:
        self.files.unlink(self.root / job / _LIST)  # first: without it nothing is sent a second time
        self.files.remove_tree(self.root / job)

    # ---- sent

    def deliver(self, waybill: Waybill, number: int) -> list[str]:
        """Bring one parcel to its place; its names there. Altered where it can't be sent any more."""
        box, parcel = self.root / waybill.job, waybill.parcels[number]
        home = box / str(number)
        self.files.mkdir_lasting(home)
        if parcel.remote:
            remote = Remote(self.files, parcel.to, home, f"{waybill.job}-{number}")
            members = self._load(waybill, parcel, box, home, remote.taken, remote.begun)
            names = remote.send(members)
        else:
            folder = self.folder / Path(parcel.to).expanduser()
            if self.files.there(folder.parent):
                self.files.mkdir_lasting(folder)
            members = self._load(
                waybill, parcel, box, home, lambda name: self.files.there(folder / name), self.files.there(home / PLAN)
            )
            names = put(self.files, f"{waybill.job}-{number}", home, folder, members)
        with self._ending:
            self.files.write(box / f"done-{number}", json.dumps(names).encode())
            if all(self._done(waybill.job, each) for each in range(len(waybill.parcels))):
                with contextlib.suppress(OSError):  # it has arrived for all that; the next start removes the rest
                    self._remove(waybill.job)
        return names

    def _load(self, waybill: Waybill, parcel: Parcel, box: Path, home: Path, taken: Taken, begun: bool) -> list[Member]:
        """The files of a parcel as they are to arrive, laid down in `home`; `begun`: as they were laid down before."""
        if begun:
            return [Member(**member) for member in json.loads(self.files.read(home / "members.json"))]
        if self.files.digest(box / RESULT) != waybill.digest:
            raise Altered("The finished PDF was changed in `pass` before it was handed over; it was not sent.")
        stem = _free_stem(waybill.stem, parcel, taken)
        listed = [(box / name, stem + ending) for name, ending in _contents(parcel) if self.files.look(box / name)]
        if Content.CHECKSUMS in parcel.contents:
            self.files.write(home / "checksums", checksums(listed))
            listed.insert(0, (home / "checksums", f"{stem}.sha256"))
        if parcel.form == "zip":
            self.files.build(home / "bundle", lambda stream: write_zip(stream, listed, waybill.finished))
            members = [Member("bundle", stem, ".zip")]
        else:
            for path, _ in listed:
                if path.parent != home:
                    self.files.copy(path, home / path.name)
            members = [Member(path.name, stem, name.removeprefix(stem)) for path, name in listed]
        self.files.write(home / "members.json", json.dumps([vars(member) for member in members]).encode())
        return members


def _contents(parcel: Parcel) -> list[tuple[str, str]]:
    """The artwork comes last: whoever sees it finds what belongs to it."""
    every = [(Content.LOG, LOG, ".log"), (Content.REPORT, REPORT, ".report.html"), (Content.PROOF, PROOF, ".proof.jpg")]
    return [*((name, ending) for content, name, ending in every if content in parcel.contents), (RESULT, ".pdf")]


def _free_stem(stem: str, parcel: Parcel, taken: Taken) -> str:
    """The stem, with a number where it is taken: the list of checksums names the files as they will be called."""
    endings = [".zip"] if parcel.form == "zip" else [ending for _, ending in _contents(parcel)]
    if parcel.form == "files" and Content.CHECKSUMS in parcel.contents:
        endings.append(".sha256")
    for number in range(1, _MOST_NUMBERS):
        numbered = f"{stem}-{number}" if number > 1 else stem
        if not any(taken(numbered + ending) for ending in endings):
            return numbered
    raise OSError(errno.EEXIST, os.strerror(errno.EEXIST), parcel.shown)
