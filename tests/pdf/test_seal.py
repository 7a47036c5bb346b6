"""What sealing takes out, what it leaves, and what it hands back because a PDF/X-4 may not hold it."""

from __future__ import annotations

import datetime as dt
import io
from itertools import pairwise
from pathlib import Path

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Stream, String

from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.finding import Box
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.finishing.seal import Intent, Sealed, seal
from hotfolder.pdf.finishing.xmp import About

CONDITION = SHIPPED[DEFAULT]
INTENT = Intent(CONDITION.identifier, CONDITION.title, CONDITION.registry, CONDITION.profile.read_bytes())
TIME = dt.datetime(2026, 11, 25, 14, 22, 57, tzinfo=dt.timezone(dt.timedelta(hours=1)))
ABOUT = About("Jazz Night", TIME, TIME, "20261125-142257-7f3a9c", "hotfolder")


def poster(content: bytes = b"0 0 0 1 k 20 20 50 50 re f") -> pikepdf.Pdf:
    pdf = pikepdf.new()
    page = pdf.add_blank_page(page_size=(318, 418))
    page.obj.TrimBox, page.obj.BleedBox = Array([9, 9, 309, 409]), Array([0, 0, 318, 418])
    page.obj.Contents, page.obj.Resources = pdf.make_stream(content), Dictionary()
    return pdf


def sealed(pdf: pikepdf.Pdf, folder: Path) -> tuple[Sealed, Path]:
    """Seal a poster as it would be read from a file."""
    held = io.BytesIO()
    pdf.save(held, static_id=True)
    with pikepdf.open(held) as opened:
        return seal(opened, folder / "sealed.pdf", INTENT, ABOUT), folder / "sealed.pdf"


def picture(pdf: pikepdf.Pdf, **entries: object) -> Stream:
    found = Stream(pdf, b"\x80" * 16)
    facts = {"Type": Name.XObject, "Subtype": Name.Image, "Width": 2, "Height": 2, "ColorSpace": Name.DeviceCMYK}
    for key, value in {**facts, "BitsPerComponent": 8, **entries}.items():
        found["/" + key] = value
    return found


# ---- what can't conform: how the file is spoilt -> the obstacle


def annotation(**entries: object):  # type: ignore[no-untyped-def]
    def spoil(pdf: pikepdf.Pdf) -> None:
        look = pdf.make_indirect(
            Stream(pdf, b"1 0 0 0 k 0 0 20 20 re f", Subtype=Name.Form, BBox=Array([0, 0, 20, 20]))
        )
        facts = {"Subtype": Name.Stamp, "Rect": Array([50, 50, 70, 70]), "F": 4, "AP": Dictionary(N=look), **entries}
        made = pdf.make_indirect(Dictionary(facts_of(facts)))
        pdf.pages[0].obj.Annots = Array([made])
        if facts["Subtype"] == Name.Widget:
            pdf.Root.AcroForm = Dictionary(Fields=Array([made]))

    return spoil


def facts_of(facts: dict[str, object]) -> dict[str, object]:
    return {"/" + key: value for key, value in facts.items() if value is not None}


def drawing(content: bytes, **resources: object):  # type: ignore[no-untyped-def]
    def spoil(pdf: pikepdf.Pdf) -> None:
        pdf.pages[0].obj.Contents = pdf.make_stream(content)
        for key, made in resources.items():
            pdf.pages[0].obj.Resources["/" + key] = made(pdf) if callable(made) else made

    return spoil


def xobject(make: object):  # type: ignore[no-untyped-def]
    return drawing(b"q 50 0 0 50 20 20 cm /X Do Q", XObject=lambda pdf: Dictionary(X=pdf.make_indirect(make(pdf))))  # type: ignore[operator]


def graphics(**entries: object):  # type: ignore[no-untyped-def]
    return drawing(b"/G gs 0 0 9 9 re f", ExtGState=Dictionary(G=Dictionary(facts_of(entries))))


def font(pdf: pikepdf.Pdf) -> Dictionary:
    return Dictionary(F=pdf.make_indirect(Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica)))


def ink(alternate: object = Name.DeviceCMYK, full: tuple[float, ...] = (0, 1, 1, 0), ink: str = "/Flame") -> Array:
    tint = Dictionary(FunctionType=2, Domain=[0, 1], C0=[0] * len(full), C1=list(full), N=1)
    return Array([Name.Separation, Name(ink), alternate, tint])


