"""How wide lines come out, by others: PDFium's own page objects, and the ink that MuPDF lays down for a line.

MuPDF draws with exact coverage, so the ink along a line of known length, divided by that length, is its width.
"""

from __future__ import annotations

import ctypes
import math
import random
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pikepdf
import pypdfium2
import pytest
from pikepdf import Array, Dictionary, Name
from PIL import Image

from hotfolder.pdf.mappings.thicken_lines import ThickenLines
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.walker import Walker

raw: Any = pypdfium2.raw
POSTERS = Path(__file__).parents[3] / "shared" / "corpus" / "posters"
LEAST = 0.25
needs_mupdf = pytest.mark.skipif(shutil.which("mutool") is None, reason="MuPDF's mutool is not installed")


def thicken(source: Path, target: Path, least: float = LEAST, pages: int | None = None) -> ThickenLines:
    with pikepdf.open(source) as pdf:
        if pages is not None:
            del pdf.pages[pages:]
        mapping = ThickenLines(least)
        walker = Walker(pdf, mapping, WalkResult())
        for number, page in enumerate(pdf.pages, 1):
            mapping.unit = float(page.obj.get("/UserUnit", 1))
            walker.page(page.obj, number)
        pdf.save(target)
    return mapping


# ---- as drawn

# The content; the line's length on paper in points; its width before (None: the thinnest the device has) and after.
DRAWN: list[tuple[str, bytes, float, float | None, float]] = [
    ("plain", b"0.1 w 5 10 m 25 10 l S", 20, 0.1, 0.25),
    ("wide", b"0.6 w 5 10 m 25 10 l S", 20, 0.6, 0.6),
    ("no width", b"0 w 5 10 m 25 10 l S", 20, None, 0.25),
    ("slanting", b"0.1 w 5 5 m 17 21 l S", 20, 0.1, 0.25),
    ("scaled and turned", b"q 0.6 0.8 -0.8 0.6 10 2 cm 0.2 0 0 0.2 0 0 cm 0.6 w 0 0 m 100 0 l S Q", 20, 0.12, 0.25),
    ("in two forms", b"0.5 0 0 0.5 0 0 cm /A Do", 20, 0.1, 0.25),
    ("by a graphics state", b"/Thin gs 5 10 m 25 10 l S", 20, 0.1, 0.25),
    ("stretched, running up", b"0.1 0 0 1 0 0 cm 1.5 w 60 5 m 60 25 l S", 20, 0.15, 0.25),
    ("stretched, slanting", b"0.5 0 0 1 0 0 cm 0.2 w 10 5 m 34 21 l S", 20, None, 0.25),
    ("skewed", b"1 0 0.5 1 0 0 cm 0.1 w 2 5 m 12 25 l S", math.hypot(20, 20), 0.1 * 20 * math.hypot(10, 20) / (math.hypot(20, 20) * 20), 0.25),
    ("a rectangle", b"0.1 w 5 5 10 10 re S", 40, 0.1, 0.25),
    ("letters that are drawings", b"BT /T 20 Tf 5 10 Td (A) Tj ET", 20, 0.1, 0.25),
    ("a pattern", b"/Pattern cs /P scn 5 5 20 20 re f", 40, 0.1, 0.25),
]  # fmt: skip


@needs_mupdf
@pytest.mark.parametrize(
    ("content", "length", "before", "after"), [case[1:] for case in DRAWN], ids=[case[0] for case in DRAWN]
)
def test_a_line_is_as_wide_as_it_is_said_to_be(
    tmp_path: Path, content: bytes, length: float, before: float | None, after: float
) -> None:
    source = tmp_path / "a.pdf"
    with pikepdf.new() as pdf:
        page = pdf.add_blank_page(page_size=(36, 36))
        page.obj.Contents = pdf.make_stream(content)
        page.obj.Resources = _resources(pdf)
        pdf.save(source)
    thicken(source, tmp_path / "b.pdf")
    if before is not None:
        assert _ink(source) / length == pytest.approx(before, rel=0.05)
    assert _ink(tmp_path / "b.pdf") / length == pytest.approx(after, rel=0.05)


