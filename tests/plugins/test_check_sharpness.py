"""Pictures with less detail than their pixels promise, and with visible JPEG squares: what is told, and what is not.

The pictures are our own, drawn by a published model of natural pictures (tests/pdf/photographed.py). Enlarging is done by
Pillow's filters, JPEG by Pillow (libjpeg-turbo); both stand outside of the project. Real pictures are those of the test
posters, enlarged likewise; they are skipped where the folder is absent.
"""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from pikepdf import Dictionary, Name, Stream
from PIL import Image, ImageDraw, ImageFilter

from hotfolder.loading import load_plugins
from hotfolder.pdf.pictures.jpeg_tables import is_progressive, jpeg_quality
from hotfolder.testing import codes, make_job, make_pdf, run_steps
from tests.pdf.photographed import leaves

POSTERS = Path(__file__).parents[3] / "shared" / "corpus" / "posters"


@cache
def drawn() -> Image.Image:
    return leaves(600, 600)


def enlarged(times: float, how: Image.Resampling) -> Image.Image:
    side = round(600 / times)
    return drawn().crop((0, 0, side, side)).resize((600, 600), how)


def soft_ground_with_a_sharp_thing() -> Image.Image:
    picture = drawn().filter(ImageFilter.GaussianBlur(4))
    picture.paste(drawn().crop((100, 100, 400, 400)), (128, 128))
    return picture


def lettering() -> Image.Image:
    picture = Image.new("RGB", (600, 600), "white")
    pen = ImageDraw.Draw(picture)
    for line in range(20):
        pen.text((20, 30 * line), "posters for the summer fair " * 3, fill="black")
    return picture


def code() -> Image.Image:
    """Squares of twelve pixels, black and white, as in a code to be scanned."""
    random = np.random.default_rng(3)
    return Image.fromarray(np.kron(random.integers(0, 2, (50, 50)), np.full((12, 12), 255)).astype(np.uint8)).convert(
        "RGB"
    )


def gradient() -> Image.Image:
    return Image.linear_gradient("L").resize((600, 600)).convert("RGB")


def noise() -> Image.Image:
    return Image.fromarray(np.random.default_rng(5).normal(128, 30, (600, 600, 3)).clip(0, 255).astype(np.uint8))


FILTERS = Image.Resampling
#: name: (picture, JPEG quality or None for no JPEG, pixels per inch on the page, settings, findings with words of them)
TABLE = {
    "sharp": (drawn, None, 300, {}, []),
    "sharp, as a JPEG": (drawn, 80, 300, {}, []),
    "1.2 times": (lambda: enlarged(1.2, FILTERS.BICUBIC), None, 300, {}, []),
    "3 times, bicubic": (
        lambda: enlarged(3, FILTERS.BICUBIC),
        None,
        300,
        {"least_ppi": 200},
        [("note soft_picture", "has 300 pixels per inch, but only as much detail as about 90")],
    ),
    "3 times, bilinear": (
        lambda: enlarged(3, FILTERS.BILINEAR),
        None,
        300,
        {},
        [("note soft_picture", "has 300 pixels")],
    ),
    "4 times, Lanczos": (
        lambda: enlarged(4, FILTERS.LANCZOS),
        None,
        300,
        {},
        [("note soft_picture", "much detail as about 70")],
    ),
    "4 times, as a JPEG": (
        lambda: enlarged(4, FILTERS.BICUBIC),
        85,
        300,
        {},
        [("note soft_picture", "as much detail")],
    ),
    "3 times, pixels repeated": (
        lambda: enlarged(3, FILTERS.NEAREST),
        None,
        300,
        {},
        [("note soft_picture", "only as much detail as about 100")],
    ),
    "2 times, and what is left is enough": (lambda: enlarged(2, FILTERS.BICUBIC), None, 300, {}, []),
    "2 times, at 150": (lambda: enlarged(2, FILTERS.BICUBIC), None, 150, {}, [("note soft_picture", "has 150 pixels")]),
    "too coarse anyway: check_pictures tells": (lambda: enlarged(4, FILTERS.BICUBIC), None, 140, {}, []),
    "4 times, and the shop holds": (
        lambda: enlarged(4, FILTERS.BICUBIC),
        None,
        300,
        {"soft": "hold"},
        [("hold soft_picture", "was enlarged beforehand, or it is out of focus")],
    ),
    "4 times, and the shop takes less": (lambda: enlarged(4, FILTERS.BICUBIC), None, 300, {"least_detail": 40}, []),
    "a sharp thing before a blurred ground": (soft_ground_with_a_sharp_thing, None, 300, {}, []),
    "blurred all over, as grounds are": (lambda: drawn().filter(ImageFilter.GaussianBlur(9)), None, 300, {}, []),
    "lettering": (lettering, None, 300, {}, []),
    "a code of large squares": (code, None, 300, {}, []),
    "a gradient": (gradient, None, 300, {}, []),
    "noise": (noise, None, 300, {}, []),
    "flat": (lambda: Image.new("RGB", (600, 600), "teal"), None, 300, {}, []),
    "shown small": (lambda: enlarged(4, FILTERS.BICUBIC), None, 620, {"least_ppi": 600}, []),
    "strongly compressed": (
        drawn,
        15,
        200,
        {},
        [("note blocky_picture", "shows squares, each 1.0 mm wide on paper")],
    ),
    "strongly compressed, and the shop holds": (
        drawn,
        15,
        200,
        {"blocky": "hold"},
        [("hold blocky_picture", "squares")],
    ),
    "strongly compressed, but fine": (drawn, 15, 500, {}, []),
    "compressed well": (drawn, 75, 200, {}, []),
}


