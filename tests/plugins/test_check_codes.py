"""What check_codes finds and says: codes drawn as shapes and as pictures, each beside a clean twin.

QR codes come from reportlab, EAN-13 bars from the table below, so that writer and reader are different programs; only
Micro QR, Data Matrix, Aztec, PDF417 and Code 128 are written by the library that reads them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path

import numpy as np
import pikepdf
import pytest
import zxingcpp
from pikepdf import Dictionary, Name, Stream
from reportlab.graphics.barcode import qrencoder

from hotfolder.job import Job
from hotfolder.loading import load_plugins
from hotfolder.pdf.looking.code_print import measure
from hotfolder.pdf.looking.codes import find_codes
from hotfolder.pdf.render import open_pages
from hotfolder.testing import codes, make_job, make_pdf, run_steps
from hotfolder.units import MM

STEPS = load_plugins().steps
ADDRESS = "https://example.org/k"
SPOT = (40.0, 40.0)  # mm from the page's lower left corner
Rows = Sequence[Sequence[int]]

# ISO/IEC 15420: the digits' bars, and which of the first six are of set B for each leading digit (from memory)
_LEFT = ["0001101", "0011001", "0010011", "0111101", "0100011", "0110001", "0101111", "0111011", "0110111", "0001011"]
_PARITY = ["AAAAAA", "AABABB", "AABBAB", "AABBBA", "ABAABB", "ABBAAB", "ABBBAA", "ABABAB", "ABABBA", "ABBABA"]


def ean13(digits: str) -> Rows:
    total = sum(int(digit) * (3 if at % 2 else 1) for at, digit in enumerate(digits))
    digits += str(-total % 10)
    right = ["".join("10"[int(bit)] for bit in code) for code in _LEFT]
    sets = {"A": _LEFT, "B": [code[::-1] for code in right]}
    first = "".join(sets[which][int(digit)] for which, digit in zip(_PARITY[int(digits[0])], digits[1:7], strict=True))
    bars = f"101{first}01010{''.join(right[int(digit)] for digit in digits[7:])}101"
    return [[int(bit) for bit in bars]]


def wrong_check() -> Rows:
    """An EAN-13 whose last digit is 5 where it should be 1."""
    row = [*ean13("400638133393")[0]]
    row[-10:-3] = [1 - int(bit) for bit in _LEFT[5]]
    return [row]


def covered(side: float, high: float = 1.0) -> bytes:
    """A QR code with a white square of so many modules in its middle. `high`: how high its modules are, to their width."""
    rows = square()
    start, wide = (len(rows) - side) / 2 * 0.6, side * 0.6
    x, y = SPOT[0] + start, SPOT[1] + start * high
    return drawn(rows, high=high) + b"0 0 0 0 k %f %f %f %f re f " % (x * MM, y * MM, wide * MM, wide * high * MM)


def square(text: str = ADDRESS) -> Rows:
    code = qrencoder.QRCode(None, qrencoder.QRErrorCorrectLevel.M)
    code.addData(text)
    code.make()
    return [[int(bool(module)) for module in row] for row in code.modules]


def written(text: str, kind: str) -> Rows:
    image = np.asarray(
        zxingcpp.create_barcode(text, getattr(zxingcpp.BarcodeFormat, kind)).to_image(add_quiet_zones=False)
    )
    return (image < 128).astype(int).tolist()  # type: ignore[no-any-return]


def drawn(
    rows: Rows,
    module: float = 0.6,
    at: tuple[float, float] = SPOT,
    *,
    ink: str = "0 0 0 1 k",
    ground: str = "0 0 0 0 k",
    free: float = 12,
    high: float = 1.0,
    turn: float = 0.0,
) -> bytes:
    """A code as shapes on a ground that reaches `free` modules around it; lengths in mm."""
    wide, tall = len(rows[0]), len(rows) * high
    parts = [f"q {MM} 0 0 {MM} {at[0] * MM:.4f} {at[1] * MM:.4f} cm {module} 0 0 {module} 0 0 cm"]
    if turn:
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        parts.append(
            f"{c:.6f} {s:.6f} {-s:.6f} {c:.6f} {wide / 2 * (1 - c) + tall / 2 * s:.4f} {tall / 2 * (1 - c) - wide / 2 * s:.4f} cm"
        )
    parts.append(f"{ground} {-free} {-free} {wide + 2 * free} {tall + 2 * free} re f {ink}")
    for down, row in enumerate(rows):
        bars = "".join(map(str, row))
        for start, bar in enumerate(bars):
            if bar == "1":
                parts.append(f"{start} {tall - (down + 1) * high} 1 {high} re")
    return " ".join([*parts, "f Q\n"]).encode()


def bars(digits: str = "400638133393", module: float = 0.33, **options: object) -> bytes:
    return drawn(ean13(digits), module, high=70, **{"free": 13, **options})  # type: ignore[arg-type]


GROUND = b"0 0 0 0.1 k -99 -99 9999 9999 re f\n"
TEXT = b"BT /F 5 Tf 0 g 300 400 Td (Doors 7 pm) Tj ET"
# name -> (content, findings beside code_read, what is read)
QR, EAN = ("a QR code", ADDRESS), ("an EAN-13 barcode", "4006381333931")
BLACK = b"0 0 0 1 k 0 0 999 999 re f "
TABLE = {
    "nothing": (TEXT, [], []),
    "a QR code": (drawn(square()), [], [QR]),
    "small modules": (drawn(square(), 0.28), ["note code_small"], [QR]),
    "modules too small": (drawn(square(), 0.22), ["hold code_too_small"], [QR]),
    "a very large one": (drawn(square(), 5), [], [QR]),
    "turned": (drawn(square(), turn=30), [], [QR]),
    "upside down": (drawn(square(), turn=180), [], [QR]),
    "pale": (drawn(square(), ink="0 0 0 0.15 k"), ["hold code_pale"], [QR]),
    "pale on pale": (drawn(square(), ink="0.5 0.2 0 0 k", ground="0 0 0.9 0.1 k"), ["hold code_pale"], [QR]),
    "a QR code in red is for phones": (drawn(square(), ink="0 1 1 0.1 k"), [], [QR]),
    "light on dark": (drawn(square(), ink="0 0 0 0 k", ground="1 0.8 0 0.5 k"), ["note code_reversed"], [QR]),
    "crowded": (b"0 0 0 1 k 0 0 999 999 re f " + drawn(square(), free=2), ["note code_crowded"], [QR]),
    "room enough": (b"0 0 0 1 k 0 0 999 999 re f " + drawn(square(), free=4.2), [], [QR]),
    "a word in its free space": (
        drawn(square()) + b" BT /F 7 Tf 0 g %f %f Td (Scan me) Tj ET" % (40 * MM, 38.2 * MM),
        ["note code_crowded"],
        [QR],
    ),
    "a word outside of it": (
        drawn(square()) + b" BT /F 7 Tf 0 g %f %f Td (Scan me) Tj ET" % (40 * MM, 34 * MM),
        [],
        [QR],
    ),
    "in the safe margin": (drawn(square(), at=(9, 60)), ["note code_in_margin"], [QR]),
    "across the cut": (drawn(square(), at=(4, 60)), ["hold code_cut"], [QR]),
    "an EAN-13": (bars(), [], [EAN]),
    "an EAN-13 on its side": (bars(turn=90), [], [EAN]),
    "an EAN-13 upside down": (bars(turn=180), [], [EAN]),
    "an EAN-13 at 80 percent": (bars(module=0.264), ["note code_small"], [EAN]),
    "an EAN-13 in red": (bars(ink="0 1 1 0 k"), ["hold code_red"], [EAN]),
    "an EAN-13 in blue on yellow": (bars(ink="1 0.7 0 0.2 k", ground="0 0 1 0 k"), [], [EAN]),
    "an EAN-13 light on dark": (bars(ink="0 0 0 0 k", ground="0 0 0 1 k"), ["hold code_reversed"], [EAN]),
    "an EAN-13 a bit crowded": (b"0 0 0 1 k 0 0 999 999 re f " + bars(free=8), ["note code_crowded"], [EAN]),
    "an EAN-13 without room": (b"0 0 0 1 k 0 0 999 999 re f " + bars(free=6), ["hold code_crowded"], [EAN]),
    "an EAN-13 with next to no room": (BLACK + bars(free=1.5), ["hold code_crowded"], [EAN]),
    "an EAN-13 on its side with next to no room": (BLACK + bars(free=1.5, turn=90), ["hold code_crowded"], [EAN]),
    "a Code 128 with next to no room": (
        BLACK + drawn(written("PIER 7", "Code128"), 0.4, (22, 60), free=1.5),
        ["hold code_crowded"],
        [("a Code 128 barcode", "PIER 7")],
    ),
    "a Code 39 with next to no room": (
        BLACK + drawn(written("PIER7", "Code39"), 0.35, (22, 60), free=1.5),
        ["hold code_crowded"],
        [("a Code 39 barcode", "PIER7")],
    ),
    "a QR code with red up to its sides": (
        b"0 0.9 0.8 0 k 0 0 999 999 re f " + drawn(square(), free=0),
        ["note code_crowded"],
        [QR],
    ),
    "a wrong check digit": (drawn(wrong_check(), 0.33, high=70, free=13), ["hold code_unread"], []),
    "a code covered too far": (covered(11), ["hold code_unread"], []),
    "what looks like a code and is much too low for one": (covered(11, high=0.45), [], []),
    "a small sign in the middle": (covered(5), [], [QR]),
    "two codes": (drawn(square()) + bars(at=(100, 100)), [], [EAN, QR]),
    "the same code twice": (drawn(square()) + drawn(square(), at=(100, 100)), [], [QR, QR]),
    "a code outside the trim": (drawn(square(), 0.35, at=(20, -9)), [], []),
    "Micro QR": (drawn(written("4711", "MicroQRCode"), 0.5), [], [("a Micro QR code", "4711")]),
    "Data Matrix": (drawn(written("A-4711", "DataMatrix"), 0.5), [], [("a Data Matrix code", "A-4711")]),
    "Aztec": (drawn(written("A-4711", "Aztec"), 0.5), [], [("an Aztec code", "A-4711")]),
    "PDF417": (drawn(written("A-4711", "PDF417"), 0.5), [], [("a PDF417 code", "A-4711")]),
    "Code 128": (drawn(written("A-4711", "Code128")[:1], 0.4, high=40), [], [("a Code 128 barcode", "A-4711")]),
    "stripes that are none": (drawn([[1, 0] * 40], 0.5, high=60), [], []),
    "a chessboard": (drawn([[(x + y) % 2 for x in range(25)] for y in range(25)]), [], []),
}


def run(tmp_path: Path, content: bytes, **settings: object) -> Job:
    font = Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica)
    path = make_pdf(
        tmp_path / "p.pdf",
        trim_mm=(210, 297),
        slug_mm=12,
        content=GROUND + content,
        resources=Dictionary(Font=Dictionary(F=font)),
    )
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:  # the origin is the trim's corner less the bleed
        pdf.pages[0].Contents = pdf.make_stream(b"1 0 0 1 %f %f cm " % (12 * MM, 12 * MM) + GROUND + content)
        pdf.save(path)
    job = make_job(tmp_path, path)
    step = STEPS["check_codes"]
    (record,) = run_steps(job, step(step.Settings(**settings)))
    assert record.trace is None, record.trace
    return job


@pytest.mark.parametrize(("content", "found", "read"), TABLE.values(), ids=TABLE.keys())
def test_what_is_found(tmp_path, content, found, read):
    job = run(tmp_path, content)
    told = [finding for finding in job.findings if finding.code == "code_read"]
    assert [code for code in codes(job) if code != "note code_read"] == found
    expected = [f"{kind[:1].upper()}{kind[1:]} says “{text}”. Compare it with what was ordered." for kind, text in read]
    assert [finding.message for finding in told] == expected
    assert all(finding.box is not None for finding in told)


def test_measures_are_those_drawn(tmp_path):
    """Module size, contrast and free space against what the drawing says."""
    content = b"0 0 0 1 k 0 0 999 999 re f " + drawn(square(), 0.5, free=2.5, ink="0 0 0 1 k")
    run(tmp_path, content)
    with open_pages(tmp_path / "p.pdf") as pages:
        (code,) = find_codes(pages, 1, pages.sheet(1), 1.0)
    measured = measure(code)
    assert measured.module / MM == pytest.approx(0.5, rel=0.02)
    assert measured.quiet == pytest.approx(2.5, abs=0.3)
    assert measured.contrast > 0.95
    size = len(square()) * 0.5
    corner = SPOT[0] + 12
    assert code.box.left / MM == pytest.approx(corner, abs=0.2)
    assert code.box.right / MM == pytest.approx(corner + size, abs=0.2)
    assert measured.zone.left / MM == pytest.approx(corner - 2, abs=0.2)


@pytest.mark.parametrize("kind", ["Code128", "PDF417", "Aztec", "DataMatrix"])
def test_modules_of_kinds_that_do_not_tell_their_number(tmp_path, kind):
    high = 40 if kind == "Code128" else 1
    rows = written("Box 4711", kind)[: 1 if kind == "Code128" else None]
    run(tmp_path, drawn(rows, 0.5, high=high))
    with open_pages(tmp_path / "p.pdf") as pages:
        (code,) = find_codes(pages, 1, pages.sheet(1), 1.0)
    assert measure(code).module / MM == pytest.approx(0.5, rel=0.1)


def test_a_page_with_a_larger_unit(tmp_path):
    """A code of 0.6 mm modules stays one when the page is written at a tenth of its size with UserUnit 10."""
    path = make_pdf(
        tmp_path / "p.pdf",
        trim_mm=(60, 80),
        content=b"0 0 0 0 k -99 -99 9999 9999 re f 0.1 0 0 0.1 0 0 cm " + drawn(square(), at=(200, 200)),
        changes={"/UserUnit": 10},
    )
    job = make_job(tmp_path, path)
    run_steps(job, STEPS["check_codes"]())
    assert codes(job) == ["note code_read"]
    assert job.findings[0].measured == "finest parts of 0.60 mm"


def test_a_turned_page(tmp_path):
    path = make_pdf(tmp_path / "p.pdf", content=b"0 0 0 0 k -99 -99 9999 9999 re f " + bars(), changes={"/Rotate": 90})
    job = make_job(tmp_path, path)
    run_steps(job, STEPS["check_codes"]())
    assert codes(job) == ["note code_read"]


def test_hostile_text_is_shown_harmlessly(tmp_path):
    text = "<script>\x1b[31m‮" + "x" * 150
    job = run(tmp_path, drawn(square(text)))
    (finding,) = job.findings
    assert "“<script>\\x1b[31m\\u202exxx" in finding.message
    assert finding.message.endswith("…”. Compare it with what was ordered.")
    assert len(finding.message) < 260
    assert finding.message.isprintable()


def test_a_picture_of_the_trouble_is_shown(tmp_path):
    job = run(tmp_path, drawn(square(), 0.22))
    ((words, picture),) = job.views["check_codes", "code_too_small"]
    assert words == "The code in blue, the free space that it needs in orange"
    colours = {colour for _, colour in picture.getcolors(picture.width * picture.height)}
    assert {(0, 87, 184), (224, 112, 0)} <= colours


@pytest.mark.parametrize("quality", [90, 30])
def test_a_code_in_a_poster_that_is_one_picture(tmp_path, quality):
    """A JPEG at 150 ppi: 0.6 mm are three and a half pixels."""
    run(tmp_path, drawn(square()) + bars(at=(100, 100), module=0.5))
    with open_pages(tmp_path / "p.pdf") as pages:
        shown = pages.render(1, 150)
    out = BytesIO()
    shown.picture.save(out, "JPEG", quality=quality)
    with pikepdf.open(tmp_path / "p.pdf", allow_overwriting_input=True) as pdf:
        width, height = shown.size
        picture = Stream(pdf, out.getvalue(), Type=Name.XObject, Subtype=Name.Image, Width=width, Height=height)
        picture.ColorSpace, picture.BitsPerComponent, picture.Filter = Name.DeviceRGB, 8, Name.DCTDecode
        pdf.pages[0].obj.Resources = Dictionary(XObject=Dictionary(P=picture))
        box = [float(side) for side in pdf.pages[0].MediaBox]
        pdf.pages[0].Contents = pdf.make_stream(b"%f 0 0 %f 0 0 cm /P Do" % (box[2], box[3]))
        pdf.save(tmp_path / "q.pdf")
    job = make_job(tmp_path, tmp_path / "q.pdf")
    run_steps(job, STEPS["check_codes"]())
    assert codes(job) == ["note code_read"] * 2


def test_contrast_is_that_of_the_plates(tmp_path):
    """Light modules that overprint a dark ground in overprint mode 1 look light on a screen, and print as the ground."""
    light = drawn([[1 - bit for bit in row] for row in square()], ink="0 0 0 0 k", ground="0 0 0 1 k", free=0)
    path = make_pdf(tmp_path / "code.pdf", trim_mm=(100, 100), content=GROUND.replace(b"0.1", b"0") + light)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        page = pdf.pages[0]
        page.Resources = Dictionary(ExtGState=Dictionary(O=Dictionary(OP=True, op=True, OPM=1)))
        pdf.save(path)
    assert "hold code_pale" not in codes(checked(tmp_path / "plain", path))
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        pdf.pages[0].Contents = pdf.make_stream(
            pdf.pages[0].Contents.read_bytes().replace(b"f 0 0 0 0 k", b"f /O gs 0 0 0 0 k")
        )
        pdf.save(path)
    assert "hold code_pale" in codes(checked(tmp_path / "over", path))


def checked(folder: Path, path: Path) -> Job:
    folder.mkdir()
    job = make_job(folder, path, ticket={"trim": "100x100mm", "bleed": "0mm"})
    run_steps(job, STEPS["check_codes"]())
    return job


def test_pages_are_named(tmp_path):
    path = make_pdf(tmp_path / "p.pdf", pages=2, content=b"0 0 0 0 k -99 -99 9999 9999 re f " + drawn(square()))
    job = make_job(tmp_path, path)
    run_steps(job, STEPS["check_codes"]())
    assert [finding.message.split(" says")[0] for finding in job.findings] == [
        "On page 1 a QR code",
        "On page 2 a QR code",
    ]


def test_settings(tmp_path):
    job = run(tmp_path, drawn(square(), 0.28), good_module="0.2mm", tell_text=False)
    assert codes(job) == []


def test_a_file_that_is_looked_at_is_not_changed(tmp_path):
    job = run(tmp_path, drawn(square()))
    assert job.artwork == tmp_path / "p.pdf"
