"""Checks that every font in use lies in the file, and points out text too small to print well."""

from __future__ import annotations

from collections.abc import Iterator

from pikepdf import Pdf

from hotfolder.gathered import Found, Gathered
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.looking.text import Shown, SmallText, find_text
from hotfolder.plugin import Box, Job, Length, Level, Part, Register, Settings, Step, hookimpl, setting

LEAST_SEEN = 0.1  # points; what is smaller than this paints no more than a speck
MOST_WORDS = 40  # letters of a quotation
MOST_PAGES = 10  # with a finding of their own for small text
ALIKE = 1.01

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
        found = Gathered()
        with job.read() as pdf:
            text = find_text(pdf, self.settings.least_text)
            for shown in text.shown:
                for item in _font(shown):
                    found.add(item, shown.page)
            for small in _by_page(text.small, pdf):
                found.add(_small(small, self.settings.least_text), small[0].page)
            count = len(pdf.pages)
        found.report(job, count)
        if not found.held:
            names = {shown.font.name for shown in text.shown}
            fonts = "The font in use is" if len(names) == 1 else f"All {len(names)} fonts in use are"
            job.tell(f"{fonts} in the file." if names else "The file shows no text that needs a font.")


def _font(shown: Shown) -> Iterator[Found]:
    name, font = f"“{shown.font.name}”" if shown.font.name else "without a name", shown.font
    if font.kind == "missing":
        message = "Text on {page} is set in a font that the file doesn't have at all, not even by name."
        yield Found("font_missing", message, required="a font in the file", mend=_EMBED, box=shown.box)
    elif font.kind == "Type3":
        message = f"The font {name} on {{page}} is made of single drawings (Type 3); its letters may come out rough."
        mend = "If it matters, set the text in an ordinary font and export again."
        yield Found("font_type3", message, level=Level.NOTE, mend=mend, box=shown.box)
    elif not font.embedded:
        message = (
            f"The font {name} is used on {{page}}, but it isn't in the file: the press would put another in its place."
        )
        yield Found("font_not_embedded", message, font.name, "a font in the file", _EMBED, box=shown.box)


def _by_page(small: list[SmallText], pdf: Pdf) -> Iterator[list[SmallText]]:
    """For each of the first pages with small text inside the trim: the smallest pieces, all of about one size."""
    pages: dict[int, list[SmallText]] = {}
    for item in small:
        if item.size >= LEAST_SEEN and (item.page in pages or len(pages) < MOST_PAGES):
            pages.setdefault(item.page, []).append(item)
    for page, items in pages.items():
        area = _area(pdf, page)
        inside = [item for item in items if area is None or item.box.common(area)]
        if inside:
            least = min(item.size for item in inside)
            yield [item for item in inside if item.size <= least * ALIKE]


def _area(pdf: Pdf, page: int) -> Box | None:
    try:
        return read_boxes(pdf.pages[page - 1]).trim
    except ValueError:  # check_geometry tells
        return None


def _small(items: list[SmallText], least: float) -> Found:
    words = " ".join("".join(item.words for item in items).split())
    more = "…" if len(words) > MOST_WORDS else ""
    quoted = f": “{words[:MOST_WORDS]}{more}”" if words else ""
    size = f"{items[0].size:.1f} pt"
    return Found(
        "small_text",
        f"{{page}} has text of only {size}{quoted}. It may be hard to read or fill in.",
        measured=size,
        required=f"{least:g} pt",
        mend="Make it larger, or keep it to one dark ink on a light ground.",
        level=Level.NOTE,
        box=items[0].box,
    )


@hookimpl
def register_steps(register: Register) -> None:
    register(CheckFonts)
