"""Takes layers apart: what doesn't print goes, what prints belongs to no layer any more (ISO 32000-1 8.11)."""

from __future__ import annotations

from dataclasses import dataclass, field

from pikepdf import Object, Stream

from hotfolder.pdf.looking.layers import PrintedLayers, layer_ids
from hotfolder.pdf.objects import entry, name
from hotfolder.pdf.walk.content import Operation, parse_name
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import Mapping

_PATHS = frozenset((b"f", b"F", b"f*", b"B", b"B*", b"b", b"b*", b"S", b"s"))
_TEXTS = frozenset((b"Tj", b"TJ", b"'", b'"'))
_PLACED = frozenset((b"Do", b"sh", b"BI"))
_INVISIBLE = 3  # text rendering mode (table 106); with 4 added text also clips


@dataclass
class _Section:
    """One marked-content section: whether what is in it prints, and whether it is one of a layer."""

    prints: bool
    layered: bool


@dataclass
class _Sections:
    """What is open at a place of one stream."""

    open: list[_Section] = field(default_factory=list)
    text_hidden: bool = False  # the text object began where nothing prints, so it ends there (14.6.1)

    @property
    def prints(self) -> bool:
        return all(section.prints for section in self.open)


class MergeLayers(Mapping):
    """Takes `/OC ... BDC` and its `EMC` away, and within what doesn't print every operator that paints.

    Operators that set the graphics state stay where they are, because they go on counting behind the section; a path
    that doesn't print still clips, and text inside a larger text object still moves what follows it, invisibly. `/OC`
    of pictures, forms and comments is for the caller to take away. `gone` has the
    layers whose parts went, `unclear` what could not be told.
    """

    lasting = False  # words that are no operators stay as they are; nothing here depends on them

    def __init__(self, layers: PrintedLayers, *, hides: bool = True) -> None:
        """`hides`: whether anything doesn't print; else only the sections themselves are looked for."""
        self.watched = (b"BDC", b"BMC", b"EMC")
        if hides:
            self.watched += (b"BT", b"Tr", *_PATHS, *_TEXTS, *_PLACED)
        self.layers = layers
        self.gone: set[tuple[int, int]] = set()
        self.unclear: list[str] = []

    def operation(self, frame: Frame, operation: Operation) -> None:
        sections = frame.memory.setdefault("sections", _Sections())
        assert isinstance(sections, _Sections)
        operator = operation.operator
        if operator in (b"BDC", b"BMC"):
            self._begin(frame, operation, sections)
        elif operator == b"EMC":
            if sections.open and sections.open.pop().layered:
                frame.changes.add(operation.start, operation.end, b"")
        elif operator == b"Tr":
            frame.state.text_mode = int(operation.operands[-1])
        elif operator == b"BT":
            sections.text_hidden = not sections.prints
        elif operator == b"Do":
            self._placed(frame, operation, sections)
        elif not sections.prints:
            self._hide(frame, operation, sections)

    def _begin(self, frame: Frame, operation: Operation, sections: _Sections) -> None:
        operands = operation.operands
        if operation.operator == b"BMC" or len(operands) < 2 or operands[-2] != b"/OC" or operands[-1][:1] != b"/":
            sections.open.append(_Section(True, False))
            return
        key = parse_name(operands[-1])
        sections.open.append(_Section(self.shows(frame.edits.get("/Properties", key)), True))
        frame.edits.remove("/Properties", key)
        frame.changes.add(operation.start, operation.end, b"")

    def shows(self, item: object) -> bool:
        try:
            prints = self.layers.prints(item)
        except ValueError as fault:
            self.unclear.append(str(fault))
            return True
        self.gone |= set() if prints else layer_ids(item)
        return prints

    def _placed(self, frame: Frame, operation: Operation, sections: _Sections) -> None:
        found = frame.edits.get("/XObject", parse_name(operation.operands[-1]))
        belongs = entry(found, "/OC") if isinstance(found, (Object, Stream)) else None
        if not sections.prints or (belongs is not None and not self.shows(belongs)):
            self._hide(frame, operation, sections)

    def _hide(self, frame: Frame, operation: Operation, sections: _Sections) -> None:
        changes, start, end = frame.changes, operation.start, operation.end
        if len(changes) and changes.end == end:
            changes.take_back()  # what was drawn here has changed itself: it goes all the same
        if operation.operator in _PATHS:
            changes.add(start, end, b"n")
        elif operation.operator in _TEXTS:
            self._hide_text(frame, operation, sections)
        else:
            changes.add(start, end, b"")

    def _hide_text(self, frame: Frame, operation: Operation, sections: _Sections) -> None:
        mode, start, end = frame.state.text_mode, operation.start, operation.end
        if sections.text_hidden and mode < 4:
            spacing = operation.operands[:2] if operation.operator == b'"' and len(operation.operands) > 2 else []
            words = (value + word for value, word in zip(spacing, (b" Tw", b" Tc"), strict=False))
            frame.changes.add(start, end, b"\n".join(words))
        elif name(entry(frame.state.font, "/Subtype")) == "Type3":
            self.unclear.append("drawn letters stand in a line of which other parts print")
        else:
            hidden = _INVISIBLE + 4 * (mode > 3)
            frame.changes.add(start, start, b"%d Tr" % hidden)
            frame.changes.add(end, end, b"%d Tr" % mode)
