"""Finds what annotations print: stamps, notes, printer's marks (ISO 32000-1 12.5.5)."""

from typing import TYPE_CHECKING

from pikepdf import Dictionary, Stream

from hotfolder.pdf.objects import copy_dictionary, dictionary, entry, name, numbers, same_object, whole
from hotfolder.pdf.walk.placing import form_box
from hotfolder.pdf.walk.state import IDENTITY, Matrix, State

if TYPE_CHECKING:
    from hotfolder.pdf.walk.walker import Walker


def rewrite_appearance(walker: "Walker", annotation: object, resources: object) -> None:
    """What an annotation prints (12.5.3: flag 3 prints, flag 2 hides; printer's marks always print)."""
    if not isinstance(annotation, Dictionary):
        return
    flags = whole(annotation.get("/F"), 0)
    marks = name(annotation.get("/Subtype")) in ("PrinterMark", "TrapNet")
    look = entry(annotation.get("/AP"), "/N")
    if look is None or flags & 2 or not (flags & 4 or marks):
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


def _appearance_matrix(annotation: Dictionary, look: object) -> Matrix:
    """Maps an appearance's transformed box onto the annotation's rectangle (12.5.5, algorithm 8.1)."""
    box = form_box(look, IDENTITY)
    try:
        x0, y0, x1, y1 = numbers(annotation.get("/Rect"), 4)
    except ValueError:
        return IDENTITY
    if box is None or box[2] <= box[0] or box[3] <= box[1]:
        return IDENTITY
    sx, sy = abs(x1 - x0) / (box[2] - box[0]), abs(y1 - y0) / (box[3] - box[1])
    return sx, 0.0, 0.0, sy, min(x0, x1) - box[0] * sx, min(y0, y1) - box[1] * sy
