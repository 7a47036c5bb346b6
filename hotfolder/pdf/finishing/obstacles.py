"""Finds what in a file can't stand in a PDF/X-4 for the press, and takes out what can go without changing the print.

Rules of ISO 15930-7:2010 where named (from memory: the standard is not public), ISO 32000-1 for the rest.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, field

import numpy as np
import pikepdf
from pikepdf import Array, Dictionary, Stream

from hotfolder.finding import Box
from hotfolder.pdf.objects import entry, identity, name, names
from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.content import Operation, parse_name
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.inline import as_stream, inline_facts, write_inline
from hotfolder.pdf.walk.mapping import KEEP, Mapping, Plan
from hotfolder.pdf.walk.walker import walk

_MINE = ("DeviceCMYK", "DeviceGray", "Pattern", "Separation", "DeviceN", "Indexed")
_PROFILED = ("ICCBased", "CalRGB", "CalGray", "Lab")
_SHOWS = (b"Tj", b"TJ", b"'", b'"')
_INVISIBLE = (3,)  # text rendering mode that leaves no trace (table 106); 7 cuts other art to its shape
_FONT_FILES = ("/FontFile", "/FontFile2", "/FontFile3")
_SAME_TINT = 0.004  # two definitions of one ink that differ by less than an 8-bit step are one


@dataclass
class Obstacle:
    """One thing that holds the file: what it is about, where first, in how many places."""

    code: str
    what: list[str] = field(default_factory=list)
    page: int | None = None
    box: Box | None = None


class Obstacles(dict[str, Obstacle]):
    """Obstacles by code, each with its first place."""

    def add(self, code: str, what: str, page: int | None, box: Box | None) -> None:
        found = self.setdefault(code, Obstacle(code, [], page, box))
        if what and what not in found.what and len(found.what) < 100:
            found.what.append(what)


def find_obstacles(pdf: pikepdf.Pdf, obstacles: Obstacles, *, rgb_groups: bool = False) -> None:
    """Go through all that the pages really draw; what is named in resources but never used does not count.

    In passing, entries that change nothing on the press go: halftones, default transfer curves, stand-ins' notes.
    `rgb_groups`: an isolated group may blend in RGB with a profile, and hold colours with profiles then (ISO 15930-7
    takes them, from memory).
    """
    walk(pdf, _Looker(obstacles, rgb_groups=rgb_groups))


class _Looker(Mapping):
    """Changes no colour; notes what it meets."""

    watched = (b"Tr", b"Do", b"gs", b"BI", *_SHOWS)

    def __init__(self, obstacles: Obstacles, *, rgb_groups: bool) -> None:
        self.obstacles = obstacles
        self.page: int | None = None
        self._tints: dict[str, tuple[object, ...]] = {}
        self._fonts: set[tuple[int, int]] = set()
        self._outside = self
        self._in_rgb: _Looker | None = None  # who looks at such groups
        self._allowed: tuple[str, ...] = _MINE
        if rgb_groups:
            self._in_rgb = inside = copy(self)
            inside._in_rgb, inside._allowed = inside, (*_MINE, *_PROFILED)

    def for_group(self, form: Stream, space: Space | None) -> Mapping:
        if space is None or self._in_rgb is None:
            return self
        return self._in_rgb if space.kind == "ICCBased" and space.n == 3 else self._outside

    # Colours

    def stream_begins(self, frame: Frame, matrix: object) -> None:
        self.page = frame.page

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        self._space(space)
        return KEEP

    def group_space(self, space: Space, pdf: pikepdf.Pdf) -> Space | None:
        self._space(space)
        return None

    def _space(self, space: Space) -> None:
        if space.kind not in self._allowed:
            self.obstacles.add("colour_left", space.label(), self.page, None)
        elif space.kind in ("Indexed", "Pattern") and space.base is not None:
            self._space(space.base)
        elif space.kind in ("Separation", "DeviceN"):
            self._inks(space)

    def _inks(self, space: Space) -> None:
        if space.base is not None and space.base.kind == "DeviceRGB":
            self.obstacles.add("ink_in_screen_colours", ", ".join(space.inks), self.page, None)
        if space.kind == "Separation" and space.inks[0] not in ("All", "None") and space.tint and space.base:
            steps = space.tint(np.linspace(0, 1, 5)[:, None])
            self._same_ink(space.inks[0], space.base, steps)

    def _same_ink(self, ink: str, base: Space, steps: object) -> None:
        """Every use of an ink must mean the same (ISO 15930-7, from memory)."""
        known = self._tints.setdefault(ink, (base.key, steps))
        if known[0] != base.key or not np.allclose(known[1], steps, atol=_SAME_TINT):  # type: ignore[arg-type]
            self.obstacles.add("ink_defined_twice", ink, self.page, None)

    # Operators

    def operation(self, frame: Frame, operation: Operation) -> None:
        if operation.operator in _SHOWS:
            if frame.state.text_mode not in _INVISIBLE:
                self._font(frame.state.font)
        elif operation.operator == b"Tr":
            frame.state.text_mode = int(operation.operands[-1])
        elif operation.operator == b"gs":
            self._graphics(frame.edits.get("/ExtGState", parse_name(operation.operands[-1])))
        elif operation.operator == b"BI":
            self._inline(frame, operation)
        else:
            self._drawn(frame.edits.get("/XObject", parse_name(operation.operands[-1])))

    def _inline(self, frame: Frame, operation: Operation) -> None:
        """An inline picture in LZW becomes a picture XObject, which is packed anew when the file is saved."""
        entries, data = operation.operands
        if b"LZW" in entries:
            picture = as_stream(frame.walker.pdf, inline_facts(entries, frame.resources), data)
            frame.changes.add(operation.start, operation.end, write_inline(frame.edits, picture))

    def _font(self, font: object) -> None:
        place = identity(font)
        if place in self._fonts or not isinstance(font, Dictionary):
            return
        if place is not None:
            self._fonts.add(place)
        kind = name(font.get("/Subtype"))
        if kind == "Type3":
            return
        below = font.get("/DescendantFonts")
        holder = below[0] if kind == "Type0" and isinstance(below, Array) and len(below) else font
        descriptor = entry(holder, "/FontDescriptor")
        if not any(isinstance(entry(descriptor, key), Stream) for key in _FONT_FILES):
            self.obstacles.add(
                "font_not_embedded", name(font.get("/BaseFont")) or "a font without a name", self.page, None
            )

    def _graphics(self, state: object) -> None:
        """Halftones and transfer curves are the press's own affair (rule of ISO 15930-7 on ExtGState, from memory)."""
        if not isinstance(state, Dictionary):
            return
        for key in ("/TR", "/TR2"):
            curve = state.get(key)
            if curve is not None and not _does_nothing(curve):
                self.obstacles.add("transfer_curve", "", self.page, None)
        halftone = entry(entry(state, "/HT"), "/TransferFunction")
        if halftone is not None and not _does_nothing(halftone):
            self.obstacles.add("transfer_curve", "", self.page, None)
        for key in ("/TR", "/TR2", "/HT", "/HTP"):
            if key in state:
                del state[key]

    def _drawn(self, drawn: object) -> None:
        """Things that another program or another file would put in place of what is drawn here."""
        if not isinstance(drawn, Stream):
            return
        postscript = name(drawn.get("/Subtype")) == "PS" or name(drawn.get("/Subtype2")) == "PS"
        for code, is_so in (
            ("postscript_inside", postscript),
            ("stand_in_picture", "/OPI" in drawn),
            ("outside_reference", "/Ref" in drawn),
            ("outside_data", "/F" in drawn or "/F" in _dictionary(drawn.get("/SMask"))),
            ("alternate_for_print", _prints_alternate(drawn.get("/Alternates"))),
        ):
            if is_so:
                self.obstacles.add(code, "", self.page, None)
        for key in ("/Alternates", "/PS", "/PieceInfo", "/Thumb"):
            if key in drawn:
                del drawn[key]


def _does_nothing(curve: object) -> bool:
    """Identity, or the device's own default."""
    return all(one in ("Identity", "Default") for one in names(curve)) and bool(names(curve))


def _prints_alternate(alternates: object) -> bool:
    """Whether another version of a picture would be printed in its place (8.9.5.4)."""
    if not isinstance(alternates, Array):
        return False
    return any(entry(one, "/DefaultForPrinting") is True for one in alternates)


def _dictionary(value: object) -> Dictionary | Stream:
    return value if isinstance(value, (Dictionary, Stream)) else Dictionary()


__all__ = ["Obstacle", "Obstacles", "find_obstacles"]
