"""Plates against Ghostscript's separations (device tiffsep), and MuPDF's where both are needed to tell who is right."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from inked import GROUND, PAINTED, page
from pages import Page
from pikepdf import Array, Name, String
from separations import CONDITION, MEAN, NEARLY_ALL, apart, converted, ghostscript, mupdf

from hotfolder.pdf.plates import make_plates

PPI = 72
POSTERS = Path(__file__).parents[3] / "shared" / "corpus" / "posters"
needs_ghostscript = pytest.mark.skipif(not shutil.which("gs"), reason="Ghostscript is not installed")
needs_mupdf = pytest.mark.skipif(not shutil.which("mutool"), reason="MuPDF is not installed")

# Where Ghostscript 10 departs from ISO 32000-1, and what the standard says.
GHOSTSCRIPT_DEPARTS = {
    "black stays where hues mix (11.3.5.3)": "it keeps the spot ink below; by 11.7.4.2 spot inks take Normal there",
    "spot inks take no Difference (11.7.4.2)": "it takes the difference of spot inks, which gives full ink on bare paper",
    "areas beside them don't": "with overprint for lines alone, it lets areas painted with them overprint too",
    "a soft mask counts by its lightness": "it takes the gray of a mask through a profile; 11.5.3 takes it as it is",
}

RAMP = "/Function << /FunctionType 2 /Domain [0 1] /C0 [0 .1 .8 0] /C1 [.9 .6 0 .2] /N 1 >> /Extend [true true]"


def _gradients(made: Page) -> str:
    made.put("Shading", "Axial", f"<< /ShadingType 2 /ColorSpace /DeviceCMYK /Coords [20 0 180 0] {RAMP} >>")
    made.put("Shading", "Radial", f"<< /ShadingType 3 /ColorSpace /DeviceCMYK /Coords [100 150 0 100 150 60] {RAMP} >>")
    return "q 0 0 200 90 re W n /Axial sh Q q 0 100 200 100 re W n /Radial sh Q"


def _meshes(made: Page) -> str:
    spaced = "/ColorSpace /DeviceCMYK /BitsPerCoordinate 8 /BitsPerComponent 8 /Decode [0 200 0 200 0 1 0 1 0 1 0 1]"
    triangle = bytes([0, 10, 10, 255, 0, 0, 0, 0, 245, 10, 0, 255, 0, 0, 0, 120, 245, 0, 0, 255, 40])
    made.put("Shading", "Free", made.stream(triangle, f"/ShadingType 4 /BitsPerFlag 8 {spaced}"))
    return "/Free sh"


def _pictures(made: Page) -> str:
    row = np.linspace(0, 255, 60).astype(np.uint8)
    pixels = np.stack(
        [
            np.tile(row, (60, 1)),
            np.tile(row[:, None], (1, 60)),
            np.full((60, 60), 90, np.uint8),
            np.tile(row[::-1], (60, 1)) // 2,
        ],
        axis=-1,
    )
    made.put(
        "XObject",
        "Inks",
        made.stream(
            pixels.tobytes(), "/Subtype /Image /Width 60 /Height 60 /BitsPerComponent 8 /ColorSpace /DeviceCMYK"
        ),
    )
    spot = made.stream(pixels[:, :, 0].tobytes(), "/Subtype /Image /Width 60 /Height 60 /BitsPerComponent 8")
    spot.ColorSpace = made.obj.Resources.ColorSpace.Spot
    made.put("XObject", "Tints", spot)
    table = made.stream(pixels[:, :, 1].tobytes(), "/Subtype /Image /Width 60 /Height 60 /BitsPerComponent 8")
    colours = (np.arange(256)[:, None] * np.array([1, 0.5, 0.25, 0])).astype(np.uint8)
    table.ColorSpace = Array([Name.Indexed, Name.DeviceCMYK, 255, String(colours.tobytes())])
    made.put("XObject", "Table", table)
    return (
        "q 80 0 0 80 10 10 cm /Inks Do Q q 80 0 0 80 110 10 cm /Tints Do Q q 80 0 0 80 10 110 cm /Table Do Q "
        "/Over gs q 80 0 0 80 110 110 cm /Tints Do Q"
    )


def _patterns(made: Page) -> str:
    cell = "/PatternType 1 /TilingType 1 /BBox [0 0 20 20] /XStep 20 /YStep 20"
    coloured = made.stream("1 0 0 0 k 0 0 10 20 re f /Spot cs .5 scn 10 0 10 20 re f", f"/PaintType 1 {cell}")
    coloured.Resources = made.obj.Resources
    made.put("Pattern", "Stripes", coloured)
    made.put("Pattern", "Bars", made.stream("0 0 12 20 re f", f"/PaintType 2 /Resources << >> {cell}"))
    made.put("ColorSpace", "OverSpot", Array([Name.Pattern, made.obj.Resources.ColorSpace.Spot]))
    return (
        "/Pattern cs /Stripes scn 0 0 100 100 re f /OverSpot cs .7 /Bars scn 100 0 100 100 re f "
        "/Over gs .4 /Bars scn 0 100 100 100 re f"
    )


def _modes(made: Page) -> str:
    content = ""
    for place, mode in enumerate(
        ("Multiply", "Screen", "Overlay", "Darken", "Lighten", "ColorDodge", "ColorBurn", "HardLight", "SoftLight")
    ):
        made.put("ExtGState", mode, f"<< /BM /{mode} /ca .8 >>")
        x, y = place % 3 * 65 + 5, place // 3 * 65 + 5
        content += f"/{mode} gs .7 .3 .1 .2 k {x} {y} 30 60 re f 0 .2 .6 .4 k {x + 20} {y + 20} 40 20 re f "
    return content


def _groups(made: Page) -> str:
    entries = "/Group << /S /Transparency /I {} /CS /DeviceCMYK >>"
    body = ".3 .5 0 0 k 0 0 60 80 re f /Half gs 0 0 0 .8 k 20 20 60 40 re f"
    made.form("Alone", body, entries.format("true"))
    made.form("Joined", body, entries.format("false"))
    return "q /Half gs 1 0 0 1 10 10 cm /Alone Do Q q 1 0 0 1 110 10 cm /Joined Do Q q /Multiply gs 1 0 0 1 60 110 cm /Alone Do Q"


DRAWN: dict[str, Callable[[Page], str]] = {
    "gradients": _gradients,
    "a mesh": _meshes,
    "pictures of inks, of a spot ink, with a table, overprinted": _pictures,
    "patterns in inks and spot inks, overprinted": _patterns,
    "separable blend modes": _modes,
    "isolated and other groups": _groups,
}


def _saved(made: Page, content: str, folder: Path) -> Path:
    made.obj.Contents = made.pdf.make_stream((GROUND + content).encode("latin-1"))
    path = folder / "page.pdf"
    made.pdf.save(path)
    return path


def _agree(path: Path) -> None:
    for ink, (mean, most, _) in apart(make_plates(path, 1, PPI, CONDITION), ghostscript(path, PPI)).items():
        assert mean <= MEAN, f"{ink}: {mean:.2f} % apart"
        assert most <= NEARLY_ALL, f"{ink}: 1 % of the area {most:.1f} % apart"


@needs_ghostscript
@pytest.mark.parametrize("case", [case for case in PAINTED if case not in GHOSTSCRIPT_DEPARTS])
def test_single_colours_by_ghostscript(case: str, tmp_path: Path) -> None:
    _agree(_saved(page(), PAINTED[case][0], tmp_path))


@needs_ghostscript
@pytest.mark.parametrize("case", DRAWN)
def test_drawings_by_ghostscript(case: str, tmp_path: Path) -> None:
    made = page()
    _agree(_saved(made, DRAWN[case](made), tmp_path))


@needs_ghostscript
@needs_mupdf
def test_a_gray_mask_by_mupdf(tmp_path: Path) -> None:
    """Where Ghostscript departs: MuPDF reads a mask's gray as the standard has it."""
    made = page()
    made.obj.Contents = made.pdf.make_stream(b".4 .2 .1 .3 k 0 0 200 200 re f /Masked gs 1 0 0 0 k 50 0 100 200 re f")
    made.pdf.save(tmp_path / "page.pdf")
    found = apart(make_plates(tmp_path / "page.pdf", 1, PPI, CONDITION), mupdf(tmp_path / "page.pdf", PPI))
    assert len(found) == 4
    assert max(mean for mean, _, _ in found.values()) < MEAN


# Real posters, after conversion: those with no doubt named. Figures of all stand in this folder's README.
SAMPLE = (
    "govdesign__Poster_GoodServices.pdf",
    "eop__BoxCard.pdf",
    "cuoredinapoli__sticker.pdf",
    "Raleway__Raleway_Cyrillic.pdf",
)


@needs_ghostscript
@pytest.mark.parametrize("name", SAMPLE)
def test_real_posters_by_ghostscript(name: str, tmp_path: Path) -> None:
    if not POSTERS.is_dir():
        pytest.skip("the folder of real posters is not beside the project")
    (tmp_path / "page.pdf").write_bytes(converted(POSTERS / name))
    _agree(tmp_path / "page.pdf")
