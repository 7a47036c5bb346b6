"""Finds the pictures that a page paints, where, and with which resolution.

Nothing is changed. Clipping is not considered: what is cropped away counts as painted.
"""

import math
from dataclasses import dataclass

import pikepdf
from pikepdf import Object

from hotfolder.pdf.looking.lettered import LetteredPictures
from hotfolder.pdf.objects import entry, identity, names, number, whole
from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import Mapping
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.state import UNIT, Box, Matrix, transform_box
from hotfolder.pdf.walk.walker import Walker


@dataclass(frozen=True, slots=True)
class Placement:
    """One picture as placed. `box`, `matrix` are in the page's user space; pixels per inch count its UserUnit.

    `ppi_x` and `ppi_y` are the picture's columns and rows over the length that the matrix gives its sides.
    `space` is None for a stencil; `name` is "" for an inline picture; `soft_mask`: it has one of its own.
    """

    page: int
    name: str
    box: Box
    matrix: Matrix
    width: int
    height: int
    ppi_x: float
    ppi_y: float
    space: Space | None
    bits: int
    filters: tuple[str, ...]
    inline: bool
    soft_mask: bool
    object_id: tuple[int, int] | None

    @property
    def ppi(self) -> float:
        """The lesser of both resolutions."""
        return min(self.ppi_x, self.ppi_y)

    @property
    def space_name(self) -> str:
        return "stencil" if self.space is None else self.space.label()


def placements(page: pikepdf.Page | Object, number: int = 1) -> list[Placement]:
    """Every picture that a page paints, in the order of painting: in forms, patterns, masks, printing annotations too.

    The page's document must stay open meanwhile. A form used ten times gives its pictures ten times;
    letters that are pictures (Type 3) count once for each size, stencils among them not. Pictures whose dictionary makes
    no sense are left out.
    """
    page = page.obj if isinstance(page, pikepdf.Page) else page
    looker = _Pictures(user_unit(page))
    with pikepdf.new() as workbench:
        Walker(workbench, looker, WalkResult()).page(page, number)
        if looker.lettered:
            Walker(workbench, LetteredPictures(looker.place), WalkResult()).page(page, number)
    return looker.found


def user_unit(page: object) -> float:
    """How many points one unit of the page's space is (ISO 32000-1 table 30)."""
    unit = entry(page, "/UserUnit")
    try:
        return max(number(unit, 1.0), 1e-6)
    except ValueError:
        return 1.0


class _Pictures(Mapping):
    every_use = passes_copies = True

    def __init__(self, unit: float) -> None:
        self.unit, self.found = unit, list[Placement]()
        self.lettered = False  # letters are pictures, whose size is known where text is shown

    def picture_placed(self, frame: Frame, picture: Object, space: Space | None, name: str) -> None:
        if frame.state.in_glyph:
            self.lettered |= space is not None
        else:
            self.place(frame, picture, space, name)

    def place(self, frame: Frame, picture: Object, space: Space | None, name: str) -> None:
        try:
            width, height = whole(entry(picture, "/Width")), whole(entry(picture, "/Height"))
            bits = 1 if space is None else whole(entry(picture, "/BitsPerComponent"), 8)
        except ValueError:
            return
        a, b, c, d, _, _ = matrix = frame.state.ctm
        across, up = math.hypot(a, b) * self.unit / 72, math.hypot(c, d) * self.unit / 72
        self.found.append(
            Placement(
                page=frame.page,
                name=name[1:],
                box=transform_box(UNIT, matrix),
                matrix=matrix,
                width=width,
                height=height,
                ppi_x=width / across if across > 0 else math.inf,
                ppi_y=height / up if up > 0 else math.inf,
                space=space,
                bits=bits,
                filters=tuple(names(entry(picture, "/Filter"))),
                inline=name == "",
                soft_mask=entry(picture, "/SMask") is not None,
                object_id=identity(picture),
            )
        )
