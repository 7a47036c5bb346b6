"""Printer's marks stand where they should, whatever the page's rotation, unit and origin, and the art can't reach them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pikepdf
import pytest
from pikepdf import Array, Name

from hotfolder.finding import Box
from hotfolder.pdf.boxes import PageBoxes, read_boxes
from hotfolder.pdf.finishing.marks import draw_marks
from hotfolder.pdf.finishing.sheet import EDGE, TARGET, Marks, lay_out, to_user, view_matrix
from hotfolder.pdf.render import render_page
from hotfolder.testing import make_pdf
from hotfolder.units import MM

ALL = Marks(bleed_marks=True)
GREEN = b"0.8 0 1 0 k -9999 -9999 19998 19998 re f\n"


def marked(folder: Path, content: bytes = GREEN, marks: Marks = ALL, **how: object) -> tuple[Path, PageBoxes]:
    """A poster with marks, and its boxes before."""
    path = make_pdf(folder / "art.pdf", content=content, **how)  # type: ignore[arg-type]
    with pikepdf.open(path) as pdf:
        boxes = read_boxes(pdf.pages[0])
        draw_marks(pdf, pdf.pages[0], boxes, lay_out(boxes, marks), marks)
        pdf.save(folder / "marked.pdf")
    return folder / "marked.pdf", boxes


def ink(path: Path, area: Box | None = None, ppi: float = 150) -> np.ndarray:
    return np.asarray(render_page(path, 1, ppi, area).picture).min(axis=2) < 200


GEOMETRY = {
    "plain": {},
    "turned 90": {"/Rotate": 90},
    "turned 180": {"/Rotate": 180},
    "turned 270": {"/Rotate": 270},
    "turned -90": {"/Rotate": -90},
    "unit 2": {"/UserUnit": 2},
    "unit 0.5, turned": {"/UserUnit": 0.5, "/Rotate": 90},
}


@pytest.mark.parametrize("name", GEOMETRY)
def test_marks_stay_out_of_the_bleed_and_art_inside(name: str, tmp_path: Path) -> None:
    path, boxes = marked(tmp_path, trim_mm=(120, 160), changes=GEOMETRY[name])
    with pikepdf.open(path) as pdf:
        after = read_boxes(pdf.pages[0])
    assert after.trim == pytest.approx(boxes.trim, abs=1e-3)
    assert after.bleed == pytest.approx(boxes.bleed, abs=1e-3)
    assert after.bleed.within(after.media)
    # Nothing of the art, green all over, may stand beyond the bleed.
    drawn = render_page(path, 1, 100 / max(1, boxes.user_unit))
    picture = np.asarray(drawn.picture).astype(int)
    left, top, right, bottom = drawn.place(boxes.bleed)
    green = (picture[..., 1] - picture[..., 0] > 60) & (picture[..., 1] - picture[..., 2] > 60)
    assert green[top + 2 : bottom - 2, left + 2 : right - 2].all()
    outside = green.copy()
    outside[top - 1 : bottom + 1, left - 1 : right + 1] = False
    # what is green there is the patch of cyan and yellow overprinting, 5 mm at most
    rows, columns = np.nonzero(outside)
    side = 6 * MM / 72 * drawn.ppi
    assert np.ptp(rows) <= side
    assert np.ptp(columns) <= side


@pytest.mark.parametrize("name", GEOMETRY)
def test_bars_are_below_as_the_poster_is_looked_at(name: str, tmp_path: Path) -> None:
    """The solid cyan patch is the first on the left, the solid black the last on the right, on the foot of the sheet."""
    path, boxes = marked(tmp_path, b"", trim_mm=(160, 160), changes=GEOMETRY[name])
    drawn = render_page(path, 1, 100 / max(1, boxes.user_unit))
    rgb = np.asarray(drawn.picture).astype(int)
    cyan = np.argwhere((rgb[..., 2] > 180) & (rgb[..., 0] < 60))
    assert cyan[:, 0].min() > drawn.picture.height * 0.9
    assert cyan[:, 1].max() < drawn.picture.width * 0.25


def test_cut_marks_line_up_with_the_trim(tmp_path: Path) -> None:
    """ISO 32000-1 14.11.3 and common practice: the middle of each line is the edge of the trim."""
    only = Marks(registration_targets=False, colour_bars=False, gray_ramp=False)
    path, boxes = marked(tmp_path, b"", only, trim_mm=(100, 140))
    trim = boxes.trim
    for x in (trim.left, trim.right):
        for y in (trim.bottom - boxes.trim.left - 8, trim.top + 17):  # within the marks' 5 mm beyond the bleed
            dark = ink(path, Box(x - 3, y, x + 3, y + 2), 720)
            assert dark.any()
            middle = np.nonzero(dark.any(axis=0))[0].mean() / dark.shape[1]
            assert middle == pytest.approx(0.5, abs=0.05)


def test_offset_is_never_less_than_the_bleed() -> None:
    boxes = page(bleed=5 * MM)
    for offset, expected in ((None, 5 * MM), (2 * MM, 5 * MM), (9 * MM, 9 * MM)):
        sheet = lay_out(boxes, Marks(offset=offset))
        assert sheet.offset == pytest.approx(expected)
        assert all(not overlaps(sheet.bleed, mark) for mark in places(sheet))
    assert lay_out(page(bleed=0), Marks()).offset == pytest.approx(3 * MM)


@pytest.mark.parametrize("rotate", [0, 90, 180, 270])
def test_uneven_bleed_turns_with_the_page(rotate: int) -> None:
    media = Box(0, 0, 400, 300)
    boxes = PageBoxes(media, media, Box(30, 38, 368, 266), Box(40, 40, 360, 260), media, frozenset(), rotate)
    sheet = lay_out(boxes, Marks())
    matrix = view_matrix(boxes, boxes.trim)
    assert to_user(matrix, sheet.bleed) == pytest.approx(boxes.bleed)
    assert to_user(matrix, Box(0, 0, sheet.width, sheet.height)) == pytest.approx(boxes.trim)


@pytest.mark.parametrize(
    ("side_mm", "left_out"),
    [
        (300, ()),
        (60, ("colour bars",)),
        (40, ("colour bars", "gray ramp")),
        (10, ("registration targets on the short sides", "colour bars", "gray ramp")),
        (1, ("registration targets on the short sides", "colour bars", "gray ramp")),
    ],
)
def test_what_has_no_room_is_left_out_and_said(side_mm: float, left_out: tuple[str, ...]) -> None:
    assert lay_out(page(side_mm, side_mm), Marks()).left_out == left_out


def test_marks_do_not_touch_each_other() -> None:
    for side in (13, 40, 61, 85, 120, 600):
        every = [mark.grown(-0.01) for mark in places(lay_out(page(side, side), ALL))]
        for number, one in enumerate(every):
            assert not any(overlaps(one, other) for other in every[number + 1 :]), side


HOSTILE = {
    "restores too often": b"Q Q Q " + GREEN + b" Q Q 0 0 0 1 k Q",
    "saves without end": b"q " * 50 + GREEN,
    "text left open": b"BT /F1 12 Tf " + GREEN,
    "layer left open": b"/OC /MC0 BDC " + GREEN,
    "text in brackets left open": GREEN + b"BT (no end",
    "picture left open": GREEN + b"BI /W 1 /H 1 /BPC 8 /CS /G ID ...",
    "array left open": GREEN + b"[ 1 2 3",
    "dictionary left open": GREEN + b"/Span << /ActualText (x",
    "moves everything": b"1 0 0 1 500 500 cm 0 0 0 0 k " + GREEN,
    "clips to nothing": b"0 0 0 0 re W n " + GREEN,
    "ends inside a comment": GREEN + b"% no line end",
    "draws white over all": b"0 0 0 0 k -9999 -9999 19998 19998 re f",
    "surplus Q inside text": b"BT (Q Q Q) Tj ET Q Q " + GREEN,
}


@pytest.mark.parametrize("name", HOSTILE)
def test_art_cannot_disturb_the_marks(name: str, tmp_path: Path) -> None:
    marks, _ = marked(tmp_path, b"", trim_mm=(120, 160))
    clean = ink(marks, ppi=72)
    path, boxes = marked(tmp_path, HOSTILE[name], trim_mm=(120, 160))
    drawn = render_page(path, 1, 72)
    left, top, right, bottom = drawn.place(boxes.bleed)
    found = ink(path, ppi=72)
    for picture in (clean, found):
        picture[top - 1 : bottom + 1, left - 1 : right + 1] = False
    assert clean.any()
    assert (found == clean).all()


def test_saves_and_restores_balance(tmp_path: Path) -> None:
    for content in HOSTILE.values():
        if b"(no end" in content or b"ID ..." in content or b"[" in content or b"<<" in content or b"%" in content:
            continue  # these swallow what follows, the closing Q too; the marks are drawn before them
        path, _ = marked(tmp_path, content)
        with pikepdf.open(path) as pdf:
            operators = [str(item.operator) for item in pikepdf.parse_content_stream(pdf.pages[0])]
        assert operators.count("q") == operators.count("Q")
        assert operators.count("BT") == operators.count("ET")


def test_pages_share_nothing_they_should_not(tmp_path: Path) -> None:
    """Two pages with one resource dictionary and one content stream: marks on the first leave the second as it was."""
    pdf = pikepdf.new()
    shared = pdf.make_indirect(pikepdf.Dictionary(XObject=pikepdf.Dictionary()))
    content = pdf.make_indirect(pdf.make_stream(GREEN))
    for _ in range(2):
        page = pdf.add_blank_page(page_size=(300, 300))
        page.obj.Resources, page.obj.Contents = shared, content
    boxes = read_boxes(pdf.pages[0])
    draw_marks(pdf, pdf.pages[0], boxes, lay_out(boxes, Marks()), Marks())
    assert len(pdf.pages[1].obj.Resources.XObject) == 0
    assert pdf.pages[1].obj.Contents.read_bytes() == GREEN
    assert len(pdf.pages[0].obj.Resources.XObject) == 1


def test_the_transparency_group_stays(tmp_path: Path) -> None:
    group = pikepdf.Dictionary(S=Name.Transparency, CS=Name.DeviceCMYK, I=True)
    path, _ = marked(tmp_path, changes={"/Group": group})
    with pikepdf.open(path) as pdf:
        assert Name.DeviceCMYK == pdf.pages[0].obj.Group.CS
        assert pdf.pages[0].obj.Group.I is True


def test_too_large_a_sheet_is_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="units long; a PDF page may have 14400 at most"):
        marked(tmp_path, b"", trim_mm=(14_390 / MM, 500), bleed_mm=0)


def test_other_art_box_and_crop_box_go(tmp_path: Path) -> None:
    path, _ = marked(tmp_path, changes={"/ArtBox": Array([50, 50, 90, 90]), "/CropBox": Array([20, 20, 200, 200])})
    with pikepdf.open(path) as pdf:
        page = pdf.pages[0].obj
        assert "/ArtBox" not in page
        assert list(page.CropBox) == list(page.MediaBox)


# ---- helpers


def page(width_mm: float = 297, height_mm: float = 420, bleed: float = 9.0) -> PageBoxes:
    trim = Box(bleed, bleed, bleed + width_mm * MM, bleed + height_mm * MM)
    media = trim.grown(bleed)
    return PageBoxes(media, media, media, trim, media, frozenset({"BleedBox", "TrimBox"}))


def places(sheet: object) -> list[Box]:
    """The rectangles that the marks of a sheet take up."""
    found = [stroke(*line) for line in sheet.lines]  # type: ignore[attr-defined]
    found += [Box(x, y, x, y).grown(TARGET / 2) for x, y in sheet.targets]  # type: ignore[attr-defined]
    return found + [box for box, _ in sheet.patches]  # type: ignore[attr-defined]


def stroke(x0: float, y0: float, x1: float, y1: float) -> Box:
    """A line of 0.25 pt; its butt ends don't reach beyond it (ISO 32000-1 table 54)."""
    across, up = (0.125, 0) if x0 == x1 else (0, 0.125)
    return Box(min(x0, x1) - across, min(y0, y1) - up, max(x0, x1) + across, max(y0, y1) + up)


def overlaps(one: Box, other: Box) -> bool:
    common = one.common(other)
    return common is not None and min(common.width, common.height) > 1e-6


def test_the_sheet_holds_every_mark() -> None:
    for marks in (ALL, Marks(), Marks(slug_line=True), Marks(registration_targets=False, colour_bars=False)):
        sheet = lay_out(page(), marks)
        # At the very edge paper is not printed: nothing comes closer than the sheet's own margin.
        assert all(mark.within(sheet.edge.grown(-EDGE), 0.13) for mark in places(sheet))
