"""Puts a group of files that belong together into a folder: under one free name, all of them or, after a crash, the rest.

The same walk may be taken again from the start at any time; it goes on where it was broken off. First every file is
brought beside its place under a hidden name, then the names are chosen and written down, then each is renamed.
"""

from __future__ import annotations

import errno
import json
import os
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from hotfolder.daemon.files import Files, Stamp

PLAN = "plan.json"
_LONGEST_ENDING = 24


@dataclass(frozen=True)
class Member:
    """One file of a group: where it is below the job's folder, and the two halves of its name."""

    source: str
    stem: str
    ending: str
    optional: bool = False  # it may be missing from the start

    def name(self, number: int, longest: int) -> str:
        """Its name as the group's `number`-th of that name, cut to what the disk takes."""
        tail = (f"-{number}" if number > 1 else "") + self.ending
        whole = self.stem + tail
        if len(os.fsencode(whole)) <= longest:
            return whole
        stem = self.stem
        while stem and len(os.fsencode(stem + tail)) > longest:  # whole characters, never half of one
            stem = stem[:-1]
        return stem + tail


@dataclass(frozen=True)
class Plan:
    """What was decided, as it stands in the job's folder. `numbers` are those tried, the last one in force."""

    folder: str
    inode: int  # the folder's: a share that is away leaves another, empty folder in its place
    members: tuple[Member, ...]
    marks: tuple[tuple[int, int, int], ...]  # inode, size, mtime_ns: by these a renamed file is known again
    numbers: tuple[int, ...]


def split_name(name: str) -> tuple[str, str]:
    """A file's name before and from its last dot; no ending where that would be no ending of a kind."""
    stem, ending = os.path.splitext(name)  # noqa: PTH122 - a name, not a path: a trailing dot has to stay
    return (stem, ending) if len(os.fsencode(ending)) <= _LONGEST_ENDING else (name, "")


def put(
    files: Files, job: str, home: Path, folder: Path, members: Sequence[Member], plan_name: str = PLAN
) -> list[str]:
    """Bring the members from below `home` into `folder`, in this order; their names. OSError: try again later.

    The members must be the same each time, those that are optional included.
    """
    at = home / plan_name
    plan = _read_plan(files, at) or _stage(files, job, home, folder, members, at)
    folder = Path(plan.folder)
    if folder.stat().st_ino != plan.inode and any(files.there(home / member.source) for member in plan.members):
        raise OSError(errno.ENODEV, "this is not the folder in which the files were laid down", plan.folder)
    while (clash := _rename_all(files, job, folder, plan)) is not None:
        number = _free_number(files, folder, plan.members, clash + 1)
        plan = replace(plan, numbers=(*plan.numbers, number))
        _write_plan(files, at, plan)
    files.sync(folder)
    for member in plan.members:  # copies have left their source behind
        files.unlink(home / member.source)
    return [member.name(plan.numbers[-1], _longest(folder)) for member in plan.members]


def _stage(files: Files, job: str, home: Path, folder: Path, members: Sequence[Member], at: Path) -> Plan:
    marks = []
    for place, member in enumerate(members):
        hidden, source = _hidden(folder, job, place), home / member.source
        if files.look(source) is not None:
            files.unlink(hidden)  # an earlier copy may have broken off in the middle
            _bring(files, source, hidden)
        stamp = files.look(hidden)
        if stamp is None and not member.optional:
            raise FileNotFoundError(errno.ENOENT, "a file that belongs to the job is missing", os.fspath(source))
        marks.append(_mark(stamp) if stamp else (0, 0, 0))
    files.sync(folder)
    number = _free_number(files, folder, members, 1)
    plan = Plan(os.fspath(folder), folder.stat().st_ino, tuple(members), tuple(marks), (number,))
    _write_plan(files, at, plan)
    return plan


def _bring(files: Files, source: Path, hidden: Path) -> None:
    try:
        files.rename(source, hidden)
    except OSError as error:
        if error.errno != errno.EXDEV:
            raise
        files.copy(source, hidden)


def _rename_all(files: Files, job: str, folder: Path, plan: Plan) -> int | None:
    """Give each member its name; the number that was taken meanwhile by somebody else, or None when all is done."""
    longest = _longest(folder)
    for place, (member, mark) in enumerate(zip(plan.members, plan.marks, strict=True)):
        number = plan.numbers[-1]
        final = folder / member.name(number, longest)
        earlier = [folder / member.name(tried, longest) for tried in plan.numbers[:-1]]
        at = _where(files, [_hidden(folder, job, place), *earlier], mark)
        if at is None:  # it has its name already, or was taken away by those it was meant for
            continue
        try:
            files.rename(at, final)
        except FileExistsError:
            return number
    return None


def _where(files: Files, places: Sequence[Path], mark: tuple[int, int, int]) -> Path | None:
    for path in places:
        stamp = files.look(path)
        if stamp is not None and _mark(stamp) == mark:
            return path
    return None


def _free_number(files: Files, folder: Path, members: Sequence[Member], first: int) -> int:
    longest, number = _longest(folder), first
    while any(files.there(folder / member.name(number, longest)) for member in members):
        number += 1
    return number


def _longest(folder: Path) -> int:
    try:
        return os.pathconf(folder, "PC_NAME_MAX")
    except (OSError, ValueError, AttributeError):
        return 255


def _hidden(folder: Path, job: str, place: int) -> Path:
    return folder / f".hotfolder-{job}-{place}.part"


def _mark(stamp: Stamp) -> tuple[int, int, int]:
    return stamp.inode, stamp.size, stamp.mtime_ns


def _write_plan(files: Files, at: Path, plan: Plan) -> None:
    files.write(at, json.dumps(asdict(plan)).encode())


def _read_plan(files: Files, at: Path) -> Plan | None:
    try:
        data = json.loads(files.read(at))
    except FileNotFoundError:
        return None
    return Plan(
        data["folder"],
        data["inode"],
        tuple(Member(**member) for member in data["members"]),
        tuple((inode, size, mtime) for inode, size, mtime in data["marks"]),
        tuple(data["numbers"]),
    )
