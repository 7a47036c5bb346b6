"""Functions of a PDF, computed here and by Ghostscript's own PostScript and by poppler."""

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Object, Stream
from PIL import Image

from hotfolder.pdf.values.calculator import Calculator
from hotfolder.pdf.values.functions import read_function

# Programs of the operators in ISO 32000-1 table 42, each fed two numbers. PostScript tells whole numbers from others
# and booleans from both, so what needs one is given one.
PROGRAMS = [
    "add", "sub", "mul", "div", "abs exch abs", "neg exch neg", "ceiling exch floor", "round exch truncate",
    "cvi exch cvi idiv", "cvi exch cvi exch mod", "abs .5 add exch abs exch exp", "atan", "sin exch cos",
    "abs sqrt exch abs 1 add ln", "abs 1 add log exch cvr", "eq { 1 } { 2 } ifelse", "ne { 1 } { 2 } ifelse",
    "gt { 1 } { 2 } ifelse", "ge { 1 } { 2 } ifelse", "lt { 1 } { 2 } ifelse", "le { 1 } { 2 } ifelse",
    "2 copy gt 3 1 roll lt or { 1 } { 2 } ifelse", "0 gt exch 0 gt and { 1 } { 0 } ifelse",
    "0 gt exch 0 gt xor { 1 } { 0 } ifelse", "0 gt not { 1 } if pop 7", "cvi exch cvi and", "cvi exch cvi or",
    "cvi exch cvi xor", "cvi not exch cvi 3 bitshift", "cvi exch cvi abs -2 bitshift", "exch", "pop dup", "2 copy",
    "1 index 2 index", "5 3 1 roll 5 4 -1 roll 4 3 roll", "1 2 3 4 5 7 3 roll", "true { } { pop } ifelse",
    "false { pop } if", "dup 0 lt { neg } if exch dup 1 gt { pop 1 } { 2 div } ifelse", ".5 1.e0 -3.25 +4 1e-2",
]  # fmt: skip
INPUTS = [(0.3, 0.7), (-2.5, 1.5), (5.0, 3.0), (-7.25, 3.0), (0.0, 1.0), (100.6, -4.4), (1.0, 1.0), (2.0, 2.5)]


def test_calculators_against_postscript(tmp_path: Path) -> None:
    if shutil.which("gs") is None:
        pytest.skip("Ghostscript is not installed here")
    # What PostScript refuses (a division by 0) is [] here; no answer of ours is wrong then.
    lines = [
        f"mark {{ {a} {b} {program} }} stopped {{ clear [] == }} {{ counttomark array astore == clear }} ifelse"
        for program in PROGRAMS
        for a, b in INPUTS
    ]
    (tmp_path / "all.ps").write_text("\n".join(lines), encoding="ascii")
    done = subprocess.run(
        ["gs", "-q", "-dNODISPLAY", "-dBATCH", "-dNOPAUSE", "-dSAFER", str(tmp_path / "all.ps")],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    expected = [[float(x) for x in line.strip("[]").split()] for line in done.stdout.splitlines()]
    assert len(expected) == len(lines)
    assert sum(map(bool, expected)) > 0.95 * len(expected)
    rows = np.array(INPUTS)
    for index, program in enumerate(PROGRAMS):
        for at, (a, b) in enumerate(INPUTS):
            stack = Calculator(f"{{ {program} }}".encode()).run([rows[at : at + 1, 0], rows[at : at + 1, 1]], 1)
            if not expected[index * len(INPUTS) + at]:
                continue
            found = [float(v[0]) for v in stack]
            assert found == pytest.approx(expected[index * len(INPUTS) + at], rel=1e-4, abs=1e-5), (program, a, b)


TABLES = [
    # bits a sample, sizes, further entries
    (1, (5,), ""), (2, (4,), ""), (4, (7,), ""), (8, (5,), "/Encode [4 0]"), (12, (5,), "/Decode [1 0 0 1 .25 .75]"),
    (16, (3,), "/Encode [0 1]"), (24, (4,), "/Encode [.5 2.5]"), (32, (3,), "/Decode [-1 2 0 1 0 1]"),
    (8, (1,), ""), (8, (3, 2), ""), (4, (2, 3), "/Encode [1 0 0 2]"), (16, (3, 3), "/Order 1"),
    (8, (2, 3, 2), ""), (12, (2, 2, 3), "/Encode [0 1 1 0 0 2]"), (8, (2, 2, 2, 3), ""),
]  # fmt: skip


@pytest.mark.parametrize("case", range(len(TABLES)))
def test_tables_against_poppler(case: int, tmp_path: Path) -> None:
    """Squares in an ink space whose stand-in colour is the table's: any number of inputs can be drawn that way."""
    if shutil.which("pdftoppm") is None:
        pytest.skip("poppler is not installed here")
    bits, sizes, more = TABLES[case]
    random = np.random.default_rng(case)
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=(80, 80))
    count = int(np.prod(sizes)) * 3
    table = Stream(pdf, random.bytes((count * bits + 7) // 8))
    n = len(sizes)
    facts = f"<< /FunctionType 0 /Domain [{'0 1 ' * n}] /Range [0 1 0 1 0 1] /Size [{' '.join(map(str, sizes))}]"
    entries = Object.parse(f"{facts} /BitsPerSample {bits} {more} >>".encode())
    for key in entries.keys():  # noqa: SIM118
        table[key] = entries[key]
    function = pdf.make_indirect(table)
    inks = Array([Name(f"/Ink{i}") for i in range(n)])
    pdf.pages[0].obj.Resources = Dictionary(
        ColorSpace=Dictionary(N=Array([Name.DeviceN, inks, Name.DeviceRGB, function]))
    )
    tints = np.round(random.random((64, n)), 3)
    tints[:2] = [[0.0] * n, [1.0] * n]
    squares = [
        f"/N cs {' '.join(map(str, tint))} scn {i % 8 * 10} {i // 8 * 10} 10 10 re f"
        for i, tint in enumerate(tints.tolist())
    ]
    pdf.pages[0].obj.Contents = pdf.make_stream("\n".join(squares).encode())
    pdf.save(tmp_path / "a.pdf")
    subprocess.run(["pdftoppm", "-r", "72", "-png", "-singlefile", tmp_path / "a.pdf", tmp_path / "a"], check=True)
    picture = np.asarray(Image.open(tmp_path / "a.png").convert("RGB")) / 255
    drawn = picture[::-1][5::10, 5::10].reshape(64, 3)
    assert abs(read_function(table)(tints) - drawn).max() < 1.5 / 255
