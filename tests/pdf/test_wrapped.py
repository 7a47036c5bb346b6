"""A page drawn as one object looks as it did: moved by a matrix, in several renderers, with all that a page may hold.

Each page is compared with itself through a matrix that is known: drawn at two inches, and drawn at one inch and moved.
"""

from __future__ import annotations

import io
import shutil
import subprocess
import zlib
from pathlib import Path

import numpy as np
import pytest
from pikepdf import Array, Dictionary, Name, Object
from PIL import Image

from hotfolder.finding import Box
from hotfolder.pdf.boxes import set_box
from hotfolder.pdf.mending.wrapped import draw_through_matrix, page_as_form
from hotfolder.pdf.render import render_page
from tests.pdf.pages import Page

TILES = "/Type /Pattern /PatternType 1 /PaintType 1 /TilingType 1 /BBox [0 0 20 20] /XStep 20 /YStep 20 /Resources << >> /Matrix [1 0 0 1 7 3]"
FADE = (
    "<< /PatternType 2 /Matrix [1 0 0 1 5 0] /Shading << /ShadingType 2 /ColorSpace /DeviceRGB /Coords [20 0 180 0] "
    "/Function << /FunctionType 2 /Domain [0 1] /C0 [1 0 0] /C1 [0 0 1] /N 1 >> >> >>"
)
GRAY_GROUP = "/Group << /S /Transparency /CS /DeviceGray >>"


def plain(page: Page) -> str:
    return "0.2 0.4 0.8 rg 20 30 100 60 re f 1 0 0 RG 4 w 10 10 m 190 190 l S BT /F1 40 Tf 30 120 Td (Fair) Tj ET"


def tiling(page: Page) -> str:
    page.put("Pattern", "P1", page.stream("1 0 0 rg 0 0 8 8 re f 0 0 1 rg 10 10 6 6 re f", TILES))
    return "/Pattern cs /P1 scn 15 15 150 150 re f"


def shading(page: Page) -> str:
    page.put("Pattern", "P1", FADE)
    page.put("Shading", "S1", page.obj.Resources.Pattern.P1.Shading)
    return "/Pattern cs /P1 scn 15 15 150 60 re f q 1 0 0 .5 0 90 cm 0 0 200 100 re W n /S1 sh Q"


def soft_mask(page: Page) -> str:
    page.put(
        "Pattern", "P1", FADE.replace("/DeviceRGB", "/DeviceGray").replace("[1 0 0]", "[1]").replace("[0 0 1]", "[0]")
    )
    mask = page.form("M", "/Pattern cs /P1 scn 0 0 200 200 re f", GRAY_GROUP)
    page.put("ExtGState", "G1", Dictionary(SMask=Dictionary(S=Name.Luminosity, G=mask)))
    return "0 0.5 0 rg q 1 0 0 1 10 0 cm /G1 gs 0 40 180 100 re f Q 10 10 20 20 re f"


def hidden_layer(page: Page) -> str:
    layer = page.pdf.make_indirect(Dictionary(Type=Name.OCG, Name="Notes"))
    page.pdf.Root.OCProperties = Dictionary(OCGs=Array([layer]), D=Dictionary(OFF=Array([layer]), Order=Array([layer])))
    page.obj.Resources.Properties = Dictionary(L=layer)
    return "0 0 1 rg 10 10 80 80 re f /OC /L BDC 1 0 0 rg 50 50 100 100 re f EMC"


def blended(page: Page) -> str:
    page.obj.Group = Dictionary(S=Name.Transparency, CS=Name.DeviceRGB, I=True)
    page.put("ExtGState", "G1", Dictionary(BM=Name.Multiply, ca=0.7))
    return "1 1 0 rg 20 20 120 120 re f /G1 gs 0 1 1 rg 60 60 120 120 re f"


def surplus(page: Page) -> str:
    return "Q Q q q 0 0 1 rg 20 20 100 100 re f q 1 0 0 1 30 30 cm BT /F1 30 Tf 0 60 Td (open) Tj"


