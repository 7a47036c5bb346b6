"""Where objects stand on a page, as taken here, against PDFium's own reading of the same pages and pdfminer.six's.

Both read the file on their own. PDFium measures each letter's outline; here letters reach as far as their kind does, so
texts differ by parts of their size. Of lines PDFium takes a box that is too large by up to the width of the line (seen
with a straight one), so they are compared in widths.
"""

from __future__ import annotations

import ctypes
import math
import statistics
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pikepdf
import pypdfium2
import pypdfium2.raw as raw
import pytest
from pages import Page
from pdfminer.high_level import extract_pages
from pdfminer.layout import LTChar, LTContainer, LTImage

from hotfolder.finding import Box
from hotfolder.pdf.looking import inventory_watch
from hotfolder.pdf.looking.inventory import Kind, Painted, take_inventory
from hotfolder.pdf.looking.outlines import around
from hotfolder.pdf.walk.state import IDENTITY, Matrix, multiply, transform_box

CORPUS = Path(__file__).parents[2].parent / "shared" / "corpus" / "posters"
POSTERS = sorted(CORPUS.glob("*.pdf")) if CORPUS.is_dir() else []
SLOW = 300_000  # bytes of a file; pdfminer takes many seconds for larger ones
MOST_FORMS = 12  # inside one another


@dataclass
class Seen:
    """Boxes by kind, in the order of painting; of lines with their width."""

    texts: list[Box] = field(default_factory=list)
    fills: list[Box | None] = field(default_factory=list)  # None: also stroked, and PDFium gives the larger box
    strokes: list[tuple[Box, float]] = field(default_factory=list)
    pictures: list[Box] = field(default_factory=list)


def by_pdfium(path: Path) -> Seen:
    document = pypdfium2.PdfDocument(path)
    page, seen = document[0], Seen()
    for at in range(raw.FPDFPage_CountObjects(page.raw)):
        _follow(raw.FPDFPage_GetObject(page.raw, at), IDENTITY, seen, 0)
    page.close()
    document.close()
    return seen


def _follow(item: object, matrix: Matrix, seen: Seen, depth: int) -> None:
    kind = raw.FPDFPageObj_GetType(item)
    if kind == raw.FPDF_PAGEOBJ_FORM:
        placed = raw.FS_MATRIX()
        raw.FPDFPageObj_GetMatrix(item, ctypes.byref(placed))
        inner = multiply((placed.a, placed.b, placed.c, placed.d, placed.e, placed.f), matrix)
        for at in range(raw.FPDFFormObj_CountObjects(item) if depth < MOST_FORMS else 0):
            _follow(raw.FPDFFormObj_GetObject(item, at), inner, seen, depth + 1)
        return
    sides = [ctypes.c_float() for _ in range(4)]
    if not raw.FPDFPageObj_GetBounds(item, *map(ctypes.byref, sides)):
        return
    box = Box(*transform_box(tuple(side.value for side in sides), matrix))
    if kind == raw.FPDF_PAGEOBJ_TEXT:
        seen.texts.append(box)
    elif kind == raw.FPDF_PAGEOBJ_IMAGE:
        seen.pictures.append(box)
    elif kind == raw.FPDF_PAGEOBJ_PATH:
        fill, stroke, width = ctypes.c_int(), ctypes.c_int(), ctypes.c_float()
        raw.FPDFPath_GetDrawMode(item, ctypes.byref(fill), ctypes.byref(stroke))
        raw.FPDFPageObj_GetStrokeWidth(item, ctypes.byref(width))
        across = transform_box((0, 0, width.value, width.value), (*matrix[:4], 0, 0))
        if fill.value:
            seen.fills.append(None if stroke.value else box)
        if stroke.value:
            seen.strokes.append((box, max(map(abs, across), default=0)))


@pytest.fixture
def whole_paths(monkeypatch: pytest.MonkeyPatch) -> None:
    """A path is one object for PDFium, however far apart its parts are."""
    monkeypatch.setattr(inventory_watch, "APART", 1e9)


def by_us(path: Path) -> list[Painted]:
    with pikepdf.open(path) as pdf:
        return take_inventory(pdf, 1).objects


def of(objects: list[Painted], *kinds: Kind) -> list[Painted]:
    return [each for each in objects if each.kind in kinds]


def apart(one: Box, other: Box) -> float:
    return max(abs(a - b) for a, b in zip(one, other, strict=True))


def sticks_out(box: Box, of_box: Box) -> float:
    return max(of_box.left - box.left, of_box.bottom - box.bottom, box.right - of_box.right, box.top - of_box.top, 0)


