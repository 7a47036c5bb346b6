"""What convert_colour does to a poster: its findings, its changes, and what it must not touch."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name

from hotfolder.colour.condition import SHIPPED, Spot
from hotfolder.colour.profile import SRGB
from hotfolder.colour.transform import to_condition
from hotfolder.loading import load_plugins
from hotfolder.testing import codes, embed_picture, make_job, make_pdf, run_steps

ConvertColour = load_plugins().steps["convert_colour"]

CASES = [
    # content, findings, what must stand in the content afterwards, what must not
    (b"0.2 0.4 0.1 0 k 0 0 99 99 re f", [], [b"0.2 0.4 0.1 0 k"], []),
    (b"0.5 g 0 0 99 99 re f", [], [b"0.5 g"], []),
    (b"1 0 0 rg 0 0 99 99 re f", ["mended colour_converted"], [b" k", b"0 0 99 99 re f"], [b"rg"]),
    (b"0 0 0 rg 0 0 99 99 re f", ["mended colour_converted"], [b"0 0 0 1 k"], [b"rg"]),
    (b"/Spot cs 0.5 scn 0 0 99 99 re f", [], [b"/Spot cs 0.5 scn"], []),
]


@pytest.mark.parametrize(("content", "findings", "wanted", "gone"), CASES)
def test_flat_colours(
    tmp_path: Path, content: bytes, findings: list[str], wanted: list[bytes], gone: list[bytes]
) -> None:
    tint = Dictionary(FunctionType=2, Domain=Array([0, 1]), C0=Array([0, 0, 0, 0]), C1=Array([0, 0.6, 1, 0]), N=1)
    spot = Array([Name.Separation, Name("/Our#20Orange"), Name.DeviceCMYK, tint])
    path = make_pdf(tmp_path / "p.pdf", content=content, resources=Dictionary(ColorSpace=Dictionary(Spot=spot)))
    job = make_job(tmp_path, path)
    (record,) = run_steps(job, ConvertColour())
    assert codes(job) == findings
    assert record.changed == bool(findings)
    with pikepdf.open(job.artwork) as pdf:
        after = pdf.pages[0].Contents.read_bytes()
    assert all(part in after for part in wanted), after
    assert not any(part in after for part in gone), after


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_a_colour_is_what_the_profile_says(tmp_path: Path, name: str) -> None:
    condition = SHIPPED[name]
    job = make_job(tmp_path, make_pdf(tmp_path / "p.pdf", content=b"0.8 0.3 0.1 rg 0 0 9 9 re f"), condition=condition)
    run_steps(job, ConvertColour())
    with pikepdf.open(job.artwork) as pdf:
        numbers = [float(word) for word in pdf.pages[0].Contents.read_bytes().split(b" k")[0].split()]
    expected = to_condition(SRGB, condition).colours(np.array([[0.8, 0.3, 0.1]]))[0]
    assert numbers == pytest.approx(list(expected), abs=1e-3)


def test_a_picture_is_converted_once_and_stays_in_place(tmp_path: Path) -> None:
    path = make_pdf(tmp_path / "p.pdf", content=b"q 500 0 0 500 30 40 cm /P Do Q")
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        pdf.pages[0].obj.Resources = Dictionary(XObject=Dictionary(P=embed_picture(pdf, 50, 40)))
        pdf.save(path)
    job = make_job(tmp_path, path)
    run_steps(job, ConvertColour())
    assert codes(job) == ["mended colour_converted"]
    with pikepdf.open(job.artwork) as pdf:
        (picture,) = pdf.pages[0].Resources.XObject.as_dict().values()
        assert picture.ColorSpace == Name.DeviceCMYK
        assert (int(picture.Width), int(picture.Height)) == (50, 40)
        assert b"500 0 0 500 30 40 cm" in pdf.pages[0].Contents.read_bytes()


@pytest.mark.parametrize(("most_ppi", "width"), [(0, 1000), (72, 500), (100, 695), (144, 1000)])
def test_pictures_finer_than_wanted_become_smaller(tmp_path: Path, most_ppi: float, width: int) -> None:
    """1000 pixels on 500 points, which are 144 to the inch; by default they stay as they are."""
    path = make_pdf(tmp_path / "p.pdf", content=b"q 500 0 0 400 30 40 cm /P Do Q")
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        pdf.pages[0].obj.Resources = Dictionary(XObject=Dictionary(P=embed_picture(pdf, 1000, 800)))
        pdf.save(path)
    job = make_job(tmp_path, path)
    run_steps(job, ConvertColour(ConvertColour.Settings(most_ppi=most_ppi)))
    with pikepdf.open(job.artwork) as pdf:
        (picture,) = pdf.pages[0].Resources.XObject.as_dict().values()
        assert (int(picture.Width), int(picture.Height)) == (width, width * 8 // 10)


def test_what_cannot_be_converted_holds(tmp_path: Path) -> None:
    """A picture whose colour space names no known family: nothing is guessed, the file stays as it was."""
    path = make_pdf(tmp_path / "p.pdf", content=b"/Odd cs 0.5 0.5 sc 0 0 99 99 re f")
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        broken = Array([Name.ICCBased, pdf.make_stream(b"no profile", N=2)])
        pdf.pages[0].obj.Resources = Dictionary(ColorSpace=Dictionary(Odd=broken))
        pdf.save(path)
    job = make_job(tmp_path, path)
    run_steps(job, ConvertColour())
    assert "hold not_converted" in codes(job)
    assert job.findings[0].message.endswith(".")
    assert job.artwork.read_bytes() == path.read_bytes()


TINT = Dictionary(FunctionType=2, Domain=Array([0, 1]), C0=Array([0, 0, 0, 0]), C1=Array([0, 0.6, 1, 0]), N=1)
RULES = [
    # content, rules of the condition, findings, what stands in the content afterwards
    (b"0 g 0 0 300 300 re f", {}, [], b"0 g 0 0 300 300 re f"),
    (b"0 g 0 0 300 300 re f", {"rich_black": (60, 40, 40, 100)}, ["mended black_enriched"], b"0.6 0.4 0.4 1 k"),
    (b"0 g 0 0 99 99 re f", {"rich_black": (60, 40, 40, 100)}, [], b"0 g 0 0 99 99 re f"),
    (b"1 1 1 1 k 0 0 9 9 re f", {}, [], b"1 1 1 1 k"),
    (
        b"1 1 1 1 k 0 0 9 9 re f",
        {"over_limit": "separate"},
        ["mended colour_converted", "mended separated_again"],
        b" k 0 0 9 9 re f",
    ),
    (
        b"1 1 1 1 k 0 0 9 9 re f",
        {"over_limit": "separate", "ink_limit": 200},
        ["mended colour_converted", "mended separated_again", "note still_over_limit"],
        b" k 0 0 9 9 re f",
    ),
    (
        b"/S cs 1 scn 0 0 9 9 re f",
        {"spot_inks": "cmyk"},
        ["note colour_remark", "mended colour_converted"],
        b"0 0.6 1 0 k",
    ),
    (
        b"/S cs 1 scn 0 0 9 9 re f",
        {"spots": (("our orange", Spot("rename", "Orange")),)},
        ["note colour_remark", "mended colour_converted"],
        b"/S cs 1 scn",
    ),
]


@pytest.mark.parametrize(("content", "rules", "findings", "wanted"), RULES)
def test_rules_of_the_condition(
    tmp_path: Path, content: bytes, rules: dict[str, Any], findings: list[str], wanted: bytes
) -> None:
    spot = Array([Name.Separation, Name("/Our Orange"), Name.DeviceCMYK, TINT])
    path = make_pdf(tmp_path / "p.pdf", content=content, resources=Dictionary(ColorSpace=Dictionary(S=spot)))
    job = make_job(tmp_path, path, condition=replace(SHIPPED["coated_europe"], **rules))
    (record,) = run_steps(job, ConvertColour())
    assert codes(job) == findings
    assert record.changed == bool(findings)
    with pikepdf.open(job.artwork) as pdf:
        assert wanted in pdf.pages[0].Contents.read_bytes()
    for finding in job.findings:
        assert finding.message.endswith(".")


def test_what_is_told_of_rich_black(tmp_path: Path) -> None:
    condition = replace(SHIPPED["coated_europe"], rich_black=(60.0, 40.0, 40.0, 100.0))
    job = make_job(tmp_path, make_pdf(tmp_path / "p.pdf", content=b"0 g 0 0 300 300 re f"), condition=condition)
    run_steps(job, ConvertColour())
    assert job.findings[0].message == (
        "A large black area had black ink alone, which prints as a dark gray there: now 60 / 40 / 40 / 100 percent of "
        "cyan, magenta, yellow and black."
    )


@pytest.mark.parametrize(
    "rules",
    [
        {"picture_intent": "saturation"},
        {"follow_file_intents": True},
        {"rich_black": (60.0, 40.0, 40.0, 100.0)},
        {"cmyk": "convert", "cmyk_source": SHIPPED["uncoated"].profile},
        {"over_limit": "separate"},
        {"spot_inks": "cmyk"},
    ],
    ids=str,
)
def test_the_finished_file_looks_as_the_rules_mean_it(tmp_path: Path, rules: dict[str, Any]) -> None:
    """verify_result has its own eyes: it compares the artwork under the rules with what came out."""
    across, down = np.meshgrid(np.linspace(0, 255, 80), np.linspace(0, 255, 80))
    rgb = np.stack([across, down, 255 - across], axis=2).astype(np.uint8)
    cmyk = np.stack([across, down, across, down], axis=2).astype(np.uint8)
    content = (
        b"0 g 0 0 200 300 re f /S cs .8 scn 200 0 200 300 re f .1 .1 .9 rg 400 0 200 300 re f .9 .9 .9 .9 k "
        b"0 300 200 100 re f q 300 0 0 300 0 400 cm /A Do Q q 300 0 0 300 300 400 cm /B Do Q"
    )
    spot = Array([Name.Separation, Name("/Our Orange"), Name.DeviceCMYK, TINT])
    path = make_pdf(
        tmp_path / "p.pdf", content=content, resources=Dictionary(ColorSpace=Dictionary(S=spot)), trim_mm=(210, 260)
    )
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        pictures = Dictionary()
        for name, pixels, space in (("/A", rgb, Name.DeviceRGB), ("/B", cmyk, Name.DeviceCMYK)):
            pictures[name] = pdf.make_stream(
                pixels.tobytes(), Type=Name.XObject, Subtype=Name.Image, Width=80, Height=80, BitsPerComponent=8,
                ColorSpace=space, Intent=Name.Perceptual,
            )  # fmt: skip
        pdf.pages[0].obj.Resources.XObject = pictures
        pdf.save(path)
    job = make_job(tmp_path, path, condition=replace(SHIPPED["coated_europe"], **rules))
    steps = load_plugins().steps
    run_steps(job, *(steps[name]() for name in ("open_pdf", "convert_colour", "seal_pdf", "verify_result")))
    assert not [code for code in codes(job) if code.startswith("hold")]
    assert "mended colour_converted" in codes(job)
