"""What thicken_lines makes wider, by how much, and that every other byte stays."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Pdf

from hotfolder.job import Job
from hotfolder.loading import load_plugins
from hotfolder.testing import codes, make_job, make_pdf, run_steps

STEPS = load_plugins().steps
LINE = b"50 50 m 90 90 l S"
DONE, UNEVEN = "mended lines_thickened", "note lines_uneven"


def resources() -> Dictionary:
    tint = Dictionary(FunctionType=2, Domain=Array([0, 1]), C0=Array([0, 0, 0, 0]), C1=Array([0, 0.6, 1, 0]), N=1)
    return Dictionary(
        Font=Dictionary(F=Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica)),
        ExtGState=Dictionary(Thin=Dictionary(LW=0.1), Wide=Dictionary(LW=2), Half=Dictionary(CA=0.5)),
        ColorSpace=Dictionary(S=Array([Name.Separation, Name.Gold, Name.DeviceCMYK, tint])),
    )


def run(tmp_path: Path, content: bytes, change: Any = None, **settings: Any) -> Job:
    path = make_pdf(tmp_path / "p.pdf", content=content, resources=resources())
    if change is not None:
        with pikepdf.open(path, allow_overwriting_input=True) as pdf:
            change(pdf)
            pdf.save(path)
    job = make_job(tmp_path, path)
    step = STEPS["thicken_lines"]
    (record,) = run_steps(job, step(step.Settings(**settings)))
    assert record.trace is None, record.trace
    assert record.changed == (DONE in codes(job))
    return job


def content_of(job: Job) -> bytes:
    with pikepdf.open(job.artwork) as pdf:
        return pdf.pages[0].Contents.read_bytes()


# Name, content, findings, and what is put in before the text ("" : nothing changes): (width, before which bytes), ...
CASES: list[tuple[str, bytes, list[str], list[tuple[bytes, bytes]]]] = [
    ("wide enough", b"0.25 w " + LINE, [], []),
    ("the width that every page begins with", LINE, [], []),
    ("thin", b"0.1 w " + LINE, [DONE], [(b"0.25", LINE)]),
    ("of no width", b"0 w " + LINE, [DONE], [(b"0.25", LINE)]),
    ("by the slack of rounding", b"0.24999 w " + LINE, [], []),
    ("scaled down", b"q .1 0 0 .1 0 0 cm " + LINE + b" Q", [DONE], [(b"2.5", LINE)]),
    ("scaled up", b"q 10 0 0 10 0 0 cm 0.03 w " + LINE + b" Q", [], []),
    ("turned", b"q 0 .2 -.2 0 90 0 cm " + LINE + b" Q", [DONE], [(b"1.25", LINE)]),
    ("by a graphics state", b"/Thin gs " + LINE, [DONE], [(b"0.25", LINE)]),
    ("a graphics state that widens it again", b"0.1 w /Wide gs " + LINE, [], []),
    ("a width saved and restored", b"3 w q 0.1 w Q " + LINE, [], []),
    ("many lines need it once", b"0.1 w " + LINE + b" 1 1 9 9 re S", [DONE], [(b"0.25", LINE)]),
    ("a wide one between", b"0.1 w " + LINE + b" 5 w 1 1 m 9 9 l S", [DONE], [(b"0.25", LINE)]),
    (
        "one width in two sizes",
        b"0.2 w " + LINE + b" q 2 0 0 2 0 0 cm 1 1 m 9 9 l S Q",
        [DONE],
        [(b"0.25", LINE), (b"0.2", b"1 1 m 9 9 l S")],
    ),
    (
        "what follows a restored state",
        b"0.1 w q " + LINE + b" Q 1 1 m 9 9 l S",
        [DONE],
        [(b"0.25", LINE), (b"0.25", b"1 1 m 9 9 l S")],
    ),
    ("dashes stay", b"[3 2] 1 d 0.1 w " + LINE, [DONE], [(b"0.25", LINE)]),
    ("rectangles", b"0.1 w 5 5 90 90 re s", [DONE], [(b"0.25", b"5 5 90")]),
    ("curves", b"0.1 w 5 5 m 9 9 8 7 6 5 c 1 1 l b", [], []),
    ("only filled", b"0.1 w 5 5 90 90 re f", [], []),
    ("only clips", b"0.1 w 5 5 90 90 re W n", [], []),
    ("an edge in the area's own colour", b"0.1 w 0 0 0 1 k 0 0 0 1 K 5 5 90 90 re B", [], []),
    ("an edge in another colour", b"0.1 w 0 0 0 1 K 1 0 0 0 k 5 5 90 90 re B", [DONE], [(b"0.25", b"5 5 90")]),
    ("an edge half see-through", b"0.1 w /Half gs 5 5 90 90 re B*", [DONE], [(b"0.25", b"5 5 90")]),
    ("letters in outline", b"0.1 w BT /F 20 Tf 1 Tr (A) Tj ET", [DONE], [(b"0.25", b"(A)")]),
    ("letters in outline, scaled", b"0.1 w BT 1 Tr 9 0 0 9 0 0 Tm /F 2 Tf (A) Tj ET", [DONE], [(b"0.25", b"(A)")]),
    ("letters made bold", b"0.1 w BT /F 20 Tf 2 Tr (A) Tj ET", [], []),
    ("filled letters", b"0.1 w BT /F 20 Tf (A) Tj ET", [], []),
    ("invisible letters", b"0.1 w BT /F 20 Tf 3 Tr (A) Tj ET", [], []),
    ("a width set inside the path", b"5 5 m 9 9 l 0.1 w S", [DONE], [(b"0.25", b" S")]),
    ("a spot ink", b"/S CS 1 SCN 0.1 w " + LINE, [DONE], [(b"0.25", LINE)]),
    # Uneven scaling: 0.1 across, 1 up. A line that runs up is 0.1 of its width wide, one that runs across all of it.
    ("stretched, along", b"q .1 0 0 1 0 0 cm 0.3 w 5 5 m 900 5 l S Q", [], []),
    ("stretched, across", b"q .1 0 0 1 0 0 cm 5 5 m 5 90 l S Q", [DONE], [(b"2.5", b"5 5 m")]),
    ("a little stretched", b"q .6 0 0 1 0 0 cm .3 w 5 5 9 9 re S Q", [DONE], [(b"0.416667", b"5 5 9")]),
    ("stretched, both ways", b"q .1 0 0 1 0 0 cm 5 5 9 9 re S Q", [UNEVEN], []),
    ("stretched, thin both ways", b"q .1 0 0 1 0 0 cm .1 w 5 5 9 9 re S Q", [DONE, UNEVEN], [(b"0.25", b"5 5 9")]),
    ("stretched, a closed angle", b"q .1 0 0 1 0 0 cm 5 5 m 9 5 l s Q", [], []),
    ("flattened to nothing", b"q 1 0 0 0 0 0 cm .1 w " + LINE + b" Q", [], []),
]


@pytest.mark.parametrize(("content", "found", "put"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
def test_what_is_thickened(tmp_path: Path, content: bytes, found: list[str], put: list[tuple[bytes, bytes]]) -> None:
    job = run(tmp_path, content)
    assert codes(job) == found
    expected = content
    for width, before in put:
        place = expected.rindex(before)
        expected = expected[:place] + b"\n" + width + b" w\n" + expected[place:]
    assert content_of(job) == expected
    if DONE not in found:
        assert job.artwork.read_bytes() == (tmp_path / "p.pdf").read_bytes()


def add_form(pdf: Pdf, content: bytes, **more: Any) -> None:
    form = pdf.make_stream(content, Type=Name.XObject, Subtype=Name.Form, BBox=Array([0, 0, 400, 400]), **more)
    pdf.pages[0].Resources.XObject = Dictionary(A=form)


def test_a_form_in_two_sizes_becomes_two(tmp_path: Path) -> None:
    drawn = b"/A Do q .5 0 0 .5 9 9 cm /A Do Q q 0 .5 -.5 0 99 9 cm /A Do Q q 4 0 0 4 0 0 cm /A Do Q"
    job = run(tmp_path, drawn, lambda pdf: add_form(pdf, b"0.2 w " + LINE))
    assert codes(job) == [DONE]
    # The turned one is as large as the one before it; the large one needs no change.
    assert content_of(job) == drawn.replace(b".5 9 9 cm /A", b".5 9 9 cm /A-1").replace(
        b"99 9 cm /A", b"99 9 cm /A-1"
    ).replace(b"4 0 0 4 0 0 cm /A", b"4 0 0 4 0 0 cm /A-2")
    with pikepdf.open(job.artwork) as pdf:
        forms = {key: form.read_bytes() for key, form in pdf.pages[0].Resources.XObject.items()}
    assert sorted(forms.values()) == sorted([b"0.2 w \n0.25 w\n" + LINE, b"0.2 w \n0.5 w\n" + LINE, b"0.2 w " + LINE])


def test_a_form_takes_its_width_from_whoever_draws_it(tmp_path: Path) -> None:
    job = run(tmp_path, b"0.1 w /A Do 2 w /A Do", lambda pdf: add_form(pdf, LINE))
    with pikepdf.open(job.artwork) as pdf:
        forms = [form.read_bytes() for form in pdf.pages[0].Resources.XObject.as_dict().values()]
    assert sorted(forms) == sorted([LINE, b"\n0.25 w\n" + LINE])


def test_a_form_whose_width_was_set_wider_outside_keeps_its_own(tmp_path: Path) -> None:
    """The line before it left a wider width in force, and the form, four times as large, must not inherit that."""
    job = run(tmp_path, b"0.1 w 1 1 m 9 9 l S 4 0 0 4 0 0 cm /A Do", lambda pdf: add_form(pdf, LINE))
    with pikepdf.open(job.artwork) as pdf:
        (form,) = pdf.pages[0].Resources.XObject.as_dict().values()
        assert form.read_bytes() == b"\n0.1 w\n" + LINE


def test_user_unit_counts(tmp_path: Path) -> None:
    for unit, found in ((1, [DONE]), (5, [])):
        (tmp_path / str(unit)).mkdir()
        change = lambda pdf, unit=unit: pdf.pages[0].obj.__setitem__("/UserUnit", unit)  # noqa: E731
        assert codes(run(tmp_path / str(unit), b"0.1 w " + LINE, change)) == found


@pytest.mark.parametrize("paint", [1, 2])
def test_patterns_are_judged_in_their_own_size(tmp_path: Path, paint: int) -> None:
    """A cell lies in the page's space, whatever the scale where it is used (8.7.3.1)."""

    def change(pdf: Pdf) -> None:
        cell = pdf.make_stream(
            b"0.2 w 1 1 m 9 9 l S", Type=Name.Pattern, PatternType=1, PaintType=paint, TilingType=1,
            BBox=Array([0, 0, 10, 10]), XStep=10, YStep=10, Matrix=Array([0.5, 0, 0, 0.5, 0, 0]), Resources=Dictionary(),
        )  # fmt: skip
        pdf.pages[0].Resources.Pattern = Dictionary(P=cell)
        pdf.pages[0].Resources.ColorSpace.U = Array([Name.Pattern, Name.DeviceGray])

    use = b"/Pattern cs /P scn" if paint == 1 else b"/U cs 0 /P scn"
    content = b"q 9 0 0 9 0 0 cm " + use + b" 0 0 40 40 re f Q"
    job = run(tmp_path, content, change)
    assert codes(job) == [DONE]
    with pikepdf.open(job.artwork) as pdf:
        assert pdf.pages[0].Resources.Pattern.P.read_bytes() == b"0.2 w \n0.5 w\n1 1 m 9 9 l S"


