"""The walker rewrites exactly what a mapping changes: a table of drawing instructions before and after."""

import io
import re

import numpy as np
import pikepdf
import pytest
from pages import CAL_RGB, CONDITION, LAB, RGB_SPOT, SPOT, Page, drawn, text_of
from pikepdf import Array, Dictionary, Name, Object
from PIL import Image, ImageCms

from hotfolder.colour.profile import SRGB
from hotfolder.pdf.mappings import ToCondition, ToScreen
from hotfolder.pdf.walk.walker import walk


def lcms(rgb: tuple[float, ...]) -> list[float]:
    """The same colour through LittleCMS by way of Pillow, in 8 bits."""
    press = ImageCms.ImageCmsProfile(str(CONDITION.profile))
    screen = ImageCms.ImageCmsProfile(io.BytesIO(SRGB.data))
    flags = ImageCms.Flags.BLACKPOINTCOMPENSATION | ImageCms.Flags.NOOPTIMIZE
    transform = ImageCms.buildTransform(screen, press, "RGB", "CMYK", ImageCms.Intent.RELATIVE_COLORIMETRIC, flags)
    patch = Image.new("RGB", (1, 1), tuple(round(v * 255) for v in rgb))
    return [v / 255 for v in ImageCms.applyTransform(patch, transform).getpixel((0, 0))]


def page_with_spaces() -> Page:
    page = Page()
    page.put("ColorSpace", "Spot", SPOT)
    page.put("ColorSpace", "Lab", LAB)
    page.put("ColorSpace", "CalRgb", CAL_RGB)
    page.profile("IccRgb", SRGB.data, 3)
    page.profile("IccCmyk", CONDITION.profile.read_bytes(), 4)
    page.profile("Broken", b"no profile at all", 3)
    page.put("ColorSpace", "OverRgb", "[/Pattern /DeviceRGB]")
    page.put("ColorSpace", "Table", "[/Indexed /DeviceRGB 1 <000000FFFFFF>]")
    page.put("ExtGState", "Over", "<< /OP true /op true /OPM 1 >>")
    page.put(
        "Pattern",
        "Dots",
        page.stream("0 0 5 5 re f", "/PatternType 1 /PaintType 2 /TilingType 1 /BBox [0 0 9 9] /XStep 9 /YStep 9"),
    )
    return page


SAME = None
# Before -> after. Black and white are known without a profile; other colours are checked against LittleCMS below.
INSTRUCTIONS = {
    "gray is black ink already": ("0.5 g 0 0 9 9 re f", SAME),
    "inks stay": ("0.1 0.2 0.3 0.4 k 0 0 9 9 re f", SAME),
    "a spot ink stays": ("/Spot cs 0.5 scn 0 0 9 9 re f", SAME),
    "black text is black alone": ("BT 0 0 0 rg (x) Tj ET", "BT 0 0 0 1 k (x) Tj ET"),
    "black lines too": ("0 0 0 RG 0 0 m 9 9 l S", "0 0 0 1 K 0 0 m 9 9 l S"),
    "white has no ink": ("1 1 1 rg 0 0 9 9 re f", "0 0 0 0 k 0 0 9 9 re f"),
    "a space is chosen and its colour set at once": ("/IccRgb cs 0 0 0 scn 0 0 9 9 re f", "0 0 0 1 k 0 0 9 9 re f"),
    "choosing a space sets black": ("/IccRgb cs 0 0 9 9 re f", "0 0 0 1 k 0 0 9 9 re f"),
    "paint between choosing and setting": ("/IccRgb cs n 1 1 1 scn", "0 0 0 1 k n 0 0 0 0 k"),
    "a space by its device name": ("/DeviceRGB cs 1 1 1 sc f", "0 0 0 0 k f"),
    "stroking space": ("/DeviceRGB CS 1 1 1 SC S", "0 0 0 0 K S"),
    "words in a text are no operators": ("(1 0 0 rg \\) 1 0 0 rg) Tj", SAME),
    "nor in nested brackets": ("(a (1 0 0 rg) b) Tj", SAME),
    "nor in a comment": ("% 1 0 0 rg\n0 g f", SAME),
    "nor in an array": ("[(1 0 0 rg) -20 <41>] TJ", SAME),
    "nor in marked content": ("/Span << /ActualText (1 0 0 rg) >> BDC 0 g EMC", SAME),
    "nor in an inline picture": ("BI /W 1 /H 1 /BPC 8 /CS /G /L 12 ID 1 0 0 rg EI f EI", SAME),
    "operators without gaps": ("1 1 1 rg[(x)]TJ", "0 0 0 0 k[(x)]TJ"),
    "numbers as programs write them": ("+1 1. 1.000 rg f", "0 0 0 0 k f"),
    "beyond the range": ("2 7 1.5 rg -1 0 -3 RG", "0 0 0 0 k 0 0 0 1 K"),
    "profiled inks keep their numbers": ("/IccCmyk cs 0.1 0.2 0.3 0.4 scn f", SAME),
    "a table keeps its places": ("/Table cs 1 scn f", SAME),
    "a damaged profile": ("/Broken cs 1 1 1 scn f", "0 0 0 0 k f"),
    "an uncoloured pattern": ("/OverRgb cs 0 0 0 /Dots scn f", "/OverRgb cs 0 0 0 1 /Dots scn f"),
    "a colour saved and restored": ("q /IccRgb cs 1 1 1 sc f Q f", "q 0 0 0 0 k f Q f"),
    "sc after g is gray": ("0 0 0 rg f 0 g 0.5 sc f", "0 0 0 1 k f 0 g 0.5 sc f"),
    "escaped names": ("/Icc#52gb cs 1 1 1 scn f", "0 0 0 0 k f"),
    "overprinting inks": ("/Over gs 0 0 0 1 k f", SAME),
    "overprinting RGB never spared the ground": (
        "/Over gs 1 1 1 rg f 0 0 0 1 k f",
        "/Over gs 0 0 0 0 k /OverprintMode-1 gs f 0 0 0 1 k /OverprintMode-2 gs f",
    ),
}


