"""Placed pictures are where other readers find them; colours, inks, text and transparency are counted where painted."""

import io
import math

import numpy as np
import pikepdf
import pypdfium2
import pytest
from pdfminer.high_level import extract_pages
from pdfminer.layout import LAParams, LTFigure, LTImage
from pikepdf import Array, Dictionary, Name, Object, Stream
from pypdfium2 import raw as pdfium

from hotfolder.pdf.looking.census import Placement, placements


def page_with_picture(content: bytes, unit: float = 1.0) -> pikepdf.Pdf:
    """Pictures P (60 x 30 pixels) and S (a stencil); form F draws P in a quarter of its size."""
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=(400, 400))
    picture = Stream(pdf, bytes(60 * 30 * 3))
    picture.Type, picture.Subtype, picture.Width, picture.Height = Name.XObject, Name.Image, 60, 30
    picture.ColorSpace, picture.BitsPerComponent = Name.DeviceRGB, 8
    stencil = Stream(pdf, bytes(8))
    stencil.Type, stencil.Subtype, stencil.Width, stencil.Height = Name.XObject, Name.Image, 8, 8
    stencil.ImageMask, stencil.BitsPerComponent = True, 1
    form = Stream(pdf, b"q 0.25 0 0 0.25 0 0 cm 100 0 0 50 0 0 cm /P Do Q")
    form.Type, form.Subtype, form.BBox = Name.XObject, Name.Form, Array([0, 0, 400, 400])
    form.Matrix = Array([1, 0, 0, 1, 7, 9])
    form.Resources = Dictionary(XObject=Dictionary(P=pdf.make_indirect(picture)))
    page = pdf.pages[0].obj
    page.Resources = Dictionary(
        XObject=Dictionary(P=form.Resources.XObject.P, F=pdf.make_indirect(form), S=pdf.make_indirect(stencil)),
        ExtGState=Dictionary(
            Over=Dictionary(OP=True, OPM=1), Half=Dictionary(ca=0.5), Mul=Dictionary(BM=Name.Multiply)
        ),
        ColorSpace=Dictionary(
            Spot=Object.parse(
                b"[/Separation /Orange /DeviceCMYK << /FunctionType 2 /Domain [0 1] /C1 [0 .6 1 0] /C0 [0 0 0 0] /N 1 >>]"
            )
        ),
        Font=Dictionary(F1=Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica)),
    )
    page.Contents = pdf.make_stream(content)
    if unit != 1:
        page.UserUnit = unit
    return pdf


PLACED = {
    "plain": b"q 120 0 0 60 10 20 cm /P Do Q",
    "turned": b"q 0 120 -60 0 200 20 cm /P Do Q",
    "skewed and flipped": b"q 1 .2 -.3 1 0 0 cm -120 0 0 60 300 20 cm /P Do Q",
    "in a form": b"q 2 0 0 2 5 5 cm /F Do Q",
    "twice": b"q 120 0 0 60 10 20 cm /P Do Q q 30 0 0 30 99 99 cm /P Do Q",
    "saved and restored": b"q 5 0 0 5 0 0 cm Q q 120 0 0 60 10 20 cm q 9 0 0 9 9 9 cm Q /P Do Q",
    "inline": b"q 40 0 0 40 10 20 cm BI /W 2 /H 2 /BPC 8 /CS /G ID abcd EI Q",
}


@pytest.mark.parametrize("case", PLACED)
def test_places_are_those_pdfium_finds(case: str) -> None:
    pdf = page_with_picture(PLACED[case])
    saved = io.BytesIO()
    pdf.save(saved)
    document = pypdfium2.PdfDocument(saved.getvalue())
    found = [
        (*(round(v, 2) for v in thing.get_bounds()), *thing.get_px_size())
        for thing in document[0].get_objects(filter=[pdfium.FPDF_PAGEOBJ_IMAGE])
    ]
    ours = [(*(round(v, 2) for v in p.box), p.width, p.height) for p in placements(pdf.pages[0])]
    if case == "in a form":  # PDFium gives the place as the form's matrix has it; the page's is applied by hand
        found = [(*(2 * v + 5 for v in box[:4]), *box[4:]) for box in found]
    assert np.array(ours) == pytest.approx(np.array(found), abs=0.02)


def test_places_are_those_pdfminer_finds() -> None:
    pdf = page_with_picture(PLACED["in a form"] + b" " + PLACED["twice"])
    saved = io.BytesIO()
    pdf.save(saved)
    found: list[tuple[float, ...]] = []

    def collect(thing: object) -> None:
        if isinstance(thing, LTImage):
            found.append(tuple(round(v, 2) for v in thing.bbox))
        elif isinstance(thing, LTFigure):
            for part in thing:
                collect(part)

    for part in next(iter(extract_pages(saved, laparams=LAParams(all_texts=False)))):
        collect(part)
    assert sorted(tuple(round(v, 2) for v in p.box) for p in placements(pdf.pages[0])) == sorted(found)


def one(content: bytes, unit: float = 1.0) -> Placement:
    pdf = page_with_picture(content, unit)  # kept alive while its page is used: a closed one answers with nothing
    (found,) = placements(pdf.pages[0])
    return found


def test_resolution_is_pixels_over_the_sides_that_the_matrix_gives() -> None:
    # 60 pixels over 120 pt (1.667 in) are 36 to the inch, and so are 30 over 60 pt; turning changes nothing.
    for content in (PLACED["plain"], PLACED["turned"]):
        assert (one(content).ppi_x, one(content).ppi_y) == pytest.approx((36, 36))
    assert one(b"q 120 0 0 30 0 0 cm /P Do Q").ppi == pytest.approx(36)
    assert one(b"q 120 0 0 30 0 0 cm /P Do Q").ppi_y == pytest.approx(72)


def test_user_unit_makes_the_page_larger_and_the_resolution_less() -> None:
    assert one(PLACED["plain"], unit=10).ppi == pytest.approx(3.6)


def test_flat_pictures_have_no_resolution_and_do_no_harm() -> None:
    assert one(b"q 0 0 0 0 0 0 cm /P Do Q").ppi == math.inf


def test_what_is_told_of_a_picture() -> None:
    found = one(PLACED["plain"])
    assert (found.name, found.space_name, found.bits, found.filters, found.inline) == ("P", "DeviceRGB", 8, (), False)
    assert one(b"q 9 0 0 9 0 0 cm /S Do Q").space_name == "stencil"
    assert one(PLACED["inline"]).inline


def test_nothing_is_changed_by_looking() -> None:
    pdf = page_with_picture(b"/F Do " + PLACED["inline"])
    before = io.BytesIO()
    pdf.save(before, static_id=True)
    placements(pdf.pages[0])
    after = io.BytesIO()
    pdf.save(after, static_id=True)
    assert after.getvalue() == before.getvalue()