def layers(print_state: str, off: bool):  # type: ignore[no-untyped-def]
    def spoil(pdf: pikepdf.Pdf) -> None:
        usage = Dictionary(Print=Dictionary(PrintState=Name("/" + print_state)))
        layer = pdf.make_indirect(Dictionary(Type=Name.OCG, Name=String("Notes"), Usage=usage))
        switch = Dictionary(Event=Name.Print, OCGs=Array([layer]), Category=Array([Name.Print]))
        default = Dictionary(AS=Array([switch]), Order=Array([]), OFF=Array([layer] if off else []))
        pdf.Root.OCProperties = Dictionary(OCGs=Array([layer]), D=default, Configs=Array([Dictionary(AS=Array([]))]))

    return spoil


CURVE = Dictionary(FunctionType=2, Domain=[0, 1], C0=[0], C1=[0.9], N=1)
LAB = Array([Name.Lab, Dictionary(WhitePoint=[0.9642, 1, 0.8249])])

OBSTACLES = {
    "nothing": (lambda pdf: None, []),
    # rule 18: only the press's own colours (FACTS: public checklists, from memory)
    "RGB": (drawing(b"1 0 0 rg 0 0 9 9 re f"), ["colour_left"]),
    "RGB in a form in a form": (
        xobject(lambda pdf: form(pdf, b"/Y Do", Y=form(pdf, b"0 1 0 RG 0 0 m 9 9 l S"))),
        ["colour_left"],
    ),
    "RGB picture": (xobject(lambda pdf: picture(pdf, ColorSpace=Name.DeviceRGB)), ["colour_left"]),
    "Lab": (drawing(b"/L cs 50 0 0 sc 0 0 9 9 re f", ColorSpace=Dictionary(L=LAB)), ["colour_left"]),
    "an RGB page group": (lambda pdf: set_group(pdf, Name.DeviceRGB), ["colour_left"]),
    "RGB in resources, never used": (drawing(b"0 0 9 9 re f", ColorSpace=Dictionary(L=LAB)), []),
    "gray and CMYK": (drawing(b"0.5 g 0 0 9 9 re f 0 0 0 1 K 0 0 m 9 9 l S"), []),
    # rule 25: one meaning for each spot ink
    "a spot ink": (drawing(b"/S cs 1 scn 0 0 9 9 re f", ColorSpace=Dictionary(S=ink())), []),
    "a spot ink over RGB": (
        drawing(b"/S cs 1 scn 0 0 9 9 re f", ColorSpace=Dictionary(S=ink(Name.DeviceRGB, (1, 0, 0)))),
        ["ink_in_screen_colours"],
    ),
    "one ink, two meanings": (
        drawing(
            b"/S cs 1 scn 0 0 9 9 re f /T cs 1 scn 0 0 9 9 re f",
            ColorSpace=Dictionary(S=ink(), T=ink(full=(1, 0, 0, 0))),
        ),
        ["ink_defined_twice"],
    ),
    "one ink, the same meaning twice": (
        drawing(b"/S cs 1 scn 0 0 9 9 re f /T cs 1 scn 0 0 9 9 re f", ColorSpace=Dictionary(S=ink(), T=ink())),
        [],
    ),
    # rule 16: fonts embedded, but for text that paints nothing
    "a font not embedded": (drawing(b"BT /F 9 Tf (a) Tj ET", Font=font), ["font_not_embedded"]),
    "an invisible font not embedded": (drawing(b"BT 3 Tr /F 9 Tf (a) Tj ET", Font=font), []),
    "a font not embedded that clips": (drawing(b"BT 7 Tr /F 9 Tf (a) Tj ET", Font=font), ["font_not_embedded"]),
    "a font named, never used": (drawing(b"0 0 9 9 re f", Font=font), []),
    # rules 20 and 11: annotations
    "a stamp that prints": (annotation(), ["printing_annotation"]),
    "a stamp beyond the bleed": (annotation(Rect=Array([400, 400, 420, 420])), []),
    "a stamp touching the bleed's edge": (annotation(Rect=Array([318, 0, 330, 20])), []),
    "a stamp that doesn't print": (annotation(F=0), []),
    "a hidden stamp": (annotation(F=6), []),
    "a link": (annotation(Subtype=Name.Link, AP=None, F=0), []),
    "a link that prints its frame": (annotation(Subtype=Name.Link, AP=None, F=4), ["printing_annotation"]),
    "a link without a frame": (annotation(Subtype=Name.Link, AP=None, F=4, Border=Array([0, 0, 0])), []),
    "a form field": (annotation(Subtype=Name.Widget), ["printing_annotation"]),
    "a printer's mark on the poster": (annotation(Subtype=Name.PrinterMark, F=0), ["printing_annotation"]),
    "an annotation without a place": (annotation(Rect=None), []),
    # rules 21, 22
    "PostScript": (xobject(lambda pdf: Stream(pdf, b"showpage", Subtype=Name.PS)), ["postscript_inside"]),
    "a stand-in": (xobject(lambda pdf: picture(pdf, OPI=Dictionary())), ["stand_in_picture"]),
    "a reference": (xobject(lambda pdf: form(pdf, b"", Ref=Dictionary())), ["outside_reference"]),
    "data elsewhere": (xobject(lambda pdf: picture(pdf, F=String("elsewhere.bin"))), ["outside_data"]),
    "alternates": (xobject(lambda pdf: alternates(pdf, False)), []),
    "alternates for print": (xobject(lambda pdf: alternates(pdf, True)), ["alternate_for_print"]),
    # rule 24
    "a transfer curve": (graphics(TR=CURVE), ["transfer_curve"]),
    "a second transfer curve": (graphics(TR2=CURVE), ["transfer_curve"]),
    "four identities": (graphics(TR=Array([Name.Identity] * 4), TR2=Name.Default), []),
    "a halftone": (graphics(HT=Dictionary(HalftoneType=1, HalftoneName=String("x")), HTP=Array([0, 0])), []),
    "a halftone with a curve": (graphics(HT=Dictionary(HalftoneType=1, TransferFunction=CURVE)), ["transfer_curve"]),
    # rule 19
    "a layer switched by print, to what it is": (layers("OFF", off=True), []),
    "a layer switched by print, to another state": (layers("ON", off=True), ["layer_print_switch"]),
    "a layer hidden in print": (layers("OFF", off=False), ["layer_print_switch"]),
}