@pytest.mark.parametrize("case", INSTRUCTIONS)
def test_instructions(case: str) -> None:
    before, after = INSTRUCTIONS[case]
    page = page_with_spaces()
    result = page.walk(before)
    assert page.content() == " ".join((before if after is SAME else after).split())
    assert result.leftovers == []


def test_untouched_streams_keep_their_very_bytes() -> None:
    page = page_with_spaces()
    content = "0.5  g\r\n(1 0 0 rg)Tj   % odd   spacing\n/Spot cs .5 scn"
    page.walk(content)
    assert page.obj.Contents.read_bytes() == content.encode()


@pytest.mark.parametrize("rgb", [(1, 0, 0), (0, 1, 0), (0, 0, 1), (0.2, 0.4, 0.6), (0.8, 0.7, 0.1), (0.6, 0.2, 0.8)])
@pytest.mark.parametrize("space", ["DeviceRGB", "IccRgb"])
def test_colours_are_those_of_littlecms(rgb: tuple[float, ...], space: str) -> None:
    page = page_with_spaces()
    page.walk(f"/{space} cs {' '.join(map(str, rgb))} sc f")
    found = [float(v) for v in re.findall(r"[\d.]+", page.content().split(" k")[0])]
    # Pillow converts 8-bit values: half a step in, half a step out, through slopes of at most two.
    assert found == pytest.approx(lcms(rgb), abs=2.5 / 255)


def test_calibrated_rgb_with_the_srgb_primaries_is_close_to_srgb() -> None:
    page = page_with_spaces()
    page.walk("/CalRgb cs .2 .4 .6 sc f")
    found = [float(v) for v in re.findall(r"[\d.]+", page.content().split(" k")[0])]
    # A pure power of 2.2 differs from IEC 61966-2-1's curve by up to a percent in the middle tones.
    assert found == pytest.approx(lcms((0.2, 0.4, 0.6)), abs=0.03)


def test_lab_white_and_black_paper() -> None:
    page = page_with_spaces()
    page.walk("/Lab cs 100 0 0 sc f")
    assert [float(v) for v in page.content().split()[:4]] == pytest.approx([0, 0, 0, 0], abs=0.01)


def test_neutral_grays_are_black_alone_and_keep_their_order() -> None:
    page = page_with_spaces()
    page.walk(" ".join(f"{v / 10} {v / 10} {v / 10} rg f" for v in range(11)))
    inks = np.array(re.findall(r"(\S+) (\S+) (\S+) (\S+) k", page.content()), float)
    assert (inks[:, :3] == 0).all()
    assert (np.diff(inks[:, 3]) < 0).all()
    assert inks[0, 3] == 1
    assert inks[-1, 3] == 0