# What is drawn in the middle of a page of 200 × 200, with a form that draws it again.
DRAWN = {
    "areas": "10 10 30 40 re f 60 60 m 90 60 l 75 95 l f .5 .5 -.5 .5 100 100 cm 0 0 20 20 re f",
    "curves": "50 50 m 50 80 80 80 80 50 c f 20 20 m 40 60 60 20 v f 90 20 m 100 60 120 20 y f",
    "pictures": "q 30 0 0 20 5 5 cm BI /W 1 /H 1 /BPC 8 /CS /G ID a EI Q q 20 20 -20 20 100 100 cm BI /W 1 /H 1 /IM true ID a EI Q",
    "in forms": "q 2 0 0 2 -5 -9 cm /Form Do Q q -.5 0 0 .5 190 90 cm /Form Do Q",
    "after Q": "q 5 0 0 5 0 0 cm 1 1 3 3 re f Q 10 10 20 20 re f",
}


@pytest.mark.parametrize("content", DRAWN.values(), ids=DRAWN)
def test_drawn_areas_and_pictures_stand_where_pdfium_has_them(content: str, tmp_path: Path, whole_paths: None) -> None:
    page = Page()
    page.form("Form", "10 10 20 20 re f /Inner Do", "/Matrix [1 0 0 1 7 3]")
    page.form("Inner", "q 3 0 0 3 1 1 cm 5 5 m 9 5 l 7 9 l f Q")
    page.obj.Contents = page.pdf.make_stream(content.encode())
    page.pdf.save(tmp_path / "drawn.pdf")
    ours, theirs = by_us(tmp_path / "drawn.pdf"), by_pdfium(tmp_path / "drawn.pdf")
    fills, pictures = of(ours, Kind.FILL), of(ours, Kind.PICTURE, Kind.STENCIL)
    assert (len(fills), len(pictures)) == (len(theirs.fills), len(theirs.pictures))
    for one, other in zip([*fills, *pictures], [*theirs.fills, *theirs.pictures], strict=True):
        assert other is not None
        assert apart(one.whole, other) < 0.01


TEXTS = {
    "plain": "BT /F1 40 Tf 20 100 Td (HEMI) Tj ET",
    "moved": "BT /F1 20 Tf 1 0 0 1 20 100 Tm (HE) Tj 0 -30 Td (MI) Tj 22 TL (HIM) ' ET",
    "turned": "BT /F1 20 Tf 0 1 -1 0 100 50 Tm (HEMI) Tj ET",
    "spaced": "BT /F1 20 Tf 3 Tc 8 Tw 20 100 Td (HE MI) Tj ET",
    "condensed and raised": "BT /F1 20 Tf 50 Tz 12 Ts 20 100 Td (HEMI) Tj ET",
    "kerned": "BT /F1 20 Tf 20 100 Td [-900 (HE) -700 (MI) 300 (E)] TJ ET",
    "scaled": "q 2 0 0 3 5 5 cm BT /F1 10 Tf 20 20 Td (HEMI) Tj ET Q",
}
_WIDTHS = "/FirstChar 32 /LastChar 77 /Widths [278 278 355 556 556 889 667 191 333 333 389 584 278 333 278 278 556 556 556 556 556 556 556 556 556 556 278 278 584 584 584 556 1015 667 667 722 722 667 611 778 722 278 500 667 556 833]"


@pytest.mark.parametrize("content", TEXTS.values(), ids=TEXTS)
def test_drawn_texts_stand_where_pdfium_has_them(content: str, tmp_path: Path) -> None:
    page = Page()
    page.put("Font", "F1", f"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica {_WIDTHS} >>")
    page.obj.Contents = page.pdf.make_stream(content.encode())
    page.pdf.save(tmp_path / "drawn.pdf")
    ours, theirs = by_us(tmp_path / "drawn.pdf"), by_pdfium(tmp_path / "drawn.pdf")
    assert len(ours) == len(theirs.texts)
    for one, other in zip(ours, theirs.texts, strict=True):
        # Helvetica's H begins 0.08 of its size behind its origin.
        assert apart(one.whole, other) < 0.1 * max(one.size, one.whole.height / 0.76)


