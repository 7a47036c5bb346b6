"""Every place where a colour of text, lines and areas can stand (ISO 32000-1 8.6 to 8.7, 9.6.5, 11.6, 12.5.5)."""

import io
import re
import shutil
import subprocess

import numpy as np
import pikepdf
import pytest
from pages import CAL_RGB, CONDITION, LAB, RGB_SPOT, SPOT, Page, drawn, text_of
from pikepdf import Array, Dictionary, Name, Object
from PIL import Image, ImageCms

from hotfolder.colour.profile import SRGB
from hotfolder.pdf.mappings import ToCondition
from hotfolder.pdf.values.calibrated import calibrated_profile
from hotfolder.pdf.values.spaces import SpaceReader
from hotfolder.pdf.walk.walker import walk

OTHER_RGB = (
    "[/CalRGB << /WhitePoint [.9505 1 1.089] /Gamma [1.8 1.8 1.8]"
    " /Matrix [.5767 .2973 .027 .1856 .6274 .0707 .1882 .0753 .9911] >>]"
)
TINT4 = "{ 4 copy pop pop pop pop }"


def other_profile() -> bytes:
    """A profile with primaries and curve of its own, unlike the one that stands in where there is none."""
    return calibrated_profile(SpaceReader().read(Object.parse(OTHER_RGB.encode()), None))


def lcms(rgb: tuple[int, ...], profile: bytes = SRGB.data) -> list[float]:
    """LittleCMS by way of Pillow: 8 bits in, 8 bits out, relative colorimetric with the black point moved."""
    flags = ImageCms.Flags.BLACKPOINTCOMPENSATION | ImageCms.Flags.NOOPTIMIZE
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(profile)), ImageCms.ImageCmsProfile(str(CONDITION.profile)), "RGB", "CMYK",
        ImageCms.Intent.RELATIVE_COLORIMETRIC, flags,
    )  # fmt: skip
    return [v / 255 for v in ImageCms.applyTransform(Image.new("RGB", (1, 1), rgb), transform).getpixel((0, 0))]


def program(page: Page, code: str, inputs: int, outputs: int) -> Object:
    facts = f"/FunctionType 4 /Domain [{'0 1 ' * inputs}] /Range [{'0 1 ' * outputs}]"
    return page.pdf.make_indirect(page.stream(code, facts))


def full_page() -> Page:
    """A page whose resources hold a colour space of every kind."""
    page = Page()
    spaces = page.obj.Resources.ColorSpace
    page.put("ColorSpace", "Lab", LAB)
    page.put("ColorSpace", "Cal", CAL_RGB)
    page.put("ColorSpace", "CalGray", "[/CalGray << /WhitePoint [.9505 1 1.089] /Gamma 2.2 >>]")
    page.put("ColorSpace", "Spot", SPOT)
    page.profile("Icc", SRGB.data, 3)
    page.profile("Other", other_profile(), 3)
    page.profile("Inks", CONDITION.profile.read_bytes(), 4)
    damaged = page.profile("Damaged", b"nothing", 3)
    damaged[1].Alternate = Object.parse(OTHER_RGB.encode())
    spaces.Table = Array([Name.Indexed, Name.DeviceRGB, 1, pikepdf.String(bytes([51, 102, 153, 255, 255, 255]))])
    spaces.TableIcc = Array([Name.Indexed, spaces.Other, 0, pikepdf.String(bytes([51, 102, 153]))])
    spaces.TableSpot = Array([Name.Indexed, spaces.Spot, 1, pikepdf.String(b"\x00\x80")])
    spaces.Duo = Array(
        [Name.DeviceN, Array([Name.Cyan, Name.Orange]), Name.DeviceCMYK, program(page, "{ 0 exch 0 }", 2, 4)]
    )
    attributes = Dictionary(
        Subtype=Name.NChannel,
        Process=Dictionary(
            ColorSpace=Name.DeviceCMYK, Components=Array([Name.Cyan, Name.Magenta, Name.Yellow, Name.Black])
        ),
        Colorants=Dictionary(Orange=spaces.Spot),
    )
    five = Array([Name.Cyan, Name.Magenta, Name.Yellow, Name.Black, Name.Orange])
    spaces.Five = Array([Name.DeviceN, five, Name.DeviceCMYK, program(page, "{ pop }", 5, 4), attributes])
    for name, base in (("OverRgb", Name.DeviceRGB), ("OverOther", spaces.Other), ("OverSpot", spaces.Spot)):
        spaces[f"/{name}"] = Array([Name.Pattern, base])
    cell = "/PatternType 1 /PaintType {} /TilingType 1 /BBox [0 0 9 9] /XStep 9 /YStep 9 /Resources << >>"
    page.put("Pattern", "Plain", page.stream("0 0 5 5 re f", cell.format(2)))
    page.put("Pattern", "Painted", page.stream(".2 .4 .6 rg 0 0 5 5 re f", cell.format(1)))
    return page


