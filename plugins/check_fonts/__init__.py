"""Checks that every font in use lies in the file, and points out text too small to print well."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from pikepdf import Pdf

from hotfolder.gathered import Found, Gathered, listed
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.looking.inventory import Painted
from hotfolder.pdf.looking.text import Hidden, Shown, find_text
from hotfolder.plugin import Box, Job, Length, Level, Part, Register, Settings, Step, hookimpl, setting

from .reading import MOST_WORDS, from_afar, pieces, small_text

FEWEST_HIDDEN = 5  # letters; fewer are left behind by the program that made the file
SIGNS = re.compile("ding|symbol|icon|awesome|ornament", re.I)  # fonts of these have no letters to read
MOST_PAGES = 10  # with findings of their own on how text reads

_EMBED = "Embed all fonts when you export, also those that every computer has, or turn the text into outlines."


class CheckFontsSettings(Settings):
    least_text: Length = setting(
        5.0, "Text that comes out smaller than this is noted; 0pt notes none (5pt: common practice)", unit="length"
    )


class CheckFonts(Step):
    """Hold where text is shown in a font that isn't in the file; note Type 3 fonts and very small text.

    It embeds nothing and replaces nothing. Invisible text, as scanning programs lay under pictures, does not count.
    """

    name = "check_fonts"
    reads = frozenset({Part.FONTS, Part.CONTENT})
    Settings = CheckFontsSettings
    settings: CheckFontsSettings

    def run(self, job: Job) -> None:
        found, distance, sentences = Gathered(), job.ticket.viewing_distance, list[str]()
        with job.read() as pdf:
            text = find_text(pdf)
            for shown in text.shown:
                for item in _font(shown):
                    found.add(item, shown.page)
            scanned = {page: hidden for page, hidden in text.hidden.items() if hidden.letters >= FEWEST_HIDDEN}
            for page in scanned:
                found.add(_hidden(next(iter(scanned.values()))), page)
            count, told = len(pdf.pages), 0
            for number in range(1, count + 1):
                read = pieces(*_seen(job, pdf, number))
                small, far = small_text(read, self.settings.least_text), None
                if distance is not None:
                    far, sentence = from_afar(read, distance)
                    sentences.append(sentence)
                for item in filter(None, (small, far)) if told < MOST_PAGES else ():
                    found.add(item, number)
                told += small is not None or far is not None
        found.report(job, count)
        if not found.held:
            names = {shown.font.name for shown in text.shown}
            fonts = "The font in use is" if len(names) == 1 else f"All {len(names)} fonts in use are"
            job.tell(f"{fonts} in the file." if names else "The file shows no text that needs a font.")
        for sentence in filter(None, [_unread(text.shown), *sentences[:1]]):
            job.tell(sentence)


def _seen(job: Job, pdf: Pdf, number: int) -> tuple[list[Painted], Box | None]:
    """What a page shows, and its trim (None: its boxes make no sense, which check_geometry tells)."""
    try:
        boxes = read_boxes(pdf.pages[number - 1])
        unit, trim = boxes.user_unit, boxes.trim
    except ValueError:
        unit, trim = 1.0, None
    return job.inventory(pdf, number, unit).objects, trim


def _font(shown: Shown) -> Iterator[Found]:
    name, font = f"“{shown.font.name}”" if shown.font.name else "without a name", shown.font
    if font.kind == "missing":
        message = "Text on {page} is set in a font that the file doesn't have at all, not even by name."
        yield Found("font_missing", message, required="a font in the file", mend=_EMBED, box=shown.box)
    elif font.pixels:
        message = f"The letters of the font {name} on {{page}} are made of pixels, and may come out rough."
        mend = "If it matters, set the text in an ordinary font and export again; some programs make pixels of bold or slanted type."
        yield Found("font_type3", message, level=Level.NOTE, mend=mend, box=shown.box)
    elif not font.embedded:
        message = (
            f"The font {name} is used on {{page}}, but it isn't in the file: the press would put another in its place."
        )
        yield Found("font_not_embedded", message, font.name, "a font in the file", _EMBED, box=shown.box)
    elif font.restricted:
        message = f"The maker of the font {name}, used on {{page}}, doesn't allow it inside documents."
        mend = "Ask its maker, or turn the text into outlines where the licence lets you. It prints all the same."
        yield Found(
            "font_restricted", message, "restricted licence embedding", level=Level.NOTE, mend=mend, box=shown.box
        )


def _unread(shown: Sequence[Shown]) -> str:
    """Nothing is wrong with such text for the print; the record says that nothing could read it."""
    names = {
        one.font.name: None
        for one in shown
        if one.font.two_bytes and not one.font.letters and one.font.embedded and not SIGNS.search(one.font.name)
    }
    if not names:
        return ""
    named = listed([f"“{name}”" for name in list(names)[:MOST_PAGES]])
    return f"Text in {named} prints, but its words can't be read here: the file doesn't say what its letters stand for."


def _hidden(hidden: Hidden) -> Found:
    words = " ".join(hidden.words.split())
    quoted = f" (“{words[:MOST_WORDS]}{'…' if len(words) > MOST_WORDS else ''}”)" if words else ""
    return Found(
        "invisible_text",
        f"{{page}} holds invisible text{quoted}, as scanning programs lay under a picture. It doesn't print.",
        measured=f"{hidden.letters} letters",
        mend="Nothing, if the page is a scan. If the text should show, let it be drawn filled and export again.",
        level=Level.NOTE,
        box=hidden.box,
    )


@hookimpl
def register_steps(register: Register) -> None:
    register(CheckFonts)
