"""Which operators of a drawing matter, and what follows each of them."""

from collections.abc import Callable

from hotfolder.pdf.walk.content import Operation
from hotfolder.pdf.walk.frame import DEVICE, Frame
from hotfolder.pdf.walk.placed import choose_font, draw, inline, shade
from hotfolder.pdf.walk.sparing import PAINTING, paint_object

HANDLED: dict[bytes, Callable[[Frame, Operation], None]] = {
    **dict.fromkeys(DEVICE, Frame.device),
    **dict.fromkeys((b"cs", b"CS"), Frame.choose),
    **dict.fromkeys((b"sc", b"scn", b"SC", b"SCN"), Frame.paint_with),
    b"q": Frame.save,
    b"Q": Frame.restore,
    b"cm": Frame.concatenate,
    b"gs": Frame.graphics,
    b"ri": Frame.intent,
    b"Do": draw,
    b"sh": shade,
    b"BI": inline,
    b"Tf": choose_font,
}
SPARING: dict[bytes, Callable[[Frame, Operation], None]] = {
    **HANDLED,
    **PAINTING,
    b"Do": lambda frame, operation: paint_object(frame, operation, draw),
    b"sh": lambda frame, operation: paint_object(frame, operation, shade),
    b"BI": lambda frame, operation: paint_object(frame, operation, inline),
}
# A stream without any of these has nothing that could need a change, unless default spaces are in force.
TRIGGERS = frozenset(HANDLED) - {b"g", b"G", b"k", b"K", b"q", b"Q", b"cm", b"ri"}