def inks_of(content: str) -> np.ndarray:
    """The numbers of every k and K in order."""
    return np.array(re.findall(r"([\d.]+) ([\d.]+) ([\d.]+) ([\d.]+) [kK]\b", content), float)


BLUE = lcms((51, 102, 153))
OTHER_BLUE = lcms((51, 102, 153), other_profile())
CAL_BLUE = lcms((51, 102, 153), calibrated_profile(SpaceReader().read(Object.parse(CAL_RGB.encode()), None)))
SAME = None
# Instructions, and the inks that must come out, as LittleCMS has them; None: not a byte changes.
COLOURS: dict[str, tuple[str, list[list[float]] | None]] = {
    "rg": (".2 .4 .6 rg f", [BLUE]),
    "RG": (".2 .4 .6 RG S", [BLUE]),
    "cs sc, a device space": ("/DeviceRGB cs .2 .4 .6 sc f", [BLUE]),
    "CS SC": ("/DeviceRGB CS .2 .4 .6 SC S", [BLUE]),
    "CalRGB": ("/Cal cs .2 .4 .6 sc f /Cal CS .2 .4 .6 SC S", [CAL_BLUE, CAL_BLUE]),
    "ICCBased, its own profile": ("/Other cs .2 .4 .6 scn f", [OTHER_BLUE]),
    "ICCBased stroking": ("/Other CS .2 .4 .6 SCN S", [OTHER_BLUE]),
    "ICCBased, damaged: its Alternate": ("/Damaged cs .2 .4 .6 scn f", [OTHER_BLUE]),
    "uncoloured pattern": ("/OverRgb cs .2 .4 .6 /Plain scn f", SAME),  # see below
    "g and G": (".5 g f .25 G S", SAME),
    "k and K": (".1 .2 .3 .4 k f 0 0 0 1 K S", SAME),
    "gray by name": ("/DeviceGray cs .5 sc f /DeviceCMYK CS 0 0 0 1 SC S", SAME),
    "Separation": ("/Spot cs .5 scn f /Spot CS 1 SCN S", SAME),
    "DeviceN": ("/Duo cs .5 .5 scn f", SAME),
    "NChannel": ("/Five cs 0 .1 .2 .3 1 scn f", SAME),
    "Indexed over Separation": ("/TableSpot cs 1 sc f", SAME),
    "Indexed over RGB": ("/Table cs 0 sc f", SAME),  # the table changes, not its places
    "Indexed over ICCBased": ("/TableIcc cs 0 sc f", SAME),
    "ICCBased CMYK": ("/Inks cs .1 .2 .3 .4 scn f", SAME),
    "pattern over a spot ink": ("/OverSpot cs .5 /Plain scn f", SAME),
}  # fmt: skip


