"""What add_marks does to a job: marks as asked, the sheet grown, the art in its place, words for what can't be done."""

from __future__ import annotations

from pathlib import Path

import pikepdf
import pypdf
import pytest
from pydantic import ValidationError

from hotfolder.loading import load_plugins
from hotfolder.pdf.boxes import read_boxes
from hotfolder.plugin import Job, Step
from hotfolder.testing import codes, make_job, make_pdf, run_steps
from hotfolder.units import MM

ADD_MARKS = load_plugins().steps["add_marks"]


def step(**settings: object) -> Step:
    return ADD_MARKS(ADD_MARKS.Settings(**settings))


def done(
    folder: Path, settings: dict[str, object] | None = None, ticket: dict[str, object] | None = None, **how: object
) -> Job:
    job = make_job(folder, make_pdf(folder / "poster.pdf", **how), ticket=ticket or {})  # type: ignore[arg-type]
    run_steps(job, step(**(settings or {})))
    return job


def growth(job: Job) -> tuple[float, ...]:
    """How far the sheet reaches beyond the trim on each side, mm."""
    with job.read() as pdf:
        boxes = read_boxes(pdf.pages[0])
    trim, media = boxes.trim, boxes.media
    sides = (trim.left - media.left, trim.bottom - media.bottom, media.right - trim.right, media.top - trim.top)
    return tuple(round(side * boxes.user_unit / MM, 2) for side in sides)


OFF = dict.fromkeys(("cut_marks", "registration_targets", "colour_bars", "gray_ramp"), False)

# settings, page -> how far the sheet grows beyond the trim (left, bottom, right, top; mm), findings
TABLE = {
    "as delivered": ({}, {}, (13.18,) * 4, []),
    "no bleed": ({}, {"bleed_mm": 0}, (13,) * 4, []),
    "cut marks alone": (OFF | {"cut_marks": True}, {}, (10.18,) * 4, []),
    "longer cut marks": (OFF | {"cut_marks": True, "length": "10mm"}, {}, (15.18,) * 4, []),
    "bleed marks alone": (OFF | {"bleed_marks": True}, {}, (9.18,) * 4, []),
    "bars alone": (OFF | {"colour_bars": True}, {}, (11.18,) * 4, []),
    "with slug line": ({"slug_line": True}, {}, (13.18, 17.68, 13.18, 13.18), []),
    "offset asked for": ({"offset": "6mm"}, {}, (16,) * 4, []),
    "offset inside the bleed": ({"offset": "1mm"}, {}, (13.18,) * 4, []),
    "wide bleed": ({}, {"bleed_mm": 10}, (20,) * 4, []),
    "unit 10": ({}, {"trim_mm": (200, 300), "bleed_mm": 1, "changes": {"/UserUnit": 10}}, (20,) * 4, []),
    "foreign marks around": ({}, {"slug_mm": 30}, (13.18,) * 4, []),
    "small": ({}, {"trim_mm": (40, 60)}, (13.18,) * 4, ["note marks_left_out"] * 2),
}


@pytest.mark.parametrize("name", TABLE)
def test_the_sheet_grows(name: str, tmp_path: Path) -> None:
    settings, how, expected, findings = TABLE[name]
    job = done(tmp_path, settings, {"bleed": "3.175mm"}, **how)
    assert growth(job) == pytest.approx(expected, abs=0.02)
    assert codes(job) == findings


def test_trim_and_art_keep_their_place(tmp_path: Path) -> None:
    content = b"0.1 0.2 0.3 0 k 10 10 100 100 re f"
    job = done(tmp_path, content=content)
    with pikepdf.open(tmp_path / "poster.pdf") as before, job.read() as after:
        assert read_boxes(after.pages[0]).trim == pytest.approx(read_boxes(before.pages[0]).trim, abs=1e-4)
        assert read_boxes(after.pages[0]).bleed == pytest.approx(read_boxes(before.pages[0]).bleed, abs=1e-4)
        assert content in [part.read_bytes() for part in after.pages[0].obj.Contents]


def test_nothing_asked_for_changes_nothing(tmp_path: Path) -> None:
    job = done(tmp_path, OFF)
    assert job.artwork == tmp_path / "poster.pdf"
    assert job.told == ["No printer's marks were asked for."]


def test_every_page_gets_marks_and_its_own_number(tmp_path: Path) -> None:
    ticket = {"client": "Quay Market", "title": "Jazz Night", "pages": 3}
    job = done(tmp_path, {"slug_line": True, "slug_text": "{client} - {title} - {due} - page {page}"}, ticket, pages=3)
    texts = [page.extract_text().strip() for page in pypdf.PdfReader(job.artwork).pages]
    assert texts == [f"Quay Market - Jazz Night - page {number}" for number in (1, 2, 3)]


@pytest.mark.parametrize(
    "words", ["two\nlines", "x" * 200, "שלום עולם", "\N{SAXOPHONE}" * 20, "(\\) endobj", "\u202eevil"]
)
def test_any_title_makes_a_slug_line_that_fits(words: str, tmp_path: Path) -> None:
    job = done(tmp_path, {"slug_line": True, "slug_text": "{title}"}, {"title": words}, trim_mm=(70, 90))
    assert "fault" not in " ".join(codes(job))
    page = pypdf.PdfReader(job.artwork).pages[0]
    assert "\n" not in page.extract_text().strip()


def test_too_large_is_held_in_words(tmp_path: Path) -> None:
    job = done(tmp_path, trim_mm=(14_398 / MM, 500), bleed_mm=0)
    assert codes(job) == ["hold no_marks"]
    assert "14400 at most" in job.findings[0].message
    assert job.artwork == tmp_path / "poster.pdf"


def test_a_page_that_cannot_be_read_is_held(tmp_path: Path) -> None:
    path = make_pdf(tmp_path / "poster.pdf")
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        broken = pikepdf.Stream(pdf, b"not deflated")
        broken.Filter = pikepdf.Name.FlateDecode
        pdf.pages[0].obj.Contents = pdf.make_indirect(broken)
        pdf.save(path, stream_decode_level=pikepdf.StreamDecodeLevel.none)
    job = make_job(tmp_path, path)
    run_steps(job, step())
    assert codes(job) in (["hold no_marks"], [])  # zlib libraries differ in how much they read of such data


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"slug_text": "{titel}"}, "there is no part {titel}"),
        ({"slug_text": "{title"}, "brace that is not closed"),
        ({"length": "100mm"}, "less than or equal"),
        ({"weight": "5pt"}, "less than or equal"),
        ({"offset": "3"}, "not a length"),
        ({"cutmarks": True}, "Extra inputs"),
    ],
)
def test_settings_that_make_no_sense_are_refused(settings: dict[str, object], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        step(**settings)
