"""Pairs of what a file carries besides its art: layers, comments, forms, links, attachments, locks, damage."""

from __future__ import annotations

import tempfile
from pathlib import Path

from pikepdf import Dictionary, Name
from poster import Arrived, Pair, both, harbour, jpeg, picture, words
from reportlab.lib.pdfencrypt import StandardEncryption
from sheet import Sheet

BANNER = words("Sold out", 40, 120, 30)


def layer(seen: bool, printed: bool, label: str = "Sponsors"):
    def draw(paper):
        with paper.own.optional_content(on_view=seen, on_print=printed, label=label):
            BANNER(paper)

    return draw


def note_on(paper):
    paper.own.text_annotation(*paper.at(60, 120), text="Is this the right date?")


def typed_on(paper):
    paper.own.free_text_annotation("Is this the right date?", *paper.at(60, 120), w=60, h=10)


def linked(paper):
    BANNER(paper)
    paper.own.link(*paper.at(40, 130), 60, 15, "tel:5550100")


def field(paper):
    paper.own.acroForm.textfield(name="visitor", value="Your name", x=100, y=300, width=200, height=30)


def attached(paper):
    paper.own.embed_file(basename="prices.txt", bytes=b"Lemonade 2", desc="prices")


def screen_only(pdf):
    for note in pdf.pages[0].obj.Annots:
        note.F = 0  # ISO 32000-1 Table 165: without Print it shows on screens only


def script(pdf):
    pdf.Root.OpenAction = Dictionary(S=Name.JavaScript, JS="app.beep()")


def locked(user: str) -> Sheet:
    return Sheet(harbour, canvas={"encrypt": StandardEncryption(user, "keeper")})


def photo_page() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        page = Sheet(both(harbour, picture(jpeg(), 40, 90, 104, 138)), "fpdf2")
        return page.draw(Path(folder) / "whole.pdf").read_bytes()


def cut_short(share: float):
    def data() -> bytes:
        whole = photo_page()
        return whole[: int(len(whole) * share)]

    return data


def torn(within: bytes):
    """A page in whose file 400 bytes are nulls, from 1500 behind this on: damage on the way."""

    def data() -> bytes:
        whole = photo_page()
        at = whole.index(within) + 1500
        return whole[:at] + bytes(400) + whole[at + 400 :]

    return data


EXTRAS = (
    Pair(
        "a layer that is off",
        "A line of text stands on a layer that is neither seen nor printed.",
        layer(False, False),
        layer(True, True),
        "check_document: note layer_off",
        "Sponsors",
        by="fpdf2",
    ),
    Pair(
        "a layer that is seen and not printed",
        "A line of text stands on a layer that shows on screens, but doesn't print.",
        layer(True, False),
        layer(True, True),
        "check_document: hold layer_differs",
        "Sponsors",
        by="fpdf2",
    ),
    Pair(
        "a comment that prints",
        "A comment was typed right onto the poster.",
        typed_on,
        words("Is this the right date?", 60, 115, 12),
        "check_document: hold printing_annotation",
        "",
        by="fpdf2",
    ),
    Pair(
        "a sticky note",
        "A note for colleagues is pinned to the poster.",
        note_on,
        lambda paper: None,
        "check_document: hold printing_annotation",
        "",
        by="fpdf2",
    ),
    Pair(
        "a sticky note for the screen",
        "A note for colleagues is pinned to the poster, and marked not to be printed.",
        Sheet(both(harbour, note_on), "fpdf2", touch=screen_only),
        Sheet(harbour, "fpdf2"),
        "check_document: note left_out",
        "1 note",
    ),
    Pair(
        "a link",
        "A part of the poster can be clicked.",
        linked,
        BANNER,
        "check_document: note left_out",
        "link",
        by="fpdf2",
    ),
    Pair(
        "a field to fill in",
        "A form field lies on the poster.",
        field,
        words("Your name", 40, 110, 14),
        "check_document: hold form_field",
        "",
        also=("font_not_embedded",),  # the generator sets fields in a font that it only names
    ),
    Pair(
        "an attached file",
        "A price list is attached to the poster.",
        attached,
        lambda paper: None,
        "check_document: note attachments",
        "",
        by="fpdf2",
    ),
    Pair(
        "a script",
        "The file runs a script when it is opened.",
        Sheet(harbour, touch=script),
        Sheet(harbour),
        "check_document: note scripts",
        "",
    ),
    Pair(
        "a password",
        "The file opens with a password only.",
        locked("lantern"),
        Sheet(harbour),
        "open_pdf: hold password_needed",
        "password",
    ),
    Pair(
        "locked against changes",
        "The file opens for everyone, but is encrypted.",
        locked(""),
        Sheet(harbour),
        "open_pdf: note encryption_removed",
        "",
    ),
    Pair(
        "a file that breaks off",
        "Only a half of the file arrived.",
        Arrived(cut_short(0.5), ".pdf"),
        Arrived(cut_short(1), ".pdf"),
        "open_pdf: hold parts_lost",
        "damaged",
    ),
    Pair(
        "a damaged picture in the file",
        "A part of a picture's data was overwritten with nulls on the way.",
        Arrived(torn(b"/DCTDecode"), ".pdf"),
        Arrived(cut_short(1), ".pdf"),
        "open_pdf: hold damaged_picture",
        "picture",
    ),
)
