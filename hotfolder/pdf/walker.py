"""Goes through everything a page paints and gives each colour, picture and gradient to a mapping.

Vectors stay vectors, text stays text, nothing becomes a picture. What a mapping can't convert exactly stays as it was
found, and is handed back as a leftover.
"""

import re
from collections.abc import Iterable

import numpy as np
import pikepdf
from pikepdf import Array, Dictionary, Object, Stream

from hotfolder.pdf.content import Scanner
from hotfolder.pdf.frame import HANDLED, TRIGGERS, Frame
from hotfolder.pdf.inline import as_stream
from hotfolder.pdf.mapping import Fate, Mapping, Plan
from hotfolder.pdf.masks import soft_mask
from hotfolder.pdf.objects import (
    MOST_LEVELS,
    content_bytes,
    copy_dictionary,
    dictionary,
    entry,
    identity,
    inherited,
    name,
    numbers,
    same_object,
    stream_bytes,
    whole,
)
from hotfolder.pdf.outcome import CannotConvert, WalkResult
from hotfolder.pdf.pictures import convert_picture, picture_space
from hotfolder.pdf.resources import ResourceEdits
from hotfolder.pdf.shadings import convert_shading
from hotfolder.pdf.spaces import Space, SpaceReader, device_name
from hotfolder.pdf.state import IDENTITY, UNIT, Box, Matrix, State, multiply, transform_box

MOST_STREAMS = 200_000  # Forms in forms multiply: ten levels of ten are a million.
MOST_BYTES = 2**30  # of instructions, counted as often as they are followed
Colours = dict[tuple[object, tuple[float, ...]], tuple[float, ...]]
_ENCODING = frozenset({"/Length", "/Filter", "/DecodeParms"})
_FRAMED = frozenset({"/Resources", "/Group"})
_D1 = re.compile(rb"[\s\0]*(?:[-+.\d]+[\s\0]+){6}d1(?=[\s\0])")


def walk(pdf: pikepdf.Pdf, mapping: Mapping, pages: Iterable[int] | None = None) -> WalkResult:
    """Rewrites the pages (numbers from 0; all if None) in place as the mapping says.

    It will not flatten transparency, turn text or vectors into pictures, or convert what it can't convert exactly:
    that stays as it was, in `leftovers`. Pages with leftovers are still whole. Damaged content never raises.
    """
    walker = Walker(pdf, mapping, WalkResult())
    for index in range(len(pdf.pages)) if pages is None else pages:
        walker.page(pdf.pages[index].obj, index + 1)
    return walker.result


