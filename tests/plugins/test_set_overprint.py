"""What set_overprint changes, what it leaves, and that the plates come out as meant."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Pdf

from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.job import Job
from hotfolder.loading import load_plugins
from hotfolder.pdf.plates import make_plates
from hotfolder.testing import codes, make_job, make_pdf, run_steps

STEPS = load_plugins().steps
GROUND = b"0.6 0.5 0.4 0 k 0 0 400 400 re f "
WHITE = b"0 0 0 0 k 50 50 90 90 re f"
LINE = b"1 w 0 0 0 1 K 50 50 m 90 90 l S"
TEXT = b"BT /F 6 Tf 100 100 Td (small print) Tj ET"


def run(tmp_path: Path, content: bytes, change: Any = None, **settings: Any) -> Job:
    tint = Dictionary(FunctionType=2, Domain=Array([0, 1]), C0=Array([0, 0, 0, 0]), C1=Array([0, 0.6, 1, 0]), N=1)
    resources = Dictionary(
        Font=Dictionary(F=Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica)),
        ExtGState=Dictionary(On=Dictionary(OP=True, op=True, OPM=1), Mode0=Dictionary(op=True, OPM=0)),
        ColorSpace=Dictionary(S=Array([Name.Separation, Name.Gold, Name.DeviceCMYK, tint])),
    )
    path = make_pdf(tmp_path / "p.pdf", content=content, resources=resources)
    if change is not None:
        with pikepdf.open(path, allow_overwriting_input=True) as pdf:
            change(pdf)
            pdf.save(path)
    job = make_job(tmp_path, path)
    step = STEPS["set_overprint"]
    (record,) = run_steps(job, step(step.Settings(**settings)))
    assert record.trace is None, record.trace
    return job


def content_of(job: Job) -> bytes:
    with pikepdf.open(job.artwork) as pdf:
        return pdf.pages[0].Contents.read_bytes()


CASES = [
    # name, content, settings, findings
    ("white shape", GROUND + b"/On gs " + WHITE, {}, ["mended white_set"]),
    ("white stroke", GROUND + b"/On gs 0 0 0 0 K 9 w 50 50 m 90 90 l S", {}, ["mended white_set"]),
    ("white text", GROUND + b"/On gs 0 0 0 0 k " + TEXT, {}, ["mended white_set"]),
    ("a spot ink of tint 0", GROUND + b"/Mode0 gs /S cs 0 scn 50 50 90 90 re f", {}, ["mended white_set"]),
    ("not asked for", GROUND + b"/On gs " + WHITE, {"white": False}, []),
    ("mode 0", GROUND + b"/Mode0 gs " + WHITE, {}, []),
    ("no overprinting", GROUND + WHITE, {}, []),
    ("nearly white", GROUND + b"/On gs 0.01 0 0 0 k 50 50 90 90 re f", {}, []),
    ("a white path that only clips", GROUND + b"/On gs 0 0 0 0 k 50 50 90 90 re W n", {}, []),
    ("black text stays", GROUND + b"0 0 0 1 k " + TEXT, {}, []),
    ("black text", GROUND + b"0 0 0 1 k " + TEXT, {"black_text": "12pt"}, ["mended black_set"]),
    ("black text in gray", GROUND + b"0 g " + TEXT, {"black_text": "12pt"}, ["mended black_set"]),
    ("large black text", GROUND + b"0 0 0 1 k " + TEXT.replace(b"6 Tf", b"60 Tf"), {"black_text": "12pt"}, []),
    ("rich black text", GROUND + b"0.6 0.4 0.4 1 k " + TEXT, {"black_text": "12pt"}, []),
    ("black lines stay", GROUND + LINE, {}, []),
    ("black lines", GROUND + LINE, {"black_lines": "2pt"}, ["mended lines_set"]),
    ("black lines, scaled up", GROUND + b"3 0 0 3 0 0 cm " + LINE, {"black_lines": "2pt"}, []),
    ("thick black lines", GROUND + LINE.replace(b"1 w", b"3 w"), {"black_lines": "2pt"}, []),
    ("gray lines", GROUND + LINE.replace(b"0 0 0 1 K", b"0 0 0 0.6 K"), {"black_lines": "2pt"}, []),
    ("rich black lines", GROUND + LINE.replace(b"0 0 0 1 K", b"0.6 0 0 1 K"), {"black_lines": "2pt"}, []),
    ("a framed area", GROUND + b"1 w 0 0 0 1 K 0 1 1 0 k 20 20 50 50 re B", {"black_lines": "2pt"}, []),
    (
        "lines and letters",
        GROUND + LINE + b" 0 g " + TEXT,
        {"black_lines": "2pt", "black_text": "9pt"},
        ["mended black_set", "mended lines_set"],
    ),
    ("black text that overprints already", GROUND + b"/On gs 0 0 0 1 k " + TEXT, {"black_text": "12pt"}, []),
]


@pytest.mark.parametrize(
    ("content", "settings", "found"), [case[1:] for case in CASES], ids=[case[0] for case in CASES]
)
def test_what_is_set(tmp_path: Path, content: bytes, settings: dict[str, Any], found: list[str]) -> None:
    job = run(tmp_path, content, **settings)
    assert codes(job) == found
    if not found:
        assert job.artwork.read_bytes() == (tmp_path / "p.pdf").read_bytes()


def test_only_the_object_is_wrapped_and_the_rest_is_byte_for_byte_the_same(tmp_path: Path) -> None:
    """No operator may stand between a path's beginning and its painting (ISO 32000-1 figure 9)."""
    before = GROUND + b"/On gs 0 0 0 0 k"
    job = run(tmp_path, before + b" 50 50 m 140 50 l % comment\n90 140 l h f\n0.5 g 9 9 9 9 re f")
    after = content_of(job)
    assert after == (
        before + b" \n/Overprint-1 gs\n50 50 m 140 50 l % comment\n90 140 l h f\n/Overprint-2 gs\n\n0.5 g 9 9 9 9 re f"
    )
    with pikepdf.open(job.artwork) as pdf:
        states = pdf.pages[0].Resources.ExtGState
        assert (states["/Overprint-1"].OP, states["/Overprint-1"].op) == (True, False)
        assert (states["/Overprint-2"].OP, states["/Overprint-2"].op) == (True, True)
        assert states["/On"].OPM == 1


