"""What check_lines says about lines: one table of small drawings, most of them with a twin that is in order."""

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
LINE = "50 50 m 190 90 l S"
DARK = "0.9 0.7 0.2 0.3 k 40 40 300 300 re f "
LINES, AREA, LIGHT, REVERSED = "note thin_line", "note thin_area", "note light_line", "note reversed_line"


def run(tmp_path: Path, content: str, change: Any = None, pages: int = 1, **settings: Any) -> Job:
    tint = Dictionary(FunctionType=2, Domain=Array([0, 1]), C0=Array([0, 0, 0, 0]), C1=Array([0, 0.6, 1, 0]), N=1)
    resources = Dictionary(
        ExtGState=Dictionary(Thin=Dictionary(LW=0.1), None_=Dictionary(CA=0), Third=Dictionary(CA=0.3)),
        ColorSpace=Dictionary(S=Array([Name.Separation, Name.Gold, Name.DeviceCMYK, tint])),
    )
    path = make_pdf(tmp_path / "p.pdf", content=content.encode(), resources=resources, slug_mm=8, pages=pages)
    if change is not None:
        with pikepdf.open(path, allow_overwriting_input=True) as pdf:
            change(pdf)
            pdf.save(path)
    job = make_job(tmp_path, path)
    step = STEPS["check_lines"]
    (record,) = run_steps(job, step(step.Settings(**settings)))
    assert record.trace is None, record.trace
    return job


# Name, content, findings as (code, measured).
CASES: list[tuple[str, str, list[tuple[str, str]]]] = [
    ("wide enough", "0.25 w " + LINE, []),
    ("thin", "0.1 w " + LINE, [(LINES, "0.1 pt")]),
    ("no width", "0 w " + LINE, [(LINES, "no width")]),
    ("no width and level", "0 w 50 50 m 190 50 l S", [(LINES, "no width")]),
    ("by a graphics state", "/Thin gs " + LINE, [(LINES, "0.1 pt")]),
    ("scaled down", "q .2 0 0 .2 60 60 cm " + LINE + " Q", [(LINES, "0.2 pt")]),
    ("scaled up", "q 5 0 0 5 0 0 cm 0.05 w 20 20 m 90 90 l S Q", []),
    ("stretched, the wide way", "q .1 0 0 1 0 0 cm 1 w 500 50 m 1900 50 l S Q", []),
    ("stretched, the thin way", "q .1 0 0 1 0 0 cm 1 w 500 50 m 500 190 l S Q", [(LINES, "0.1 pt")]),
    ("stretched, both ways", "q .1 0 0 1 0 0 cm 1 w 500 50 900 90 re S Q", [(LINES, "0.1 pt")]),
    ("many of one drawing", "0.1 w " + "".join(f"{x} 50 m {x} 190 l S " for x in range(50, 200, 10)), [(LINES, "0.1 pt")]),
    ("of several widths", "0.1 w " + LINE + " 0.2 w 50 60 m 190 60 l S", [(LINES, "0.1 to 0.2 pt")]),
    ("of two drawings", "0.1 w " + LINE + " 0.2 w 400 400 m 500 500 l S", [(LINES, "0.1 pt"), (LINES, "0.2 pt")]),
    ("invisible", "/None_ gs 0.1 w " + LINE, []),
    ("clipped away", "q 400 400 50 50 re W n 0.1 w " + LINE + " Q", []),
    ("cut off with the bleed", "0.1 w 26 2 m 26 90 l S", []),
    ("a speck", "0.1 w 50 50 m 51 51 l S", []),
    ("an edge in the area's colour", "0.1 w 1 0 0 0 k 1 0 0 0 K 50 50 90 90 re B", []),
    ("an edge in another colour", "0.1 w 1 0 0 0 k 0 0 0 1 K 50 50 90 90 re B", [(LINES, "0.1 pt")]),
    ("drawn behind the area, in its colour", "0.1 w 50 50 90 90 re f 50 50 90 90 re S", []),
    ("narrow area", "50 50 200 0.1 re f", [(AREA, "0.1 pt")]),
    ("narrow upright area", "50 50 0.2 200 re f", [(AREA, "0.2 pt")]),
    ("area of no height", "50 50 200 0 re f", [(AREA, "no width")]),
    ("area of no height, left behind", "50 50 9 0 re f", []),
    ("a rule drawn twice", "50 50 200 0.1 re f 50 50 200 0.1 re f", [(AREA, "0.1 pt")]),
    ("area wide enough", "50 50 200 0.3 re f", []),
    ("a small dot", "50 50 0.2 0.2 re f", []),
    ("a narrow area with an edge of its own", "1 w 50 50 200 0.1 re B", []),
    ("of no height, with an edge of another colour", "1 w 1 0 0 0 K 50 50 m 190 50 l B", []),
    (
        "slices of a gradient",
        "".join(f"{level / 50:g} g 50 {50 + level * 0.2:g} 200 0.2 re f " for level in range(50)),
        [],
    ),
    ("a rule between two areas", "0 0 0 0.3 k 50 50 200 90 re f 1 0 0 0 k 50 140.1 200 90 re f 0 g 50 140 200 0.1 re f", [(AREA, "0.1 pt")]),
    ("a light tint", "0 0 0 0.3 K 0.4 w " + LINE, [(LIGHT, "0.4 pt")]),
    ("a light tint in gray", "0.7 G 0.4 w " + LINE, [(LIGHT, "0.4 pt")]),
    ("a light tint of a spot ink", "/S CS 0.2 SCN 0.4 w " + LINE, [(LIGHT, "0.4 pt")]),
    ("a strong colour", "0 0.2 0.9 0 K 0.4 w " + LINE, []),
    ("a light tint, wide enough", "0 0 0 0.3 K 0.5 w " + LINE, []),
    ("light by opacity", "0 G /Third gs 0.4 w " + LINE, [(LIGHT, "0.4 pt")]),
    ("a colour of the screen", "0.9 0.9 0.6 RG 0.4 w " + LINE, []),
    ("white on dark", DARK + "0 0 0 0 K 0.4 w " + LINE, [(REVERSED, "0.4 pt")]),
    ("white on dark, on screens", "0 0 0.4 rg 40 40 300 300 re f 1 1 1 RG 0.4 w " + LINE, [(REVERSED, "0.4 pt")]),
    ("white on a light ground", DARK.replace("0.9 0.7 0.2 0.3", "0.2 0 0.1 0") + "1 G 0.1 w " + LINE, []),
    ("white on dark, wide enough", DARK + "0 0 0 0 K 0.5 w " + LINE, []),
    ("white on paper", "0 0 0 0 K 0.1 w " + LINE, []),
    ("white on white", DARK + "0 0 0 0 k 45 45 200 200 re f 1 G 0.1 w " + LINE, []),
    ("dark above white", "0 0 0 0 K 0.1 w " + LINE + " " + DARK, []),
    ("a narrow white area on dark", DARK + "0 0 0 0 k 50 50 200 0.3 re f", [(REVERSED, "0.3 pt")]),
]  # fmt: skip


