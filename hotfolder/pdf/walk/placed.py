"""What is placed on a page as a whole: pictures, forms, gradients, and fonts whose glyphs are drawn."""

from typing import TYPE_CHECKING

import pikepdf
from pikepdf import Dictionary, Stream

from hotfolder.pdf.objects import entry, name, same_object
from hotfolder.pdf.walk.content import Operation, parse_name, parse_number, write_name
from hotfolder.pdf.walk.inline import inline_facts, write_inline
from hotfolder.pdf.walk.painted import glyphs, picture, shading
from hotfolder.pdf.walk.state import UNIT, transform_box

if TYPE_CHECKING:
    from hotfolder.pdf.walk.frame import Frame


def draw(frame: "Frame", operation: Operation) -> None:
    """Do: a picture or a form."""
    key = parse_name(operation.operands[-1])
    found = frame.edits.get("/XObject", key)
    if not isinstance(found, Stream):
        raise ValueError(f"the picture or form {key[1:]} is missing")
    kind = name(entry(found, "/Subtype"))
    now: object = found
    stencil = kind == "Image" and entry(found, "/ImageMask") is True
    if stencil:
        even_alpha(frame, operation.start, frame.state.alpha_fill**0.5)
    if kind == "Image":
        now, space = picture(frame.walker, found, frame.resources, frame.state)
        frame.walker.mapping.picture_placed(frame, found, space, key)
    elif kind == "Form":
        inner = frame.state.copy()
        now, borrowed = frame.walker.form(found, frame.resources, inner, depth=frame.depth)
        frame.borrowed |= borrowed and not frame.owns_both
    written = frame.edits.use("/XObject", key, now)
    if written != key:
        frame.changes.add(operation.start, operation.end, write_name(written) + b" Do")
    if stencil:
        even_alpha(frame, operation.end, frame.state.alpha_fill)


def shade(frame: "Frame", operation: Operation) -> None:
    """sh: a gradient over all of the clipping path."""
    key = parse_name(operation.operands[-1])
    known = frame.gradients.get((key, frame.state.intent))
    if known is None:
        found = frame.edits.get("/Shading", key)
        if found is None:
            raise ValueError(f"the gradient {key[1:]} is missing")
        now = shading(frame.walker, found, frame.resources, frame.state.intent)
        known = frame.gradient_space(found), frame.edits.use("/Shading", key, now)
        frame.gradients[key, frame.state.intent] = known
    space, written = known
    if space is not None:
        frame.walker.mapping.gradient_painted(frame, space)
    if written != key:
        frame.changes.add(operation.start, operation.end, write_name(written) + b" sh")


def inline(frame: "Frame", operation: Operation) -> None:
    """BI ID EI: a picture inside the content stream."""
    entries, data = operation.operands
    try:
        facts = inline_facts(entries, frame.resources)
    except (ValueError, pikepdf.PdfError) as fault:
        frame.walker.leave("an inline picture", str(fault), transform_box(UNIT, frame.state.ctm))
        return
    stencil = entry(facts, "/ImageMask") is True
    if stencil:
        even_alpha(frame, operation.start, frame.state.alpha_fill**0.5)
    now, space = picture(frame.walker, facts, frame.resources, frame.state, inline=data)
    frame.walker.mapping.picture_placed(frame, facts, space, "")
    if not same_object(now, facts) and isinstance(now, Stream):
        frame.changes.add(operation.start, operation.end, write_inline(frame.edits, now))
    if stencil:
        even_alpha(frame, operation.end, frame.state.alpha_fill)


def choose_font(frame: "Frame", operation: Operation) -> None:
    """Tf. The glyphs of a Type 3 font are drawn by content streams of their own."""
    key = parse_name(operation.operands[0])
    frame.state.font_size = parse_number(operation.operands[1])
    if key not in frame.fonts:
        font = frame.edits.get("/Font", key)
        frame.fonts[key] = font, name(entry(font, "/Subtype")) == "Type3"
    found, drawn = frame.fonts[key]
    frame.state.font = found
    if drawn:
        later = frame.walker.mapping.shapes
        now = found if later else glyphs(frame.walker, found, frame.resources, frame.state, frame.depth)
        written = frame.edits.use("/Font", key, now)
        if written != key:
            size = b" " + operation.operands[1] + b" Tf"
            frame.changes.add(operation.start, operation.end, write_name(written) + size)


def even_alpha(frame: "Frame", at: int, alpha: float) -> None:
    """PDFium lets the constant alpha of a stencil count twice (seen with pypdfium2 5, against Ghostscript)."""
    if frame.walker.mapping.drawn and 0 < frame.state.alpha_fill < 1:
        frame.set_graphics(at, f"/Alpha{alpha:.4f}", Dictionary(ca=round(alpha, 4)))
