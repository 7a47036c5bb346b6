"""Colour spaces, functions and the scanner of instructions, from their clauses of ISO 32000-1."""

import numpy as np
import pikepdf
import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pikepdf import Array, Dictionary, Name, Object, Stream

from hotfolder.pdf.values.calculator import Calculator
from hotfolder.pdf.values.calibrated import calibrated_profile
from hotfolder.pdf.values.functions import read_function
from hotfolder.pdf.values.spaces import SpaceReader
from hotfolder.pdf.walk.content import Scanner, parse_name, parse_number, write_name, write_numbers

PDF = pikepdf.new()
FUNCTION = "<< /FunctionType 2 /Domain [0 1] /C0 [0 0 0 0] /C1 [0 .6 1 0] /N 1 >>"


def read(text: str, resources: object = None) -> object:
    return SpaceReader().read(Object.parse(text.encode()), resources)


SPACES = {
    "/DeviceGray": ("DeviceGray", 1, (0.0,)),
    "[/DeviceRGB]": ("DeviceRGB", 3, (0.0, 0.0, 0.0)),
    "/DeviceCMYK": ("DeviceCMYK", 4, (0.0, 0.0, 0.0, 1.0)),
    "[/CalGray << /WhitePoint [1 1 1] >>]": ("CalGray", 1, (0.0,)),
    "[/Lab << /WhitePoint [1 1 1] /Range [10 50 -100 100] >>]": ("Lab", 3, (0.0, 10.0, 0.0)),
    "[/Indexed /DeviceRGB 1 <000000FFFFFF>]": ("Indexed", 1, (0.0,)),
    f"[/Separation /Orange /DeviceCMYK {FUNCTION}]": ("Separation", 1, (1.0,)),
    "/Pattern": ("Pattern", 0, ()),
    "[/Pattern /DeviceRGB]": ("Pattern", 3, None),
}


@pytest.mark.parametrize("text", SPACES)
def test_spaces(text: str) -> None:
    kind, n, initial = SPACES[text]
    space = read(text)
    assert (space.kind, space.n) == (kind, n)
    if initial is not None:
        assert space.initial() == initial  # ISO 32000-1 8.6.8 and table 89 onwards


NONSENSE = [
    "/Nowhere", "[]", "[/Nowhere 1 2]", "[/ICCBased]", "[/ICCBased << /N 3 >> ]", "[/Indexed /DeviceRGB 1]",
    "[/Indexed [/Indexed /DeviceRGB 1 <00>] 1 <00>]", "[/Separation /A /DeviceCMYK 5]", "[/Lab << >>]",
    "[/CalRGB << /WhitePoint [1 1] >>]", "[/DeviceN [] /DeviceCMYK << >>]", "5", "(text)", "<< >>", "null",
    f"[/Separation /A /DeviceRGB {FUNCTION}]", "[/Lab << /WhitePoint [1 1 (x)] >>]", "[/Pattern [/Nowhere]]",
]  # fmt: skip


@pytest.mark.parametrize("text", NONSENSE)
def test_nonsense_is_a_value_error(text: str) -> None:
    if text == "[/ICCBased << /N 3 >> ]":
        assert read(text).kind == "ICCBased"  # without data, its stand-in by N is used
        return
    with pytest.raises(ValueError, match=r"."):
        read(text)


def test_a_space_inside_itself() -> None:
    pdf = pikepdf.new()
    loop = pdf.make_indirect(Array([Name.Indexed, Name.DeviceRGB, 1, pikepdf.String(b"")]))
    loop[1] = loop
    with pytest.raises(ValueError, match="without end"):
        SpaceReader().read(loop, None)


def test_short_tables_are_filled_with_zeros() -> None:
    space = read("[/Indexed /DeviceRGB 3 <FF>]")
    assert space.table.tolist() == [[1, 0, 0], [0, 0, 0], [0, 0, 0], [0, 0, 0]]


def test_calibrated_profile_means_what_the_clause_says() -> None:
    """ISO 32000-1 8.6.5.3: X = XA*A^GR + XB*B^GG + XC*C^GB, checked through the profile's own tags."""
    space = read(
        "[/CalRGB << /WhitePoint [.9642 1 .8249] /Gamma [1 2 3] /Matrix [.4 .2 .1 .3 .6 .1 .2642 .2 .6249] >>]"
    )
    data = calibrated_profile(space)
    assert data[36:40] == b"acsp"
    columns = []
    for tag in (b"rXYZ", b"gXYZ", b"bXYZ"):
        at = data.index(tag, 128)
        offset = int.from_bytes(data[at + 4 : at + 8], "big")
        columns += [int.from_bytes(data[offset + 8 + 4 * i : offset + 12 + 4 * i], "big") / 65536 for i in range(3)]
    # The white point is D50 already: no adaptation.
    assert columns == pytest.approx([0.4, 0.2, 0.1, 0.3, 0.6, 0.1, 0.2642, 0.2, 0.6249], abs=2e-4)


