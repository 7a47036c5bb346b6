"""Boxes and printer's marks against ISO 32000-1, read by other libraries and separated by other programs.

Clause numbers beside each check are ISO 32000-1:2008; "common practice" has no published source.
"""

from __future__ import annotations

import shutil
import subprocess
from decimal import Decimal
from pathlib import Path

import numpy as np
import pikepdf
import pypdf
import pypdfium2
import pytest
from PIL import Image
from pypdf.generic import ArrayObject

from hotfolder.loading import load_plugins
from hotfolder.testing import make_job, make_pdf, run_steps
from hotfolder.units import MM

STEPS = load_plugins().steps
PLATES = ("Cyan", "Magenta", "Yellow", "Black")
PPI = 100


def marked(folder: Path, content: bytes = b"", settings: dict[str, object] | None = None, **how: object) -> Path:
    job = make_job(folder, make_pdf(folder / "poster.pdf", content=content, trim_mm=(150, 200), **how))  # type: ignore[arg-type]
    step = STEPS["add_marks"]
    run_steps(job, step(step.Settings(**(settings or {}))))
    assert not job.held
    return job.artwork


GEOMETRY = {
    "plain": {},
    "turned": {"/Rotate": 90},
    "unit 2": {"/UserUnit": 2},
    "offset media box": {
        "/MediaBox": [-100, -50, 343, 534],
        "/BleedBox": [-91, -41, 343, 534],
        "/TrimBox": [-82, -32, 334, 525],
    },
    "flipped boxes": {"/MediaBox": [443, 584, 0, 0]},
}


def sides(box: object) -> list[float]:
    x0, y0, x1, y1 = (float(side) for side in box)  # type: ignore[attr-defined]
    return [min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)]


@pytest.mark.parametrize("name", GEOMETRY)
def test_three_readers_agree_on_the_boxes(name: str, tmp_path: Path) -> None:
    """14.11.2.1: trim inside bleed inside media; 14.11.3: the sheet is larger than the bleed to hold the marks.
    7.9.5: corners in any order. Read by pypdf, PDFium and, where it is there, poppler."""
    path = marked(tmp_path, changes=GEOMETRY[name])
    page = pypdf.PdfReader(path).pages[0]
    with pypdfium2.PdfDocument(path) as document:
        other = document[0]
        read = {
            "MediaBox": (sides(page.mediabox), sides(other.get_mediabox())),
            "CropBox": (sides(page.cropbox), sides(other.get_cropbox())),
            "BleedBox": (sides(page.bleedbox), sides(other.get_bleedbox())),
            "TrimBox": (sides(page.trimbox), sides(other.get_trimbox())),
        }
    for one, two in read.values():
        assert one == pytest.approx(two, abs=1e-3)
    media, bleed, trim = read["MediaBox"][0], read["BleedBox"][0], read["TrimBox"][0]
    assert all(low < inner for low, inner in zip(media[:2], bleed[:2], strict=True))
    assert all(high > inner for high, inner in zip(media[2:], bleed[2:], strict=True))
    assert all(low <= inner for low, inner in zip(bleed[:2], trim[:2], strict=True))
    assert media == read["CropBox"][0]


@pytest.mark.skipif(shutil.which("pdfinfo") is None, reason="poppler's pdfinfo is not installed")
@pytest.mark.parametrize("name", GEOMETRY)
def test_poppler_reads_the_same_boxes(name: str, tmp_path: Path) -> None:
    path = marked(tmp_path, changes=GEOMETRY[name])
    page = pypdf.PdfReader(path).pages[0]
    shown = subprocess.run(["pdfinfo", "-box", str(path)], capture_output=True, text=True, check=True)
    assert "Error" not in shown.stderr
    told = {
        line.split(":")[0]: [float(n) for n in line.split(":")[1].split()]
        for line in shown.stdout.splitlines()
        if "Box:" in line
    }
    unit = 1.0  # pdfinfo shows user space units
    for key, box in (("MediaBox", page.mediabox), ("BleedBox", page.bleedbox), ("TrimBox", page.trimbox)):
        assert told[key] == pytest.approx([side * unit for side in sides(box)], abs=0.01)


