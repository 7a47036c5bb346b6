"""Takes out of the drawing instructions what can never print: what lies far outside, is cut off whole, or has no opacity."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from pikepdf import Pdf, Stream

from hotfolder.finding import Box
from hotfolder.pdf.looking.outlines import COUNTS, Outline, around, reach_of_pen
from hotfolder.pdf.mappings.plain_paths import is_plain_path
from hotfolder.pdf.objects import entry, identity, inherited, name
from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.content import Operation, parse_name, parse_number
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import Mapping
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.placing import form_box
from hotfolder.pdf.walk.state import UNIT, Matrix, State, common_box, transform_box
from hotfolder.pdf.walk.walker import Walker

SLACK = 2.0  # units: programs that draw round outwards to whole pixels
_MITER = 12.0  # times half the line's width that its corners may reach: the default limit is 10 (8.4.3.5)
_FILLS = frozenset((b"f", b"F", b"f*", b"B", b"B*", b"b", b"b*"))
_STROKES = frozenset((b"S", b"s", b"B", b"B*", b"b", b"b*"))
_SHOWN = frozenset((b"Tj", b"TJ", b"'", b'"'))
_INVISIBLE = 3  # text rendering mode (table 106)


@dataclass(frozen=True)
class Dropped:
    """What went, and where it would have stood; `key`: the picture's or form's object."""

    page: int
    what: str  # "picture", "drawing" (a form), "gradient", "area or line", "text"
    box: Box | None
    key: tuple[int, int] | None = None


def drop_hidden(pdf: Pdf, area: dict[int, Box], *, invisible_text: bool) -> list[Dropped]:
    """Drops from each page (numbers from 1) with an area what lies wholly outside of it, or can't show inside of it.

    Only what is certain: forms placed more than once, groups that knock out, patterns, soft masks, drawn letters and
    comments stay as they are. Of what prints no byte changes; text is dropped only where nothing of its text object
    prints, as it moves what follows. Paths that also cut other art go on cutting.
    """
    uses = _Uses()
    for number, page in enumerate(pdf.pages, 1):
        Walker(pdf, uses, WalkResult()).page(page.obj, number)
    once = {key for key, count in uses.count.items() if count == 1}
    dropped: list[Dropped] = []
    for number, page in enumerate(pdf.pages, 1):
        if number in area and entry(inherited(page.obj, "/Group"), "/K") is not True:
            mapping = _DropHidden(area[number], once, invisible_text)
            Walker(pdf, mapping, WalkResult()).page(page.obj, number)
            dropped += mapping.dropped
    if dropped:
        pdf.remove_unreferenced_resources()
    return dropped


class _Nothing(Mapping):
    """Leaves everything as it is."""

    lasting = False


class _Uses(_Nothing):
    """Counts how often each form is placed; one in a pattern or a comment counts as many times."""

    every_use = True
    watched = (b"Do",)

    def __init__(self) -> None:
        self.count: Counter[tuple[int, int]] = Counter()

    def operation(self, frame: Frame, operation: Operation) -> None:
        key = identity(frame.edits.get("/XObject", parse_name(operation.operands[-1])))
        if key is not None:
            self.count[key] += 1


@dataclass
class _Texts:
    """What one text object shows: the operators that print nothing, and whether any prints."""

    hidden: list[Operation] = field(default_factory=list)
    prints: bool = False
    changes: int = 0


class _DropHidden(_Nothing):
    """One page's. What is cut off is known by boxes: that of what paints, and those of all that cuts it."""

    watched = (
        *COUNTS,
        *_FILLS | _STROKES,
        *_SHOWN,
        *(b"h", b"n", b"W", b"W*", b"w", b"M", b"gs", b"Do", b"sh", b"BI", b"BT", b"ET", b"Tr"),
    )

    def __init__(self, area: Box, once: set[tuple[int, int]], invisible_text: bool) -> None:
        self.area, self.once, self.invisible_text = area, once, invisible_text
        self.dropped: list[Dropped] = []
        self._nothing = _Nothing()
        self._pen_known = True

    def for_mask(self, space: Space | None) -> Mapping:
        return self._nothing

    def for_group(self, form: Stream, space: Space | None) -> Mapping:
        # What knocks out takes away what lies below by its shape, though it has no opacity (11.4.6).
        plain = identity(form) in self.once and "/PatternType" not in form
        return self if plain and entry(entry(form, "/Group"), "/K") is not True else self._nothing

    def stream_begins(self, frame: Frame, matrix: Matrix) -> None:
        frame.state.clip = common_box(frame.state.clip, self.area)

    def operation(self, frame: Frame, operation: Operation) -> None:
        operator, state = operation.operator, frame.state
        if state.in_glyph or state.in_mask or state.uncoloured:
            return
        if operator in COUNTS or operator in (b"h", b"W", b"W*"):
            self._draw(frame, operation)
        elif operator == b"n" or operator in _FILLS | _STROKES:
            self._paint(frame, operation)
        elif operator in _SHOWN or operator in (b"BT", b"ET"):
            self._text(frame, operation)
        elif operator == b"Do":
            self._place(frame, operation)
        elif operator == b"BI":
            self._whole(frame, operation, "picture", Box(*transform_box(UNIT, state.ctm)))
        elif operator == b"sh":
            self._whole(frame, operation, "gradient", None)
        else:
            self._set(frame, operation)

    def _set(self, frame: Frame, operation: Operation) -> None:
        operator = operation.operator
        if operator == b"gs":
            found = frame.edits.get("/ExtGState", parse_name(operation.operands[-1]))
            self._pen_known &= entry(found, "/LW") is None and entry(found, "/ML") is None
        elif operator == b"w":
            frame.state.line_width = abs(parse_number(operation.operands[-1]))
        elif operator == b"M":
            self._pen_known &= abs(parse_number(operation.operands[-1])) <= 10
        else:
            frame.state.text_mode = int(parse_number(operation.operands[-1]))

    # What is placed as a whole

    def _place(self, frame: Frame, operation: Operation) -> None:
        found = frame.edits.get("/XObject", parse_name(operation.operands[-1]))
        kind, state = name(entry(found, "/Subtype")), frame.state
        if kind == "Image":
            self._whole(frame, operation, "picture", Box(*transform_box(UNIT, state.ctm)), identity(found))
        elif kind == "Form":
            box = form_box(found, state.ctm)
            group = name(entry(entry(found, "/Group"), "/S")) == "Transparency"
            faint = group and state.alpha_fill == 0
            if box is not None and (faint or _is_outside(state, Box(*box))):
                self._drop(frame, operation, Dropped(frame.page, "drawing", Box(*box), identity(found)))

    def _whole(
        self, frame: Frame, operation: Operation, what: str, box: Box | None, key: tuple[int, int] | None = None
    ) -> None:
        if frame.state.alpha_fill == 0 or _is_outside(frame.state, box):
            self._drop(frame, operation, Dropped(frame.page, what, box, key))

    def _drop(self, frame: Frame, operation: Operation, dropped: Dropped) -> None:
        if len(frame.changes) and frame.changes.end == operation.end:
            frame.changes.take_back()  # a form that lost something itself
        frame.changes.add(operation.start, operation.end, b" ")
        self.dropped.append(dropped)

    # Paths

    def _draw(self, frame: Frame, operation: Operation) -> None:
        begun = frame.memory.setdefault("path", (operation.start, Outline()))
        assert isinstance(begun, tuple)
        outline = begun[1]
        if operation.operator in (b"W", b"W*"):
            outline.clips = True
        elif operation.operator != b"h":
            outline.draw(operation)

    def _paint(self, frame: Frame, operation: Operation) -> None:
        begun, state = frame.memory.pop("path", None), frame.state
        if not isinstance(begun, tuple):
            return
        start, outline = begun
        operator, parts = operation.operator, outline.boxes(state.ctm)
        if not parts:
            return
        box, fills, strokes = around(parts), operator in _FILLS, operator in _STROKES
        hidden = (fills or strokes) and self._is_hidden_path(state, box, fills=fills, strokes=strokes)
        if not (hidden or outline.clips) or not is_plain_path(frame.data[start : operation.start]):
            return
        if hidden and outline.clips:
            frame.changes.add(operation.start, operation.end, b"n")
        elif hidden and frame.changes.end <= start:
            frame.changes.add(start, operation.end, b" ")
            self.dropped.append(Dropped(frame.page, "area or line", box))
        if outline.clips:
            state.clip = common_box(state.clip, box)

    def _is_hidden_path(self, state: State, box: Box, *, fills: bool, strokes: bool) -> bool:
        if (not fills or state.alpha_fill == 0) and (not strokes or state.alpha_stroke == 0):
            return True
        if strokes:
            across, up = reach_of_pen(state.line_width, state.ctm)
            box = Box(
                box.left - _MITER * across, box.bottom - _MITER * up, box.right + _MITER * across, box.top + _MITER * up
            )
        return (self._pen_known or not strokes) and _is_outside(state, box)

    # Text

    def _text(self, frame: Frame, operation: Operation) -> None:
        if operation.operator == b"BT":
            frame.memory["texts"] = _Texts(changes=len(frame.changes))
            return
        texts = frame.memory.get("texts")
        if not isinstance(texts, _Texts):
            return
        if operation.operator != b"ET":
            texts.hidden.append(operation)
            texts.prints |= not self._is_hidden_text(frame.state)
            return
        del frame.memory["texts"]
        if texts.prints or not texts.hidden or len(frame.changes) != texts.changes:
            return
        for shown in texts.hidden:
            # Its two spacings stay in force behind it (9.4.3).
            spacing = shown.operands[:2] if shown.operator == b'"' and len(shown.operands) > 2 else []
            words = [value + word for value, word in zip(spacing, (b" Tw", b" Tc"), strict=False)]
            frame.changes.add(shown.start, shown.end, b" " + b" ".join(words))
        self.dropped.append(Dropped(frame.page, "text", None))

    def _is_hidden_text(self, state: State) -> bool:
        if name(entry(state.font, "/Subtype")) in ("Type3", "") or state.text_mode > _INVISIBLE:
            return False
        if state.text_mode == _INVISIBLE:
            return self.invisible_text
        faint = {0: (state.alpha_fill,), 1: (state.alpha_stroke,)}.get(
            state.text_mode, (state.alpha_fill, state.alpha_stroke)
        )
        return not any(faint) or _is_outside(state, None)


def _is_outside(state: State, box: Box | None) -> bool:
    """Whether nothing of a box (None: it has no bounds) can lie inside of what the clip leaves, by a wide margin."""
    clip = state.clip
    if clip is None:
        return False
    left, bottom, right, top = clip
    if left - right > 2 * SLACK or bottom - top > 2 * SLACK:
        return True  # nothing is left
    return box is not None and (
        box.right < left - SLACK or box.left > right + SLACK or box.top < bottom - SLACK or box.bottom > top + SLACK
    )