def place(tmp_path: Path, picture: Image.Image, quality: int | None, ppi: float) -> Path:
    path = make_pdf(tmp_path / "poster.pdf", content=b"", bleed_mm=3)
    side = picture.width / ppi * 72
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        if quality is None:
            stream = Stream(pdf, picture.tobytes())
        else:
            packed = io.BytesIO()
            picture.save(packed, "JPEG", quality=quality)
            stream = Stream(pdf, packed.getvalue(), Filter=Name.DCTDecode)
        stream.Type, stream.Subtype, stream.ColorSpace = Name.XObject, Name.Image, Name.DeviceRGB
        stream.Width, stream.Height, stream.BitsPerComponent = picture.width, picture.height, 8
        page = pdf.pages[0].obj
        page.Resources = Dictionary(XObject=Dictionary(P=pdf.make_indirect(stream)))
        page.Contents = pdf.make_stream(f"q {side} 0 0 {side} 50 50 cm /P Do Q".encode())
        pdf.save(path)
    return path


def step(**settings):
    kind = load_plugins().steps["check_sharpness"]
    return kind(kind.Settings(**settings))


@pytest.mark.parametrize(("make", "quality", "ppi", "settings", "expected"), TABLE.values(), ids=TABLE.keys())
def test_findings(tmp_path, make, quality, ppi, settings, expected):
    settings = dict(settings)
    ticket = {"least_ppi": settings.pop("least_ppi", 150)}
    job = make_job(tmp_path, place(tmp_path, make(), quality, ppi), ticket=ticket)
    (record,) = run_steps(job, step(**settings))
    assert record.ended == "done", record.trace
    assert codes(job) == [line[0] for line in expected]
    for finding, (_, words) in zip(job.findings, expected, strict=True):
        assert words in finding.message
        assert finding.mend
        assert finding.box
        assert job.views


def test_a_picture_cropped_away_is_not_judged(tmp_path):
    path = place(tmp_path, enlarged(4, FILTERS.BICUBIC), None, 300)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        pdf.pages[0].obj.Contents = pdf.make_stream(b"q 0 0 9 9 re W n 144 0 0 144 50 50 cm /P Do Q")
        pdf.save(path)
    job = make_job(tmp_path, path)
    run_steps(job, step())
    assert codes(job) == []


def test_damaged_data_tells_nothing_here(tmp_path):
    path = place(tmp_path, drawn(), 80, 300)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        picture = pdf.pages[0].obj.Resources.XObject.P
        picture.write(picture.read_raw_bytes()[:2000], filter=Name.DCTDecode)
        pdf.save(path)
    job = make_job(tmp_path, path)
    (record,) = run_steps(job, step())
    assert record.ended == "done", record.trace
    assert codes(job) == []


@pytest.mark.parametrize("quality", [15, 20, 40, 50, 65, 80, 95])
def test_the_quality_of_a_jpeg_is_read_from_its_tables(quality):
    """Pillow writes the standard's tables scaled (libjpeg-turbo)."""
    packed = io.BytesIO()
    drawn().crop((0, 0, 64, 64)).save(packed, "JPEG", quality=quality)
    assert jpeg_quality(packed.getvalue()) == pytest.approx(quality, abs=2)
    assert not is_progressive(packed.getvalue())
    packed = io.BytesIO()
    drawn().crop((0, 0, 64, 64)).save(packed, "JPEG", progressive=True)
    assert is_progressive(packed.getvalue())
    assert not is_progressive(b"\xff\xd8" + b"\xff\xe0\x00\x00" * 9)
    assert jpeg_quality(b"\xff\xd8\xff\xdb\x00\x04\x00\x00") is None


REAL = [
    ("govdesign__Poster_UserResearch_findwhatworks.pdf", 48),
    ("govdesign__Poster_GOVUK_InclusiveDesign.pdf", 412),
    ("govdesign__Poster_GOVUK_InclusiveDesign.pdf", 409),
]


@pytest.mark.parametrize(("name", "number"), REAL)
@pytest.mark.parametrize("times", [1, 3, 4])
def test_pictures_of_real_posters(tmp_path, name, number, times):
    """As they are nothing is told of them; enlarged it is."""
    if not (POSTERS / name).is_file():
        pytest.skip("the corpus of real posters is not beside the clone")
    with pikepdf.open(POSTERS / name) as pdf:
        picture = pikepdf.PdfImage(pdf.get_object((number, 0))).as_pil_image().convert("RGB")
    middle = picture.width // 2, picture.height // 2
    side = min(600 if times == 1 else 250, *picture.size)
    part = picture.crop((middle[0] - side // 2, middle[1] - side // 2, middle[0] + side // 2, middle[1] + side // 2))
    large = part.resize((part.width * times, part.height * times), FILTERS.BICUBIC)
    job = make_job(tmp_path, place(tmp_path, large, None, 150))
    run_steps(job, step())
    assert codes(job) == ([] if times == 1 else ["note soft_picture"])
