"""Keeps the graphics state while the drawing instructions of a page are followed (ISO 32000-1 8.4)."""

import math
from dataclasses import dataclass, field

from hotfolder.pdf.values.spaces import GRAY, Space

Matrix = tuple[float, float, float, float, float, float]
Box = tuple[float, float, float, float]
IDENTITY: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
UNIT: Box = (0.0, 0.0, 1.0, 1.0)
MOST_SAVED = 2000  # ISO 32000-1 annex C: 28 is what a writer may rely on.


def multiply(first: Matrix, second: Matrix) -> Matrix:
    """The matrix that applies `first`, then `second` (8.3.4); numbers beyond use are cut off."""
    a, b, c, d, e, f = first
    p, q, r, s, t, u = second
    g, h, i, j, x, y = product = (
        a * p + b * r, a * q + b * s, c * p + d * r, c * q + d * s, e * p + f * r + t, e * q + f * s + u
    )  # fmt: skip
    far = 1e12
    if -far < g < far and -far < h < far and -far < i < far and -far < j < far and -far < x < far and -far < y < far:
        return product
    return tuple(x if -1e12 < x < 1e12 else math.copysign(1e12, x) if x == x else 0.0 for x in product)  # type: ignore[return-value]


def transform_box(box: Box, matrix: Matrix) -> Box:
    """The upright box around a transformed box."""
    a, b, c, d, e, f = matrix
    if b == c == 0:
        left, bottom, right, top = box[0] * a + e, box[1] * d + f, box[2] * a + e, box[3] * d + f
        return min(left, right), min(bottom, top), max(left, right), max(bottom, top)
    corners = [(x * a + y * c + e, x * b + y * d + f) for x in (box[0], box[2]) for y in (box[1], box[3])]
    xs, ys = [x for x, _ in corners], [y for _, y in corners]
    return min(xs), min(ys), max(xs), max(ys)


def narrowest(ctm: Matrix) -> float:
    """The smaller singular value of a matrix: by how much it scales in its thinner direction."""
    a, b, c, d, _, _ = ctm
    total, product = a * a + b * b + c * c + d * d, abs(a * d - b * c)
    return math.sqrt(max(0.0, (total - math.sqrt(max(0.0, total * total - 4 * product * product))) / 2))


def common_box(one: Box | None, other: Box | None) -> Box | None:
    """The part that both boxes share, its sides out of order where there is none; None stands for no limit at all."""
    if one is None or other is None:
        return one or other
    return max(one[0], other[0]), max(one[1], other[1]), min(one[2], other[2]), min(one[3], other[3])


@dataclass(frozen=True, slots=True)
class Colour:
    """A current colour: numbers in a space, and the name of the pattern if it is one."""

    space: Space = GRAY
    values: tuple[float, ...] = (0.0,)
    pattern: str = ""
    gradient: Space | None = None  # of a shading pattern


@dataclass
class State:
    """What `q` saves and `Q` brings back, as far as colour and place depend on it."""

    ctm: Matrix = IDENTITY
    fill: Colour = field(default_factory=Colour)  # Black, in every page (table 52).
    stroke: Colour = field(default_factory=Colour)
    overprint_fill: bool = False
    overprint_stroke: bool = False
    overprint_mode: int = 0
    written_mode: int = 0  # the overprint mode in the changed file, where it has to differ
    alpha_fill: float = 1.0
    alpha_stroke: float = 1.0
    blend: str = "Normal"
    masked: bool = False
    intent: str = ""  # rendering intent stated by the file, in the condition's words; "" where it states none
    in_glyph: bool = False  # in the drawing of a Type 3 glyph, which is text
    sunk: bool = False  # inside a group that mixes with what lies below and is itself not painted plainly
    knockout: bool = False  # directly inside a knockout group
    blends_in: int = 0  # channels of the blending space, where a group names one
    grouped: bool = False  # inside a transparency group or a pattern cell, which may have holes
    font: object = None
    font_size: float = 0.0
    text_mode: int = 0
    text_scale: float = 1.0
    leading: float = 0.0
    letter_gap: float = 0.0  # between letters, and between words, in text space (9.3.2, 9.3.3)
    word_gap: float = 0.0
    rise: float = 0.0
    line_width: float = 1.0
    written_width: float = 1.0  # the line width in the changed file, where it has to differ
    # What forms' boxes leave of the page, and paths where a mapping follows them; None: nothing is cut off.
    clip: Box | None = None
    in_mask: bool = False  # in the drawing of a soft mask, which shows nothing itself
    # What the groups around this content do to it when they are painted: their opacity, masks and blending.
    outer_alpha: float = 1.0
    outer_masked: bool = False
    outer_blend: str = "Normal"
    uncoloured: bool = False  # in a glyph or pattern cell that takes its colour from outside and ignores its own

    def copy(self) -> "State":
        made = object.__new__(State)
        made.__dict__ = self.__dict__.copy()  # several times as fast as copy.copy, and done at every q
        return made

    @property
    def plain(self) -> bool:
        """Whether what is painted covers what lies below, without mixing."""
        return (
            self.blend in ("Normal", "Compatible")
            and self.alpha_fill >= 1
            and self.alpha_stroke >= 1
            and not self.masked
        )

    def for_group(
        self, ctm: Matrix, *, isolated: bool = False, knockout: bool = False, channels: int | None = None
    ) -> "State":
        """The state in which a transparency group's own content begins (11.6.6): blending starts afresh, in a space of
        so many channels; None: in the same as around it."""
        inner = self.copy()
        inner.sunk = not isolated and (self.sunk or not self.plain)
        inner.outer_alpha, inner.outer_masked = self.outer_alpha * self.alpha_fill, self.outer_masked or self.masked
        inner.outer_blend = self.blend if self.blend not in ("Normal", "Compatible") else self.outer_blend
        inner.ctm, inner.blend, inner.alpha_fill, inner.alpha_stroke, inner.masked = ctm, "Normal", 1.0, 1.0, False
        inner.grouped, inner.knockout = True, knockout
        if channels is not None:
            inner.blends_in = channels
        return inner
