"""Goes through everything a page paints and gives each colour, picture and gradient to a mapping.

Vectors stay vectors, text stays text, nothing becomes a picture. What a mapping can't convert exactly stays as it was
found, and is handed back as a leftover.
"""

import itertools
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Literal, NamedTuple

import numpy as np
import pikepdf
from pikepdf import Array, Dictionary, Name, Object, Stream

from hotfolder.pdf.deflate import packed
from hotfolder.pdf.objects import (
    MOST_LEVELS,
    content_bytes,
    entry,
    identity,
    inherited,
    name,
    stream_bytes,
)
from hotfolder.pdf.values.spaces import Floats, Space, SpaceReader
from hotfolder.pdf.walk.annotations import rewrite_appearance
from hotfolder.pdf.walk.content import scanner
from hotfolder.pdf.walk.copies import is_copy
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import Mapping, Plan, Purpose
from hotfolder.pdf.walk.operators import HANDLED, SPARING, TRIGGERS
from hotfolder.pdf.walk.outcome import Leftover, WalkResult
from hotfolder.pdf.walk.painted import group
from hotfolder.pdf.walk.placing import form_box, read_matrix
from hotfolder.pdf.walk.plain_runs import plain_runs
from hotfolder.pdf.walk.resources import ResourceEdits
from hotfolder.pdf.walk.state import IDENTITY, Box, Matrix, State, common_box, multiply
from hotfolder.pdf.walk.strangers import strangers

MOST_STREAMS = 200_000  # Forms in forms multiply: ten levels of ten are a million.
MOST_BYTES = 2**30  # of instructions, counted as often as they are followed
MOST_KEPT = 5000  # colours of one stream and space
LARGE = 2**20  # bytes of instructions
Colours = dict[tuple[object, tuple[float, ...], str], tuple[float, ...]]
_ENCODING = frozenset({"/Length", "/Filter", "/DecodeParms"})
_FRAMED = frozenset({"/Resources", "/Group"})


def walk(pdf: pikepdf.Pdf, mapping: Mapping, pages: Iterable[int] | None = None) -> WalkResult:
    """Rewrites the pages (numbers from 0; all if None) in place as the mapping says.

    It will not flatten transparency, turn text or vectors into pictures, or convert what it can't convert exactly:
    that stays as it was, in `leftovers`. Pages with leftovers are still whole. Damaged content never raises.
    """
    walker = Walker(pdf, mapping, WalkResult())
    for index in range(len(pdf.pages)) if pages is None else pages:
        walker.page(pdf.pages[index].obj, index + 1)
    return walker.result


def own_blending_space(
    group: object, resources: object, spaces: SpaceReader, *, isolated: bool | None = None
) -> Space | None:
    """The space that a transparency group blends in by itself; None where it takes that of what it lies on: it names
    none, or it isn't isolated (ISO 32000-1 11.6.6). `isolated`: known from elsewhere, as of a page's group."""
    found = entry(group, "/CS")
    alone = entry(group, "/I") is True if isolated is None else isolated
    if found is None or not alone or name(entry(group, "/S")) != "Transparency":
        return None
    try:
        return spaces.read(found, resources)
    except ValueError:
        return None


class Known(NamedTuple):
    """What became of an object that was met before, and what of it was left as it is."""

    made: object
    left: tuple[Leftover, ...]


