"""Measures plates: how much of each ink a page takes, and where all inks together are more than the paper takes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pyvips
from numpy.typing import NDArray
from PIL import Image

from hotfolder.colour.condition import Condition
from hotfolder.finding import Box
from hotfolder.ink import InkUse, InkView, PageInk
from hotfolder.pdf.plates import Plates
from hotfolder.pdf.plates.proof import proof_picture
from hotfolder.units import MM

SQUARE_CM = (10 * MM) ** 2  # in square points
#: Too much ink is a matter of areas, not of points: it is judged as the mean over squares of about this side. Single
#: pixels would tell of ringing around the edges of JPEG pictures instead (common practice, no published source).
CELL = MM
MOST_PLACES = 50
_PRINTS = 3  # of 255: what is less (1 %) no press holds as a dot


@dataclass(frozen=True, slots=True)
class Place:
    """One connected place above a limit: its box in the page's space, its size on paper, its peak in percent."""

    box: Box
    square_cm: float
    peak: float


def within(plates: Plates, box: Box | None) -> tuple[slice, slice]:
    """Rows and columns of the plates that a box of the page's space covers; all of them for None."""
    rows, columns = plates.coverage["Black"].shape
    if box is None:
        return slice(0, rows), slice(0, columns)
    left, top, right, bottom = plates.place(box)
    across = slice(min(max(left, 0), columns), max(min(right, columns), 0))
    return slice(min(max(top, 0), rows), max(min(bottom, rows), 0)), across


def measure(plates: Plates, box: Box | None = None) -> PageInk:
    """How much of each ink stands on a page, or in a box of it."""
    part, pixel = within(plates, box), plates.square_points() / SQUARE_CM
    size = plates.coverage["Black"][part].size
    uses = [_ink(name, plates.coverage[name][part], pixel) for name in plates.inks]
    return PageInk(
        page=plates.page,
        area_cm2=size * pixel,
        inks=tuple(uses),
        mean_total=sum(use.mean for use in uses),
        peak_total=float(plates.total()[part].max(initial=0)) / 2.55,
    )


def _ink(name: str, plate: NDArray[np.uint8], pixel: float) -> InkUse:
    counts = np.array(Image.fromarray(plate).histogram()) if plate.size else np.zeros(256, int)
    solid = float(counts @ np.arange(256)) / 255
    printed = int(counts[_PRINTS:].sum())
    peak = int(np.flatnonzero(counts)[-1]) if plate.size else 0
    return InkUse(name, 100 * solid / max(plate.size, 1), peak / 2.55, printed * pixel, solid * pixel)


def places_over(plates: Plates, limit: float, box: Box | None = None) -> list[Place]:
    """Where the sum of all inks is more than `limit` percent, as a mean over squares of about a millimetre.

    Squares that touch are one place. Largest first, at most MOST_PLACES.
    """
    part = within(plates, box)
    total = plates.total()[part]
    if not total.size or total.max() <= limit * 2.55:
        return []
    side = max(1, round(math.sqrt(CELL**2 / plates.square_points())))
    means, counts = _cells(total, side)
    over = means > limit * 2.55
    if not over.any():
        return []
    return _places(plates, part, over, counts, means, side)


def _places(
    plates: Plates,
    part: tuple[slice, slice],
    over: NDArray[np.bool_],
    counts: NDArray[np.float64],
    values: NDArray[np.float64] | NDArray[np.uint8],
    side: int,
) -> list[Place]:
    """Connected places of squares of `side` pixels, each of `counts` pixels; the peak of `values`, in 1/255."""
    pixel = plates.square_points() / SQUARE_CM
    labels = _labels(over)
    sizes = np.bincount(labels[over], weights=counts[over])
    found = []
    for label in np.argsort(-sizes)[:MOST_PLACES]:
        if sizes[label] > 0:
            here = over & (labels == label)
            peak = float(values[here].max()) / 2.55
            found.append(Place(_around(plates, part, here, side), float(sizes[label]) * pixel, peak))
    return found


