"""What open_pdf says about a PDF: tables of real files and their findings, and what the working copy holds."""

from __future__ import annotations

import io
import re
import zlib
from pathlib import Path
from random import Random
from typing import Any

import pikepdf
import pypdf
import pytest
from pikepdf import Array, Dictionary, Name
from PIL import Image

from hotfolder.loading import load_plugins
from hotfolder.testing import codes, make_job, make_pdf, run_steps
from hotfolder.units import MM

STEP = load_plugins().steps["open_pdf"]
CORPUS = Path(__file__).parents[2].parent / "shared" / "corpus"
A3 = {"trim": "A3", "bleed": "3mm"}


def opened(tmp_path: Path, data: bytes, name: str = "a.pdf", **more: Any) -> Any:
    artwork = tmp_path / name
    artwork.write_bytes(data)
    job = make_job(tmp_path, artwork, ticket=more.get("ticket"), opened=False)
    run_steps(job, STEP(STEP.Settings(**more.get("settings", {}))))
    assert artwork.read_bytes() == data
    return job


def raw(*objects: str, root: str = "1 0 R", end: str = "%%EOF") -> bytes:
    """A PDF as some hand wrote it, without a cross-reference table."""
    body = "".join(f"{number} 0 obj\n{text}\nendobj\n" for number, text in enumerate(objects, 1))
    return f"%PDF-1.4\n{body}trailer\n<< /Root {root} >>\n{end}\n".encode("latin-1")


def tabled(*objects: str) -> bytes:
    """The same with a right cross-reference table, so that nothing needs repair."""
    out, places = "%PDF-1.4\n", []
    for number, text in enumerate(objects, 1):
        places.append(len(out))
        out += f"{number} 0 obj\n{text}\nendobj\n"
    table = "".join(f"{place:010} 00000 n \n" for place in places)
    count = len(objects) + 1
    return (
        f"{out}xref\n0 {count}\n0000000000 65535 f \n{table}trailer\n<< /Size {count} /Root 1 0 R >>\n"
        f"startxref\n{len(out)}\n%%EOF\n"
    ).encode("latin-1")


CATALOG = "<< /Type /Catalog /Pages 2 0 R >>"


def page_with(entries: str) -> bytes:
    return tabled(CATALOG, "<< /Type /Pages /Kids [3 0 R] /Count 1 >>", f"<< /Type /Page /Parent 2 0 R {entries} >>")


def tree(kids: str, *more: str, count: int = 1) -> bytes:
    return tabled(CATALOG, f"<< /Type /Pages /Kids [{kids}] /Count {count} >>", *more)


