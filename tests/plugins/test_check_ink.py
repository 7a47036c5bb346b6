"""What check_ink finds in small posters: one table of content and findings, and the figures it leaves behind."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name

from hotfolder.loading import load_plugins
from hotfolder.testing import codes, embed_picture, make_job, make_pdf, run_steps
from hotfolder.units import MM

CheckInk = load_plugins().steps["check_ink"]
LIMIT = 300  # of the default printing condition

WHITE_OFF = b"/Off gs"
TEXT = b"BT /F 6 Tf 100 100 Td (small print) Tj ET"
GROUND = b"0.6 0.5 0.4 0 k 0 0 400 400 re f "


def spot(name: str) -> Array:
    tint = Dictionary(FunctionType=2, Domain=Array([0, 1]), C0=Array([0, 0, 0, 0]), C1=Array([0, 0.6, 1, 0]), N=1)
    return Array([Name.Separation, Name("/" + name), Name.DeviceCMYK, tint])


def resources(*inks: str) -> Dictionary:
    """A font, overprinting on and off, and each ink as a colour space I0, I1, ..."""
    return Dictionary(
        Font=Dictionary(F=Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica)),
        ExtGState=Dictionary(
            On=Dictionary(OP=True, op=True, OPM=1), On0=Dictionary(OP=True, op=True, OPM=0), Off=Dictionary(OP=False)
        ),
        ColorSpace=Dictionary({f"/I{number}": spot(ink) for number, ink in enumerate(inks)}),
    )


def look(
    tmp_path: Path, content: bytes, *inks: str, ticket: dict[str, Any] | None = None, **settings: Any
) -> list[str]:
    path = make_pdf(tmp_path / "p.pdf", content=content, resources=resources(*inks))
    job = make_job(tmp_path, path, ticket=ticket)
    (record,) = run_steps(job, CheckInk(CheckInk.Settings(**settings)))
    assert record.trace is None, record.trace
    return codes(job)


# One centimetre is 28.35 points.
AREAS = [
    ("nothing", b"", []),
    ("at the limit", b"1 0.9 0.6 0.5 k 0 0 200 200 re f", []),
    ("rounding is nobody's fault", b"1 0.9 0.6 0.515 k 0 0 200 200 re f", []),
    ("over it, large", b"1 0.9 0.6 0.6 k 0 0 200 200 re f", ["hold over_limit"]),
    ("over it, 1.4 square centimetres", b"1 1 1 0.5 k 100 100 34 34 re f", ["hold over_limit"]),
    ("over it, a fifth of one", b"1 1 1 0.5 k 100 100 13 13 re f", ["note over_limit_small"]),
    ("over it, a speck", b"1 1 1 0.5 k 100 100 5 5 re f", []),
    (
        "twenty specks of a fifth far apart are no connected place",
        b"".join(b"1 1 1 0.5 k %d 100 13 13 re f " % (100 + 30 * at) for at in range(20)),
        ["note over_limit_small"],
    ),
    ("rich black", b"0.6 0.4 0.4 1 k 0 0 400 400 re f", []),
    (
        "two objects that mix by multiplying",
        b"1 0.5 0 0 k 0 0 200 200 re f /M gs 0.5 1 1 0.5 k 0 0 200 200 re f",
        ["hold over_limit"],
    ),
    ("outside the bleed", b"1 1 1 1 k -900 -900 890 890 re f", []),
]


@pytest.mark.parametrize(("content", "found"), [case[1:] for case in AREAS], ids=[case[0] for case in AREAS])
def test_total_ink(tmp_path: Path, content: bytes, found: list[str]) -> None:
    path = make_pdf(tmp_path / "p.pdf", content=content)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        pdf.pages[0].Resources = Dictionary(ExtGState=Dictionary(M=Dictionary(BM=Name.Multiply)))
        pdf.save(path)
    job = make_job(tmp_path, path)
    run_steps(job, CheckInk())
    assert codes(job) == found


def test_an_overlimit_place_is_told_with_place_peak_and_limit(tmp_path: Path) -> None:
    path = make_pdf(tmp_path / "p.pdf", content=b"1 0.9 0.8 0.7 k 150 250 100 60 re f", changes={"/Rotate": 90})
    job = make_job(tmp_path, path)
    run_steps(job, CheckInk())
    (finding,) = job.findings
    assert finding.message.startswith("At this place the poster carries up to 340 % of ink; Coated paper, Europe")
    assert finding.measured is not None
    assert finding.measured.startswith("340 % at most, 7.")  # 7.5 cm²; squares that are only partly inked are lost
    assert finding.required == "at most 300 %"
    assert finding.box is not None
    assert finding.box == pytest.approx((150, 250, 250, 310), abs=3.1)  # squares of about a millimetre


MARKED = [
    # what is painted, with which inks beside the four, what the ticket lists, findings
    ("white that vanishes", GROUND + b"/On gs 0 0 0 0 k 50 50 90 90 re f", (), None, ["hold white_overprints"]),
    ("white stroke that vanishes", GROUND + b"/On gs 0 0 0 0 K 9 w 50 50 90 90 re S", (), None, ["hold white_overprints"]),
    ("white on bare paper", b"/On gs 0 0 0 0 k 50 50 90 90 re f", (), None, []),
    ("white that is covered", b"0.5 g 0 0 99 99 re f /On gs 0 0 0 0 k 9 9 50 50 re f /Off gs 0.5 g 0 0 99 99 re f", (), None, []),
    ("mode 0 knocks out", GROUND + b"/On0 gs 0 0 0 0 k 50 50 90 90 re f", (), None, []),
    ("white that knocks out", GROUND + b"0 0 0 0 k 50 50 90 90 re f", (), None, []),
    (
        "a spot ink of tint 0",
        GROUND + b"/On0 gs /I0 cs 0 scn 50 50 90 90 re f",
        ("Gold",),
        None,
        ["hold white_overprints"],
    ),
    ("registration colour in the art", b"/I0 cs 1 scn 100 100 50 5 re f", ("All",), None, ["note over_limit_small", "hold registration_colour"]),
    (
        "marks around the trim, as one path",
        b"/I0 CS 1 SCN 0 9 m 7 9 l 0 1190 m 7 1190 l 840 9 m 850 9 l S",
        ("All",),
        None,
        [],
    ),
    ("registration colour of tint 0", b"/I0 cs 0 scn 100 100 50 5 re f", ("All",), None, []),
    ("RGB", b"0.2 0.5 0.1 rg 100 100 50 50 re f", (), None, ["hold not_ink"]),
    ("RGB beside the sheet", b"0.2 0.5 0.1 rg -200 100 50 50 re f", (), None, []),
    ("a spot ink", b"/I0 cs 1 scn 100 100 50 50 re f", ("Gold",), None, ["note spot_inks"]),
    ("a spot ink that is never used", b"0.5 g 100 100 50 50 re f", ("Gold",), None, []),
    ("a spot ink as ordered, written otherwise", b"/I0 cs 1 scn 100 100 50 50 re f", ("Our Gold",), ["our-gold"], []),
    ("a spot ink not ordered", b"/I0 cs 1 scn 100 100 50 50 re f", ("Gold",), ["Silver"], ["hold ink_not_ordered", "note ink_not_used"]),
    ("none ordered", b"/I0 cs 1 scn 100 100 50 50 re f", ("Gold",), [], ["hold ink_not_ordered"]),
    (
        "inks that differ in case",
        b"/I0 cs 1 scn 100 100 50 50 re f /I1 cs 1 scn 200 100 50 50 re f",
        ("Warm Red", "WARM-RED"),
        ["Warm Red"],
        ["note inks_alike"],
    ),
    (
        "inks that differ in one letter",
        b"/I0 cs 1 scn 100 100 50 50 re f /I1 cs 1 scn 200 100 50 50 re f",
        ("Varnish", "Vanish"),
        None,
        ["note spot_inks", "note inks_alike"],
    ),
    (
        "inks that differ in a number",
        b"/I0 cs 1 scn 100 100 50 50 re f /I1 cs 1 scn 200 100 50 50 re f",
        ("Orange 21", "Orange 22"),
        None,
        ["note spot_inks"],
    ),
    ("a second cyan", b"/I0 cs 1 scn 100 100 50 50 re f", ("cyan",), None, ["note spot_inks", "note inks_alike"]),
]  # fmt: skip


@pytest.mark.parametrize(("content", "inks", "ticket", "found"), [c[1:] for c in MARKED], ids=[c[0] for c in MARKED])
def test_what_goes_wrong_on_press(
    tmp_path: Path, content: bytes, inks: tuple[str, ...], ticket: list[str] | None, found: list[str]
) -> None:
    assert look(tmp_path, content, *inks, ticket=None if ticket is None else {"inks": ticket}) == found


SMALL = [
    ("black on paper", b"0 g " + TEXT, []),
    ("three inks", b"0.6 0.5 0.4 0 k " + TEXT, ["note built_text"]),
    ("three inks, large", b"0.6 0.5 0.4 0 k " + TEXT.replace(b"6 Tf", b"60 Tf"), []),
    ("three inks, large by its matrix", b"q 9 0 0 9 0 0 cm 0.6 0.5 0.4 0 k BT /F 6 Tf 9 9 Td (Aa) Tj ET Q", []),
    ("three inks, small by its matrix", b"q .1 0 0 .1 50 50 cm 0.6 0.5 0.4 0 k BT /F 60 Tf 9 9 Td (Aa) Tj ET Q", ["note built_text"]),
    ("two inks", b"0.6 0.5 0 0 k " + TEXT, []),
    ("two inks and a trace of the third", b"0.6 0.5 0.05 0 k " + TEXT, []),
    ("invisible", b"3 Tr 0.6 0.5 0.4 0 k " + TEXT, []),
    ("white on three inks", GROUND + b"0 0 0 0 k " + TEXT, ["note reversed_text"]),
    ("white on black alone", b"0 g 0 0 400 400 re f 1 g " + TEXT, []),
    ("white on two inks", b"0.6 0.5 0 0 k 0 0 400 400 re f 0 0 0 0 k " + TEXT, []),
    ("white on three inks, large", GROUND + b"0 0 0 0 k " + TEXT.replace(b"6 Tf", b"30 Tf"), []),
    ("black on colour", b"0.4 0 0 0 k 0 0 400 400 re f 0 0 0 1 k " + TEXT, ["note black_knocks_out"]),
    ("black on colour, overprinting", b"0.4 0 0 0 k 0 0 400 400 re f /On gs 0 0 0 1 k " + TEXT, []),
    ("black on a gray of black", b"0.6 g 0 0 400 400 re f 0 g " + TEXT, []),
    ("a fine line of three inks", b"0.6 0.5 0.4 0 K 0.3 w 50 50 m 300 50 l S", ["note built_line"]),
    ("a fine line of black", b"0 G 0.3 w 50 50 m 300 50 l S", []),
    ("a wide line of three inks", b"0.6 0.5 0.4 0 K 3 w 50 50 m 300 50 l S", []),
    ("a line that becomes fine", b"0.6 0.5 0.4 0 K q .1 0 0 .1 0 0 cm 3 w 500 500 m 3000 500 l S Q", ["note built_line"]),
]  # fmt: skip


@pytest.mark.parametrize(("content", "found"), [case[1:] for case in SMALL], ids=[case[0] for case in SMALL])
def test_small_text_and_fine_lines(tmp_path: Path, content: bytes, found: list[str]) -> None:
    assert look(tmp_path, content) == found


def test_sizes_and_areas_are_settings(tmp_path: Path) -> None:
    assert look(tmp_path, b"0.6 0.5 0.4 0 k " + TEXT, built_text="5pt") == []
    assert look(tmp_path, b"1 1 1 0.5 k 100 100 34 34 re f", hold_area=2) == ["note over_limit_small"]
    assert look(tmp_path, b"1 0.9 0.6 0.6 k 0 0 200 200 re f", tolerance=11) == []


def test_registration_colour_that_is_clipped_away_is_no_finding(tmp_path: Path) -> None:
    assert look(tmp_path, b"q 0 0 1 1 re W n /I0 cs 1 scn 100 100 50 5 re f Q", "All") == []


def test_what_other_steps_held_is_not_told_again(tmp_path: Path) -> None:
    """A held job's colours were never converted: RGB in it is nobody's fault."""
    path = make_pdf(tmp_path / "p.pdf", content=b"0.2 0.5 0.1 rg 100 100 50 50 re f")
    job = make_job(tmp_path, path)
    job.hold("earlier", "Something else.")
    run_steps(job, CheckInk())
    assert codes(job) == ["hold earlier"]


def test_ink_is_measured_on_every_page(tmp_path: Path) -> None:
    """Half of a sheet of 200 x 100 mm in solid cyan, a tenth tint of black over all of it: by arithmetic."""
    half = 100 * MM
    content = b"1 0 0 0.1 k 0 0 %f 999 re f 0 0 0 0.1 k %f 0 999 999 re f" % (half, half)
    path = make_pdf(tmp_path / "p.pdf", trim_mm=(200, 100), bleed_mm=0, content=content, pages=2)
    job = make_job(tmp_path, path)
    (record,) = run_steps(job, CheckInk())
    assert [view.ink.page for view in job.ink] == [1, 2]
    ink = job.ink[0].ink
    assert ink.area_cm2 == pytest.approx(200, rel=0.005)
    cyan, magenta, _, black = ink.inks
    assert (cyan.mean, cyan.solid_cm2, cyan.printed_cm2) == pytest.approx((50, 100, 100), rel=0.01)
    assert (magenta.mean, magenta.peak) == (0, 0)
    assert black.mean == pytest.approx(10, abs=0.25)  # 25 or 26 of 255
    assert black.solid_cm2 == pytest.approx(20, rel=0.03)
    assert (ink.mean_total, ink.peak_total) == pytest.approx((60, 110), abs=0.5)
    assert [use.name for use in ink.used] == ["Cyan", "Black"]
    assert record.told[0].startswith("Ink on page 1 (200 cm², mean coverage): Cyan 49.9 %, Black 9.8 %; all together")


def test_pictures_count_as_they_print(tmp_path: Path) -> None:
    path = make_pdf(tmp_path / "p.pdf", content=b"q 300 0 0 300 30 40 cm /P Do Q")
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        data = bytes([255, 255, 230, 128]) * 100
        pdf.pages[0].obj.Resources = Dictionary(XObject=Dictionary(P=embed_picture(pdf, 10, 10, "/DeviceCMYK", data)))
        pdf.save(path)
    job = make_job(tmp_path, path)
    run_steps(job, CheckInk())
    assert codes(job) == ["hold over_limit"]
    assert job.findings[0].measured is not None
    assert job.findings[0].measured.startswith("340 % at most")


def test_a_name_that_is_no_text_reaches_record_and_report(tmp_path: Path) -> None:
    """Names are bytes (ISO 32000-1 7.3.5); one that is no UTF-8 must not break what is written about the job."""
    content = b"/I0 cs 1 scn 100 100 50 50 re f"
    path = make_pdf(tmp_path / "p.pdf", content=content, resources=resources("Gold"))
    path.write_bytes(path.read_bytes().replace(b"/Gold", b"/G#ff"))
    job = make_job(tmp_path, path)
    run_steps(job, CheckInk())
    (view,) = job.ink
    assert "G\\xff" in [use.name for use in view.ink.readable().inks]
    assert "G\\xff" in job.findings[0].message