@pytest.mark.parametrize(
    ("content", "settings", "code"),
    [
        (b"/On gs " + WHITE, {}, "white_set"),
        (b"0 0 0 1 k " + TEXT, {"black_text": "12pt"}, "black_set"),
        (LINE, {"black_lines": "2pt"}, "lines_set"),
    ],
)
def test_the_report_shows_a_place_before_and_after(tmp_path, content, settings, code):
    """White that was lost shows; the light edge beside black that is off is gone."""
    job = run(tmp_path, GROUND + content, **settings)
    views = job.views["set_overprint", code]
    assert [words.split(",")[0] for words, _ in views] == ["Before", "After"]
    lights = [sum(picture.convert("L").histogram()[225:]) / picture.width / picture.height for _, picture in views]
    if code == "white_set":
        assert lights[0] == 0
        assert lights[1] > 0.3
    else:
        assert lights[0] > 0.002
        assert lights[1] == 0


def test_only_the_line_is_wrapped(tmp_path):
    job = run(tmp_path, GROUND + LINE + b" 0 0 0 1 k 9 9 9 9 re f", black_lines="2pt")
    assert content_of(job) == (
        GROUND + b"1 w 0 0 0 1 K \n/Overprint-1 gs\n50 50 m 90 90 l S\n/Overprint-2 gs\n 0 0 0 1 k 9 9 9 9 re f"
    )
    with pikepdf.open(job.artwork) as pdf:
        states = pdf.pages[0].Resources.ExtGState
        assert (states["/Overprint-1"].OP, states["/Overprint-1"].op, states["/Overprint-1"].OPM) == (True, False, 1)
        assert (states["/Overprint-2"].OP, states["/Overprint-2"].op, states["/Overprint-2"].OPM) == (False, False, 0)


