"""What open_picture says about a picture: one table of real files, orders and settings, and their findings."""

from __future__ import annotations

import io
from pathlib import Path

import pypdf
import pytest
from PIL import Image

from hotfolder.loading import load_plugins
from hotfolder.pdf.boxes import read_boxes
from hotfolder.testing import codes, make_job, run_steps

STEP = load_plugins().steps["open_picture"]
ORDER = {"trim": "24x36in", "bleed": "0.125in"}


def jpeg(width: int, height: int, ppi: int | None = None, mode: str = "RGB") -> bytes:
    stream = io.BytesIO()
    dpi = {} if ppi is None else {"dpi": (ppi, ppi)}
    Image.new(mode, (width, height), (30, 90, 160, 0)[: len(mode)]).save(stream, "JPEG", **dpi)
    return stream.getvalue()


# file name, data, ticket, settings -> findings, words of a message or of what is told
TABLE = {
    "of the sheet's shape": ("a.jpg", jpeg(970, 1450), ORDER, {}, ["note no_profile"], "40 ppi, nothing cropped."),
    "of the trim's shape": (
        "a.jpg", jpeg(960, 1440), ORDER, {}, ["note no_profile"],
        "It is placed at 616 × 923.9 mm (24.25 × 36.38 in), 40 ppi, 0.3 % cropped at top and bottom together.",
    ),
    "2 % too wide": (
        "a.jpg", jpeg(990, 1450), ORDER, {}, ["note no_profile"], "2.0 % cropped at left and right together"
    ),
    "A-series on 24 x 36": (
        "a.jpg", jpeg(1000, 1414), ORDER, {}, ["hold crop_too_much"],
        "To fill the sheet, 5.4 % of its width would be cut off; 3 % is allowed.",
    ),
    "A-series on 24 x 36, more allowed": (
        "a.jpg", jpeg(1000, 1414), ORDER, {"crop_allowance": 6}, ["note no_profile"], "5.4 % cropped at left and right"
    ),
    "lying": (
        "a.jpg", jpeg(1450, 970), ORDER, {}, ["note no_profile"],
        "so the page does too: it is cut to 914.4 × 609.6 mm (36 × 24 in).",
    ),
    "contain": (
        "a.jpg", jpeg(1000, 1414), ORDER, {"fit": "contain"}, ["note no_profile", "note paper_white"],
        "12.7 mm (0.5 in) of white paper stay at its left and right",
    ),
    "true size, as ordered": (
        "a.jpg", jpeg(970, 1450, 40), ORDER, {"fit": "true_size"}, ["note no_profile"], "40 ppi, nothing cropped"
    ),
    "true size, without resolution": (
        "a.jpg", jpeg(970, 1450), ORDER, {"fit": "true_size"}, ["hold size_unknown"], "it holds no resolution"
    ),
    "true size, far too large": (
        "a.jpg", jpeg(970, 1450, 20), ORDER, {"fit": "true_size"}, ["hold crop_too_much"], "At its own resolution, 50.0 %"
    ),
    "nothing ordered": (
        "a.jpg", jpeg(970, 1450, 40), {}, {}, ["note no_profile", "note trim_from_picture"],
        "It is cut to 609.6 × 914.4 mm (24 × 36 in).",
    ),
    "nothing ordered, nothing said": ("a.jpg", jpeg(970, 1450), {}, {}, ["hold size_unknown"], "how large it is meant"),
    "one pixel": ("a.jpg", jpeg(1, 1), ORDER, {}, ["hold crop_too_much"], "33.1 % of its width"),
    "one pixel, nothing ordered": ("a.jpg", jpeg(1, 1, 300), {}, {}, ["hold size_unknown"], "smaller than the bleed"),
    "wrong ending": (
        "a.png", jpeg(970, 1450), ORDER, {}, ["note wrong_ending", "note no_profile"],
        "The file is a JPEG picture, although its name ends in .png",
    ),
    "no ending": ("poster", jpeg(970, 1450), ORDER, {}, ["note wrong_ending", "note no_profile"], "has no ending"),
    "too large": (
        "a.jpg", jpeg(970, 1450), ORDER, {"most_megapixels": 1}, ["hold too_many_pixels"], "970 × 1450 pixels"
    ),
    "CMYK": ("a.jpg", jpeg(970, 1450, None, "CMYK"), ORDER, {}, [], "970 × 1450 pixels in CMYK"),
    "cut short": ("a.jpg", jpeg(970, 1450)[:5000], ORDER, {}, ["hold damaged_picture"], "breaks off"),
    "a PDF": ("a.jpg", b"%PDF-1.7\n", ORDER, {}, ["hold unknown_kind"], ""),
}  # fmt: skip


@pytest.mark.parametrize("name", TABLE)
def test_table(name: str, tmp_path: Path) -> None:
    file_name, data, ticket, settings, found, words = TABLE[name]
    artwork = tmp_path / file_name
    artwork.write_bytes(data)
    job = make_job(tmp_path, artwork, ticket=ticket, opened=False)
    (record,) = run_steps(job, STEP(STEP.Settings(**settings)))
    assert codes(job) == found
    assert words in "\n".join([*record.told, *(finding.message for finding in job.findings)])
    assert artwork.read_bytes() == data
    assert job.has_artwork == (not job.held)
    if job.has_artwork:
        with job.read() as pdf:
            boxes = read_boxes(pdf.pages[0])
        assert boxes.declared == {"MediaBox", "BleedBox", "TrimBox"}
        assert boxes.trim.within(boxes.bleed)
        assert boxes.bleed == boxes.media


def test_the_page_is_what_was_ordered(tmp_path: Path) -> None:
    """Boxes by pypdf: 24 x 36 in are 1728 x 2592 pt, 1/8 in is 9 pt."""
    artwork = tmp_path / "a.jpg"
    artwork.write_bytes(jpeg(960, 1440))
    job = make_job(tmp_path, artwork, ticket=ORDER, opened=False)
    run_steps(job, STEP())
    page = pypdf.PdfReader(job.artwork).pages[0]
    assert [float(side) for side in page.trimbox] == [9, 9, 1737, 2601]
    assert [float(side) for side in page.mediabox] == [0, 0, 1746, 2610]
