"""The rules of a printing condition, as the walker carries them out: drawing instructions before and after."""

import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pikepdf
import pytest
import pyvips
from pikepdf import Array, Dictionary, Name, Object, Stream

from hotfolder.colour.condition import SHIPPED, Condition, Spot
from hotfolder.colour.link import link
from hotfolder.colour.profile import SRGB, read_profile
from hotfolder.colour.transform import relative_lab, to_condition
from hotfolder.pdf.mappings import ToCondition
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.walker import walk

COATED, UNCOATED = SHIPPED["coated_europe"], SHIPPED["uncoated"]
ORANGE = "<< /FunctionType 2 /Domain [0 1] /C0 [0 0 0 0] /C1 [0 .6 1 0] /N 1 >>"
GREEN = "<< /FunctionType 2 /Domain [0 1] /C0 [0 0 0 0] /C1 [1 0 1 0] /N 1 >>"
RED = [0.8, 0.2, 0.1]


class Sheet:
    """A page under construction, walked by the rules given."""

    def __init__(self) -> None:
        self.pdf = pikepdf.new()
        self.pdf.add_blank_page(page_size=(1000, 1000))
        self.obj = self.pdf.pages[0].obj
        self.obj.Resources = Dictionary(
            ColorSpace=Dictionary(), XObject=Dictionary(), ExtGState=Dictionary(), Pattern=Dictionary(),
            Shading=Dictionary(), Font=Dictionary(),
        )  # fmt: skip
        self.mapping: Any = None

    def put(self, category: str, name: str, value: "str | Object") -> Object:
        found = Object.parse(value.encode()) if isinstance(value, str) else value
        made = self.pdf.make_indirect(found)
        self.obj.Resources[f"/{category}"][f"/{name}"] = made
        return made

    def stream(self, data: bytes, entries: str) -> Stream:
        made = Stream(self.pdf, data)
        for key, value in Object.parse(f"<< {entries} >>".encode()).items():
            made[key] = value
        return made

    def profile(self, name: str, data: bytes, n: int) -> Object:
        stream = self.pdf.make_indirect(self.stream(data, f"/N {n}"))
        return self.put("ColorSpace", name, Array([Name.ICCBased, stream]))

    def spot(self, name: str, ink: str, tint: str = ORANGE, base: str = "/DeviceCMYK") -> Object:
        return self.put("ColorSpace", name, Array([
            Name.Separation, Name("/" + ink), Object.parse(base.encode()), Object.parse(tint.encode())
        ]))  # fmt: skip

    def picture(self, samples: bytes, width: int, entries: str) -> Stream:
        count = 4 if "CMYK" in entries else 3 if "RGB" in entries else 1
        made = self.stream(
            samples, f"/Type /XObject /Subtype /Image /Width {width} /Height {len(samples) // width // count} "
            f"/BitsPerComponent 8 {entries}",
        )  # fmt: skip
        self.put("XObject", "P", made)
        return made

    def output_intent(self, profile: Path) -> None:
        stream = self.pdf.make_indirect(self.stream(profile.read_bytes(), "/N 4"))
        intent = Dictionary(Type=Name.OutputIntent, S=Name.GTS_PDFX, DestOutputProfile=stream)
        self.pdf.Root.OutputIntents = Array([intent])

    def walk(self, content: str, base: Condition = COATED, **rules: Any) -> WalkResult:
        self.obj.Contents = self.pdf.make_stream(content.encode())
        self.mapping = ToCondition(replace(base, **rules))
        return walk(self.pdf, self.mapping)

    def content(self, stream: Object | None = None) -> str:
        return " ".join((stream or self.obj.Contents).read_bytes().decode().split())

    def drawn(self) -> Object:
        """The picture that the page draws now."""
        last = self.content().split("/")[-1].split()[0]
        return self.obj.Resources.XObject["/" + last]

    def inks(self) -> list[float]:
        """The numbers of the first k in the content."""
        words = self.content().split()
        at = words.index("k")
        return [float(word) for word in words[at - 4 : at]]


def samples(picture: Object, bands: int) -> np.ndarray[Any, Any]:
    return np.frombuffer(picture.read_bytes(), np.uint8).reshape(-1, bands)


