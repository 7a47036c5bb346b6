"""What check_construction says of how pages are built: drawn pages, each beside a clean twin."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Pdf, Stream

from hotfolder.job import Job
from hotfolder.loading import load_plugins
from hotfolder.testing import codes, embed_picture, make_job, make_pdf, run_steps
from hotfolder.units import MM

STEPS = load_plugins().steps
TRIM, SLUG, BLEED = (200.0, 280.0), 12.0, 3.0  # mm
EDGE = SLUG + BLEED  # from the page's edge to the trim
Draw = str | tuple[str, Callable[[Pdf, Dictionary], None]]


def line(x0: float, y0: float, x1: float, y1: float) -> str:
    """A line in mm from the trim's lower left corner."""
    a, b, c, d = ((value + EDGE) * MM for value in (x0, y0, x1, y1))
    return f"{a:.3f} {b:.3f} m {c:.3f} {d:.3f} l "


def box(x: float, y: float, width: float, height: float) -> str:
    return f"{(x + EDGE) * MM:.3f} {(y + EDGE) * MM:.3f} {width * MM:.3f} {height * MM:.3f} re "


def cut_marks(
    size: tuple[float, float] = TRIM,
    at: tuple[float, float] = (0, 0),
    *,
    gap: float = 3.5,
    length: float = 5,
    paint: str = "S ",
    together: bool = False,
    corners: int = 4,
) -> str:
    """Marks around a sheet of that size whose lower left corner stands there. `together`: those of a corner as one path."""
    (x, y), (wide, high) = at, size
    marks = ""
    for right, top in [(0, 0), (1, 0), (0, 1), (1, 1)][:corners]:
        sx, sy, px, py = (1 if right else -1), (1 if top else -1), x + right * wide, y + top * high
        one = line(px + sx * gap, py, px + sx * (gap + length), py)
        other = line(px, py + sy * gap, px, py + sy * (gap + length))
        marks += one + ("" if together else paint) + other + paint
    return "0.3 w /All CS 1 SCN " + marks


def grid(x: float, y: float, columns: int, rows: int, side: float = 10) -> str:
    """A table whose cells have lines of their own."""
    level = [
        line(x + at * side, y + up * side, x + (at + 1) * side, y + up * side)
        for at in range(columns)
        for up in range(rows + 1)
    ]
    upright = [
        line(x + at * side, y + up * side, x + at * side, y + (up + 1) * side)
        for at in range(columns + 1)
        for up in range(rows)
    ]
    return "0.3 w " + "S ".join([*level, *upright]) + "S "


def target(x: float, y: float) -> str:
    """A ring with hair lines."""
    ring = "".join(box(x - 2 + step, y - 2 + step, 4 - 2 * step, 4 - 2 * step) for step in (0, 0.5)) + "S "
    return "0.3 w /All CS 1 SCN " + line(x - 3, y, x + 3, y) + "S " + line(x, y - 3, x, y + 3) + "S " + ring


def bar(count: int = 8, *, y: float = -12, tones: int = 4) -> str:
    patches = [f"{at % tones / tones:.2f} 0 0 0 k " + box(40 + 6 * at, y, 5, 5) + "f " for at in range(count)]
    return "".join(patches)


def shown(state: str, content: str = "0 0 1 0 k 200 200 99 99 re f ") -> Draw:
    def put(pdf: Pdf, resources: Dictionary) -> None:
        resources.ExtGState = Dictionary(S=pikepdf.Object.parse(f"<< {state} >>".encode()))

    return f"q /S gs {content} Q ", put


def with_form(group: str) -> Draw:
    def put(pdf: Pdf, resources: Dictionary) -> None:
        form = Stream(pdf, b"0 0 1 0 k 200 200 99 99 re f")
        form.Type, form.Subtype, form.BBox = Name.XObject, Name.Form, Array([0, 0, 900, 900])
        if group:
            form.Group = pikepdf.Object.parse(group.encode())
        resources.XObject = Dictionary(X=form)

    return "/X Do ", put


def picture(*, soft: bool) -> Draw:
    def put(pdf: Pdf, resources: Dictionary) -> None:
        placed = embed_picture(pdf, 4, 4)
        if soft:
            placed.SMask = embed_picture(pdf, 4, 4, "/DeviceGray")
        resources.XObject = Dictionary(P=pdf.make_indirect(placed))

    return "q 99 0 0 99 200 200 cm /P Do Q ", put


