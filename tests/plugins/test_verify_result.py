"""What verify_result lets through and what it holds: finished files spoilt in every way we could think of."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable
from pathlib import Path

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Stream, String

from hotfolder.colour.condition import SHIPPED
from hotfolder.loading import load_plugins
from hotfolder.moved import Matrix
from hotfolder.pdf.boxes import read_boxes, set_box
from hotfolder.pdf.mending.wrapped import draw_through_matrix
from hotfolder.plugin import Job, Moved
from hotfolder.testing import codes, make_job, make_pdf, run_steps

STEPS = load_plugins().steps
CORPUS = Path(__file__).parents[2].parent / "shared" / "corpus" / "posters"

_MADE: dict[str, tuple[bytes, bytes]] = {}  # artwork and finished file, by how the artwork was made

ART = b"""1 1 0.6 rg -9999 -9999 19998 19998 re f
0.1 0.2 0.7 rg 60 100 200 150 re f
0 0.3 0.9 0.1 k 300 100 200 150 re f
0 g 60 300 440 12 re f 0.5 g 60 330 440 40 re f
q 220 0 0 220 60 420 cm /Photo Do Q
q 220 0 0 220 300 420 cm /Inks Do Q
0 0.9 0.8 0 k 60 700 40 40 re f
0.8 0.1 0.1 rg 460 700 39 39 re f
"""


def photo(pdf: pikepdf.Pdf, space: pikepdf.Object, channels: int) -> Stream:
    """A picture with soft slopes, 64 x 64."""
    samples = bytes(
        (x * 3 + y * channel) % 200 + 30 for y in range(64) for x in range(64) for channel in range(channels)
    )
    found = Stream(pdf, samples, Type=Name.XObject, Subtype=Name.Image, Width=64, Height=64)
    found.ColorSpace, found.BitsPerComponent = space, 8
    return found


def artwork(folder: Path, content: bytes = ART, **how: object) -> Path:
    path = make_pdf(folder / "poster.pdf", trim_mm=(200, 280), content=content, **how)  # type: ignore[arg-type]
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        for page in pdf.pages:
            page.obj.Resources = Dictionary(
                XObject=Dictionary(Photo=photo(pdf, Name.DeviceRGB, 3), Inks=photo(pdf, Name.DeviceCMYK, 4))
            )
        pdf.save(path)
    return path


def finished(folder: Path, ticket: dict[str, object] | None = None, **how: object) -> Job:
    """A job taken through colour, marks and sealing, not verified yet. The plain one is made once and copied."""
    key = repr(sorted(how.items()))
    if key not in _MADE:
        job = make_job(folder / "first", artwork(folder, **how))
        run_steps(job, *(STEPS[name]() for name in ("convert_colour", "add_marks", "seal_pdf")))
        assert not job.held, job.findings
        _MADE[key] = job.original.read_bytes(), job.artwork.read_bytes()
    (folder / "poster.pdf").write_bytes(_MADE[key][0])
    job = make_job(folder, folder / "poster.pdf", ticket=ticket or {})  # type: ignore[arg-type]
    result = job.scratch(".pdf")
    result.write_bytes(_MADE[key][1])
    job.use(result)
    return job


def verified(job: Job, spoil: Callable[[pikepdf.Pdf], None] | None = None, version: str = "1.6") -> list[str]:
    """The codes that verifying finds, after the finished file has been spoilt."""
    if spoil is not None:
        path = job.scratch(".pdf")
        with pikepdf.open(job.artwork) as pdf:
            spoil(pdf)
            pdf.save(path, force_version=version, deterministic_id=True, fix_metadata_version=False)
        job.use(path)
    run_steps(job, STEPS["verify_result"]())
    return [finding.code for finding in job.findings]


# ---- what passes

GOOD: dict[str, dict[str, object]] = {
    "plain": {},
    "turned": {"changes": {"/Rotate": 90}},
    "unit 2": {"changes": {"/UserUnit": 2}},
    "unit 0.5, turned": {"changes": {"/UserUnit": 0.5, "/Rotate": 270}},
    "three pages": {"pages": 3},
    "no bleed": {"bleed_mm": 0},
    "foreign marks": {"slug_mm": 12},
    "no boxes": {"boxes": False},
    "unbalanced": {"content": b"Q Q q q BT " + ART},
}


@pytest.mark.parametrize("name", GOOD)
def test_what_was_meant_passes(name: str, tmp_path: Path) -> None:
    job = finished(tmp_path, **GOOD[name])
    assert verified(job) == []
    assert job.told[0].startswith("The finished file was opened again and compared with the artwork")


def test_it_changes_nothing(tmp_path: Path) -> None:
    job = finished(tmp_path)
    before = job.artwork.read_bytes()
    verified(job)
    assert job.artwork.read_bytes() == before
    assert "undeclared_change" not in " ".join(codes(job))


def test_without_marks_passes_too(tmp_path: Path) -> None:
    job = make_job(tmp_path, artwork(tmp_path))
    run_steps(job, *(STEPS[name]() for name in ("convert_colour", "seal_pdf", "verify_result")))
    assert [code for code in codes(job) if code.startswith("hold")] == []


# ---- the picture


def contents(pdf: pikepdf.Pdf) -> list[Stream]:
    return list(pdf.pages[0].obj.Contents)


def replace(old: bytes, new: bytes) -> Callable[[pikepdf.Pdf], None]:
    def spoil(pdf: pikepdf.Pdf) -> None:
        every = contents(pdf)
        assert any(old in part.read_bytes() for part in every)
        for part in every:
            part.write(part.read_bytes().replace(old, new))

    return spoil


def insert(at: int, drawing: bytes) -> Callable[[pikepdf.Pdf], None]:
    """Further drawing among the content streams: marks, clip, artwork (2), end."""

    def spoil(pdf: pikepdf.Pdf) -> None:
        every = contents(pdf)
        every.insert(at, pdf.make_indirect(Stream(pdf, b"\n" + drawing + b"\n")))
        pdf.pages[0].obj.Contents = Array(every)

    return spoil


def pictures(change: Callable[[Stream], None], channels: int = 4) -> Callable[[pikepdf.Pdf], None]:
    def spoil(pdf: pikepdf.Pdf) -> None:
        drawn = pdf.pages[0].obj.Resources.XObject
        found = [drawn[key] for key in drawn.keys() if drawn[key].get("/Subtype") == Name.Image]  # noqa: SIM118
        assert len(found) == 2
        for one in found:
            change(one)

    return spoil


def invert(picture: Stream) -> None:
    picture.Decode = Array([1, 0] * 4)


def swap_channels(picture: Stream) -> None:
    data = bytearray(picture.read_bytes())
    data[0::4], data[1::4] = data[1::4], data[0::4]
    picture.write(bytes(data))


def more_tint(pdf: pikepdf.Pdf) -> None:
    pdf.pages[0].obj.Resources.ExtGState = Dictionary(M=Dictionary(BM=Name.Multiply))
    insert(3, b"q /M gs 0.05 0.05 0.05 0 k -9999 -9999 19998 19998 re f Q")(pdf)


def layer_off(pdf: pikepdf.Pdf) -> None:
    layer = pdf.make_indirect(Dictionary(Type=Name.OCG, Name=String("Art")))
    pdf.Root.OCProperties = Dictionary(OCGs=Array([layer]), D=Dictionary(Name=String("D"), OFF=Array([layer])))
    pdf.pages[0].obj.Resources.Properties = Dictionary(L=layer)
    insert(2, b"/OC /L BDC")(pdf)
    insert(4, b"EMC")(pdf)


PICTURE: dict[str, Callable[[pikepdf.Pdf], None]] = {
    "all moved by 3 mm": insert(2, b"1 0 0 1 8.5 0 cm"),
    "one square moved by 10 mm": replace(b"60 700 40 40 re", b"88 700 40 40 re"),
    "one square gone": replace(b"60 700 40 40 re f", b""),
    "a picture gone": replace(b"/Inks Do", b""),
    "a picture turned over": replace(b"220 0 0 220 300 420 cm", b"-220 0 0 220 520 420 cm"),
    "the wrong picture": replace(b"/Inks Do", b"/Photo Do"),
    "pictures inverted": pictures(invert),
    "cyan and magenta exchanged in pictures": pictures(swap_channels),
    "a colour changed": replace(b"0 0.3 0.9 0.1 k", b"0 0.9 0.3 0.1 k"),
    "5 % more of each ink all over": more_tint,
    "a layer off": layer_off,
    "a spot of dirt, 6 mm": insert(3, b"0 0 0 1 k 280 40 17 17 re f"),
    "nothing drawn": insert(2, b"0 0 0 0 re W n"),
    "scaled by 1 %": insert(2, b"1.01 0 0 1.01 0 0 cm"),
}


@pytest.mark.parametrize("name", PICTURE)
def test_a_changed_picture_is_held(name: str, tmp_path: Path) -> None:
    job = finished(tmp_path)
    assert verified(job, PICTURE[name]) == ["picture_changed"]
    assert job.findings[0].page == 1
    assert job.findings[0].measured
    assert job.findings[0].box is not None


def test_the_worst_place_is_where_the_change_is(tmp_path: Path) -> None:
    job = finished(tmp_path, changes={"/Rotate": 90})
    verified(job, replace(b"60 700 40 40 re f", b""))
    box = job.findings[0].box
    assert box is not None
    assert 55 < (box.left + box.right) / 2 < 105
    assert 695 < (box.bottom + box.top) / 2 < 745


def test_a_change_on_a_later_page_is_found(tmp_path: Path) -> None:
    job = finished(tmp_path, pages=3)

    def spoil(pdf: pikepdf.Pdf) -> None:
        pdf.pages[2].obj.Contents = Array(list(pdf.pages[2].obj.Contents)[:2])

    verified(job, spoil)
    assert [(finding.code, finding.page) for finding in job.findings] == [("picture_changed", 3)]


# ---- marks


def marks_moved(pdf: pikepdf.Pdf) -> None:
    form = next(form for key, form in pdf.pages[0].obj.Resources.XObject.items() if key.startswith("/PrinterMarks"))
    form.Matrix = Array([1, 0, 0, 1, 30, 30])


def no_clip(pdf: pikepdf.Pdf) -> None:
    replace(b"re W n", b"re n")(pdf)


MARKS: dict[str, tuple[Callable[[pikepdf.Pdf], None], list[str]]] = {
    "marks inside the bleed, under the art": (marks_moved, ["marks_in_bleed"]),
    "marks not drawn": (replace(b"/PrinterMarks Do", b""), ["marks_covered"]),
    "marks covered": (insert(4, b"0 0 0 0 k -20 -20 900 15 re f"), ["marks_covered"]),
    "art beyond the bleed": (no_clip, ["art_among_marks"]),
    "a line beyond the bleed": (insert(4, b"0 0 0 1 k -16 100 6 200 re f"), ["art_among_marks"]),
}


@pytest.mark.parametrize("name", MARKS)
def test_marks(name: str, tmp_path: Path) -> None:
    spoil, expected = MARKS[name]
    assert verified(finished(tmp_path), spoil) == expected


# ---- the structure


def on_page(key: str, value: object) -> Callable[[pikepdf.Pdf], None]:
    def spoil(pdf: pikepdf.Pdf) -> None:
        if value is None:
            del pdf.pages[0].obj[key]
        else:
            pdf.pages[0].obj[key] = value

    return spoil


def in_root(key: str, value: object) -> Callable[[pikepdf.Pdf], None]:
    def spoil(pdf: pikepdf.Pdf) -> None:
        if value is None:
            del pdf.Root[key]
        else:
            pdf.Root[key] = value

    return spoil


def in_info(key: str, value: object) -> Callable[[pikepdf.Pdf], None]:
    def spoil(pdf: pikepdf.Pdf) -> None:
        pdf.trailer.Info[key] = value

    return spoil


def in_xmp(old: bytes, new: bytes) -> Callable[[pikepdf.Pdf], None]:
    def spoil(pdf: pikepdf.Pdf) -> None:
        packet = pdf.Root.Metadata.read_bytes()
        assert re.search(old, packet)
        pdf.Root.Metadata.write(re.sub(old, new, packet))

    return spoil


def other_profile(pdf: pikepdf.Pdf) -> None:
    data = bytearray(pdf.Root.OutputIntents[0].DestOutputProfile.read_bytes())
    data[-1] ^= 1
    pdf.Root.OutputIntents[0].DestOutputProfile.write(bytes(data))


def other_identifier(pdf: pikepdf.Pdf) -> None:
    pdf.Root.OutputIntents[0].OutputConditionIdentifier = String("FOGRA27")


def two_intents(pdf: pikepdf.Pdf) -> None:
    pdf.Root.OutputIntents.append(pdf.Root.OutputIntents[0])


def plain_font(pdf: pikepdf.Pdf) -> None:
    pdf.pages[0].obj.Resources.Font = Dictionary(
        F=pdf.make_indirect(Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica))
    )
    insert(3, b"BT /F 1 Tf 100 50 Td (a) Tj ET")(pdf)


def rgb_in_form(pdf: pikepdf.Pdf) -> None:
    form = Stream(pdf, b"1 0 0 rg 0 0 1 1 re f", Subtype=Name.Form, BBox=Array([0, 0, 1, 1]))
    pdf.pages[0].obj.Resources.XObject.F = pdf.make_indirect(form)
    insert(3, b"/F Do")(pdf)


def rgb_picture(pdf: pikepdf.Pdf) -> None:
    pdf.pages[0].obj.Resources.XObject.F = pdf.make_indirect(photo(pdf, Name.DeviceRGB, 3))
    insert(3, b"q 0.1 0 0 0.1 50 50 cm /F Do Q")(pdf)


def one_page_less(pdf: pikepdf.Pdf) -> None:
    pdf.pages.append(pdf.pages[0])


SCRIPT = Dictionary(S=Name.JavaScript, JS=String("app.beep()"))

STRUCTURE: dict[str, tuple[Callable[[pikepdf.Pdf], None], str]] = {
    "no trim box": (on_page("/TrimBox", None), "box_missing"),
    "no bleed box": (on_page("/BleedBox", None), "box_missing"),
    "an art box too": (on_page("/ArtBox", Array([20, 20, 50, 50])), "art_box"),
    "bleed inside the trim": (on_page("/BleedBox", Array([20, 20, 500, 500])), "boxes_not_nested"),
    "crop inside the bleed": (on_page("/CropBox", Array([20, 20, 500, 500])), "boxes_not_nested"),
    "a bleed 1/10 000 point short": (on_page("/BleedBox", Array([9.0001, 0, 584.93, 811.7])), "boxes_not_nested"),
    "another trim": (on_page("/TrimBox", Array([9, 9, 400, 700])), "trim_changed"),
    "another unit": (on_page("/UserUnit", 2), "trim_changed"),
    "no output intent": (in_root("/OutputIntents", None), "output_intent"),
    "two output intents": (two_intents, "output_intent"),
    "another condition": (other_identifier, "output_intent"),
    "one bit of the profile": (other_profile, "output_profile"),
    "a script": (in_root("/OpenAction", SCRIPT), "active_content"),
    "a page's script": (on_page("/AA", Dictionary(O=SCRIPT)), "active_content"),
    "a form": (in_root("/AcroForm", Dictionary(Fields=Array([]))), "active_content"),
    "a link": (on_page("/Annots", Array([Dictionary(Subtype=Name.Link, Rect=Array([1, 1, 9, 9]))])), "annotations"),
    "no XMP": (in_root("/Metadata", None), "metadata_missing"),
    "not PDF/X": (in_xmp(b"PDF/X-4", b"PDF/X-1"), "metadata_wrong"),
    "no document number": (in_xmp(b"<xmpMM:DocumentID>.*?</xmpMM:DocumentID>", b""), "metadata_missing"),
    "another title in Info": (in_info("/Title", String("other")), "metadata_disagrees"),
    "another time in Info": (in_info("/ModDate", String("D:20200101000000Z")), "metadata_disagrees"),
    "trapped not known": (in_info("/Trapped", Name.Unknown), "trapped"),
    "XMP with entities": (in_xmp(b"^<", b'<!DOCTYPE a [<!ENTITY b "c">]><'), "metadata_missing"),
    "a font not embedded": (plain_font, "font_missing"),
    "RGB in a form": (rgb_in_form, "screen_colours"),
    "an RGB picture": (rgb_picture, "screen_colours"),
    "a page more": (one_page_less, "page_count"),
}


@pytest.mark.parametrize("name", STRUCTURE)
def test_a_broken_rule_is_held(name: str, tmp_path: Path) -> None:
    spoil, expected = STRUCTURE[name]
    found = verified(finished(tmp_path), spoil)
    assert expected in found
    assert "fault" not in found


FONTS = {
    "named, nothing shown": (b"BT /F 1 Tf ET", []),
    "invisible": (b"BT 3 Tr /F 1 Tf (a) Tj ET", []),
    "only clipping": (b"BT 7 Tr /F 1 Tf (a) Tj ET", ["font_missing"]),
    "invisible, then not": (b"q 3 Tr Q BT /F 1 Tf (a) Tj ET", ["font_missing"]),
    "shown by a quote": (b"BT /F 1 Tf 100 50 Td (a) ' ET", ["font_missing"]),
    "shown in an array": (b"BT /F 1 Tf [(a) 3 (b)]TJ ET", ["font_missing"]),
}


@pytest.mark.parametrize("name", FONTS)
def test_fonts_count_where_they_show(name: str, tmp_path: Path) -> None:
    drawing, expected = FONTS[name]

    def spoil(pdf: pikepdf.Pdf) -> None:
        plain_font(pdf)
        every = contents(pdf)
        every[3].write(drawing)

    assert verified(finished(tmp_path), spoil) == expected


def test_another_version_is_held(tmp_path: Path) -> None:
    assert verified(finished(tmp_path), lambda pdf: None, version="1.7") == ["wrong_version"]


def test_encryption_is_held(tmp_path: Path) -> None:
    job = finished(tmp_path)
    path = job.scratch(".pdf")
    with pikepdf.open(job.artwork) as pdf:
        pdf.save(path, encryption=pikepdf.Encryption(owner="x", user="", R=4), force_version="1.6")
    job.use(path)
    assert verified(job) == ["encrypted"]


@pytest.mark.parametrize("cut", [0, 8, 400, 20_000])
def test_a_truncated_file_is_held(cut: int, tmp_path: Path) -> None:
    job = finished(tmp_path)
    path = job.scratch(".pdf")
    path.write_bytes(job.artwork.read_bytes()[:cut])
    job.use(path)
    found = verified(job)
    assert found
    assert "fault" not in found


def test_the_order_counts(tmp_path: Path) -> None:
    assert verified(finished(tmp_path, {"trim": "A3"})) == ["not_ordered_size"]
    assert verified(finished(tmp_path, {"trim": "280x200mm"})) == []


# ---- real posters

# What the corpus gives through the whole colour, marks and sealing chain; each passes.
REAL = (
    "plakat__plakat.pdf",  # transparency groups, gradients, RGB
    "stochaskell__poster.pdf",  # thin coloured lines with transparency, RGB
    "Git-Workshop__poster_sam.pdf",  # pictures and a gradient
    "govdesign__A1_It_s_Ok_To_Poster.pdf",  # CMYK with its own marks in Separation All
    "eop__BoxCard.pdf",  # CMYK, overprint
)


@pytest.mark.parametrize("name", REAL)
def test_real_posters_pass_and_their_changes_do_not(name: str, tmp_path: Path) -> None:
    if not (CORPUS / name).is_file():
        pytest.skip("the corpus of real posters is not beside this checkout")
    # Two of them mix in RGB what looks different in inks: a condition that says nothing of it would hold them.
    job = make_job(tmp_path, CORPUS / name, condition=dataclasses.replace(SHIPPED["coated_europe"], blending="convert"))
    run_steps(job, *(STEPS[step]() for step in ("convert_colour", "add_marks", "seal_pdf")))
    job.findings.clear()
    assert verified(job) == []
    assert verified(job, insert(2, b"1 0 0 1 9 6 cm")) == ["picture_changed"]


# ---- pages moved on purpose


def on_a_moved_page(job: Job, matrix: Matrix, told: Matrix | None = None) -> None:
    """Move the page's drawing and its boxes, as a step does that brings artwork to size, and tell the job."""
    with job.edit() as pdf:
        page = pdf.pages[0]
        moved, boxes = Moved(matrix, (0, 0)), read_boxes(page)
        draw_through_matrix(pdf, page, matrix)
        for name in ("MediaBox", "BleedBox", "TrimBox"):
            set_box(page, name, moved.now(getattr(boxes, name[:-3].lower())))
        trim = read_boxes(page).trim
    job.move(1, Moved(told or matrix, (trim.width, trim.height)))


