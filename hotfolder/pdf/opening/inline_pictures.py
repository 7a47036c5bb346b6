"""Finds the pictures that stand inside the drawing instructions of a PDF (ISO 32000-1 8.9.7)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import pikepdf
from pikepdf import Dictionary, Name, Object, Pdf, Stream

from hotfolder.pdf.objects import content_bytes, entry, inherited, name, names
from hotfolder.pdf.pictures.facts import read_facts
from hotfolder.pdf.values.spaces import SpaceReader
from hotfolder.pdf.walk.content import Operation, Scanner
from hotfolder.pdf.walk.inline import as_stream, inline_facts
from hotfolder.pdf.walk.pictures import picture_space

_MAY_HOLD_ONE = re.compile(rb"(?<![^\0\t\n\f\r >\]])BI[\0\t\n\f\r /]")
_ENDS_INSIDE = re.compile(rb"[\0\t\n\f\r >]EI[\0\t\n\f\r ][\t\n\f\r -~]{12}")
_SPACE = b"\0\t\n\f\r "


@dataclass(frozen=True, slots=True)
class InlinePicture:
    """An inline picture as the stream that it could have been; `fault` says what can be told from its place alone."""

    picture: Stream
    fault: str = ""


def inline_pictures(pdf: Pdf) -> Iterator[InlinePicture]:
    """Every inline picture in pages, forms, pattern cells and drawn glyphs. What can't be read is left to others."""
    scanner = Scanner([b"BI"])
    with pikepdf.new() as workbench:
        for contents, resources in _contents(pdf):
            try:
                data = content_bytes(contents)
            except ValueError:
                continue  # told by those who follow the instructions
            if _MAY_HOLD_ONE.search(data):
                for operation in scanner.scan(data):
                    if (found := _read(workbench, operation, data, resources)) is not None:
                        yield found


def _contents(pdf: Pdf) -> Iterator[tuple[object, object]]:
    for page in pdf.pages:
        yield page.obj.get("/Contents"), inherited(page.obj, "/Resources")
    for item in pdf.objects:
        if isinstance(item, Stream) and (name(entry(item, "/Subtype")) == "Form" or "/PatternType" in item):
            yield item, entry(item, "/Resources")
        elif isinstance(item, Dictionary) and name(item.get("/Subtype")) == "Type3":
            glyphs = item.get("/CharProcs")
            for _, glyph in glyphs.items() if isinstance(glyphs, Dictionary) else ():
                yield glyph, item.get("/Resources")


def _read(workbench: Pdf, operation: Operation, content: bytes, resources: object) -> InlinePicture | None:
    entries, data = operation.operands
    try:
        facts = inline_facts(entries, resources)
        picture = as_stream(workbench, _owned(facts), data)
        fault = "" if content[: operation.end].endswith(b"EI") else "its end is missing"
        return InlinePicture(picture, _overrun(picture, data) or fault)
    except (ValueError, pikepdf.PdfError, NotImplementedError):
        return None  # told by those who convert colours


def _owned(facts: Dictionary) -> Dictionary:
    """The entries without what belongs to another document: only how many numbers a colour has matters here."""
    space = facts.get("/ColorSpace")
    if isinstance(space, Object) and not isinstance(space, Name):
        n = SpaceReader().read(space, None).n
        stand_in = {1: Name.DeviceGray, 3: Name.DeviceRGB, 4: Name.DeviceCMYK}.get(n)
        if stand_in is None:
            raise ValueError("a colour space of unusual size")
        facts.ColorSpace = stand_in
    return facts


def _overrun(picture: Stream, data: bytes) -> str:
    """Plain samples have an exact size; where they are too few, the instructions that follow count as samples."""
    if names(entry(picture, "/Filter")):
        return ""
    n = 1 if entry(picture, "/ImageMask") is True else picture_space(picture, None, SpaceReader()).n
    facts = read_facts(picture, None)
    needed = (facts.width * n * facts.bits + 7) // 8 * facts.height
    end = _ENDS_INSIDE.search(data)
    if data[needed:].strip(_SPACE) and end is not None and end.start() < needed:
        return f"its data is cut short, {end.start()} of {needed} bytes"
    return ""
