"""Pages turned into pictures: known rectangles must stand at known pixels, whatever the page's boxes say."""

from __future__ import annotations

import shutil
import subprocess
import threading
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name
from PIL import Image

from hotfolder.finding import Box
from hotfolder.pdf import render
from hotfolder.pdf.render import open_pages, render_page

RED, GREEN, BLUE, WHITE = (255, 0, 0), (0, 255, 0), (0, 0, 255), (255, 255, 255)
CORPUS = Path(__file__).parents[2].parent / "shared" / "corpus"


def page_pdf(content: bytes, media: tuple[float, ...] = (0, 0, 144, 216), **entries: object) -> pikepdf.Pdf:
    pdf = pikepdf.new()
    page = pdf.add_blank_page(page_size=(100, 100))
    page.obj.MediaBox = Array(list(media))
    page.obj.Contents = pdf.make_stream(content)
    for key, value in entries.items():
        page.obj["/" + key] = value
    return pdf


def saved(pdf: pikepdf.Pdf, path: Path) -> Path:
    pdf.save(path)
    return path


def corners(x: float, y: float) -> bytes:
    """Red at the lower left, green at the lower right, blue at the upper left of a 144 x 216 page that starts at x, y."""
    cells = ((RED, 0, 0), (GREEN, 108, 0), (BLUE, 0, 180))
    return b"\n".join(
        b"%d %d %d rg %g %g 36 36 re f" % (*(part // 255 for part in colour), x + dx, y + dy)
        for colour, dx, dy in cells
    )


# /Rotate turns the page clockwise for showing (ISO 32000-1 table 30): where each page corner then stands.
TURNED = {
    0: {"lower left": (0, 1), "lower right": (1, 1), "upper left": (0, 0)},
    90: {"lower left": (0, 0), "lower right": (0, 1), "upper left": (1, 0)},
    180: {"lower left": (1, 0), "lower right": (0, 0), "upper left": (1, 1)},
    270: {"lower left": (1, 1), "lower right": (1, 0), "upper left": (0, 1)},
}


@pytest.mark.parametrize("rotate", [0, 90, 180, 270, -90, 450])
@pytest.mark.parametrize(
    "media", [(0, 0, 144, 216), (-50, 30, 94, 246), (94, 246, -50, 30)], ids=["plain", "offset", "flipped"]
)
def test_corners_stand_where_the_rotation_puts_them(tmp_path: Path, rotate: int, media: tuple[float, ...]) -> None:
    x, y = min(media[0], media[2]), min(media[1], media[3])
    path = saved(page_pdf(corners(x, y), media, Rotate=rotate), tmp_path / "page.pdf")
    drawn = render_page(path, 1, 72)
    turn = rotate % 360
    assert drawn.picture.mode == "RGB"
    assert drawn.picture.size == ((144, 216) if turn % 180 == 0 else (216, 144))
    wide, high = drawn.picture.size
    for name, colour in (("lower left", RED), ("lower right", GREEN), ("upper left", BLUE)):
        right, low = TURNED[turn][name]
        assert drawn.picture.getpixel((wide - 10 if right else 10, high - 10 if low else 10)) == colour, name
    assert drawn.picture.getpixel((wide // 2, high // 2)) == WHITE


@pytest.mark.parametrize("rotate", [0, 90, 180, 270])
@pytest.mark.parametrize("unit", [1, 10])
def test_place_gives_the_pixels_of_a_box(tmp_path: Path, rotate: int, unit: int) -> None:
    box = Box(-10, 60, 20, 100)
    content = b"1 0 0 rg %g %g %g %g re f" % (box.left, box.bottom, box.width, box.height)
    pdf = page_pdf(content, (-50, 30, 94, 246), Rotate=rotate, UserUnit=unit)
    drawn = render_page(saved(pdf, tmp_path / "page.pdf"), 1, 72)
    pixels = np.asarray(drawn.picture)
    rows, columns = np.nonzero((pixels == RED).all(axis=2))
    assert drawn.place(box) == (columns.min(), rows.min(), columns.max() + 1, rows.max() + 1)


def test_user_unit_makes_the_sheet_larger(tmp_path: Path) -> None:
    pdf = page_pdf(corners(0, 0), UserUnit=10)  # 144 x 216 units of 10/72 in: 20 x 30 in
    drawn = render_page(saved(pdf, tmp_path / "page.pdf"), 1, 36)
    assert drawn.picture.size == (720, 1080)
    assert drawn.picture.getpixel((90, 990)) == RED
    with open_pages(tmp_path / "page.pdf") as pages:
        assert pages.shown_inches(1) == (20, 30)
        assert pages.sheet(1) == Box(0, 0, 144, 216)


def test_the_crop_box_hides_nothing(tmp_path: Path) -> None:
    # A shading painted by `sh` fills the whole page, so it also shows whether the crop box was still in force.
    red = Array([1, 0, 0])
    shading = Dictionary(
        ShadingType=2,
        ColorSpace=Name.DeviceRGB,
        Coords=Array([0, 0, 144, 0]),
        Extend=Array([True, True]),
        Function=Dictionary(FunctionType=2, N=1, C0=red, C1=red, Domain=Array([0, 1])),
    )
    pdf = page_pdf(b"/S sh", CropBox=Array([50, 50, 90, 90]), Resources=Dictionary(Shading=Dictionary(S=shading)))
    drawn = render_page(saved(pdf, tmp_path / "page.pdf"), 1, 72)
    assert drawn.picture.size == (144, 216)
    assert drawn.picture.getpixel((2, 2)) == RED


@pytest.mark.parametrize("rotate", [0, 90, 180, 270])
def test_an_area_is_drawn_alone(tmp_path: Path, rotate: int) -> None:
    area = Box(100, -20, 154, 52)  # reaches past the page at its lower right corner
    content = corners(0, 0) + b" 0 0 1 rg 144 -40 40 40 re f 0 0 1 rg 120 -20 10 20 re f"
    pdf = page_pdf(content, Rotate=rotate)
    drawn = render_page(saved(pdf, tmp_path / "page.pdf"), 1, 144, area)
    assert sorted(drawn.picture.size) == [108, 144]
    left, top, right, bottom = drawn.place(Box(108, 0, 144, 36))
    assert drawn.picture.getpixel(((left + right) // 2, (top + bottom) // 2)) == GREEN
    # What lies off the sheet is on no paper.
    left, top, right, bottom = drawn.place(Box(120, -20, 130, 0))
    assert drawn.picture.getpixel(((left + right) // 2, (top + bottom) // 2)) == WHITE


def test_pages_can_be_drawn_in_any_order_from_one_opening(tmp_path: Path) -> None:
    pdf = page_pdf(corners(0, 0))
    second = page_pdf(b"0 0 1 rg 0 0 144 216 re f", CropBox=Array([0, 0, 9, 9]))
    pdf.pages.append(second.pages[0])
    with open_pages(saved(pdf, tmp_path / "two.pdf")) as pages:
        assert len(pages) == 2
        assert pages.render(2, 72).picture.getpixel((70, 70)) == BLUE
        assert pages.render(1, 72, Box(0, 0, 36, 36)).picture.getpixel((9, 9)) == RED
        assert pages.render(1, 72).picture.getpixel((70, 70)) == WHITE
        with pytest.raises(ValueError, match="there is no page 3"):
            pages.render(3, 72)


def test_only_annotations_that_print_are_drawn(tmp_path: Path) -> None:
    # ISO 32000-1 table 165: flag bit 3 (value 4) is Print, bit 2 (value 2) is Hidden.
    pdf = page_pdf(b"")
    notes = []
    for number, flags in enumerate((4, 0, 6)):
        look = pdf.make_stream(b"1 0 0 rg 0 0 20 20 re f", Type=Name.XObject, Subtype=Name.Form, BBox=[0, 0, 20, 20])
        corner = 10 + 40 * number
        note = Dictionary(Type=Name.Annot, Subtype=Name.Stamp, F=flags, AP=Dictionary(N=look))
        note.Rect = Array([corner, 10, corner + 20, 30])
        notes.append(pdf.make_indirect(note))
    pdf.pages[0].obj.Annots = Array(notes)
    drawn = render_page(saved(pdf, tmp_path / "page.pdf"), 1, 72)
    assert [drawn.picture.getpixel((x, 196)) for x in (20, 60, 100)] == [RED, WHITE, WHITE]


def test_bytes_are_drawn_like_a_file(tmp_path: Path) -> None:
    path = saved(page_pdf(corners(0, 0)), tmp_path / "page.pdf")
    assert render_page(path.read_bytes(), 1, 72).picture == render_page(path, 1, 72).picture


@pytest.mark.parametrize("name", ["caf\udce9.pdf", "line\nbreak.pdf", "-dash ☂.pdf"])
def test_odd_file_names(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(saved(page_pdf(corners(0, 0)), tmp_path / "plain.pdf").read_bytes())
    assert render_page(path, 1, 72).picture.size == (144, 216)


def test_too_many_pixels_are_drawn_smaller(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(render, "MOST_PIXELS", 10_000)
    drawn = render_page(saved(page_pdf(corners(0, 0)), tmp_path / "page.pdf"), 1, 7200)
    assert drawn.picture.width * drawn.picture.height <= 10_300
    assert drawn.ppi == pytest.approx(drawn.picture.width / 2, rel=0.02)


def test_a_hair_of_a_page_still_has_a_pixel(tmp_path: Path) -> None:
    pdf = page_pdf(b"", (0, 0, 14400, 0.02), UserUnit=1000)
    drawn = render_page(saved(pdf, tmp_path / "page.pdf"), 1, 300)
    assert drawn.picture.size == (30_000, 1)


def test_what_cannot_be_drawn_is_refused_in_a_sentence(tmp_path: Path) -> None:
    good = saved(page_pdf(corners(0, 0)), tmp_path / "good.pdf")
    locked = tmp_path / "locked.pdf"
    with pikepdf.open(good) as pdf:
        pdf.save(locked, encryption=pikepdf.Encryption(owner="o", user="u"))
    flat = saved(page_pdf(b"", (0, 0, 0, 216)), tmp_path / "flat.pdf")
    huge = saved(page_pdf(b"", (0, 0, 10**12, 216)), tmp_path / "huge.pdf")
    for source, sentence in (
        (b"", "can't be opened"),
        (b"%PDF-1.7 and nothing else", "can't be opened"),
        (tmp_path / "absent.pdf", "can't be opened"),
        (locked, "a password protects the file"),
        (flat, "no size"),
        (huge, "no usable media box"),
    ):
        with pytest.raises(ValueError, match=sentence):
            render_page(source, 1, 72)
    for page in (0, 2, -1):
        with pytest.raises(ValueError, match="there is no page"):
            render_page(good, page, 72)
    for ppi in (0.0, -1.0, float("nan"), float("inf")):
        with pytest.raises(ValueError, match="resolution"):
            render_page(good, 1, ppi)
    for area in (Box(0, 0, 0, 9), Box(9, 9, 0, 0), Box(0, 0, float("nan"), 9)):
        with pytest.raises(ValueError, match="no size"):
            render_page(good, 1, 72, area)


def test_threads_take_turns(tmp_path: Path) -> None:
    path = saved(page_pdf(corners(0, 0)), tmp_path / "page.pdf")
    seen: list[tuple[int, ...]] = []

    def draw() -> None:
        for _ in range(10):
            seen.append(render_page(path, 1, 72).picture.getpixel((10, 206)))  # type: ignore[arg-type]

    threads = [threading.Thread(target=draw) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert seen == [RED] * 40


# ---- against another program


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="pdftoppm (poppler) is not installed to compare with")
@pytest.mark.parametrize("rotate", [0, 90, 180, 270])
def test_poppler_draws_the_same(tmp_path: Path, rotate: int) -> None:
    pdf = page_pdf(corners(-50, 30), (-50, 30, 94, 246), Rotate=rotate, CropBox=Array([0, 40, 90, 200]))
    path = saved(pdf, tmp_path / "page.pdf")
    theirs = by_poppler(path, tmp_path, 150)
    ours = render_page(path, 1, 150).picture
    assert theirs.size == ours.size
    assert share_apart(ours, theirs) < 0.002  # edges only


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="pdftoppm (poppler) is not installed to compare with")
@pytest.mark.parametrize("name", ["govdesign__A2_It_s_Ok_To_Poster.pdf", "govdesign__Poster_GoodServices.pdf"])
def test_poppler_draws_real_posters_the_same(tmp_path: Path, name: str) -> None:
    path = CORPUS / "posters" / name
    if not path.exists():
        pytest.skip("the corpus of real posters is not beside this clone")
    theirs = by_poppler(path, tmp_path, 40)
    ours = render_page(path, 1, 40).picture
    assert max(abs(a - b) for a, b in zip(ours.size, theirs.size, strict=True)) <= 1
    assert share_apart(ours, theirs.resize(ours.size)) < 0.05


def by_poppler(path: Path, folder: Path, ppi: int) -> Image.Image:
    subprocess.run(["pdftoppm", "-r", str(ppi), "-singlefile", str(path), str(folder / "theirs")], check=True)
    return Image.open(folder / "theirs.ppm").convert("RGB")


def share_apart(one: Image.Image, other: Image.Image) -> float:
    """The share of pixels that differ clearly."""
    apart = np.abs(np.asarray(one, dtype=int) - np.asarray(other, dtype=int)).max(axis=2)
    return float((apart > 64).mean())