PAGE = "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 300 400] >>"
HOSTILE = {
    "sound": (tree("3 0 R", PAGE), [], ""),
    "only its head": (b"%PDF-1.7\n", ["hold cannot_open"], "damaged and can't be opened"),
    "noise behind the head": (b"%PDF-1.7\n" + bytes(range(256)) * 50, ["hold cannot_open"], ""),
    "head behind other bytes": (b"\n" * 900 + tree("3 0 R", PAGE), None, ""),
    "no pages": (tree("", count=0), ["hold no_pages"], "has no pages"),
    "no page tree": (tabled("<< /Type /Catalog >>"), ["hold bad_page_tree"], "missing, or runs in a circle"),
    "tree in a circle": (tree("2 0 R"), ["hold bad_page_tree"], "in a circle"),
    "tree in a wider circle": (
        tree("3 0 R", "<< /Type /Pages /Kids [2 0 R] /Count 1 >>"), ["hold bad_page_tree"], "in a circle"
    ),
    "a page named twice": (tree("3 0 R 3 0 R", PAGE, count=2), ["note repaired"], "more than once"),
    "a number for a page": (tree("7"), ["hold bad_page_tree"], "something that is none"),
    "a text for a page": (tree("3 0 R", "(page)"), ["hold bad_page_tree"], "something that is none"),
    "nothing for a page": (tree("9 0 R"), ["hold no_pages"], ""),
    "kids that are no list": (
        tabled(CATALOG, "<< /Type /Pages /Kids 5 /Count 1 >>"), ["hold bad_page_tree"], "list of its pages is damaged"
    ),
    "100 levels": (
        tree("3 0 R", *(f"<< /Type /Pages /Kids [{n} 0 R] /Count 1 >>" for n in range(4, 104)), PAGE),
        ["hold bad_page_tree"], "",
    ),
    "20 000 pages": (tree(PAGE * 20_000, count=20_000), ["hold too_many_pages"], "more than 10000 pages"),
    "no size": (page_with(""), ["hold bad_boxes"], "The size of a page makes no sense"),
    "no area": (page_with("/MediaBox [0 0 0 400]"), ["hold bad_boxes"], "no area"),
    "huge": (page_with("/MediaBox [0 0 1e30 1e30]"), ["hold bad_boxes"], ""),
    "not a number": (page_with("/MediaBox [0 0 NaN 400]"), ["hold bad_boxes"], ""),
    "three numbers": (page_with("/MediaBox [0 0 400]"), ["hold bad_boxes"], ""),
    "text in a box": (page_with("/MediaBox [0 0 (a) 400]"), ["hold bad_boxes"], ""),
    "longer than a page may be": (page_with("/MediaBox [0 0 14401 400]"), ["hold bad_boxes"], "14401 units"),
    "trim elsewhere": (
        page_with("/MediaBox [0 0 300 400] /TrimBox [900 900 950 950]"), ["hold bad_boxes"], "lies outside the page"
    ),
    "no table, but all there": (raw(CATALOG, "<< /Type /Pages /Kids [3 0 R] /Count 1 >>", PAGE), ["note repaired"], ""),
    "no table, and a part missing": (
        raw(CATALOG, "<< /Type /Pages /Kids [3 0 R] /Count 1 >>", PAGE.replace(">>", "/Contents 9 0 R >>")),
        ["hold parts_lost"], "parts that it refers to are missing",
    ),
    "no table, and no end": (
        raw(CATALOG, "<< /Type /Pages /Kids [3 0 R] /Count 1 >>", PAGE, end=""), ["hold parts_lost"], "breaks off"
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files_are_held_in_words(name: str, tmp_path: Path) -> None:
    data, found, words = HOSTILE[name]
    job = opened(tmp_path, data)
    assert not any(finding.code == "fault" for finding in job.findings), job.findings
    if found is None:  # what qpdf makes of it may change; it must not crash
        return
    assert codes(job) == found
    assert words in " ".join(f"{finding.message} {finding.measured}" for finding in job.findings)
    assert str(tmp_path) not in " ".join(finding.message for finding in job.findings)
    assert job.has_artwork == (not job.held)


def poster(tmp_path: Path, **options: Any) -> bytes:
    return make_pdf(tmp_path / "made.pdf", **options).read_bytes()


def test_a_sound_file_is_copied_byte_for_byte(tmp_path: Path) -> None:
    data = poster(tmp_path, bleed_mm=3)
    job = opened(tmp_path, data, ticket=A3)
    assert codes(job) == []
    assert job.artwork.read_bytes() == data
    assert job.artwork != job.original


def test_wrong_ending(tmp_path: Path) -> None:
    job = opened(tmp_path, poster(tmp_path), name="poster.jpg")
    assert codes(job) == ["note wrong_ending"]
    assert job.findings[0].message.startswith("The file is a PDF, although its name ends in .jpg")


def test_a_blank_password_opens(tmp_path: Path) -> None:
    with pikepdf.open(make_pdf(tmp_path / "made.pdf")) as pdf:
        pdf.save(tmp_path / "locked.pdf", encryption=pikepdf.Encryption(owner="secret", user=""))
    job = opened(tmp_path, (tmp_path / "locked.pdf").read_bytes())
    assert codes(job) == ["note encryption_removed"]
    assert not pypdf.PdfReader(job.artwork).is_encrypted


def test_another_password_is_needed(tmp_path: Path) -> None:
    with pikepdf.open(make_pdf(tmp_path / "made.pdf")) as pdf:
        pdf.save(tmp_path / "locked.pdf", encryption=pikepdf.Encryption(owner="secret", user="word"))
    job = opened(tmp_path, (tmp_path / "locked.pdf").read_bytes())
    assert codes(job) == ["hold password_needed"]
    assert job.findings[0].mend == "Export the PDF without a password, and drop it again."


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9, 0.97])
def test_a_file_cut_short_never_passes(share: float, tmp_path: Path) -> None:
    data = poster(tmp_path, content=b"0 0 m 10 10 l S " * 2000)
    job = opened(tmp_path, data[: int(len(data) * share)])
    assert codes(job)[0] in {"hold cannot_open", "hold parts_lost", "hold bad_page_tree", "hold no_pages"}


