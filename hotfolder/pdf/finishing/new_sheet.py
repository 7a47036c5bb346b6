"""Makes new pages on which a poster is drawn once or often, cut to what shall be seen, with marks around.

The poster is one form XObject, drawn through a matrix each time: its bytes are in the file once, whatever the number of
copies or tiles, and nothing of it is flattened or drawn anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pikepdf
from pikepdf import Array, Dictionary, Name, Stream
from PIL import Image

from hotfolder.finding import Box
from hotfolder.moved import LaidSheet, Matrix, Moved, Placed, inverse
from hotfolder.pdf.boxes import PageBoxes
from hotfolder.pdf.finishing.marks import draw_marks
from hotfolder.pdf.finishing.sheet import Marks, Sheet, view_matrix
from hotfolder.pdf.finishing.slug import Line
from hotfolder.pdf.finishing.strip import prints
from hotfolder.pdf.mending.wrapped import draw_copies, page_as_form
from hotfolder.pdf.objects import numbers
from hotfolder.pdf.render import open_pages

_VIEW_SIDE = 500  # pixels of a picture for the report


def art_form(pdf: pikepdf.Pdf, page: pikepdf.Page, boxes: PageBoxes) -> Stream:
    """What the page draws as far as its bleed reaches. ValueError where it can't be read, or a note on it would print."""
    annotations = page.obj.get("/Annots")
    for annotation in annotations if isinstance(annotations, Array) else []:
        if isinstance(annotation, Dictionary) and prints(annotation) and _lies_on(annotation, boxes.bleed):
            raise ValueError("A note, stamp or form field lies on it that would print; it belongs into the drawing.")
    form: Stream = pdf.make_indirect(page_as_form(pdf, page, boxes.bleed))
    return form


def upright(boxes: PageBoxes) -> Moved:
    """From the page's user space to points of paper as it is looked at, the trim's lower left corner at 0 0."""
    return Moved(inverse(view_matrix(boxes, boxes.trim)), boxes.seen_size(boxes.trim))


def quarter_turn(moved: Moved) -> Moved:
    """The same turned to the left; the trim begins at 0 0 again."""
    width, height = moved.trim
    return moved.then(Moved((0, 1, -1, 0, height, 0), (height, width)))


def shifted(moved: Moved, right: float, up: float) -> Moved:
    return moved.then(Moved((1, 0, 0, 1, right, up), moved.trim))


def seen_bleeds(boxes: PageBoxes) -> Box:
    """How far the bleed reaches beyond each side of the trim, in points, as it is looked at."""
    way = upright(boxes)
    bleed, (width, height) = way.now(boxes.bleed), way.trim
    sides = (-bleed.left, -bleed.bottom, bleed.right - width, bleed.top - height)
    return Box(*(max(0.0, side) for side in sides))


def make_sheet(
    pdf: pikepdf.Pdf,
    source: pikepdf.Page,
    form: Stream,
    placed: Sequence[Placed],
    trim: Box,
    bleed: Box,
    sheet: Sheet,
    marks: Marks,
    slug: Line | None = None,
) -> LaidSheet:
    """Add a page at the end. Boxes are in points of paper; the page's user space begins at the sheet's corner.

    It blends in the group of the page it comes from. ValueError with a sentence where it is too large for a PDF.
    """
    by = (-sheet.edge.left - trim.left, -sheet.edge.bottom - trim.bottom)
    moved = [replace(one, moved=shifted(one.moved, *by), shown=_shift(one.shown, by)) for one in placed]
    trim, bleed = _shift(trim, by), _shift(bleed, by)
    page = pdf.add_blank_page(page_size=(100, 100))
    if isinstance(group := source.obj.get("/Group"), Dictionary):
        page.obj.Group = group
    copies: list[tuple[Matrix, Box]] = [(one.moved.matrix, one.shown) for one in moved]
    draw_copies(pdf, page, form, copies)
    declared = frozenset({"MediaBox", "BleedBox", "TrimBox"})
    draw_marks(pdf, page, PageBoxes(bleed, bleed, bleed, trim, trim, declared), sheet, marks, slug)
    page.obj[Name.Rotate] = 0  # its own: one of the page tree would turn it
    return LaidSheet((trim.width, trim.height), tuple(moved))


def views(path: Path, named: Sequence[tuple[str, int]]) -> list[tuple[str, Image.Image]]:
    """Small pictures of pages with their words, for the report; what can't be drawn is left out, others will tell."""
    found = []
    with suppress(ValueError), open_pages(path) as pages:
        for words, page in named:
            found.append((words, pages.render(page, _VIEW_SIDE / max(pages.shown_inches(page))).picture))
    return found


def _lies_on(annotation: Dictionary, area: Box) -> bool:
    try:
        x0, y0, x1, y1 = numbers(annotation.get("/Rect"), 4)
    except ValueError:
        return False  # without a place it is drawn nowhere
    return Box(min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)).common(area) is not None


def _shift(box: Box, by: tuple[float, float]) -> Box:
    return Box(box.left + by[0], box.bottom + by[1], box.right + by[0], box.top + by[1])