def borrowed_resources(page: Page) -> str:
    page.form("X", "/Pattern cs /P1 scn 15 15 150 150 re f", resources=False)
    page.put("Pattern", "P1", FADE)
    return "q .8 0 0 .8 10 10 cm /X Do Q"


def several_streams(page: Page) -> str:
    return plain(page).replace(" BT", " |BT")


def cropped(page: Page) -> str:
    page.obj.CropBox = Array([20, 20, 150, 170])
    return plain(page)


def inherited_resources(page: Page) -> str:
    page.pdf.Root.Pages.Resources = page.obj.Resources
    del page.obj.Resources
    return plain(page)


def offset_media(page: Page) -> str:
    page.obj.MediaBox = Array([-40, 20, 160, 220])
    return plain(page)


ART = [plain, tiling, shading, soft_mask, hidden_layer, blended, surplus, borrowed_resources, several_streams, cropped]
ART += [inherited_resources, offset_media]
MATRICES = {
    "as it was": ((1, 0, 0, 1, 0, 0), 0),
    "twice": ((2, 0, 0, 2, 0, 0), 0),
    "turned left": ((0, 1, -1, 0, 200, 0), 90),
    "half, turned right, aside": ((0, -0.5, 0.5, 0, 17, 140), 270),
}


def built(art) -> Page:
    page = Page()
    parts = art(page).split("|")
    streams = [page.pdf.make_stream(part.encode()) for part in parts]
    page.obj.Contents = Array(streams) if len(streams) > 1 else streams[0]
    return page


def saved(page: Page, path: Path) -> Path:
    page.pdf.save(path)
    return path


def moved(page: Page, matrix: tuple[float, ...]) -> None:
    media = Box(*(float(side) for side in page.obj.MediaBox))
    draw_through_matrix(page.pdf, page.pdf.pages[0], matrix)  # type: ignore[arg-type]
    for key in ("MediaBox", "CropBox"):
        if "/" + key in page.obj:
            box = Box(*(float(side) for side in page.obj["/" + key])) if key == "CropBox" else media
            set_box(page.obj, key, corners(box, matrix))


def corners(box: Box, matrix: tuple[float, ...]) -> Box:
    a, b, c, d, e, f = matrix
    xs = [a * x + c * y + e for x in (box.left, box.right) for y in (box.bottom, box.top)]
    ys = [b * x + d * y + f for x in (box.left, box.right) for y in (box.bottom, box.top)]
    return Box(min(xs), min(ys), max(xs), max(ys))


def apart(before: Image.Image, after: Image.Image, turn: int) -> float:
    """Mean difference of 255, each averaged over 4 x 4 pixels: edges never agree to the pixel."""
    turned = before.rotate(turn, expand=True).convert("RGB")
    after = after.convert("RGB").resize(turned.size, Image.Resampling.BOX) if after.size != turned.size else after
    one, other = (np.asarray(picture.convert("RGB").reduce(4), float) for picture in (turned, after))
    return float(np.abs(one - other).mean())


@pytest.mark.parametrize("name", MATRICES)
@pytest.mark.parametrize("art", ART, ids=lambda art: art.__name__)
def test_it_looks_the_same_through_the_matrix(art, name, tmp_path):
    matrix, turn = MATRICES[name]
    scale = abs(matrix[0]) + abs(matrix[1])
    before = saved(built(art), tmp_path / "before.pdf")
    page = built(art)
    moved(page, matrix)
    after = saved(page, tmp_path / "after.pdf")
    was, came = render_page(before, 1, 144).picture, render_page(after, 1, 144 / scale).picture
    assert np.asarray(was).std() > 10  # something is there to see
    assert apart(was, came, turn) < 1.0


def poppler(path: Path, ppi: float) -> Image.Image:
    done = subprocess.run(["pdftoppm", "-r", str(ppi), "-png", path], capture_output=True, check=True)
    return Image.open(io.BytesIO(done.stdout))


