"""Looks outwards from the cut, ring by ring, for stretches where the art stops before the end of the bleed.

Told apart from art that is meant to end there, as an experienced eye would:
- art lacks bleed where it stops at one depth over a stretch: a background, a picture, the foot of a letter;
- what crosses the cut slanting, or bulges over it and back, ends by its own shape;
- what fades into the paper has no edge that a cut could lay bare;
- bare paper at the cut needs no bleed, and a hair line along the cut is a frame's business, not bleed's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hotfolder.pdf.looking.edges import PAPER, Bools, Strip, runs, widened
from hotfolder.units import MM

LEAST = 2 * MM  # a shorter stretch is a speck or the end of a thin line
CLOSED = MM  # gaps in a stretch that are no gaps where art ends at the cut: hatching, letters cut off there
JOINED = 5 * MM  # stretches so near each other are told of as one
NEAR = 0.5 * MM  # art that ends so little before the cut was meant to reach it: nobody leaves half a millimetre
SLANTING = 8 * MM  # an edge that keeps within LOOSE for less is more than 2 degrees off the cut
FAINT = 12  # an edge of less (5 % of tone) beside bare paper is not seen
LOOSE = 3  # pixels by which the edge of a straight piece of art may waver
SIDEWAYS = 2  # pixels by which art may move along the side from one ring to the next


@dataclass(frozen=True)
class Stretch:
    """A piece of a side, in points from its left or upper corner, whose art goes on for `reach` beyond the cut.

    `covered`: what lies beyond it is another colour, not paper.
    """

    strip: Strip
    first: int
    last: int
    reach: float
    covered: bool = False

    @property
    def start(self) -> float:
        return self.first * self.strip.pixel

    @property
    def end(self) -> float:
        return self.last * self.strip.pixel

    @property
    def whole(self) -> bool:
        """Whether it is as good as the whole side."""
        return self.end - self.start >= 0.97 * self.strip.length


def reaches_cut(strip: Strip, slack: float = 0.2 * MM) -> bool:
    """Whether art that can be seen comes up to the cut anywhere along the side, or was meant to."""
    near, gap = strip.rows(NEAR), strip.rows(slack)
    at_cut = _alive(strip, gap)[near - gap + 1 : near + 1]  # the last rings inside the cut
    for first, last in runs(_any(np.array(at_cut)), round(CLOSED / strip.pixel)):
        seen = strip.tone[strip.outside : strip.outside + gap, first:last].max(axis=0).mean() >= FAINT
        if seen and last - first >= LEAST / strip.pixel:
            return True
    return bool(lacking(strip, strip.outside * strip.pixel, slack))


def lacking(strip: Strip, bleed: float, slack: float) -> list[Stretch]:
    """The stretches where art at the cut stops more than `slack` before the bleed ends."""
    near = strip.rows(NEAR)
    if not _at_cut(strip).any() or (strip.tone[: strip.outside + near] > 255 - PAPER).all():
        return []  # as most sides are: bare, or covered
    ends = _ends(strip, near + max(0, int((bleed - slack) / strip.pixel)), strip.rows(slack))
    outline = _outline(ends)
    found = []
    for ring in range(ends.shape[0]):
        window = ends[ring : ring + LOOSE]
        gap = round(CLOSED / strip.pixel) if ring <= 2 * near else SIDEWAYS
        for first, last in runs(_any(window), gap):
            if last - first < LEAST / strip.pixel:
                continue
            reach = max(0.0, float(np.median(window[:, first:last].nonzero()[0])) + ring - near)
            if not _shaped(outline, ring, first, last, strip) and _sharp(strip, ends, ring, first, last):
                found.append(Stretch(strip, first, last, reach * strip.pixel))
            window[:, first:last] = False
    return _joined(found)


def _outline(ends: Bools) -> NDArray[np.intp]:
    """The ring at which each column's art ends, -1 where there is no art or it goes on."""
    outline: NDArray[np.intp] = np.where(ends.any(axis=0), ends.argmax(axis=0), -1)
    for first, last in runs(outline < 0):
        ends_too = first and last < outline.size and abs(outline[first - 1] - outline[last]) <= 2 * LOOSE
        if ends_too and last - first <= 2 * SIDEWAYS:  # skipped from one ring to the next
            outline[first:last] = outline[first - 1]
    return outline


