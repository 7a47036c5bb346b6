"""Pairs of what goes wrong with colours and inks: overprinting, too much ink, spot inks, RGB, transparency."""

from __future__ import annotations

from papers import WHITE
from PIL import Image
from poster import BLACK, RED, Pair, fill, jpeg, photo, picture, words
from reportlab.lib.colors import CMYKColor, CMYKColorSep
from sheet import packed

PANEL = (40, 90, 100, 150)


def white_words(knocks_out: bool):
    """White letters; where they overprint with mode 1 they take no ink away (ISO 32000-1 8.6.7)."""

    def draw(paper):
        paper.own.saveState()
        paper.own.setFillOverprint(not knocks_out)
        paper.own.setOverprintMask(True)
        paper.words("Bring a lamp", 30, 120, 40, WHITE)
        paper.own.restoreState()

    return draw


def spot(name: str, tint: float = 1.0, stands_in=(0.2, 0.3, 0.8, 0)):
    return CMYKColorSep(*stands_in, spotName=name, density=tint)


def spot_panel(name: str, second: str = ""):
    def draw(paper):
        paper.fill(*PANEL, spot(name))
        if second:
            paper.fill(110, 90, 170, 150, spot(second))

    return draw


def see_through(share: float):
    def draw(paper):
        paper.own.saveState()
        paper.fill(*PANEL, CMYKColor(*RED, alpha=share))
        paper.own.restoreState()

    return draw


def blended(mode: str):
    def draw(paper):
        with paper.own.local_context(blend_mode=mode):
            paper.fill(*PANEL, RED)

    return draw


def faded() -> bytes:
    """A picture with a soft edge: PNG with alpha, which becomes a soft mask."""
    cut_out = photo().convert("RGBA")
    cut_out.putalpha(Image.radial_gradient("L").resize(cut_out.size).point(lambda tone: 255 - tone))
    return packed(cut_out, "PNG")


def rgb_shadow(mode: str):
    """Two RGB colours, one over the other, as layout programs mix them."""

    def draw(paper):
        paper.fill(30, 80, 120, 160, (1, 0.85, 0))
        with paper.own.local_context(blend_mode=mode):
            paper.fill(60, 100, 170, 150, (0, 0.55, 1))

    return draw


OVERPRINT = (
    Pair(
        "white that overprints",
        "White letters are set to overprint, so they vanish in print.",
        white_words(False),
        white_words(True),
        "check_ink: hold white_overprints",
        "white",
    ),
)

INKS = (
    Pair(
        "too much ink",
        "A panel of 6 x 6 cm has 340 % of ink.",
        fill(*PANEL, (1, 0.8, 0.8, 0.8)),
        fill(*PANEL, (0.6, 0.5, 0.5, 1)),
        "check_ink: hold over_limit",
        "340 %",
        by="fpdf2",
    ),
    Pair(
        "too much ink in a small place",
        "A square of 6 mm has 340 % of ink.",
        fill(40, 90, 46, 96, (1, 0.8, 0.8, 0.8)),
        fill(40, 90, 46, 96, (0.6, 0.5, 0.5, 1)),
        "check_ink: note over_limit_small",
        "340 %",
    ),
    Pair(
        "registration colour in the art",
        "A line of text is set in the colour that printer's marks have, which prints in every ink.",
        words("All welcome", 30, 120, 30, spot("All", stands_in=(1, 1, 1, 1))),
        words("All welcome", 30, 120, 30, BLACK),
        "check_ink: hold registration_colour",
        "",
    ),
    Pair(
        "a spot ink that was not ordered",
        "A panel is in the ink Silver; Gold is ordered.",
        spot_panel("Gold", "Silver"),
        spot_panel("Gold", "Gold"),
        "check_ink: hold ink_not_ordered",
        "Silver",
        ticket={"inks": ["Gold"]},
    ),
    Pair(
        "a spot ink that is not used",
        "Gold is ordered, and nothing is in it.",
        fill(*PANEL),
        spot_panel("Gold"),
        "check_ink: note ink_not_used",
        "Gold",
        ticket={"inks": ["Gold"]},
    ),
    Pair(
        "one ink under two names",
        "Two panels are in Harbour Gold and harbour gold.",
        spot_panel("Harbour Gold", "harbour gold"),
        spot_panel("Harbour Gold", "Harbour Gold"),
        "check_ink: note inks_alike",
        "harbour gold",
    ),
    Pair(
        "RGB in text",
        "A line of text is in the blue of a screen.",
        words("Sea shanties", 30, 120, 40, (0.1, 0.2, 0.8)),
        words("Sea shanties", 30, 120, 40, (0.95, 0.85, 0, 0)),
        "convert_colour: mended colour_converted",
        "",
    ),
    Pair(
        "transparency where it is forbidden",
        "A panel shows half of what lies below it, and the printer takes no transparency.",
        see_through(0.5),
        see_through(1),
        "check_construction: hold transparency",
        "",
        settings={"check_construction": {"transparency": "hold"}},
    ),
    Pair(
        "a blend mode where it is forbidden",
        "A panel multiplies with what lies below it, and the printer takes no transparency.",
        blended("MULTIPLY"),
        fill(*PANEL),
        "check_construction: hold transparency",
        "",
        by="fpdf2",
        settings={"check_construction": {"transparency": "hold"}},
    ),
    Pair(
        "a cut-out picture where transparency is forbidden",
        "A picture fades out at its sides, and the printer takes no transparency.",
        picture(faded(), 40, 90, 104, 138),
        picture(jpeg(), 40, 90, 104, 138),
        "check_construction: hold transparency",
        "",
        by="fpdf2",
        settings={"check_construction": {"transparency": "hold"}},
    ),
    Pair(
        "transparency mixed in RGB",
        "Two RGB colours are laid over each other so that their difference shows; mixed in inks it comes out otherwise.",
        rgb_shadow("DIFFERENCE"),
        rgb_shadow("NORMAL"),
        "convert_colour: hold blending_changes",
        "",
        by="fpdf2",
    ),
)