class Walker:
    """One walk: what was converted once is used again, also on other pages."""

    def __init__(self, pdf: pikepdf.Pdf, mapping: Mapping, result: WalkResult) -> None:
        self.pdf, self.mapping, self.result = pdf, mapping, result
        self.spaces = SpaceReader()
        self.page_number = 0
        self.scanner = Scanner([*HANDLED, *mapping.watched])
        # Where gray and CMYK themselves are converted, g and k alone are reason enough to follow a stream.
        keeps = mapping.target.kind == "DeviceCMYK"
        self.trigger = Scanner([*(TRIGGERS if keeps else TRIGGERS | {b"g", b"G", b"k", b"K"}), *mapping.watched])
        self._plans: dict[object, Plan] = {}
        self._colours: Colours = {}
        self._memo: dict[object, list[tuple[object, bool, object]]] = {}
        self._active: set[object] = set()
        self._streams = self._bytes = 0
        self._mask_walkers: dict[int, Walker] = {}

    # Pages and what stands on them

    def page(self, page: object, number: int) -> None:
        """One page: its contents, its group, its printing annotations."""
        self.page_number = number
        if not isinstance(page, Dictionary):
            self.leave("the page", "it is no page")
            return
        edits = ResourceEdits(inherited(page, "/Resources"))
        try:
            data = content_bytes(page.get("/Contents"))
        except ValueError as fault:
            self.leave("the page's content", str(fault))
            return
        new = self.run(data, edits, State(), IDENTITY, owned=True, black=True)[0]
        if new is not None:
            page.Contents = self.pdf.make_stream(new)
        if (resources := edits.result()) is not None:
            page.Resources = resources
        if (group := self.group(page.get("/Group"), edits.found)) is not None:
            page.Group = group
        annotations = page.get("/Annots")
        for annotation in annotations if isinstance(annotations, Array) else []:
            self._appearance(annotation, edits.found)

    def _appearance(self, annotation: object, resources: object) -> None:
        """What an annotation prints (12.5.3: flag 3 prints, flag 2 hides; printer's marks always print)."""
        if not isinstance(annotation, Dictionary):
            return
        flags = whole(annotation.get("/F"), 0)
        marks = name(annotation.get("/Subtype")) in ("PrinterMark", "TrapNet")
        look = entry(annotation.get("/AP"), "/N")
        if look is None or flags & 2 or not (flags & 4 or marks):
            return
        state = State()
        if isinstance(look, Stream):
            state.ctm = _appearance_matrix(annotation, look)
            new: object = self.form(look, resources, state, owned=True, black=True)[0]
        elif isinstance(look, Dictionary):
            new = Dictionary()
            for key in look.keys():  # noqa: SIM118
                part = look[key]
                state.ctm = _appearance_matrix(annotation, part)
                new[key] = (
                    self.form(part, resources, state, owned=True, black=True)[0] if isinstance(part, Stream) else part
                )
        else:
            return
        if not same_object(new, look):
            appearance = copy_dictionary(dictionary(annotation.AP))
            appearance.N = new
            annotation.AP = appearance

    # Content streams

    def run(
        self,
        data: bytes,
        edits: ResourceEdits,
        state: State,
        matrix: Matrix,
        *,
        owned: bool,
        black: bool,
        depth: int = 0,
    ) -> tuple[bytes | None, bool]:
        """Follows one stream's instructions: (its new bytes or None if they stay, whether it used a colour space
        that the caller had set). `owned`: the stream starts with colours of its own; `black`: that colour is black."""
        self._streams += 1
        self._bytes += len(data)
        if self._streams > MOST_STREAMS or self._bytes > MOST_BYTES:
            self.leave("drawing instructions", "forms inside forms multiply beyond what can be followed")
            return None, False
        frame = Frame(self, data, edits, state, matrix, owned=owned, depth=depth)
        return frame.run(black and self.mapping.states_black), frame.borrowed

    def form(
        self, form: Stream, resources: object, state: State, *, owned: bool = False, black: bool = False, depth: int = 0
    ) -> tuple[Object, bool]:
        """A form XObject, rewritten if need be, and whether it used a colour space of its caller."""
        own = entry(form, "/Resources")
        used = own if own is not None else resources
        place = identity(form)
        key = (
            None
            if place is None
            else ("form", place, owned, black, None if own is not None else identity(used), self.dependence(state))
        )
        inherits = (state.fill.space.key, state.stroke.space.key)
        for made, borrowed, wanted in self._memo.get(key, []) if key and not self.mapping.every_use else []:
            if not borrowed or wanted == inherits:
                return made, borrowed  # type: ignore[return-value]
        box = form_box(form, state.ctm)
        if place in self._active or depth > MOST_LEVELS:
            self.leave("a form", "it draws itself" if place in self._active else "forms are nested too deeply", box)
            return form, False
        self._active.add(place)
        try:
            made, borrowed = self._form(form, used, own is not None, state, owned, black, depth)
        finally:
            self._active.discard(place)
        if key is not None:
            self._memo.setdefault(key, []).append((made, borrowed, inherits))
        return made, borrowed

    def _form(
        self, form: Stream, used: object, has_own: bool, state: State, owned: bool, black: bool, depth: int
    ) -> tuple[Object, bool]:
        matrix = _matrix(entry(form, "/Matrix"))
        group = entry(form, "/Group")
        grouped = name(entry(group, "/S")) == "Transparency"
        inner = state.for_group(state.ctm) if grouped else state.copy()
        inner.ctm = multiply(matrix, state.ctm)
        edits = ResourceEdits(used)
        try:
            data = stream_bytes(form)
        except ValueError as fault:
            self.leave("a form", str(fault), form_box(form, state.ctm))
            return form, False
        new, borrowed = self.run(data, edits, inner, inner.ctm, owned=owned, black=black, depth=depth + 1)
        resources, new_group = edits.result(), self.group(group, used)
        if new is None and resources is None and new_group is None:
            return form, borrowed
        made = self.rewritten(form, new, _FRAMED)
        if resources is not None or has_own:
            made.Resources = resources if resources is not None else used
        if group is not None:
            made.Group = group if new_group is None else new_group
        return self.pdf.make_indirect(made), borrowed

    def rewritten(self, stream: Stream | Object, new: bytes | None, leave_out: frozenset[str]) -> Stream:
        """A copy of a stream with new content, or with its very bytes where `new` is None."""
        made = Stream(self.pdf, stream.read_raw_bytes() if new is None else new)
        for key in stream.keys():  # noqa: SIM118
            if key not in leave_out and (new is None or key not in _ENCODING) and key != "/Length":
                made[key] = stream[key]
        return made

    def tiling(self, pattern: Stream, resources: object, depth: int, base: Matrix) -> Object:
        """A tiling pattern's cell (8.7.3). An uncoloured one has no colours of its own."""
        if whole(entry(pattern, "/PaintType"), 1) == 2 and not self.mapping.every_use:
            return pattern
        state = State(ctm=base)
        return self.form(pattern, resources, state, owned=True, black=True, depth=depth + 1)[0]

    def pattern(self, found: object, resources: object, depth: int, base: Matrix) -> object:
        """A pattern as `scn` names it: tiling or shading."""
        if isinstance(found, Stream):
            return self.tiling(found, resources, depth, base)
        if not isinstance(found, Dictionary) or "/Shading" not in found:
            return found
        box = None
        shading = self.shading(found["/Shading"], resources, box)
        graphics = found.get("/ExtGState")
        masked = self.graphics(graphics, resources, depth)
        if same_object(shading, found["/Shading"]) and same_object(masked, graphics):
            return found
        new = copy_dictionary(found)
        new.Shading = shading
        if masked is not None:
            new.ExtGState = masked
        return self.pdf.make_indirect(new)

    def glyphs(self, font: object, resources: object, state: State, depth: int) -> object:
        """A Type 3 font (9.6.5), whose glyphs are drawn by content streams; a d1 glyph has no colours of its own."""
        procedures = entry(font, "/CharProcs")
        if not isinstance(font, Dictionary) or not isinstance(procedures, Dictionary) or depth > MOST_LEVELS:
            return font
        place = ("font", identity(font), self.scale(state))
        if place[1] is not None and place in self._memo:
            return self._memo[place][0][0]
        if place in self._active:
            self.leave("a font", "a glyph is drawn with its own font")
            return font
        self._active.add(place)
        edits = ResourceEdits(entry(font, "/Resources", resources))
        changed: dict[str, Object] = {}
        for key in procedures.keys():  # noqa: SIM118
            glyph = procedures[key]
            try:
                data = stream_bytes(glyph)
            except ValueError as fault:
                self.leave("a glyph", str(fault))
                continue
            if _D1.match(data) and not self.mapping.every_use:
                continue
            inner = state.copy()
            inner.ctm = multiply(_matrix(entry(font, "/FontMatrix")), state.ctm)
            new = self.run(data, edits, inner, inner.ctm, owned=False, black=False, depth=depth + 1)[0]
            if new is not None:
                changed[key] = self.pdf.make_indirect(self.rewritten(glyph, new, frozenset()))
        self._active.discard(place)
        made: object = font
        if changed or edits.result() is not None:
            made = self._font(font, procedures, changed, edits)
        if place[1] is not None:
            self._memo[place] = [(made, False, None)]
        return made

    def _font(
        self, font: Dictionary, procedures: Dictionary, changed: dict[str, Object], edits: ResourceEdits
    ) -> Object:
        new, drawn = copy_dictionary(font), copy_dictionary(procedures)
        for key, glyph in changed.items():
            drawn[key] = glyph
        new.CharProcs = drawn
        if (resources := edits.result()) is not None:
            new.Resources = resources
        return self.pdf.make_indirect(new)

    # Groups, masks, gradients, pictures

    def group(self, group: object, resources: object) -> Dictionary | None:
        """A transparency group's attributes with the mapping's blending space; None where they stay."""
        if not isinstance(group, Dictionary):
            return None
        self.mapping.group_seen(self, group)
        found = group.get("/CS")
        if found is None or name(entry(group, "/S")) != "Transparency":
            return None
        try:
            space = self.spaces.read(found, resources)
        except ValueError as fault:
            self.leave("a transparency group's colour space", str(fault))
            return None
        wanted = self.mapping.group_space(space, self.pdf)
        if wanted is None or wanted.key == space.key:
            return None
        self.result.changed["groups"] += 1
        self.result.remark(
            self.page_number,
            "blending space changed",
            f"a transparency group blends in {wanted.kind} instead of {space.label()}, so mixed colours may shift",
        )
        new = copy_dictionary(group)
        new.CS = device_name(wanted)
        return new

    def graphics(self, found: object, resources: object, depth: int) -> object:
        """An ExtGState, with its soft mask rewritten if need be."""
        mask = entry(found, "/SMask")
        if not isinstance(found, Dictionary) or not isinstance(mask, Dictionary) or depth > MOST_LEVELS:
            return found
        place = identity(found)
        key = ("graphics", place)
        if place is not None and key in self._memo and not self.mapping.every_use:
            return self._memo[key][0][0]
        new_mask = soft_mask(self, mask, resources, depth)
        made: object = found
        if not same_object(new_mask, mask):
            copy = copy_dictionary(found)
            copy.SMask = new_mask
            made = self.pdf.make_indirect(copy)
            self.result.changed["masks"] += 1
        if place is not None:
            self._memo[key] = [(made, False, None)]
        return made

    def for_mask(self, mapping: Mapping) -> "Walker":
        """The walker for soft masks' content: the same document and result, another mapping, so another memory."""
        if mapping is self.mapping:
            return self
        if id(mapping) not in self._mask_walkers:
            self._mask_walkers[id(mapping)] = Walker(self.pdf, mapping, self.result)
        walker = self._mask_walkers[id(mapping)]
        walker.page_number, walker._active, walker._streams = self.page_number, self._active, self._streams
        return walker

    def shading(self, found: object, resources: object, box: Box | None) -> object:
        """A shading dictionary, rewritten if need be."""
        place = identity(found)
        key = ("shading", place)
        if place is not None and key in self._memo:
            return self._memo[key][0][0]
        made = found
        try:
            space = self.spaces.read(entry(found, "/ColorSpace"), resources)
            plan = self.plan(space)
            if plan.fate is Fate.LEAVE:
                raise CannotConvert(plan.why)
            if plan.fate is not Fate.KEEP:
                made = convert_shading(self, found, space, plan)
                self.result.changed["gradients"] += 1
        except ValueError as fault:
            self.leave("a gradient", str(fault), box)
        if place is not None:
            self._memo[key] = [(made, False, None)]
        return made

    def picture(
        self, picture: Object, resources: object, state: State, inline: bytes | None = None
    ) -> tuple[Object, Space | None]:
        """A picture, converted if need be, and its colour space (None: a stencil, or one that can't be read)."""
        box = transform_box(UNIT, state.ctm)
        if entry(picture, "/ImageMask") is True:
            return picture, None
        try:
            space = picture_space(picture, resources, self.spaces)
        except ValueError as fault:
            self.leave("a picture", str(fault), box)
            return picture, None
        key = ("picture", identity(picture), space.key, self.scale(state))
        if key[1] is not None and key in self._memo:
            return self._memo[key][0][0], space  # type: ignore[return-value]
        made: Object = picture
        try:
            plan = self.plan(space)
            if plan.fate is Fate.LEAVE:
                raise CannotConvert(plan.why)
            if plan.fate is not Fate.KEEP:
                stream = (
                    picture if isinstance(picture, Stream) else as_stream(self.pdf, dictionary(picture), inline or b"")
                )
                made = convert_picture(self, stream, space, plan, state.ctm)
                self.result.changed["pictures"] += 1
        except ValueError as fault:
            self.leave("an inline picture" if inline is not None else "a picture", str(fault), box)
        if key[1] is not None:
            self._memo[key] = [(made, False, None)]
        return made, space

    # Colours

    def plan(self, space: Space) -> Plan:
        """The mapping's plan for a space, asked once; its remark is told on each page."""
        if space.key not in self._plans:
            self._plans[space.key] = self.mapping.plan(space, self.pdf)
        plan = self._plans[space.key]
        if plan.remark:
            self.result.remark(self.page_number, space.label(), plan.remark)
        return plan

    def convert(self, wanted: Iterable[tuple[Space, tuple[float, ...]]]) -> Colours:
        """Many colours at once: one call to the colour management for each space. CannotConvert if one can't be."""
        by_space: dict[object, tuple[Space, set[tuple[float, ...]]]] = {}
        for space, values in wanted:
            if (space.key, values) not in self._colours:
                by_space.setdefault(space.key, (space, set()))[1].add(values)
        for key, (space, rows) in by_space.items():
            ordered = sorted(rows)
            found = self.mapping.colours(space, np.array(ordered), False)
            for values, result in zip(ordered, found.tolist(), strict=True):
                self._colours[key, values] = tuple(result)
        return self._colours

    def leave(self, what: str, why: str, box: Box | None = None) -> None:
        self.result.leave(self.page_number, what, why, box)

    def dependence(self, state: State) -> object:
        """What of the caller's state a form's result depends on, beside its colours."""
        modes = (state.overprint_fill, state.overprint_stroke, state.overprint_mode, state.written_mode)
        return self.scale(state), modes if self.mapping.target.kind == "DeviceCMYK" else None

    def scale(self, state: State) -> int:
        """How far a picture placed here may be shrunk, as a power of two: part of what a result depends on."""
        if self.mapping.picture_ppi is None:
            return 0
        a, b, c, d, _, _ = state.ctm
        area = abs(a * d - b * c)
        return int(np.clip(np.round(np.log2(area) / 2), -20, 40)) if area > 0 else 0


