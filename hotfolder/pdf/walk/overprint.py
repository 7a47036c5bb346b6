"""Keeps overprinting as it was meant when colours become inks.

With overprint mode 1, an ink of 0 spares what lies below, but only for colours that are DeviceCMYK to begin with
(ISO 32000-1 8.6.7). A converted colour never spared anything, so for it the mode must be 0.
"""

from typing import TYPE_CHECKING

from pikepdf import Dictionary, Name

from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.content import write_name
from hotfolder.pdf.walk.mapping import Fate
from hotfolder.pdf.walk.outcome import CannotConvert
from hotfolder.pdf.walk.state import Colour

if TYPE_CHECKING:
    from hotfolder.pdf.walk.frame import Frame


def keep_overprint(frame: "Frame", at: int) -> None:
    """Writes an overprint mode behind the operator that ends at `at`, if the colours now in force need another."""
    state = frame.state
    if not (state.overprint_fill or state.overprint_stroke) or frame.walker.mapping.target.kind != "DeviceCMYK":
        return
    wanted = set()
    for on, colour in ((state.overprint_fill, state.fill), (state.overprint_stroke, state.stroke)):
        space = colour.space.base if colour.space.kind == "Pattern" else colour.space
        if on and space is not None and (mode := _meant(frame, space, colour.values, state.overprint_mode)) is not None:
            wanted.add(mode)
            _check_spared(frame, space, colour)
    if not wanted:
        return
    frame.uses_callers_colours()
    if len(wanted) > 1:
        frame.walker.leave("overprinting", "lines and areas need different overprint modes once they are inks")
    elif wanted != {state.written_mode}:
        state.written_mode = wanted.pop()
        graphics = Dictionary(Type=Name.ExtGState, OPM=state.written_mode)
        written = frame.edits.add("/ExtGState", "/OverprintMode", graphics)
        frame.changes.add(at, at, write_name(written) + b" gs")


def _check_spared(frame: "Frame", space: Space, colour: Colour) -> None:
    """CMYK of another press that spared an ink and has some of it once converted: the look below would change."""
    if space.kind != "DeviceCMYK" or not frame.state.overprint_mode or colour.pattern or len(colour.values) != 4:
        return
    if frame.walker.plan(space).fate is Fate.CONVERT:
        intent = frame.state.intent
        try:
            new = frame.walker.convert([(space, colour.values, intent)])[space.key, colour.values, intent]
        except CannotConvert:
            return  # told where the colour is written
        if any(old == 0 and now > 0 for old, now in zip(colour.values, new, strict=True)):
            told = "a CMYK colour lets the background through in an ink that it needs some of on this press"
            frame.walker.leave("overprinting", told)


def _meant(frame: "Frame", space: Space, values: tuple[float, ...], mode: int) -> int | None:
    """The mode in which a colour behaves as it did in the file; None where the mode makes no difference."""
    if space.kind == "DeviceCMYK":
        return mode
    if space.kind in ("Separation", "DeviceN") and frame.walker.plan(space).fate is Fate.CONVERT:
        told = "it overprinted what lay below; mixed from process inks, it now replaces those inks there"
        frame.walker.result.remark(frame.page, space.label(), told)
        return 1  # it spares the inks that its mixture has none of: as near to an ink of its own as it gets
    if space.kind in ("Separation", "DeviceN", "Pattern"):
        return None
    if space.kind == "DeviceGray" and (values in ((0.0,), (1.0,)) or frame.walker.plan(space).fate is Fate.KEEP):
        return None  # full black and white stay gray wherever they come from
    return 0 if frame.walker.plan(space).fate in (Fate.CONVERT, Fate.SWAP) else None