def test_profiled_ink_space_becomes_device_cmyk() -> None:
    page = page_with_spaces()
    result = page.walk("/IccCmyk cs 0.1 0.2 0.3 0.4 scn f")
    assert page.obj.Resources.ColorSpace.IccCmyk == Name.DeviceCMYK
    assert any("numbers are kept" in remark.why for remark in result.remarks)


def test_a_table_of_rgb_becomes_a_table_of_inks() -> None:
    page = page_with_spaces()
    page.walk("/Table cs 1 scn f")
    space = page.obj.Resources.ColorSpace.Table
    assert (space[0], space[1], int(space[2]), bytes(space[3])) == (
        Name.Indexed, Name.DeviceCMYK, 1, b"\0\0\0\xff\0\0\0\0",
    )  # fmt: skip


def test_pattern_space_over_rgb() -> None:
    page = page_with_spaces()
    page.walk("/OverRgb cs 0 0 0 /Dots scn f")
    assert list(page.obj.Resources.ColorSpace.OverRgb) == [Name.Pattern, Name.DeviceCMYK]


def test_a_spot_with_an_rgb_stand_in_keeps_its_ink() -> None:
    page = Page()
    page.put("ColorSpace", "S", RGB_SPOT)
    result = page.walk("/S cs .5 scn f")
    space = page.obj.Resources.ColorSpace.S
    assert (space[0], space[1], space[2]) == (Name.Separation, Name.Orange, Name.DeviceCMYK)
    assert result.leftovers == []
    assert page.content() == "/S cs .5 scn f"


def test_five_inks_with_an_rgb_stand_in_are_left_and_told() -> None:
    page = Page()
    tint = page.pdf.make_indirect(
        page.stream("{ pop pop pop pop dup dup }", f"/FunctionType 4 /Domain [{'0 1 ' * 5}] /Range [0 1 0 1 0 1]")
    )
    inks = Array([Name(f"/{ink}") for ink in "ABCDE"])
    page.put("ColorSpace", "N", Array([Name.DeviceN, inks, Name.DeviceRGB, tint]))
    result = page.walk("/N cs .5 .5 .5 .5 .5 scn f")
    assert page.content() == "/N cs .5 .5 .5 .5 .5 scn f"
    (left,) = result.leftovers
    assert (left.page, left.what) == (1, "a colour in DeviceN A, B, C, D, E")
    assert "plain RGB" in left.why


def test_default_rgb_is_used_and_then_removed() -> None:
    page = Page()
    page.profile("DefaultRGB", SRGB.data, 3)
    page.walk("1 0 0 rg f")
    assert [float(v) for v in page.content().split()[:4]] == pytest.approx(lcms((1, 0, 0)), abs=2.5 / 255)
    assert "/DefaultRGB" not in page.obj.Resources.ColorSpace


def test_default_cmyk_must_not_bend_the_inks_written() -> None:
    page = Page()
    page.profile("DefaultCMYK", CONDITION.profile.read_bytes(), 4)
    page.walk("0 1 0 0 k f 0 0 0 rg f")
    assert page.content() == "0 1 0 0 k f 0 0 0 1 k f"
    assert "/DefaultCMYK" not in page.obj.Resources.ColorSpace


# Forms, patterns, glyphs


def test_a_form_is_converted_once_and_shared() -> None:
    page = Page()
    page.form("A", "0 0 0 rg f")
    result = page.walk("/A Do q /A Do Q")
    assert text_of(page.obj.Resources.XObject.A) == "0 0 0 1 k f"
    assert page.content() == "/A Do q /A Do Q"
    assert result.changed["streams"] == 1


def test_a_form_that_uses_its_callers_space_gets_one_copy_for_each() -> None:
    page = page_with_spaces()
    page.form("A", "1 1 1 sc f")
    page.put(
        "ColorSpace", "Inks", "[/DeviceN [/Cyan /Magenta /Yellow] /DeviceCMYK << /FunctionType 2 /Domain [0 1] /N 1 >>]"
    )
    page.obj.Resources.ColorSpace.Inks = Array(
        [Name.DeviceN, Array([Name.Cyan, Name.Magenta, Name.Yellow]), Name.DeviceCMYK,
         page.pdf.make_indirect(page.stream("{ 0 }", "/FunctionType 4 /Domain [0 1 0 1 0 1] /Range [0 1 0 1 0 1 0 1]"))]
    )  # fmt: skip
    page.walk("/IccRgb cs /A Do /Inks cs /A Do")
    first, second = re.findall(r"/(\S+) Do", page.content())
    assert first != second
    assert text_of(page.obj.Resources.XObject[f"/{first}"]) == "0 0 0 0 k f"
    assert text_of(page.obj.Resources.XObject[f"/{second}"]) == "1 1 1 sc f"


