"""Page boxes: every rule of ISO 32000-1 14.11.2, Table 30 and 7.9.5 that decides where a page is cut."""

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Object

from hotfolder.finding import Box
from hotfolder.pdf.boxes import infer_trim, read_boxes, set_box, size_matches
from hotfolder.units import INCH, MM, Size, parse_size

A3 = "[0 0 841.89 1190.55]"


def page(entries: str, parent: str = "") -> Dictionary:
    """A page from its entries as they stand in a file, below a node of the page tree with its own."""
    node = Object.parse(f"<< /Type /Page {entries} >>".encode())
    assert isinstance(node, Dictionary)
    if parent:
        node.Parent = Object.parse(f"<< /Type /Pages {parent} >>".encode())
    return node


# what the page says, what the node above it says -> media, crop, bleed, trim, art
IN_FORCE = {
    "crop is media, the rest is crop": (
        "/MediaBox [0 0 100 200] /CropBox [10 10 90 190]",
        "",
        ((0, 0, 100, 200), (10, 10, 90, 190), (10, 10, 90, 190), (10, 10, 90, 190), (10, 10, 90, 190)),
    ),
    "any two opposite corners in any order (7.9.5)": (
        "/MediaBox [100 200 0 0] /TrimBox [90 10 10 190]",
        "",
        ((0, 0, 100, 200), (0, 0, 100, 200), (0, 0, 100, 200), (10, 10, 90, 190), (0, 0, 100, 200)),
    ),
    "media and crop are inherited (Table 30)": (
        "",
        "/MediaBox [0 0 100 200] /CropBox [10 0 100 200]",
        ((0, 0, 100, 200), *[(10, 0, 100, 200)] * 4),
    ),
    "trim, bleed and art are not inherited (Table 30)": (
        "/MediaBox [0 0 100 200]",
        "/TrimBox [10 10 90 190] /BleedBox [5 5 95 195] /ArtBox [20 20 30 30]",
        ((0, 0, 100, 200),) * 5,
    ),
    "what reaches beyond the media box is cut off (14.11.2.1)": (
        "/MediaBox [0 0 100 200] /BleedBox [-9 -9 109 209] /TrimBox [50 -50 150 250]",
        "",
        ((0, 0, 100, 200), (0, 0, 100, 200), (0, 0, 100, 200), (50, 0, 100, 200), (0, 0, 100, 200)),
    ),
    "a media box that does not begin at zero": (
        "/MediaBox [-50.5 -20 49.5 180] /ArtBox [-10 -10 10 10]",
        "",
        (*[(-50.5, -20, 49.5, 180)] * 4, (-10, -10, 10, 10)),
    ),
}


@pytest.mark.parametrize(("own", "above", "expected"), IN_FORCE.values(), ids=IN_FORCE.keys())
def test_boxes_in_force(own, above, expected):
    boxes = read_boxes(page(own, above))
    assert (boxes.media, boxes.crop, boxes.bleed, boxes.trim, boxes.art) == expected


def test_boxes_that_reach_beyond_the_page_are_named():
    boxes = read_boxes(page("/MediaBox [0 0 100 200] /CropBox [0 0 100.0001 200] /BleedBox [-1 0 100 200]"))
    assert boxes.reduced == {"BleedBox"}


