"""The proof: lines stand where the page's boxes are, show on light and dark art, and can be told apart."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pikepdf
import pytest
from numpy.typing import NDArray
from pikepdf import Array
from PIL import Image

from hotfolder.finding import Box
from hotfolder.pdf.boxes import PageBoxes, read_boxes
from hotfolder.pdf.render import open_pages
from hotfolder.report import draw, proof
from hotfolder.testing import make_pdf
from hotfolder.ticket import Ticket
from hotfolder.units import MM

WHITE_ART, BLACK_ART = b"1 g -99 -99 999 999 re f", b"0 g -999 -999 9999 9999 re f"
TICKET = Ticket.model_validate({"bleed": "3mm", "safe_margin": "10mm"})
EDGE = 22  # of plain ground around the sheet
ROOM = EDGE + 3 * draw.ROW  # above it, with three names


def proof_of(
    path: Path, ticket: Ticket = TICKET, places: tuple[proof.Place, ...] = ()
) -> tuple[Image.Image, PageBoxes]:
    with path.open("rb") as stream, pikepdf.open(stream) as pdf:
        boxes = read_boxes(pdf.pages[0])
    with open_pages(path) as pages:
        return proof.draw_proof(pages, 1, boxes, ticket, places), boxes


def at(picture: Image.Image, x: float, y: float) -> int:
    """The darkest of a pixel's colours."""
    return min(picture.getpixel((round(x), round(y))))  # type: ignore[arg-type, type-var]


# A 200 x 300 mm sheet trimmed all round by 20 mm: the picture has 1400 pixels for 300 mm.
SCALE = 1400 / 300


def sheet(path: Path, content: bytes, **changes: object) -> Path:
    return make_pdf(
        path,
        trim_mm=(160, 260),
        bleed_mm=3,
        slug_mm=17,
        content=content,
        changes={f"/{k}": v for k, v in changes.items()},
    )


@pytest.mark.parametrize("content", [WHITE_ART, BLACK_ART], ids=["light art", "dark art"])
@pytest.mark.parametrize(("name", "inset_mm"), [("bleed", 17), ("trim", 20), ("safe margin", 30)])
def test_each_line_stands_at_its_place_and_shows(tmp_path: Path, content: bytes, name: str, inset_mm: float) -> None:
    picture, _ = proof_of(sheet(tmp_path / "sheet.pdf", content))
    middle = ROOM + 700
    for x in (EDGE + inset_mm * SCALE, EDGE + (200 - inset_mm) * SCALE):
        across = [at(picture, x + step, y) for step in range(-4, 5) for y in range(middle, middle + 30)]
        assert min(across) < 60, name  # dark ...
        assert max(across) > 220, name  # ... and light beside it
    for y in (ROOM + inset_mm * SCALE, ROOM + (300 - inset_mm) * SCALE):
        down = [at(picture, x, y + step) for step in range(-4, 5) for x in range(500, 530)]
        assert min(down) < 60, name
        assert max(down) > 220, name


@pytest.mark.parametrize("content", [WHITE_ART, BLACK_ART], ids=["light art", "dark art"])
def test_nothing_is_drawn_elsewhere(tmp_path: Path, content: bytes) -> None:
    picture, _ = proof_of(sheet(tmp_path / "sheet.pdf", content))
    art = 255 if content is WHITE_ART else 0
    inside = np.asarray(picture.convert("L"))[ROOM + round(35 * SCALE) : ROOM + round(265 * SCALE), 200:800]
    assert set(np.unique(inside)) == {art}


def test_lines_differ_in_their_stroke(tmp_path: Path) -> None:
    picture, _ = proof_of(sheet(tmp_path / "sheet.pdf", WHITE_ART))
    gray = np.asarray(picture.convert("L"))
    shares = {}
    for name, inset in (("bleed", 17), ("trim", 20), ("safe margin", 30)):
        line = gray[ROOM + 300 : ROOM + 1100, round(EDGE + inset * SCALE)]
        shares[name] = (float((line < 128).mean()), runs(line < 128))
    assert shares["trim"] == (1.0, 1)
    assert 0.5 < shares["bleed"][0] < 0.8
    assert shares["safe margin"][0] < 0.5
    assert shares["safe margin"][1] > 2 * shares["bleed"][1] > 20


def runs(dark: NDArray[np.bool_]) -> int:
    return int(np.diff(dark.astype(int)).clip(0).sum() + dark[0])


@pytest.mark.parametrize("rotate", [0, 90, 180, 270])
def test_a_place_is_outlined_and_numbered_as_the_page_is_looked_at(tmp_path: Path, rotate: int) -> None:
    place = Box(60 * MM, 200 * MM, 90 * MM, 220 * MM)  # from the lower left corner of an unrotated sheet
    path = sheet(tmp_path / "sheet.pdf", WHITE_ART, Rotate=rotate)
    picture, _ = proof_of(path, places=(proof.Place(7, place),))
    left, top = {0: (60, 80), 90: (200, 60), 180: (110, 200), 270: (80, 110)}[rotate]
    x, y = EDGE + left * SCALE, ROOM + top * SCALE
    colour = np.array(draw.PLACE)
    pixels = np.asarray(picture).astype(int)
    assert np.abs(pixels[round(y) + 40, round(x)] - colour).max() < 30  # the outline's left edge
    assert np.abs(pixels[round(y), round(x) + 60] - colour).max() < 30  # its upper edge
    off = round(draw.BADGE * 0.8)
    assert np.abs(pixels[round(y) - off - 18, round(x) - off - 10] - colour).max() < 30  # the disc of its number


