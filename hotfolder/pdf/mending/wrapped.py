"""Makes one drawing object of all that a page draws, so that it can be moved, scaled or drawn again as a whole.

Patterns and soft masks lie in the space of the drawing that names them (ISO 32000-1 8.7.2, 11.6.5.3): a matrix put in
front of a page's content would leave the patterns behind. Inside a form XObject they go along.
"""

from __future__ import annotations

from collections.abc import Sequence

import pikepdf
from pikepdf import Array, Dictionary, Name, Page, Stream

from hotfolder.finding import Box
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.objects import content_bytes, dictionary, entry, inherited
from hotfolder.pdf.walk.content import splice
from hotfolder.pdf.walk.nesting import imbalance
from hotfolder.pdf.walk.state import Matrix

_FORM = "/Artwork"


def page_as_form(pdf: pikepdf.Pdf, page: Page, area: Box | None = None) -> Stream:
    """A form XObject that draws what the page's content draws, in the page's own user space, cut to `area` (the media box).

    It changes nothing on the page and leaves out its annotations. It has no group of its own, so what it draws blends
    with what lies below it as the page's content did; a caller that draws it on another page takes care of `/Group`.
    ValueError with one sentence where the page's boxes or its content can't be read.
    """
    form = _content(pdf, page.obj.get("/Contents"))
    form.Type, form.Subtype = Name.XObject, Name.Form
    form.BBox = Array(list(area or read_boxes(page).media))
    form.Resources = dictionary(inherited(page.obj, "/Resources"))
    return form


def draw_copies(pdf: pikepdf.Pdf, page: Page, form: Stream, copies: Sequence[tuple[Matrix, Box]]) -> None:
    """Let a new page draw a form of `page_as_form` and nothing else, once through each matrix, cut to its box."""
    drawing = []
    for matrix, shown in copies:
        corners = (shown.left, shown.bottom, shown.width, shown.height)
        drawing.append(f"q {_numbers(corners)} re W n {_numbers(matrix)} cm {_FORM} Do Q\n")
    resources = Dictionary(XObject=Dictionary({_FORM: form}))
    if defaults := _default_spaces(form.Resources):
        resources.ColorSpace = defaults
    page.obj.Contents = pdf.make_indirect(Stream(pdf, "".join(drawing).encode("ascii")))
    page.obj.Resources = resources


def draw_through_matrix(pdf: pikepdf.Pdf, page: Page, matrix: Matrix, area: Box | None = None) -> None:
    """Let the page draw all its content moved by a matrix, looking the same otherwise. Boxes and annotations stay.

    Structure for reading aloud no longer finds its text on the page. ValueError as for `page_as_form`.
    """
    form = pdf.make_indirect(page_as_form(pdf, page, area))
    resources = Dictionary(XObject=Dictionary({_FORM: form}))
    defaults = _default_spaces(form.Resources)
    if defaults:  # the space in which the page blends may lean on them (11.6.6)
        resources.ColorSpace = defaults
    drawing = f"q {_numbers(matrix)} cm {_FORM} Do Q"
    page.obj.Contents = pdf.make_indirect(Stream(pdf, drawing.encode("ascii")))
    page.obj.Resources = resources
    if "/StructParents" in page.obj:
        del page.obj.StructParents


def _content(pdf: pikepdf.Pdf, contents: object) -> Stream:
    """The page's content as one new stream that ends as it began; packed as it was where it can stay as it is."""
    try:
        data = content_bytes(contents)
    except ValueError as fault:
        raise ValueError(f"The page's drawing can't be read: {fault}.") from fault
    surplus, tail = imbalance(data)
    if surplus or tail or not isinstance(contents, Stream):
        return Stream(pdf, splice(data, surplus) + b"\n" + tail)
    form = Stream(pdf, contents.read_raw_bytes())
    for key in ("/Filter", "/DecodeParms"):
        if key in contents:
            form[key] = contents[key]
    return form


def _default_spaces(resources: object) -> Dictionary:
    spaces = dictionary(entry(resources, "/ColorSpace"))
    kept = [key for key in ("/DefaultGray", "/DefaultRGB", "/DefaultCMYK") if key in spaces]
    return Dictionary({key: spaces[key] for key in kept})


def _numbers(values: Sequence[float]) -> str:
    return " ".join(map(_number, values))


def _number(value: float) -> str:
    """To a billionth: a factor moves the far end of a large page by thousands of times its own rounding."""
    text = f"{value:.9f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
