"""Opens a PDF that came from outside: passwords, damage, page trees without end, pages whose size makes no sense."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pikepdf
from pikepdf import Array, Dictionary, Pdf, Stream

from hotfolder.finding import Hold
from hotfolder.pdf.boxes import PageBoxes, read_boxes
from hotfolder.pdf.objects import entry, identity, name, names
from hotfolder.pdf.opening.deflated import look_through

_TAIL = 4096
_MOST_LEVELS = 64  # of the page tree; exporters stay below ten
_EXPORT = "Export the PDF again from the program it was made in, and drop it again."
_MOST_WORDS = 200
# What qpdf says of its own accord about files that nothing is wrong with for printing, and about the page tree.
_HARMLESS = re.compile(r"Resources is missing or invalid|is direct; converting to indirect")
_OF_THE_TREE = re.compile(r"/Pages structure|pages? tree|any pages")
_UNPACKED = frozenset(("FlateDecode", "LZWDecode", "ASCIIHexDecode", "ASCII85Decode", "RunLengthDecode"))
_LARGEST = 2**30  # of one unpacked stream that is no picture


@dataclass
class OpenedPdf:
    """An open PDF whose pages have all been looked at once. `repairs`: what had to be mended to read it."""

    pdf: Pdf
    boxes: list[PageBoxes] = field(default_factory=list)
    encrypted: bool = False
    repairs: list[str] = field(default_factory=list)


@contextmanager
def open_arrived(path: Path, most_pages: int) -> Iterator[OpenedPdf]:
    """Open a PDF and look at every page. Hold where it can't be opened or its pages make no sense."""
    pdf = _open(path)
    with pdf:
        opened = OpenedPdf(pdf, encrypted=pdf.is_encrypted, repairs=_repairs(path, pdf))
        _check_tree(pdf, most_pages)
        try:
            opened.boxes = [_boxes(page, number) for number, page in enumerate(pdf.pages, 1)]
        except (pikepdf.PdfError, RuntimeError) as fault:
            raise _cannot_open(_plain(path, fault)) from fault
        _check_streams(pdf)  # reads every object, so that all there is to repair has been
        opened.repairs += _repairs(path, pdf)
        if opened.repairs:
            _check_repaired(path, pdf)
        if "/Size" not in pdf.trailer:
            pdf.trailer["/Size"] = 1  # qpdf writes the true number, but only where there was one (7.5.5 wants it)
        yield opened


def _open(path: Path) -> Pdf:
    try:
        return pikepdf.open(path, suppress_warnings=True)
    except pikepdf.PasswordError:
        raise _locked("The PDF is locked with a password, so it can't be opened.") from None
    except (pikepdf.PdfError, RuntimeError, ValueError) as fault:  # qpdf hands on whatever its reader ran into
        if "encrypt" in str(fault).lower():
            raise _locked("The PDF is encrypted in a way that can't be opened.") from fault
        if _OF_THE_TREE.search(str(fault)):
            raise _bad_tree("The list of them is missing, or runs in a circle.") from fault
        raise _cannot_open(_plain(path, fault)) from fault


def _locked(sentence: str) -> Hold:
    return Hold("password_needed", sentence, mend="Export the PDF without a password, and drop it again.")


def _cannot_open(reason: str) -> Hold:
    return Hold(
        "cannot_open",
        f"The PDF is damaged and can't be opened ({reason[:_MOST_WORDS]}).",
        mend=f"Send the file again in case it was cut short on its way. If it fails again: {_EXPORT}",
    )


def _plain(path: Path, fault: object) -> str:
    """What the PDF library said, without our own path in it."""
    words = " ".join(str(fault).replace(str(path), "").split())
    return words.lstrip(" :")[:_MOST_WORDS]


def _boxes(page: pikepdf.Page, number: int) -> PageBoxes:
    try:
        return read_boxes(page)
    except ValueError as reason:
        raise Hold(
            "bad_boxes",
            f"The size of page {number} makes no sense. {reason}",
            page=number,
            mend=f"Check the page size in the layout. {_EXPORT}",
        ) from reason


# ---- the page tree, before anything walks it