def test_user_unit_counts(tmp_path: Path) -> None:
    path = make_pdf(
        tmp_path / "unit.pdf",
        trim_mm=(160, 260),
        content=WHITE_ART,
        changes={
            "/UserUnit": 10,
            "/MediaBox": Array([0, 0, 20 * MM, 30 * MM]),
            "/TrimBox": Array([2 * MM, 2 * MM, 18 * MM, 28 * MM]),
            "/BleedBox": None,
        },
    )
    picture, boxes = proof_of(path)
    lines = proof.edges(boxes, TICKET)
    assert lines.bleed.left == pytest.approx(1.7 * MM, abs=1e-3)
    assert lines.safe is not None
    assert lines.safe.left == pytest.approx(3 * MM, abs=1e-3)
    assert at(picture, EDGE + 20 * SCALE, ROOM + 700) < 60


def test_missing_bleed_is_shown_as_hatched(tmp_path: Path) -> None:
    path = make_pdf(tmp_path / "bare.pdf", trim_mm=(200, 300), bleed_mm=0, content=BLACK_ART)
    picture, boxes = proof_of(path)
    assert proof.lacks_sheet(boxes, TICKET)
    scale = 1400 / 306
    strip = np.asarray(picture.convert("L"))[ROOM + 300 : ROOM + 1000, EDGE + 5 : EDGE + round(3 * scale) - 4]
    assert strip.min() > 130  # no art, no black ...
    assert len(np.unique(strip)) > 1  # ... but no plain paper either
    assert not proof.lacks_sheet(proof_of(sheet(tmp_path / "sheet.pdf", WHITE_ART))[1], TICKET)


def test_lines_that_would_run_into_one_are_thinner(tmp_path: Path) -> None:
    picture, _ = proof_of(make_pdf(tmp_path / "a0.pdf", trim_mm=(841, 1189), bleed_mm=3, content=WHITE_ART))
    gray = np.asarray(picture.convert("L"))
    row = gray[ROOM + 700 : ROOM + 740, EDGE : EDGE + 12].astype(int)
    dark = (row < 100).any(axis=0)
    assert runs(dark) == 2  # bleed and trim, with light between them


@pytest.mark.parametrize("size", [(5, 3000), (3000, 5), (2, 2)])
def test_odd_formats_still_have_their_names(tmp_path: Path, size: tuple[float, float]) -> None:
    picture, boxes = proof_of(make_pdf(tmp_path / "odd.pdf", trim_mm=size, bleed_mm=0, content=WHITE_ART))
    assert proof.edges(boxes, TICKET).safe is None
    assert picture.width >= 150
    assert max(picture.size) < 1600


def test_numbers_do_not_cover_each_other() -> None:
    taken: list[tuple[int, int]] = []
    for _ in range(40):
        taken.append(draw.free_spot((500, 500, 560, 520), (1000, 1400), taken))
    closest = min(np.hypot(a[0] - b[0], a[1] - b[1]) for a in taken for b in taken if a is not b)
    assert closest >= 2 * draw.BADGE


@pytest.mark.parametrize(
    ("box", "shown"),
    [
        (Box(100, 100, 110, 105), "whole"),
        (Box(-20, -20, 5, 5), "whole"),
        (Box(0, 0, 400, 600), "whole"),
        (Box(5000, 5000, 5010, 5010), "nothing"),
        (Box(100, 100, 100, 100), "whole"),
    ],
)
def test_a_crop_lies_on_the_sheet_and_holds_its_place(tmp_path: Path, box: Box, shown: str) -> None:
    _, boxes = proof_of(make_pdf(tmp_path / "a4.pdf", trim_mm=(210, 297), bleed_mm=3, content=WHITE_ART))
    area = proof.crop_area(box, boxes)
    if shown == "nothing":
        assert area is None
        return
    assert area is not None
    assert area.within(boxes.media, 1e-6)
    common = Box(max(box.left, 0), max(box.bottom, 0), box.right, box.top)
    assert common.within(area, 1e-6)


def test_a_crop_outlines_its_place(tmp_path: Path) -> None:
    path = make_pdf(tmp_path / "a4.pdf", trim_mm=(210, 297), bleed_mm=3, content=BLACK_ART)
    _, boxes = proof_of(path)
    place = Box(200, 300, 240, 330)
    area = proof.crop_area(place, boxes)
    assert area is not None
    with open_pages(path) as pages:
        crop = proof.draw_crop(pages, 1, boxes, place, area)
    assert crop.size == proof.CROP_SIZE
    pixels = np.asarray(crop).astype(int)
    found = np.argwhere(np.abs(pixels - np.array(draw.PLACE)).max(axis=2) < 10)
    (top, left), (bottom, right) = found.min(axis=0), found.max(axis=0)
    scale = crop.width / area.width
    assert left == pytest.approx((place.left - area.left) * scale - 8, abs=4)
    assert right == pytest.approx((place.right - area.left) * scale + 8, abs=4)
    assert top == pytest.approx((area.top - place.top) * scale - 8, abs=4)
    assert bottom == pytest.approx((area.top - place.bottom) * scale + 8, abs=4)
    assert pixels[(top + bottom) // 2, (left + right) // 2].max() == 0  # the place itself is not drawn over
