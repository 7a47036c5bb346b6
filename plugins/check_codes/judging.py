"""Says of a measured code what may keep it from scanning in print; each sentence goes on behind the code's name."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from hotfolder.gathered import Found
from hotfolder.pdf.looking.code_print import STRIPES, Measured
from hotfolder.pdf.looking.codes import Code
from hotfolder.plugin import MM, Box, Level

LITTLE = 0.6  # of the free space that codes in stripes need: with less scanners begin to fail (seen with zxing-cpp)
_ROUNDED = 0.98  # measured in pixels: what misses a size by less has it


@dataclass(frozen=True)
class Limits:
    """The step's settings, the trim, and the safe margin in units of the page's space."""

    least_module: float
    good_module: float
    least_contrast: float  # 0..1
    trim: Box
    margin: float


def judge(code: Code, measured: Measured, limits: Limits) -> Iterator[Found]:
    yield from _fineness(measured, limits)
    yield from _tones(code, measured, limits.least_contrast)
    yield from _place(measured, limits)
    if measured.quiet < measured.needed:
        yield _crowded(code, measured)


def unread(code: Code) -> Found:
    """For what is known for a code, although it says nothing that agrees with its own check."""
    if code.kind in STRIPES:
        message = (
            "can't be read: its bars don't agree with its own check digit, or some of them are damaged or covered."
        )
    else:
        message = "can't be read: too much of it is damaged, covered or unclear."
    mend = "Make the code anew with a program for codes, place it as it comes, and keep everything else off it."
    return Found("code_unread", message, mend=mend)


def _fineness(measured: Measured, limits: Limits) -> Iterator[Found]:
    least, good, module = limits.least_module, limits.good_module, measured.module
    size = f"{module / MM:.2f} mm"
    if module < least * _ROUNDED:
        yield Found(
            "code_too_small",
            f"is too small: its finest parts are only {size} wide on paper, and ink spreads until they run together.",
            size,
            f"{least / MM:.2f} mm",
            f"Enlarge it {least / module:.1f} times or more, or let it say less.",
        )
    elif module < good * _ROUNDED:
        yield Found(
            "code_small",
            f"is small: its finest parts are {size} wide on paper. Reading it may take several tries.",
            size,
            f"{good / MM:.2f} mm",
            f"If there is room, enlarge it {good / module:.1f} times.",
            Level.NOTE,
        )


def _tones(code: Code, measured: Measured, least: float) -> Iterator[Found]:
    if measured.contrast < least:
        yield Found(
            "code_pale",
            "is too pale: its light and dark parts differ too little to be told apart.",
            f"{measured.contrast:.0%}",
            f"{least:.0%}",
            "Print it in black or another dark colour on white.",
        )
    elif code.kind in STRIPES and measured.red_contrast < least:
        yield Found(
            "code_red",
            "is in colours that a scanner with red light can't tell apart: red, orange and yellow look white to it.",
            f"{measured.red_contrast:.0%} in red light",
            f"{least:.0%}",
            "Print the bars in black, dark blue or dark green on white, yellow or red.",
        )
    if measured.reversed:
        held = code.kind in STRIPES
        yield Found(
            "code_reversed",
            f"is light on dark. {'Scanners can’t' if held else 'Some readers don’t'} read such codes.",
            "light on dark",
            "dark on light",
            "Set it dark on a light ground.",
            Level.HOLD if held else Level.NOTE,
        )


def _place(measured: Measured, limits: Limits) -> Iterator[Found]:
    """The cut and the safe margin in the code, or in the free space around it."""
    if not measured.zone.within(limits.trim):
        message = (
            "reaches over the cut with itself or the free space around it, and may not scan when the sheet is cut."
        )
        yield Found("code_cut", message, mend="Move it inwards.")
    elif not measured.zone.within(limits.trim.grown(-limits.margin), 0.5):
        message = "stands in the safe margin with itself or the free space that it needs."
        yield Found("code_in_margin", message, mend="Move it inwards.", level=Level.NOTE)


def _crowded(code: Code, measured: Measured) -> Found:
    held = code.kind in STRIPES and measured.quiet / measured.needed < LITTLE
    cope = "Scanners need it to find the bars." if held else "Many phones cope, some readers don't."
    part = "of its thinnest bars" if code.kind in STRIPES else "of its small squares"
    return Found(
        "code_crowded",
        f"has something too close to it: on one side only about {measured.quiet:.1f} {part} fit in between. {cope}",
        f"{measured.quiet:.1f} {part}",
        f"{measured.needed:g} {part}",
        f"Keep room for {measured.needed:g} {part} free around it, in the colour of its ground.",
        Level.HOLD if held else Level.NOTE,
    )