@pytest.mark.parametrize("case", COLOURS)
def test_colours_in_every_space(case: str) -> None:
    content, expected = COLOURS[case]
    page = full_page()
    result = page.walk(content)
    assert result.leftovers == []
    if expected is not SAME:
        # 8 bits on LittleCMS' side: half a unit of its rounding, and what the issue allows is one.
        assert abs(inks_of(page.content()) - expected).max() <= 1 / 255
    elif "/OverRgb" in content:
        found = re.fullmatch(r"/OverRgb cs ([\d.]+) ([\d.]+) ([\d.]+) ([\d.]+) /Plain scn f", page.content())
        assert found is not None
        assert [float(v) for v in found.groups()] == pytest.approx(BLUE, abs=1 / 255)
        assert list(page.obj.Resources.ColorSpace.OverRgb) == [Name.Pattern, Name.DeviceCMYK]
    else:
        assert page.content() == content


@pytest.mark.parametrize(("name", "expected"), [("Table", BLUE), ("TableIcc", OTHER_BLUE)])
def test_colour_tables_are_converted(name: str, expected: list[float]) -> None:
    page = full_page()
    page.walk(f"/{name} cs 0 sc f")
    table = page.obj.Resources.ColorSpace[f"/{name}"]
    assert table[1] == Name.DeviceCMYK
    assert [v / 255 for v in bytes(table[3])[:4]] == pytest.approx(expected, abs=1.01 / 255)