def about(values: Any, off: float = 0.002) -> Any:
    return pytest.approx([float(x) for x in values], abs=off)


def converted(condition: Condition, rgb: Any = RED) -> list[float]:
    return list(to_condition(SRGB, condition).colours(np.array([rgb]))[0])


# Rendering intents


def test_the_condition_wins_over_the_file_unless_asked_otherwise() -> None:
    perceptual = replace(COATED, intent="perceptual")
    for content in ("/Perceptual ri .8 .2 .1 rg f", ".8 .2 .1 rg /Perceptual ri f", "/G gs .8 .2 .1 rg f"):
        sheet = Sheet()
        sheet.put("ExtGState", "G", "<< /RI /Perceptual >>")
        sheet.walk(content)
        assert sheet.inks() == about(converted(COATED)), content
        sheet.walk(content, follow_file_intents=True)
        last = [float(word) for word in sheet.content().split(" k")[-2].split()[-4:]]
        assert last == about(converted(perceptual)), content
    assert abs(np.subtract(converted(COATED), converted(perceptual))).max() > 0.01  # else nothing is shown here


def test_the_intent_in_force_is_that_of_the_moment_of_painting() -> None:
    sheet = Sheet()
    sheet.walk("q /Saturation ri .8 .2 .1 rg f Q .8 .2 .1 rg f", follow_file_intents=True)
    first, second = ([float(w) for w in part.split()[-4:]] for part in sheet.content().split(" k")[:2])
    assert first == about(converted(replace(COATED, intent="saturation")))
    assert second == about(converted(COATED))


def test_an_unknown_intent_is_relative_colorimetric() -> None:
    sheet = Sheet()  # ISO 32000-1 8.6.5.8
    sheet.walk("/Gloss ri .8 .2 .1 rg f", replace(COATED, intent="perceptual"), follow_file_intents=True)
    assert sheet.inks() == about(converted(COATED))


def test_a_form_drawn_under_two_intents_becomes_two() -> None:
    sheet = Sheet()
    form = sheet.stream(b".8 .2 .1 rg 0 0 9 9 re f", "/Type /XObject /Subtype /Form /BBox [0 0 9 9]")
    sheet.put("XObject", "F", form)
    sheet.walk("/Perceptual ri /F Do /Saturation ri /F Do", follow_file_intents=True)
    drawn = [part.split()[-1] for part in sheet.content().split(" Do")[:2]]
    assert len(set(drawn)) == 2
    for name, intent in zip(drawn, ("perceptual", "saturation"), strict=True):
        numbers = [float(w) for w in sheet.content(sheet.obj.Resources.XObject[name]).split(" k")[0].split()]
        assert numbers == about(converted(replace(COATED, intent=intent)))


def test_pictures_have_an_intent_of_their_own() -> None:
    pixels = np.random.default_rng(4).integers(0, 256, (300, 3)).astype(np.uint8)
    given = pyvips.Image.new_from_memory(pixels.tobytes(), 300, 1, 3, "uchar")
    for rules, stated, intent in (
        ({"picture_intent": "perceptual"}, "", "perceptual"),
        ({"picture_intent": "perceptual"}, "/Intent /Saturation", "perceptual"),
        ({"picture_intent": "perceptual", "follow_file_intents": True}, "/Intent /Saturation", "saturation"),
        ({"follow_file_intents": True}, "", "relative"),
    ):
        sheet = Sheet()
        sheet.picture(pixels.tobytes(), 300, f"/ColorSpace /DeviceRGB {stated}")
        sheet.walk(".8 .2 .1 rg f /P Do", **rules)
        expected = to_condition(SRGB, replace(COATED, intent=intent)).picture(given).numpy().reshape(-1, 4)
        found = sheet.drawn()
        assert np.array_equal(samples(found, 4), expected)
        assert sheet.inks() == about(converted(COATED))


# Black


