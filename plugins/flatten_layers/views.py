"""The artwork with every layer, beside the artwork as it prints."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pikepdf
from pikepdf import Array, Dictionary, Name
from PIL import Image, ImageChops

from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.render import render_page

SIDE = 600  # pixels
_SEEN = 24  # of 255: a difference that people notice


def pictures(before: Path, after: Path) -> list[tuple[str, Image.Image]]:
    """Of the first page on which the layers make a difference; nothing where none is seen."""
    with pikepdf.open(before) as pdf:
        sizes = [_ppi(page) for page in pdf.pages]
        every = _all_on(pdf)
    for number, ppi in enumerate(sizes, 1):
        if ppi is None:
            continue
        try:
            designed, printed = render_page(every, number, ppi).picture, render_page(after, number, ppi).picture
        except ValueError:  # a page that can't be drawn is told of by others
            continue
        if designed.size == printed.size and _differ(designed, printed):
            return [("With every layer", designed), ("As it prints", printed)]
    return []


def _ppi(page: pikepdf.Page) -> float | None:
    try:
        boxes = read_boxes(page)
    except ValueError:
        return None
    return SIDE * 72 / (max(boxes.media.width, boxes.media.height) * boxes.user_unit)


def _all_on(pdf: pikepdf.Pdf) -> bytes:
    """The file with all its layers switched on, and no rule that could switch one off."""
    layers = pdf.Root.OCProperties
    layers.D = Dictionary(BaseState=Name.ON)
    for group in layers.get("/OCGs", Array()):
        if isinstance(group, Dictionary) and "/Usage" in group:
            del group["/Usage"]
    out = BytesIO()
    pdf.save(out, fix_metadata_version=False, compress_streams=False)
    return out.getvalue()


def _differ(one: Image.Image, other: Image.Image) -> bool:
    return max(high for _, high in ImageChops.difference(one, other).getextrema()) > _SEEN  # type: ignore[misc]
