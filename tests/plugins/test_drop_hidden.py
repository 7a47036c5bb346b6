"""What can't print goes, and what prints stays pixel for pixel: each case with a twin of which nothing may go.

Both are drawn before and after by PDFium and, where it is installed, by Ghostscript (outside of the project).
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Stream
from PIL import Image

from hotfolder.loading import load_plugins
from hotfolder.pdf.mappings.plain_paths import is_plain_path
from hotfolder.pdf.objects import content_bytes
from hotfolder.pdf.render import render_page
from hotfolder.testing import codes, embed_picture, make_job, make_pdf, run_steps

POSTERS = Path(__file__).parents[3] / "shared" / "corpus" / "posters"
GREEN = "0.6 0 0.8 0 k 0 0 900 1300 re f\n"
AT = "1 0 0 1 100 100 cm"
FAR = "1 0 0 1 2000 100 cm"

#: name: (content, what the finding counts; "" for nothing)
TABLE = {
    # Outside of the sheet (the poster is 859 by 1208 points)
    "a picture outside": (f"q {FAR} 50 0 0 50 0 0 cm /P Do Q", "1 picture"),
    "a picture half outside": ("q 50 0 0 50 -25 100 cm /P Do Q", ""),
    "a picture just outside, where bleed may be won from it": ("q 50 0 0 50 -60 100 cm /P Do Q", ""),
    "a picture inside the content, outside": (f"q {FAR} 50 0 0 50 0 0 cm BI /W 1 /H 1 /BPC 8 /CS /G ID a EI Q", "1 picture"),
    "an area outside": ("1 0 0 0 k 2000 10 20 20 re f", "1 area or line"),
    "an area of curves outside": ("2000 10 m 2100 10 2100 90 2000 90 c h f", "1 area or line"),
    "a curve that reaches in": ("2000 10 m 100 10 100 90 2000 90 c h f", ""),
    "two areas in one path, one inside": ("2000 10 20 20 re 100 100 20 20 re f", ""),
    "a line outside": ("3 w 2000 10 m 2000 90 l S", "1 area or line"),
    "a line outside that is wide enough to reach in": ("300 w 1000 10 m 1000 90 l S", ""),
    "a line with a sharp corner that may reach in": ("100 M 40 w 1100 10 m 1300 15 l 1100 20 l S", ""),
    "a dot of a round pen": ("2 J 9 w 100 100 m h S", ""),
    "a form outside": (f"q {FAR} /Form Do Q", "1 area or line and 1 drawing"),
    "a form inside, part of it outside": (f"q {AT} /Wide Do Q", "1 area or line"),
    "a form placed twice, once outside": (f"q {AT} /Form Do Q q {FAR} /Form Do Q", "1 drawing"),
    "a form placed twice, with parts outside": (f"q {AT} /Wide Do Q q 1 0 0 1 -1500 0 cm /Wide Do Q", ""),
    "a pattern's cell": ("/Pattern cs /Tiles scn 100 100 72 72 re f", ""),
    # Cut off
    "a picture cut off": (f"q 100 100 50 50 re W n q {AT} 1 0 0 1 200 0 cm 50 0 0 50 0 0 cm /P Do Q Q", "1 picture"),
    "a picture cropped": (f"q 100 100 50 50 re W n q {AT} 80 0 0 80 20 0 cm /P Do Q Q", ""),
    "cut off by two frames that don't meet": ("q 100 100 50 50 re W n 300 300 50 50 re W* n 0 0 999 999 re f Q", "1 area or line"),
    "a frame that ends": ("q 100 100 50 50 re W n Q 300 300 50 50 re f", ""),
    "near the frame's edge": ("q 100 100 50 50 re W n 151 100 50 50 re f Q", ""),
    "a gradient in nothing": ("q 100 100 50 50 re W n 300 300 50 50 re W n /Fade sh Q", "1 gradient"),
    "a gradient in a frame": ("q 100 100 50 50 re W n /Fade sh Q", ""),
    "a path that is cut off, and cuts": ("q 100 100 50 50 re W n 300 300 50 50 re W f 0 0 999 999 re f Q", "1 area or line"),
    "a frame of which another program may make something else": ("q 100 100 50 50 re 9 w W n 300 300 50 50 re f Q", ""),
    "a frame of text": ("q BT /F 90 Tf 7 Tr 100 100 Td (O) Tj ET 100 100 300 300 re f Q", ""),
    # Without opacity
    "an area without opacity": ("q /Faint gs 100 100 50 50 re f Q", "1 area or line"),
    "an area without opacity, its line with": ("q /FaintFill gs 100 100 50 50 re B Q", ""),
    "a picture without opacity": (f"q /Faint gs {AT} 50 0 0 50 0 0 cm /P Do Q", "1 picture"),
    "a group without opacity": (f"q /Faint gs {AT} /Group Do Q", "1 drawing"),
    "a group that knocks out, with an area without opacity": (f"q {AT} /Knockout Do Q", ""),
    "text without opacity": ("q /Faint gs BT /F 20 Tf 100 100 Td (word) Tj ET Q", "1 piece of text"),
    # Text
    "invisible text": ("BT /F 20 Tf 3 Tr 100 100 Td (scanned) Tj 3 2 (words) \" ET BT 100 200 Td 0 Tr (a b) Tj ET", "1 piece of text"),
    "invisible text before text that it moves": ("BT /F 20 Tf 3 Tr 100 100 Td (scanned) Tj 0 Tr (seen) Tj ET", ""),
    "text outside": ("BT /F 20 Tf 2000 100 Td (word) Tj ET", ""),
    "drawn letters, to which invisibility means nothing": ("BT /Drawn 20 Tf 3 Tr 100 100 Td (a) Tj ET", ""),
}  # fmt: skip


def resources(pdf: pikepdf.Pdf) -> Dictionary:
    def form(content: bytes, width: int, **more) -> Stream:
        made = Stream(pdf, content, Type=Name.XObject, Subtype=Name.Form, BBox=Array([0, 0, width, 72]), **more)
        made.Resources = Dictionary(ExtGState=Dictionary(Faint=Dictionary(ca=0, CA=0)))
        return pdf.make_indirect(made)

    group = Dictionary(S=Name.Transparency)
    tiles = Stream(pdf, b"5 5 20 20 re f 200 5 20 20 re f", PatternType=1, PaintType=1, TilingType=1)
    tiles.XStep, tiles.YStep, tiles.BBox, tiles.Resources = 30, 30, Array([0, 0, 30, 30]), Dictionary()
    drawn = Dictionary(Type=Name.Font, Subtype=Name.Type3, FontBBox=Array([0, 0, 1, 1]), FirstChar=97, LastChar=97)
    drawn.CharProcs = Dictionary(a=Stream(pdf, b"1 0 d0 0 0 1 1 re f"))
    drawn.FontMatrix, drawn.Widths, drawn.Resources = Array([1, 0, 0, 1, 0, 0]), Array([1]), Dictionary()
    drawn.Encoding = Dictionary(Differences=Array([97, Name.a]))
    ends = Dictionary(FunctionType=2, Domain=Array([0, 1]), C0=Array([1, 0, 0]), C1=Array([0, 0, 1]), N=1)
    fade = Dictionary(ShadingType=2, ColorSpace=Name.DeviceRGB, Coords=Array([100, 100, 150, 150]), Function=ends)
    return Dictionary(
        XObject=Dictionary(
            P=pdf.make_indirect(embed_picture(pdf, 40, 40, data=bytes(range(240)) * 20)),
            Form=form(b"1 0 0 0 k 0 0 72 72 re f", 72),
            Wide=form(b"1 0 0 0 k 0 0 72 72 re f 1500 0 72 72 re f", 1600),
            Group=form(b"0 0 72 72 re f", 72, Group=group),
            Knockout=form(
                b"0 0 72 72 re f /Faint gs 9 9 20 20 re f", 72, Group=Dictionary(S=Name.Transparency, K=True)
            ),
        ),
        ExtGState=Dictionary(Faint=Dictionary(ca=0, CA=0), FaintFill=Dictionary(ca=0, CA=1)),
        Font=Dictionary(F=Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica), Drawn=drawn),
        Pattern=Dictionary(Tiles=pdf.make_indirect(tiles)),
        Shading=Dictionary(Fade=fade),
    )


def build(tmp_path: Path, *contents: str) -> Path:
    path = make_pdf(tmp_path / "poster.pdf", bleed_mm=3, pages=len(contents))
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        for page, content in zip(pdf.pages, contents, strict=True):
            page.obj.Contents = pdf.make_stream((GREEN + content).encode())
            page.obj.Resources = pdf.make_indirect(resources(pdf))
        pdf.save(path)
    return path


def step(**settings):
    kind = load_plugins().steps["drop_hidden"]
    return kind(kind.Settings(**settings))


def same_in_pdfium(before: Path, after: Path, page: int = 1) -> None:
    pair = [np.asarray(render_page(path, page, 36).picture) for path in (before, after)]
    assert np.array_equal(*pair), f"PDFium draws page {page} otherwise"


def same_in_ghostscript(tmp_path: Path, before: Path, after: Path, count: int) -> None:
    for path, name in ((before, "before"), (after, "after")):
        command = ["gs", "-q", "-dNOPAUSE", "-dBATCH", "-dSAFER", "-sDEVICE=tiff32nc", "-r36"]
        subprocess.run([*command, f"-sOutputFile={tmp_path}/{name}%d.tif", str(path)], check=True, capture_output=True)
    for page in range(1, count + 1):
        pair = [np.asarray(Image.open(tmp_path / f"{name}{page}.tif")) for name in ("before", "after")]
        assert np.array_equal(*pair), f"Ghostscript draws page {page} otherwise"


@pytest.mark.parametrize(("content", "counted"), TABLE.values(), ids=TABLE.keys())
def test_what_goes(tmp_path, content, counted):
    path = build(tmp_path, content)
    job = make_job(tmp_path, path)
    (record,) = run_steps(job, step())
    assert record.ended == "done", record.trace
    assert codes(job) == (["mended hidden_dropped"] if counted else [])
    if not counted:
        assert job.artwork == path
        assert record.told == ["Nothing was found that can't print."]
        return
    (finding,) = job.findings
    assert f"because it can't print: {counted}. " in finding.message
    assert job.views
    same_in_pdfium(path, job.artwork)
    with pikepdf.open(job.artwork) as pdf:
        assert content_bytes(pdf.pages[0].obj.Contents).startswith(GREEN.encode())


@pytest.mark.skipif(shutil.which("gs") is None, reason="Ghostscript is not installed")
def test_all_cases_print_the_same(tmp_path):
    """Each case on a page of its own, with resources of its own, so that one run of Ghostscript draws them all."""
    path = build(tmp_path, *(content for content, _ in TABLE.values()))
    job = make_job(tmp_path, path)
    run_steps(job, step())
    (finding,) = job.findings
    assert "8 areas and lines" in finding.message
    same_in_ghostscript(tmp_path, path, job.artwork, len(TABLE))
    for page in range(1, len(TABLE) + 1):
        same_in_pdfium(path, job.artwork, page)


def test_what_nothing_uses_any_more_leaves_the_file(tmp_path):
    job = make_job(tmp_path, build(tmp_path, f"q {FAR} 50 0 0 50 0 0 cm /P Do Q q {AT} /Form Do Q"))
    run_steps(job, step())
    with pikepdf.open(job.artwork) as pdf:
        assert set(pdf.pages[0].obj.Resources.XObject.keys()) == {"/Form"}
        assert not [item for item in pdf.objects if isinstance(item, Stream) and item.get("/Subtype") == Name.Image]
    assert job.findings[0].measured.startswith("the file had")


def test_hostile_paths_take_no_time():
    """Digits without end, and a path of very many parts that is none in the end."""
    assert not is_plain_path(b"9" * 100_000 + b" " + b"1234567890 " * 6 + b"X")
    assert not is_plain_path(b"1 2 m " + b"1234567890.123 " * 200_000 + b"X")
    assert not is_plain_path(b"1 2 m " + b"3 4 l " * 200_000 + b"X")
    assert is_plain_path(b"1 2 m " + b"3 4 l " * 200_000 + b"h W*")


def test_invisible_text_may_stay(tmp_path):
    content, _ = TABLE["invisible text"]
    job = make_job(tmp_path, build(tmp_path, content))
    run_steps(job, step(invisible_text=False))
    assert codes(job) == []


def test_how_far_outside_is_a_setting(tmp_path):
    content, _ = TABLE["a picture just outside, where bleed may be won from it"]
    job = make_job(tmp_path, build(tmp_path, content))
    run_steps(job, step(beyond="0pt"))
    assert codes(job) == ["mended hidden_dropped"]


@pytest.mark.parametrize("name", ["SmallPopTSIR__poster.pdf", "eop__BoxCard.pdf", "eop__DenialBoxCard.pdf"])
def test_real_posters_print_the_same(tmp_path, name):
    if not (POSTERS / name).is_file():
        pytest.skip("the corpus of real posters is not beside the clone")
    job = make_job(tmp_path, POSTERS / name)
    run_steps(job, step())
    assert codes(job) == ["mended hidden_dropped"]
    same_in_pdfium(POSTERS / name, job.artwork)