NONSENSE = {
    "no media box": ("", "has no MediaBox"),
    "three numbers": ("/MediaBox [0 0 100]", "MediaBox is damaged"),
    "five numbers": ("/MediaBox [0 0 100 100 100]", "MediaBox is damaged"),
    "a name for a number": ("/MediaBox [0 0 100 /nan]", "isn't a usable number"),
    "a text for a number": ("/MediaBox [0 0 100 (200)]", "isn't a usable number"),
    "true for a number": ("/MediaBox [0 0 100 true]", "isn't a usable number"),
    "null for a number": ("/MediaBox [0 0 100 null]", "isn't a usable number"),
    "a number for a list": ("/MediaBox 7", "MediaBox is damaged"),
    "a huge number": (f"/MediaBox [0 0 100 {'9' * 400}.0]", "isn't a usable number"),
    "an absurd corner": ("/MediaBox [9000000 0 9000100 100]", "reaches to 9e+06 points"),
    "no width": ("/MediaBox [50 0 50 100]", "has no area"),
    "no height": ("/MediaBox [0 7 50 7]", "has no area"),
    "longer than 14400 units": ("/MediaBox [0 0 14401 100]", "14400 at most"),
    "smaller than 3 units": ("/MediaBox [0 0 2 100]", "only 2 × 100 units"),
    "trim outside of the page": ("/MediaBox [0 0 100 100] /TrimBox [200 200 300 300]", "TrimBox lies outside"),
    "trim without area": ("/MediaBox [0 0 100 100] /TrimBox [0 0 0 0]", "TrimBox has no area"),
    "a dictionary for a box": ("/MediaBox [0 0 100 100] /BleedBox << >>", "BleedBox is damaged"),
    "turned by 45 degrees": ("/MediaBox [0 0 100 100] /Rotate 45", "multiple of 90"),
    "turned by a name": ("/MediaBox [0 0 100 100] /Rotate /left", "multiple of 90"),
    "unit zero": ("/MediaBox [0 0 100 100] /UserUnit 0", "UserUnit"),
    "unit below zero": ("/MediaBox [0 0 100 100] /UserUnit -1", "UserUnit"),
    "unit far too large": ("/MediaBox [0 0 100 100] /UserUnit 1000000", "UserUnit"),
    "unit no number": ("/MediaBox [0 0 100 100] /UserUnit (2)", "UserUnit"),
}


@pytest.mark.parametrize(("entries", "words"), NONSENSE.values(), ids=NONSENSE.keys())
def test_nonsense_is_refused_with_one_sentence(entries, words):
    with pytest.raises(ValueError) as refused:  # noqa: PT011 -- the words are compared below
        read_boxes(page(entries))
    sentence = str(refused.value)
    assert words in sentence
    assert sentence.startswith("The page")
    assert sentence.endswith(".")


@pytest.mark.parametrize(
    ("own", "above", "expected"),
    [
        ("", "/Rotate 90", 90),
        ("/Rotate -90", "", 270),
        ("/Rotate 450", "/Rotate 180", 90),
        ("/Rotate 90.0", "", 90),
        ("", "", 0),
    ],
)
def test_rotation_is_inherited_and_brought_into_one_turn(own, above, expected):
    boxes = read_boxes(page(f"/MediaBox [0 0 100 200] {own}", above or "/Count 1"))
    assert boxes.rotate == expected
    assert boxes.seen_size(boxes.trim) == ((200, 100) if expected % 180 else (100, 200))


def test_user_unit_multiplies_and_is_not_inherited():
    boxes = read_boxes(page("/MediaBox [0 0 100 200] /UserUnit 10", "/UserUnit 5"))
    assert boxes.size(boxes.trim) == (1000, 2000)
    assert read_boxes(page("/MediaBox [0 0 100 200]", "/UserUnit 5")).user_unit == 1


def test_indirect_numbers_and_boxes():
    pdf = pikepdf.new()
    node = Dictionary(Type=Name.Page)
    node.MediaBox = pdf.make_indirect(Array([0, 0, pdf.make_indirect(300), 400]))
    assert read_boxes(node).media == (0, 0, 300, 400)


def test_a_page_tree_that_bites_its_tail_ends():
    pdf = pikepdf.new()
    first = pdf.make_indirect(Dictionary(Type=Name.Pages))
    second = pdf.make_indirect(Dictionary(Type=Name.Pages, Parent=first))
    first.Parent = second
    with pytest.raises(ValueError, match="no MediaBox"):
        read_boxes(Dictionary(Type=Name.Page, Parent=first))


def test_boxes_written_are_boxes_read():
    node = page("/MediaBox [0 0 1000 1000]")
    trim = Box(3 * MM, 3 * MM, 200 * MM, 300 * MM)
    set_box(node, "TrimBox", trim)
    set_box(node, "BleedBox", trim.grown(3 * MM))
    boxes = read_boxes(node)
    assert boxes.trim == pytest.approx(trim, abs=5.1e-5)
    assert boxes.trim.within(boxes.bleed)
    assert boxes.declared == {"MediaBox", "TrimBox", "BleedBox"}