def test_lab_colours_as_littlecms_has_them() -> None:
    if shutil.which("transicc") is None:
        pytest.skip("LittleCMS's transicc is not installed (Debian: liblcms2-utils)")
    rows = ["50 20 30", "80 -40 50", "30 10 -60", "95 0 5", "60 60 -10"]
    page = full_page()
    page.walk(" ".join(f"/Lab cs {row} sc f" for row in rows))
    asked = subprocess.run(
        ["transicc", "-v0", "-t1", "-b", "-i*Lab", f"-o{CONDITION.profile}"], input="\n".join(rows) + "\n",
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    theirs = np.array([line.split() for line in asked.stdout.splitlines() if line.strip()], float) / 100
    assert abs(inks_of(page.content()) - theirs).max() <= 1 / 255


def test_an_unusual_range_of_a_profile_is_left() -> None:
    """Table 66: Range shall match the profile; where it doesn't, nobody knows which of the two is meant."""
    page = full_page()
    page.obj.Resources.ColorSpace.Other[1].Range = Array([0, 255, 0, 255, 0, 255])
    (left,) = page.walk("/Other cs 51 102 153 scn f").leftovers
    assert "unusual range" in left.why
    assert page.content() == "/Other cs 51 102 153 scn f"


def test_gray_spaces_are_black_ink_alone() -> None:
    page = full_page()
    page.walk("/CalGray cs 0 sc f .5 sc f 1 sc f")
    inks = inks_of(page.content())
    assert (inks[:, :3] == 0).all()
    assert (inks[0, 3], inks[2, 3]) == (1, 0)
    assert 0.4 < inks[1, 3] < 0.9


@pytest.mark.parametrize(
    ("attributes", "why"),
    [
        ("/Process << /ColorSpace /DeviceRGB /Components [/Red /Green /Blue] >>", "of a screen"),
        (f"/Process << /ColorSpace {CAL_RGB} /Components [/Red /Green /Blue] >>", "of a screen"),
        ("/Process << /ColorSpace /DeviceCMYK /Components [/Cyan /Magenta /Yellow /Black] >>", None),
        (f"/Colorants << /Orange {RGB_SPOT} >>", "Orange is plain RGB"),
        (f"/Colorants << /Orange {SPOT} >>", None),
    ],
)
def test_what_an_nchannel_space_says_of_its_inks(attributes: str, why: str | None) -> None:
    page = Page()
    found = Object.parse(f"<< /Subtype /NChannel {attributes} >>".encode())
    inks = Array([Name.Red, Name.Green, Name.Blue, Name.Orange])
    page.obj.Resources.ColorSpace.N = Array([Name.DeviceN, inks, Name.DeviceCMYK, program(page, "{ }", 4, 4), found])
    left = page.walk("/N cs 1 0 0 .5 scn f").leftovers
    assert page.content() == "/N cs 1 0 0 .5 scn f"
    assert left == [] if why is None else why in left[0].why


# Syntax: unusual, and legal

SYNTAX = {
    "an intent inside q": ("q /Perceptual ri 1 1 1 rg f Q", "q /Perceptual ri 0 0 0 0 k f Q"),
    "colours inside a text object": ("BT 1 1 1 rg (a) Tj 0 0 0 RG ET f", "BT 0 0 0 0 k (a) Tj 0 0 0 1 K ET f"),
    "a space chosen inside a text, used after": ("BT /Icc cs ET 1 1 1 sc f", "BT 0 0 0 1 k ET 0 0 0 0 k f"),
    "a graphics state inside a text": ("BT /Over gs 0 0 0 1 k (a) Tj ET", "BT /Over gs 0 0 0 1 k (a) Tj ET"),
    "escapes in names": ("/#49#63c c#73 1 1 1 scn f", None),
    "escaped space name": ("/I#63c cs 1 1 1 scn f", "0 0 0 0 k f"),
    "an escaped name that needs its escape": ("/My#20Icc cs 1 1 1 scn f", "0 0 0 0 k f"),
    "comments between operands": ("1 % one\n1 %two\r1 rg f", "0 0 0 0 k f"),
    "no white space": ("1 1 1 rg/Icc cs 1 1 1 sc(x)Tj", "0 0 0 0 k 0 0 0 0 k(x)Tj"),
    "marked content around": ("/OC /L BDC 1 1 1 rg f EMC", "/OC /L BDC 0 0 0 0 k f EMC"),
    "compatibility": ("BX 1 2 foo EX 1 1 1 rg f", "BX 1 2 foo EX 0 0 0 0 k f"),
    "sc for a pattern's twin": ("/OverRgb cs 1 1 1 /Plain scn f", "/OverRgb cs 0 0 0 0 /Plain scn f"),
    "stroke and fill apart": ("/Icc cs /Spot CS 1 1 1 sc .5 SC B", "0 0 0 1 k /Spot CS 0 0 0 0 k .5 SC B"),
    "saved inside a space": ("/Icc cs q 1 1 1 sc f Q 1 1 1 sc f", "0 0 0 1 k q 0 0 0 0 k f Q 0 0 0 0 k f"),
    "a device colour between": ("/Icc cs 0 g /Icc cs 1 1 1 sc f", "0 0 0 1 k 0 g 0 0 0 0 k f"),
    "too many operands": ("9 9 1 1 1 rg f", "0 0 0 0 k f"),
}


@pytest.mark.parametrize("case", SYNTAX)
def test_unusual_syntax(case: str) -> None:
    before, after = SYNTAX[case]
    page = full_page()
    page.put("ExtGState", "Over", "<< /OP true /op true /OPM 1 >>")
    page.obj.Resources.ColorSpace["/My Icc"] = page.obj.Resources.ColorSpace.Icc
    result = page.walk(before)
    if after is not None:
        assert result.leftovers == []
        assert page.content() == after


def test_contents_in_pieces_cut_between_any_two_tokens() -> None:
    page = full_page()
    parts = [b"q 1 1", b"1", b"rg f /Icc", b"cs 0 0", b"0 sc [(a", b""]
    parts[4:] = [b"0 sc [(a)", b"] TJ Q"]
    page.obj.Contents = Array([page.pdf.make_stream(part) for part in parts])
    walk(page.pdf, ToCondition(CONDITION))
    assert page.content() == "q 0 0 0 0 k f 0 0 0 1 k [(a) ] TJ Q"


# Resources


def test_resources_inherited_from_the_page_tree_serve_two_pages() -> None:
    page = full_page()
    page.form("A", "1 1 1 rg f")
    page.pdf.add_blank_page(page_size=(200, 200))
    first, second = (p.obj for p in page.pdf.pages)
    parent = first.Parent
    parent.Resources = first.Resources
    del first["/Resources"]
    if "/Resources" in second:
        del second["/Resources"]
    first.Contents, second.Contents = (page.pdf.make_stream(b"/A Do /Table cs 0 sc f") for _ in range(2))
    assert walk(page.pdf, ToCondition(CONDITION)).leftovers == []
    for one in (first, second):
        assert text_of(one.Resources.XObject.A) == "0 0 0 0 k f"
        assert one.Resources.ColorSpace.Table[1] == Name.DeviceCMYK
    assert first.Resources.XObject.A.objgen == second.Resources.XObject.A.objgen
    assert text_of(parent.Resources.XObject.A) == "1 1 1 rg f"  # what the tree holds is nobody's to change


def test_a_form_without_resources_uses_its_pages() -> None:
    page = full_page()
    page.form("A", "/Icc cs 1 1 1 sc f", resources=False)
    assert page.walk("/A Do").leftovers == []
    assert text_of(page.obj.Resources.XObject.A) == "0 0 0 0 k f"


def test_default_spaces_inside_a_form_with_its_own_resources() -> None:
    """8.6.5.6: the current resources say; the page's own RGB has no default here."""
    page = full_page()
    form = page.form("A", ".2 .4 .6 rg f", resources=False)
    form.Resources = Dictionary(ColorSpace=Dictionary(DefaultRGB=page.obj.Resources.ColorSpace.Other))
    page.walk("/A Do .2 .4 .6 rg f")
    assert inks_of(text_of(page.obj.Resources.XObject.A))[0] == pytest.approx(OTHER_BLUE, abs=1 / 255)
    assert inks_of(page.content())[0] == pytest.approx(BLUE, abs=1 / 255)
    assert "/DefaultRGB" not in page.obj.Resources.XObject.A.Resources.ColorSpace


def test_a_gradient_shared_by_pages_with_other_default_spaces() -> None:
    page = full_page()
    ramp = "<< /FunctionType 2 /Domain [0 1] /C0 [.2 .4 .6] /C1 [1 0 0] /N 1 >>"
    shared = page.put("Shading", "S", f"<< /ShadingType 2 /ColorSpace /DeviceRGB /Coords [0 0 9 9] /Function {ramp} >>")
    page.put("Pattern", "G", Dictionary(PatternType=2, Shading=shared))
    page.pdf.add_blank_page(page_size=(200, 200))
    first, second = (p.obj for p in page.pdf.pages)
    second.Resources = Dictionary(
        Shading=Dictionary(S=shared), Pattern=first.Resources.Pattern,
        ColorSpace=Dictionary(DefaultRGB=first.Resources.ColorSpace.Other),
    )  # fmt: skip
    for one in (first, second):
        one.Contents = page.pdf.make_stream(b"/S sh /Pattern cs /G scn f")
    assert walk(page.pdf, ToCondition(CONDITION)).leftovers == []
    for one, expected in ((first, BLUE), (second, OTHER_BLUE)):
        for found in (one.Resources.Shading.S, one.Resources.Pattern.G.Shading):
            table = np.frombuffer(found.Function.Functions[0].read_bytes(), ">u2")
            assert (table[:4] / 65535).tolist() == pytest.approx(expected, abs=1 / 255)


def test_nested_forms_inherit_the_colour_of_the_one_outside() -> None:
    page = full_page()
    page.form("Inner", "1 1 1 sc 0 0 9 9 re f")
    page.form("Outer", "0 0 5 5 re f /Inner Do")
    page.walk("/Icc cs /Outer Do 0 g /Outer Do")
    first, second = re.findall(r"/(\S+) Do", page.content())
    outer = page.obj.Resources.XObject
    assert first != second
    inner = re.findall(r"/(\S+) Do", text_of(outer[f"/{first}"]))[0]
    assert text_of(outer[f"/{first}"].Resources.XObject[f"/{inner}"]) == "0 0 0 0 k 0 0 9 9 re f"
    other = re.findall(r"/(\S+) Do", text_of(outer[f"/{second}"]))[0]
    assert text_of(outer[f"/{second}"].Resources.XObject[f"/{other}"]) == "1 1 1 sc 0 0 9 9 re f"


def test_a_form_under_two_overprints_becomes_two() -> None:
    page = full_page()
    page.put("ExtGState", "Over", "<< /OP true /op true /OPM 1 >>")
    page.form("A", "1 0 0 rg f", resources=False)
    page.walk("/A Do /Over gs /A Do")
    first, second = re.findall(r"/(\S+) Do", page.content())
    assert first != second
    assert "OverprintMode" not in text_of(page.obj.Resources.XObject[f"/{first}"])
    assert "OverprintMode" in text_of(page.obj.Resources.XObject[f"/{second}"])


def test_lines_and_areas_that_need_two_overprint_modes_are_left() -> None:
    """8.6.7: mode 1 spares inks of 0 for DeviceCMYK alone; what was RGB never spared any."""
    page = full_page()
    page.put("ExtGState", "Over", "<< /OP true /op true /OPM 1 >>")
    (left,) = page.walk("/Over gs 1 0 0 rg 0 0 0 1 K 0 0 9 9 re B").leftovers
    assert (left.what, "different overprint modes" in left.why) == ("overprinting", True)


# Patterns


def test_patterns_of_every_kind() -> None:
    page = full_page()
    ramp = "<< /FunctionType 2 /Domain [0 1] /C0 [0 0 0] /C1 [1 1 1] /N 1 >>"
    shading = f"<< /ShadingType 2 /ColorSpace /DeviceRGB /Coords [0 0 200 0] /Function {ramp} >>"
    page.put(
        "Pattern", "Ramp", f"<< /PatternType 2 /Matrix [2 0 0 2 5 5] /ExtGState << /ca .5 >> /Shading {shading} >>"
    )
    result = page.walk(
        "/Pattern cs /Painted scn f /Ramp scn f /Pattern CS /Painted SCN S /OverOther cs .2 .4 .6 /Plain scn f"
    )
    assert result.leftovers == []
    patterns = page.obj.Resources.Pattern
    assert inks_of(text_of(patterns.Painted))[0] == pytest.approx(BLUE, abs=1 / 255)
    assert patterns.Ramp.Shading.ColorSpace == Name.DeviceCMYK
    assert ([int(v) for v in patterns.Ramp.Matrix], float(patterns.Ramp.ExtGState.ca)) == ([2, 0, 0, 2, 5, 5], 0.5)
    found = re.search(r"/OverOther cs ([\d.]+) ([\d.]+) ([\d.]+) ([\d.]+) /Plain scn", page.content())
    assert found is not None
    assert [float(v) for v in found.groups()] == pytest.approx(OTHER_BLUE, abs=1 / 255)


def test_a_gradient_pattern_with_a_soft_mask_of_its_own() -> None:
    page = full_page()
    ramp = "<< /FunctionType 2 /Domain [0 1] /C0 [0 0 0] /C1 [1 1 1] /N 1 >>"
    group = page.form("G", "1 0 0 rg f", "/Group << /S /Transparency /CS /DeviceRGB >>")
    page.put(
        "Pattern",
        "Ramp",
        f"<< /PatternType 2 /Shading << /ShadingType 2 /ColorSpace /DeviceRGB /Coords [0 0 200 0] /Function {ramp} >> >>",
    )
    page.obj.Resources.Pattern.Ramp.ExtGState = Dictionary(SMask=Dictionary(S=Name.Luminosity, G=group))
    page.walk("/Pattern cs /Ramp scn f")
    mask = page.obj.Resources.Pattern.Ramp.ExtGState.SMask
    assert text_of(mask.G) == "0.3 g f"


# Glyphs


def type_3(page: Page, resources: str = "<< >>", **glyphs: str) -> Object:
    names = " ".join(f"/{name}" for name in glyphs)
    font = Object.parse(
        f"<< /Type /Font /Subtype /Type3 /FontBBox [0 0 9 9] /FontMatrix [.1 0 0 .1 0 0] /FirstChar 65 /LastChar 90"
        f" /Widths [{'9 ' * 26}] /Encoding << /Type /Encoding /Differences [65 {names}] >> /Resources {resources} >>".encode()
    )
    font.CharProcs = Dictionary(
        {f"/{name}": page.pdf.make_indirect(page.stream(text)) for name, text in glyphs.items()}
    )
    return page.put("Font", "T", font)


def test_a_glyph_that_only_takes_its_texts_colour_keeps_its_bytes() -> None:
    """9.6.5: a d0 glyph begins with the graphics state of the text, so without colours of its own it needs no change."""
    page = full_page()
    font = type_3(page, a="9 0 d0 0 0 5 5 re f")
    assert page.walk("BT 1 1 1 rg /T 20 Tf (A) Tj ET").leftovers == []
    assert page.content() == "BT 0 0 0 0 k /T 20 Tf (A) Tj ET"
    assert page.obj.Resources.Font.T.objgen == font.objgen


GLYPHS = {
    "its colour in the space of the text": "/T 20 Tf",
    "chosen by a graphics state": "/F gs",
}


@pytest.mark.parametrize("case", GLYPHS)
def test_drawn_glyphs_that_cannot_be_told_are_left(case: str) -> None:
    """The text's colour may change between Tf and Tj, so a glyph that only says `sc` can't be followed."""
    page = full_page()
    font = type_3(page, a="9 0 d0 1 1 1 sc 0 0 5 5 re f" if "space" in case else "9 0 d0 1 1 1 rg 0 0 5 5 re f")
    page.put("ExtGState", "F", Dictionary(Font=Array([font, 20])))
    assert [left.what for left in page.walk(f"BT /Icc cs {GLYPHS[case]} (A) Tj ET").leftovers] in (
        ["a glyph"],
        ["a font"],
    )


# Transparency


def test_group_spaces_on_page_and_form() -> None:
    page = full_page()
    page.obj.Group = Dictionary(S=Name.Transparency, CS=page.obj.Resources.ColorSpace.Other, I=True)
    page.form("A", "1 1 1 rg f", "/Group << /S /Transparency /CS /DeviceGray /K true >>")
    page.walk("/A Do")
    assert page.obj.Group.I is True
    group = page.obj.Resources.XObject.A.Group
    assert (Name.DeviceGray, True) == (group.CS, group.K)


@pytest.mark.parametrize(("space", "told"), [("Inks", False), ("Other", True)])
def test_a_group_in_profiled_inks_mixes_as_before_and_one_in_rgb_may_not(space: str, told: bool) -> None:
    page = full_page()
    page.obj.Group = Dictionary(S=Name.Transparency, CS=page.obj.Resources.ColorSpace[f"/{space}"])
    assert bool(page.walk("0 g f").remarks) == told
    assert Name.DeviceCMYK == page.obj.Group.CS


@pytest.mark.parametrize("kind", ["/Alpha", "/Luminosity"])
def test_soft_masks_keep_their_transfer_function(kind: str) -> None:
    page = full_page()
    group = page.form("G", "1 0 0 rg 0 0 100 200 re f", "/Group << /S /Transparency /CS /DeviceRGB >>")
    transfer = program(page, "{ 1 exch sub }", 1, 1)
    page.put("ExtGState", "M", Dictionary(SMask=Dictionary(S=Name(kind), G=group, TR=transfer, BC=Array([0, 0, 1]))))
    result = page.walk("/M gs 0 0 9 9 re f")
    mask = page.obj.Resources.ExtGState.M.SMask
    assert mask.TR.objgen == transfer.objgen
    assert result.leftovers == []
    if kind == "/Luminosity":  # 10.3.2: red is 0.3 gray, blue 0.11
        assert text_of(mask.G) == "0.3 g 0 0 100 200 re f"
        assert [float(v) for v in mask.BC] == pytest.approx([0.11])
    else:  # only its coverage counts; its colours become inks as others do
        assert inks_of(text_of(mask.G)).shape == (1, 4)


def test_a_mask_with_a_transfer_function_looks_the_same() -> None:
    """PDFium applies the function to the luminosity, which is what it was before."""

    def build() -> Page:
        page = full_page()
        group = page.form(
            "G",
            "1 0 0 rg 0 0 100 200 re f .2 .9 .4 rg 100 0 50 200 re f",
            "/Group << /S /Transparency /CS /DeviceRGB >>",
        )
        page.put("ExtGState", "M", Dictionary(
            SMask=Dictionary(S=Name.Luminosity, G=group, TR=program(page, "{ dup mul 1 exch sub }", 1, 1), BC=Array([0, 0, 1]))))  # fmt: skip
        page.obj.Contents = page.pdf.make_stream(b"/M gs 0 g 0 0 200 200 re f")
        return page

    before, after = build(), build()
    walk(after.pdf, ToCondition(CONDITION))
    assert text_of(after.obj.Resources.ExtGState.M.SMask.G).startswith("0.3 g")
    one, other = drawn(before.pdf).astype(int), drawn(after.pdf).astype(int)
    assert len(np.unique(one[100, ::10, 0])) >= 3
    assert abs(one - other).max() <= 1


@pytest.mark.parametrize(
    ("mode", "space", "told"), [("Normal", "RGB", False), ("Multiply", "RGB", True), ("Multiply", "Gray", False)]
)
def test_a_mask_whose_parts_mix_otherwise_is_remarked_on(mode: str, space: str, told: bool) -> None:
    """A weighted sum of mixed colours is the mixture of weighted sums for Normal alone (11.3.5)."""
    page = full_page()
    page.put("ExtGState", "Mix", Dictionary(BM=Name("/" + mode)))
    group = page.form("G", "/Mix gs 0.5 g f", f"/Group << /S /Transparency /CS /Device{space} >>")
    page.put("ExtGState", "M", Dictionary(SMask=Dictionary(S=Name.Luminosity, G=group)))
    remarks = page.walk("/M gs 0 g 0 0 9 9 re f").remarks
    assert [remark.what for remark in remarks] == (["a soft mask"] if told else [])


# Annotations


def annotation(page: Page, subtype: str, look: Object, **more: object) -> Object:
    found = Dictionary(
        Type=Name.Annot, Subtype=Name("/" + subtype), Rect=Array([0, 0, 9, 9]), F=4, AP=Dictionary(N=look), **more
    )
    page.obj.Annots = Array([page.pdf.make_indirect(found)])
    return page.obj.Annots[0]


def look(page: Page, text: str, resources: bool = True) -> Object:
    form = page.stream(text, "/Type /XObject /Subtype /Form /BBox [0 0 9 9]")
    if resources:
        form.Resources = Dictionary()
    return page.pdf.make_indirect(form)


def test_a_checked_box_in_every_state() -> None:
    page = full_page()
    states = Dictionary(Yes=look(page, "1 1 1 rg f"), Off=look(page, "0 0 0 rg f"))
    box = annotation(page, "Widget", states, AS=Name.Yes, FT=Name.Btn)
    page.walk("")
    assert (text_of(box.AP.N.Yes), text_of(box.AP.N.Off)) == ("0 0 0 0 k f", "0 0 0 1 k f")
    assert Name.Yes == box.AS


def test_an_annotation_that_every_viewer_draws_its_own_way_is_told() -> None:
    page = full_page()
    page.obj.Annots = Array([page.pdf.make_indirect(Dictionary(
        Type=Name.Annot, Subtype=Name.Square, Rect=Array([0, 0, 9, 9]), F=4, C=Array([1, 0, 0])))])  # fmt: skip
    (left,) = page.walk("").leftovers
    assert "no appearance of its own" in left.why


@pytest.mark.parametrize(("subtype", "flags"), [("Link", 4), ("Popup", 4), ("Widget", 4), ("Square", 0), ("Square", 6)])
def test_annotations_that_print_nothing_are_no_matter(subtype: str, flags: int) -> None:
    page = full_page()
    page.obj.Annots = Array([page.pdf.make_indirect(Dictionary(
        Type=Name.Annot, Subtype=Name("/" + subtype), Rect=Array([0, 0, 9, 9]), F=flags, C=Array([1, 0, 0]), Border=Array([0, 0, 0])))])  # fmt: skip
    assert page.walk("").leftovers == []
