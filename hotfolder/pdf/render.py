"""Turns a page of a PDF, or a part of it, into a picture to look at or to compare.

PDFium does the drawing. It knows nothing of UserUnit, shows the crop box and takes its boxes from its own reading of
the file; so the boxes are read here, and the part to draw is handed to it as if it were the whole page.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import pikepdf
import pypdfium2 as _pypdfium2
from numpy.typing import NDArray
from PIL import Image

from hotfolder.finding import Box
from hotfolder.pdf.objects import entry, inherited, number, numbers

pdfium: Any = _pypdfium2  # it carries no types

MOST_PIXELS = 40_000_000  # 120 MB of picture; beyond it the page is drawn at a lower resolution
MOST_ON_A_SIDE = 30_000
_ON_WHITE, _ON_NOTHING = pdfium.raw.FPDFBitmap_BGRx, pdfium.raw.FPDFBitmap_BGRA
_PDFIUM = threading.RLock()  # PDFium is not safe to call from two threads at once


class View:
    """Where the points of a page stand in a picture of it. `area`: what it shows, in the page's unrotated user space;
    `rotate`: 0, 90, 180 or 270, clockwise; `size`: width and height in pixels."""

    __slots__ = ()
    area: Box
    rotate: int

    @property
    def size(self) -> tuple[int, int]:
        raise NotImplementedError

    def point(self, x: float, y: float) -> tuple[float, float]:
        """Where a point of the page's user space stands in the picture, in pixels from its upper left corner."""
        across = (x - self.area.left) / self.area.width
        down = (self.area.top - y) / self.area.height
        for _ in range(self.rotate // 90):
            across, down = 1 - down, across
        return across * self.size[0], down * self.size[1]

    def place(self, box: Box) -> tuple[int, int, int, int]:
        """The pixel rectangle (left, top, right, bottom) of a box, not cut to the picture."""
        x0, y0 = self.point(box.left, box.bottom)
        x1, y1 = self.point(box.right, box.top)
        return round(min(x0, x1)), round(min(y0, y1)), round(max(x0, x1)), round(max(y0, y1))

    def box(self, left: float, top: float, right: float, bottom: float) -> Box:
        """The box in the page's user space that a pixel rectangle shows."""
        corners = [self._user_point(x, y) for x, y in ((left, top), (right, bottom))]
        xs, ys = zip(*corners, strict=True)
        return Box(min(xs), min(ys), max(xs), max(ys))

    def _user_point(self, across: float, down: float) -> tuple[float, float]:
        x, y = across / self.size[0], down / self.size[1]
        for _ in range(self.rotate // 90):
            x, y = y, 1 - x
        return self.area.left + x * self.area.width, self.area.top - y * self.area.height


@dataclass(frozen=True, slots=True)
class Rendered(View):
    """A drawn page or part of one, upright as its /Rotate wants it. `ppi` is what it came to after all limits."""

    picture: Image.Image
    area: Box
    rotate: int
    ppi: float

    @property
    def size(self) -> tuple[int, int]:
        return self.picture.size


@dataclass(frozen=True, slots=True)
class Channels(View):
    """The same as one plane for each channel, (rows, columns): 0 where it is white to 255 where it is black."""

    darkness: list[NDArray[np.uint8]]
    area: Box
    rotate: int
    ppi: float

    @property
    def size(self) -> tuple[int, int]:
        rows, columns = self.darkness[0].shape
        return columns, rows


class Pages:
    """An open PDF whose pages can be drawn, several times without reading the file again."""

    def __init__(self, facts: pikepdf.Pdf, document: Any) -> None:
        self._facts, self._document = facts, document
        self._loaded: tuple[int, Any] | None = None
        self._drawing = np.empty(0, np.uint8)

    def __len__(self) -> int:
        return len(self._facts.pages)

    def sheet(self, page: int) -> Box:
        """The media box of a page. ValueError where there is no such page, or its box makes no sense."""
        return self._geometry(page)[0]

    def rotate(self, page: int) -> int:
        """How far /Rotate turns a page, clockwise: 0, 90, 180 or 270. ValueError as for `sheet`."""
        return self._geometry(page)[1]

    def shown_inches(self, page: int, area: Box | None = None) -> tuple[float, float]:
        """Width and height of the area (else the sheet) in inches, before /Rotate, UserUnit counted."""
        media, _, unit = self._geometry(page)
        area = area or media
        return area.width * unit / 72, area.height * unit / 72

    def render(
        self,
        page: int,
        ppi: float,
        area: Box | None = None,
        *,
        paper: bool = True,
        turn: int = 0,
        beyond: bool = False,
        gray: bool = False,
    ) -> Rendered:
        """Draw the sheet, or the area, on white. ValueError with one sentence where that can't be done.

        `turn`: clockwise beyond what /Rotate wants, a multiple of 90. Letters drawn upright and then turned are not
        those that are drawn turned.

        `gray`: as a picture in gray, where colours don't matter.

        `beyond`: with what the page draws outside its media box, which no sheet of paper shows.

        Without `paper` nothing lies below while the page is drawn, and the white comes at the end, as ISO 32000-1
        11.4.7 has it: it makes a difference to blend modes on the bare page.
        """
        mode = "L" if gray else "RGB"
        with self._drawn(page, ppi, area, _ON_WHITE if paper else _ON_NOTHING, turn) as (bitmap, seen):
            shown: Image.Image = bitmap.to_pil()  # on memory that the next drawing takes
            if paper:
                picture = shown.convert(mode)
            else:
                picture = Image.new(mode, shown.size, "white")
                picture.paste(shown, mask=shown.getchannel("A"))
        drawn = Rendered(picture, *seen)
        if not beyond:
            _blank_outside(drawn, self.sheet(page))
        return drawn

    def channels(self, page: int, ppi: float, area: Box | None = None, *, count: int, paper: bool) -> Channels:
        """The same as single channels: red, green and blue, or one of a page that holds nothing but gray."""
        with self._drawn(page, ppi, area, _ON_WHITE if paper else _ON_NOTHING) as (bitmap, seen):
            pixels = bitmap.to_numpy()
            planes = [255 - pixels[:, :, channel] for channel in range(count)]
            if not paper:
                opacity = pixels[:, :, 3].astype(np.uint16)
                planes = [((plane * opacity + 127) // 255).astype(np.uint8) for plane in planes]
        drawn = Channels(planes, *seen)
        _blank_planes(drawn, self.sheet(page))
        return drawn

    @contextmanager
    def _drawn(
        self, page: int, ppi: float, area: Box | None, kind: int, turn: int = 0
    ) -> Iterator[tuple[Any, tuple[Box, int, float]]]:
        """A bitmap with the page on it, as long as the block lasts, and area, rotation and resolution of what it shows."""
        media, rotate, unit = self._geometry(page)
        rotate = (rotate + turn) % 360
        area = _checked(media if area is None else area)
        wide, high = area.width * unit / 72, area.height * unit / 72
        ppi = _affordable(ppi, wide, high)
        across, down = max(1, round(wide * ppi)), max(1, round(high * ppi))
        if rotate % 180:
            across, down = down, across
        with _PDFIUM, ExitStack() as stack:
            try:
                bitmap = _bitmap(
                    self._page(page, media), area, rotate, (across, down), kind, self._memory(4 * across * down)
                )
            except (pdfium.PdfiumError, MemoryError) as fault:
                raise ValueError(f"page {page} can't be drawn ({fault})") from fault
            stack.callback(bitmap.close)
            yield bitmap, (area, rotate, ppi)

    def _geometry(self, page: int) -> tuple[Box, int, float]:
        """Media box, clockwise rotation and user unit of a page."""
        try:
            if not 1 <= page <= len(self._facts.pages):
                raise ValueError(f"there is no page {page}")
            found = self._facts.pages[page - 1].obj
        except pikepdf.PdfError as fault:
            raise ValueError("the file's list of pages is damaged") from fault
        try:
            x0, y0, x1, y1 = numbers(inherited(found, "/MediaBox"), 4)
        except ValueError as fault:
            raise ValueError(f"page {page} has no usable media box") from fault
        media = _checked(Box(min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)))
        unit = number(entry(found, "/UserUnit"), 1.0)
        # ISO 32000-1 table 30: /Rotate is a multiple of 90; what is none counts here as PDFium reads it.
        rotate = int(number(inherited(found, "/Rotate"), 0.0) / 90) % 4 * 90
        return media, rotate, unit if unit > 0 else 1.0

    def _page(self, page: int, media: Box) -> Any:
        """The page as PDFium has it, loaded once. A shading painted by `sh` ends where the page ended at loading, so a
        page with a crop box of its own is loaded again without it."""
        if self._loaded is None or self._loaded[0] != page:
            self._unload()
            loaded = self._document[page - 1]
            if inherited(self._facts.pages[page - 1].obj, "/CropBox") is not None:
                _show_only(loaded, media)
                loaded.close()
                loaded = self._document[page - 1]
            self._loaded = page, loaded
        return self._loaded[1]

    def _memory(self, size: int) -> NDArray[np.uint8]:
        """Bytes for a drawing, the same as for the last one if that was as large: fresh memory costs time."""
        if len(self._drawing) < size:
            self._drawing = np.empty(size, np.uint8)
        return self._drawing[:size]

    def _unload(self) -> None:
        if self._loaded is not None:
            self._loaded[1].close()
            self._loaded = None

    def rest(self) -> None:
        """Give back the memory that drawings were made in."""
        self._drawing = np.empty(0, np.uint8)

    def close(self) -> None:
        with _PDFIUM:
            self._unload()
            self._document.close()


@contextmanager
def open_pages(source: Path | bytes) -> Iterator[Pages]:
    """Open a PDF for drawing. ValueError with one sentence where it can't be opened."""
    with ExitStack() as stack:
        try:
            # As a stream: pikepdf can't take a path whose name is not UTF-8.
            stream: BinaryIO = BytesIO(source) if isinstance(source, bytes) else source.open("rb")
            stack.enter_context(stream)
            facts = stack.enter_context(pikepdf.open(stream))
        except pikepdf.PasswordError as fault:
            raise ValueError("a password protects the file") from fault
        except (pikepdf.PdfError, OSError) as fault:
            raise ValueError("the file can't be opened as PDF") from fault
        pages = Pages(facts, _document(source))
        stack.callback(pages.close)
        yield pages


def render_page(source: Path | bytes, page: int, ppi: float, area: Box | None = None) -> Rendered:
    """Draw page `page` (from 1) of a PDF at so many pixels per inch of paper: the media box, or the part `area` asks for.

    `area` is in the page's own unrotated user space. White paper; annotations that print are drawn, others not; what
    lies outside the media box stays white. A picture of more than MOST_PIXELS is drawn smaller. ValueError with one
    sentence where it can't be done.
    """
    with open_pages(source) as pages:
        return pages.render(page, ppi, area)


def _document(source: Path | bytes) -> Any:
    with _PDFIUM:
        try:
            return pdfium.PdfDocument(source)
        except (pdfium.PdfiumError, OSError) as fault:
            raise ValueError("the file can't be opened for drawing") from fault


def _bitmap(page: Any, area: Box, rotate: int, size: tuple[int, int], kind: int, memory: NDArray[np.uint8]) -> Any:
    _show_only(page, area)
    page.set_rotation(rotate)
    bitmap = pdfium.PdfBitmap.new_native(*size, kind, rev_byteorder=True, buffer=np.ctypeslib.as_ctypes(memory))
    bitmap.fill_rect((255, 255, 255, 0 if kind == _ON_NOTHING else 255), 0, 0, *size)
    flags = pdfium.raw.FPDF_ANNOT | pdfium.raw.FPDF_PRINTING | pdfium.raw.FPDF_REVERSE_BYTE_ORDER
    pdfium.raw.FPDF_RenderPageBitmap(bitmap, page, 0, 0, *size, 0, flags)
    return bitmap


def _show_only(page: Any, area: Box) -> None:
    """The part to draw becomes the page's media and crop box: PDFium then maps it on to the whole bitmap."""
    page.set_mediabox(*area)
    page.set_cropbox(*area)


def _checked(area: Box) -> Box:
    if not all(math.isfinite(side) for side in area) or area.width < 0.01 or area.height < 0.01:
        raise ValueError("the page or the part to draw has no size")
    return area


def _affordable(ppi: float, wide: float, high: float) -> float:
    """The resolution asked for, or the highest one below it that keeps the limits."""
    if not math.isfinite(ppi) or ppi <= 0:
        raise ValueError("a resolution must be a number above zero")
    return min(ppi, math.sqrt(MOST_PIXELS / (wide * high)), MOST_ON_A_SIDE / wide, MOST_ON_A_SIDE / high)


def _blank_outside(drawn: Rendered, media: Box) -> None:
    """White over what a page draws outside its media box: it is on no sheet of paper (ISO 32000-1 14.11.2)."""
    if drawn.area.within(media, 1e-6):
        return
    kept = media.common(drawn.area)
    blank = Image.new(drawn.picture.mode, drawn.picture.size, "white")
    if kept is not None:
        place = drawn.place(kept)
        blank.paste(drawn.picture.crop(place), place[:2])
    drawn.picture.paste(blank)


def _blank_planes(drawn: Channels, media: Box) -> None:
    if drawn.area.within(media, 1e-6):
        return
    kept = media.common(drawn.area)
    left, top, right, bottom = (max(side, 0) for side in drawn.place(kept)) if kept is not None else (0, 0, 0, 0)
    for plane in drawn.darkness:
        plane[:top], plane[bottom:], plane[:, :left], plane[:, right:] = 0, 0, 0, 0