def _resources(pdf: pikepdf.Pdf) -> Dictionary:
    line = b"0.2 w 10 20 m 50 20 l S"
    inner = pdf.make_stream(line, Type=Name.XObject, Subtype=Name.Form, BBox=Array([0, 0, 99, 99]))
    outer = pdf.make_stream(
        b"2 0 0 2 0 0 cm /B Do", Type=Name.XObject, Subtype=Name.Form, BBox=Array([0, 0, 99, 99]),
        Matrix=Array([0.5, 0, 0, 0.5, 0, 0]), Resources=Dictionary(XObject=Dictionary(B=inner)),
    )  # fmt: skip
    cell = pdf.make_stream(
        b"0.2 w 0 5 m 20 5 l S", Type=Name.Pattern, PatternType=1, PaintType=1, TilingType=1, XStep=20, YStep=20,
        BBox=Array([0, 0, 20, 20]), Matrix=Array([0.5, 0, 0, 0.5, 5, 5]), Resources=Dictionary(),
    )  # fmt: skip
    drawn = Dictionary(
        Type=Name.Font, Subtype=Name.Type3, FontBBox=Array([0, 0, 1000, 1000]), FirstChar=65, LastChar=65,
        FontMatrix=Array([0.001, 0, 0, 0.001, 0, 0]), Widths=Array([1000]), Resources=Dictionary(),
        Encoding=Dictionary(Differences=Array([65, Name.A])),
        CharProcs=Dictionary(A=pdf.make_stream(b"1000 0 0 0 1000 1000 d1 5 w 0 0 m 1000 0 l S")),
    )  # fmt: skip
    return Dictionary(
        XObject=Dictionary(A=outer), ExtGState=Dictionary(Thin=Dictionary(LW=0.1)), Pattern=Dictionary(P=cell),
        Font=Dictionary(T=drawn),
    )  # fmt: skip


def _ink(path: Path) -> float:
    """The area that is inked, in square points."""
    ppi = 1800
    out = path.with_suffix(".pgm")
    command = ["mutool", "draw", "-q", "-r", str(ppi), "-A", "8", "-c", "gray", "-o", str(out), str(path), "1"]
    subprocess.run(command, check=True, capture_output=True, timeout=60)
    gray = np.asarray(Image.open(out), np.float64)
    return float((255 - gray).sum() / 255 * (72 / ppi) ** 2)


# ---- as PDFium's page objects have it


@pytest.mark.skipif(not POSTERS.is_dir(), reason="the corpus of real posters is not beside the clone")
@pytest.mark.parametrize(
    ("name", "least"), [("plakat__plakat", 0.25), ("SmallPopTSIR__poster", 1.2), ("eop__DenialBoxCard", 1.2)]
)
def test_real_posters_keep_everything_but_the_width_of_thin_lines(tmp_path: Path, name: str, least: float) -> None:
    assert differs(POSTERS / f"{name}.pdf", tmp_path, least) > 0


def differs(source: Path, tmp_path: Path, least: float) -> int:
    """How many lines of the first page PDFium finds wider; fails where it finds anything else changed."""
    thicken(source, tmp_path / "after.pdf", least, pages=1)
    with pikepdf.open(source) as pdf:
        del pdf.pages[1:]
        pdf.save(tmp_path / "before.pdf")
    was, came = (list(_paths(tmp_path / f"{which}.pdf")) for which in ("before", "after"))
    assert [path[0] for path in was] == [path[0] for path in came]
    for (_, stroked, edges, width, (least_scale, most_scale)), (_, _, _, now, _) in zip(was, came, strict=True):
        if not stroked:
            continue  # PDFium gives an area the width that was in force; nothing is drawn with it
        if edges or width * least_scale >= least * 0.998:
            assert now == pytest.approx(width, rel=1e-4, abs=1e-6)
        elif now != width:  # a line that runs the wider way needs less
            assert least / most_scale * 0.998 <= now <= least / least_scale * 1.002
        else:
            assert width * most_scale >= least * 0.998
    return sum(one[3] != other[3] for one, other in zip(was, came, strict=True))


@pytest.mark.parametrize("seed", range(30))
def test_any_drawing_keeps_everything_but_the_width_of_thin_lines(tmp_path: Path, seed: int) -> None:
    """Widths, scales, states saved and restored, forms in forms, in any order: as PDFium keeps the graphics state."""
    dice = random.Random(seed)
    with pikepdf.new() as pdf:
        states = Dictionary({f"/G{at}": Dictionary(LW=width) for at, width in enumerate((0, 0.1, 0.6))})
        inner = _form(pdf, _drawing(dice, ()), states, {})
        outer = _form(pdf, _drawing(dice, (b"/A Do",)), states, {"/A": inner})
        page = pdf.add_blank_page(page_size=(300, 300))
        page.obj.Contents = pdf.make_stream(_drawing(dice, (b"/A Do", b"/B Do")))
        page.obj.Resources = Dictionary(ExtGState=states, XObject=Dictionary({"/A": inner, "/B": outer}))
        pdf.save(tmp_path / "source.pdf")
    differs(tmp_path / "source.pdf", tmp_path, LEAST)


