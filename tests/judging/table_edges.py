"""Pairs of what goes wrong at the cut: bleed, frames, stripes, and things nearer to the cut than the safe margin."""

from __future__ import annotations

from papers import WHITE
from poster import RED, SKY, Pair, both, fill, ground, harbour, jpeg, line, logo, moved, picture, title, words
from sheet import Sheet

BLEED = 3.175


def nothing(paper):
    pass


def frame(inset: float, ink=WHITE):
    """A frame of one colour through the bleed, so wide inside the cut."""
    return both(ground(ink), ground(SKY, -inset), title)


def outline(inset: float, points: float):
    def draw(paper):
        low, right, top = inset, paper.wide - inset, paper.high - inset
        for x0, y0, x1, y1 in (
            (low, low, right, low),
            (right, low, right, top),
            (right, top, low, top),
            (low, top, low, low),
        ):
            paper.line(x0, y0, x1, y1, points)

    return draw


EDGES = (
    Pair(
        "bleed only on paper",
        "A bleed box of 1/8 in is declared, but the ground ends at the cut on all sides.",
        both(ground(SKY, 0), title),
        both(ground(SKY), title),
        "check_bleed: hold bleed_missing",
        "All around the page",
        on=nothing,
    ),
    Pair(
        "bleed missing on one side",
        "The ground ends at the cut on the right; elsewhere it runs through the bleed.",
        both(fill(-BLEED, -BLEED, 203.2, 254 + BLEED, SKY), title),
        both(ground(SKY), title),
        "check_bleed: hold bleed_missing",
        "right",
        on=nothing,
        by="fpdf2",
    ),
    Pair(
        "bleed missing along a part of a side",
        "A red band 50 mm wide ends at the upper cut, on white paper.",
        both(fill(70, 225, 120, 254), title),
        both(fill(70, 225, 120, 254 + BLEED), title),
        "check_bleed: hold bleed_missing",
        "top",
        on=nothing,
    ),
    Pair(
        "a band that stops on a ground that goes on",
        "A red band 50 mm wide ends at the upper cut, while the ground below it runs through the bleed.",
        fill(70, 235, 120, 254),
        fill(70, 235, 120, 254 + BLEED),
        "check_bleed: hold bleed_missing",
        "another colour goes on",
        by="fpdf2",
    ),
    Pair(
        "a photo cut to the trim on a coloured page",
        "A photo lies on the ground and ends at the left cut; the ground runs through the bleed.",
        picture(jpeg(), 0, 100, 64, 148),
        picture(jpeg(), -BLEED, 100, 60.825, 148),
        "check_bleed: hold bleed_missing",
        "another colour goes on",
    ),
    Pair(
        "half of the bleed",
        "The ground runs 1.5 mm beyond the cut instead of 1/8 in.",
        both(ground(SKY, 1.5), title),
        both(ground(SKY), title),
        "check_bleed: hold bleed_missing",
        "1.68 mm",
        on=nothing,
        by="fpdf2",
    ),
    Pair(
        "a photo without bleed",
        "A photo over the lower half ends at the cut on the left.",
        both(picture(jpeg(480, 360), 0, 100, 75, 156), title),
        both(picture(jpeg(480, 360), -BLEED, 100, 71.825, 156), title),
        "check_bleed: hold bleed_missing",
        "left",
        on=nothing,
    ),
    Pair(
        "art off centre",
        "Everything stands 3 mm too far to the right, so the ground ends at the cut on the left.",
        both(moved((1, 0, 0, 1), 0, 0, fill(-BLEED + 3, -BLEED, 203.2 + BLEED, 254 + BLEED, SKY)), title),
        both(fill(-BLEED, -BLEED, 203.2 + BLEED, 254 + BLEED, SKY), title),
        "check_bleed: hold bleed_missing",
        "left",
        on=nothing,
    ),
    Pair(
        "no room for bleed",
        "The page ends where it is cut, and its art runs up to there; the twin has bare paper there, which needs no bleed.",
        Sheet(both(ground(SKY, 0), title), "fpdf2", bleed=0),
        Sheet(both(ground(SKY, -20), title), "fpdf2", bleed=0),
        "check_geometry: hold no_bleed",
        "all four sides",
    ),
    Pair(
        "less bleed than ordered",
        "The page has 2 mm of bleed, all of it filled.",
        Sheet(harbour, bleed=2),
        Sheet(harbour, bleed=BLEED),
        "check_geometry: hold little_bleed",
        "2 mm",
    ),
    Pair(
        "a narrow white frame",
        "The ground ends 2 mm inside the cut, all around.",
        frame(2),
        frame(8),
        "check_frames: hold narrow_frame",
        "2 mm",
        on=nothing,
    ),
    Pair(
        "a narrow red frame",
        "A red frame shows 2.5 mm wide inside the cut.",
        frame(2.5, RED),
        frame(8, RED),
        "check_frames: note narrow_frame",
        "frame",
        on=nothing,
        by="fpdf2",
    ),
    Pair(
        "a sliver of paper at the foot",
        "The ground ends 0.8 mm above the lower cut.",
        both(fill(-BLEED, 0.8, 203.2 + BLEED, 254 + BLEED, SKY), title),
        both(ground(SKY), title),
        "check_frames: hold narrow_stripe",
        "bottom",
        on=nothing,
    ),
    Pair(
        "a narrow stripe at the foot",
        "A red stripe along the lower cut shows 2.5 mm.",
        fill(-BLEED, -BLEED, 203.2 + BLEED, 2.5),
        fill(-BLEED, -BLEED, 203.2 + BLEED, 12),
        "check_frames: note narrow_stripe",
        "2.5",
        by="fpdf2",
    ),
    Pair(
        "a line on the cut",
        "A thin line runs exactly where the poster is cut.",
        outline(0, 1),
        outline(15, 1),
        "check_frames: hold line_on_cut",
        "line",
    ),
)

