"""Resolution of placed pictures as measured here against pdfminer.six, which lays out pages on its own."""

import math
from pathlib import Path

import pikepdf
import pytest
from pdfminer.high_level import extract_pages
from pdfminer.layout import LTContainer, LTImage
from pikepdf import Array, Dictionary, Name, Stream

from hotfolder.pdf.looking.census import placements
from hotfolder.testing import embed_picture

CORPUS = Path(__file__).parents[2].parent / "shared" / "corpus" / "posters"
Seen = list[tuple[int, int, float, float]]

# How a picture of 300 x 200 pixels is placed; pdfminer gives the upright box around it, so only upright ones compare.
PLACED = {
    "upright": b"144 0 0 96 50 50 cm /Im Do",
    "uneven": b"144 0 0 72 50 50 cm /Im Do",
    "mirrored": b"-144 0 0 96 200 50 cm /Im Do",
    "scaled twice": b"q .5 0 0 .5 10 10 cm 288 0 0 192 0 0 cm /Im Do Q",
    "in a form": b"q 2 0 0 2 20 20 cm /Form Do Q",
    "twice": b"q 144 0 0 96 50 50 cm /Im Do Q q 72 0 0 48 50 150 cm /Im Do Q",
}


def by_pdfminer(path: Path) -> list[Seen]:
    """For each page: pixels and upright size in points of each picture."""
    return [sorted(_images(layout)) for layout in extract_pages(path, laparams=None)]


def _images(layout: LTContainer) -> Seen:
    found: Seen = []
    for item in layout:
        if isinstance(item, LTImage):
            found.append((*item.srcsize, round(item.width, 3), round(item.height, 3)))
        elif isinstance(item, LTContainer):
            found += _images(item)
    return found


def by_us(path: Path) -> list[Seen]:
    with pikepdf.open(path) as pdf:
        return [
            sorted(
                (one.width, one.height, round(one.width / one.ppi_x * 72, 3), round(one.height / one.ppi_y * 72, 3))
                for one in placements(page, number)
                if is_upright(one.matrix)
            )
            for number, page in enumerate(pdf.pages, 1)
        ]


def is_upright(matrix: tuple[float, ...]) -> bool:
    return math.isclose(matrix[1], 0, abs_tol=1e-9) and math.isclose(matrix[2], 0, abs_tol=1e-9)


@pytest.mark.parametrize("content", PLACED.values(), ids=PLACED.keys())
def test_placed_sizes(tmp_path, content):
    with pikepdf.new() as pdf:
        page = pdf.add_blank_page(page_size=(400, 400)).obj
        picture = pdf.make_indirect(embed_picture(pdf, 300, 200))
        form = Stream(pdf, b"72 0 0 48 0 0 cm /Im Do", Type=Name.XObject, Subtype=Name.Form, BBox=Array([0, 0, 72, 48]))
        form.Resources = Dictionary(XObject=Dictionary(Im=picture))
        page.Resources = Dictionary(XObject=Dictionary(Im=picture, Form=form))
        page.Contents = Stream(pdf, content)
        pdf.save(tmp_path / "page.pdf")
    mine = by_us(tmp_path / "page.pdf")
    assert mine[0]
    assert mine == by_pdfminer(tmp_path / "page.pdf")


# Real posters whose pictures are placed upright, straight on the page or in forms.
REAL = [
    "eop__DenialBoxCard.pdf",
    "Git-Workshop__poster_sam.pdf",
    "django-sprint__triage.pdf",
    "govdesign__Poster_Pride.pdf",
]


@pytest.mark.skipif(not CORPUS.is_dir(), reason="the corpus of real posters is not here")
@pytest.mark.parametrize("file", REAL)
def test_placed_sizes_in_real_posters(file):
    path = CORPUS / file
    if not path.exists():
        pytest.skip("this poster is not here")
    mine, theirs = by_us(path), by_pdfminer(path)
    assert any(mine)
    assert len(mine) == len(theirs)
    for page, other in zip(mine, theirs, strict=True):
        different = sorted(set(page))  # pdfminer passes soft masks over, in which a picture may stand once more
        assert len(different) == len(set(other))
        for one, two in zip(different, sorted(set(other)), strict=True):
            assert one == pytest.approx(two, rel=1e-3, abs=0.01)