def test_registration_colour_is_separation_all(tmp_path: Path) -> None:
    """8.6.6.4: Separation /All, with an alternate space and a tint transformation that give full ink at 1."""
    page = pypdf.PdfReader(marked(tmp_path)).pages[0]
    form = next(value.get_object() for key, value in page["/Resources"]["/XObject"].items() if "PrinterMarks" in key)  # type: ignore[index, union-attr]
    space = form["/Resources"]["/ColorSpace"]["/All"].get_object()
    assert isinstance(space, ArrayObject)
    assert space[:3] == ["/Separation", "/All", "/DeviceCMYK"]
    tint = space[3].get_object()
    assert (tint["/FunctionType"], tint["/Domain"], tint["/N"]) == (2, [0, 1], 1)  # 7.10.3
    assert (tint["/C0"], tint["/C1"]) == ([0, 0, 0, 0], [1, 1, 1, 1])
    drawing = form.get_data().decode("ascii")
    lines = drawing[: drawing.index(" k ")]
    assert "/All CS 1 SCN 0.25 w" in lines  # common practice: 0.25 pt
    assert not any(f" {operator}\n" in lines for operator in ("rg", "RG", "K", "g", "G"))


def test_cut_marks_measured_in_the_file(tmp_path: Path) -> None:
    """Common practice: eight lines, in line with the trim, from the bleed outwards, 5 mm long. Coordinates from pypdf."""
    off = dict.fromkeys(("registration_targets", "colour_bars", "gray_ramp"), False)
    page = pypdf.PdfReader(marked(tmp_path, settings=off)).pages[0]
    form = next(value.get_object() for key, value in page["/Resources"]["/XObject"].items() if "PrinterMarks" in key)  # type: ignore[index, union-attr]
    a, b, c, d, e, f = (float(n) for n in form["/Matrix"])
    assert (a, b, c, d) == (1, 0, 0, 1)
    lines = [line.split() for line in form.get_data().decode("ascii").splitlines() if line.endswith(" S")]
    ends = [[float(x0) + e, float(y0) + f, float(x1) + e, float(y1) + f] for x0, y0, _, x1, y1, *_ in lines]
    assert len(ends) == 8
    bleed, trim = sides(page.bleedbox), sides(page.trimbox)
    for x0, y0, x1, y1 in ends:
        assert abs(x1 - x0) + abs(y1 - y0) == pytest.approx(5 * MM, abs=1e-3)
        if y0 == y1:
            assert min(abs(y0 - trim[1]), abs(y0 - trim[3])) < 1e-3
            assert max(x0, x1) <= bleed[0] + 1e-3 or min(x0, x1) >= bleed[2] - 1e-3
        else:
            assert min(abs(x0 - trim[0]), abs(x0 - trim[2])) < 1e-3
            assert max(y0, y1) <= bleed[1] + 1e-3 or min(y0, y1) >= bleed[3] - 1e-3


def test_3_mm_and_an_eighth_of_an_inch(tmp_path: Path) -> None:
    """The inch is 25.4 mm exactly, a point 1/72 in (8.3.2.3): 3 mm are 8.503937 pt, 1/8 in are 9 pt."""
    for bleed_mm, points in ((3, Decimal("8.5039")), (3.175, Decimal(9)), (0, Decimal("8.5039"))):
        folder = tmp_path / str(bleed_mm)
        folder.mkdir()
        path = marked(
            folder,
            bleed_mm=bleed_mm,
            settings={"registration_targets": False, "colour_bars": False, "gray_ramp": False},
        )
        with pikepdf.open(path) as pdf:
            page = pdf.pages[0].obj
            grown = page.TrimBox[0] - page.MediaBox[0]
        # beyond the offset: 5 mm of cut mark, 2 mm of margin
        assert float(grown) == pytest.approx(float(points) + 7 * MM, abs=2e-4)


# ---- separations by another program


