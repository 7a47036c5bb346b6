"""What a page paints, object by object: small drawn pages, and what is told of each."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pages import Page
from pikepdf import Array, Dictionary, Name

from hotfolder.finding import Box
from hotfolder.pdf.looking import inventory_watch
from hotfolder.pdf.looking.inventory import Kind, Painted, take_inventory
from hotfolder.pdf.walk.content import PATH, Scanner


def listed(page: Page, content: str, unit: float = 1.0) -> list[Painted]:
    page.obj.Contents = page.pdf.make_stream(content.encode())
    return take_inventory(page.pdf, 1, unit).objects


def brief(objects: list[Painted]) -> list[tuple[str, tuple[int, ...] | None]]:
    return [
        (each.kind.value, None if each.box is None else tuple(round(side) for side in each.box)) for each in objects
    ]


# content -> kinds and boxes, on a page of 200 × 200
TABLE = {
    "nothing": ("10 10 m 20 20 l n", []),
    "an area and a line": (
        "10 10 20 30 re f 4 w 50 50 m 80 50 l S",
        [("area", (10, 10, 30, 40)), ("line", (48, 48, 82, 52))],
    ),
    "both at once": ("4 w 10 10 20 20 re B", [("area", (10, 10, 30, 30)), ("line", (8, 8, 32, 32))]),
    "turned": (
        "0.7071 0.7071 -0.7071 0.7071 100 100 cm 0 0 10 10 re f",
        [("area", (93, 100, 107, 114))],
    ),
    "marks far apart in one path": (
        "0 w 0 10 m 8 10 l 192 10 m 200 10 l 0 190 m 8 190 l S",
        [("line", (0, 10, 8, 10)), ("line", (192, 10, 200, 10)), ("line", (0, 190, 8, 190))],
    ),
    "neighbours in one path are one thing": (
        "10 10 5 5 re 18 10 5 5 re 26 10 5 5 re f",
        [("area", (10, 10, 31, 15))],
    ),
    "cut by a rectangle, until Q": (
        "q 0 0 50 50 re W n 40 40 20 20 re f 60 60 9 9 re f Q 60 60 9 9 re f",
        [("area", (40, 40, 50, 50)), ("area", None), ("area", (60, 60, 69, 69))],
    ),
    "cut by its own outline": ("10 10 20 20 re W f 0 0 100 100 re f", [("area", (10, 10, 30, 30))] * 2),
    "beyond the paper": ("-50 100 100 10 re f", [("area", (0, 100, 50, 110))]),
    "a form is cut by its box": ("q 1 0 0 1 20 0 cm /Small Do Q", [("area", (20, 0, 40, 20))]),
    "a form twice": (
        "/Small Do 1 0 0 1 50 0 cm /Small Do",
        [("area", (0, 0, 20, 20)), ("area", (50, 0, 70, 20))],
    ),
    "an inline picture": (
        "30 0 0 20 5 5 cm BI /W 1 /H 1 /BPC 8 /CS /G ID a EI",
        [("picture", (5, 5, 35, 25))],
    ),
    "a stencil": ("30 0 0 20 5 5 cm BI /W 1 /H 1 /IM true ID a EI", [("stencil", (5, 5, 35, 25))]),
    "a gradient fills what is left by clipping": (
        "5 5 10 10 re W n /Ramp sh",
        [("gradient", (5, 5, 15, 15))],
    ),
    "a tiling pattern is one area": ("/Pattern cs /Tiles scn 5 5 100 100 re f", [("area", (5, 5, 105, 105))]),
    "what a soft mask draws is no object": ("/Masked gs 5 5 10 10 re f", [("area", (5, 5, 15, 15))]),
    "a layer that is off": (
        "/OC /Off BDC 0 0 9 9 re f /Span << >> BDC 0 0 9 9 re f /Small Do EMC EMC 5 5 10 10 re f",
        [("area", (5, 5, 15, 15))],
    ),
    "a layer that is on": ("/OC /On BDC 5 5 10 10 re f EMC", [("area", (5, 5, 15, 15))]),
    "a form of a layer that is off": ("/Hidden Do", []),
    "a mark that a form leaves open": ("/Open Do 5 5 10 10 re f", [("area", (5, 5, 15, 15))]),
    "letters cut what follows": (
        "BT /F1 20 Tf 7 Tr 50 50 Td (Mm) Tj ET 0 50 200 10 re f",
        [("text", (50, 50, 70, 65)), ("area", (50, 50, 70, 60))],
    ),
}


@pytest.fixture
def page() -> Page:
    return furnished()


def furnished() -> Page:
    page = Page()
    page.form("Small", "0 0 100 100 re f").BBox = Array([0, 0, 20, 20])
    page.put(
        "Shading",
        "Ramp",
        "<< /ShadingType 2 /ColorSpace /DeviceGray /Coords [0 0 9 9] /Function << /FunctionType 2 /Domain [0 1] /N 1 >> >>",
    )
    page.put(
        "Pattern", "Tiles",
        page.stream("0 0 5 5 re f", "/PatternType 1 /PaintType 1 /TilingType 1 /BBox [0 0 9 9] /XStep 9 /YStep 9 /Resources << >>"),
    )  # fmt: skip
    mask = page.stream(
        "0 0 200 200 re f", "/Type /XObject /Subtype /Form /BBox [0 0 200 200] /Group << /S /Transparency >>"
    )
    state = page.put("ExtGState", "Masked", "<< /SMask << /S /Alpha >> >>")
    state.SMask.G = page.pdf.make_indirect(mask)
    off, on = (page.pdf.make_indirect(Dictionary(Type=Name.OCG, Name=title)) for title in ("no", "yes"))
    page.obj.Resources.Properties = Dictionary(Off=off, On=on)
    page.pdf.Root.OCProperties = Dictionary(OCGs=Array([off, on]), D=Dictionary(OFF=Array([off])))
    hidden = page.form("Hidden", "0 0 9 9 re f")
    hidden.OC = off
    page.form("Open", "/OC /Off BDC")
    return page


@pytest.mark.parametrize("case", TABLE)
def test_what_is_painted_where(page: Page, case: str) -> None:
    content, wanted = TABLE[case]
    assert brief(listed(page, content)) == wanted


# text state and matrices -> size of the letters on paper
SIZES = {
    "BT /F1 10 Tf (A) Tj ET": 10,
    "BT /F1 10 Tf 2 0 0 2 0 0 Tm (A) Tj ET": 20,
    "3 0 0 3 0 0 cm BT /F1 10 Tf (A) Tj ET": 30,
    "BT /F1 10 Tf 50 Tz (A) Tj ET": 5,
    "1 0 0 .5 0 0 cm BT /F1 -10 Tf (A) Tj ET": 5,
}


@pytest.mark.parametrize("content", SIZES)
def test_the_size_of_letters(page: Page, content: str) -> None:
    (text,) = listed(page, content, unit=2)
    assert (text.kind, text.size, text.words) == (Kind.TEXT, pytest.approx(2 * SIZES[content]), "A")


def test_text_that_is_not_seen(page: Page) -> None:
    page.put("ExtGState", "Clear", "<< /ca 0 >>")
    texts = listed(page, "BT /F1 9 Tf 9 9 Td (a) Tj (  ) Tj 3 Tr (b) Tj 0 Tr /Clear gs (c) Tj 900 0 Td (d) Tj ET")
    assert [(each.words, each.seen) for each in texts] == [
        ("a", True), ("  ", False), ("b", False), ("c", False), ("d", False),
    ]  # fmt: skip


def test_colour_overprint_and_what_groups_around_add(page: Page) -> None:
    page.form("Group", "/On gs 1 0 0 0 k 0 0 9 9 re f", "/Group << /S /Transparency >>")
    page.put("ExtGState", "Half", "<< /ca .5 /BM /Multiply >>")
    page.put("ExtGState", "On", "<< /op true /OPM 1 /ca .5 >>")
    (area,) = listed(page, "/Half gs /Group Do")
    assert area.colour is not None
    assert (area.colour.space.kind, area.colour.values) == ("DeviceCMYK", (1, 0, 0, 0))
    assert (area.overprint, area.mode, area.alpha, area.blend, area.masked) == (True, 1, 0.25, "Multiply", False)


def test_annotations_that_print_in_the_state_they_have(page: Page) -> None:
    on, off = (page.stream("0 0 9 9 re f", "/Subtype /Form /BBox [0 0 9 9]") for _ in range(2))
    look = Dictionary(Yes=page.pdf.make_indirect(on), No=page.pdf.make_indirect(off))
    stamp = Dictionary(Subtype=Name.Stamp, F=4, Rect=Array([50, 50, 68, 68]), AS=Name.Yes, AP=Dictionary(N=look))
    page.obj.Annots = Array([stamp, Dictionary(Subtype=Name.Stamp, F=2, Rect=Array([0, 0, 9, 9]), AP=Dictionary(N=on))])
    assert brief(listed(page, "")) == [("area", (50, 50, 68, 68))]


def test_more_objects_than_are_kept_are_counted(page: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    """A form counts as one then: forms in forms multiply."""
    monkeypatch.setattr(inventory_watch, "MOST_OBJECTS", 10)
    page.obj.Contents = page.pdf.make_stream(b"0 0 9 9 re f " * 25 + b"/Small Do")
    found = take_inventory(page.pdf, 1)
    assert (len(found.objects), found.left_out) == (10, 16)


# letters -> how far their box reaches above and below a line at 100, in parts of the size (72 % capitals, 52 % small ones)
REACHES = {
    "HAND": (-0.02, 0.74),
    "sea": (-0.02, 0.54),
    "gypsy": (-0.24, 0.54),
    "bold": (-0.02, 0.7776),
    "\xc9t\xe9": (-0.02, 0.98),  # accents
    "x, y": (-0.24, 0.54),
}


@pytest.mark.parametrize("words", REACHES)
def test_letters_reach_as_far_as_their_kind_does(page: Page, words: str) -> None:
    written = words.encode("cp1252").hex()
    (text,) = listed(page, f"BT /F1 100 Tf 10 100 Td <{written}> Tj ET")
    assert text.whole.bottom == pytest.approx(100 + 100 * REACHES[words][0])
    assert text.whole.top == pytest.approx(100 + 100 * REACHES[words][1])


def test_blanks_around_a_text_are_no_part_of_it(page: Page) -> None:
    plain, padded = listed(page, "BT /F1 10 Tf 15 50 Td (ab) Tj -10 0 Td [(  a) 0 (b  )] TJ ET")
    assert padded.whole == pytest.approx(plain.whole)


@pytest.mark.parametrize("width", [-1e8, 1e8, 7e6])
def test_absurd_widths_make_no_absurd_boxes(page: Page, width: float) -> None:
    page.put(
        "Font",
        "Odd",
        f"<< /Type /Font /Subtype /TrueType /BaseFont /Odd /FirstChar 65 /Widths [{width:.0f}] "
        "/FontDescriptor << /CapHeight 9000000 /XHeight -3 /Descent -99999 >> >>",
    )
    (text,) = listed(page, "BT /Odd 10 Tf 100 100 Td (A) Tj ET")
    assert text.whole.width <= 50
    assert text.whole.height <= 12


def test_letters_that_are_drawings(page: Page) -> None:
    glyph = page.stream("500 0 0 0 500 700 d1 0 0 500 700 re f")
    font = page.put("Font", "Drawn", "<< /Type /Font /Subtype /Type3 /FontBBox [0 -200 500 800] /FontMatrix [.001 0 0 .001 0 0] "
        "/FirstChar 65 /LastChar 65 /Widths [500] /Encoding << /Differences [65 /box] >> >>")  # fmt: skip
    font.CharProcs = Dictionary(box=page.pdf.make_indirect(glyph))
    (text,) = listed(page, "BT /Drawn 20 Tf 10 50 Td (AA) Tj ET")
    assert (text.kind, text.in_glyph) == (Kind.TEXT, True)
    assert text.whole == pytest.approx((10, 46, 30, 66))


def test_wide_moves_inside_of_a_text(page: Page) -> None:
    """A move as wide as a space cuts words; one of several sizes leads to another piece."""
    texts = listed(page, "BT /F1 10 Tf 10 50 Td [-500 (Fri) -300 (9) 40 (pm) -5000 (Hall)] TJ (!) Tj ET")
    assert [(each.words, round(each.whole.left)) for each in texts] == [("Fri 9pm", 15), ("Hall", 98), ("!", 118)]


def test_letters_one_below_the_other(page: Page) -> None:
    page.put(
        "Font",
        "Down",
        "<< /Type /Font /Subtype /Type0 /BaseFont /Down /Encoding /Identity-V "
        "/DescendantFonts [<< /Type /Font /Subtype /CIDFontType0 /BaseFont /Down >>] >>",
    )
    first, second = listed(page, "BT /Down 20 Tf 100 150 Td <000100020003> Tj <0001> Tj ET")
    assert first.whole == pytest.approx((90, 90, 110, 150))
    assert second.whole == pytest.approx((90, 70, 110, 90))


# membership of two layers, one of them off -> whether what belongs to it prints (ISO 32000-1 8.11.2.2)
MEMBERSHIPS = [
    ({"OCGs": "on"}, True),
    ({"OCGs": ["off", "on"]}, True),
    ({"OCGs": ["off", "on"], "P": "/AllOn"}, False),
    ({"OCGs": ["off", "on"], "P": "/AnyOff"}, True),
    ({"OCGs": ["off", "on"], "P": "/AllOff"}, False),
    ({"OCGs": ["off"]}, False),
    ({"OCGs": []}, True),
    ({"OCGs": ["on"], "VE": ["/Not", "on"]}, False),
    ({"VE": ["/And", "on", ["/Not", "off"]]}, True),
    ({"VE": ["/Or", "off", ["/And", "off", "on"]]}, False),
    ({"VE": []}, True),
]


@pytest.mark.parametrize(("entries", "prints"), MEMBERSHIPS, ids=str)
def test_memberships_of_layers(page: Page, entries: dict[str, object], prints: bool) -> None:
    layers = page.obj.Resources.Properties
    known = {"on": layers.On, "off": layers.Off}

    def made(item: object) -> object:
        if isinstance(item, list):
            return Array([made(part) for part in item])
        return known[str(item)] if item in known else Name(str(item))

    member = Dictionary(Type=Name.OCMD, **{key: made(item) for key, item in entries.items()})
    layers.Member = page.pdf.make_indirect(member)
    assert bool(listed(page, "/OC /Member BDC 5 5 10 10 re f EMC")) is prints


_WORDS = st.sampled_from(
    [
        "q",
        "Q",
        "cm",
        "re",
        "m",
        "l",
        "c",
        "h",
        "f",
        "S",
        "B",
        "n",
        "W",
        "W*",
        "w",
        "BT",
        "ET",
        "Tf",
        "Td",
        "TD",
        "Tm",
        "T*",
        "TL",
        "Tc",
        "Tw",
        "Ts",
        "Tz",
        "Tr",
        "Tj",
        "TJ",
        "'",
        '"',
        "Do",
        "gs",
        "g",
        "k",
        "scn",
        "cs",
        "sh",
        "BDC",
        "BMC",
        "EMC",
        "/F1",
        "/Small",
        "/Open",
        "/Masked",
        "/Tiles",
        "/Ramp",
        "/OC",
        "/Off",
        "/Pattern",
        "(ab)",
        "[(a)-3000(b)]",
        "<61>",
        "0",
        "1",
        "-1",
        "7",
        "-20",
        "150",
        ".01",
        "1000000",
        "3",
    ]
)


@settings(max_examples=150, derandomize=True, deadline=None)
@given(st.lists(_WORDS, max_size=60))
def test_any_drawing_is_listed_within_the_paper(words: list[str]) -> None:
    """Whatever the instructions: nothing is raised, and what is left of each object lies on the paper, in order."""
    for each in listed(furnished(), " ".join(words)):
        assert each.box is None or each.box.within(Box(0, 0, 200, 200), 1e-6)
        assert each.whole.left <= each.whole.right
        assert each.whole.bottom <= each.whole.top
        assert each.seen <= (each.box is not None)


PATHS = (
    "10 10 m 60 10 l 60 60 l h S",
    "10 10 m 60 10 70 80 5 90 c 1 2 3 4 v 5 6 7 8 y h f",
    "10 10 m 20 20 m 30 30 l 120 120 m 150 10 l 3 4 l S",
    "5 5 20 20 re 60 10 m 80 30 l 90 100 90 110 100 120 c B",
    "10 10 m 20 20 l 30 30 m S",
    "10 10 m 20 20 l 7 l 40 40 l 1 2 3 c 90 90 l S",
    "10 10 m +20. -.5 l .5 5. l 1e5 3 l 4-5 6 l 60 60 l S",
    "10 10 m 99999999999 20 l 30 90 l S",
    "10 10 m\r\n\t20\n20\fl 30 30 l10 5 l 1 1 lm 9 9 l S",
    "20 20 l 30 30 l 10 10 m 20 20 l S 40 40 l S",
    " ".join(["10 10 m", *(f"{at % 190} {at % 170} l" for at in range(9000)), "0 0 m 5 5 l h S"]),
    " ".join(f"{at % 190} {at % 170} m 1 1 l h" for at in range(3000)) + " f",
)


@pytest.mark.parametrize("path", PATHS)
def test_a_path_read_at_once_is_the_one_read_piece_by_piece(path: str, page: Page) -> None:
    piecewise = (
        path.replace(" l ", " l %\n ").replace(" c ", " c %\n ").replace(" m ", " m %\n ").replace("h ", "h %\n ")
    )
    assert listed(page, path) == listed(page, piecewise)


def test_a_long_path_is_followed_as_few_operations() -> None:
    scanner = Scanner((*b"m l c v y S".split(), PATH))
    path = b" ".join(b"%d 5 l" % at for at in range(1500))
    assert [found.operator for found in scanner.scan(b"1 1 m " + path + b" h S")] == [PATH, b"S"]
    assert [found.operator for found in scanner.scan(b"1 1 m (text) Tj 2 2 l S")] == [b"m", b"l", b"S"]