def test_drawn_letters_get_a_font_for_each_size(tmp_path: Path) -> None:
    glyph = b"1000 0 0 0 1000 1000 d1 20 w 0 0 m 900 900 l S"

    def change(pdf: Pdf) -> None:
        pdf.pages[0].Resources.Font.T = Dictionary(
            Type=Name.Font, Subtype=Name.Type3, FontBBox=Array([0, 0, 1000, 1000]), FirstChar=65, LastChar=65,
            FontMatrix=Array([0.001, 0, 0, 0.001, 0, 0]), Widths=Array([1000]), Resources=Dictionary(),
            Encoding=Dictionary(Differences=Array([65, Name.A])), CharProcs=Dictionary(A=pdf.make_stream(glyph)),
        )  # fmt: skip

    content = b"BT /T 5 Tf 1 0 0 1 9 9 Tm (A) Tj 4 0 0 4 9 9 Tm (A) Tj ET"
    job = run(tmp_path, content, change)
    assert codes(job) == [DONE]
    # 20 thousandths of 5 pt are 0.1 pt, of 20 pt they are 0.4 pt.
    assert content_of(job) == content.replace(b"9 9 Tm (A) Tj 4", b"9 9 Tm \n/T-1 5 Tf\n(A) Tj\n/T 5 Tf\n 4")
    with pikepdf.open(job.artwork) as pdf:
        fonts = pdf.pages[0].Resources.Font
        assert fonts["/T-1"].CharProcs.A.read_bytes() == glyph.replace(b"20 w ", b"20 w \n50 w\n")
        assert fonts.T.CharProcs.A.read_bytes() == glyph