class Walker:
    """One walk: what was converted once is used again, also on other pages."""

    def __init__(self, pdf: pikepdf.Pdf, mapping: Mapping, result: WalkResult) -> None:
        self.pdf, self.mapping, self.result = pdf, mapping, result
        self.spaces = SpaceReader()
        self.page_number = 0
        self.handlers = SPARING if mapping.spares else HANDLED
        self.scanner = scanner(frozenset((*self.handlers, *mapping.watched)))
        # Where gray and CMYK themselves are converted, g and k alone are reason enough to follow a stream.
        keeps = mapping.target.kind == "DeviceCMYK" and not mapping.converts_inks
        triggers = TRIGGERS if keeps else TRIGGERS | {b"g", b"G", b"k", b"K"}
        self.trigger = scanner(frozenset((*triggers, *mapping.watched)))
        self._plans: dict[object, Plan] = {}
        self._plans_by_purpose = {mapping.purpose: self._plans}
        self._colours: Colours = {}
        self._memo: dict[object, Known] = {}
        self.active: set[object] = set()
        self._followed = Counter[str]()  # streams and bytes, by all walkers of this walk together
        self._walkers: dict[int, Walker] = {id(mapping): self}
        self._shared: dict[bytes, Object] = {}

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
        state = self._inner(State(), page.get("/Group"), edits.found)
        state.grouped = False  # A page lies on paper: nothing shows through it.
        new = self.run(data, edits, state, IDENTITY, owned=True, black=True)[0]
        if new is not None:
            page.Contents = self._packed(new)
        if (resources := edits.result()) is not None:
            page.Resources = resources
        if (new_group := group(self, page.get("/Group"), edits.found)) is not None:
            page.Group = new_group
        annotations = page.get("/Annots")
        for annotation in annotations if isinstance(annotations, Array) else []:
            rewrite_appearance(self, annotation, edits.found)

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
        self._followed["streams"] += 1
        self._followed["bytes"] += len(data)
        if self._followed["streams"] > MOST_STREAMS or self._followed["bytes"] > MOST_BYTES:
            self.leave("drawing instructions", "forms inside forms multiply beyond what can be followed")
            return None, False
        runs = plain_runs(data)
        if self.mapping.lasting and not self.mapping.every_use:
            for word in strangers(data, runs):
                shown = word[:20].decode("latin-1").encode("unicode_escape").decode()
                self.leave("drawing instructions", f'"{shown}" is none: programs differ in what they make of it')
        at_once = not self.mapping.watched and not self.mapping.spares
        frame = Frame(self, data, edits, state, matrix, owned=owned, depth=depth, runs=runs if at_once else ())
        return frame.run(black and self.mapping.states_black), frame.borrowed

    def form(
        self, form: Stream, resources: object, state: State, *, owned: bool = False, black: bool = False, depth: int = 0
    ) -> tuple[object, bool]:
        """A form XObject, rewritten if need be, and whether it used a colour space of its caller."""
        if self.mapping.passes_copies and is_copy(form, resources):
            return form, False
        space = self.own_space(form, resources)
        worker = self.for_mask(self.mapping.for_group(form, space))
        made, borrowed = worker._known_form(form, resources, state, owned, black, depth)
        if borrowed and worker is not self:
            worker.leave("a group", "what it is painted with depends on the colour space set outside of it")
        return made, borrowed

    def own_space(self, form: Stream, resources: object) -> Space | None:
        """The space in which a group blends, where it is not that of what it lies on."""
        found = entry(form, "/Group")
        return None if found is None else own_blending_space(found, entry(form, "/Resources", resources), self.spaces)

    def _known_form(
        self, form: Stream, resources: object, state: State, owned: bool, black: bool, depth: int
    ) -> tuple[object, bool]:
        own = entry(form, "/Resources")
        used = own if own is not None else resources
        place = identity(form)
        key = (
            None
            if place is None
            else ("form", place, owned, black, None if own is not None else identity(used), self.dependence(state))
        )
        inherits = (state.fill.space.key, state.stroke.space.key)
        for inner in ((key, None), (key, inherits)):
            if key is not None and not self.mapping.every_use and (known := self.known(("form", inner))) is not None:
                return known.made, inner[1] is not None
        began = self.begin()
        box = form_box(form, state.ctm)
        if place in self.active or depth > MOST_LEVELS:
            self.leave("a form", "it draws itself" if place in self.active else "forms are nested too deeply", box)
            return form, False
        self.active.add(place)
        try:
            made, borrowed = self._form(form, used, own is not None, state, owned, black, depth)
        finally:
            self.active.discard(place)
        if key is not None:
            self.remember(("form", (key, inherits if borrowed else None)), made, began)
        return made, borrowed

    def _form(
        self, form: Stream, used: object, has_own: bool, state: State, owned: bool, black: bool, depth: int
    ) -> tuple[object, bool]:
        matrix = read_matrix(entry(form, "/Matrix"))
        found_group = entry(form, "/Group")
        inner = self._inner(state, found_group, used)
        inner.ctm = multiply(matrix, state.ctm)
        inner.clip = common_box(state.clip, form_box(form, state.ctm))
        edits = ResourceEdits(used)
        try:
            data = stream_bytes(form)
        except ValueError as fault:
            self.leave("a form", str(fault), form_box(form, state.ctm))
            return form, False
        new, borrowed = self.run(data, edits, inner, inner.ctm, owned=owned, black=black, depth=depth + 1)
        resources, new_group = edits.result(), group(self, found_group, used)
        if new is None and resources is None and new_group is None:
            return form, borrowed
        made = self.rewritten(form, new, _FRAMED)
        if resources is not None or has_own:
            made.Resources = resources if resources is not None else used
        if found_group is not None:
            made.Group = found_group if new_group is None else new_group
        return self.pdf.make_indirect(made), borrowed

    def _inner(self, state: State, found: object, resources: object) -> State:
        """The state in which a page's or form's content begins: afresh if it is a transparency group."""
        if name(entry(found, "/S")) != "Transparency":
            return state.copy()
        space = entry(found, "/CS")
        try:
            channels = None if space is None else self.spaces.read(space, resources).n
        except ValueError:
            channels = None
        isolated, knockout = (entry(found, key) is True for key in ("/I", "/K"))
        return state.for_group(state.ctm, isolated=isolated, knockout=knockout, channels=channels)

    def rewritten(self, stream: Stream | Object, new: bytes | None, leave_out: frozenset[str]) -> Stream:
        """A copy of a stream with new content, or with its very bytes where `new` is None."""
        made = Stream(self.pdf, stream.read_raw_bytes() if new is None else new)
        for key in stream.keys():  # noqa: SIM118
            if key not in leave_out and (new is None or key not in _ENCODING) and key != "/Length":
                made[key] = stream[key]
        return made

    def _packed(self, new: bytes) -> Object:
        """A content stream. A large one is packed here: many times as fast as at saving, and a little larger."""
        if not self.mapping.lasting or len(new) < LARGE:
            return self.pdf.make_stream(new)
        return self.pdf.make_stream(packed(new), Filter=Name.FlateDecode)

    def for_mask(self, mapping: Mapping) -> "Walker":
        """The walker for content that another mapping takes: the same document and result, but another memory."""
        if mapping is self.mapping:
            return self
        if id(mapping) not in self._walkers:
            walker = Walker(self.pdf, mapping, self.result)
            walker.active, walker._followed, walker._walkers = self.active, self._followed, self._walkers
            self._walkers[id(mapping)] = walker
        walker = self._walkers[id(mapping)]
        walker.page_number = self.page_number
        return walker

    # Colours

    def plan(self, space: Space) -> Plan:
        """The mapping's plan for a space, asked once; its remark is told on each page."""
        if space.key not in self._plans:
            self._plans[space.key] = self.mapping.plan(space, self.pdf)
        plan = self._plans[space.key]
        if plan.remark:
            self.result.remark(self.page_number, space.label(), plan.remark)
        return plan

    @contextmanager
    def using(self, what: Literal["colour", "picture", "gradient"], intent: str) -> Iterator[None]:
        """Tells the mapping for what the colours are that it is asked about meanwhile."""
        before = self.mapping.purpose
        self._meant_for(Purpose(what, intent if self.mapping.follows_intents else ""))
        try:
            yield
        finally:
            self._meant_for(before)

    def _meant_for(self, purpose: Purpose) -> None:
        self.mapping.purpose = purpose
        self._plans = self._plans_by_purpose.setdefault(purpose, {})

    def convert(self, wanted: Iterable[tuple[Space, tuple[float, ...], str]]) -> Colours:
        """Many colours at once: one call to the colour management for each space. CannotConvert if one can't be."""
        by_space: dict[tuple[object, str], tuple[Space, dict[tuple[float, ...], None]]] = {}
        for space, values, intent in wanted:
            if (space.key, values, intent) not in self._colours:
                by_space.setdefault((space.key, intent), (space, {}))[1][values] = None
        for (key, intent), (space, rows) in by_space.items():
            numbers = np.fromiter(itertools.chain.from_iterable(rows), np.float64).reshape(len(rows), -1)
            with self.using("colour", intent):
                found = self.mapping.colours(space, numbers, False)
            for values, result in zip(rows, found.tolist(), strict=True):
                self._colours[key, values, intent] = tuple(result)
        return self._colours

    def convert_rows(self, space: Space, rows: Floats, intent: str) -> Floats:
        """Colours (n, space.n) of one space. A great many are not kept in memory: few of them come again."""
        if len(rows) > MOST_KEPT:
            with self.using("colour", intent):
                return self.mapping.colours(space, rows, False)
        wanted = list(map(tuple, rows.tolist()))
        found = self.convert((space, values, intent) for values in wanted)
        return np.array([found[space.key, values, intent] for values in wanted])

    def shared(self, made: Dictionary) -> Object:
        """One object of the file for all dictionaries that are alike."""
        return self._shared.setdefault(made.unparse(), self.pdf.make_indirect(made))

    def leave(self, what: str, why: str, box: Box | None = None) -> None:
        self.result.leave(self.page_number, what, why, box)

    # Memory

    def known(self, key: tuple[object, ...]) -> Known | None:
        """What became of this object when it was met before (its leftovers are told for this page too)."""
        found = self._memo.get(key)
        for leftover in found.left if found is not None else ():
            self.leave(leftover.what, leftover.why)
        return found

    def begin(self) -> int:
        """A mark to hand to `remember`."""
        return len(self.result.leftovers)

    def remember(self, key: tuple[object, ...], made: object, began: int) -> object:
        """Keeps what an object became. The key's second part is what identifies it: None for one not shared."""
        if key[1] is not None:
            self._memo[key] = Known(made, tuple(self.result.leftovers[began:]))
        return made

    def dependence(self, state: State) -> object:
        """What of the caller's state a form's result depends on, beside its colours."""
        modes = (state.overprint_fill, state.overprint_stroke, state.overprint_mode, state.written_mode)
        scale = self.scale(state)
        if self.mapping.spares:
            colours = ((c.space.key, c.values, c.pattern) for c in (state.fill, state.stroke))
            return scale, modes, *colours, state.blend, state.grouped, state.text_mode
        wanted = self.mapping.depends(state), state.intent
        return scale, wanted, modes if self.mapping.target.kind == "DeviceCMYK" else None

    def scale(self, state: State) -> int:
        """How far a picture placed here may be shrunk, as a power of two: part of what a result depends on."""
        if self.mapping.picture_ppi is None:
            return 0
        a, b, c, d, _, _ = state.ctm
        area = abs(a * d - b * c)
        return int(np.clip(np.round(np.log2(area) / 2), -20, 40)) if area > 0 else 0
