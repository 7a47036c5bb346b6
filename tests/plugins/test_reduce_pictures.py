"""Pictures finer than wanted become smaller, and what must not change stays byte for byte.

What comes out is compared with Pillow's own reduction of the same picture (outside of the project).
"""

from __future__ import annotations

import io
import re
import zlib
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Stream
from PIL import Image, ImageDraw

from hotfolder.colour.profile import SRGB
from hotfolder.loading import load_plugins
from hotfolder.testing import codes, make_job, make_pdf, run_steps
from tests.pdf.photographed import leaves

STEPS = load_plugins().steps
POSTERS = Path(__file__).parents[3] / "shared" / "corpus" / "posters"
SIDE = 600


def photo(mode: str = "RGB") -> Image.Image:
    return leaves(SIDE, SIDE).convert(mode)


def line_art() -> Image.Image:
    picture = Image.new("1", (3000, 3000), 1)
    pen = ImageDraw.Draw(picture)
    for at in range(100, 2900, 200):
        pen.ellipse((at, at, at + 150, at + 80), fill=0)
        pen.line((0, at, 3000, 3000 - at), width=9)
    return picture


def screened() -> Image.Image:
    return leaves(1000, 1000).convert("L").resize((3000, 3000)).convert("1")


def jpeg(mode: str = "RGB", **more):
    def make(pdf):
        packed = io.BytesIO()
        photo(mode).save(packed, "JPEG", quality=95)
        extra = {"Decode": Array([1, 0] * 4)} if mode == "CMYK" else {}
        return _picture(pdf, packed.getvalue(), mode, SIDE, Filter=Name.DCTDecode, **extra, **more)

    return make


def flate(mode: str = "RGB", **more):
    return lambda pdf: _picture(pdf, zlib.compress(photo(mode).tobytes()), mode, SIDE, Filter=Name.FlateDecode, **more)


def bits(draw, **more):
    def make(pdf):
        picture = draw()
        return _picture(pdf, zlib.compress(picture.tobytes()), "1", picture.width, Filter=Name.FlateDecode, **more)

    return make


def with_profile(pdf):
    profile = pdf.make_stream(SRGB.data, N=3)
    return _picture(pdf, zlib.compress(photo().tobytes()), "RGB", SIDE, Filter=Name.FlateDecode,
                    ColorSpace=Array([Name.ICCBased, profile]))  # fmt: skip


def with_mask(matte: bool = False):
    def make(pdf):
        picture = flate()(pdf)
        mask = Image.radial_gradient("L").resize((SIDE, SIDE))
        picture.SMask = pdf.make_indirect(
            _picture(pdf, zlib.compress(mask.tobytes()), "L", SIDE, Filter=Name.FlateDecode)
        )
        if matte:
            picture.SMask.Matte = Array([0, 0, 0])
        return picture

    return make


def with_table(pdf):
    picture = photo().convert("P", palette=Image.Palette.ADAPTIVE, colors=64)
    space = Array([Name.Indexed, Name.DeviceRGB, 63, bytes(picture.getpalette()[:192])])
    return _picture(pdf, zlib.compress(picture.tobytes()), "L", SIDE, Filter=Name.FlateDecode, ColorSpace=space)


def flat(pdf):
    """So light already that fewer pixels would weigh no less."""
    packed = io.BytesIO()
    Image.new("RGB", (SIDE, SIDE), "teal").save(packed, "JPEG", quality=10)
    return _picture(pdf, packed.getvalue(), "RGB", SIDE, Filter=Name.DCTDecode)


def damaged(pdf):
    return _picture(pdf, b"\xff\xd8\xff nothing", "RGB", SIDE, Filter=Name.DCTDecode)


def _picture(pdf, data, mode, side, **more):
    space = {"RGB": Name.DeviceRGB, "L": Name.DeviceGray, "1": Name.DeviceGray, "CMYK": Name.DeviceCMYK}[mode]
    stream = Stream(pdf, data, Type=Name.XObject, Subtype=Name.Image, Width=side, Height=side)
    stream.BitsPerComponent = 1 if mode == "1" else 8
    if "ImageMask" not in more:
        stream.ColorSpace = space
    for key, value in more.items():
        stream["/" + key] = value
    return pdf.make_indirect(stream)


