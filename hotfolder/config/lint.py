"""Looks at a whole config for what no single setting shows: folders in each other's way, steps in the wrong order.

What would lose work, work twice or let bad work pass is a problem and stops the start; what may be meant is a
warning. Problems: a folder watched twice or inside another watched one; pass, hold, spool, plugins, profile, the
config itself or a place that jobs are sent on to inside a watched folder; pass and hold the same; the spool shared with another folder; no opening step;
a step before an opening step (it would not see every file); two steps that draw marks; a change after the step that seals or verifies.
Warnings: no sealing or verifying step; a check before the step that mends what it checks; hold inside pass; a step
twice with the same settings.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, product
from pathlib import Path

from hotfolder.config.lines import Place
from hotfolder.config.studio import Route, Studio
from hotfolder.config.words import Remark, show, write
from hotfolder.step import Delivery, Opener, Part, Step

SEAL, VERIFY = "seal_pdf", "verify_result"
MARKERS = ("add_marks", "lay_out", "cut_tiles")  # each draws the printer's marks of its sheets


@dataclass(frozen=True, slots=True)
class Lint:
    """What was found: problems stop the start, warnings are printed."""

    problems: list[str]
    warnings: list[str]


def lint(studio: Studio) -> Lint:
    """Everything to say about a studio, in full sentences with file and line, in the file's order."""
    remarks = find(studio)
    return Lint(
        write([remark for remark in remarks if remark.stops], studio.file, studio.lines),
        write([remark for remark in remarks if not remark.stops], studio.file, studio.lines),
    )


def find(studio: Studio) -> list[Remark]:
    """The same as remarks with their places. Routes and chains that could not be understood are left out."""
    found = list(_folders(studio))
    for route in studio.routes:
        found += _chain(route)
    return found


@dataclass(frozen=True, slots=True)
class _Folder:
    """A folder (or a file) that the config names, and where it names it."""

    path: Path
    name: str  # "'pass'", "the config file"
    place: Place
    who: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"{self.name} of {self.who[0]}" if self.who else self.name


def _folders(studio: Studio) -> Iterator[Remark]:
    watched = [_way(route, "watch", route.watch) for route in studio.routes if route.watch]
    passed = [_way(route, "pass", route.passed) for route in studio.routes if route.passed]
    held = [_way(route, "hold", route.hold) for route in studio.routes if route.hold]
    if not watched:  # the studio that is built in, which has no folders
        return
    spool = _Folder(studio.spool, "'spool'", ("spool",))
    yield from _watched(watched)
    sent = list(_sent(studio))
    for other in [*passed, *held, *sent, spool, *_further(studio)]:
        for watch in watched:
            if _inside(other.path, watch.path):
                sentence = f"{other.name} is inside {watch}, so it would be taken for artwork."
                yield Remark(other.place, other.who, sentence)
    yield from _ways_out(passed, held)
    yield from _spool(spool, watched, [*passed, *held, *sent])


def _way(route: Route, use: str, path: Path) -> _Folder:
    return _Folder(path, f"'{use}'", ("routes", route.name, use), (f"route {show(route.name)}",))


def _sent(studio: Studio) -> Iterator[_Folder]:
    """Folders of this machine that passed jobs are sent on to."""
    for route in studio.routes:
        for number, step in enumerate(route.chain):
            parcels = step.parcels() if isinstance(step, Delivery) else ()
            place, who = (
                ("routes", route.name, "chain", number),
                (f"route {show(route.name)}", f"step {show(step.name)}"),
            )
            for parcel in parcels:
                if not parcel.remote:
                    folder = studio.folder / Path(parcel.to).expanduser()
                    yield _Folder(folder, f"the place {show(parcel.to)}", place, who)


def _watched(watched: list[_Folder]) -> Iterator[Remark]:
    for first, second in combinations(watched, 2):
        if _inside(second.path, first.path):
            how = "is the same folder as" if _inside(first.path, second.path) else "is inside"
            one, other = second, first
        elif _inside(first.path, second.path):
            how, one, other = "is inside", first, second
        else:
            continue
        yield Remark(one.place, one.who, f"'watch' {how} {other}; one file would be taken by two routes.")


def _ways_out(passed: list[_Folder], held: list[_Folder]) -> Iterator[Remark]:
    for one, other in product(held, passed):
        if _inside(one.path, other.path) and _inside(other.path, one.path):
            yield Remark(one.place, one.who, f"'hold' is the same folder as {other}; nobody could tell them apart.")
        elif _inside(one.path, other.path):
            sentence = f"'hold' is inside {other}; whoever fetches all that is there fetches held work too."
            yield Remark(one.place, one.who, sentence, stops=False)