def _form(pdf: pikepdf.Pdf, content: bytes, states: Dictionary, forms: dict[str, Any]) -> Any:
    resources = Dictionary(ExtGState=states, XObject=Dictionary(forms))
    box, matrix = Array([-999, -999, 999, 999]), Array([0.5, 0, 0, 0.5, 3, 3])
    return pdf.make_indirect(
        pdf.make_stream(content, Type=Name.XObject, Subtype=Name.Form, BBox=box, Matrix=matrix, Resources=resources)
    )


def _drawing(dice: random.Random, forms: tuple[bytes, ...]) -> bytes:
    """Sixty random operators; one level of q and Q at a time, as PDFium and everyone else agree on it."""
    words, open_states = list[bytes](), 0
    for _ in range(60):
        kind = dice.choice("wwwgcqqQQLLLRBf" + "FFFF" * bool(forms))
        x, y = dice.randrange(200), dice.randrange(200)
        if kind == "w":
            words.append(b"%s w" % dice.choice((b"0", b".05", b"0.2", b"0.25", b"1", b"3")))
        elif kind == "g":
            words.append(b"/G%d gs" % dice.randrange(3))
        elif kind == "c":
            words.append(dice.choice((b".5 0 0 .5 9 9 cm", b"2 0 0 2 0 0 cm", b"0 1 -1 0 99 0 cm", b"1 0 0 .7 0 0 cm")))
        elif kind == "q":
            open_states += 1
            words.append(b"q")
        elif kind == "Q" and open_states:
            open_states -= 1
            words.append(b"Q")
        elif kind == "F":
            words.append(dice.choice(forms))
        elif kind in "LRBf":
            path = b"%d %d m 200 100 l 50 20 l" % (x, y) if kind == "L" else b"%d %d 30 20 re" % (x, y)
            words.append(path + b" " + {"L": b"S", "R": b"s", "B": b"1 0 0 rg B", "f": b"f"}[kind])
    return b"\n".join([*words, *[b"Q"] * open_states])


Found = tuple[tuple[Any, ...], bool, bool, float, tuple[float, float]]


def _paths(path: Path) -> Iterator[Found]:
    """Each path: what must not change, whether it is stroked, whether in its own fill's colour, its width, its span."""
    document = pypdfium2.PdfDocument(path)
    page = document[0]
    stack = [
        (raw.FPDFPage_GetObject(page, index), np.eye(2)) for index in reversed(range(raw.FPDFPage_CountObjects(page)))
    ]
    while stack:
        found, outer = stack.pop()
        kind = raw.FPDFPageObj_GetType(found)
        matrix = raw.FS_MATRIX()
        raw.FPDFPageObj_GetMatrix(found, matrix)
        both = np.array([[matrix.a, matrix.b], [matrix.c, matrix.d]]) @ outer
        if kind == raw.FPDF_PAGEOBJ_FORM:
            count = raw.FPDFFormObj_CountObjects(found)
            stack += [(raw.FPDFFormObj_GetObject(found, index), both) for index in reversed(range(count))]
        elif kind == raw.FPDF_PAGEOBJ_PATH:
            fill, stroked = ctypes.c_int(), ctypes.c_int()
            raw.FPDFPath_GetDrawMode(found, fill, stroked)
            width = ctypes.c_float()
            raw.FPDFPageObj_GetStrokeWidth(found, width)
            colours = [_colour(of, found) for of in (raw.FPDFPageObj_GetFillColor, raw.FPDFPageObj_GetStrokeColor)]
            same = bool(fill.value) and colours[0] == colours[1]
            wide, narrow = np.linalg.svd(both)[1]
            stays = (raw.FPDFPath_CountSegments(found), fill.value, stroked.value, *colours, both.round(6).tolist())
            yield stays, bool(stroked.value), same, width.value, (float(narrow), float(wide))
    document.close()


def _colour(of: Any, found: Any) -> tuple[int, ...]:
    parts = [ctypes.c_uint() for _ in range(4)]
    of(found, *parts)
    return tuple(part.value for part in parts)
