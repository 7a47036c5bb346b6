"""Page boxes as read here against two other readers of the same files: pypdf and PDFium.

pypdf gives each box as the file has it, with inheritance; ISO 32000-1 7.9.5 (corners in order) and 14.11.2.1 (reduced to
the media box) are applied to its answers here. PDFium gives a page's size after Crop, Media, Rotate and inheritance; it
leaves UserUnit out.
"""

import csv
import warnings
from pathlib import Path

import pikepdf
import pypdf
import pypdfium2
import pytest
from pikepdf import Array, Dictionary

from hotfolder.finding import Box
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.looking.document import read_annotations, read_carried
from hotfolder.pdf.looking.layers import read_layers
from hotfolder.pdf.looking.text import find_text
from hotfolder.testing import make_pdf
from hotfolder.units import MM

CORPUS = Path(__file__).parents[2].parent / "shared" / "corpus"
posters = pytest.mark.skipif(not (CORPUS / "posters").is_dir(), reason="the corpus of real posters is not here")
stress = pytest.mark.skipif(not (CORPUS / "stress").is_dir(), reason="the corpus of damaged files is not here")

SINGLE = 0.01  # points; PDFium counts in single precision
NAMES = {"media": "mediabox", "crop": "cropbox", "bleed": "bleedbox", "trim": "trimbox", "art": "artbox"}

BUILT = {
    "plain": {},
    "with slug": {"slug_mm": 12},
    "no boxes": {"boxes": False},
    "flipped": {"changes": {"/MediaBox": Array([900, 1300, 0, 0]), "/TrimBox": Array([800, 20, 20, 1200])}},
    "offset": {"changes": {"/MediaBox": Array([-50, -70.5, 900, 1300])}},
    "turned": {"changes": {"/Rotate": 270}},
    "cropped": {"changes": {"/CropBox": Array([10, 20, 700, 1000]), "/TrimBox": None}},
    "bleed beyond the page": {"changes": {"/BleedBox": Array([-20, -20, 2000, 2000])}},
    "units": {"changes": {"/UserUnit": 2.5}},
}


def check_page(path: Path, at: int, page: pikepdf.Page, other: pypdf.PageObject, size: tuple[float, float]) -> None:
    boxes = read_boxes(page)
    media = ordered(other.mediabox)
    for mine, theirs in NAMES.items():
        expected = ordered(getattr(other, theirs)).common(media)
        assert getattr(boxes, mine) == pytest.approx(expected, abs=1e-4), (path.name, at, mine)
    assert boxes.user_unit == pytest.approx(float(other.user_unit))
    assert boxes.rotate == other.rotation % 360
    seen = [side / boxes.user_unit for side in boxes.seen_size(boxes.crop)]
    assert seen == pytest.approx(size, abs=SINGLE), (path.name, at)


def ordered(box: pypdf.generic.RectangleObject) -> Box:
    x1, y1, x2, y2 = (float(side) for side in box)
    return Box(min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2))


def check_file(path: Path, pages: int = 3) -> int:
    reader = pypdf.PdfReader(path)
    with pikepdf.open(path) as pdf, pypdfium2.PdfDocument(path) as other:
        for at, page in zip(range(pages), pdf.pages, strict=False):
            check_page(path, at, page, reader.pages[at], other[at].get_size())
        return min(pages, len(pdf.pages))


@pytest.mark.parametrize("built", BUILT.values(), ids=BUILT.keys())
def test_built_pages_as_others_read_them(tmp_path, built):
    assert check_file(make_pdf(tmp_path / "page.pdf", **built)) == 1


def test_inherited_boxes_as_others_read_them(tmp_path):
    """Media, Crop and Rotate from two levels up; a TrimBox up there counts for nobody (PDFium doesn't report that)."""
    path = make_pdf(tmp_path / "page.pdf", boxes=False)
    with pikepdf.open(path) as pdf:
        leaf, root = pdf.pages[0].obj, pdf.Root.Pages
        middle = pdf.make_indirect(Dictionary(Type=pikepdf.Name.Pages, Kids=Array([leaf]), Count=1, Parent=root))
        root.Kids, leaf.Parent = Array([middle]), middle
        del leaf.MediaBox
        middle.CropBox, root.MediaBox = Array([20, 20, 500, 600]), Array([0, 0, 900, 800])
        middle.TrimBox, root.Rotate = Array([30, 30, 90, 90]), 90
        pdf.save(tmp_path / "tree.pdf")
    with pikepdf.open(tmp_path / "tree.pdf") as pdf, pypdfium2.PdfDocument(tmp_path / "tree.pdf") as other:
        boxes = read_boxes(pdf.pages[0])
        assert boxes.seen_size(boxes.crop) == pytest.approx(other[0].get_size(), abs=SINGLE)
        assert boxes.trim == (20, 20, 500, 600)