def form(pdf: pikepdf.Pdf, content: bytes, Y: object = None, **entries: object) -> Stream:  # noqa: N803
    made = Stream(pdf, content, Type=Name.XObject, Subtype=Name.Form, BBox=Array([0, 0, 50, 50]))
    made.Resources = Dictionary(XObject=Dictionary(Y=pdf.make_indirect(Y))) if Y is not None else Dictionary()
    for key, value in entries.items():
        made["/" + key] = value
    return made


def alternates(pdf: pikepdf.Pdf, for_print: bool) -> Stream:
    other = Dictionary(Image=pdf.make_indirect(picture(pdf)), DefaultForPrinting=for_print)
    return picture(pdf, Alternates=Array([other]))


def set_group(pdf: pikepdf.Pdf, space: object) -> None:
    pdf.pages[0].obj.Group = Dictionary(S=Name.Transparency, CS=space)


@pytest.mark.parametrize("name", OBSTACLES)
def test_obstacles(name: str, tmp_path: Path) -> None:
    spoil, expected = OBSTACLES[name]
    pdf = poster()
    spoil(pdf)
    found, path = sealed(pdf, tmp_path)
    assert list(found.obstacles) == expected
    assert path.exists() == (not expected)
    if not expected:
        with pikepdf.open(path) as after:
            assert list(after.check_pdf_syntax()) == []


def test_everything_is_told_at_once(tmp_path: Path) -> None:
    pdf = poster()
    annotation()(pdf)
    drawing(b"1 0 0 rg 0 0 9 9 re f BT /F 9 Tf (a) Tj ET", Font=font)(pdf)
    found, _ = sealed(pdf, tmp_path)
    assert set(found.obstacles) == {"colour_left", "font_not_embedded", "printing_annotation"}
    assert found.obstacles["printing_annotation"].box == Box(50, 50, 70, 70)
    assert found.obstacles["font_not_embedded"].what == ["Helvetica"]


# ---- what goes


def loaded(pdf: pikepdf.Pdf) -> None:
    """A file with everything that a press has no use for."""
    script = Dictionary(S=Name.JavaScript, JS=String("app.alert(1)"))
    pdf.Root.OpenAction, pdf.Root.AA = script, Dictionary(WC=script)
    pdf.Root.Names = Dictionary(JavaScript=Dictionary(Names=Array([String("a"), script])))
    pdf.Root.AcroForm, pdf.Root.Outlines = Dictionary(Fields=Array([])), Dictionary(Count=1)
    pdf.Root.PieceInfo, pdf.Root.StructTreeRoot = Dictionary(X=Dictionary()), Dictionary(K=Array([]))
    pdf.Root.ViewerPreferences, pdf.Root.Extensions = Dictionary(PrintArea=Name.TrimBox), Dictionary()
    pdf.Root.Version, pdf.Root.Perms = Name("/1.7"), Dictionary()
    page = pdf.pages[0].obj
    page.AA, page.Thumb = Dictionary(O=script), pdf.make_indirect(picture(pdf))
    page.ArtBox, page.BoxColorInfo = Array([20, 20, 60, 60]), Dictionary()
    page.Annots = Array([pdf.make_indirect(Dictionary(Subtype=Name.Link, Rect=Array([1, 1, 9, 9]), A=script))])
    pdf.Root.OutputIntents = Array([Dictionary(S=Name.GTS_PDFA1, OutputConditionIdentifier=String("FOGRA27"))] * 2)