def with_stream(tmp_path: Path, data: bytes) -> bytes:
    path = tmp_path / "stream.pdf"
    with pikepdf.open(make_pdf(tmp_path / "made.pdf")) as pdf:
        stream = pikepdf.Stream(pdf, data)
        stream.Filter = Name.FlateDecode
        pdf.pages[0].obj.Contents = stream
        pdf.save(path, stream_decode_level=pikepdf.StreamDecodeLevel.none, compress_streams=False)
    return path.read_bytes()


def endless() -> bytes:
    packer = zlib.compressobj(1)
    megabyte = b" " * (1 << 20)
    return b"".join(packer.compress(megabyte) for _ in range(1100)) + packer.flush()


PACKED = zlib.compress(b"0.1 0.2 0.3 0 k 0 0 400 400 re f " * 300)
STREAMS = {
    "sound": (PACKED, []),
    "without its check sum": (PACKED[:-4], []),
    "cut short": (PACKED[:-12], ["hold parts_lost"]),
    "check sum wrong": (PACKED[:-1] + bytes((PACKED[-1] ^ 1,)), ["hold parts_lost"]),
    "noise": (PACKED[:20] + b"\xff" * 20 + PACKED[40:], ["hold parts_lost"]),
    "unpacks without end": (endless(), ["hold parts_lost"]),
}


@pytest.mark.parametrize("name", STREAMS)
def test_content_that_is_damaged_inside(name: str, tmp_path: Path) -> None:
    data, found = STREAMS[name]
    assert codes(opened(tmp_path, with_stream(tmp_path, data))) == found


def test_content_packed_with_numbers_out_of_range(tmp_path: Path) -> None:
    path = tmp_path / "range.pdf"
    with pikepdf.open(make_pdf(tmp_path / "made.pdf")) as pdf:
        stream = pikepdf.Stream(pdf, b"x")
        stream.Filter, stream.DecodeParms = Name.LZWDecode, Dictionary(Predictor=15, Columns=-5)
        pdf.pages[0].obj.Contents = stream
        pdf.save(path, stream_decode_level=pikepdf.StreamDecodeLevel.none, compress_streams=False)
    assert codes(opened(tmp_path, path.read_bytes())) == ["hold parts_lost"]


def with_picture(tmp_path: Path, data: bytes, coding: str, space: str = "/DeviceCMYK", **more: Any) -> bytes:
    """A poster with a picture of 160 x 96 pixels whose data is as given."""
    path = tmp_path / "picture.pdf"
    with pikepdf.open(make_pdf(tmp_path / "made.pdf", content=b"q 60 0 0 36 20 20 cm /P Do Q")) as pdf:
        picture = pikepdf.Stream(pdf, data)
        facts = {"Subtype": "/Image", "ColorSpace": space, "Filter": coding, "Type": "/XObject"}
        for key, value in facts.items():
            picture[f"/{key}"] = Name(value)
        picture.Width, picture.Height, picture.BitsPerComponent = 160, 96, 8
        for key, value in more.items():
            picture[f"/{key}"] = value
        pdf.pages[0].obj.Resources = Dictionary(XObject=Dictionary(P=pdf.make_indirect(picture)))
        pdf.save(path, stream_decode_level=pikepdf.StreamDecodeLevel.none, compress_streams=False)
    return path.read_bytes()


def jpeg(mode: str, coding: str = "JPEG", **more: Any) -> bytes:
    noise = Random(7).randbytes(160 * 96 * len(mode))
    out = io.BytesIO()
    Image.frombytes(mode, (160, 96), noise).save(out, coding, **({"quality": 90} if coding == "JPEG" else {}), **more)
    return out.getvalue()