BLACKS = [
    # rules, colour, whether it becomes black alone, and how much
    ({}, "0 0 0 rg", 1.0),
    ({}, ".5 .5 .5 rg", True),
    ({}, ".5 .5 .51 rg", False),
    ({"neutral_tolerance": 2.0}, ".5 .5 .51 rg", True),
    ({"neutral_tolerance": 2.0}, ".5 .5 .53 rg", False),
    ({"black_alone": "black"}, "0 0 0 rg", 1.0),
    ({"black_alone": "black"}, ".5 .5 .5 rg", False),
    ({"black_alone": "black", "neutral_tolerance": 5.0}, ".04 .05 .02 rg", 1.0),
    ({"black_alone": "nothing"}, "0 0 0 rg", False),
    ({"black_alone": "nothing"}, "1 1 1 rg", 0.0),
    ({"black_alone": "nothing"}, "0 g", None),
    ({"black_alone": "nothing"}, "/Cal cs .3 sc", True),
    ({"gray_to_black": False}, "/Cal cs .3 sc", False),
    ({"gray_to_black": False}, "0 0 0 rg", 1.0),
]


@pytest.mark.parametrize(("rules", "content", "alone"), BLACKS)
def test_what_prints_in_black_ink_alone(rules: dict[str, Any], content: str, alone: bool | float | None) -> None:
    sheet = Sheet()
    sheet.put("ColorSpace", "Cal", "[/CalGray << /WhitePoint [.9505 1 1.089] /Gamma 2.2 >>]")
    sheet.walk(content + " f", **rules)
    if alone is None:
        assert sheet.content() == content + " f"
        return
    inks = sheet.inks()
    if isinstance(alone, float):
        assert inks == about([0, 0, 0, alone], 0)
    else:
        assert (max(inks[:3]) == 0) == alone


def test_a_gray_picture_with_a_profile_in_all_inks_if_asked() -> None:
    for rules, space in (({}, "/DeviceGray"), ({"gray_to_black": False}, "/DeviceCMYK")):
        sheet = Sheet()
        sheet.put("ColorSpace", "Cal", "[/CalGray << /WhitePoint [.9505 1 1.089] /Gamma 2.2 >>]")
        cal = sheet.obj.Resources.ColorSpace.Cal
        picture = sheet.picture(bytes(range(256)), 16, "")
        picture.ColorSpace = cal
        sheet.walk("/P Do", **rules)
        found = sheet.drawn().ColorSpace
        assert str(found[1] if isinstance(found, Array) else found) in (space, "/DeviceCMYK")
        table = np.frombuffer(bytes(found[3]), np.uint8).reshape(256, -1)
        assert (table[:, :3].max() > 30) == (not rules.get("gray_to_black", True))


# Rich black: content -> where "q .6 .4 .4 1 k" stands, or nowhere.

RICH = {"rich_black": (60.0, 40.0, 40.0, 100.0), "rich_black_from": 100.0}
AREAS = {
    "a large rectangle": ("0 0 0 1 k 0 0 200 200 re f", True),
    "a small one": ("0 0 0 1 k 0 0 200 90 re f", False),
    "gray black": ("0 g 0 0 200 200 re f", True),
    "the black of every page": ("0 0 200 200 re f", True),
    "screen black": ("0 0 0 rg 0 0 200 200 re f*", True),
    "not quite black": ("0 0 0 .98 k 0 0 200 200 re f", False),
    "a colour": ("1 0 0 rg 0 0 200 200 re f", False),
    "scaled up": ("0 g q 20 0 0 20 0 0 cm 0 0 9 9 re f Q", True),
    "scaled down": ("0 g q .1 0 0 .1 0 0 cm 0 0 900 900 re f Q", False),
    "a triangle": ("0 g 0 0 m 300 0 l 0 300 l h f", True),
    "a slanting line": ("0 g 0 0 m 300 300 l 301 300 l 1 0 l f", False),
    "a frame": ("0 g 0 0 200 200 re 2 2 196 196 re f*", False),
    "a circle": ("0 g 0 60 m 0 93 27 120 60 120 c 93 120 120 93 120 60 c 120 27 93 0 60 0 c 27 0 0 27 0 60 c f", True),
    "filled and stroked": ("0 g 0 0 200 200 re B", True),
    "only stroked": ("0 g 0 0 200 200 re S", False),
    "text": ("0 g BT /F 500 Tf (X) Tj ET", False),
    "a clip": ("0 g 0 0 200 200 re W f", False),
    "overprinting": ("/Over gs 0 g 0 0 200 200 re f", False),
    "transparent": ("/Thin gs 0 g 0 0 200 200 re f", False),
    "multiplied": ("/Mul gs 0 g 0 0 200 200 re f", False),
    "a spot ink": ("/Spot cs 1 scn 0 0 200 200 re f", False),
    "a path never painted": ("0 g 0 0 200 200 re n 5 5 5 5 re f", False),
    "larger than any sheet": ("0 g 0 0 99999999 99999999 re f", True),
    "no numbers": ("0 g re f 0 0 5 re f", False),
    "numbers beyond use": (f"0 g 0 0 {'9' * 200} {'9' * 200} re f", False),
}


