"""Pairs of what is wrong with barcodes and square codes, drawn by reportlab and fpdf2 and read by another library."""

from __future__ import annotations

from papers import WHITE
from poster import BLACK, RED, Pair, both, fill, words
from reportlab.graphics import renderPDF
from reportlab.graphics.barcode.code128 import Code128
from reportlab.graphics.barcode.eanbc import Ean13BarcodeWidget
from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.graphics.shapes import Drawing
from reportlab.lib.colors import CMYKColor

from hotfolder.units import MM

QUIET = fill(40, 90, 110, 160, WHITE)
DARK = (0.9, 0.7, 0.2, 0.3)
MODULES = 25  # of a square code of version 2, with 4 more on each side


def qr(side: float, ink=BLACK, x: float = 60, y: float = 110):
    """A square code so many millimetres wide, free space not counted."""

    def draw(paper):
        whole = side * MM
        code = QrCodeWidget(
            "Meet at the slipway",
            barWidth=whole,
            barHeight=whole,
            barBorder=0,
            qrVersion=2,
            barFillColor=CMYKColor(*ink),
        )
        code.barStrokeWidth = 0
        drawing = Drawing(whole, whole)
        drawing.add(code)
        renderPDF.draw(drawing, paper.own, x * MM, y * MM)

    return draw


def ean(ink=BLACK, x: float = 60, y: float = 110):
    """An EAN-13 at its full size: 0.33 mm a module, 31.35 mm of bars."""

    def draw(paper):
        code = Ean13BarcodeWidget("4006381333931", barWidth=0.33 * MM, barHeight=20 * MM, humanReadable=0, quiet=0)
        code.barFillColor = CMYKColor(*ink)
        drawing = Drawing(40 * MM, 25 * MM)
        drawing.add(code)
        renderPDF.draw(drawing, paper.own, x * MM, y * MM)

    return draw


def code39(points: float, x: float = 50, y: float = 130):
    """Code 39 by fpdf2; `points`: how wide a narrow bar is."""

    def draw(paper):
        paper.own.set_fill_color(paper._ink(BLACK))
        paper.own.code39("*PIER*", *paper.at(x, y), w=points / MM * 3, h=15)

    return draw


def code128(x: float = 60, y: float = 110):
    """Code 128 by reportlab: 0.4 mm a module."""

    def draw(paper):
        paper.own.setFillColor(CMYKColor(*BLACK))
        Code128("PIER 7", barWidth=0.4 * MM, barHeight=20 * MM, quiet=0).drawOn(paper.own, x * MM, y * MM)

    return draw


CODES = (
    Pair(
        "a square code without free space",
        "A red block stands beside a square code, two of its modules away.",
        both(QUIET, fill(40, 90, 57.6, 160), qr(30)),
        both(QUIET, qr(30)),
        "check_codes: note code_crowded",
        "free",
    ),
    Pair(
        "a barcode without free space",
        "A black block stands behind the bars, 4 of their modules away instead of 7.",
        both(QUIET, ean(), fill(92.67, 105, 94.67, 135, BLACK)),
        both(QUIET, ean()),
        "check_codes: hold code_crowded",
        "free",
    ),
    Pair(
        "a square code that something touches",
        "A red block touches a square code along its left side.",
        both(QUIET, fill(40, 90, 60, 160), qr(30)),
        both(QUIET, qr(30)),
        "check_codes: note code_crowded",
        "too close",
    ),
    Pair(
        "a barcode that something touches",
        "A black block stands half a millimetre before the bars, so that no scanner finds them.",
        both(QUIET, fill(40, 105, 59.5, 135, BLACK), ean()),
        both(QUIET, ean()),
        "check_codes: hold code_crowded",
        "1.2 of its thinnest bars",
    ),
    Pair(
        "bars that something crowds from behind",
        "A word in large letters stands right behind the last bar of a Code 128.",
        both(QUIET, code128(45), words("TIDE", 85.2, 112, 60)),
        both(QUIET, code128(55)),
        "check_codes: hold code_crowded",
        "thinnest bars",
    ),
    Pair(
        "a pale code",
        "A square code is printed in light yellow.",
        both(QUIET, qr(30, (0, 0.1, 0.3, 0.12))),
        both(QUIET, qr(30)),
        "check_codes: hold code_pale",
        "",
    ),
    Pair(
        "a red barcode",
        "The bars are red, and the light of scanners is red too.",
        both(QUIET, ean(RED)),
        both(QUIET, ean((1, 0.5, 0, 0.3))),
        "check_codes: hold code_red",
        "red",
    ),
    Pair(
        "a code too small",
        "A square code is 5 mm wide, its finest parts 0.2 mm.",
        both(QUIET, qr(5)),
        both(QUIET, qr(20)),
        "check_codes: hold code_too_small",
        "0.20 mm",
    ),
    Pair(
        "a small code",
        "A square code is 7 mm wide, its finest parts 0.28 mm.",
        both(QUIET, qr(7)),
        both(QUIET, qr(20)),
        "check_codes: note code_small",
        "0.28 mm",
    ),
    Pair(
        "a reversed code",
        "A square code is white on dark blue.",
        both(fill(40, 90, 110, 160, DARK), qr(30, WHITE)),
        both(QUIET, qr(30)),
        "check_codes: note code_reversed",
        "",
    ),
    Pair(
        "a code across the cut",
        "A square code on a white panel reaches 1 mm from the cut.",
        both(fill(160, 90, 206.375, 160, WHITE), qr(30, x=172.2)),
        both(fill(110, 90, 190, 160, WHITE), qr(30, x=140)),
        "check_codes: hold code_cut",
        "",
        also=("small_art_in_margin",),  # it is a small drawing near the cut, too
    ),
    Pair(
        "a crowded code 39",
        "A black block stands before the bars, 5 of their modules away instead of 10.",
        both(fill(30, 100, 170, 150, WHITE), code39(1.2), fill(30, 110, 47.885, 132, BLACK)),
        both(fill(30, 100, 170, 150, WHITE), code39(1.2)),
        "check_codes: hold code_crowded",
        "free",
        by="fpdf2",
    ),
)
