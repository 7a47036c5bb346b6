"""Reads the matrices and boxes that say where a form lies."""

from hotfolder.pdf.objects import entry, numbers
from hotfolder.pdf.walk.state import IDENTITY, Box, Matrix, multiply, transform_box


def form_box(form: object, ctm: Matrix) -> Box | None:
    """Where a form lies in the space of `ctm`; None where its box makes no sense."""
    try:
        left, bottom, right, top = numbers(entry(form, "/BBox"), 4)
    except ValueError:
        return None
    return transform_box((left, bottom, right, top), multiply(read_matrix(entry(form, "/Matrix")), ctm))


def read_matrix(found: object) -> Matrix:
    try:
        a, b, c, d, e, f = numbers(found, 6)
    except ValueError:
        return IDENTITY
    return a, b, c, d, e, f