@pytest.mark.parametrize("case", AREAS)
def test_rich_black_for_large_areas(case: str) -> None:
    content, wanted = AREAS[case]
    sheet = Sheet()
    sheet.spot("Spot", "Black Varnish")
    sheet.put("ExtGState", "Over", "<< /OP true >>")
    sheet.put("ExtGState", "Thin", "<< /ca .5 >>")
    sheet.put("ExtGState", "Mul", "<< /BM /Multiply >>")
    result = sheet.walk(content, **RICH)
    written = sheet.content()
    assert (written.count("q 0.6 0.4 0.4 1 k") == 1) == wanted, written
    assert result.changed["areas"] == wanted
    assert result.leftovers == []
    if wanted:
        path = written.split("q 0.6 0.4 0.4 1 k")[1]
        assert path.count("Q") == 1 + content.count("Q")
    sheet = Sheet()
    sheet.spot("Spot", "Black Varnish")
    for name, facts in (("Over", "<< /OP true >>"), ("Thin", "<< /ca .5 >>"), ("Mul", "<< /BM /Multiply >>")):
        sheet.put("ExtGState", name, facts)
    sheet.walk(content)
    assert "0.6 0.4 0.4 1 k" not in sheet.content()


def test_a_form_is_judged_where_it_is_drawn() -> None:
    sheet = Sheet()
    form = sheet.stream(b"0 0 9 9 re f", "/Type /XObject /Subtype /Form /BBox [0 0 9 9]")
    sheet.put("XObject", "F", form)
    sheet.walk("0 g /F Do q 20 0 0 20 0 0 cm /F Do Q 1 0 0 0 k q 20 0 0 20 0 0 cm /F Do Q", **RICH)
    drawn = [part.split()[-1] for part in sheet.content().split(" Do")[:3]]
    rich = ["0.6" in sheet.content(sheet.obj.Resources.XObject[name]) for name in drawn]
    assert rich == [False, True, False]


def test_without_a_recipe_no_path_is_looked_at() -> None:
    assert ToCondition(COATED).watched == ()


# CMYK of another press

UNCOATED_DATA = UNCOATED.profile.read_bytes()


def test_cmyk_with_a_profile_is_kept_unless_asked() -> None:
    sheet = Sheet()
    sheet.profile("Icc", UNCOATED_DATA, 4)
    sheet.walk("/Icc cs .2 .5 .1 .3 sc f")
    assert sheet.content() == "/Icc cs .2 .5 .1 .3 sc f"
    assert sheet.obj.Resources.ColorSpace.Icc == Name.DeviceCMYK


LINKED = [
    # colour in, whether one ink alone stays alone
    (".2 .5 .1 .3", None),
    ("0 0 0 1", [0, 0, 0, 1]),
    ("0 0 0 0", [0, 0, 0, 0]),
    ("0 0 0 .5", 3),
]