@dataclass(frozen=True)
class Differs:
    """How far the boxes of one kind are apart, and how far PDFium's stick out of ours: worst but for one in a hundred."""

    counted: int
    median: float
    worst: float
    sticks_out: float

    @classmethod
    def of(cls, pairs: list[tuple[float, float]]) -> Differs:
        differences, out = sorted(one for one, _ in pairs), sorted(other for _, other in pairs)
        at = min(len(out) * 99 // 100, len(out) - 1)
        return cls(len(pairs), statistics.median(differences), differences[-1], out[at])


def _pairs(path: Path) -> Iterator[tuple[str, Painted, Box, float]]:
    """Every object with PDFium's box of it, where both count as many of its kind; `float`: the unit to measure in."""
    ours, theirs = by_us(path), by_pdfium(path)
    fills, strokes = of(ours, Kind.FILL), of(ours, Kind.STROKE)
    pictures, texts = of(ours, Kind.PICTURE, Kind.STENCIL), of(ours, Kind.TEXT)
    if len(fills) == len(theirs.fills):
        # Of what is turned, PDFium gives the box around the turned box.
        upright = [
            (one, box) for one, box in zip(fills, theirs.fills, strict=True) if one.matrix[1] == one.matrix[2] == 0
        ]
        yield from (("area", one, box, 1.0) for one, box in upright if box is not None)
    if len(strokes) == len(theirs.strokes):
        yield from (
            ("line", one, box, max(width, 1)) for one, (box, width) in zip(strokes, theirs.strokes, strict=True)
        )
    if len(pictures) == len(theirs.pictures):
        yield from (("picture", one, box, 1.0) for one, box in zip(pictures, theirs.pictures, strict=True))
    if len(texts) == len(theirs.texts):
        # PDFium counts blanks at a text's begin and end.
        read = [
            (one, box) for one, box in zip(texts, theirs.texts, strict=True) if one.words.strip() == one.words != ""
        ]
        yield from (("text", one, box, one.size) for one, box in read if one.size > 0)


def compared() -> dict[str, Differs]:
    """All posters together, by kind of object."""
    found: dict[str, list[tuple[float, float]]] = {}
    for path in POSTERS:
        for kind, one, box, unit in _pairs(path):
            found.setdefault(kind, []).append((apart(one.whole, box) / unit, sticks_out(box, one.whole) / unit))
    return {kind: Differs.of(pairs) for kind, pairs in found.items()}


# What was measured, rounded up: at least so many compared, median, worst, sticks out. Areas and pictures in points; lines
# in widths (PDFium's boxes of sharp corners are far too large, so nothing is said of the worst); texts in parts of the
# letters' size (what sticks out are signs and slanted letters of mathematics; the worst is a bracket of theirs that is
# taken to be as high as the highest).
LIMITS = {
    "area": Differs(1200, 0.001, 0.002, 0.002),
    "picture": Differs(30, 0.001, 0.002, 0.002),
    "line": Differs(2000, 0.51, math.inf, math.inf),
    "text": Differs(1200, 0.08, 2.7, 0.19),
}


@pytest.mark.skipif(not POSTERS, reason="the real posters are not here")
def test_objects_of_real_posters_stand_where_pdfium_has_them(whole_paths: None) -> None:
    found = compared()
    for kind, limit in LIMITS.items():
        assert found[kind].counted >= limit.counted
        assert found[kind].median <= limit.median
        assert found[kind].worst <= limit.worst
        assert found[kind].sticks_out <= limit.sticks_out


# ---- pdfminer.six


def by_pdfminer(path: Path, kind: type[LTChar] | type[LTImage]) -> list[Box]:
    (layout,) = extract_pages(path, laparams=None, page_numbers=[0])
    return [Box(*item.bbox) for item in _items(layout) if isinstance(item, kind)]


def _items(layout: LTContainer) -> Iterator[object]:
    for item in layout:
        if isinstance(item, LTContainer) and not isinstance(item, LTImage):
            yield from _items(item)
        else:
            yield item


@pytest.mark.parametrize("content", [content for name, content in TEXTS.items() if name != "turned"])
def test_drawn_texts_run_as_far_as_pdfminer_has_them(content: str, tmp_path: Path) -> None:
    """Side by side: its boxes take no heed of which letters they hold."""
    page = Page()
    page.put("Font", "F1", f"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica {_WIDTHS} >>")
    page.obj.Contents = page.pdf.make_stream(content.encode())
    page.pdf.save(tmp_path / "drawn.pdf")
    ours, theirs = by_us(tmp_path / "drawn.pdf"), by_pdfminer(tmp_path / "drawn.pdf", LTChar)
    whole = around([one.whole for one in ours]), around(theirs)
    assert (whole[0].left, whole[0].right) == pytest.approx((whole[1].left, whole[1].right), abs=0.01)


@pytest.mark.skipif(not POSTERS, reason="the real posters are not here")
def test_pictures_of_real_posters_stand_where_pdfminer_has_them() -> None:
    counted = 0
    for path in (path for path in POSTERS if path.stat().st_size < SLOW):
        with pikepdf.open(path) as pdf:
            media = [float(side) for side in pdf.pages[0].mediabox]
        # It moves the page to 0 0; and gives the box around what is turned.
        ours = [
            Box(
                each.whole.left - media[0],
                each.whole.bottom - media[1],
                each.whole.right - media[0],
                each.whole.top - media[1],
            )
            for each in of(by_us(path), Kind.PICTURE, Kind.STENCIL)
        ]
        theirs = by_pdfminer(path, LTImage)
        if len(ours) == len(theirs):
            counted += len(ours)
            assert all(apart(one, other) < 0.01 for one, other in zip(ours, theirs, strict=True)), path.name

    assert counted >= 9


if __name__ == "__main__":
    inventory_watch.APART = 1e9
    print(compared())