def test_lines_in_soft_masks_stay(tmp_path: Path) -> None:
    def change(pdf: Pdf) -> None:
        group = pdf.make_stream(
            b"1 g 0.1 w " + LINE, Type=Name.XObject, Subtype=Name.Form, BBox=Array([0, 0, 400, 400]),
            Group=Dictionary(S=Name.Transparency, CS=Name.DeviceGray),
        )  # fmt: skip
        for key, kind in (("M", Name.Luminosity), ("N", Name.Alpha)):
            pdf.pages[0].Resources.ExtGState[Name("/" + key)] = Dictionary(SMask=Dictionary(S=kind, G=group))

    assert codes(run(tmp_path, b"/M gs 0 0 90 90 re f /N gs 0 0 90 90 re f", change)) == []


def test_the_least_width_is_settable_and_told(tmp_path: Path) -> None:
    job = run(tmp_path, b"0.4 w " + LINE + b" 0 w 1 1 m 2 2 l S", least_width="0.5pt")
    (finding,) = job.findings
    assert finding.message == (
        "2 lines were thinner than 0.5 pt on paper; such lines may break up or vanish in print. They are drawn 0.5 pt "
        "wide now."
    )
    assert (finding.measured, finding.required) == ("thinnest no width at all", "at least 0.5 pt")
    assert finding.box == (1, 1, 2, 2)