def test_a_page_that_shares_resources_with_another_leaves_it_alone() -> None:
    page = Page()
    page.form("A", "0 0 0 rg f")
    page.pdf.add_blank_page(page_size=(200, 200))
    other = page.pdf.pages[1].obj
    other.Resources = page.obj.Resources
    other.Contents = page.pdf.make_stream(b"/A Do")
    page.obj.Contents = page.pdf.make_stream(b"/A Do")
    walk(page.pdf, ToCondition(CONDITION), [0])
    assert text_of(page.obj.Resources.XObject.A) == "0 0 0 1 k f"
    assert text_of(other.Resources.XObject.A) == "0 0 0 rg f"


def test_a_form_that_draws_itself_is_told() -> None:
    page = Page()
    form = page.form("A", "0 0 0 rg /A Do")
    form.Resources = Dictionary(XObject=Dictionary(A=form))
    result = page.walk("/A Do")
    assert [(x.what, x.why) for x in result.leftovers] == [("a form", "it draws itself")]


def test_forms_that_multiply_without_end_are_told() -> None:
    page = Page()
    inner = page.form("F0", "0 g f", resources=False)
    for level in range(1, 60):
        outer = page.stream("/X Do /X Do /X Do", "/Type /XObject /Subtype /Form /BBox [0 0 9 9]")
        outer.Resources = Dictionary(XObject=Dictionary(X=inner))
        inner = page.put("XObject", f"F{level}", outer)
    result = page.walk("/F59 Do")
    assert [x.why for x in result.leftovers] == ["forms are nested too deeply"]


def test_tiling_patterns() -> None:
    page = Page()
    cell = "/PatternType 1 /PaintType 1 /TilingType 1 /BBox [0 0 9 9] /XStep 9 /YStep 9 /Resources << >>"
    page.put("Pattern", "P", page.stream("0 0 0 rg 0 0 5 5 re f", cell))
    page.walk("/Pattern cs /P scn 0 0 99 99 re f")
    assert text_of(page.obj.Resources.Pattern.P) == "0 0 0 1 k 0 0 5 5 re f"
    assert page.content() == "/Pattern cs /P scn 0 0 99 99 re f"


def test_type_3_glyphs() -> None:
    page = Page()
    font = Object.parse(
        b"<< /Type /Font /Subtype /Type3 /FontBBox [0 0 9 9] /FontMatrix [.1 0 0 .1 0 0] /FirstChar 65 /LastChar 66"
        b" /Widths [9 9] /Encoding << /Type /Encoding /Differences [65 /a /b] >> /Resources << >> >>"
    )
    coloured = page.pdf.make_indirect(page.stream("9 0 d0 0 0 0 rg 0 0 5 5 re f"))
    plain = page.pdf.make_indirect(page.stream("9 0 0 0 9 9 d1 1 0 0 rg 0 0 5 5 re f"))
    font.CharProcs = Dictionary(a=coloured, b=plain)
    page.put("Font", "T", font)
    page.walk("BT /T 20 Tf (AB) Tj ET")
    glyphs = page.obj.Resources.Font.T.CharProcs
    assert text_of(glyphs.a) == "9 0 d0 0 0 0 1 k 0 0 5 5 re f"
    # A d1 glyph's colours are ignored by every reader (9.6.5.3): its bytes stay.
    assert text_of(glyphs.b) == "9 0 0 0 9 9 d1 1 0 0 rg 0 0 5 5 re f"


@pytest.mark.parametrize(("flags", "after"), [(4, "0 0 0 1 k f"), (0, "0 0 0 rg f"), (6, "0 0 0 rg f")])
def test_annotations_that_print(flags: int, after: str) -> None:
    page = Page()
    look = page.stream("0 0 0 rg f", "/Type /XObject /Subtype /Form /BBox [0 0 9 9] /Resources << >>")
    note = Dictionary(
        Type=Name.Annot,
        Subtype=Name.Stamp,
        Rect=Array([0, 0, 9, 9]),
        F=flags,
        AP=Dictionary(N=page.pdf.make_indirect(look)),
    )
    page.obj.Annots = Array([page.pdf.make_indirect(note)])
    page.walk("")
    assert text_of(page.obj.Annots[0].AP.N) == after


# Transparency


