"""Moves a page as a whole: what it draws, its boxes, and the stamps and notes that lie on it."""

from __future__ import annotations

import pikepdf
from pikepdf import Array, Dictionary, Page, Stream

from hotfolder.finding import Box
from hotfolder.moved import Matrix, Moved
from hotfolder.pdf.boxes import LEAST_UNITS, PageBoxes, set_box
from hotfolder.pdf.mending.fitting import Fit
from hotfolder.pdf.mending.wrapped import draw_through_matrix
from hotfolder.pdf.objects import copy_dictionary, numbers
from hotfolder.pdf.walk.placing import read_matrix
from hotfolder.pdf.walk.state import multiply
from hotfolder.units import INCH

_MOST_ANNOTATIONS = 10_000
_POINTS = ("/QuadPoints", "/Vertices", "/L", "/CL")  # coordinates two by two (ISO 32000-1 12.5.6)
_KEPT = INCH  # at final size; what lies this far off the sheet stays, for a step that needs it as bleed


def move_page(pdf: pikepdf.Pdf, page: Page, boxes: PageBoxes, fit: Fit) -> None:
    """Carry out a plan: afterwards Rotate is 0, the media box begins at 0 0, and trim and bleed boxes are written.

    Nothing is drawn anew, added or left out, save for what lies more than an inch off the sheet. ValueError with one
    sentence, and the page as it was, where its content can't be read or it would be too small for a PDF.
    """
    moved, node = fit.moved, page.obj
    media = moved.now(boxes.media)
    if min(media.width, media.height) < LEAST_UNITS:
        raise ValueError("The page would be too small for a PDF.")
    draw_through_matrix(pdf, page, moved.matrix, boxes.media.grown(_KEPT / fit.unit / moved.scale))
    set_box(page, "MediaBox", media)
    set_box(page, "TrimBox", fit.cut)
    set_box(page, "BleedBox", _around(moved.now(fit.bleed), fit.cut))
    for name, box in (("CropBox", boxes.crop), ("ArtBox", boxes.art)):
        if name in boxes.declared:
            set_box(page, name, moved.now(box))
    node["/Rotate"] = 0  # its own: one of the page tree would turn it again
    if fit.unit != 1:
        node["/UserUnit"] = int(fit.unit)
    elif "/UserUnit" in node:
        del node["/UserUnit"]
    _move_annotations(pdf, node.get("/Annots"), moved)


def _around(box: Box, inner: Box) -> Box:
    return Box(
        min(box.left, inner.left), min(box.bottom, inner.bottom), max(box.right, inner.right), max(box.top, inner.top)
    )


# ---- annotations


def _move_annotations(pdf: pikepdf.Pdf, annotations: object, moved: Moved) -> None:
    for annotation in list(annotations)[:_MOST_ANNOTATIONS] if isinstance(annotations, Array) else []:
        if isinstance(annotation, Dictionary):
            _move_annotation(pdf, annotation, moved)


def _move_annotation(pdf: pikepdf.Pdf, annotation: Dictionary, moved: Moved) -> None:
    """Its rectangle moves, and its appearance turns: a viewer fits that into the rectangle by itself (12.5.5)."""
    try:
        x0, y0, x1, y1 = numbers(annotation.get("/Rect"), 4)
    except ValueError:
        return  # without a place it is drawn nowhere
    annotation["/Rect"] = Array(list(moved.now(Box(min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)))))
    for key in _POINTS:
        if key in annotation:
            annotation[key] = _moved_points(annotation[key], moved.matrix)
    strokes = annotation.get("/InkList")
    if isinstance(strokes, Array):
        annotation["/InkList"] = Array([_moved_points(stroke, moved.matrix) for stroke in strokes])
    looks = annotation.get("/AP")
    if moved.turns and isinstance(looks, Dictionary):
        annotation["/AP"] = _turned_looks(pdf, looks, moved)


def _moved_points(points: object, matrix: Matrix) -> object:
    try:
        values = numbers(points)
    except ValueError:
        return points
    a, b, c, d, e, f = matrix
    pairs = zip(values[::2], values[1::2], strict=False)
    return Array([side for x, y in pairs for side in (a * x + c * y + e, b * x + d * y + f)])


def _turned_looks(pdf: pikepdf.Pdf, looks: Dictionary, moved: Moved) -> Dictionary:
    """Appearances by state, and those by state within; each a copy, as other annotations may share it."""
    made = copy_dictionary(looks)
    for key in made.keys():  # noqa: SIM118
        look = made[key]
        if isinstance(look, Stream):
            made[key] = _turned(pdf, look, moved)
        elif isinstance(look, Dictionary):
            states = copy_dictionary(look)
            for state in states.keys():  # noqa: SIM118
                if isinstance(held := states[state], Stream):
                    states[state] = _turned(pdf, held, moved)
            made[key] = states
    return made


def _turned(pdf: pikepdf.Pdf, look: Stream, moved: Moved) -> pikepdf.Object:
    a, b, c, d, _, _ = moved.matrix
    turn = (a / moved.scale, b / moved.scale, c / moved.scale, d / moved.scale, 0.0, 0.0)
    copy = Stream(pdf, look.read_raw_bytes())
    for key in look.keys():  # noqa: SIM118
        if key != "/Length":
            copy[key] = look[key]
    copy.Matrix = Array(list(multiply(read_matrix(look.get("/Matrix")), turn)))
    return pdf.make_indirect(copy)
