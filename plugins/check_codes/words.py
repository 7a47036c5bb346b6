"""Words and pictures for a code."""

from __future__ import annotations

from PIL import Image, ImageDraw

from hotfolder.names import printable
from hotfolder.pdf.looking.code_print import STRIPES, Measured
from hotfolder.pdf.looking.codes import Code

MOST_LETTERS = 80
_LINE, _ZONE = "#0057b8", "#e07000"


def a_code(code: Code) -> str:
    """`a QR code`, `an EAN-13 barcode`."""
    kind = code.kind.replace(" Code", "") if code.kind.endswith("QR Code") else code.kind
    word = f"{kind} {'barcode' if code.kind in STRIPES else 'code'}"
    return f"{'an' if kind[:3] in ('EAN', 'Azt', 'ITF', 'rMQ') else 'a'} {word}"


def quoted(text: str) -> str:
    """What a code says, on one line and cut: the file's maker can write anything there."""
    shown = printable(text[:MOST_LETTERS])[: 2 * MOST_LETTERS]
    return f"“{shown}{'…' if len(text) > MOST_LETTERS else ''}”"


def outlined(code: Code, measured: Measured | None) -> Image.Image:
    """The code with its own edge in blue, and the free space that it needs in orange."""
    picture = code.drawn.picture.copy()
    draw = ImageDraw.Draw(picture)
    width = max(2, picture.width // 200)
    draw.polygon(list(code.corners), outline=_LINE, width=width)
    if measured is not None:
        draw.rectangle(code.drawn.place(measured.zone), outline=_ZONE, width=width)
    return picture
