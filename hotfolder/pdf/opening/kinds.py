"""Tells what kind of file something is by its first bytes, and whether its name says the same."""

from __future__ import annotations

from pathlib import PurePath

#: kind -> (how people call it, the endings its files have)
_NAMES = {
    "pdf": ("a PDF", ("pdf", "ai")),
    "jpeg": ("a JPEG picture", ("jpg", "jpeg", "jpe", "jfif")),
    "tiff": ("a TIFF picture", ("tif", "tiff")),
    "png": ("a PNG picture", ("png",)),
}
_PICTURES = {
    "jpeg": (b"\xff\xd8\xff",),  # ISO/IEC 10918-1 B.1.1.3: start of image, then another marker
    "tiff": (b"II*\0", b"MM\0*", b"II+\0\x08\0", b"MM\0+\0\x08"),  # TIFF 6.0 section 2; the last two: BigTIFF
    "png": (b"\x89PNG\r\n\x1a\n",),  # ISO/IEC 15948 5.2
}
_PDF_WITHIN = 1024  # readers take the header anywhere in the first 1024 bytes (ISO 32000-1 annex H.3, note 13)


def picture_kind(head: bytes) -> str:
    """ "jpeg", "tiff", "png", or "" for anything else."""
    return next((kind for kind, marks in _PICTURES.items() if head.startswith(marks)), "")


def pdf_kind(head: bytes) -> str:
    """ "pdf" where a PDF's header stands near the beginning; a picture that only mentions one is a picture."""
    return "pdf" if b"%PDF-" in head[:_PDF_WITHIN] and not picture_kind(head) else ""


def wrong_ending(name: str, kind: str) -> str:
    """A sentence where the file's name says another kind than its content; "" where they agree."""
    called, endings = _NAMES[kind]
    ending = PurePath(name).suffix[1:]
    if ending.lower() in endings:
        return ""
    said = f"its name ends in .{ending}" if ending else "its name has no ending"
    return f"The file is {called}, although {said}; it was opened as what it is."
