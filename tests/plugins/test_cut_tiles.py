"""Tiles of a poster that is too large for the press: together they show all of it, each fits, each says where it goes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pikepdf
import pytest
from pdfminer.high_level import extract_text
from pikepdf import Array, Dictionary, Name

from hotfolder.loading import load_plugins
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.render import render_page
from hotfolder.plugin import Job, Step
from hotfolder.testing import codes, make_job, make_pdf, run_steps
from hotfolder.units import MM

STEPS = load_plugins().steps
ART = b"""0.1 0.4 0.2 0 k -9999 -9999 19998 19998 re f 0 1 1 0 k 40 40 500 300 re f 0 0 1 0 k 700 900 480 680 re f
0 0 0 1 K 14 w 9 9 m 1180 1680 l S"""


def step(**settings: object) -> Step:
    return STEPS["cut_tiles"](STEPS["cut_tiles"].Settings(**settings))


def done(folder: Path, settings: dict[str, Any], **how: Any) -> Job:
    how = {"trim_mm": (420, 594), "bleed_mm": 3, "content": ART} | how
    job = make_job(folder, make_pdf(folder / "poster.pdf", **how), ticket={"bleed": "3mm"})
    run_steps(job, step(**settings), STEPS["seal_pdf"](), STEPS["verify_result"]())
    return job


# settings, page -> pages, tiles by columns and rows, findings
TABLE: dict[str, tuple[dict[str, Any], dict[str, Any], int, str, list[str]]] = {
    "no largest sheet": ({}, {}, 1, "", []),
    "fits": ({"largest": "700x500mm"}, {}, 1, "", []),
    "two": ({"largest": "A2"}, {}, 2, "1x2", ["mended cut_into_tiles"]),
    "eight": ({"largest": "A4"}, {}, 8, "2x4", ["mended cut_into_tiles"]),
    "without overlap": ({"largest": "A3", "overlap": "0mm"}, {}, 4, "2x2", ["mended cut_into_tiles"]),
    "shown turned": ({"largest": "A4"}, {"changes": {"/Rotate": 270}}, 8, "4x2", ["mended cut_into_tiles"]),
    "two pages": ({"largest": "A2"}, {"pages": 2}, 4, "1x2", ["mended cut_into_tiles"] * 2),
    "too much overlap": ({"largest": "A6", "overlap": "60mm"}, {}, 1, "", ["hold not_cut"]),
    "a stamp that would print": (
        {"largest": "A4"},
        {"changes": {"/Annots": Array([Dictionary(Type=Name.Annot, Subtype=Name.Stamp, Rect=[50, 50, 90, 90], F=4)])}},
        1, "", ["hold not_cut"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", TABLE)
def test_tiles(name: str, tmp_path: Path) -> None:
    settings, how, count, shape, found = TABLE[name]
    job = done(tmp_path, settings, **how)
    assert codes(job) == found  # verify_result found each tile like its part of the artwork
    with job.read() as pdf:
        assert len(pdf.pages) == count
        if not shape:
            return
        largest = sorted(
            side for side in (step(**settings).settings.largest.width, step(**settings).settings.largest.height)
        )
        for page in pdf.pages:
            boxes = read_boxes(page)
            assert all(a <= b + 0.01 for a, b in zip(sorted(boxes.size(boxes.media)), largest, strict=True))
            assert boxes.trim.within(boxes.bleed)
            assert boxes.bleed.within(boxes.media)
        forms = [one for one in pdf.objects if isinstance(one, pikepdf.Stream) and one.get("/Subtype") == Name.Form]
        assert len(forms) == count + how.get("pages", 1)  # marks for each tile, the art once
    text = extract_text(job.artwork)  # pdfminer.six as a second reader
    assert text.count(f" of {shape}") == count
    assert f"tile A1 of {shape}" in text


def test_glued_together_they_are_the_poster(tmp_path: Path) -> None:
    """Each tile's trim, laid down where its name says, gives the poster pixel by pixel (both drawn by PDFium)."""
    job = done(tmp_path, {"largest": "A4", "overlap": "20mm"})
    with pikepdf.open(tmp_path / "poster.pdf") as pdf:
        whole = read_boxes(pdf.pages[0]).trim
    ppi = 50.8  # two pixels a millimetre: tiles begin on whole pixels then
    art = np.asarray(render_page(tmp_path / "poster.pdf", 1, ppi, whole).picture, np.int16)
    glued = np.full_like(art, -1)
    with job.read() as pdf:
        trims = [read_boxes(page).trim for page in pdf.pages]
    for number, trim in enumerate(trims):
        column, row = number % 2, number // 2
        picture = np.asarray(render_page(job.artwork, number + 1, ppi, trim).picture, np.int16)
        left, top = round(column * 200 * 2), round(row * 143.5 * 2)
        glued[top : top + picture.shape[0], left : left + picture.shape[1]] = picture[
            : art.shape[0] - top, : art.shape[1] - left
        ]
    assert trims[0].width / MM == pytest.approx(220, abs=0.01)
    assert trims[0].height / MM == pytest.approx(163.5, abs=0.01)
    assert (glued >= 0).all()
    assert np.abs(glued - art).mean() < 0.5