SAMPLES = Random(7).randbytes(160 * 96 * 4)
PREDICTED = b"".join(b"\0" + SAMPLES[row * 640 : row * 640 + 640] for row in range(96))
ROWS = {"DecodeParms": Dictionary(Predictor=15, Colors=4, BitsPerComponent=8, Columns=160)}
PICTURES = {
    # data, filter, what more -> findings
    "packed": (zlib.compress(SAMPLES), "/FlateDecode", {}, []),
    "packed in rows": (zlib.compress(PREDICTED), "/FlateDecode", ROWS, []),
    "more than needed": (zlib.compress(SAMPLES + SAMPLES), "/FlateDecode", {}, []),
    "packed data cut short": (zlib.compress(SAMPLES)[:30_000], "/FlateDecode", {}, ["hold damaged_picture"]),
    "packed data damaged": (zlib.compress(SAMPLES[:-1] + b"x")[:-4] + b"abcd", "/FlateDecode", {}, ["hold damaged_picture"]),
    "a row missing": (zlib.compress(PREDICTED[641:]), "/FlateDecode", ROWS, ["hold damaged_picture"]),
    "too few samples": (zlib.compress(SAMPLES[640:]), "/FlateDecode", {}, ["hold damaged_picture"]),
    "samples of fewer colours": (zlib.compress(SAMPLES[: 160 * 96 * 3]), "/FlateDecode", {}, ["hold damaged_picture"]),
    "JPEG": (jpeg("CMYK"), "/DCTDecode", {}, []),
    "JPEG in RGB": (jpeg("RGB"), "/DCTDecode", {"ColorSpace": Name.DeviceRGB}, []),
    "progressive JPEG": (jpeg("CMYK", progressive=True), "/DCTDecode", {}, []),
    "JPEG without its end's marker": (jpeg("CMYK")[:-2], "/DCTDecode", {}, []),
    "JPEG cut and closed": (jpeg("CMYK")[:20_000] + b"\xff\xd9", "/DCTDecode", {}, ["hold damaged_picture"]),
    "JPEG cut": (jpeg("RGB")[:10_000], "/DCTDecode", {"ColorSpace": Name.DeviceRGB}, ["hold damaged_picture"]),
    "JPEG 2000": (jpeg("L", "JPEG2000"), "/JPXDecode", {"ColorSpace": Name.DeviceGray}, []),
    "JPEG 2000 cut": (jpeg("L", "JPEG2000")[:6000], "/JPXDecode", {"ColorSpace": Name.DeviceGray}, ["hold damaged_picture"]),
    "no JPEG": (b"not one", "/DCTDecode", {}, ["hold damaged_picture"]),
}  # fmt: skip


@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_inside_that_is_not_whole(name: str, tmp_path: Path) -> None:
    """ISO 32000-1 8.9.3 says how much data a picture needs; readers fill in what is missing, each in its way."""
    data, coding, more, found = PICTURES[name]
    assert codes(opened(tmp_path, with_picture(tmp_path, data, coding, **more))) == found


# ---- where the page is cut


def box(*sides: float) -> list[float]:
    return [round(side * MM, 4) for side in sides]


TRIMS = {
    # built without TrimBox: bleed mm, ticket, settings -> findings, trim box mm
    "page is trim and bleed": (3, A3, {}, ["mended trim_inferred"], (3, 3, 300, 423)),
    "page is the trim": (0, A3, {}, ["mended trim_inferred"], (0, 0, 297, 420)),
    "page is neither": (40, A3, {}, [], None),
    "nothing ordered": (3, {}, {}, [], None),
    "not wanted": (3, A3, {"infer_trim": False}, [], None),
}