@pytest.mark.parametrize(("given", "expected"), LINKED)
@pytest.mark.parametrize("way", ["profile", "output intent", "condition"])
def test_cmyk_of_another_press_is_linked(given: str, expected: list[float] | int | None, way: str) -> None:
    sheet, rules = Sheet(), {"cmyk": "convert"}
    if way == "profile":
        sheet.profile("Icc", UNCOATED_DATA, 4)
        content = f"/Icc cs {given} sc f"
    else:
        content = f"{given} k f"
    if way == "output intent":
        sheet.output_intent(UNCOATED.profile)
        rules["cmyk_source"] = SHIPPED["coated_us"].profile  # what the file says goes first
    if way == "condition":
        rules["cmyk_source"] = UNCOATED.profile
    result = sheet.walk(content, **rules)
    assert result.leftovers == []
    inks = sheet.inks()
    if isinstance(expected, list):
        assert inks == about(expected, 0)
    elif isinstance(expected, int):
        assert [ink > 0 for ink in inks] == [place == expected for place in range(4)]
    else:
        values = np.array([[float(word) for word in given.split()]])
        assert inks == about(to_condition(read_profile(UNCOATED.profile), COATED).colours(values)[0])


def test_plain_gray_is_the_black_of_the_same_press() -> None:
    sheet = Sheet()
    sheet.put("ExtGState", "Over", "<< /OP true /op true /OPM 1 >>")
    rules = {"cmyk": "convert", "cmyk_source": UNCOATED.profile}
    result = sheet.walk("0 g f .5 g f 0 0 0 .5 k f 1 g f /Over gs .5 g f", **rules)
    assert result.leftovers == []
    assert sheet.content().startswith("0 g f 0 0 0")
    assert " 1 g f /Over gs" in sheet.content()
    blacks = [[float(w) for w in part.split()[-4:]] for part in sheet.content().split(" k")[:2]]
    assert blacks[0] == blacks[1]
    assert blacks[0] != [0, 0, 0, 0.5]
    (mode,) = (state.OPM for key, state in sheet.obj.Resources.ExtGState.items() if "Overprint" in key)
    assert mode == 0  # gray never spared an ink (ISO 32000-1 8.6.7), CMYK with zeros would
    sheet.picture(bytes(range(256)), 16, "/ColorSpace /DeviceGray")
    sheet.walk("/P Do", **rules)
    table = np.frombuffer(bytes(sheet.drawn().ColorSpace[3]), np.uint8).reshape(256, 4)
    assert table[:, :3].max() == 0
    assert table[128, 3] == pytest.approx(blacks[0][3] * 255, abs=2)


def test_cmyk_of_this_very_press_stays() -> None:
    sheet = Sheet()
    sheet.output_intent(COATED.profile)
    sheet.profile("Icc", COATED.profile.read_bytes(), 4)
    sheet.walk(".2 .5 .1 .3 k f /Icc cs .1 .1 .1 .1 sc f", cmyk="convert", cmyk_source=UNCOATED.profile)
    assert sheet.content() == ".2 .5 .1 .3 k f /Icc cs .1 .1 .1 .1 sc f"


def test_cmyk_that_nobody_knows_stays() -> None:
    sheet = Sheet()
    sheet.walk(".2 .5 .1 .3 k f", cmyk="convert")
    assert sheet.content() == ".2 .5 .1 .3 k f"


def test_a_picture_of_another_press_and_its_black() -> None:
    pixels = np.random.default_rng(7).integers(0, 256, (4, 400)).astype(np.uint8).T.copy()
    pixels[:200, :3] = 0
    sheet = Sheet()
    sheet.picture(pixels.tobytes(), 400, "/ColorSpace /DeviceCMYK")
    sheet.walk("/P Do", cmyk="convert", cmyk_source=UNCOATED.profile)
    found = samples(sheet.drawn(), 4)
    assert (found[:200, :3] == 0).all()
    two_steps = to_condition(read_profile(UNCOATED.profile), COATED).picture(
        pyvips.Image.new_from_memory(pixels.tobytes(), 400, 1, 4, "uchar").copy(interpretation="cmyk")
    )
    mixed = pixels[:, :3].max(axis=1) * 8 > pixels[:, 3].astype(int)
    apart = abs(found.astype(int) - two_steps.numpy().reshape(-1, 4))[mixed]
    assert apart.max() <= 1