def ghostscript(path: Path, ppi: float) -> Image.Image:
    command = ["gs", "-q", "-dSAFER", "-dBATCH", "-dNOPAUSE", "-sDEVICE=png16m", f"-r{ppi}"]
    command += ["-dTextAlphaBits=4", "-dGraphicsAlphaBits=4", "-sOutputFile=%stdout", str(path)]
    return Image.open(io.BytesIO(subprocess.run(command, capture_output=True, check=True).stdout))


OTHERS = {"pdftoppm": poppler, "gs": ghostscript}


@pytest.mark.parametrize("tool", OTHERS)
@pytest.mark.parametrize("art", [tiling, shading, soft_mask, blended, hidden_layer], ids=lambda art: art.__name__)
def test_other_renderers_agree(art, tool, tmp_path):
    """poppler and Ghostscript, in the versions installed, each against itself. poppler sets tiles on whole pixels."""
    if shutil.which(tool) is None:
        pytest.skip(f"{tool} is not installed")
    matrix, turn = MATRICES["half, turned right, aside"]
    before = saved(built(art), tmp_path / "before.pdf")
    page = built(art)
    moved(page, matrix)
    after = saved(page, tmp_path / "after.pdf")
    assert apart(OTHERS[tool](before, 144), OTHERS[tool](after, 288), turn) < (4 if art is tiling else 1.5)


def test_a_matrix_in_front_of_the_content_would_leave_the_pattern_behind(tmp_path):
    """Why the content becomes a form: the comparison sees the difference."""
    page = built(tiling)
    page.obj.Contents = page.pdf.make_stream(b"2 0 0 2 0 0 cm " + page.obj.Contents.read_bytes())
    page.obj.MediaBox = Array([0, 0, 400, 400])
    after = saved(page, tmp_path / "after.pdf")
    before = saved(built(tiling), tmp_path / "before.pdf")
    assert apart(render_page(before, 1, 144).picture, render_page(after, 1, 72).picture, 0) > 5


def test_the_content_stays_packed_as_it_was():
    page = Page()
    page.obj.Contents = page.pdf.make_stream(b"0 0 1 rg 0 0 9 9 re f")
    page.obj.Contents.write(zlib.compress(b"0 0 1 rg 0 0 9 9 re f"), filter=Name.FlateDecode)
    form = page_as_form(page.pdf, page.pdf.pages[0])
    assert form.read_raw_bytes() == page.obj.Contents.read_raw_bytes()
    assert form.Filter == Name.FlateDecode
    assert form.read_bytes() == b"0 0 1 rg 0 0 9 9 re f"


def test_pages_that_share_content_and_resources_keep_theirs(tmp_path):
    page = built(tiling)
    page.pdf.pages.append(page.pdf.pages[0])
    first, second = page.pdf.pages
    draw_through_matrix(page.pdf, first, (2, 0, 0, 2, 0, 0))
    assert b"/P1 scn" in second.obj.Contents.read_bytes()
    assert "/P1" in second.obj.Resources.Pattern
    assert list(first.obj.Resources.keys()) == ["/XObject"]


def test_the_spaces_that_stand_for_a_device_stay_with_the_page():
    page = built(plain)
    page.put("ColorSpace", "DefaultRGB", "[/CalRGB << /WhitePoint [.9505 1 1.089] >>]")
    draw_through_matrix(page.pdf, page.pdf.pages[0], (1, 0, 0, 1, 0, 0))
    assert "/DefaultRGB" in page.obj.Resources.ColorSpace
    assert "/DefaultRGB" in page.obj.Resources.XObject.Artwork.Resources.ColorSpace


@pytest.mark.parametrize(
    ("contents", "words"),
    [
        ("<< /Filter /FlateDecode >>", "drawing can't be read"),
        ("42", "drawing can't be read"),
    ],
)
def test_damage_is_said_in_words(contents, words):
    page = Page()
    page.obj.Contents = (
        page.pdf.make_stream(b"no zlib") if contents.startswith("<") else Object.parse(contents.encode())
    )
    if contents.startswith("<"):
        page.obj.Contents.Filter = Name.FlateDecode
    with pytest.raises(ValueError, match=words):
        page_as_form(page.pdf, page.pdf.pages[0])
