"""Makes the copy of a PDF that proof pictures are drawn from: in the screen's colours, as the press will print it."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from pathlib import Path

import pikepdf
import pyvips

from hotfolder.colour.condition import Condition
from hotfolder.pdf.mappings import ToScreen
from hotfolder.pdf.walk.walker import walk

#: What damaged artwork makes of drawing: the picture is left out or drawn plainly, and the report says so.
FAULTS: tuple[type[Exception], ...] = (
    ArithmeticError,
    LookupError,
    MemoryError,
    OSError,
    RuntimeError,
    TypeError,
    ValueError,
    pikepdf.PasswordError,  # no kind of PdfError
    pikepdf.PdfError,
    pyvips.Error,
)
MOST_PAGES_KEPT = 12


def screen_copy(path: Path, condition: Condition | None, ppi: float, pages: Sequence[int]) -> tuple[Path | bytes, str]:
    """A copy whose named pages (from 1) show the condition's printed colours, pictures shrunk to so many ppi.

    Where that can't be done the file itself comes back, with a sentence that says why its colours are approximate.
    """
    if condition is None:
        return path, "Colours in the pictures are approximate: the printing condition is not known."
    try:
        return _converted(path, condition, ppi, pages)
    except FAULTS:
        return path, "Colours in the pictures are approximate: they could not be shown as the press prints them."


def _converted(path: Path, condition: Condition, ppi: float, pages: Sequence[int]) -> tuple[bytes, str]:
    with path.open("rb") as stream, pikepdf.open(stream) as pdf:
        result = walk(pdf, ToScreen(condition, ppi), [page - 1 for page in pages])
        if len(pdf.pages) > MOST_PAGES_KEPT:
            _empty_others(pdf, pages)
        copy = BytesIO()
        pdf.save(
            copy,
            fix_metadata_version=False,
            compress_streams=False,
            object_stream_mode=pikepdf.ObjectStreamMode.disable,
        )
    sentence = "Colours of some parts of the pictures are approximate." if result.leftovers else ""
    return copy.getvalue(), sentence


def _empty_others(pdf: pikepdf.Pdf, pages: Sequence[int]) -> None:
    """Take the content off pages nobody will draw, so that a book is not copied for the sake of its cover."""
    for index, page in enumerate(pdf.pages):
        if index + 1 not in pages:
            for key in ("/Contents", "/Resources", "/Annots"):
                if key in page.obj:
                    del page.obj[key]