def _cells(total: NDArray[np.uint16], side: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean over each square of so many pixels, and how many pixels that was (fewer at the right and lower edge)."""
    starts = [np.arange(0, length, side) for length in total.shape]
    sums = np.add.reduceat(np.add.reduceat(total, starts[0], axis=0, dtype=np.uint32), starts[1], axis=1)
    lengths = [np.diff(np.append(start, length)) for start, length in zip(starts, total.shape, strict=True)]
    counts = np.outer(*lengths).astype(np.float64)
    return sums / counts, counts


def _labels(marked: NDArray[np.bool_]) -> NDArray[np.int32]:
    rows, columns = marked.shape
    picture = pyvips.Image.new_from_memory(marked.astype(np.uint8).tobytes(), columns, rows, 1, "uchar")
    return np.asarray(picture.labelregions().numpy(), dtype=np.int32).reshape(rows, columns)


def _around(plates: Plates, part: tuple[slice, slice], here: NDArray[np.bool_], side: int) -> Box:
    down, across = np.flatnonzero(here.any(axis=1)), np.flatnonzero(here.any(axis=0))
    top, left = part[0].start + int(down[0]) * side, part[1].start + int(across[0]) * side
    bottom = min(part[0].start + (int(down[-1]) + 1) * side, part[0].stop)
    right = min(part[1].start + (int(across[-1]) + 1) * side, part[1].stop)
    return plates.box(left, top, right, bottom)


def around(plates: Plates, box: Box, margin: float) -> dict[str, float]:
    """Each ink's middle tint (0..1) in a frame of so many points around a box: what lies behind small text."""
    rows, columns = within(plates, box.grown(margin))
    inner = within(plates, box)
    kept = np.ones((rows.stop - rows.start, columns.stop - columns.start), bool)
    kept[
        max(inner[0].start - rows.start, 0) : max(inner[0].stop - rows.start, 0),
        max(inner[1].start - columns.start, 0) : max(inner[1].stop - columns.start, 0),
    ] = False
    if not kept.any():
        return dict.fromkeys(plates.inks, 0.0)
    return {name: float(np.median(plates.coverage[name][rows, columns][kept])) / 255 for name in plates.inks}


def small_view(plates: Plates, ink: PageInk, condition: Condition, side: int, *, paper: bool) -> InkView:
    """The plates shrunk to so many pixels on their long side, for a report: only those of inks that print. The sum of
    all inks, and what they look like together (`paper`: on the condition's paper), are kept twice as large."""
    step = max(1, -(-max(plates.size) // (2 * side)))
    halves = {name: Image.fromarray(plate).reduce(step) for name, plate in plates.coverage.items()}
    total = sum((np.asarray(half, dtype=np.uint16) for half in halves.values()), np.zeros((), np.uint16))
    shown = {use.name: np.asarray(halves[use.name].reduce(2)) for use in ink.used}
    coverage = {name: np.asarray(half) for name, half in halves.items()}
    together = np.asarray(proof_picture(replace(plates, coverage=coverage), condition, paper=paper))
    doubts = tuple(f"{doubt.what}: {doubt.why}" for doubt in plates.doubts)
    return InkView(ink, condition.ink_limit, shown, total, together, doubts)


def bare_view(ink: PageInk, condition: Condition) -> InkView:
    """The figures alone, for pages beyond those of which a report has pictures."""
    return InkView(ink, condition.ink_limit, {}, np.zeros((0, 0), np.uint16), np.zeros((0, 0, 3), np.uint8))


def all_inks_meet(plates: Plates, box: Box) -> bool:
    """Whether every ink of the page prints at one place in the box, as registration colour does."""
    rows, columns = within(plates, box)
    every = [plates.coverage[name][rows, columns] for name in plates.inks]
    return bool(every[0].size) and int(np.minimum.reduce(every).max()) >= 26  # a tenth of full ink


def places_that_differ(one: Plates, other: Plates, least: float) -> list[Place]:
    """Where any ink differs by `least` (0..1) or more between two takes of the same page; `peak` in percent of it."""
    apart = np.zeros(one.coverage["Black"].shape, np.uint8)
    for name in one.inks:
        a, b = one.coverage[name], other.coverage.get(name, np.zeros_like(apart))
        np.maximum(apart, np.maximum(a, b) - np.minimum(a, b), out=apart)
    over = apart >= least * 255
    if not over.any():
        return []
    return _places(one, (slice(0, over.shape[0]), slice(0, over.shape[1])), over, np.ones(over.shape), apart, 1)


def neighbours(places: list[Place], near: float) -> list[Place]:
    """Places that lie no more than `near` units of the page's space apart, taken together; largest first."""
    left, joined = list(places), list[Place]()
    while left:
        one = left.pop(0)
        while close := [other for other in left if other.box.common(one.box.grown(near))]:
            left = [other for other in left if other not in close]
            every = [one, *close]
            one = Place(around_all([p.box for p in every]), sum(p.square_cm for p in every), max(p.peak for p in every))
        joined.append(one)
    return sorted(joined, key=lambda place: -place.square_cm)


def around_all(boxes: Sequence[Box]) -> Box:
    """The box around several."""
    return Box(
        min(box.left for box in boxes),
        min(box.bottom for box in boxes),
        max(box.right for box in boxes),
        max(box.top for box in boxes),
    )
