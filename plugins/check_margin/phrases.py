"""Joins the pieces of text that a program set one after the other to the phrase that a person reads."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from hotfolder.pdf.looking.inventory import Painted
from hotfolder.plugin import Box

_APART = 1.2  # sizes between two pieces of one line at most
_OVERLAP = 0.6  # sizes that a piece may reach back
_OFF_LINE = 0.4  # sizes that two pieces of one line may stand higher or lower
_SPACE = 0.12  # sizes from which a gap is a space


@dataclass
class Phrase:
    """Pieces of one line, with the box of each."""

    words: str
    size: float
    boxes: list[Box] = field(default_factory=list)

    @property
    def box(self) -> Box:
        boxes = self.boxes
        return Box(
            min(box.left for box in boxes),
            min(box.bottom for box in boxes),
            max(box.right for box in boxes),
            max(box.top for box in boxes),
        )


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
