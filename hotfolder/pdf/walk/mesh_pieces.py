"""Measures and cuts the triangles and patches of gradient meshes, so that mixing in inks looks as mixing did before."""

from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np
from numpy.typing import NDArray

from hotfolder.pdf.values.spaces import Floats
from hotfolder.pdf.walk.blend import CLOSE, LIMIT, Blend
from hotfolder.pdf.walk.mesh_records import Records
from hotfolder.pdf.walk.outcome import CannotConvert

MOST_CUTS = 8  # a side in 256 parts
MOST_PIECES = 150_000
_AT_ONCE = 20_000
_PLAIN = 0.006  # corners that differ by less of their range mix alike in any space


@dataclass(frozen=True, slots=True)
class Shape:
    """How one kind of piece is cut into four, and where it is looked at: all are weights of its points or corners.

    Exact: a triangle's colour is linear in its corners, a patch's is bilinear and its surface a cubic in each direction
    (8.7.4.5.8), which de Casteljau's rule halves.
    """

    points: Floats  # (4, p, p)
    corners: Floats  # (4, c, c)
    look: Floats  # (places, c)
    offsets: Floats  # (4, 2): second and first parameter of each part's beginning


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Triangles or tensor patches: points (m, p, 2), corner colours (m, c, n), and the order in which they are painted:
    (m, 3), the piece of the file, then the place in it."""

    shape: Shape
    points: Floats
    colours: Floats
    order: Floats

    def __len__(self) -> int:
        return len(self.points)

    def some(self, which: NDArray[np.bool_]) -> "Pieces":
        return Pieces(self.shape, self.points[which], self.colours[which], self.order[which])

    def cut(self, level: int) -> "Pieces":
        points = np.einsum("kab,mbx->mkax", self.shape.points, self.points).reshape(-1, *self.points.shape[1:])
        colours = np.einsum("kab,mbx->mkax", self.shape.corners, self.colours).reshape(-1, *self.colours.shape[1:])
        order = np.repeat(self.order, 4, axis=0)
        order[:, 1:] += np.tile(self.shape.offsets * 0.5 ** (level + 1), (len(self), 1))
        return Pieces(self.shape, points, colours, order)


def errors(blend: Blend, pieces: Pieces) -> Floats:
    """For each piece, how far colours mixed of its converted corners are from its own colours, converted."""
    off = np.zeros(len(pieces))
    span = np.maximum(np.ptp(pieces.colours.reshape(-1, pieces.colours.shape[2]), axis=0), 1)
    busy = np.flatnonzero((np.ptp(pieces.colours, axis=1) / span).max(axis=1) > _PLAIN)
    for start in range(0, len(busy), _AT_ONCE):
        which = busy[start : start + _AT_ONCE]
        corners = pieces.colours[which]
        between = np.einsum("tc,mcn->mtn", pieces.shape.look, corners)
        meant = blend(between.reshape(-1, between.shape[2])).reshape(*between.shape[:2], -1)
        inks = blend(corners.reshape(-1, corners.shape[2])).reshape(*corners.shape[:2], -1)
        drawn = np.einsum("tc,mcn->mtn", pieces.shape.look, inks)
        off[which] = blend.apart(drawn, meant).max(axis=1)
    return off


def refine(blend: Blend, pieces: Pieces) -> Pieces:
    """The same mesh in pieces small enough. CannotConvert where no reasonable number of pieces is."""
    done: list[Pieces] = []
    left, most = pieces, MOST_PIECES + 2 * len(pieces)
    for level in range(MOST_CUTS + 1):
        off = errors(blend, left)
        close = off <= CLOSE
        done.append(left.some(close))
        left = left.some(~close)
        if len(left) == 0:
            break
        if level == MOST_CUTS or sum(map(len, done)) + 4 * len(left) > most:
            if off.max() > LIMIT:
                raise CannotConvert(
                    f"its colours change too abruptly: {off.max():.1f} CIEDE2000 from what they should be"
                )
            done.append(left)
            break
        left = left.cut(level)
    points, colours, order = (
        np.concatenate([getattr(part, name) for part in done]) for name in ("points", "colours", "order")
    )
    painted = np.lexsort(order.T[::-1])
    return Pieces(pieces.shape, points[painted], colours[painted], order[painted])


# What a file's records mean


def pieces_of(records: Records, kind: int, colours: Floats, columns: int) -> Pieces:
    """The triangles or patches that the records describe; `colours` are theirs, one row each."""
    if kind in (4, 5):
        points = np.concatenate(records.points)
        which = _free(records.flags) if kind == 4 else _lattice(len(points), columns)
        if len(which) == 0:
            raise CannotConvert("it has no whole triangle")
        return Pieces(triangle(), points[which], colours[which], _order(len(which)))
    places, corners = _joined_patches(records, colours)
    return Pieces(patch(), _tensor(places), corners, _order(len(places)))


def _order(count: int) -> Floats:
    return np.stack([np.arange(count), np.zeros(count), np.zeros(count)], axis=1)


def _free(flags: list[int]) -> NDArray[np.int64]:
    """Type 4: a vertex begins a triangle of its own (0), or makes one with an edge of the last (1, 2)."""
    found: list[tuple[int, int, int]] = []
    at = 0
    while at < len(flags):
        if flags[at] == 0 or not found:
            if flags[at] != 0:
                raise CannotConvert("it begins in the middle of a triangle")
            if at + 2 >= len(flags):
                break
            found.append((at, at + 1, at + 2))
            at += 3
            continue
        a, b, c = found[-1]
        found.append((b, c, at) if flags[at] == 1 else (a, c, at))
        at += 1
    return np.array(found, np.int64).reshape(-1, 3)


def _lattice(count: int, columns: int) -> NDArray[np.int64]:
    """Type 5: rows of vertices, two triangles between four neighbours (8.7.4.5.6)."""
    if columns < 2:
        raise CannotConvert("its rows are too short")
    rows = count // columns
    first = (np.arange(max(rows - 1, 0))[:, None] * columns + np.arange(columns - 1)).ravel()
    upper = np.stack([first, first + 1, first + columns], axis=1)
    lower = np.stack([first + 1, first + columns, first + columns + 1], axis=1)
    return np.stack([upper, lower], axis=1).reshape(-1, 3)


def _joined_patches(records: Records, colours: Floats) -> tuple[Floats, Floats]:
    """All points (m, 12 or 16, 2) and four colours (m, 4, n) of each patch, in the order of table 85."""
    places: list[Floats] = []
    corners: list[Floats] = []
    at = 0
    for edge, own, count in zip(records.flags, records.points, records.counts, strict=True):
        mine = colours[at : at + count]
        at += count
        if edge:
            if not places:
                raise CannotConvert("it begins in the middle of a patch")
            shared = [(3 * edge + i) % 12 for i in range(4)]
            own = np.concatenate([places[-1][shared], own])
            mine = np.concatenate([corners[-1][[edge, (edge + 1) % 4]], mine])
        places.append(own)
        corners.append(mine)
    return np.stack(places), np.stack(corners)


# Row i, column j of the 4 x 4 points (8.7.4.5.8), in the order in which a stream has them.
STREAM_ORDER = (
    (0, 0), (0, 1), (0, 2), (0, 3), (1, 3), (2, 3), (3, 3), (3, 2), (3, 1), (3, 0), (2, 0), (1, 0),
    (1, 1), (1, 2), (2, 2), (2, 1),
)  # fmt: skip
_PLACE = [4 * i + j for i, j in STREAM_ORDER]


def _tensor(places: Floats) -> Floats:
    """Patches as 4 x 4 points; of a patch with 12 (type 6), the inner ones by the equations of 8.7.4.5.8."""
    grid = np.zeros((len(places), 4, 4, 2))
    for index in range(places.shape[1]):
        grid[:, STREAM_ORDER[index][0], STREAM_ORDER[index][1]] = places[:, index]
    if places.shape[1] == 12:
        for i, j in ((1, 1), (1, 2), (2, 1), (2, 2)):
            a, b = (0, 3) if i == 1 else (3, 0)  # the near and the far row
            c, d = (0, 3) if j == 1 else (3, 0)
            near, far = grid[:, a, j] + grid[:, i, c], grid[:, a, d] + grid[:, b, c]
            opposite = grid[:, b, j] + grid[:, i, d]
            grid[:, i, j] = (-4 * grid[:, a, c] + 6 * near - 2 * far + 3 * opposite - grid[:, b, d]) / 9
    return grid.reshape(len(places), 16, 2)


def in_stream_order(pieces: Pieces) -> Floats:
    return pieces.points if pieces.points.shape[1] == 3 else pieces.points[:, _PLACE]


# Shapes


@cache
def triangle() -> Shape:
    a, b, c = np.eye(3)
    ab, bc, ca = (a + b) / 2, (b + c) / 2, (c + a) / 2
    cuts = np.array([[a, ab, ca], [ab, b, bc], [ca, bc, c], [bc, ca, ab]])
    look = np.array([(i, j, 4 - i - j) for i in range(5) for j in range(5 - i) if 4 not in (i, j, 4 - i - j)]) / 4
    return Shape(cuts, cuts, look, np.array([[k, 0.0] for k in range(4)]))


@cache
def patch() -> Shape:
    first = np.array([[1, 0, 0, 0], [1 / 2, 1 / 2, 0, 0], [1 / 4, 1 / 2, 1 / 4, 0], [1 / 8, 3 / 8, 3 / 8, 1 / 8]])
    halves = (first, first[::-1, ::-1])
    parts = [(u, v) for v in (0, 1) for u in (0, 1)]
    points = np.array([np.kron(halves[u], halves[v]) for u, v in parts])
    corners = np.array([[_bilinear((u + x) / 2, (v + y) / 2) for x, y in _CORNERS] for u, v in parts])
    sides = np.linspace(0, 1, 5)
    look = np.array([_bilinear(u, v) for u, v in product(sides, sides) if (u, v) not in _CORNERS])
    return Shape(points, corners, look, np.array([[v, u] for u, v in parts], float))


_CORNERS = ((0, 0), (0, 1), (1, 1), (1, 0))  # (u, v) of the four colours


def _bilinear(u: float, v: float) -> list[float]:
    return [(1 - u) * (1 - v), (1 - u) * v, u * v, u * (1 - v)]