MARGIN = (
    Pair(
        "text in the safe margin",
        "A line of text begins 5 mm from the left cut.",
        words("Doors open at seven", 5, 120, 16),
        words("Doors open at seven", 30, 120, 16),
        "check_margin: hold text_in_margin",
        "left",
    ),
    Pair(
        "the phrase is told",
        "A phrase of three words, set word by word, stands 8 mm above the lower cut.",
        both(words("Bring", 30, 8, 14), words("warm", 45.2, 8, 14), words("clothes", 60.5, 8, 14)),
        both(words("Bring", 30, 50, 14), words("warm", 45.2, 50, 14), words("clothes", 60.5, 50, 14)),
        "check_margin: hold text_in_margin",
        "“Bring warm clothes”",
        by="fpdf2",
    ),
    Pair(
        "text that is cut off",
        "A line of text crosses the right cut.",
        words("Free entry", 190, 120, 16),
        words("Free entry", 150, 120, 16),
        "check_margin: hold text_cut_off",
        "“Free entry”",
    ),
    Pair(
        "text turned upwards in the margin",
        "A line set upwards stands 2 mm from the right cut.",
        moved((0, 1, -1, 0), 201, 80, words("Printed in town", 201, 80, 9)),
        moved((0, 1, -1, 0), 185, 80, words("Printed in town", 185, 80, 9)),
        "check_margin: hold text_in_margin",
        "“Printed in town”",
        by="fpdf2",
    ),
    Pair(
        "huge letters that run off",
        "Letters as high as a quarter of the sheet cross the left cut: art, by all appearance.",
        words("WAVE", -12, 110, 200, (0.7, 0.2, 0, 0)),
        words("WA", 16, 110, 200, (0.7, 0.2, 0, 0)),
        "check_margin: note text_runs_off",
        "WAVE",
    ),
    Pair(
        "a logo in the safe margin",
        "A drawn logo stands 6 mm from the right cut.",
        logo(173.3, 100),
        logo(160, 100),
        "check_margin: hold small_art_in_margin",
        "6 mm",
        by="fpdf2",
    ),
    Pair(
        "a small picture in the safe margin",
        "A portrait of 24 x 18 mm stands 4 mm from the lower left corner.",
        picture(jpeg(240, 180), 4, 4, 28, 22),
        picture(jpeg(240, 180), 140, 40, 164, 58),
        "check_margin: hold small_art_in_margin",
        "4 mm",
    ),
    Pair(
        "a rule that ends in the safe margin",
        "A line across the poster ends 6 mm before the cut on both sides.",
        line(6, 100, 197.2, 100, 2),
        line(20, 100, 183.2, 100, 2),
        "check_margin: note art_in_margin",
        "from the right",
    ),
)