def test_a_spared_ink_that_the_other_press_needs_holds() -> None:
    sheet = Sheet()
    sheet.put("ExtGState", "Over", "<< /OP true /op true /OPM 1 >>")
    rules = {"cmyk": "convert", "cmyk_source": UNCOATED.profile}
    assert sheet.walk("/Over gs 0 0 0 1 k f", **rules).leftovers == []
    (left,) = sheet.walk("/Over gs 0 .8 .8 0 k f", **rules).leftovers
    assert left.what == "overprinting"


# Spot inks


def test_one_spot_ink_mixed_and_another_kept() -> None:
    sheet = Sheet()
    sheet.spot("A", "Old Gold")
    sheet.spot("B", "Silver", GREEN)
    spots = (("OLD-gold", Spot("cmyk")),)
    result = sheet.walk("/A cs .5 scn f /B cs .5 scn f", spots=spots)
    assert sheet.content() == "0 0.3 0.5 0 k f /B cs .5 scn f"
    assert [remark.what for remark in result.remarks] == ["Separation Old Gold"]
    sheet.walk("/A cs .5 scn f /B cs .5 scn f", spots=(("Silver", Spot("keep")),), spot_inks="cmyk")
    assert sheet.content() == "0 0.3 0.5 0 k f /B cs .5 scn f"


@pytest.mark.parametrize("ink", ["All", "None", "Black", "Cyan"])
def test_names_that_are_no_spot_inks_are_never_touched(ink: str) -> None:
    sheet = Sheet()
    sheet.spot("A", ink)
    sheet.walk("/A cs .5 scn f", spot_inks="cmyk", spots=((ink, Spot("cmyk")),))
    assert sheet.content() == "/A cs .5 scn f"
    assert sheet.obj.Resources.ColorSpace.A[0] == Name.Separation


def test_a_spot_ink_everywhere_it_can_stand() -> None:
    sheet = Sheet()
    spot = sheet.spot("A", "Gold")
    sheet.put("ColorSpace", "Table", Array([Name.Indexed, spot, 1, pikepdf.String(b"\x00\xff")]))
    sheet.put("ColorSpace", "Cell", Array([Name.Pattern, spot]))
    cell = "/PatternType 1 /PaintType 2 /TilingType 1 /BBox [0 0 9 9] /XStep 9 /YStep 9"
    sheet.put("Pattern", "Dots", sheet.stream(b"0 0 5 5 re f", cell))
    line = "<< /FunctionType 2 /Domain [0 1] /C0 [0] /C1 [1] /N 1 >>"
    shading = sheet.put("Shading", "S", f"<< /ShadingType 2 /Coords [0 0 9 0] /Function {line} >>")
    shading.ColorSpace = spot
    picture = sheet.picture(bytes([0, 128, 255, 64]), 2, "")
    picture.ColorSpace = spot
    content = "/Table cs 1 sc f /Cell cs 1 /Dots scn f /S sh /P Do"
    result = sheet.walk(content, spots=(("Gold", Spot("cmyk")),))
    assert result.leftovers == []
    out = io.BytesIO()
    sheet.pdf.remove_unreferenced_resources()
    for key in list(sheet.obj.Resources.ColorSpace.keys()):
        if f"{key} cs" not in sheet.content():
            del sheet.obj.Resources.ColorSpace[key]
    sheet.pdf.save(out, compress_streams=False)
    assert b"/Separation" not in out.getvalue()
    assert "0 0.6 1 0 /Dots scn" in sheet.content()


