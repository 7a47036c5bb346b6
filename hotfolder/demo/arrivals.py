"""The files that arrive at the demo's print shop: some ready for print, some with the mistakes people make."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import numpy as np
import pikepdf
import pyvips
from pikepdf import Array, Dictionary, Name

from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.colour.profile import SRGB
from hotfolder.colour.transform import to_condition
from hotfolder.demo import posters
from hotfolder.demo.canvas import Canvas
from hotfolder.pdf.finishing.slug import embed_font
from hotfolder.pdf.render import render_page
from hotfolder.units import INCH, parse_size

_BLEED = INCH / 8


@dataclass(frozen=True)
class Arrival:
    """One file that a client of the demo drops, and why it is in the demo."""

    path: str  # below the watched folder
    about: str
    write: Callable[[Path], object]
    ticket: str = ""  # the ticket file that lies beside it


def arrivals() -> list[Arrival]:
    """Everything that is dropped, in the order of the table that the demo prints."""
    return [
        Arrival("quaymarket_jazznight_24x36in.pdf", "PDF in CMYK with bleed, as ordered", _jazz("24x36in")),
        Arrival("lanterntheatre_papermoon_18x24in.pdf", "PDF in screen colours (RGB), with bleed", _moon("18x24in")),
        Arrival("northfield_opennight_18x24in.jpg", "JPEG with pixels to spare", _night_jpeg(200)),
        Arrival(
            "harvest loaf final.tif",
            "TIFF in CMYK, its order in a ticket file beside it",
            _loaf_tiff,
            ticket='# The order that came with "harvest loaf final.tif".\nclient = "Mill Street Bakery"\ntitle = "Harvest loaf"\ntrim = "A2"\ncopies = 40\n',
        ),
        Arrival("tidewater_riverride_24x36in.jpg", "JPEG taken from a web page: too coarse", _ride_jpeg(40)),
        Arrival("northfield_opennight_24x36in.pdf", "PDF of another size than ordered", _night_pdf("18x24in")),
        Arrival("lanterntheatre_papermoon_A2.pdf", "PDF that ends at the trim: no bleed", _moon("A2", bleed=0)),
        Arrival("quaymarket_jazznight_A1.pdf", "PDF whose upload broke off half way", _cut_short),
    ]


def _jazz(size: str) -> Callable[[Path], object]:
    return lambda path: path.write_bytes(_pdf(_canvas(size, posters.jazz_night)))


def _moon(size: str, bleed: float = _BLEED) -> Callable[[Path], object]:
    return lambda path: path.write_bytes(_pdf(_canvas(size, posters.paper_moon, bleed), boxes=bleed > 0))


def _night_pdf(size: str) -> Callable[[Path], object]:
    return lambda path: path.write_bytes(_pdf(_canvas(size, posters.open_night)))


def _night_jpeg(ppi: float) -> Callable[[Path], object]:
    return lambda path: _jpeg(path, _canvas("18x24in", posters.open_night), ppi)


def _ride_jpeg(ppi: float) -> Callable[[Path], object]:
    return lambda path: _jpeg(path, _canvas("24x36in", posters.river_ride), ppi)


def _cut_short(path: Path) -> None:
    whole = _pdf(_canvas("A1", posters.jazz_night))
    path.write_bytes(whole[: len(whole) * 2 // 3])


def _loaf_tiff(path: Path) -> None:
    """CMYK numbers of the demo's own printing condition, 200 ppi, losslessly packed."""
    picture = to_condition(SRGB, SHIPPED[DEFAULT]).picture(_picture(_canvas("A2", posters.harvest_loaf), 200))
    resolution = 200 / 25.4  # libvips counts pixels a millimetre
    picture.copy(interpretation="cmyk", xres=resolution, yres=resolution).tiffsave(
        str(path), compression="lzw", predictor="horizontal", keep="none"
    )


def _jpeg(path: Path, canvas: Canvas, ppi: float) -> None:
    picture = _picture(canvas, ppi).copy(xres=ppi / 25.4, yres=ppi / 25.4)
    picture.set_type(pyvips.GValue.blob_type, "icc-profile-data", SRGB.data)
    picture.jpegsave(str(path), Q=92, keep="icc")


def _picture(canvas: Canvas, ppi: float) -> pyvips.Image:
    """The canvas drawn into pixels, as a picture program would export it."""
    rendered = render_page(_pdf(canvas), 1, ppi)
    return pyvips.Image.new_from_array(np.asarray(rendered.picture), interpretation="srgb")


def _canvas(size: str, draw: Callable[[Canvas], None], bleed: float = _BLEED) -> Canvas:
    sheet = parse_size(size)
    canvas = Canvas(sheet.width, sheet.height, bleed)
    draw(canvas)
    return canvas


def _pdf(canvas: Canvas, *, boxes: bool = True) -> bytes:
    """The canvas as a one-page PDF, with its TrimBox and BleedBox where they are wanted."""
    edge, width, height = canvas.bleed, canvas.width, canvas.height
    with pikepdf.new() as pdf:
        page = pdf.add_blank_page(page_size=(width + 2 * edge, height + 2 * edge))
        moved = b"1 0 0 1 %.3f %.3f cm\n" % (edge, edge)
        page.obj.Contents = pdf.make_stream(moved + canvas.content)
        fonts = {"/F1": embed_font(pdf, canvas.live_text)} if canvas.live_text else {}
        page.obj.Resources = Dictionary(Font=Dictionary(fonts))
        if boxes:
            page.obj.BleedBox = Array([0, 0, round(width + 2 * edge, 3), round(height + 2 * edge, 3)])
            page.obj.TrimBox = Array([round(side, 3) for side in (edge, edge, edge + width, edge + height)])
        pdf.docinfo[Name.Title] = "Poster"
        out = BytesIO()
        pdf.save(out, deterministic_id=True)
        return out.getvalue()