# page's entries, ordered size, ordered bleed -> trim and bleed in millimetres of paper, or None
A3_AND_3 = f"/MediaBox [0 0 {303 * MM:.4f} {426 * MM:.4f}]"
INFERRED = {
    "no order: the page": (f"/MediaBox {A3}", None, 3 * MM, (0, 0, 297, 420), (0, 0, 297, 420)),
    "no order, a bleed box: the bleed box": (
        f"/MediaBox {A3} /BleedBox [72 72 720 720]",
        None,
        0,
        (25.4, 25.4, 254, 254),
        (25.4, 25.4, 254, 254),
    ),
    "page is the order": (f"/MediaBox {A3}", "A3", 3 * MM, (0, 0, 297, 420), (0, 0, 297, 420)),
    "page is the order, lying": ("/MediaBox [0 0 1190.55 841.89]", "A3", 3 * MM, (0, 0, 420, 297), (0, 0, 420, 297)),
    "page is order and ordered bleed": (A3_AND_3, "A3", 3 * MM, (3, 3, 300, 423), (0, 0, 303, 426)),
    "page is order and a usual bleed": (A3_AND_3, "A3", INCH / 8, (3, 3, 300, 423), (0, 0, 303, 426)),
    "the crop box is the page": (
        f"/MediaBox [-99 -99 2000 2000] /CropBox {A3}",
        "A3",
        3 * MM,
        (0, 0, 297, 420),
        (0, 0, 297, 420),
    ),
    "a bleed box of order and bleed": (
        f"/MediaBox [-99 -99 2000 2000] /BleedBox [0 0 {303 * MM:.4f} {426 * MM:.4f}]",
        "A3",
        3 * MM,
        (3, 3, 300, 423),
        (0, 0, 303, 426),
    ),
    "an art box of the ordered size": (
        f"/MediaBox [-50 -50 900 1250] /ArtBox {A3}",
        "A3",
        3 * MM,
        (0, 0, 297, 420),
        tuple(v / MM for v in (-50, -50, 900, 1250)),
    ),
    "user units count": (
        f"/MediaBox [0 0 {303 * MM / 10:.5f} {426 * MM / 10:.5f}] /UserUnit 10",
        "A3",
        3 * MM,
        (3, 3, 300, 423),
        (0, 0, 303, 426),
    ),
    "page is order and the bleed of a banner": (
        "/MediaBox [0 0 2040 1040]",
        "2000x1000pt",
        20,
        tuple(v / MM for v in (20, 20, 2020, 1020)),
        tuple(v / MM for v in (0, 0, 2040, 1040)),
    ),
    "another size": ("/MediaBox [0 0 595.276 841.89]", "A3", 3 * MM, None, None),
    "7.5 mm around: nobody's bleed": (f"/MediaBox [0 0 {312 * MM} {435 * MM}]", "A3", 3 * MM, None, None),
}


@pytest.mark.parametrize(("entries", "order", "bleed", "trim", "bleed_box"), INFERRED.values(), ids=INFERRED.keys())
def test_where_a_page_without_trim_box_is_cut(entries, order, bleed, trim, bleed_box):
    boxes = read_boxes(page(entries))
    found = infer_trim(boxes, parse_size(order) if order else None, bleed)
    if trim is None:
        assert found is None
        return
    scale = boxes.user_unit / MM
    assert [side * scale for side in found.trim] == pytest.approx(trim, abs=0.01)
    assert [side * scale for side in found.bleed] == pytest.approx(bleed_box, abs=0.01)
    assert found.sentence.endswith(".")


@pytest.mark.parametrize(
    ("found_mm", "ordered", "same"),
    [
        ((839.6, 1188.2), "A0", True),  # A0 as typesetting programs round it: 0.3 % of 841 is 2.5 mm
        ((1188.2, 839.6), "A0", True),
        ((837, 1189), "A0", False),
        ((98.9, 150), "100x150mm", False),
        ((99.1, 150.9), "100x150mm", True),
        ((150, 100), "100x150mm", True),
    ],
)
def test_one_millimetre_or_three_thousandths(found_mm, ordered, same):
    size: Size = parse_size(ordered)
    assert size_matches((found_mm[0] * MM, found_mm[1] * MM), (size.width, size.height)) is same
