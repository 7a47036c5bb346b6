"""One object that a page paints: what it is, where it stands, how large, in which colour."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

from hotfolder.finding import Box
from hotfolder.pdf.looking.fonts import Font
from hotfolder.pdf.walk.state import IDENTITY, Colour, Matrix


class Kind(Enum):
    """What an object is."""

    TEXT = "text"
    FILL = "area"
    STROKE = "line"
    PICTURE = "picture"
    STENCIL = "stencil"  # a picture of one bit, through which a colour is painted
    GRADIENT = "gradient"  # over all of the clipping path


@dataclass(frozen=True, slots=True)
class Painted:
    """One object. Boxes are in the page's user space, sizes in points on paper (UserUnit counted).

    Areas painted with a tiling pattern are one fill; what stands in its cell, in soft masks and in layers that don't
    print is no object. Drawn letters (Type 3) are text.
    """

    kind: Kind
    box: Box | None  # where ink can stand on the page after clipping; None: nothing left of it
    whole: Box  # the same before clipping
    size: float = 0.0  # text: of the letters after all scaling, the thinner way; stroke: width of the thinner way
    words: str = ""  # of text, as Unicode; "" where the font doesn't tell
    colour: Colour | None = None  # that paints it; None for pictures and gradients
    overprint: bool = False
    mode: int = 0  # overprint mode
    alpha: float = 1.0  # with that of the groups around it
    blend: str = "Normal"
    masked: bool = False  # by a soft mask, also one of a group around it
    seen: bool = True  # False: invisible text mode, alpha 0, clipped away entirely, nothing but spaces
    matrix: Matrix = IDENTITY  # in force (pictures: unit square to page; text: text space to page)
    key: tuple[int, int] | None = None  # the picture's object; the font's for text
    in_glyph: bool = False  # text whose letters are drawings of their own (Type 3): the colour may be another
    font: Font | None = None
    points: int = 0  # of the outline that an area or line belongs to: a rectangle has 4 or 5


@dataclass
class Inventory:
    """What one page paints, in order: the first MOST_OBJECTS objects; `left_out` counts the rest, a form as one."""

    objects: list[Painted] = field(default_factory=list)
    left_out: int = 0
