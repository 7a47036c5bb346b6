"""What convert_colour does with transparency mixed in RGB, by each setting of the condition, through to the verified file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name

from hotfolder.colour.condition import SHIPPED
from hotfolder.job import Job
from hotfolder.loading import load_plugins
from hotfolder.pdf.objects import content_bytes
from hotfolder.testing import codes, make_job, make_pdf, run_steps

STEPS = load_plugins().steps
CHAIN = ("convert_colour", "add_marks", "seal_pdf", "check_ink", "verify_result")
MULTIPLY, FAINT = Dictionary(BM=Name.Multiply), Dictionary(ca=0.05)
LARGE = b"0 0.4 1 rg 100 100 400 500 re f /G gs 1 0.8 0 rg 300 300 400 500 re f"  # 9.1, by the formulas
SMALL = b"0.2 0.5 0.3 rg 100 100 400 500 re f /G gs 1 1 1 rg 300 300 400 500 re f"


def run(folder: Path, content: bytes, graphics: Dictionary, chain: tuple[str, ...] = CHAIN, **rules: Any) -> Job:
    group = Dictionary(S=Name.Transparency, CS=Name.DeviceRGB, I=True)
    resources = Dictionary(ExtGState=Dictionary(G=graphics))
    path = make_pdf(folder / "p.pdf", content=content, resources=resources, changes={"/Group": group})
    job = make_job(folder, path, condition=replace(SHIPPED["coated_europe"], **rules))
    run_steps(job, *(STEPS[name]() for name in chain))
    return job


CASES = [
    # content, graphics state, rules, findings of convert_colour, whether the file passes
    (LARGE, MULTIPLY, {}, ["hold blending_changes", "mended colour_converted"], False),
    (LARGE, MULTIPLY, {"blending": "convert"}, ["note blending_converted", "mended colour_converted"], True),
    (LARGE, MULTIPLY, {"blending": "keep"}, ["note blending_kept"], True),
    (LARGE, MULTIPLY, {"blending_limit": 12.0}, ["note blending_converted", "mended colour_converted"], True),
    (SMALL, FAINT, {}, ["note blending_converted", "mended colour_converted"], True),
    (SMALL, FAINT, {"blending": "keep"}, ["note blending_converted", "mended colour_converted"], True),
    (LARGE, Dictionary(ca=1), {}, ["mended colour_converted"], True),
]


@pytest.mark.parametrize(("content", "graphics", "rules", "findings", "passes"), CASES)
def test_each_setting(
    tmp_path: Path, content: bytes, graphics: Dictionary, rules: dict[str, Any], findings: list[str], passes: bool
) -> None:
    job = run(tmp_path, content, graphics, **rules)
    own = [finding for finding in job.findings if finding.step == "convert_colour"]
    assert [f"{finding.level} {finding.code}" for finding in own] == findings
    assert job.held is not passes, [finding.message for finding in job.findings]
    for finding in own:
        assert finding.message.endswith(".")


def test_what_is_said_of_a_poster_that_is_held(tmp_path: Path) -> None:
    job = run(tmp_path, LARGE, MULTIPLY, ("convert_colour",))
    held = job.findings[0]
    assert held.message == (
        "Colours that this poster mixes by transparency (shadows, see-through areas) come out differently in ink than "
        "on the screen."
    )
    assert held.measured is not None
    difference = float(held.measured.split()[1])
    assert held.measured == f"difference {difference:.1f} at the place shown (CIEDE2000)"
    assert difference == pytest.approx(9.1, abs=1)
    assert held.required == "at most 4"
    assert held.page == 1
    assert held.box is not None
    assert 290 < held.box.left < held.box.right < 510  # where both areas overlap
    assert held.mend is not None
    assert "CMYK" in held.mend


def test_a_kept_page_has_its_printers_marks_in_inks(tmp_path: Path) -> None:
    job = run(tmp_path, LARGE, MULTIPLY, blending="keep")
    assert not job.held
    with pikepdf.open(job.artwork) as pdf:
        page = pdf.pages[0].obj
        assert Name.DeviceCMYK == page.Group.CS
        groups = {
            key: form.Group.CS if "/Group" in form else None for key, form in page.Resources.XObject.as_dict().items()
        }
        marks = [key for key in groups if key.startswith("/PrinterMarks")]
        assert marks
        assert all(not isinstance(groups[key], Array) for key in marks)
        assert [key for key, space in groups.items() if isinstance(space, Array)] == ["/Page-blended-in-RGB"]


def test_screen_colours_outside_a_kept_group_are_converted(tmp_path: Path) -> None:
    """A page in inks with one group in RGB: the group stays, the red beside it does not."""
    path = make_pdf(tmp_path / "p.pdf", changes={"/Group": Dictionary(S=Name.Transparency, CS=Name.DeviceCMYK)})
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        form = pdf.make_stream(LARGE, Type=Name.XObject, Subtype=Name.Form, BBox=Array([0, 0, 900, 1300]))
        form.Resources = Dictionary(ExtGState=Dictionary(G=MULTIPLY))
        form.Group = Dictionary(S=Name.Transparency, CS=Name.DeviceRGB, I=True)
        page = pdf.pages[0].obj
        page.Resources = Dictionary(XObject=Dictionary(F=form))
        page.Contents = pdf.make_stream(b"1 0 0 rg 0 0 99 99 re f /F Do")
        pdf.save(path)
    job = make_job(tmp_path, path, condition=replace(SHIPPED["coated_europe"], blending="keep"))
    run_steps(job, *(STEPS[name]() for name in CHAIN))
    assert not job.held, [finding.message for finding in job.findings]
    assert codes(job)[:2] == ["note blending_kept", "mended colour_converted"]
    with pikepdf.open(job.artwork) as pdf:
        page = pdf.pages[0].obj
        assert b" k" in content_bytes(page.Contents)
        assert page.Resources.XObject.F.read_bytes() == LARGE


def test_a_page_whose_size_makes_no_sense_is_held(tmp_path: Path) -> None:
    nothing = {"/MediaBox": Array([0, 0, 0, 0]), "/TrimBox": None, "/BleedBox": None}
    group = Dictionary(S=Name.Transparency, CS=Name.DeviceRGB, I=True)
    resources = Dictionary(ExtGState=Dictionary(G=MULTIPLY))
    path = make_pdf(tmp_path / "p.pdf", content=LARGE, resources=resources, changes={"/Group": group, **nothing})
    job = make_job(tmp_path, path, condition=replace(SHIPPED["coated_europe"], blending="keep"))
    run_steps(job, STEPS["convert_colour"]())
    assert codes(job) == ["hold blending_changes"]
    assert "can't be kept in RGB" in job.findings[0].message
    assert job.artwork.read_bytes() == path.read_bytes()


@pytest.mark.parametrize(("rule", "finding"), [("hold", "hold blending_changes"), ("keep", "note blending_kept")])
def test_what_cannot_be_measured_is_not_converted_unasked(tmp_path: Path, rule: str, finding: str) -> None:
    """Thirty-three inks are more than can be drawn; the page itself is whole."""
    tint = Dictionary(FunctionType=2, Domain=Array([0, 1]), C0=Array([0, 0, 0, 0]), C1=Array([0, 0.6, 1, 0]), N=1)
    spaces = {f"/S{n}": Array([Name.Separation, Name(f"/Ink{n}"), Name.DeviceCMYK, tint]) for n in range(33)}
    content = LARGE + b"".join(b" /S%d cs 1 scn 0 0 9 9 re f" % n for n in range(33))
    group = Dictionary(S=Name.Transparency, CS=Name.DeviceRGB, I=True)
    resources = Dictionary(ExtGState=Dictionary(G=MULTIPLY), ColorSpace=Dictionary(spaces))
    path = make_pdf(tmp_path / "p.pdf", content=content, resources=resources, changes={"/Group": group})
    job = make_job(tmp_path, path, condition=replace(SHIPPED["coated_europe"], blending=rule))
    run_steps(job, STEPS["convert_colour"]())
    assert codes(job)[0] == finding
    assert "could not be measured" in job.findings[0].message