def _spool(spool: _Folder, watched: list[_Folder], ways_out: list[_Folder]) -> Iterator[Remark]:
    for folder in (*watched, *ways_out):
        if _inside(folder.path, spool.path):
            sentence = f"{folder.name} is inside 'spool'; the spool must be a folder of its own."
            yield Remark(folder.place, folder.who, sentence)
        elif folder in ways_out and _inside(spool.path, folder.path):
            yield Remark(spool.place, (), f"'spool' is inside {folder}; the spool must be a folder of its own.")


def _further(studio: Studio) -> Iterator[_Folder]:
    if studio.file is not None:
        yield _Folder(studio.folder / studio.file.name, "the config file", ())
    for number, folder in enumerate(studio.plugins.folders[1:]):
        yield _Folder(folder, "the plugin folder", ("plugins", number))
    for name, condition in studio.conditions.items():
        place = ("conditions", name, "profile")
        yield _Folder(condition.profile, "'profile'", place, (f"condition {show(name)}",))


def _inside(path: Path, folder: Path) -> bool:
    """Whether the path is the folder or lies in it, through links and, where it exists, in any way of writing it."""
    path, folder = Path(os.path.realpath(path)), Path(os.path.realpath(folder))
    if path == folder or folder in path.parents:
        return True
    try:
        mark = folder.stat()
        return any(os.path.samestat(mark, above.stat()) for above in (path, *path.parents) if above.exists())
    except OSError:
        return False


def _chain(route: Route) -> Iterator[Remark]:
    if not route.chain:
        return
    chain, place, who = route.chain, ("routes", route.name, "chain"), (f"route {show(route.name)}",)

    def remark(number: int, sentence: str, stops: bool = True) -> Remark:
        return Remark((*place, number), (*who, f"step {show(chain[number].name)}"), sentence, stops)

    openers = [number for number, step in enumerate(chain) if isinstance(step, Opener)]
    if not openers:
        yield Remark(
            place, (*who, "chain"), "no step opens the artwork, so every job would be held; begin with open_pdf."
        )
    for number in range(max(openers, default=0)):
        if number not in openers:
            last = show(chain[openers[-1]].name)
            yield remark(number, f"it stands before {last}, so it would never see what {last} opens; put it after.")
    changing = [number for number, step in enumerate(chain) if _changes(step)]
    names = [step.name for step in chain]
    marking = [at for at in range(len(chain)) if names[at] in MARKERS]
    for at in marking[1:]:
        if names[at] != names[marking[0]]:
            earlier = show(names[marking[0]])
            yield remark(at, f"it would draw marks on sheets that have those of {earlier}; keep one of them.")
    for name in (SEAL, VERIFY):
        if name not in names:
            yield Remark(place, (*who, "chain"), f"there is no step {show(name)}; {_MISSED[name]}", stops=False)
            continue
        at = len(names) - 1 - names[::-1].index(name)
        for number in changing:
            if number > at and (name == SEAL or SEAL not in names or names[number] == SEAL):
                yield remark(number, f"it changes the artwork after {show(name)} {_DONE[name]}; put it before.")
    for number, sentence in _too_early(chain):
        yield remark(number, sentence, stops=False)
    for first, second in combinations(range(len(chain)), 2):
        if names[first] == names[second] and chain[first].settings == chain[second].settings:
            yield remark(second, "it stands in the chain twice with the same settings.", stops=False)


_MISSED = {
    SEAL: "the result will not be a PDF/X-4 file.",
    VERIFY: "nothing would look at the finished file before it passes.",
}
_DONE = {SEAL: "has finished it", VERIFY: "has looked at it"}


def _changes(step: Step) -> bool:
    return not isinstance(step, Opener) and bool(step.changes - {Part.NAME})


def _too_early(chain: tuple[Step, ...]) -> Iterator[tuple[int, str]]:
    """Checks that stand before the step that would have mended what they look at.

    Every later change would be too much to tell: marks are added after the boxes were checked, and rightly. What
    counts are steps that say they mend, and the conversion of colour.
    """
    for number, check in enumerate(chain):
        if check.changes or isinstance(check, Opener):
            continue
        for later in chain[number + 1 :]:
            parts = check.reads & later.changes if _changes(later) else frozenset()
            mended = sorted(parts if later.mends else parts & {Part.COLOUR})
            if mended and later.name != SEAL:
                yield (
                    number,
                    f"it looks at the {' and '.join(mended)} before {show(later.name)} changes it; put it after.",
                )