def separations(path: Path, folder: Path) -> dict[str, np.ndarray]:
    """The plates that Ghostscript makes, ink as 0..1."""
    command = ["gs", "-q", "-dNOPAUSE", "-dBATCH", "-dSAFER", "-sDEVICE=tiffsep", f"-r{PPI}"]
    subprocess.run([*command, f"-sOutputFile={folder / 'plate.tif'}", str(path)], check=True, capture_output=True)
    return {
        name: 1 - np.asarray(Image.open(file), np.float64) / 255
        for file in folder.glob("plate*.tif")
        if (name := file.name.partition("(")[2].rstrip(").tif"))
    }


needs_gs = pytest.mark.skipif(
    shutil.which("gs") is None, reason="Ghostscript, the reference for plates, is not installed"
)


@needs_gs
@pytest.mark.parametrize("group", [None, "DeviceCMYK"])
def test_targets_and_cut_marks_stand_on_every_plate(group: str | None, tmp_path: Path) -> None:
    """8.6.6.4: /All marks all colorants of the device, a spot ink's plate included."""
    changes = {"/Group": pikepdf.Dictionary(S=pikepdf.Name.Transparency, CS=pikepdf.Name("/" + group))} if group else {}
    tint = pikepdf.Dictionary(FunctionType=2, Domain=[0, 1], C0=[0, 0, 0, 0], C1=[0, 1, 1, 0], N=1)
    flame = pikepdf.Array([pikepdf.Name.Separation, pikepdf.Name("/Flame"), pikepdf.Name.DeviceCMYK, tint])
    path = marked(
        tmp_path,
        b"/Flame cs 1 scn 100 100 50 50 re f",
        {"colour_bars": False, "gray_ramp": False, "bleed_marks": True},
        changes=changes,
        resources=pikepdf.Dictionary(ColorSpace=pikepdf.Dictionary(Flame=flame)),
    )
    plates = separations(path, tmp_path)
    assert set(plates) == {*PLATES, "Flame"}
    page = pypdf.PdfReader(path).pages[0]
    ring = outside(page, plates["Cyan"].shape)
    marks = plates["Black"] * ring
    assert (marks > 0.5).sum() > 200
    for name, plate in plates.items():
        assert np.abs(plate * ring - marks).max() < 0.02, name


@needs_gs
def test_bars_print_the_inks_they_say(tmp_path: Path) -> None:
    """Patch by patch, left to right: C M Y K, the overprints, three-colour gray, 50 %; and K from 10 to 100 %."""
    off = {"registration_targets": False, "cut_marks": False}
    path = marked(tmp_path, settings=off)
    plates = separations(path, tmp_path)
    page = pypdf.PdfReader(path).pages[0]
    media, trim = sides(page.mediabox), sides(page.trimbox)
    row = round((media[3] - (trim[1] - (3.175 + 1 + 2.5) * MM)) / 72 * PPI)

    def inks(x_mm: float) -> tuple[float, ...]:
        column = round((trim[0] + x_mm * MM - media[0]) / 72 * PPI)
        return tuple(round(float(plates[name][row, column]), 1) for name in PLATES)

    side = min(5.0, (75 - 3 - 1.5) / 12)  # half of the trim, free of corner and middle
    bars = [inks(3 + side * (place + 0.5)) for place in range(12)]
    assert bars == [
        *((1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 1, 0), (0, 0, 0, 1)),
        *((0, 1, 1, 0), (1, 0, 1, 0), (1, 1, 0, 0), (1, 1, 1, 0)),
        *((0.5, 0, 0, 0), (0, 0.5, 0, 0), (0, 0, 0.5, 0), (0, 0, 0, 0.5)),
    ]
    ramp = [inks(150 - 3 - 5 * (10 - place) + 2.5) for place in range(10)]
    assert ramp == [(0, 0, 0, round(0.1 * step, 1)) for step in range(1, 11)]


def outside(page: pypdf.PageObject, shape: tuple[int, ...]) -> np.ndarray:
    media, bleed = sides(page.mediabox), sides(page.bleedbox)
    ring = np.ones(shape, bool)
    left, right = ((x - media[0]) / 72 * PPI for x in (bleed[0], bleed[2]))
    top, bottom = ((media[3] - y) / 72 * PPI for y in (bleed[3], bleed[1]))
    ring[int(top) - 1 : int(bottom) + 2, int(left) - 1 : int(right) + 2] = False
    return ring