def test_renaming() -> None:
    sheet = Sheet()
    sheet.spot("A", "PANTONE 185 CVC")
    attributes = Dictionary(
        Subtype=Name.NChannel,
        Colorants=Dictionary({"/PANTONE 185 CVC": sheet.obj.Resources.ColorSpace.A}),
        MixingHints=Dictionary(PrintingOrder=Array([Name.Cyan, Name("/PANTONE 185 CVC")])),
    )
    tint = sheet.pdf.make_indirect(
        sheet.stream(b"{ dup 0 exch 0 }", "/FunctionType 4 /Domain [0 1 0 1] /Range [0 1 0 1 0 1 0 1]")
    )
    inks = Array([Name.Cyan, Name("/PANTONE 185 CVC")])
    sheet.put("ColorSpace", "N", Array([Name.DeviceN, inks, Name.DeviceCMYK, tint, attributes]))
    result = sheet.walk("/A cs .5 scn f /N cs .5 .5 scn f", spots=(("Pantone 185 cvc", Spot("rename", "Red 1")),))
    assert result.leftovers == []
    spaces = sheet.obj.Resources.ColorSpace
    assert spaces.A[1] == Name("/Red 1")
    assert list(spaces.N[1]) == [Name.Cyan, Name("/Red 1")]
    assert spaces.N[4].Colorants["/Red 1"][1] == Name("/Red 1")
    assert list(spaces.N[4].MixingHints.PrintingOrder) == [Name.Cyan, Name("/Red 1")]
    assert sheet.content() == "/A cs .5 scn f /N cs .5 .5 scn f"


def test_renaming_to_an_ink_that_the_file_has_takes_its_looks() -> None:
    sheet = Sheet()
    sheet.spot("A", "Red One")
    sheet.spot("B", "Red 1", GREEN)
    result = sheet.walk("/A cs .5 scn f", spots=(("Red One", Spot("rename", "Red 1")),))
    assert list(sheet.obj.Resources.ColorSpace.A[3].C1) == [1, 0, 1, 0]
    assert "had that ink already" in result.remarks[0].why


def test_two_inks_that_would_get_one_name_hold() -> None:
    sheet = Sheet()
    tint = sheet.pdf.make_indirect(
        sheet.stream(b"{ 0 0 }", "/FunctionType 4 /Domain [0 1 0 1] /Range [0 1 0 1 0 1 0 1]")
    )
    sheet.put("ColorSpace", "N", Array([Name.DeviceN, Array([Name.Red1, Name.Red2]), Name.DeviceCMYK, tint]))
    (left,) = sheet.walk("/N cs .5 .5 scn f", spots=(("Red2", Spot("rename", "Red1")),)).leftovers
    assert left.why == "two of its inks would get the same name"


@pytest.mark.parametrize(
    ("inks", "held"),
    [(("Cyan", "Gold"), False), (("Gold", "Silver"), True), (("Gold", "None"), False), (("Gold", "All"), True)],
)
def test_mixtures_with_an_ink_that_becomes_cmyk(inks: tuple[str, ...], held: bool) -> None:
    sheet = Sheet()
    tint = sheet.pdf.make_indirect(
        sheet.stream(b"{ 0 0 }", "/FunctionType 4 /Domain [0 1 0 1] /Range [0 1 0 1 0 1 0 1]")
    )
    names = Array([Name("/" + ink) for ink in inks])
    sheet.put("ColorSpace", "N", Array([Name.DeviceN, names, Name.DeviceCMYK, tint]))
    result = sheet.walk("/N cs .5 .25 scn f", spots=(("Gold", Spot("cmyk")),))
    assert bool(result.leftovers) == held
    if not held:
        assert sheet.content() == "0.5 0.25 0 0 k f"


def test_an_overprinting_spot_ink_that_becomes_cmyk_is_told() -> None:
    sheet = Sheet()
    sheet.spot("A", "Gold")
    sheet.put("ExtGState", "Over", "<< /OP true /op true /OPM 0 >>")
    result = sheet.walk("/Over gs /A cs 1 scn f", spots=(("Gold", Spot("cmyk")),))
    assert any("overprinted" in remark.why for remark in result.remarks)
    (mode,) = (state.OPM for key, state in sheet.obj.Resources.ExtGState.items() if "Overprint" in key)
    assert mode == 1