@posters
def test_real_posters_as_others_read_them():
    paths = sorted((CORPUS / "posters").glob("*.pdf"))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        assert sum(check_file(path) for path in paths) >= len(paths)


@posters
def test_real_posters_have_the_size_their_list_says():
    """The list's page_mm was measured when the posters were collected: the first page's trim, UserUnit counted."""
    with (CORPUS / "posters" / "manifest.tsv").open(encoding="utf-8", newline="") as stream:
        rows = [row for row in csv.DictReader(stream, delimiter="\t") if (CORPUS / "posters" / row["file"]).exists()]
    assert rows
    for row in rows:
        with pikepdf.open(CORPUS / "posters" / row["file"]) as pdf:
            boxes = read_boxes(pdf.pages[0])
        size = [side / MM for side in boxes.size(boxes.trim)]
        listed = [float(side) for side in row["page_mm"].split("x")]
        assert size == pytest.approx(listed, abs=0.051), row["file"]


@pytest.mark.parametrize("unit", [2, 10])
def test_a_billboard_in_user_units(tmp_path, unit):
    """A real one of 6705.6 x 3048 mm (22 x 10 ft) has 1900.8 x 864 units of 10 points each."""
    size = (1900.8 * 10 / unit, 864 * 10 / unit)
    with pikepdf.new() as pdf:
        pdf.add_blank_page(page_size=size).obj.UserUnit = unit
        boxes = read_boxes(pdf.pages[0])
    assert [side / MM for side in boxes.size(boxes.trim)] == pytest.approx((6705.6, 3048))


# Read from the files with a text editor: where a real poster is cut, in points.
REAL_TRIMS = {
    "govdesign__Poster_The_strategy_is_delivery.pdf": ((33, 33, 2416.94, 3403.39), (841, 1189), 6.0),
    "cuoredinapoli__sticker.pdf": ((8.504, 8.504, 575.434, 575.434), (200, 200), 3.0),
    "govdesign__Sticker_MakeThingsOpen.pdf": ((29.504, 38.504, 182.575, 279.449), (54, 85), 3.0),
}


@posters
@pytest.mark.parametrize(("file", "expected"), REAL_TRIMS.items(), ids=REAL_TRIMS.keys())
def test_real_trims_and_bleeds(file, expected):
    trim, size_mm, bleed_mm = expected
    path = CORPUS / "posters" / file
    if not path.exists():
        pytest.skip("this poster is not here")
    with pikepdf.open(path) as pdf:
        boxes = read_boxes(pdf.pages[0])
    assert boxes.trim == pytest.approx(trim, abs=1e-3)
    assert [side / MM for side in boxes.size(boxes.trim)] == pytest.approx(size_mm, abs=0.05)
    assert (boxes.trim.left - boxes.bleed.left) / MM == pytest.approx(bleed_mm, abs=0.01)


@stress
def test_damaged_files_never_do_worse_than_a_sentence():
    """Boxes, comments, layers, fonts of every file that opens: an answer or ValueError, nothing else."""
    opened = 0
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for path in sorted((CORPUS / "stress").glob("*.pdf")):
            if path.stat().st_size > 150_000:  # long documents take time and hold no other damage
                continue
            try:
                pdf = pikepdf.open(path)
            except (pikepdf.PdfError, pikepdf.PasswordError):
                continue
            with pdf:
                opened += 1
                look(pdf)
    assert opened > 50


def look(pdf: pikepdf.Pdf) -> None:
    carried = read_carried(pdf)
    read_layers(pdf, carried.layers_used)
    for page in pdf.pages:
        read_annotations(page)
        try:
            boxes = read_boxes(page)
        except ValueError as reason:
            assert str(reason).startswith("The page")  # noqa: PT017 -- either outcome is right
        else:
            assert all(box.within(boxes.media) for box in (boxes.crop, boxes.bleed, boxes.trim, boxes.art))
            assert min(boxes.size(boxes.trim)) > 0
    find_text(pdf)