def test_the_plates_show_what_was_meant(tmp_path: Path) -> None:
    """White that knocked out nothing before takes every ink away now; black text adds to the colour below it."""
    job = run(tmp_path, GROUND + b"/On gs " + WHITE)
    condition = SHIPPED[DEFAULT]
    before, after = (make_plates(path, 1, 72, condition) for path in (tmp_path / "p.pdf", job.artwork))
    row, column = before.coverage["Cyan"].shape[0] - 95, 95
    assert before.coverage["Cyan"][row, column] == 153  # 0.6 of 255
    assert after.coverage["Cyan"][row, column] == 0
    assert after.coverage["Cyan"][row, 300] == 153

    (tmp_path / "text").mkdir()
    job = run(tmp_path / "text", GROUND + b"0 0 0 1 k " + TEXT.replace(b"6 Tf", b"60 Tf"), black_text="100pt")
    before, after = (make_plates(path, 1, 72, condition) for path in (tmp_path / "text" / "p.pdf", job.artwork))
    assert before.coverage["Cyan"][-140:-100, 105:390].min() < 20
    assert after.coverage["Cyan"][-140:-100, 105:390].min() == 153
    assert (before.coverage["Black"] == after.coverage["Black"]).all()


def test_a_form_is_mended_once_and_used_everywhere(tmp_path: Path) -> None:
    def add_form(pdf: Pdf) -> None:
        form = pdf.make_stream(b"/On gs " + WHITE, Type=Name.XObject, Subtype=Name.Form, BBox=Array([0, 0, 400, 400]))
        form.Resources = Dictionary(ExtGState=pdf.pages[0].Resources.ExtGState)
        pdf.pages[0].Resources.XObject = Dictionary(A=form)

    job = run(tmp_path, GROUND + b"/A Do q 1 0 0 1 9 9 cm /A Do Q", add_form)
    assert codes(job) == ["mended white_set"]
    with pikepdf.open(job.artwork) as pdf:
        assert pdf.pages[0].Contents.read_bytes() == GROUND + b"/A Do q 1 0 0 1 9 9 cm /A Do Q"
        assert b"/Overprint-1 gs" in pdf.pages[0].Resources.XObject.A.read_bytes()


def test_a_colour_of_the_callers_is_left_alone(tmp_path: Path) -> None:
    """The form stands in white here and might stand in another colour there."""

    def add_form(pdf: Pdf) -> None:
        form = pdf.make_stream(b"50 50 90 90 re f", Type=Name.XObject, Subtype=Name.Form, BBox=Array([0, 0, 400, 400]))
        pdf.pages[0].Resources.XObject = Dictionary(A=form)

    job = run(tmp_path, GROUND + b"/On gs 0 0 0 0 k /A Do", add_form)
    assert codes(job) == []
    run_steps(job, STEPS["check_ink"]())
    assert codes(job) == ["hold white_overprints"]


def test_check_ink_is_content_afterwards(tmp_path: Path) -> None:
    job = run(tmp_path, GROUND + b"/On gs " + WHITE + b" 0 0 0 1 k " + TEXT, black_text="12pt")
    run_steps(job, STEPS["check_ink"]())
    assert codes(job) == ["mended white_set"]


def test_pages_are_named_and_counted(tmp_path: Path) -> None:
    def more_pages(pdf: Pdf) -> None:
        for _ in range(6):
            pdf.pages.append(pdf.pages[0])

    job = run(tmp_path, GROUND + b"0 0 0 1 k " + TEXT, more_pages, black_text="12pt")
    (finding,) = job.findings
    assert finding.message == (
        "Black letters smaller than 12 pt overprint now, so that no light edge shows around them where the inks don't meet "
        "exactly (pages 1, 2, 3, 4, 5 and 2 more)."
    )
    assert finding.measured == "7 pieces set to knock out"