def test_group_in_rgb_blends_in_inks_and_says_so() -> None:
    page = Page()
    page.obj.Group = Dictionary(S=Name.Transparency, CS=Name.DeviceRGB)
    result = page.walk("0 0 0 rg f")
    assert Name.DeviceCMYK == page.obj.Group.CS
    assert [remark.what for remark in result.remarks] == ["blending space changed"]


@pytest.mark.parametrize(
    ("space", "content", "after", "backdrop"),
    [
        # ISO 32000-1 10.3.2: gray = 0.3 red + 0.59 green + 0.11 blue
        ("/DeviceRGB", "1 0 0 rg f 0 1 0 rg f", "0.3 g f 0.59 g f", [0.11]),
        ("/DeviceGray", "0.4 g f", "0.4 g f", [0.0]),
    ],
)
def test_luminosity_masks(space: str, content: str, after: str, backdrop: list[float]) -> None:
    page = Page()
    group = page.form("G", content, f"/Group << /S /Transparency /CS {space} >>")
    page.put(
        "ExtGState",
        "M",
        Dictionary(SMask=Dictionary(S=Name.Luminosity, G=group, BC=Array([0, 0, 1] if "RGB" in space else [0]))),
    )
    page.walk("/M gs 0 0 9 9 re f")
    mask = page.obj.Resources.ExtGState.M.SMask
    assert text_of(mask.G) == after
    assert Name.DeviceGray == mask.G.Group.CS
    assert [float(v) for v in mask.BC] == pytest.approx(backdrop)


# Gradients


def gradient(page: Page, space: str, start: str, end: str, kind: str = "/ShadingType 2 /Coords [0 0 200 0]") -> None:
    function = f"<< /FunctionType 2 /Domain [0 1] /C0 [{start}] /C1 [{end}] /N 1 >>"
    page.put("Shading", "S", f"<< {kind} /ColorSpace {space} /Function {function} /Extend [true true] >>")


@pytest.mark.parametrize(
    "kind", ["/ShadingType 2 /Coords [0 0 200 0]", "/ShadingType 3 /Coords [100 100 0 100 100 90]"]
)
def test_gradients_look_the_same_on_the_press(kind: str) -> None:
    """The converted gradient, and the original as the condition would print it, drawn by PDFium."""
    page = Page()
    gradient(page, "/DeviceRGB", "1 0.2 0", "0 0.3 1", kind)
    page.walk("/S sh")
    assert page.obj.Resources.Shading.S.ColorSpace == Name.DeviceCMYK
    again = io.BytesIO()
    page.pdf.save(again)
    shown = Page()
    gradient(shown, "/DeviceRGB", "1 0.2 0", "0 0.3 1", kind)
    shown.walk("/S sh", ToScreen(CONDITION))
    with pikepdf.open(again) as converted:
        walk(converted, ToScreen(CONDITION))
        difference = abs(drawn(converted).astype(int) - drawn(shown.pdf).astype(int))
    assert difference.max() <= 3


def test_a_gray_gradient_is_black_alone_and_a_coloured_one_is_not_torn() -> None:
    page = Page()
    gradient(page, "/DeviceRGB", "0 0 0", "1 1 1")
    page.walk("/S sh")
    assert (table(page)[:, :3] == 0).all()
    page = Page()
    gradient(page, "/DeviceRGB", "0 0 0", "1 0 0")
    page.walk("/S sh")
    steps = abs(np.diff(table(page), axis=0))
    assert table(page)[0, :3].min() > 0.3  # black as the profile makes it, not black alone
    assert steps.max() < 0.1


def test_gradient_patterns() -> None:
    page = Page()
    function = "<< /FunctionType 2 /Domain [0 1] /C0 [0 0 0] /C1 [1 1 1] /N 1 >>"
    shading = f"<< /ShadingType 2 /ColorSpace /DeviceRGB /Coords [0 0 200 0] /Function {function} >>"
    page.put("Pattern", "G", f"<< /PatternType 2 /Shading {shading} >>")
    page.walk("/Pattern cs /G scn 0 0 99 99 re f")
    assert page.obj.Resources.Pattern.G.Shading.ColorSpace == Name.DeviceCMYK
    assert page.content() == "/Pattern cs /G scn 0 0 99 99 re f"


def table(page: Page) -> np.ndarray:
    part = page.obj.Resources.Shading.S.Function.Functions[0]
    return np.frombuffer(part.read_bytes(), ">u2").reshape(-1, 4) / 65535