ART = "0.1 0.2 0 0 k " + box(-BLEED, -BLEED, TRIM[0] + 2 * BLEED, TRIM[1] + 2 * BLEED) + "f 0 0 0 1 K "
INNER = (170.0, 250.0)
HOLD, NOTE = {"transparency": "hold"}, {"transparency": "note"}
TABLE: dict[str, tuple[Draw, dict[str, str], list[str]]] = {
    "nothing": ("", {}, []),
    # marks of its own
    "cut marks": (cut_marks(), {}, ["note own_marks"]),
    "cut marks, each corner as one path": (cut_marks(together=True, gap=3), {}, ["note own_marks"]),
    "cut marks at three corners only": (cut_marks(corners=3), {}, []),
    "cut and bleed marks": (
        cut_marks() + cut_marks((206, 286), (-3, -3), gap=0.5, length=3),
        {},
        ["note own_marks"],
    ),
    "cut marks as thin areas": (
        "0 0 0 1 k " + "".join(
            box(x, y - 0.05, 5, 0.1) + "f " + box(u, v, 0.1, 5) + "f "
            for x, y, u, v in ((-8.5, 0, -0.05, -8.5), (203.5, 0, 199.95, -8.5), (-8.5, 280, -0.05, 283.5), (203.5, 280, 199.95, 283.5))
        ),
        {},
        ["note own_marks"],
    ),
    "cut marks of another sheet, inside": (cut_marks(INNER, (15, 15)), {}, ["note own_marks", "hold marks_elsewhere"]),
    "cut marks of another sheet, outside": (cut_marks((206, 288), (-3, -4), gap=1), {}, ["note own_marks", "hold marks_elsewhere"]),
    "marks in the bleed": (cut_marks(gap=1), {}, ["note own_marks", "note marks_in_bleed"]),
    "small marks around a picture": (cut_marks((60, 80), (70, 100)), {}, []),
    "a frame": ("1 w " + box(20, 20, 160, 240) + "S ", {}, []),
    "a table": ("0.5 w " + "".join(line(20, y, 30, y) + line(170, y, 180, y) for y in range(20, 260, 20)) + "S ", {}, []),
    "a table of single lines for each cell": (grid(15, 15, 17, 25), {}, []),
    "registration targets": (target(-9, 140) + target(209, 140), {}, ["note own_marks"]),
    "plus signs in the art": (target(50, 140).replace("/All CS 1 SCN", "0 0 0 1 K"), {}, []),
    "a colour bar": (bar(), {}, ["note own_marks"]),
    "a colour bar of one tone": (bar(tones=1), {}, []),
    "four patches": (bar(4), {}, []),
    "a row of patches in the art": (bar(y=50), {}, []),
    # transparency
    "transparency is allowed": (shown("/ca 0.5"), {}, []),
    "alpha": (shown("/ca 0.5"), HOLD, ["hold transparency"]),
    "alpha, to be noted": (shown("/ca 0.5"), NOTE, ["note transparency"]),
    "alpha of lines only, and no line": (shown("/CA 0.5"), HOLD, []),
    "alpha of a line": (shown("/CA 0.5", "200 200 m 300 300 l S"), HOLD, ["hold transparency"]),
    "alpha 1": (shown("/ca 1 /CA 1"), HOLD, []),
    "alpha that nothing uses": (shown("/ca 0.5", ""), HOLD, []),
    "a blend mode": (shown("/BM /Multiply"), HOLD, ["hold transparency"]),
    "the normal blend mode": (shown("/BM /Normal /SMask /None"), HOLD, []),
    "a picture with a soft mask": (picture(soft=True), HOLD, ["hold transparency"]),
    "a picture without": (picture(soft=False), HOLD, []),
    "a group": (with_form("<< /S /Transparency >>"), HOLD, ["hold transparency"]),
    "a form that is no group": (with_form(""), HOLD, []),
}  # fmt: skip