@pytest.mark.parametrize(("content", "expected"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
def test_findings(tmp_path: Path, content: str, expected: list[tuple[str, str]]) -> None:
    job = run(tmp_path, content)
    assert [(f"{one.level} {one.code}", one.measured) for one in job.findings] == expected
    for finding in job.findings:
        assert finding.box
        assert finding.mend
        assert finding.page == 1


def test_the_words(tmp_path: Path) -> None:
    many = run(tmp_path, "0.1 w " + "".join(f"{x} 50 m {x} 190 l S " for x in range(50, 200, 10)))
    (finding,) = many.findings
    assert finding.message == "15 lines are only 0.1 pt wide. In print they may break up or not show at all."
    assert finding.required == "at least 0.25 pt"
    assert finding.box == pytest.approx((49.95, 49.95, 190.05, 190.05))
    (finding,) = run(tmp_path, "0 w " + LINE, pages=2).findings[:1]
    assert finding.message == (
        "On page 1, a line has no width of its own, so it comes out as thin as the machine can draw. "
        "In print it may break up or not show at all. The same on page 2."
    )


def test_the_rest_is_counted(tmp_path: Path) -> None:
    content = "0.1 w " + "".join(f"{x} {y} m {x + 9} {y} l S " for x in range(50, 800, 75) for y in range(50, 350, 70))
    job = run(tmp_path, content, most_findings=3)
    assert codes(job) == [LINES, LINES, LINES, "note more_lines"]
    assert job.findings[-1].message == "47 more thin lines in other places, 47 in all."


def test_settings(tmp_path: Path) -> None:
    assert codes(run(tmp_path, "0.4 w " + LINE, least_width="0.5pt")) == [LINES]
    assert codes(run(tmp_path, "0.1 w 0.7 G " + LINE, least_width="0pt", least_light="0pt")) == []
    assert codes(run(tmp_path, "0.4 G 0.4 w " + LINE, tint_below=70)) == [LIGHT]


def test_user_unit_counts(tmp_path: Path) -> None:
    def change(pdf: Pdf) -> None:
        pdf.pages[0].obj.UserUnit = 3

    assert codes(run(tmp_path, "0.1 w " + LINE, change)) == []


def test_thickened_lines_are_content(tmp_path: Path) -> None:
    path = make_pdf(tmp_path / "p.pdf", content=("0.1 w " + LINE).encode(), resources=Dictionary())
    job = make_job(tmp_path, path)
    run_steps(job, STEPS["thicken_lines"](), STEPS["check_lines"]())
    assert codes(job) == ["mended lines_thickened"]


def test_nothing_to_tell(tmp_path: Path) -> None:
    job = make_job(tmp_path, make_pdf(tmp_path / "p.pdf"))
    (record,) = run_steps(job, STEPS["check_lines"]())
    assert record.told == ["No line is thinner than 0.25 pt on paper."]