def test_a_hatch_is_warned_of(tmp_path: Path) -> None:
    job = run(tmp_path, b"0.1 w " + b" ".join(b"%d 50 m %d 90 l S" % (x, x) for x in range(50, 160)))
    assert job.findings[0].message.endswith(" wide now. Where they lie close together, that place comes out darker.")


def test_before_and_after_are_shown(tmp_path: Path) -> None:
    job = run(tmp_path, b"0.05 w " + LINE)
    (before, after) = job.views["thicken_lines", "lines_thickened"]
    assert (before[0], after[0]) == ("Before, enlarged", "After, enlarged")
    # 0.05 pt and 0.25 pt: five times as much ink.
    ink = [sum(255 - value for value in picture.convert("L").tobytes()) for _, picture in (before, after)]
    assert 3 < ink[1] / ink[0] < 6


def test_a_whole_poster_still_passes(tmp_path: Path) -> None:
    content = b"0.1 0.4 0.2 0 k -99 -99 19998 19998 re f 0 0 0 1 K 0.1 w " + b" ".join(
        b"%d 50 m %d 900 l S" % (x, x + 40) for x in range(50, 700, 25)
    )
    path = make_pdf(tmp_path / "p.pdf", content=content, resources=Dictionary())
    job = make_job(tmp_path, path, ticket={"trim": "297x420mm", "bleed": "3.175mm"}, opened=False)
    names = ("open_pdf", "convert_colour", "thicken_lines", "add_marks", "seal_pdf", "verify_result")
    run_steps(job, *(STEPS[name]() for name in names))
    assert [code for code in codes(job) if code.startswith("hold") or "lines" in code] == [DONE]
    with pikepdf.open(job.artwork) as pdf:
        drawn = b"\n".join(part.read_bytes() for part in pdf.pages[0].Contents)
    assert drawn.count(b"0.1 w \n0.25 w\n50 50 m") == 1