#: name: (what makes the picture, pixels per inch where it stands, settings, its pixels afterwards, its coding)
TABLE = {
    "as fine as wanted": (flate(), 300, {}, 600, "/FlateDecode"),
    "finer, but not worth it": (jpeg(), 440, {}, 600, "/DCTDecode"),
    "finer, and a shop that minds": (jpeg(), 440, {"from_times": 1.1}, 410, "/DCTDecode"),
    "finer by less than a tenth": (jpeg(), 325, {"from_times": 1.1}, 600, "/DCTDecode"),
    "coarser: never enlarged": (flate(), 100, {}, 600, "/FlateDecode"),
    "twice as fine, without loss": (flate(), 600, {}, 300, "/FlateDecode"),
    "half as fine again": (jpeg(), 450, {}, 400, "/DCTDecode"),
    "twice as fine, JPEG": (jpeg(), 600, {}, 300, "/DCTDecode"),
    "twice as fine, gray JPEG": (jpeg("L"), 600, {}, 300, "/DCTDecode"),
    "twice as fine, CMYK JPEG": (jpeg("CMYK"), 600, {}, 300, "/DCTDecode"),
    "twice as fine, CMYK": (flate("CMYK"), 600, {}, 300, "/FlateDecode"),
    "turned upside down by its Decode array": (flate("L", Decode=Array([1, 0])), 600, {}, 300, "/FlateDecode"),
    "a shop that wants less": (flate(), 300, {"most_ppi": 150}, 300, "/FlateDecode"),
    "a shop that takes JPEG": (flate(), 600, {"lossless_as_jpeg": True}, 300, "/DCTDecode"),
    "with a profile": (with_profile, 600, {}, 300, "/FlateDecode"),
    "with a soft mask": (with_mask(), 600, {}, 300, "/FlateDecode"),
    "with a soft mask and edges mixed before": (with_mask(matte=True), 600, {}, 600, "/FlateDecode"),
    "with a colour table": (with_table, 600, {}, 600, "/FlateDecode"),
    "with a mask by colour": (flate(Mask=Array([0, 9] * 3)), 600, {}, 600, "/FlateDecode"),
    "light already": (flat, 384, {"from_times": 1.1}, 600, "/DCTDecode"),
    "damaged": (damaged, 900, {}, 600, "/DCTDecode"),
    "line art": (bits(line_art), 2400, {}, 1500, "/FlateDecode"),
    "line art as fine as wanted": (bits(line_art), 1200, {}, 3000, "/FlateDecode"),
    "a stencil": (bits(line_art, ImageMask=True, Decode=Array([1, 0])), 2400, {}, 1500, "/FlateDecode"),
    "screened tones of one bit": (bits(screened), 2400, {}, 3000, "/FlateDecode"),
}  # fmt: skip


def build(tmp_path: Path, make, *ppis: float) -> Path:
    path = make_pdf(tmp_path / "poster.pdf", content=b"", bleed_mm=3)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        picture = make(pdf)
        page = pdf.pages[0].obj
        page.Resources = Dictionary(XObject=Dictionary(P=picture))
        sides = (int(picture.Width) / ppi * 72 for ppi in ppis)
        content = "".join(f"q {side} 0 0 {side} 50 50 cm /P Do Q\n" for side in sides)
        page.Contents = pdf.make_stream(content.encode())
        pdf.save(path)
    return path


def step(**settings):
    kind = STEPS["reduce_pictures"]
    return kind(kind.Settings(**settings))


def read(path: Path) -> tuple[dict[str, bytes], bytes]:
    """What is said of the picture, as written, without object numbers; and its data."""
    with pikepdf.open(path) as pdf:
        picture = pdf.pages[0].obj.Resources.XObject.P
        said = {key: re.sub(rb"\d+ 0 R", b"R", Array([picture[key]]).unparse()) for key in picture.keys()}  # noqa: SIM118
        return said, picture.read_raw_bytes()


