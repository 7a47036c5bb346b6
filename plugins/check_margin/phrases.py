"""Joins the pieces of text that a program set one after the other to the phrase that a person reads."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace

from hotfolder.pdf.looking.inventory import Painted
from hotfolder.pdf.looking.outlines import around
from hotfolder.plugin import MM, Box

from .edges import Thing

_APART = 1.2  # sizes between two pieces of one line at most
_OVERLAP = 0.6  # sizes that a piece may reach back
_OFF_LINE = 0.4  # sizes that two pieces of one line may stand higher or lower
LIKE = 0.5 * MM  # lines whose distances differ by no more than this are told together
_SPACE = 0.12  # sizes from which a gap is a space


@dataclass
class Phrase:
    """Pieces of one line, with the box of each."""

    words: str
    size: float
    boxes: list[Box] = field(default_factory=list)

    @property
    def box(self) -> Box:
        return around(self.boxes)


@dataclass(frozen=True, slots=True)
class _Run:
    """Where a piece stands along its line, and how high the line is; `across`, `up`: the way it runs."""

    across: float
    up: float
    begin: float
    end: float
    height: float


def phrases(texts: Iterable[Painted], unit: float) -> Iterator[Phrase]:
    """Visible pieces of text in the order of painting, those that follow one another on one line joined."""
    phrase, last = None, None
    for text in texts:
        assert text.box is not None
        run = _run(text)
        size = text.size / unit
        if phrase is not None and last is not None and _follows(last, run, max(size, phrase.size / unit)):
            gap = run.begin - last.end > _SPACE * size
            spaced = phrase.words[-1:].isspace() or text.words[:1].isspace()
            phrase.words += (" " if gap and not spaced else "") + text.words
            phrase.size = max(phrase.size, text.size)
            phrase.boxes.append(text.box)
        else:
            if phrase is not None:
                yield phrase
            phrase = Phrase(text.words, text.size, [text.box])
        last = run
    if phrase is not None:
        yield phrase


def _run(text: Painted) -> _Run:
    a, b, _, _, e, f = text.matrix
    length = math.hypot(a, b) or 1.0
    across, up = a / length, b / length
    box = text.whole
    half = (abs(across) * box.width + abs(up) * box.height) / 2
    middle = across * (box.left + box.right) / 2 + up * (box.bottom + box.top) / 2
    return _Run(across, up, middle - half, middle + half, across * f - up * e)


def _follows(last: _Run, run: _Run, size: float) -> bool:
    same_way = last.across * run.across + last.up * run.up > 0.99
    return (
        same_way
        and abs(run.height - last.height) <= _OFF_LINE * size
        and -_OVERLAP * size <= run.begin - last.end <= _APART * size
    )


def alike(things: Iterable[Thing]) -> Iterator[Thing]:
    """Lines that follow one another and are as near to the same sides, as one thing."""
    last: Thing | None = None
    for thing in things:
        if last is not None and thing.words == last.words and thing.box.common(last.box):
            continue  # the same once more: a shadow, or letters made bolder by printing them twice
        if (
            last is not None
            and not (last.cut or thing.cut)
            and last.near.keys() == thing.near.keys()
            and all(abs(last.near[side] - far) <= LIKE for side, far in thing.near.items())
        ):
            last = replace(last, box=around([last.box, thing.box]), count=last.count + 1)
            continue
        if last is not None:
            yield last
        last = thing
    if last is not None:
        yield last