@pytest.mark.parametrize("name", TRIMS)
def test_a_missing_trim_box(name: str, tmp_path: Path) -> None:
    bleed, ticket, settings, found, trim = TRIMS[name]
    job = opened(tmp_path, poster(tmp_path, boxes=False, bleed_mm=bleed), ticket=ticket, settings=settings)
    assert codes(job) == found
    page = pypdf.PdfReader(job.artwork).pages[0]
    if trim is None:
        assert "/TrimBox" not in page
    else:
        assert [float(side) for side in page["/TrimBox"]] == pytest.approx(box(*trim), abs=0.01)
        assert [float(side) for side in page["/BleedBox"]] == pytest.approx([float(v) for v in page.mediabox], abs=0.01)
        assert "That was written into the PDF as its trim box." in job.findings[0].message


def test_a_trim_box_that_is_there_stays(tmp_path: Path) -> None:
    wrong = Array([20, 20, 400, 500])
    data = poster(tmp_path, bleed_mm=3, changes={"/TrimBox": wrong})
    job = opened(tmp_path, data, ticket=A3)
    assert codes(job) == []
    assert job.artwork.read_bytes() == data


def test_several_pages_are_one_finding(tmp_path: Path) -> None:
    job = opened(tmp_path, poster(tmp_path, boxes=False, bleed_mm=3, pages=5), ticket=A3)
    assert codes(job) == ["mended trim_inferred"]
    assert "This is so on 5 pages, from page 1 on." in job.findings[0].message
    assert all("/TrimBox" in page for page in pypdf.PdfReader(job.artwork).pages)


def test_only_the_boxes_change(tmp_path: Path) -> None:
    resources = Dictionary(ExtGState=Dictionary(G=Dictionary(ca=0.5)))
    data = poster(tmp_path, boxes=False, bleed_mm=3, resources=resources)
    job = opened(tmp_path, data, ticket=A3)
    with pikepdf.open(tmp_path / "made.pdf") as before, job.read() as after:
        first, second = before.pages[0], after.pages[0]
        assert first.Contents.read_bytes() == second.Contents.read_bytes()
        assert set(second.keys()) - set(first.keys()) == {"/TrimBox", "/BleedBox"}
        assert first.MediaBox == second.MediaBox
        assert first.Resources == second.Resources


@pytest.mark.skipif(not CORPUS.is_dir(), reason="the corpus of real and hostile PDFs is not beside this checkout")
def test_real_posters_open_and_hostile_files_never_crash(tmp_path: Path) -> None:
    for folder in ("posters", "stress"):
        for path in sorted((CORPUS / folder).glob("*.pdf")):
            job = make_job(tmp_path, path, opened=False)
            run_steps(job, STEP())
            found = [code for code in codes(job) if re.match("hold", code)]
            assert "hold fault" not in found, (path.name, job.findings)
            if folder == "posters":
                assert found == [], path.name
            elif job.has_artwork:
                with job.read() as pdf:
                    assert len(pdf.pages) >= 1, path.name
            for left in job.work.iterdir():
                left.unlink()


def test_a_trailer_without_a_size_gets_one(tmp_path: Path) -> None:
    """Other readers need /Size (ISO 32000-1 7.5.5); qpdf carries its absence along."""
    path = tmp_path / "no size.pdf"
    path.write_bytes(
        b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n"
        b"3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 842 1191]/Resources<<>>>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF"
    )
    job = make_job(tmp_path, path, opened=False)
    run_steps(job, load_plugins().steps["open_pdf"]())
    assert codes(job)[0] == "note repaired"
    assert len(pypdf.PdfReader(job.artwork).pages) == 1


def test_metadata_that_is_none_is_no_fault(tmp_path: Path) -> None:
    """A locked file is saved anew when it is opened; what stands in the place of its metadata does not matter."""
    plain = make_pdf(tmp_path / "plain.pdf", trim_mm=(105, 148))
    with pikepdf.open(plain) as pdf:
        pdf.Root.Metadata = pdf.make_indirect(pikepdf.Dictionary(Type=pikepdf.Name.Metadata))
        pdf.save(tmp_path / "b.pdf", encryption=pikepdf.Encryption(owner="x", user=""), fix_metadata_version=False)
    job = opened(tmp_path, (tmp_path / "b.pdf").read_bytes())
    assert not job.held
    with job.edit():
        pass
    with job.read() as pdf:
        assert len(pdf.pages) == 1