@pytest.mark.parametrize(("make", "ppi", "settings", "pixels", "coding"), TABLE.values(), ids=TABLE.keys())
def test_pixels(tmp_path, make, ppi, settings, pixels, coding):
    path = build(tmp_path, make, ppi)
    before = read(path)
    job = make_job(tmp_path, path)
    (record,) = run_steps(job, step(**settings))
    assert record.ended == "done", record.trace
    after = read(job.artwork)
    assert [after[0][key] for key in ("/Width", "/Height")] == [b"[ %d ]" % pixels] * 2
    assert after[0]["/Filter"] == b"[ %b ]" % coding.encode()
    if after[0]["/Width"] == before[0]["/Width"]:
        assert codes(job) == []
        assert job.artwork == path
        return
    assert codes(job) == ["mended pictures_reduced"]
    assert len(after[1]) < 0.95 * len(before[1])
    assert [words for words, _ in job.views["reduce_pictures", "pictures_reduced"]] == ["Before", "After"]
    for key in ("/ColorSpace", "/BitsPerComponent", "/ImageMask", "/Type", "/Subtype"):
        assert after[0].get(key) == before[0].get(key)


@pytest.mark.parametrize("mode", ["RGB", "L"])
def test_it_looks_as_reduced_by_pillow(tmp_path, mode):
    job = make_job(tmp_path, build(tmp_path, flate(mode), 600))
    run_steps(job, step())
    with pikepdf.open(job.artwork) as pdf:
        found = pikepdf.PdfImage(pdf.pages[0].obj.Resources.XObject.P).as_pil_image()
    wanted = photo(mode).resize((300, 300), Image.Resampling.LANCZOS)
    assert np.abs(np.asarray(found, float) - np.asarray(wanted, float)).mean() < 2


def test_line_art_keeps_its_edges(tmp_path):
    job = make_job(tmp_path, build(tmp_path, bits(line_art), 2400))
    run_steps(job, step())
    with pikepdf.open(job.artwork) as pdf:
        found = pikepdf.PdfImage(pdf.pages[0].obj.Resources.XObject.P).as_pil_image().convert("L")
    wanted = (
        line_art().convert("L").resize((1500, 1500), Image.Resampling.BOX).point(lambda level: 255 * (level >= 128))
    )
    assert (np.asarray(found) != np.asarray(wanted)).mean() < 0.01


def test_the_largest_use_counts(tmp_path):
    job = make_job(tmp_path, build(tmp_path, flate(), 600, 900, 300))
    run_steps(job, step())
    assert codes(job) == []


def test_a_soft_mask_keeps_in_step(tmp_path):
    job = make_job(tmp_path, build(tmp_path, with_mask(), 600))
    run_steps(job, step())
    with pikepdf.open(job.artwork) as pdf:
        mask = pdf.pages[0].obj.Resources.XObject.P.SMask
        assert (mask.Width, mask.Height, str(mask.ColorSpace)) == (300, 300, "/DeviceGray")
    (finding,) = job.findings
    assert "A picture had more pixels than can be seen in print, 600 per inch: now about 300." in finding.message
    assert "of pictures before" in finding.measured


def test_the_finished_file_is_still_verified(tmp_path):
    job = make_job(tmp_path, build(tmp_path, jpeg(), 600))
    job.kind = "pdf"
    run_steps(job, *(STEPS[name]() for name in ("reduce_pictures", "convert_colour", "seal_pdf", "verify_result")))
    assert "mended pictures_reduced" in codes(job)
    assert not job.held, job.findings


def test_real_posters(tmp_path):
    name = "govdesign__Poster_GOVUK_InclusiveDesign.pdf"
    if not (POSTERS / name).is_file():
        pytest.skip("the corpus of real posters is not beside the clone")
    job = make_job(tmp_path, POSTERS / name)
    job.kind = "pdf"
    run_steps(job, *(STEPS[name]() for name in ("reduce_pictures", "convert_colour", "seal_pdf", "verify_result")))
    (finding,) = [finding for finding in job.findings if finding.code == "pictures_reduced"]
    assert "600 per inch: now about 300" in finding.message
    assert "result_differs" not in [finding.code for finding in job.findings]