def build(tmp_path: Path, draw: Draw) -> Path:
    content, put = draw if isinstance(draw, tuple) else (draw, None)
    tint = Dictionary(FunctionType=2, Domain=Array([0, 1]), C0=Array([0] * 4), C1=Array([1] * 4), N=1)
    font = Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica)
    resources = Dictionary(
        ColorSpace=Dictionary(All=Array([Name.Separation, Name.All, Name.DeviceCMYK, tint])), Font=Dictionary(F=font)
    )
    path = make_pdf(
        tmp_path / "p.pdf",
        trim_mm=TRIM,
        bleed_mm=BLEED,
        slug_mm=SLUG,
        content=(ART + content).encode(),
        resources=resources,
    )
    if put is not None:
        with pikepdf.open(path, allow_overwriting_input=True) as pdf:
            put(pdf, pdf.pages[0].Resources)
            pdf.save(path)
    return path


def run(tmp_path: Path, draw: Draw, **settings: str) -> Job:
    job = make_job(tmp_path, build(tmp_path, draw), ticket={"bleed": "3mm"})
    step = STEPS["check_construction"]
    (record,) = run_steps(job, step(step.Settings(**settings)))
    assert record.trace is None, record.trace
    return job


@pytest.mark.parametrize(("draw", "settings", "found"), TABLE.values(), ids=TABLE.keys())
def test_what_is_found(tmp_path, draw, settings, found):
    job = run(tmp_path, draw, **settings)
    assert codes(job) == found
    assert job.artwork == tmp_path / "p.pdf"
    assert all(finding.mend or finding.code == "own_marks" for finding in job.findings)


def test_the_words_for_marks(tmp_path):
    job = run(tmp_path, cut_marks(INNER, (15, 15)) + target(-9, 140) + bar())
    own, elsewhere = job.findings
    assert own.message == "The page has printer's marks of its own: cut marks, registration targets and colour bars."
    assert own.measured == "they cut a sheet of 170 × 250 mm (6.69 × 9.84 in)"
    assert elsewhere.message == (
        "The cut marks on the page cut a sheet of 170 × 250 mm (6.69 × 9.84 in), but the file is cut to "
        "200 × 280 mm (7.87 × 11.02 in). They would be printed on the poster."
    )


def test_a_larger_unit(tmp_path):
    """The same page at a tenth of its size with UserUnit 10."""
    path = build(tmp_path, cut_marks(gap=1))
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        page = pdf.pages[0]
        for key in ("/MediaBox", "/TrimBox", "/BleedBox"):
            page.obj[key] = Array([float(side) / 10 for side in page.obj[key]])
        page.Contents = pdf.make_stream(b"0.1 0 0 0.1 0 0 cm " + page.Contents.read_bytes())
        page.obj.UserUnit = 10
        pdf.save(path)
    job = make_job(tmp_path, path, ticket={"bleed": "3mm"})
    run_steps(job, STEPS["check_construction"]())
    assert codes(job) == ["note own_marks", "note marks_in_bleed"]


@pytest.mark.parametrize("keep", [True, False])
@pytest.mark.parametrize(
    ("draw", "whole"), [(cut_marks(), True), (cut_marks(corners=3), False), (cut_marks(INNER, (15, 15)), False)]
)
def test_add_marks_keeps_a_whole_set_if_asked(tmp_path, draw, whole, keep):
    job = make_job(tmp_path, build(tmp_path, draw))
    step = STEPS["add_marks"]
    (record,) = run_steps(job, step(step.Settings(own_marks="keep" if keep else "replace")))
    kept = keep and whole
    assert (job.artwork == tmp_path / "p.pdf") is kept
    assert ("Every page has cut marks of its own; they were kept, and none were added." in record.told) is kept


def test_marks_that_we_draw_are_recognised(tmp_path):
    """The marks of add_marks itself, so that a finished sheet dropped again is known for what it is."""
    job = make_job(tmp_path, build(tmp_path, ""), ticket={"bleed": "3mm"})
    run_steps(job, STEPS["add_marks"](), STEPS["check_construction"]())
    assert codes(job) == ["note own_marks"]
    assert job.findings[0].message == (
        "The page has printer's marks of its own: cut marks, registration targets and colour bars."
    )


def test_a_page_full_of_lines_takes_no_time(tmp_path):
    """Crosses and corners in every place: a hatched map."""
    hatch = "0.3 w " + "".join(
        line(x, y, x + 3, y) + "S " + line(x + 1.5, y - 1.5, x + 1.5, y + 1.5) + "S " for x in range(0, 200, 4) for y in range(0, 280, 4)
    )  # fmt: skip
    assert codes(run(tmp_path, hatch)) == []
