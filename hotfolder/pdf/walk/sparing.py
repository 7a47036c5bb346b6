"""Leaves out of a plate what does not touch it: an object that overprints and carries none of the plate's ink.

On the bare page such an object is left out. In a transparency group or a pattern cell it still makes the group opaque
(ISO 32000-1 11.7.4.3), so there it is painted in what stands for no ink, multiplied: what lies below keeps its colour.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING

from pikepdf import Dictionary, Name, Stream

from hotfolder.pdf.objects import entry, name
from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.content import Operation, parse_name, parse_number
from hotfolder.pdf.walk.inline import inline_facts
from hotfolder.pdf.walk.mapping import Paint
from hotfolder.pdf.walk.pictures import picture_space

if TYPE_CHECKING:
    from hotfolder.pdf.walk.frame import Frame

Handle = Callable[["Frame", Operation], None]
_FILL, _STROKE, _CLOSE, _EVEN_ODD = 1, 2, 4, 8
_PATHS = {b"f": 1, b"F": 1, b"f*": 9, b"S": 2, b"s": 6, b"B": 3, b"B*": 11, b"b": 7, b"b*": 15}
_TEXT = (_FILL, _STROKE, _FILL | _STROKE, 0)  # what text modes 0 to 3 paint (ISO 32000-1 table 106)
_INVISIBLE, _CLIPS = 3, 4


def paint_path(frame: "Frame", operation: Operation) -> None:
    """f F f* S s B B* b b*: what is spared goes; the path still clips if a W stands before."""
    kind = _PATHS[operation.operator]
    left = _left(frame, kind & (_FILL | _STROKE))
    if left == kind & (_FILL | _STROKE):
        return
    if frame.state.grouped and not left:
        _multiplied(frame, operation, None)
        return
    now = {0: b"n", _FILL: b"f*" if kind & _EVEN_ODD else b"f", _STROKE: b"S"}[left]
    frame.changes.add(operation.start, operation.end, b"h " + now if kind & _CLOSE else now)


def paint_text(frame: "Frame", operation: Operation) -> None:
    """Tj TJ ' and the double quote: text that is spared still moves the place of the next."""
    drawn = name(entry(frame.state.font, "/Subtype")) == "Type3"
    kind = _FILL if drawn else _TEXT[frame.state.text_mode & 3]
    left = _left(frame, kind)
    if left == kind:
        return
    if drawn or (frame.state.grouped and not left):
        _multiplied(frame, operation, None)
        return
    mode = {0: _INVISIBLE, _FILL: 0, _STROKE: 1}[left] | (frame.state.text_mode & _CLIPS)
    frame.changes.add(operation.start, operation.start, b"%d Tr" % mode)
    frame.changes.add(operation.end, operation.end, b"%d Tr" % frame.state.text_mode)


def set_text_mode(frame: "Frame", operation: Operation) -> None:
    """Tr."""
    frame.state.text_mode = int(parse_number(operation.operands[-1])) & 7


def paint_object(frame: "Frame", operation: Operation, handle: Handle) -> None:
    """Do, sh and inline pictures: as `handle` does it, unless what they paint is spared."""
    state = frame.state
    space, stencil = _space(frame, operation)
    if not (not _left(frame, _FILL) if stencil else _spared(frame, space, None, state.overprint_fill)):
        handle(frame, operation)
    elif state.grouped:
        _multiplied(frame, operation, handle)
    else:
        frame.changes.add(operation.start, operation.end, b" ")


def _space(frame: "Frame", operation: Operation) -> tuple[Space | None, bool]:
    """The colours of what is painted (None: a form, with all kinds), and whether it is a stencil."""
    if operation.operator == b"sh":
        found = frame.edits.get("/Shading", parse_name(operation.operands[-1]))
        return frame.walker.spaces.read(entry(found, "/ColorSpace"), frame.resources), False
    if operation.operator == b"BI":
        painted: object = inline_facts(operation.operands[0], frame.resources)
    else:
        painted = frame.edits.get("/XObject", parse_name(operation.operands[-1]))
    if entry(painted, "/ImageMask") is True:
        return None, True
    if name(entry(painted, "/Subtype")) != "Image" or not isinstance(painted, (Dictionary, Stream)):
        return None, False
    return picture_space(painted, frame.resources, frame.walker.spaces), False


def _left(frame: "Frame", kind: int) -> int:
    """Which of filling and stroking is not spared."""
    state = frame.state
    for part, colour, overprint in (
        (_FILL, state.fill, state.overprint_fill),
        (_STROKE, state.stroke, state.overprint_stroke),
    ):
        space = colour.gradient or colour.space
        if kind & part and _spared(frame, space, None if colour.pattern else colour.values, overprint):
            kind &= ~part
    return kind


def _spared(frame: "Frame", space: Space | None, values: tuple[float, ...] | None, overprint: bool) -> bool:
    state = frame.state
    return frame.walker.mapping.spare(Paint(space, values, overprint, state.overprint_mode, state.blend))


def _multiplied(frame: "Frame", operation: Operation, handle: Handle | None) -> None:
    """Paints it with the blend mode that keeps what lies below where the source is white."""
    _blend(frame, operation.start, "Multiply")
    if handle is not None:
        handle(frame, operation)
    _blend(frame, operation.end, frame.walker.mapping.blend_mode(frame.state.blend))


def _blend(frame: "Frame", at: int, mode: str) -> None:
    frame.set_graphics(at, f"/Blend{mode}", Dictionary(BM=Name("/" + mode)))


PAINTING: dict[bytes, Handle] = {
    **dict.fromkeys(_PATHS, paint_path),
    **dict.fromkeys((b"Tj", b"TJ", b"'", b'"'), paint_text),
    b"Tr": set_text_mode,
}
