"""Finds what annotations print: stamps, notes, printer's marks (ISO 32000-1 12.5.5)."""

from typing import TYPE_CHECKING

from pikepdf import Array, Dictionary, Stream

from hotfolder.pdf.objects import copy_dictionary, dictionary, entry, name, number, numbers, same_object, whole
from hotfolder.pdf.walk.placing import form_box
from hotfolder.pdf.walk.state import IDENTITY, Box, Matrix, State

if TYPE_CHECKING:
    from hotfolder.pdf.walk.walker import Walker

# Of the kinds in table 169, those that a viewer draws without being told how.
_DRAWN = frozenset(
    ("Text", "FreeText", "Line", "Square", "Circle", "Polygon", "PolyLine", "Highlight", "Underline", "Squiggly")
) | {"StrikeOut", "Stamp", "Caret", "Ink", "FileAttachment"}


def rewrite_appearance(walker: "Walker", annotation: object, resources: object) -> None:
    """What an annotation prints (12.5.3: flag 3 prints, flag 2 hides; printer's marks always print)."""
    if not isinstance(annotation, Dictionary):
        return
    flags = whole(annotation.get("/F"), 0)
    marks = name(annotation.get("/Subtype")) in ("PrinterMark", "TrapNet")
    look = entry(annotation.get("/AP"), "/N")
    if flags & 2 or not (flags & 4 or marks):
        return
    if look is None:
        _tell_undrawn(walker, annotation)
        return
    state = State()
    if isinstance(look, Stream):
        state.ctm = _appearance_matrix(annotation, look)
        new: object = walker.form(look, resources, state, owned=True, black=True)[0]
    elif isinstance(look, Dictionary):
        new = Dictionary()
        for key in look.keys():  # noqa: SIM118
            part = look[key]
            state.ctm = _appearance_matrix(annotation, part)
            new[key] = (
                walker.form(part, resources, state, owned=True, black=True)[0] if isinstance(part, Stream) else part
            )
    else:
        return
    if not same_object(new, look):
        appearance = copy_dictionary(dictionary(annotation.AP))
        appearance.N = new
        annotation.AP = appearance


def _tell_undrawn(walker: "Walker", annotation: Dictionary) -> None:
    """Without an appearance a viewer draws these itself, in colours that no mapping can change (12.5.6)."""
    kind = name(annotation.get("/Subtype"))
    border = annotation.get("/Border")
    width = entry(annotation.get("/BS"), "/W", border[2] if isinstance(border, Array) and len(border) > 2 else 1)
    framed = kind == "Link" and number(width, 1.0) > 0
    if kind in _DRAWN or framed:
        box = _rectangle(annotation)
        why = "it prints, but has no appearance of its own: each program draws it in its own way"
        walker.leave(f"an annotation ({kind})", why, box)


def _rectangle(annotation: Dictionary) -> Box | None:
    try:
        x0, y0, x1, y1 = numbers(annotation.get("/Rect"), 4)
    except ValueError:
        return None
    return min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)


def _appearance_matrix(annotation: Dictionary, look: object) -> Matrix:
    """Maps an appearance's transformed box onto the annotation's rectangle (12.5.5, algorithm 8.1)."""
    box, place = form_box(look, IDENTITY), _rectangle(annotation)
    if place is None or box is None or box[2] <= box[0] or box[3] <= box[1]:
        return IDENTITY
    sx, sy = (place[2] - place[0]) / (box[2] - box[0]), (place[3] - place[1]) / (box[3] - box[1])
    return sx, 0.0, 0.0, sy, place[0] - box[0] * sx, place[1] - box[1] * sy