@pytest.mark.parametrize("n", [2, 3, 4])
def test_a_stand_in_of_several_inks_in_rgb_becomes_cmyk(n: int) -> None:
    """Each ink takes away from one of red, green and blue; the table is read back by a function of our own reader."""
    from hotfolder.pdf.values.spaces import SpaceReader

    sheet = Sheet()
    drop = " ".join(["pop"] * (n - 2))
    program = f"{{ {drop} 1 exch .9 mul sub exch 1 exch .7 mul sub 1 }}".encode()
    tint = sheet.pdf.make_indirect(
        sheet.stream(program, f"/FunctionType 4 /Domain [{'0 1 ' * n}] /Range [0 1 0 1 0 1]")
    )
    inks = Array([Name(f"/Ink{place}") for place in range(n)])
    sheet.put("ColorSpace", "N", Array([Name.DeviceN, inks, Name.DeviceRGB, tint]))
    before = SpaceReader().named("/N", sheet.obj.Resources)
    result = sheet.walk(f"/N cs {'.5 ' * n}scn f")
    assert result.leftovers == []
    after = SpaceReader().named("/N", sheet.obj.Resources)
    assert after.base is not None
    assert after.base.kind == "DeviceCMYK"
    tints = np.random.default_rng(n).random((300, n))
    assert before.tint is not None
    assert after.tint is not None
    wanted = ToCondition(COATED).inks(before.base, before.tint(tints), True)  # type: ignore[arg-type]
    assert abs(after.tint(tints) - wanted).max() < 0.03


# Ink limit


def test_only_what_is_over_the_limit_is_separated_again_and_only_if_asked() -> None:
    content = ".9 .9 .9 .9 k f .2 .3 .4 .1 k f"
    sheet = Sheet()
    sheet.walk(content)
    assert sheet.content() == content
    sheet.walk(content, over_limit="separate")
    assert sheet.content().endswith("k f .2 .3 .4 .1 k f")
    inks = sheet.inks()
    assert sum(inks) <= 3.01
    assert sheet.mapping.separated == {"colours": 1}
    before, after = relative_lab(read_profile(COATED.profile), [[0.9] * 4, inks])
    assert np.linalg.norm(before - after) < 3


def test_pictures_are_separated_again_as_a_whole_or_not_at_all() -> None:
    thin = np.full((64, 64, 4), 60, np.uint8)
    heavy = thin.copy()
    heavy[:20] = 240
    for pixels, changes in ((thin, False), (heavy, True)):
        sheet = Sheet()
        sheet.picture(pixels.tobytes(), 64, "/ColorSpace /DeviceCMYK")
        before = sheet.obj.Resources.XObject.P
        sheet.walk("/P Do", over_limit="separate")
        found = samples(sheet.drawn(), 4).astype(int)
        assert (sheet.drawn().objgen != before.objgen) == changes
        assert bool(sheet.mapping.separated["pictures"]) == changes
        if changes:
            assert found.sum(axis=1).max() <= 3.03 * 255
            assert not np.array_equal(found[-1], thin[-1, -1])


@pytest.mark.parametrize(("end", "changes"), [("[.5 .5 .5 0]", False), ("[1 1 1 1]", True)])
def test_gradients_are_separated_again_as_a_whole_or_not_at_all(end: str, changes: bool) -> None:
    sheet = Sheet()
    line = f"<< /FunctionType 2 /Domain [0 1] /C0 [0 0 0 0] /C1 {end} /N 1 >>"
    shading = sheet.put(
        "Shading", "S", f"<< /ShadingType 2 /Coords [0 0 9 0] /ColorSpace /DeviceCMYK /Function {line} >>"
    )
    result = sheet.walk("/S sh", over_limit="separate")
    assert result.leftovers == []
    assert (sheet.obj.Resources.Shading.S.objgen != shading.objgen) == changes
    assert bool(sheet.mapping.separated["gradients"]) == changes


def test_profiled_cmyk_under_the_limit_loses_its_profile_as_ever() -> None:
    sheet = Sheet()
    space = sheet.profile("Icc", UNCOATED_DATA, 4)
    picture = sheet.picture(bytes([60, 60, 60, 60] * 16), 4, "/ColorSpace /DeviceCMYK")
    picture.ColorSpace = space
    sheet.walk("/P Do", over_limit="separate")
    assert sheet.drawn().ColorSpace == Name.DeviceCMYK
    assert samples(sheet.drawn(), 4).tolist() == [[60] * 4] * 16


def test_a_link_made_twice_is_one() -> None:
    source = read_profile(UNCOATED.profile)
    assert link(source, COATED) is link(read_profile(UNCOATED_DATA), COATED)