def _at_cut(strip: Strip) -> Bools:
    """The columns where art comes up to the cut, but for NEAR, and is more than a line along it."""
    found: Bools = strip.tone[strip.outside + strip.rows(NEAR)] > 255 - PAPER
    return found


def _any(rows: Bools) -> Bools:
    found: Bools = np.logical_or.reduce(rows, axis=0)
    return found


def _alive(strip: Strip, gap: int) -> list[Bools]:
    """For each ring from NEAR inside the cut outwards the art that hangs together with art inside it."""
    ink = (strip.tone[: strip.outside + strip.rows(NEAR)] > 255 - PAPER)[::-1]
    alive = [_at_cut(strip)]
    for ring in range(ink.shape[0]):
        before = alive[max(0, len(alive) - 1 - gap) :]
        alive.append(ink[ring] & widened(_any(np.array(before)), SIDEWAYS))
    return alive


def _ends(strip: Strip, needed: int, gap: int) -> Bools:
    """For each ring the columns whose art does not go on in it, nor past a gap, a little to the side.

    The first rings are those of NEAR inside the cut, the last the end of the bleed.
    """
    alive = _alive(strip, gap)
    ends = np.zeros((min(needed, len(alive) - 1), strip.pixels.shape[1]), dtype=np.bool_)
    for ring in range(ends.shape[0]):
        goes_on = _any(np.array(alive[ring + 1 : ring + 2 + gap]))
        ends[ring] = alive[ring] & ~widened(goes_on, SIDEWAYS)
    return ends


def _shaped(outline: NDArray[np.intp], ring: int, first: int, last: int, strip: Strip) -> bool:
    """Whether this end is a piece of a curve or of a slanting edge, rather than of an edge along the cut."""
    left, before = _going_on(outline[:first][::-1], ring)
    right, after = _going_on(outline[last:], ring)
    if not left and not right:
        return False
    if left and right and (before < ring) is (after < ring):  # the crown of a disc, the trough of a wave
        return last - first < 0.9 * (last - first + left + right)
    return (last - first) * strip.pixel < SLANTING


def _going_on(outline: NDArray[np.intp], ring: int) -> tuple[int, int]:
    """For how many columns the edge goes on beside a stretch, and at which ring it begins to; 0 where it breaks off."""
    if not outline.size or not ring - LOOSE <= outline[0] < ring + 2 * LOOSE:
        return 0, 0
    gone = np.flatnonzero(outline < 0)
    return int(gone[0]) if gone.size else outline.size, int(outline[0])


def _sharp(strip: Strip, ends: Bools, ring: int, first: int, last: int) -> bool:
    """Whether the art ends in an edge that can be seen, rather than fading into the paper."""
    columns = first + np.flatnonzero(_any(ends[ring : ring + LOOSE, first:last]))
    edge = strip.outside + strip.rows(NEAR) - ring - ends[ring : ring + LOOSE, columns].argmax(axis=0)
    tone = strip.tone

    def depth(rows: int) -> float:
        """The tone so far inside the edge."""
        return float(tone[np.clip(edge + rows, 0, tone.shape[0] - 1), columns].mean())

    unit = max(1, round(0.1 * MM / strip.pixel))
    beyond, (a, b, c, d) = depth(-3 * unit), (depth(rows * unit) for rows in (3, 5, 7, 10))
    if beyond > 0.4 * a or a - beyond < FAINT:
        return False
    rise = d - a
    return rise < 0.3 * d or min(b - a, c - b, d - c) < 0.15 * rise


def _joined(found: list[Stretch]) -> list[Stretch]:
    """Neighbours made one, in their order along the side."""
    joined: list[Stretch] = []
    for one in sorted(found, key=lambda stretch: stretch.first):
        if joined and one.start - joined[-1].end <= JOINED:
            before = joined[-1]
            last, reach = max(before.last, one.last), min(before.reach, one.reach)
            joined[-1] = Stretch(one.strip, before.first, last, reach)
        else:
            joined.append(one)
    return joined
