"""Pairs of what is wrong with lines and type: too thin, too small, fonts that are missing or may not travel."""

from __future__ import annotations

import functools
import tempfile
from pathlib import Path

from fontTools.ttLib import TTFont
from papers import REGULAR, WHITE
from poster import BLACK, Pair, both, fill, ground, line, moved, words

DARK = (0.9, 0.7, 0.2, 0.3)
FULL = (0.7, 0.6, 0.6, 0)


@functools.cache
def font(rights: int) -> Path:
    """The shipped font under another name, which says of itself what may be done with it (fsType, OpenType OS/2)."""
    path = Path(tempfile.mkdtemp()) / f"Lantern{rights}.ttf"
    with TTFont(REGULAR) as shipped:
        shipped["OS/2"].fsType = rights
        shipped.save(path)
    return path


def own_font(rights: int):
    return lambda paper: paper.words("Lanterns on the water", 30, 120, 24, font=font(rights))


def invisible(paper):
    with paper.own.local_context(text_mode="INVISIBLE"):
        paper.words("This line was read by a scanner", 30, 120, 14)


def overprinting(size: float, knocks_out: bool):
    def draw(paper):
        paper.own.saveState()
        paper.own.setFillOverprint(not knocks_out)
        paper.words("In case of rain in the hall", 30, 120, size)
        paper.own.restoreState()

    return draw


def small_print(points: float):
    return both(*(words("Please leave bicycles at the gate", 30, 140 - points * row, points) for row in range(3)))


LINES = (
    Pair(
        "a line of no width",
        "A line has the width 0: as thin as the machine can.",
        line(30, 120, 170, 120, 0),
        line(30, 120, 170, 120, 0.5),
        "check_lines: note thin_line",
        "no width",
    ),
    Pair(
        "a hairline",
        "A line of 0.1 pt.",
        line(30, 120, 170, 120, 0.1),
        line(30, 120, 170, 120, 0.5),
        "check_lines: note thin_line",
        "0.1 pt",
        by="fpdf2",
    ),
    Pair(
        "a line thinned by scaling",
        "A line of 1 pt in a drawing that is placed at a tenth of its size.",
        moved((0.1, 0, 0, 0.1), 100, 120, line(-500, 120, 600, 120, 1)),
        moved((1, 0, 0, 1), 100, 120, line(40, 120, 150, 120, 1)),
        "check_lines: note thin_line",
        "0.1 pt",
        by="fpdf2",
    ),
    Pair(
        "a rectangle as a line",
        "A rectangle of 0.03 mm by 120 mm.",
        fill(40, 120, 160, 120.03, BLACK),
        fill(40, 120, 160, 120.5, BLACK),
        "check_lines: note thin_area",
        "0.08",
    ),
    Pair(
        "a white line on a dark ground",
        "A white line of 0.3 pt on dark blue, which ink fills in.",
        both(fill(30, 100, 170, 150, DARK), line(40, 120, 160, 120, 0.3, WHITE)),
        both(fill(30, 100, 170, 150, DARK), line(40, 120, 160, 120, 1, WHITE)),
        "check_lines: note reversed_line",
        "0.3 pt",
    ),
    Pair(
        "a thin line in a light tint",
        "A line of 0.3 pt in black of 25 %, which falls apart into dots.",
        line(30, 120, 170, 120, 0.3, (0, 0, 0, 0.25)),
        line(30, 120, 170, 120, 0.3, BLACK),
        "check_lines: note light_line",
        "0.3 pt",
        by="fpdf2",
    ),
    Pair(
        "a fine line of several inks",
        "A line of 0.6 pt is built from cyan, magenta and yellow.",
        line(30, 120, 170, 120, 0.6, FULL),
        line(30, 120, 170, 120, 0.6, BLACK),
        "check_ink: note built_line",
        "0.60 pt",
    ),
)

TYPE = (
    Pair(
        "type too small",
        "A line of text is set in 4 pt.",
        words("Printed on paper from the mill nearby", 30, 120, 4),
        words("Printed on paper from the mill nearby", 30, 120, 9),
        "check_fonts: note small_text",
        "4.0 pt",
    ),
    Pair(
        "type too small by scaling",
        "A line of 16 pt in a drawing that is placed at a quarter of its size.",
        moved((0.25, 0, 0, 0.25), 100, 120, words("Music by the tide", 20, 120, 16)),
        words("Music by the tide", 80, 120, 16),
        "check_fonts: note small_text",
        "4.0 pt",
        by="fpdf2",
    ),
    Pair(
        "not even the title can be read from there",
        "The largest text has 14 pt, and the poster is looked at from 5 m.",
        words("LIGHTS", 40, 120, 14),
        words("LIGHTS", 40, 120, 60),
        "check_fonts: note type_too_small",
        "5",
        ticket={"viewing_distance": "5000mm"},
        on=ground(),
    ),
    Pair(
        "most of the type is for readers nearby",
        "Three lines in 7 pt below a title of 40 pt, and the poster is looked at from 3 m.",
        small_print(7),
        small_print(26),
        "check_fonts: note type_for_near",
        "3",
        ticket={"viewing_distance": "3000mm"},
        by="fpdf2",
    ),
    Pair(
        "small type of several inks",
        "Text of 6 pt is built from cyan, magenta and yellow.",
        words("Rowing boats for hire", 30, 120, 6, FULL),
        words("Rowing boats for hire", 30, 120, 6, (0.9, 0, 0, 0)),
        "check_ink: note built_text",
        "6.0 pt",
        by="fpdf2",
        on=ground(WHITE),
    ),
    Pair(
        "small white type on several inks",
        "White text of 6 pt on a ground of three inks.",
        both(fill(30, 100, 170, 150, DARK), words("Rowing boats for hire", 40, 120, 6, WHITE)),
        both(fill(30, 100, 170, 150, DARK), words("Rowing boats for hire", 40, 120, 14, WHITE)),
        "check_ink: note reversed_text",
        "6.0 pt",
    ),
    Pair(
        "small black type that knocks out",
        "Black text of 9 pt takes out the colour below it.",
        overprinting(9, True),
        overprinting(9, False),
        "check_ink: note black_knocks_out",
        "9.0 pt",
    ),
    Pair(
        "a font that isn't in the file",
        "A line is set in one of the fonts that every PDF reader has, which the file only names.",
        words("Free entry", 30, 120, 24, font=Path("Helvetica")),
        words("Free entry", 30, 120, 24),
        "check_fonts: hold font_not_embedded",
        "Helvetica",
    ),
    Pair(
        "a standard font that isn't in the file, from another program",
        "The same with Times, by the other generator.",
        words("Free entry", 30, 120, 24, font=Path("times")),
        words("Free entry", 30, 120, 24),
        "check_fonts: hold font_not_embedded",
        "Times",
        by="fpdf2",
    ),
    Pair(
        "a font that may not travel",
        "The font says of itself that it may not be embedded.",
        own_font(2),
        own_font(0),
        "check_fonts: note font_restricted",
        "NotoSans",
        by="fpdf2",
    ),
    Pair(
        "invisible text",
        "A line of text is set so that it doesn't show, as programs that read scans do.",
        invisible,
        words("This line was read by a scanner", 30, 120, 14),
        "check_fonts: note invisible_text",
        "",
        by="fpdf2",
    ),
)
