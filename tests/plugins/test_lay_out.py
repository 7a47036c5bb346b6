"""Copies on a press sheet: how many, in which boxes, each like the artwork; what is refused and what is told."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from pdfminer.high_level import extract_pages
from pdfminer.layout import LTFigure
from pikepdf import Array, Dictionary, Name
from PIL import Image, ImageChops, ImageStat
from pydantic import ValidationError

from hotfolder.finding import Box
from hotfolder.loading import load_plugins
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.render import render_page
from hotfolder.plugin import Job, Part, Step
from hotfolder.testing import codes, make_job, make_pdf, run_steps
from hotfolder.units import MM

STEPS = load_plugins().steps
ART = b"""0.1 0.4 0.2 0 k -9999 -9999 19998 19998 re f 0 1 1 0 k 40 40 100 60 re f 0 0 1 0 k 200 400 80 80 re f
0 0 0 1 K 4 w 9 9 m 300 430 l S"""


def step(**settings: object) -> Step:
    return STEPS["lay_out"](STEPS["lay_out"].Settings(**settings))


def done(folder: Path, settings: dict[str, Any], ticket: dict[str, Any] | None = None, **how: Any) -> Job:
    how = {"trim_mm": (105, 148), "bleed_mm": 3, "content": ART} | how
    job = make_job(folder, make_pdf(folder / "poster.pdf", **how), ticket={"bleed": "3mm", **(ticket or {})})
    run_steps(job, step(**settings), STEPS["seal_pdf"](), STEPS["verify_result"]())
    return job


# settings, page -> number of copies, trim and sheet in mm, findings
TABLE: dict[str, tuple[dict[str, Any], dict[str, Any], int, tuple[float, float], tuple[float, float], list[str]]] = {
    "two by three": (
        {"columns": 2, "rows": 3}, {}, 6, (216, 456), (242, 482), ["mended laid_out"],
    ),
    "no gap": ({"columns": 2, "rows": 1, "gap": "0mm"}, {}, 2, (210, 148), (236, 174), ["mended laid_out"]),
    "wide gap": ({"columns": 2, "rows": 1, "gap": "20mm"}, {}, 2, (230, 148), (256, 174), ["mended laid_out"]),
    "as many as fit": ({"sheet": "450x640mm", "gap": "4mm"}, {}, 12, (323, 604), (450, 640), ["mended laid_out"]),
    "turned": ({"sheet": "420x297mm", "gap": "0mm"}, {}, 4, (296, 210), (420, 297), ["mended laid_out"]),
    "one row on a sheet": ({"sheet": "450x640mm", "rows": 1}, {}, 3, (327, 148), (450, 640), ["mended laid_out"]),
    "shown turned by 90": (
        {"columns": 2, "rows": 2}, {"changes": {"/Rotate": 90}}, 4, (302, 216), (328, 242), ["mended laid_out"],
    ),
    "counts in larger units": (
        {"columns": 2, "rows": 1}, {"trim_mm": (52.5, 74), "bleed_mm": 1.5, "changes": {"/UserUnit": 2}},
        2, (216, 148), (242, 174), ["mended laid_out"],
    ),
    "no bleed": ({"columns": 2, "rows": 1}, {"bleed_mm": 0}, 2, (216, 148), (242, 174), ["mended laid_out"]),
    "tiny": (
        {"columns": 2, "rows": 2}, {"trim_mm": (10, 10)}, 4, (26, 26), (52, 52),
        ["mended laid_out", "note marks_left_out"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", TABLE)
def test_the_sheet(name: str, tmp_path: Path) -> None:
    settings, how, count, trim, sheet, found = TABLE[name]
    job = done(tmp_path, settings, **how)
    assert codes(job) == found  # verify_result found nothing to hold: each copy looks like the artwork
    with job.read() as pdf:
        (page,) = pdf.pages
        boxes = read_boxes(page)
        assert (boxes.rotate, boxes.user_unit) == (0, 1)
        assert (boxes.trim.width / MM, boxes.trim.height / MM) == pytest.approx(trim, abs=0.01)
        assert (boxes.media.width / MM, boxes.media.height / MM) == pytest.approx(sheet, abs=0.01)
        assert boxes.trim.within(boxes.bleed)
        assert boxes.bleed.within(boxes.media)
        forms = [one for one in pdf.objects if isinstance(one, pikepdf.Stream) and one.get("/Subtype") == Name.Form]
        assert len(forms) == 2  # the art once, and the marks
    # pdfminer.six as a second reader: where each copy of the form is drawn
    (laid,) = extract_pages(job.artwork)
    drawn = [one for one in laid if isinstance(one, LTFigure) and one.name == "Artwork"]
    assert len(drawn) == count


def mean_difference(job: Job, original: Path, corner: tuple[float, float], size: tuple[float, float]) -> float:
    """PDFium draws the trim of the artwork and of one copy (its corner in the sheet's trim); mean of 255 that differs."""
    with job.read() as pdf, pikepdf.open(original) as before:
        sheet, art = read_boxes(pdf.pages[0]).trim, read_boxes(before.pages[0]).trim
    left, bottom = sheet.left + corner[0] * MM, sheet.bottom + corner[1] * MM
    came = render_page(job.artwork, 1, 72, Box(left, bottom, left + size[0] * MM, bottom + size[1] * MM)).picture
    was = render_page(original, 1, 72, art).picture
    found = ImageChops.difference(was, came.resize(was.size))
    return sum(ImageStat.Stat(found).mean) / 3


def make_patterned(path: Path) -> Path:
    """Art with a tiling pattern, a gradient and see-through parts: what goes wrong where a form is moved carelessly."""
    content = b"""/Pattern cs /Slope scn -99 -99 999 999 re f /Tile scn 60 80 120 200 re f
    /See gs 1 0 0 0 k 120 140 160 160 re f"""
    group = Dictionary(S=Name.Transparency, CS=Name.DeviceCMYK, I=True)
    make_pdf(path, trim_mm=(105, 148), bleed_mm=3, content=content, changes={"/Group": group})
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        tile = pdf.make_stream(
            b"0 1 0 0 k 0 0 12 12 re f 1 0 0 0 k 3 3 7 5 re f",
            Type=Name.Pattern, PatternType=1, PaintType=1, TilingType=1,
            BBox=Array([0, 0, 20, 20]), XStep=20, YStep=20, Resources=Dictionary(),
        )  # fmt: skip
        shading = Dictionary(
            ShadingType=2, ColorSpace=Name.DeviceCMYK, Coords=Array([0, 0, 300, 420]), Extend=Array([True, True]),
            Function=Dictionary(FunctionType=2, Domain=[0, 1], C0=[0, 0, 1, 0], C1=[1, 0, 0, 0.2], N=1),
        )  # fmt: skip
        pdf.pages[0].obj.Resources = Dictionary(
            Pattern=Dictionary(Tile=tile, Slope=Dictionary(Type=Name.Pattern, PatternType=2, Shading=shading)),
            ExtGState=Dictionary(See=Dictionary(ca=0.5, BM=Name.Multiply)),
        )
        pdf.save(path)
    return path


def test_patterns_and_groups_look_the_same_in_each_copy(tmp_path: Path) -> None:
    art = make_patterned(tmp_path / "poster.pdf")
    job = make_job(tmp_path, art, ticket={"bleed": "3mm"})
    run_steps(job, step(columns=2, rows=2, gap="5mm"), STEPS["seal_pdf"](), STEPS["verify_result"]())
    assert codes(job) == ["mended laid_out"]
    for corner in ((0, 0), (110, 0), (0, 153), (110, 153)):
        assert mean_difference(job, art, corner, (105, 148)) < 1.0
    assert mean_difference(job, art, (60, 20), (105, 148)) > 20  # the measure does tell a difference
    with job.read() as pdf:
        assert Name.DeviceCMYK == pdf.pages[0].obj.Group.CS


@pytest.mark.skipif(not shutil.which("pdftoppm"), reason="poppler is not installed")
def test_copies_as_another_renderer_draws_them(tmp_path: Path) -> None:
    """poppler, a renderer that is not ours: the trim of each copy against the trim of the artwork, pixel by pixel."""
    art = make_patterned(tmp_path / "poster.pdf")
    job = make_job(tmp_path, art, ticket={"bleed": "3mm"})
    run_steps(job, step(columns=2, rows=2, gap="5mm"), STEPS["seal_pdf"]())
    with job.read() as pdf, pikepdf.open(art) as before:
        sheet, own = read_boxes(pdf.pages[0]), read_boxes(before.pages[0])
    was, came = poppler(art, tmp_path / "was"), poppler(job.artwork, tmp_path / "came")
    corner = own.trim.left - own.media.left, own.media.top - own.trim.top
    expected = was.crop(pixels(*corner, 105, 148))
    for right, down in ((0, 0), (110, 0), (0, 153), (110, 153)):
        left = sheet.trim.left - sheet.media.left + right * MM
        found = came.crop(pixels(left, sheet.media.top - sheet.trim.top + down * MM, 105, 148))
        difference = ImageStat.Stat(ImageChops.difference(expected, found)).mean
        # Edges fall between pixels elsewhere in each copy; another picture differs by 60 and more.
        assert sum(difference) / 3 < 4


def poppler(path: Path, target: Path) -> Image.Image:
    subprocess.run(["pdftoppm", "-r", "72", "-png", "-singlefile", path, target], check=True)
    with Image.open(target.with_suffix(".png")) as picture:
        return picture.convert("RGB")


def pixels(left: float, top: float, wide: float, high: float) -> tuple[int, int, int, int]:
    return round(left), round(top), round(left + wide * MM), round(top + high * MM)


def test_a_copy_that_was_covered_is_found(tmp_path: Path) -> None:
    class Cover(Step):
        """Paint over a part of the fourth copy."""

        name = "cover"
        changes = frozenset({Part.CONTENT})

        def run(self, job: Job) -> None:
            with job.edit() as pdf:
                page = pdf.pages[0]
                trim = read_boxes(page).trim
                page.contents_add(b"q 0 0 0 0 k %f %f 50 50 re f Q" % (trim.left + 430, trim.bottom + 100))

    art = make_pdf(tmp_path / "poster.pdf", trim_mm=(105, 148), bleed_mm=3, content=ART)
    job = make_job(tmp_path, art, ticket={"bleed": "3mm"})
    run_steps(job, step(columns=2, rows=2), Cover(), STEPS["seal_pdf"](), STEPS["verify_result"]())
    assert codes(job) == ["mended laid_out", "hold picture_changed"]


def test_every_page_becomes_a_sheet_and_places_go_along(tmp_path: Path) -> None:
    job = make_job(
        tmp_path, make_pdf(tmp_path / "a.pdf", trim_mm=(105, 148), pages=2, content=ART), ticket={"copies": 10}
    )
    job.note("here", "Look here.", page=2, box=Box(40, 40, 140, 100))
    records = run_steps(job, step(columns=2, rows=2), STEPS["seal_pdf"](), STEPS["verify_result"]())
    assert codes(job) == ["note here", "mended laid_out", "mended laid_out"]
    assert "For the 10 copies ordered, 3 sheets are to print." in records[0].told
    (here,) = [finding for finding in job.findings if finding.code == "here"]
    assert here.box is not None
    place = render_page(job.artwork, 2, 72, here.box).picture
    assert place.getpixel((place.width // 2, place.height // 4))[0] > 200  # the red patch of the art
    with job.read() as pdf:
        assert len(pdf.pages) == 2


REFUSED: list[tuple[dict[str, Any], dict[str, Any], str]] = [
    ({"sheet": "100x100mm"}, {}, "there is no room for one copy"),
    ({"sheet": "300x300mm", "columns": 5}, {}, "no room for 5 × 1 copies"),
    ({"columns": 100, "rows": 100}, {}, "It would take 10000 copies."),
    ({"columns": 40, "rows": 40}, {"trim_mm": (420, 594)}, "a PDF page may have 14400 at most"),
    ({"columns": 2, "rows": 1}, {"content": b"q"}, ""),
]


@pytest.mark.parametrize(("settings", "how", "said"), REFUSED)
def test_what_is_refused(tmp_path: Path, settings: dict[str, Any], how: dict[str, Any], said: str) -> None:
    job = done(tmp_path, settings, **how)
    if not said:  # drawing that leaves something open is closed
        assert not job.held
        return
    assert codes(job) == ["hold not_laid_out"]
    assert said in job.findings[0].message
    assert job.sheets == []


def test_a_note_that_would_print_is_not_lost(tmp_path: Path) -> None:
    stamp = Dictionary(Type=Name.Annot, Subtype=Name.Stamp, Rect=[50, 50, 90, 90], F=4)
    for flags, found in ((4, ["hold not_laid_out"]), (0, ["mended laid_out"])):
        stamp.F = flags
        folder = tmp_path / str(flags)
        folder.mkdir()
        assert codes(done(folder, {"columns": 2, "rows": 1}, changes={"/Annots": Array([stamp])})) == found


def test_nothing_to_do_changes_nothing(tmp_path: Path) -> None:
    art = make_pdf(tmp_path / "a.pdf")
    before = art.read_bytes()
    job = make_job(tmp_path, art)
    (record,) = run_steps(job, step())
    assert (record.changed, record.told) == (False, ["Nothing to lay out: one copy on a sheet of its own."])
    assert art.read_bytes() == before


@pytest.mark.parametrize("settings", [{"columns": 2}, {"rows": 3}, {"columns": -1}, {"gap": "1m"}, {"sheet": "big"}])
def test_settings_that_are_refused(settings: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        step(**settings)