def test_a_mesh_gets_its_corners_converted() -> None:
    page = Page()
    corners = b"".join(bytes([0, x, y, 0, 0, 0]) for x, y in ((0, 0), (255, 0), (0, 255)))
    page.put(
        "Shading", "S",
        page.stream(corners, "/ShadingType 4 /ColorSpace /DeviceRGB /BitsPerCoordinate 8 /BitsPerComponent 8 /BitsPerFlag 8 /Decode [0 200 0 200 0 1 0 1 0 1]"),
    )  # fmt: skip
    result = page.walk("/S sh")
    mesh = page.obj.Resources.Shading.S
    records = np.frombuffer(mesh.read_bytes(), np.uint8).reshape(3, 3 + 8)
    assert records[:, :3].tolist() == [[0, 0, 0], [0, 255, 0], [0, 0, 255]]
    assert (records[:, 3:] == [0, 0, 0, 0, 0, 0, 255, 255]).all()
    assert result.remarks == []


# What can't be converted stays, and is told


DAMAGE = {
    "too few numbers": ("1 0 rg f", "the operator rg", "it has 2 of the numbers it needs (3)"),
    "no number": ("x1 y 0 rg f", "the operator rg", "it has 1 of the numbers it needs (3)"),
    "missing space": ("/Nowhere cs 1 scn f", "the operator cs", "the colour space Nowhere is missing"),
    "missing picture": ("/Nowhere Do", "the operator Do", "the picture or form Nowhere is missing"),
    "endless saving": ("0 0 0 rg " + "q " * 5000, "drawing instructions", "saved too many times"),
    "cut short": ("1 0 0 rg f (never closed", "", ""),
    "operators run together": ("1 0 0 rgET f", "drawing instructions", '"rgET" is none'),
    "a number runs into its operator": ("1 0 0rg f", "drawing instructions", '"0rg" is none'),
    "an unknown operator": ("1 0 0 paint", "drawing instructions", '"paint" is none'),
    "an unknown operator that is allowed": ("BX 1 0 0 paint EX 1 0 0 rg f", "", ""),
    "a word inside a text": ("((1) paint) Tj % paint", "", ""),
    "not a number": ("nan 0 0 rg f", "drawing instructions", '"nan" is none'),
    "infinite": ("1 0 0 inf cm", "drawing instructions", '"inf" is none'),
    "an exponent": ("1e-5 0 0 rg f", "drawing instructions", '"1e-5" is none'),
    "too large": (f"{'9' * 400} 0 0 rg f", "the operator rg", "is no usable number"),
    "restored too often": ("Q Q 0 0 0 rg", "", ""),
    "brackets": ("]]] >> ) } 0 0 0 rg [[[ 1 0 0 rg f", "the operator rg", "it has 0 of the numbers"),
}


@pytest.mark.parametrize("case", DAMAGE)
def test_damage_never_raises(case: str) -> None:
    content, what, why = DAMAGE[case]
    result = Page().walk(content)
    found = [(x.what, x.why) for x in result.leftovers]
    if not what:
        assert found == []
    else:
        assert any(told == what and why in reason for told, reason in found)


def test_the_whole_page_is_the_same_where_nothing_is_converted() -> None:
    page = page_with_spaces()
    page.form("A", "0.3 0.1 0 0 k 20 20 60 60 re f", "/Group << /S /Transparency /CS /DeviceCMYK >>")
    content = "0.5 g 10 10 50 50 re f /Spot cs .7 scn 80 80 40 40 re f /A Do BT /F1 30 Tf 20 150 Td (Poster) Tj ET"
    page.obj.Contents = page.pdf.make_stream(content.encode())
    before = drawn(page.pdf)
    page.walk(content)
    assert (drawn(page.pdf) == before).all()


# To the screen


def test_soft_proof_shows_black_ink_and_the_page_starts_with_it() -> None:
    page = Page()
    page.walk("0 0 100 100 re f", ToScreen(CONDITION))
    first = re.match(r"(\S+) (\S+) (\S+) rg", page.content())
    assert first is not None
    assert all(0.05 < float(v) < 0.3 for v in first.groups())  # black ink alone is a dark gray


def test_soft_proof_of_paper_is_white_and_of_spots_their_stand_in() -> None:
    page = page_with_spaces()
    page.walk("0 0 0 0 k f 0 .6 1 0 k f /Spot cs 1 scn f", ToScreen(CONDITION))
    white, mixed, spot = re.findall(r"(\S+ \S+ \S+) rg", page.content())[1:]
    assert white == "1 1 1"
    assert mixed == spot
