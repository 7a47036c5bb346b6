"""Everything that people and programs get wrong, dropped at once: each a sentence, the original intact, the daemon alive."""

from __future__ import annotations

import hashlib
import struct
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name
from PIL import Image

from hotfolder.finding import Outcome
from hotfolder.testing import make_pdf

GOOD = {"trim_mm": (297, 420), "bleed_mm": 3}


def good(path: Path) -> None:
    make_pdf(path, **GOOD)  # type: ignore[arg-type]


def truncated(path: Path) -> None:
    good(path)
    path.write_bytes(path.read_bytes()[:-200])


def wrongly_named(path: Path) -> None:
    Image.new("RGB", (60, 80)).save(path, "PNG")


def locked(path: Path) -> None:
    good(path)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        pdf.save(path, encryption=pikepdf.Encryption(user="secret", owner="secret"))


def pages_200(path: Path) -> None:
    make_pdf(path, pages=200, **GOOD)  # type: ignore[arg-type]


def media(*corners: object) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        box = " ".join(map(str, corners))
        objects = [
            "<</Type/Catalog/Pages 2 0 R>>",
            "<</Type/Pages/Kids[3 0 R]/Count 1>>",
            f"<</Type/Page/Parent 2 0 R/MediaBox[{box}]/Resources<<>>>>",
        ]
        path.write_bytes(plain_pdf(objects))

    return write


def plain_pdf(objects: list[str]) -> bytes:
    """A PDF with a right cross-reference table, so that only what is meant is wrong."""
    out, places = b"%PDF-1.4\n", []
    for number, text in enumerate(objects, 1):
        places.append(len(out))
        out += f"{number} 0 obj{text}endobj\n".encode("latin-1")
    start = len(out)
    table = "".join(f"{place:010} 00000 n \n" for place in places)
    return out + (
        f"xref\n0 {len(objects) + 1}\n0000000000 65535 f \n{table}"
        f"trailer<</Size {len(objects) + 1}/Root 1 0 R>>\nstartxref\n{start}\n%%EOF\n"
    ).encode("latin-1")


def circular_pages(path: Path) -> None:
    path.write_bytes(plain_pdf(["<</Type/Catalog/Pages 2 0 R>>", "<</Type/Pages/Kids[2 0 R]/Count 1>>"]))


def circular_form(path: Path) -> None:
    good(path)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        form = pdf.make_stream(b"0 1 0 rg /F Do", Type=Name.XObject, Subtype=Name.Form, BBox=Array([0, 0, 900, 1300]))
        form.Resources = Dictionary(XObject=Dictionary(F=form))
        pdf.pages[0].obj.Resources = Dictionary(XObject=Dictionary(F=form))
        pdf.pages[0].obj.Contents = pdf.make_stream(b"/F Do")
        pdf.save(path)


def gigapixel(path: Path) -> None:
    """A PNG of 32768 x 32768 pixels by its head, in under a kilobyte."""
    head = struct.pack(">IIBBBBB", 32768, 32768, 8, 2, 0, 0, 0)
    chunks = [(b"IHDR", head), (b"IDAT", zlib.compress(bytes(4096))), (b"IEND", b"")]
    data = b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body)) for kind, body in chunks
    )
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + data)


def gigapixel_in_pdf(path: Path) -> None:
    good(path)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        picture = pikepdf.Stream(
            pdf, b"\0" * 64, Type=Name.XObject, Subtype=Name.Image, Width=40000, Height=40000,
            ColorSpace=Name.DeviceRGB, BitsPerComponent=8,
        )  # fmt: skip
        pdf.pages[0].obj.Resources = Dictionary(XObject=Dictionary(P=picture))
        pdf.pages[0].obj.Contents = pdf.make_stream(b"q 900 0 0 1200 0 0 cm /P Do Q")
        pdf.save(path)


def many_sheets(path: Path) -> None:
    sheets = [Image.new("RGB", (60, 80)) for _ in range(3)]
    sheets[0].save(path, save_all=True, append_images=sheets[1:])


def text_file(path: Path) -> None:
    path.write_text("Please print this big. Thanks!")