def test_what_a_press_has_no_use_for_goes(tmp_path: Path) -> None:
    pdf = poster()
    loaded(pdf)
    found, path = sealed(pdf, tmp_path)
    assert found.earlier_intent == "FOGRA27"
    assert "scripts and attachments" in found.removed
    with pikepdf.open(path) as after:
        assert set(after.Root.keys()) == {"/Type", "/Pages", "/Metadata", "/OutputIntents"}
        assert set(after.pages[0].obj.keys()) == {
            *("/Type", "/Parent", "/MediaBox", "/CropBox", "/BleedBox", "/TrimBox", "/Contents", "/Resources")
        }
        every = b"".join(repr(obj).encode() for obj in after.objects if not isinstance(obj, Stream))
        assert b"JavaScript" not in every
        assert len(after.Root.OutputIntents) == 1
        assert after.pages[0].obj.Contents.read_bytes() == b"0 0 0 1 k 20 20 50 50 re f"


def test_layers_keep_their_state(tmp_path: Path) -> None:
    pdf = poster()
    layers("OFF", off=True)(pdf)
    _, path = sealed(pdf, tmp_path)
    with pikepdf.open(path) as after:
        layer_settings = after.Root.OCProperties
        assert "/Configs" not in layer_settings
        assert "/AS" not in layer_settings.D
        assert str(layer_settings.D.Name)
        assert len(layer_settings.D.OFF) == len(layer_settings.D.Order) == 1


def test_inherited_entries_become_the_pages_own(tmp_path: Path) -> None:
    pdf = poster()
    page, tree = pdf.pages[0].obj, pdf.Root.Pages
    tree.Rotate, tree.Resources, tree.CropBox = 90, Dictionary(), Array([50, 50, 100, 100])
    tree.MediaBox = page.MediaBox
    del page.MediaBox, page.Resources
    _, path = sealed(pdf, tmp_path)
    with pikepdf.open(path) as after:
        assert after.pages[0].obj.Rotate == 90
        assert set(after.Root.Pages.keys()) == {"/Type", "/Kids", "/Count"}
        boxes = read_boxes(after.pages[0])
        assert boxes.crop == boxes.media == Box(0, 0, 318, 418)  # the crop would have cut into the bleed


# ---- boxes, filters, sameness


@pytest.mark.parametrize(
    ("trim", "bleed"),
    [
        ([9, 9, 309, 409], [0, 0, 318, 418]),
        ([9.00004999, 9, 309, 409], [9.00005, 9, 309, 409]),
        ([9.12345678, 9.98765432, 309.00001234, 409.99999], [9.1234567, 9.987654, 309.0000123, 409.9999]),
        ([309, 409, 9, 9], [318, 418, 0, 0]),
        ([9, 9, 309, 409], [20, 20, 200, 200]),
        ([-5, -5, 330, 430], None),
    ],
)
def test_boxes_nest_whatever_was_there(trim: list[float], bleed: list[float] | None, tmp_path: Path) -> None:
    """A checker refuses a bleed 1e-4 pt inside its trim: read back by pikepdf as decimals, compared exactly."""
    pdf = poster()
    pdf.pages[0].obj.TrimBox = Array(trim)
    del pdf.pages[0].obj.BleedBox
    if bleed is not None:
        pdf.pages[0].obj.BleedBox = Array(bleed)
    _, path = sealed(pdf, tmp_path)
    with pikepdf.open(path) as after:
        page = after.pages[0].obj
        every = [[float(side) for side in page[key]] for key in ("/TrimBox", "/BleedBox", "/CropBox", "/MediaBox")]
    for (l0, b0, r0, t0), (l1, b1, r1, t1) in pairwise(every):
        assert l1 <= l0 < r0 <= r1
        assert b1 <= b0 < t0 <= t1