# Functions


def function(text: str, data: bytes | None = None) -> object:
    found = Object.parse(text.encode())
    if data is None:
        return read_function(found)
    stream = Stream(PDF, data)
    for key in found.keys():  # noqa: SIM118
        stream[key] = found[key]
    return read_function(stream)


def values(made: object, *rows: float | tuple[float, ...]) -> list[list[float]]:
    table = np.array([row if isinstance(row, tuple) else (row,) for row in rows], float)
    return [[round(float(v), 6) for v in row] for row in made(table)]


def test_power_function() -> None:
    made = function("<< /FunctionType 2 /Domain [0 1] /C0 [0 1] /C1 [1 0] /N 2 >>")
    assert values(made, 0, 0.5, 1, 7) == [[0, 1], [0.25, 0.75], [1, 0], [1, 0]]


def test_stitched_function_belongs_to_the_right_at_a_bound() -> None:
    part = "<< /FunctionType 2 /Domain [0 1] /C0 [%d] /C1 [%d] /N 1 >>"
    text = f"<< /FunctionType 3 /Domain [0 1] /Bounds [.5] /Encode [0 1 1 0] /Functions [{part % (0, 10)} {part % (20, 30)}] >>"
    made = function(text)
    assert values(made, 0, 0.25, 0.5, 1) == [[0], [5], [30], [20]]
    assert made.breaks() == [0.5]


def test_sampled_function_draws_lines_and_planes() -> None:
    made = function("<< /FunctionType 0 /Domain [0 1] /Range [0 1] /Size [3] /BitsPerSample 8 >>", b"\x00\xff\x00")
    assert values(made, 0, 0.25, 0.5, 0.75, 1) == [[0], [0.5], [1], [0.5], [0]]
    # The first input runs fastest (7.10.2).
    field = function(
        "<< /FunctionType 0 /Domain [0 1 0 1] /Range [0 1] /Size [2 2] /BitsPerSample 8 >>", b"\x00\xff\x00\xff"
    )
    assert values(field, (1, 0), (0, 1), (0.5, 0.5)) == [[1], [0], [0.5]]


PROGRAMS = {
    "{ add }": ((1, 2), [3]), "{ sub }": ((1, 2), [-1]), "{ exch }": ((1, 2), [2, 1]), "{ 2 copy add }": ((1, 2), [1, 2, 3]),
    "{ 1 index }": ((1, 2), [1, 2, 1]), "{ 3 2 1 3 1 roll }": ((), [1, 3, 2]), "{ 3 2 1 3 -1 roll }": ((), [2, 1, 3]),
    "{ dup 1 gt { pop 9 } { 5 add } ifelse }": ((2,), [9]), "{ dup 1 gt { pop 9 } if }": ((0.5,), [0.5]),
    "{ 7 2 idiv }": ((), [3]), "{ -7 3 mod }": ((), [-1]), "{ 2 3 exp }": ((), [8]), "{ 90 sin }": ((), [1]),
    "{ 1 0 atan }": ((), [90]), "{ -1 0 atan }": ((), [270]), "{ 3.7 truncate -3.2 ceiling }": ((), [3, -3]),
    "{ 6.5 round -6.5 round }": ((), [7, -6]), "{ 5 3 and 5 3 or 5 3 xor }": ((), [1, 7, 6]), "{ true not }": ((), [0]),
    "{ 1 3 bitshift 8 -2 bitshift }": ((), [8, 2]), "{ 4 sqrt 100 log }": ((), [2, 2]), "{ 1 0 div }": ((), [0]),
    "{ % a remark\n 1 }": ((), [1]),
}  # fmt: skip


@pytest.mark.parametrize("program", PROGRAMS)
def test_calculator(program: str) -> None:
    """Operators as ISO 32000-1 table 42 and the PostScript language's reference describe them."""
    inputs, outputs = PROGRAMS[program]
    stack = Calculator(program.encode()).run([np.array([float(v)]) for v in inputs], 1)
    assert [float(v[0]) for v in stack] == pytest.approx(outputs)


@pytest.mark.parametrize(
    "program",
    [
        "",
        "1",
        "{",
        "{ 1",
        "{ pop }",
        "{ launch }",
        "{ 5 copy }",
        "{ -1 index }",
        "{ 1 2 roll }",
        "{" * 99 + "}" * 99,
        "{ add }",
    ],
)
def test_programs_that_go_wrong(program: str) -> None:
    with pytest.raises(ValueError, match=r"calculating function"):
        Calculator(program.encode()).run([], 1)


