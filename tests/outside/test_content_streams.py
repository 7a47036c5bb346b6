"""Whatever a drawing program writes, the walker follows it and touches only colours: streams made by hypothesis.

What a stream means is told by others: qpdf's parser reads it before and after, PDFium draws it.
More than the gate's examples: HOTFOLDER_EXAMPLES=20000 pytest tests/outside/test_content_streams.py
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
import pikepdf
import pytest
import pyvips
from hypothesis import assume, given
from hypothesis import strategies as st
from pikepdf import Array, Dictionary, Name, Object, Stream
from streams import SPACES, Laid, examples, streams

from hotfolder.colour.profile import SRGB
from hotfolder.pdf.mappings import Mapping
from hotfolder.pdf.render import render_page
from hotfolder.pdf.values.spaces import CMYK, RGB, Floats, Space
from hotfolder.pdf.walk.content import Scanner
from hotfolder.pdf.walk.mapping import KEEP, Fate, Plan
from hotfolder.pdf.walk.operators import HANDLED
from hotfolder.pdf.walk.walker import walk

EVERY = (
    "b B b* B* BDC BI BMC BT BX c cm CS cs d Do DP EMC ET EX f F f* G g gs h i J j K k l m M MP n q Q re RG rg ri s S"
    " SC sc SCN scn sh T* Tc Td TD Tf Tj TJ TL Tm Tr Ts Tw Tz v w W W* y ' \" rgb kk q1 Do2 cmx foo"
)


# The page they stand on


def page_with(parts: Iterable[bytes], in_form: bool = False) -> pikepdf.Pdf:
    """A page of 100 x 100 points with everything that `streams` names, and the parts of one stream as its contents."""
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=(100, 100))
    page = pdf.pages[0].obj

    def made(data: bytes, entries: str) -> Object:
        stream = Stream(pdf, data)
        facts = Object.parse(f"<<{entries}>>".encode())
        for key in facts.keys():  # noqa: SIM118
            stream[key] = facts[key]
        return pdf.make_indirect(stream)

    tint = "<< /FunctionType 2 /Domain [0 1] /C0 [1 1 1] /C1 [1 .5 0] /N 1 >>"
    mix = made(b"{0 exch}", "/FunctionType 4 /Domain [0 1 0 1] /Range [0 1 0 1 0 1]")
    axial = f"/ShadingType 2 /ColorSpace /DeviceRGB /Coords [0 0 90 90] /Extend [true true] /Function {tint}"
    box, cell = "/BBox [0 0 90 90]", "/PatternType 1 /TilingType 1 /BBox [0 0 9 9] /XStep 9 /YStep 9"
    white = "/WhitePoint [.9505 1 1.089]"
    glyph = made(b"500 0 d0 1 0 0 rg 0 0 400 400 re f", "")
    plain = made(b"500 0 0 0 400 400 d1 0 0 400 400 re f", "")
    drawn = Object.parse(
        b"<< /Type /Font /Subtype /Type3 /FontBBox [0 0 500 500] /FontMatrix [.001 0 0 .001 0 0] /FirstChar 87"
        b" /LastChar 97 /Widths [500 0 0 0 0 0 0 0 0 0 500]"
        b" /Encoding << /Type /Encoding /Differences [87 /W 97 /a] >> /Resources << >> >>"
    )
    drawn.CharProcs = Dictionary(W=glyph, a=plain)
    duo = Array([Name.DeviceN, Array([Name.One, Name.Two]), Name.DeviceRGB, mix])
    resources = pdf.make_indirect(
        Dictionary(
            ColorSpace=Dictionary(
                Rgb=Name.DeviceRGB,
                Icc=Array([Name.ICCBased, made(SRGB.data, "/N 3 /Alternate /DeviceRGB")]),
                Cal=Object.parse(f"[/CalRGB << {white} /Gamma [2.2 2.2 2.2] >>]".encode()),
                CalG=Object.parse(f"[/CalGray << {white} /Gamma 2.2 >>]".encode()),
                Lab=Object.parse(b"[/Lab << /WhitePoint [.9642 1 .8249] /Range [-128 127 -128 127] >>]"),
                Idx=Object.parse(b"[/Indexed /DeviceRGB 3 <000000FF8000FFFFFF204060>]"),
                Spot=Object.parse(f"[/Separation /Orange /DeviceRGB {tint}]".encode()),
                Duo=duo,
                Under=Object.parse(b"[/Pattern /DeviceRGB]"),
            ),
            ExtGState=Dictionary(
                Half=Dictionary(ca=0.5, CA=0.5),
                Over=Object.parse(b"<< /OP true /op true /OPM 1 >>"),
                Multiply=Dictionary(BM=Name.Multiply),
            ),
            Font=Dictionary(
                F1=Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica),
                Drawn=pdf.make_indirect(drawn),
            ),
            Pattern=Dictionary(
                Cell=made(b"0 0 5 5 re f", f"{cell} /PaintType 2 /Resources << >>"),
                Tile=made(b"0 1 0 rg 0 0 5 5 re f", f"{cell} /PaintType 1 /Resources << >>"),
                Fade=pdf.make_indirect(Object.parse(f"<< /PatternType 2 /Shading << {axial} >> >>".encode())),
            ),
            Properties=Dictionary(Props=Dictionary(MCID=1)),
            Shading=Dictionary(Blend=pdf.make_indirect(Object.parse(f"<< {axial} >>".encode()))),
            XObject=Dictionary(
                Photo=made(bytes(range(0, 252, 21)), "/Type /XObject /Subtype /Image /Width 2 /Height 2"
                           " /ColorSpace /DeviceRGB /BitsPerComponent 8"),
                Stencil=made(b"\xa5\x5a", "/Type /XObject /Subtype /Image /Width 8 /Height 2 /ImageMask true"),
                Form=made(b"0 0 1 rg 5 5 20 20 re f 0 0 1 RG 0 0 m 50 50 l S",
                          f"/Type /XObject /Subtype /Form {box} /Resources << >>"),
                Borrows=made(b"15 5 20 20 re f 0 50 m 50 0 l S",
                             f"/Type /XObject /Subtype /Form {box} /Resources << >>"),
            ),
        )
    )  # fmt: skip
    page.Resources = resources
    if in_form:
        form = made(b"\n".join(parts), f"/Type /XObject /Subtype /Form {box}")
        form.Resources = resources
        page.Resources = Dictionary(XObject=Dictionary(Whole=form))
        parts = [b"q 0.5 0.25 0.75 rg /Whole Do Q 0 0 5 5 re f"]
    page.Contents = Array([pdf.make_indirect(Stream(pdf, part)) for part in parts])
    return pdf


def saved(pdf: pikepdf.Pdf) -> bytes:
    out = io.BytesIO()
    pdf.save(out, static_id=True)
    return out.getvalue()


def picture(pdf: pikepdf.Pdf) -> Floats:
    return np.asarray(render_page(saved(pdf), 1, 72).picture, np.float64)


# Mappings


class InOtherWords(Mapping):
    """Gray and RGB become the very same colours, written as DeviceRGB: nothing may look different."""

    target = RGB
    states_black = True

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        same = {"DeviceGray", "DeviceRGB"}
        base = space.base.kind if space.kind == "Indexed" and space.base is not None else space.kind
        return Plan(Fate.CONVERT) if base in same else KEEP

    def colours(self, space: Space, values: Floats, smooth: bool) -> Floats:
        values = space.lookup(values) if space.kind == "Indexed" else values
        return np.repeat(values, 3 // values.shape[1], axis=1)

    def picture(self, image: pyvips.Image, space: Space) -> tuple[pyvips.Image, Space]:
        return (image.bandjoin([image, image]) if image.bands == 1 else image).copy(), RGB


class Everything(Mapping):
    """Every colour of every space becomes another, in inks, by a formula of no meaning."""

    target = CMYK
    states_black = True
    converts_inks = True

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        return KEEP if space.kind == "Pattern" else Plan(Fate.CONVERT)

    def colours(self, space: Space, values: Floats, smooth: bool) -> Floats:
        return np.array([formula(row) for row in np.asarray(values).tolist()])

    def picture(self, image: pyvips.Image, space: Space) -> tuple[pyvips.Image, Space]:
        first = image[0]
        return first.bandjoin([255 - first, first, 255 - first]).cast(image.format), CMYK


def formula(values: Iterable[float]) -> tuple[float, ...]:
    held = [value / 300 + 0.5 for value in values]
    return tuple(part / len(held) for part in (sum(held), held[0], held[-1], 0.5))


# What qpdf reads

Read = list[tuple[str, tuple[Any, ...]]]
STATED = {
    "g": "DeviceGray",
    "G": "DeviceGray",
    "rg": "DeviceRGB",
    "RG": "DeviceRGB",
    "k": "DeviceCMYK",
    "K": "DeviceCMYK",
}
PATTERNS = ("/Pattern", "/Under")
COLOURS = frozenset([*STATED, "cs", "CS", "sc", "SC", "scn", "SCN"])
FILLS = frozenset(["f", "F", "f*", "B", "B*", "b", "b*", "Tj", "TJ", "'", '"'])
STROKES = frozenset(["S", "s", "B", "B*", "b", "b*", "Tj", "TJ", "'", '"'])


def read(pdf: pikepdf.Pdf) -> Read:
    return [
        (str(instruction.operator), tuple(instruction.operands))
        for instruction in pikepdf.parse_content_stream(pdf.pages[0])
    ]


def others(instructions: Read) -> list[tuple[str, list[str]]]:
    """All but what sets colours; the one operator that may come on top keeps overprinting as it was."""
    kept = []
    for operator, operands in instructions:
        shown = [part.unparse() if isinstance(part, Object) else repr(part) for part in operands]
        added = operator == "gs" and str(operands[0]).startswith("/OverprintMode")
        if operator == "INLINE IMAGE" or (operator == "Do" and str(operands[0]).startswith("/Inline")):
            operator, shown = "Do", ["an inline picture"]
        if operator not in COLOURS and not added:
            kept.append((operator, [str(part) for part in shown]))
    return kept


Colour = tuple[str, tuple[float, ...]]  # what it is called, its numbers


def painted(instructions: Read, convert: Callable[[tuple[float, ...]], tuple[float, ...]]) -> list[Colour]:
    """The colours in force wherever something is painted: an interpreter of 8.6.8 of its own."""
    colours: list[Colour] = [("", convert((0.0,)))] * 2
    spaces, stack, seen = ["DeviceGray"] * 2, [], []
    for operator, operands in instructions:
        side = int(operator[:1].isupper())
        values = tuple(float(part) for part in operands if not isinstance(part, Object)) if operator in COLOURS else ()
        if operator == "q":
            stack.append((colours.copy(), spaces.copy()))
        elif operator == "Q" and stack:
            colours, spaces = stack.pop()
        elif operator in STATED:
            colours[side], spaces[side] = ("", convert(values)), STATED[operator]
        elif operator in ("cs", "CS"):
            spaces[side] = str(operands[0])
            colours[side] = ("nothing", ()) if spaces[side] in PATTERNS else ("", convert(initial(spaces[side])))
        elif operator in ("sc", "SC", "scn", "SCN"):
            name = str(operands[-1]) if isinstance(operands[-1], Name) else ""
            colours[side] = name, convert(values) if values else ()
        if operator in FILLS:
            seen.append(("fill " + colours[0][0], colours[0][1]))
        if operator in STROKES:
            seen.append(("stroke " + colours[1][0], colours[1][1]))
    return seen


def initial(space: str) -> tuple[float, ...]:
    """What choosing a space sets (8.6.8)."""
    if space == "/DeviceCMYK":
        return (0, 0, 0, 1)
    return (float(space in ("/Spot", "/Duo")),) * SPACES[space.encode()]


# The properties


@examples(300)
@given(streams())
def test_every_operator_is_found_with_its_operands_where_it_stands(stream: Laid) -> None:
    found = list(Scanner(word.encode() for word in EVERY.split()).scan(stream.data))
    assert [(f.operator, f.operands, f.start, f.end) for f in found] == stream.placed


@examples(300)
@given(streams())
def test_what_is_run_over_hides_nothing_that_matters(stream: Laid) -> None:
    found = list(Scanner(HANDLED).scan(stream.data))
    came = [(f.operator, f.operands, f.start, f.end) for f in found]
    assert came == [placed for placed in stream.placed if placed[0] in HANDLED]


@examples(120)
@given(streams(), st.lists(st.integers(0, 10**6), max_size=3), st.booleans())
def test_a_mapping_that_changes_nothing_leaves_every_byte(stream: Laid, cuts: list[int], in_form: bool) -> None:
    pdf = page_with(cut(stream, cuts), in_form)
    before, shown = saved(pdf), picture(pdf)
    result = walk(pdf, Mapping())
    assert result.leftovers == []
    assert saved(pdf) == before
    assert np.array_equal(picture(pdf), shown)


@examples(150)
@given(streams(), st.lists(st.integers(0, 10**6), max_size=3), st.booleans())
def test_the_same_colours_in_other_words_are_drawn_to_the_pixel(stream: Laid, cuts: list[int], in_form: bool) -> None:
    # Choosing a space sets a colour too (8.6.8); with device spaces and tables PDFium leaves the one that was set.
    following = zip(stream.placed, [*stream.placed[1:], (b"", [], 0, 0)], strict=False)
    assume(not any(one[0] in (b"cs", b"CS") and then[0][:2] not in (b"sc", b"SC") for one, then in following))
    pdf = page_with(cut(stream, cuts), in_form)
    shown = picture(pdf)
    result = walk(pdf, InOtherWords())
    assert result.leftovers == []
    assert np.abs(picture(pdf) - shown).max() == 0


@examples(250)
@given(streams(), st.lists(st.integers(0, 10**6), max_size=3))
def test_only_colours_change_and_each_to_what_the_mapping_says(stream: Laid, cuts: list[int]) -> None:
    pdf = page_with(cut(stream, cuts))
    before = read(pdf)
    assume(len(before) == len(stream.placed))  # qpdf guesses where an inline picture ends, and may be fooled
    result = walk(pdf, Everything())
    after = read(pdf)
    assert {leftover.what for leftover in result.leftovers} <= {"overprinting"}
    assert others(after) == others(before)
    wanted, came = painted(before, formula), painted(after, tuple)
    assert [name for name, _ in came] == [name for name, _ in wanted]
    for (_, numbers), (_, meant) in zip(came, wanted, strict=True):
        assert numbers == pytest.approx(meant, abs=5.1e-5)  # written with four decimals


def cut(stream: Laid, cuts: list[int]) -> list[bytes]:
    """The stream as a Contents array, cut between tokens (7.8.2)."""
    places = sorted({stream.cuts[at % len(stream.cuts)] for at in cuts})
    return [stream.data[a:b] for a, b in zip([0, *places], [*places, None], strict=True)]
