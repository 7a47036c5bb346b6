"""Pairs of what is wrong with the page as a whole: its size, number, boxes, how it lies, and marks of its own."""

from __future__ import annotations

from pikepdf import Array
from poster import Pair, harbour, moved, title, words
from sheet import Sheet

INCH = 25.4
MIRROR, UPWARDS = (-1, 0, 0, 1), (0, 1, -1, 0)


def scaled(by: float):
    """The whole poster at another scale, as an export at the wrong one has it."""

    def draw(paper):
        paper.ground((0.5, 0.15, 0.05, 0))
        paper.words("HARBOUR LIGHTS", 22 * by, 210 * by, 40 * by)
        paper.words("Saturday 8 pm, Old Slipway", 22 * by, 30 * by, 20 * by)

    return draw


def marks(wide: float, high: float, gap: float = 4, length: float = 5):
    """Cut marks at the corners of a sheet of this size, in the middle of the paper."""

    def draw(paper):
        left, bottom = (paper.wide - wide) / 2, (paper.high - high) / 2
        for x, out in ((left, -1), (left + wide, 1)):
            for y, up in ((bottom, -1), (bottom + high, 1)):
                paper.line(x + out * gap, y, x + out * (gap + length), y, 0.5)
                paper.line(x, y + up * gap, x, y + up * (gap + length), 0.5)

    return draw


def trim_beyond_the_page(pdf):
    pdf.pages[0].obj.TrimBox = Array([-31, 9, 545, 729])


def crop_inside_the_trim(pdf):
    pdf.pages[0].obj.CropBox = Array([60, 60, 500, 700])


def turn_second(pdf):
    pdf.pages[1].obj.Rotate = 90


SIZE = (
    Pair(
        "half size",
        "The order says 8 x 10 in; the file has 4 x 5 in, the same shape at half the scale.",
        Sheet(scaled(0.5), size=(4 * INCH, 5 * INCH)),
        Sheet(scaled(1)),
        "check_geometry: hold wrong_size",
        "half size (1:2)",
        ticket={"safe_margin": "0.25in"},
    ),
    Pair(
        "another size of the same shape",
        "A4 is ordered, A5 comes.",
        Sheet(scaled(0.7), "fpdf2", size=(148, 210)),
        Sheet(scaled(1), "fpdf2", size=(210, 297)),
        "check_geometry: hold wrong_size",
        "A5",
        ticket={"trim": "A4", "safe_margin": "8mm"},
    ),
    Pair(
        "18 x 24 in for 24 x 36 in",
        "Another size of another shape: scaling alone can't mend it.",
        Sheet(scaled(2), size=(18 * INCH, 24 * INCH)),
        Sheet(scaled(2), size=(24 * INCH, 36 * INCH)),
        "check_geometry: hold wrong_size",
        "shape",
        ticket={"trim": "24x36in"},
    ),
    Pair(
        "wrong size",
        "8.5 x 11 in comes for 8 x 10 in.",
        Sheet(harbour, "fpdf2", size=(8.5 * INCH, 11 * INCH)),
        Sheet(harbour, "fpdf2"),
        "check_geometry: hold wrong_size",
        "8.5",
    ),
    Pair(
        "bleed counted into the size",
        "The trim box is as large as trim and bleed together.",
        Sheet(harbour, size=(8.25 * INCH, 10.25 * INCH)),
        Sheet(harbour),
        "check_geometry: hold wrong_size",
        "bleed",
    ),
    Pair(
        "too many pages",
        "Two pages come where one is ordered.",
        Sheet(harbour, pages=2),
        Sheet(harbour),
        "check_geometry: hold wrong_page_count",
        "2",
    ),
    Pair(
        "one page lies, one stands",
        "Of two pages the second is turned by a quarter.",
        Sheet(harbour, "fpdf2", pages=2, touch=turn_second),
        Sheet(harbour, "fpdf2", pages=2),
        "check_geometry: note pages_turned",
        "upright",
        ticket={"pages": 2},
    ),
    Pair(
        "text runs upwards",
        "The art of an upright poster was laid on its side.",
        moved(UPWARDS, 101.6, 127, words("HARBOUR LIGHTS", 50, 120, 40)),
        words("HARBOUR LIGHTS", 50, 120, 40),
        "check_geometry: note text_turned",
        "upwards",
        on=lambda paper: paper.ground((0.5, 0.15, 0.05, 0)),
    ),
    Pair(
        "mirrored",
        "The whole poster is mirrored.",
        moved(MIRROR, 101.6, 127, title),
        title,
        "check_geometry: hold mirrored",
        "backwards",
        on=lambda paper: paper.ground((0.5, 0.15, 0.05, 0)),
        by="fpdf2",
    ),
    Pair(
        "nothing says where to cut",
        "Text on white paper, on a page 18 mm larger than ordered on each side, without a trim box.",
        Sheet(title, boxes=False, room=15),
        Sheet(title, room=15),
        "check_geometry: hold no_trim_box",
        "where it is cut",
    ),
    Pair(
        "art of the right size on a larger page",
        "A poster with bleed in the middle of a page that is larger by 15 mm on each side, without a trim box.",
        Sheet(harbour, "fpdf2", boxes=False, room=15),
        Sheet(harbour, "fpdf2", room=15),
        "check_geometry: hold larger_page",
        "lies in the middle",
    ),
    Pair(
        "a trim box beyond the page",
        "The trim box has the ordered size, but stands 14 mm too far to the left, beyond the page.",
        Sheet(harbour, "fpdf2", touch=trim_beyond_the_page),
        Sheet(harbour, "fpdf2"),
        "check_geometry: hold trim_outside",
        "beyond the page",
        also=("wrong_size", "bleed_missing"),  # what is left of the trim on the page is smaller, and has no bleed there
    ),
    Pair(
        "a crop box that hides art",
        "Screens show less than will be printed: the crop box lies inside the trim.",
        Sheet(harbour, touch=crop_inside_the_trim),
        Sheet(harbour),
        "check_geometry: hold hidden_art",
        "screen",
    ),
    Pair(
        "text off the sheet",
        "A line of text was left on the pasteboard, outside of the page.",
        words("Draft of 3 May", 240, 120, 16),
        words("Draft of 3 May", 120, 120, 16),
        "check_geometry: note off_the_sheet",
        "Draft of 3 May",
        by="fpdf2",
    ),
)

MARKS = (
    Pair(
        "marks that cut another sheet",
        "The file's own cut marks stand for 190 x 240 mm; its trim box says 8 x 10 in.",
        marks(190, 240, gap=11),
        marks(203.2, 254),
        "check_construction: hold marks_elsewhere",
        "190",
        sheet={"room": 10},
    ),
    Pair(
        "marks of its own",
        "The file brings its own cut marks.",
        marks(203.2, 254),
        lambda paper: None,
        "check_construction: note own_marks",
        "cut marks",
        sheet={"room": 10},
        by="fpdf2",
    ),
    Pair(
        "marks that reach into the bleed",
        "The file's own cut marks begin 1 mm outside the cut.",
        marks(203.2, 254, gap=1),
        marks(203.2, 254, gap=4),
        "check_construction: note marks_in_bleed",
        "bleed",
        sheet={"room": 10},
    ),
)