def test_lzw_goes_whatever_it_packs(tmp_path: Path) -> None:
    """An LZW page, a picture packed as LZW of JPEG, and an inline picture. LZW data: the example of 32000-1 7.4.4.2."""
    packed = bytes([0x80, 0x0B, 0x60, 0x50, 0x22, 0x0C, 0x0C, 0x85, 0x01])
    plain = bytes([45, 45, 45, 45, 45, 65, 45, 45, 45, 66])
    pdf = poster()
    twice = picture(pdf, ColorSpace=Name.DeviceGray, Width=5)
    twice.write(packed, filter=Array([Name.LZWDecode, Name.DCTDecode]))
    once = picture(pdf, ColorSpace=Name.DeviceGray, Width=5)
    once.write(packed, filter=Name.LZWDecode)
    inline = b" BI /W 5 /H 2 /CS /G /BPC 8 /F /LZW ID " + packed + b"\nEI "
    xobjects = Dictionary(A=pdf.make_indirect(twice), B=pdf.make_indirect(once))
    pdf.pages[0].obj.Resources.XObject = xobjects
    pdf.pages[0].obj.Contents = pdf.make_stream(b"/A Do /B Do" + inline)
    found, path = sealed(pdf, tmp_path)
    assert not found.obstacles
    with pikepdf.open(path) as after:
        assert b"LZW" not in b"".join(repr(obj).encode() for obj in after.objects)
        drawn = after.pages[0].obj.Resources.XObject
        assert drawn.A.Filter == Name.DCTDecode or list(drawn.A.Filter) == [Name.DCTDecode]
        assert drawn.A.read_raw_bytes() == plain
        assert drawn.B.read_bytes() == plain
        others = [key for key in drawn.keys() if key not in ("/A", "/B")]  # noqa: SIM118
        assert [drawn[key].read_bytes() for key in others] == [plain]


def test_what_only_glyphs_draw_with_stays(tmp_path: Path) -> None:
    """A Type 3 font without resources of its own draws with the page's (ISO 32000-1 9.6.5, table 112)."""
    pdf = poster(b"BT /T 20 Tf (a) Tj ET")
    glyph = pdf.make_stream(b"10 0 d0 q 8 0 0 8 0 0 cm /OnlyHere Do Q")
    font = Dictionary(
        Type=Name.Font,
        Subtype=Name.Type3,
        FontBBox=[0, 0, 10, 10],
        FontMatrix=[0.1, 0, 0, 0.1, 0, 0],
        CharProcs=Dictionary(a=glyph),
        Encoding=Dictionary(Differences=Array([97, Name("/a")])),
        FirstChar=97,
        LastChar=97,
        Widths=[10],
    )
    resources = pdf.pages[0].obj.Resources
    resources.Font = Dictionary(T=pdf.make_indirect(font))
    resources.XObject = Dictionary(OnlyHere=pdf.make_indirect(picture(pdf)))
    found, path = sealed(pdf, tmp_path)
    assert not found.obstacles
    with pikepdf.open(path) as after:
        assert "/OnlyHere" in after.pages[0].obj.Resources.XObject


def test_the_same_job_gives_the_same_bytes(tmp_path: Path) -> None:
    (tmp_path / "one").mkdir()
    (tmp_path / "two").mkdir()
    paths = [sealed(poster(), tmp_path / name)[1] for name in ("one", "two")]
    assert paths[0].read_bytes() == paths[1].read_bytes()


def test_the_artworks_own_facts_are_kept(tmp_path: Path) -> None:
    pdf = poster()
    pdf.docinfo["/Title"], pdf.docinfo["/Author"] = "Own & <title>\x07", "Ana"
    pdf.docinfo["/CreationDate"], pdf.docinfo["/Trapped"] = "D:20250301120000+02'00'", Name("/True")
    _, path = sealed(pdf, tmp_path)
    with pikepdf.open(path) as after:
        assert str(after.docinfo["/Title"]) == "Own & <title>"
        assert str(after.docinfo["/CreationDate"]).startswith("D:20250301120000+02")
        assert after.docinfo["/Trapped"] == Name("/True")
        xmp = after.Root.Metadata.read_bytes().decode()
    assert "Own &amp; &lt;title&gt;" in xmp
    assert "2025-03-01T12:00:00+02:00" in xmp
    assert "<pdf:Trapped>True</pdf:Trapped>" in xmp


@pytest.mark.parametrize("date", ["D:20990101000000Z", "D:00000000", "yesterday", "", "D:20250231", "D:9" * 500])
def test_a_time_that_cannot_be_is_replaced(date: str, tmp_path: Path) -> None:
    pdf = poster()
    pdf.docinfo["/CreationDate"] = date
    _, path = sealed(pdf, tmp_path)
    with pikepdf.open(path) as after:
        assert str(after.docinfo["/CreationDate"]).startswith("D:20261125142257")