def _check_tree(pdf: Pdf, most_pages: int) -> None:
    """Go through the page tree (ISO 32000-1 7.7.3) by hand: circles, other things than pages, pages without end."""
    root = entry(pdf.trailer, "/Root")
    top = entry(root, "/Pages")
    if not isinstance(top, Dictionary):
        raise _bad_tree("The list of its pages is missing.")
    seen: set[tuple[int, int]] = set()
    pages = 0
    waiting: list[tuple[object, int]] = [(top, 0)]
    while waiting:
        node, level = waiting.pop()
        if not isinstance(node, Dictionary):
            raise _bad_tree("In the place of a page stands something that is none.")
        place = identity(node)
        if (place is not None and place in seen) or level > _MOST_LEVELS:
            raise _bad_tree("The list of its pages runs in a circle, or names a page twice.")
        seen |= {place} if place else set()
        kids = entry(node, "/Kids")
        if kids is None and name(entry(node, "/Type")) != "Pages":
            pages += 1
            if pages > most_pages:
                raise _too_many(most_pages)
            continue
        if not isinstance(kids, Array):
            raise _bad_tree("The list of its pages is damaged.")
        if len(kids) > most_pages:
            raise _too_many(most_pages)
        waiting += [(kid, level + 1) for kid in kids]
        if len(waiting) > 2 * most_pages + _MOST_LEVELS:
            raise _too_many(most_pages)
    if pages == 0:
        raise Hold("no_pages", "The PDF has no pages.", measured="0 pages", mend=_EXPORT)


def _bad_tree(reason: str) -> Hold:
    return Hold("bad_page_tree", f"The PDF's pages can't be read. {reason}", mend=_EXPORT)


def _too_many(most_pages: int) -> Hold:
    return Hold(
        "too_many_pages",
        f"The PDF has more than {most_pages} pages; that is no poster.",
        required=f"{most_pages} pages at most",
        mend="Send only the pages that are to be printed.",
    )


# ---- what qpdf mended without being asked


def _repairs(path: Path, pdf: Pdf) -> list[str]:
    """What qpdf says it repaired since it was last asked. Hold where it made something up that matters: a page's size, a page left out."""
    said = [_plain(path, warning) for warning in pdf.get_warnings()]
    for words in said:
        if "MediaBox" in words:
            raise Hold(
                "bad_boxes",
                "The size of a page makes no sense: it is missing, or damaged.",
                mend=f"Check the page size in the layout. {_EXPORT}",
            )
        if "non-dictionary object; ignoring" in words:
            raise _bad_tree("In the place of a page stands something that is none.")
        if "giving up" in words:
            raise _lost("Part of it can't be read.")
    return [words for words in said if not _HARMLESS.search(words)]


# ---- a file that opens may still have lost something


def _check_repaired(path: Path, pdf: Pdf) -> None:
    """Hold where a repair can't have been whole: the file breaks off, or an object is missing."""
    if not _ends(path):
        raise _lost("It breaks off before its end.")
    missing = sum(item is None for item in pdf.objects)  # what is referred to and not there counts as null (7.3.10)
    if missing:
        raise _lost(f"{missing} of the parts that it refers to are missing.")


def _ends(path: Path) -> bool:
    with path.open("rb") as stream:
        stream.seek(max(0, os.fstat(stream.fileno()).st_size - _TAIL))
        return b"%%EOF" in stream.read()  # ISO 32000-1 7.5.5


def _check_streams(pdf: Pdf) -> None:
    """Unpack everything but pictures: qpdf hands on what it could read of a damaged stream, and only warns.

    Pictures are large; they have a check of their own, beside other work.
    """
    for item in pdf.objects:
        if isinstance(item, Stream) and "/Width" not in item and _UNPACKED.issuperset(names(entry(item, "/Filter"))):
            reason = _damage(item)
            if reason:
                raise _lost(reason)


def _damage(stream: Stream) -> str:
    try:
        if names(entry(stream, "/Filter")) == ["FlateDecode"]:
            fault = look_through(stream.read_raw_bytes(), _LARGEST).fault
            return f"Part of its content {fault}." if fault else ""
        stream.read_bytes()
    except (pikepdf.PdfError, RuntimeError, ValueError):  # ValueError: numbers out of range
        return "Part of its content can't be unpacked."
    return ""


def _lost(reason: str) -> Hold:
    return Hold(
        "parts_lost",
        f"The PDF is damaged, and repairing it would lose something. {reason}",
        mend=f"Send the file again in case it was cut short on its way. If it fails again: {_EXPORT}",
    )
