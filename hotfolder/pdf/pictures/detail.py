"""Tells how much detail a picture really has for its pixels, and whether JPEG's squares show in it.

A camera's picture loses half of its contrast with every doubling of the fineness of what it shows (its spectrum falls
by frequency: Field, J. Opt. Soc. Am. A 4, 2379, 1987; from memory). One that was enlarged follows that as far as its
former pixels reach, and falls off beyond. Out of focus looks the same: which of both it is, the pixels don't tell.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from hotfolder.pdf.pictures.pieces import SIDE
from hotfolder.pdf.values.spaces import Floats

LEAST_PIECES = 3  # with something in them, to judge a picture by
ENOUGH_PIECES = 24  # after which a picture that turned out sharp is looked at no longer
MOST_PIECES = 40  # after which none is
_LIVELY = 6.0  # levels of 255 by which a piece varies at least
_FEW_TONES = 24  # a drawing or a code of hard edges has fewer; its pixels may be as large as they like
_FALL = -13.0  # decibels below what a camera's picture has; beyond it there is no detail
_SPREAD = 0.10  # how far a level is smoothed to both sides, in powers of e
# The level is passed a third beyond half of the former pixels' frequency: filters for enlarging end softly (measured).
_BEYOND = 1.35
_SHARPEST = 4  # one piece in so many counts: what is meant to be soft, as a background, doesn't speak for the whole
_ROUNDING = 1 / 12  # the power of rounding to whole levels
_FLOOR = 0.5  # part of the finest detail's power that is taken for noise, of JPEG mostly
_LOW, _HIGH = slice(3, 11), slice(8, 58)  # rings of the spectrum that tell its level, and where its fall is looked for
_EXACT = 0.5  # levels: neighbours that differ by less are one pixel repeated
# An edge from one pixel to the next that takes so much of a piece's whole contrast was never enlarged by interpolation,
# which leaves 0.6 at most (measured); so many of them are no chance.
_HARD, _LEAST_HARD = 0.75, 8

_FREQUENCY = np.arange(SIDE // 2 + 1) / SIDE  # cycles to a pixel
_WINDOW = np.outer(np.hanning(SIDE), np.hanning(SIDE))
_RINGS = np.rint(np.hypot(np.fft.fftfreq(SIDE)[:, None], np.fft.rfftfreq(SIDE)[None]) * SIDE).astype(np.intp).ravel()
_COUNTS = np.bincount(_RINGS)[: SIDE // 2 + 1]


def _smoothing() -> Floats:
    logs = np.log(np.maximum(_FREQUENCY, 1e-9))
    weights = np.exp(-0.5 * ((logs[:, None] - logs[None]) / _SPREAD) ** 2)
    weights[:, :2] = 0
    return np.asarray(weights / np.maximum(weights.sum(axis=1, keepdims=True), 1e-12))


_SMOOTHING = _smoothing()


@dataclass(frozen=True, slots=True)
class Detail:
    """What the pieces of a picture tell.

    `share`: its real resolution as a part of that which its pixels promise, 1 where nothing speaks against them; None
    where there is too little in it to tell. `step`: by how many levels of 255 JPEG's squares stand out on average.
    """

    share: float | None = None
    step: float = 0.0
    piece: Floats | None = None  # its liveliest piece, to show


def read_detail(pieces: Iterable[Floats]) -> Detail:
    """Looks at the pieces until it is sure that the picture is sharp, or there are no more."""
    levels: list[Floats] = []
    shares: list[float] = []
    edges: list[Floats] = []
    liveliest, lively = None, 0.0
    for piece in pieces:
        spread = float(piece.std())
        edges.append(_edges(piece))
        if spread < _LIVELY:
            continue
        if spread > lively:
            liveliest, lively = piece, spread
        shares.append(_repeated(piece))
        levels.append(_level(piece))
        enough = len(levels) >= ENOUGH_PIECES and len(levels) % 8 == 0 and _share(levels, shares) == 1
        if enough or len(levels) >= MOST_PIECES:
            break
    return Detail(_share(levels, shares), _step(edges), liveliest)


def _level(piece: Floats) -> Floats:
    """By how many decibels each frequency lies below what a camera's picture has there."""
    if _has_hard_edges(piece):
        return np.zeros(SIDE // 2 + 1)
    power = np.abs(np.fft.rfft2((piece - piece.mean()) * _WINDOW)).ravel() ** 2 / float((_WINDOW**2).sum())
    ring = np.bincount(_RINGS, power)[: SIDE // 2 + 1] / _COUNTS
    ring = np.maximum(ring - _ROUNDING, 1e-4)
    ring = np.maximum(ring - _FLOOR * ring[-9:-1].mean(), 1e-4)
    even = np.maximum(ring * _FREQUENCY**2, 1e-7)
    return np.asarray(_SMOOTHING @ (10 * np.log10(even)) - 10 * np.log10(np.median(even[_LOW])))


def _has_hard_edges(piece: Floats) -> bool:
    least = _HARD * float(np.ptp(piece))
    return sum(int((np.abs(np.diff(piece, axis=axis)) >= least).sum()) for axis in (0, 1)) >= _LEAST_HARD


def _share(levels: list[Floats], repeated: list[float]) -> float | None:
    if len(levels) < LEAST_PIECES:
        return None
    found = np.array(levels)
    order = np.argsort(found[:, 16:54].mean(axis=1))
    level = np.median(found[order[-max(1, -(-len(order) // _SHARPEST)) :]], axis=0)
    fallen = np.flatnonzero(level[_HIGH] < _FALL)
    reaches = 1.0 if len(fallen) == 0 else float(_FREQUENCY[_HIGH][fallen[0]]) / (0.5 * _BEYOND)
    return min(1.0, reaches, float(np.quantile(repeated, 1 - 1 / _SHARPEST)))


def _repeated(piece: Floats) -> float:
    """1 over how many times each pixel of a half-tone picture is repeated in the direction where that is least."""
    tones = np.bincount(np.rint(np.clip(piece, 0, 255)).astype(np.uint8).ravel())
    if np.count_nonzero(tones) < _FEW_TONES:
        return 1.0
    shares = []
    for rows in (piece, piece.T):
        changes = np.flatnonzero(np.abs(np.diff(rows, axis=1)).max(axis=0) > _EXACT)
        gaps = np.diff(changes)
        usual = float(np.median(gaps)) if len(gaps) else 1.0
        # Repeated pixels are all alike in width, give or take one; a drawing's areas are not.
        even = len(gaps) > SIDE / 16 and gaps.min() >= 2 and gaps.max() <= usual + 1
        shares.append(1 / usual if even else 1.0)
    return max(shares)


def _edges(piece: Floats) -> Floats:
    """By how much the step from one pixel to the next exceeds its neighbours, by its place among eight, both ways."""
    found = []
    for rows in (piece, piece.T):
        steps = np.abs(np.diff(rows, axis=1)).mean(axis=0)
        excess = steps[1:-1] - (steps[:-2] + steps[2:]) / 2
        found.append(np.roll(excess[: len(excess) // 8 * 8].reshape(-1, 8).mean(axis=0), 1))
    return np.asarray(np.mean(found, axis=0))


def _step(edges: list[Floats]) -> float:
    """How far one place among eight stands out over the others; 0 where that may be chance."""
    if len(edges) < LEAST_PIECES:
        return 0.0
    mean = np.mean(edges, axis=0)
    place = int(np.argmax(mean))
    others = np.delete(mean, place)
    step = float(mean[place] - others.mean())
    return step if step > 2.5 * float(others.std()) else 0.0