MOVES: dict[str, tuple[dict[str, object], Matrix]] = {
    "twice": ({}, (2, 0, 0, 2, 30, -20)),
    "half": ({}, (0.5, 0, 0, 0.5, 0, 0)),
    "turned left": ({}, (0, 1, -1, 0, 800, 0)),
    "turned right, ten times": ({}, (0, -10, 10, 0, 0, 6000)),
    "turned by Rotate, too": ({"changes": {"/Rotate": 90}}, (0, 2, -2, 0, 0, 0)),
    "upside down": ({}, (-1, 0, 0, -1, 500, 800)),
}


@pytest.mark.parametrize("name", MOVES)
def test_a_page_moved_on_purpose_passes(name: str, tmp_path: Path) -> None:
    how, matrix = MOVES[name]
    job = make_job(tmp_path, artwork(tmp_path, **how))
    on_a_moved_page(job, matrix)
    run_steps(job, *(STEPS[step]() for step in ("convert_colour", "add_marks", "seal_pdf", "verify_result")))
    assert [code for code in codes(job) if code.startswith("hold")] == []
    assert "compared with the artwork" in job.told[0]


@pytest.mark.parametrize("told", [(2, 0, 0, 2, 20, 0), (-2, 0, 0, -2, 1200, 1650), (2.04, 0, 0, 2.04, 0, 0)])
def test_a_page_moved_elsewhere_than_told_is_held(told: Matrix, tmp_path: Path) -> None:
    """Ten points aside, upside down, two percent larger."""
    job = make_job(tmp_path, artwork(tmp_path))
    on_a_moved_page(job, (2, 0, 0, 2, 0, 0), told)
    run_steps(job, *(STEPS[step]() for step in ("convert_colour", "add_marks", "seal_pdf", "verify_result")))
    assert "hold picture_changed" in codes(job)
