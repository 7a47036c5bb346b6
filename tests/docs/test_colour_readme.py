"""Holds the colour engine's README to the code: every test it names exists, its example mapping runs."""

from __future__ import annotations

import ast
import inspect
import re
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Stream, String

from hotfolder.pdf.walk.mapping import Mapping

REPO = Path(__file__).parents[2]
TEXT = (REPO / "hotfolder" / "colour" / "README.md").read_text(encoding="utf-8")
ROWS = [line for line in TEXT.split("## What it does")[1].splitlines() if line.startswith("| ") and "---" not in line]


def functions_of(file: Path) -> set[str]:
    tree = ast.parse(file.read_text(encoding="utf-8"))
    return {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


def test_each_row_says_how_it_stands_and_names_its_tests() -> None:
    for row in ROWS:
        cells = [cell.strip() for cell in row.strip("|").split("|")]
        assert len(cells) == 3, row
        if cells[2] != "proven by":
            assert cells[1].startswith(("works", "holds", "doubt")), row
            assert "::" in cells[2], row


@pytest.mark.parametrize("named", sorted(set(re.findall(r"`(tests/[\w/.]+::\w+)`", TEXT))))
def test_every_named_test_exists(named: str) -> None:
    file, _, function = named.partition("::")
    assert (REPO / file).is_file(), f"{file} is not there"
    assert function in functions_of(REPO / file), f"{file} has no {function}"


def test_every_method_of_a_mapping_is_documented() -> None:
    methods = {name for name, _ in inspect.getmembers(Mapping, inspect.isfunction) if not name.startswith("_")}
    table = TEXT.split("| method |")[1].split("\n\n")[0]
    documented = {word for cell in re.findall(r"^\| ([^|]+)\|", table, re.M) for word in re.findall(r"`(\w+)", cell)}
    assert documented == methods


def test_the_example_mapping_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = re.search(r"<!-- example mapping -->\n```python\n(.*?)```", TEXT, re.DOTALL)
    assert found is not None
    monkeypatch.chdir(tmp_path)
    _poster().save("poster.pdf")
    exec(compile(found[1], "README.md", "exec"), {"__name__": "example"})
    with pikepdf.open("faded.pdf") as pdf:
        page = pdf.pages[0].obj
        # Red's mean is a third; four tenths of the way back to it remain.
        assert (
            page.Contents.read_bytes().split()
            == b"0.6 0.2 0.2 rg f 0 1 1 0 k f /Pic Do /Table cs 0 sc f /Fade sh".split()
        )
        resources = page.Resources
        assert list(resources.XObject.Pic.read_bytes()) == [153, 51, 51]
        assert list(bytes(resources.ColorSpace.Table[3])) == [153, 51, 51]
        table = np.frombuffer(resources.Shading.Fade.Function.Functions[0].read_bytes(), ">u2").reshape(-1, 3)
        assert (table[0] / 65535).tolist() == pytest.approx([0.6, 0.2, 0.2], abs=1e-4)


def _poster() -> pikepdf.Pdf:
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=(100, 100))
    picture = Stream(pdf, b"\xff\x00\x00")
    for key, value in {
        "Type": Name.XObject,
        "Subtype": Name.Image,
        "Width": 1,
        "Height": 1,
        "BitsPerComponent": 8,
    }.items():
        picture["/" + key] = value
    picture.ColorSpace = Name.DeviceRGB
    ramp = Dictionary(FunctionType=2, Domain=Array([0, 1]), C0=Array([1, 0, 0]), C1=Array([0, 0, 1]), N=1)
    fade = Dictionary(ShadingType=2, ColorSpace=Name.DeviceRGB, Coords=Array([0, 0, 9, 9]), Function=ramp)
    pdf.pages[0].obj.Resources = Dictionary(
        XObject=Dictionary(Pic=picture), Shading=Dictionary(Fade=pdf.make_indirect(fade)),
        ColorSpace=Dictionary(Table=Array([Name.Indexed, Name.DeviceRGB, 0, String(b"\xff\x00\x00")])),
    )  # fmt: skip
    pdf.pages[0].obj.Contents = pdf.make_stream(b"1 0 0 rg f 0 1 1 0 k f /Pic Do /Table cs 0 sc f /Fade sh")
    return pdf