def form_box(form: object, ctm: Matrix) -> Box | None:
    """Where a form lies in the space of `ctm`; None where its box makes no sense."""
    try:
        left, bottom, right, top = numbers(entry(form, "/BBox"), 4)
    except ValueError:
        return None
    return transform_box((left, bottom, right, top), multiply(_matrix(entry(form, "/Matrix")), ctm))


def _matrix(found: object) -> Matrix:
    try:
        a, b, c, d, e, f = numbers(found, 6)
    except ValueError:
        return IDENTITY
    return a, b, c, d, e, f


def _appearance_matrix(annotation: Dictionary, look: object) -> Matrix:
    """Maps an appearance's transformed box onto the annotation's rectangle (12.5.5, algorithm 8.1)."""
    box = form_box(look, IDENTITY)
    try:
        x0, y0, x1, y1 = numbers(annotation.get("/Rect"), 4)
    except ValueError:
        return IDENTITY
    if box is None or box[2] <= box[0] or box[3] <= box[1]:
        return IDENTITY
    sx, sy = abs(x1 - x0) / (box[2] - box[0]), abs(y1 - y0) / (box[3] - box[1])
    return sx, 0.0, 0.0, sy, min(x0, x1) - box[0] * sx, min(y0, y1) - box[1] * sy