def test_functions_against_pdfium() -> None:
    """A gradient drawn by PDFium has, in the middle of the page, the colour that the function gives there."""
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=(101, 10))
    stream = Stream(pdf, b"{ dup 0.5 gt { 1 exch sub } if dup dup mul 1 index 2 mul }")
    stream.FunctionType, stream.Domain, stream.Range = 4, Array([0, 1]), Array([0, 1, 0, 1, 0, 1])
    shading = Dictionary(
        ShadingType=2, ColorSpace=Name.DeviceRGB, Coords=Array([0, 0, 101, 0]), Function=pdf.make_indirect(stream)
    )
    pdf.pages[0].obj.Resources = Dictionary(Shading=Dictionary(S=shading))
    pdf.pages[0].obj.Contents = pdf.make_stream(b"/S sh")
    import io

    saved = io.BytesIO()
    pdf.save(saved)
    drawn = pypdfium2.PdfDocument(saved.getvalue())[0].render(scale=1, rev_byteorder=True).to_numpy()[5, :, :3] / 255
    places = (np.arange(101) + 0.5) / 101
    assert abs(read_function(stream)(places[:, None]) - drawn).max() < 0.03


# Instructions

ALL = b"q Q cm rg k cs scn Do BI Tf f".split()


def operators(content: bytes) -> list[tuple[bytes, list[bytes]]]:
    return [(found.operator, found.operands) for found in Scanner(ALL).scan(content)]


def test_operands_come_as_written() -> None:
    assert operators(b"q 1 0 0 rg /F#31 9 Tf[(a)]TJ /A<</B[1(rg)]>>BDC 1 0 0 1 2 3 cm") == [
        (b"q", []), (b"rg", [b"1", b"0", b"0"]), (b"Tf", [b"/F#31", b"9"]), (b"cm", [b"1", b"0", b"0", b"1", b"2", b"3"]),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("content", "data"),
    [
        (b"BI /W 2 /H 2 /BPC 8 /CS /G ID \nEI  EI Q", b"\nEI "),
        (b"BI /W 1 /H 1 /BPC 8 /CS /RGB ID abc\nEI Q", b"abc"),
        (b"BI /W 9 /H 9 /F /Fl ID \x01\x02 EI \xff\xfe more EI Q", b"\x01\x02 EI \xff\xfe more"),
        (b"BI /W 4 /H 4 /IM true ID \x80\x80\x80\x80 EI Q", b"\x80\x80\x80\x80"),
    ],
)
def test_inline_pictures_end_where_they_end(content: bytes, data: bytes) -> None:
    (picture, (_, found)), after = operators(content)
    assert picture == b"BI"
    assert found.rstrip(b" \n") == data.rstrip(b" \n")
    assert after == (b"Q", [])


@given(st.binary(max_size=300))
@settings(max_examples=300, deadline=None)
def test_any_bytes_can_be_scanned(content: bytes) -> None:
    for found in Scanner(ALL).scan(content):
        assert 0 <= found.start < found.end <= len(content)


@given(
    st.lists(
        st.sampled_from([b"1 0 0 rg", b"q", b"Q", b"(a(b)\\) rg)Tj", b"% rg\n", b"[(x)-3<41>]TJ", b"0 0 9 9 re", b"f", b"/A<</B 1>>BDC",
                         b"BI /W 1 /H 1 /BPC 8 /CS /G ID r EI", b"/X Do", b"<</A(>>)>>", b"BT", b"true"]),
        max_size=30,
    )
)  # fmt: skip
@settings(max_examples=300, deadline=None)
def test_operators_are_those_qpdf_finds(parts: list[bytes]) -> None:
    content = b" ".join([*parts, b"n"])
    pdf = pikepdf.new()
    expected = []
    for found in pikepdf.parse_content_stream(pdf.make_stream(content)):
        name = str(found.operator).encode()
        if isinstance(found, pikepdf.ContentStreamInlineImage) or name == b"INLINE IMAGE":
            name = b"BI"
        if name in ALL:
            expected.append(name)
    assert [name for name, _ in operators(content)] == expected


def test_numbers_and_names() -> None:
    assert [parse_number(t) for t in (b"1", b"-.5", b"+3.", b"--5", b"1.2.3")] == [1, -0.5, 3, -5, 1.2]
    for token in (b"", b"-", b".", b"x", b"1e99"):
        with pytest.raises(ValueError, match="number"):
            parse_number(token)
    assert parse_name(b"/a#20b") == "/a b"
    assert write_name("/a b#") == b"/a#20b#23"
    assert write_numbers([0, 1, 0.5, 1 / 3, 1e-9]) == b"0 1 0.5 0.3333 0"
