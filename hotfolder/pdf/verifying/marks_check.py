"""Looks at a finished sheet as a picture: do the printer's marks stay out of the bleed, and the artwork inside it?"""

from __future__ import annotations

import io

import numpy as np
import pikepdf
from numpy.typing import NDArray
from pikepdf import Array, Dictionary, Name
from PIL import ImageChops

from hotfolder.finding import Box
from hotfolder.pdf.render import Pages, Rendered, open_pages
from hotfolder.pdf.verifying.conformance import Page
from hotfolder.pdf.verifying.faults import Fault

_LONG_SIDE = 1000  # pixels
_INK = 40  # of 255: how much darker than paper a pixel must be to count as ink
_MARKS = "/PrinterMarks"


def marks_faults(sheet: bytes, drawn: Pages, number: int, page: Page) -> list[Fault]:
    """Faults of one page's marks. `sheet` is the file, `drawn` the same opened for drawing; `page` as pypdf read it."""
    if not page.has_marks:
        return []
    ppi = _LONG_SIDE / max(drawn.shown_inches(number))
    whole = drawn.render(number, ppi)
    with open_pages(_marks_alone(sheet, number)) as alone:
        marks = alone.render(1, ppi)
    marked, inked = _ink(marks), _ink(whole)
    inside, outside = _inside(marks, page.bleed, -1), ~_inside(marks, page.bleed, 2)
    faults = []
    if (marked & inside).any():
        message = "A printer's mark reaches into the bleed and could be left on the trimmed poster."
        faults.append(Fault("marks_in_bleed", message, number, box=page.bleed))
    if not (marked & outside).any():
        faults.append(Fault("marks_missing", "The printer's marks can't be seen on the finished sheet.", number))
    elif (inked & outside & ~_spread(marked)).any():
        message = "Something of the artwork lies beyond the bleed, among the printer's marks."
        faults.append(Fault("art_among_marks", message, number, box=page.bleed))
    elif (marked & outside & ~_spread(inked)).any():
        faults.append(Fault("marks_covered", "Something covers the printer's marks on the finished sheet.", number))
    return faults


def _marks_alone(sheet: bytes, number: int) -> bytes:
    """A page of the same boxes with nothing but the marks."""
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(sheet)) as pdf, pikepdf.new() as made:
        page = pdf.pages[number - 1].obj
        forms = page.Resources.XObject
        key = next(key for key in forms.keys() if key.startswith(_MARKS))  # noqa: SIM118
        blank = Dictionary(Type=Name.Page)
        for entry in ("/MediaBox", "/CropBox", "/Rotate", "/UserUnit"):
            if entry in page:
                value = page[entry]
                blank[entry] = Array(list(value)) if isinstance(value, Array) else value
        blank.Resources = Dictionary(XObject=Dictionary({key: made.copy_foreign(forms[key])}))
        blank.Contents = made.make_stream(f"{key} Do".encode("ascii"))
        made.pages.append(pikepdf.Page(made.make_indirect(blank)))
        made.save(out, fix_metadata_version=False)
    return out.getvalue()


def _ink(drawn: Rendered) -> NDArray[np.bool_]:
    red, green, blue = drawn.picture.split()
    darkest = ImageChops.darker(ImageChops.darker(red, green), blue)
    return np.asarray(np.asarray(darkest) < 255 - _INK)


def _inside(drawn: Rendered, box: Box, more: int) -> NDArray[np.bool_]:
    """The pixels of a box, grown by so many pixels on each side."""
    left, top, right, bottom = drawn.place(box)
    mask = np.zeros((drawn.picture.height, drawn.picture.width), bool)
    mask[max(0, top - more) : max(0, bottom + more), max(0, left - more) : max(0, right + more)] = True
    return mask


def _spread(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The mask and one pixel around it: two drawings of one line may fall on neighbouring pixels."""
    wide = np.pad(mask, 1)
    high, across = mask.shape
    out = np.zeros_like(mask)
    for down in range(3):
        for right in range(3):
            out |= wide[down : down + high, right : right + across]
    return out