# file name, how it is made, outcome, the words that its first hold finding must hold
TABLE: list[tuple[str, Callable[[Path], None], Outcome, str]] = [
    ("good.pdf", good, Outcome.PASS, ""),
    ("cut short.pdf", truncated, Outcome.HOLD, "cut short"),
    ("really a png.pdf", wrongly_named, Outcome.HOLD, ""),
    ("locked.pdf", locked, Outcome.HOLD, "password"),
    ("200 pages.pdf", pages_200, Outcome.HOLD, "200 pages"),
    ("no size.pdf", media(0, 0, 0, 0), Outcome.HOLD, ""),
    ("14400 units.pdf", media(0, 0, 14400, 14400), Outcome.HOLD, "5080 × 5080 mm"),
    ("not a number.pdf", media(0, 0, "nan", 1190), Outcome.HOLD, ""),
    ("huge.pdf", media(0, 0, "9" * 300, 1190), Outcome.HOLD, ""),
    ("past huge.pdf", media(0, 0, "9" * 400, 1190), Outcome.HOLD, ""),
    ("circular pages.pdf", circular_pages, Outcome.HOLD, ""),
    ("circular form.pdf", circular_form, Outcome.HOLD, ""),
    ("gigapixel.png", gigapixel, Outcome.HOLD, "megapixel"),
    ("gigapixel.pdf", gigapixel_in_pdf, Outcome.HOLD, ""),
    ("many sheets.tif", many_sheets, Outcome.HOLD, "3 "),
    ("empty.pdf", lambda path: path.touch(), Outcome.HOLD, "empty"),
    ("letter.txt", text_file, Outcome.HOLD, "can't open this kind of file"),
    ("line\nbreak.pdf", good, Outcome.PASS, ""),
    ("jazz 🎷 night.pdf", good, Outcome.PASS, ""),
    ("n" * 246 + ".pdf", good, Outcome.PASS, ""),
    ("-rf.pdf", good, Outcome.PASS, ""),
    ("trailing dot.", good, Outcome.PASS, ""),
    ("CON.pdf", good, Outcome.PASS, ""),
    ("<script>alert(1)</script>.pdf", good, Outcome.PASS, ""),
]  # fmt: skip


def test_each_gets_its_sentence(tmp_path: Path, run_studio: Callable[[], Any]) -> None:
    watched = tmp_path / "in"
    for name, make, _, _ in TABLE:
        if "/" in name:
            name = name.replace("/", "")
        make(watched / name)
    (watched / "a folder.pdf").mkdir()
    outside = tmp_path / "outside.pdf"
    good(outside)
    (watched / "a link.pdf").symlink_to(outside)
    before = {path.name: digest(path) for path in watched.iterdir() if path.is_file() and not path.is_symlink()}

    ran = run_studio()

    wrong = []
    for name, _, outcome, words in TABLE:
        name = name.replace("/", "")
        (record,) = [each for each in ran.records if each.digest == before[name] and matches(each.file, name)] or [None]
        if record is None:
            wrong.append(f"{name!r}: no outcome")
            continue
        held = [finding for finding in record.findings if finding.level == "hold"]
        if record.outcome is not outcome or words not in (held[0].message + (held[0].measured or "") if held else ""):
            wrong.append(f"{name!r}: {record.outcome}, {[(each.code, each.message) for each in held]}")
        if held and any(finding.code == "fault" for finding in held):
            wrong.append(f"{name!r}: a fault, not a sentence: {held}")
        if held and not all(finding.message.rstrip().endswith((".", "!")) and finding.mend for finding in held):
            wrong.append(f"{name!r}: no sentence or no way to mend: {held}")
    assert not wrong, "\n".join(wrong)

    kept = {
        digest(path)
        for folder in (tmp_path / "hold", tmp_path / "spool")
        for path in folder.rglob("*")
        if path.is_file()
    }
    assert set(before.values()) <= kept, "an original's bytes are gone"
    assert digest(outside) in kept or outside.is_file()
    assert (watched / "a link.pdf").is_symlink(), "a link out of the folder is not followed"
    assert (watched / "a folder.pdf").is_dir()
    every = [path for folder in ("pass", "hold") for path in (tmp_path / folder).rglob("*") if path.is_file()]
    assert all(path.resolve().is_relative_to(tmp_path) for path in every)
    for path in every:
        if path.suffix == ".pdf" and path.parent.name == "pass":
            assert path.with_suffix(".log").is_file()
            assert path.with_name(path.stem + ".report.html").is_file()


def matches(shown: str, name: str) -> bool:
    return shown == name.encode("unicode_escape").decode() if "\n" in name else shown == name


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize("times", [2, 3])
def test_the_same_name_again_and_again(tmp_path: Path, run_studio: Callable[[], Any], times: int) -> None:
    """Each run finds the name free in the watched folder; the results stand side by side."""
    for _ in range(times):
        good(tmp_path / "in" / "same.pdf")
        run_studio()
    names = sorted(path.name for path in (tmp_path / "pass").glob("*.pdf"))
    assert names == sorted(["same.pdf", *(f"same-{number}.pdf" for number in range(2, times + 1))])
    assert {path.with_suffix("").name for path in (tmp_path / "pass").glob("*.log")} == {name[:-4] for name in names}
