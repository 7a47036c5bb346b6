"""Follows one content stream operator by operator, keeps its graphics state, and notes what must be written anew."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from pikepdf import Array, Dictionary, Name

from hotfolder.pdf.objects import entry
from hotfolder.pdf.values.spaces import PATTERN, Space
from hotfolder.pdf.walk.at_once import follow
from hotfolder.pdf.walk.changes import Changes, Converted
from hotfolder.pdf.walk.content import Operation, parse_name, parse_numbers, write_name
from hotfolder.pdf.walk.graphics import apply, read_graphics, read_intent
from hotfolder.pdf.walk.mapping import Fate, Plan
from hotfolder.pdf.walk.overprint import keep_overprint
from hotfolder.pdf.walk.painted import graphics_state, pattern
from hotfolder.pdf.walk.plain_runs import PlainRun
from hotfolder.pdf.walk.resources import ResourceEdits
from hotfolder.pdf.walk.state import MOST_SAVED, Colour, Matrix, State, multiply

if TYPE_CHECKING:
    from hotfolder.pdf.walk.walker import Walker

# Which device space an operator chooses (table 74).
DEVICE = {b"g": "DeviceGray", b"rg": "DeviceRGB", b"k": "DeviceCMYK"}
DEVICE |= {b"G": "DeviceGray", b"RG": "DeviceRGB", b"K": "DeviceCMYK"}
MOST_STATED = 5000  # device colours remembered as read; more are read each time
_DEFAULTS = {"/DefaultGray": "DeviceGray", "/DefaultRGB": "DeviceRGB", "/DefaultCMYK": "DeviceCMYK"}


COLOURS = frozenset(
    (*DEVICE, b"cs", b"CS", b"sc", b"scn", b"SC", b"SCN", b"sh")
)  # void in an uncoloured cell (8.7.3.3)


class Frame:
    """One content stream on its way. Mappings read `walker`, `state`, `edits` and `page`."""

    def __init__(
        self,
        walker: "Walker",
        data: bytes,
        edits: ResourceEdits,
        state: State,
        matrix: Matrix,
        *,
        owned: bool,
        depth: int,
        runs: Sequence[PlainRun] = (),
    ) -> None:
        self.walker, self.data, self.edits, self.state, self.depth = walker, data, edits, state, depth
        self.base, self._runs = matrix, runs
        self.memory: dict[str, object] = {}  # for mappings that follow paths or text
        self.borrowed = False
        self._owned = (owned, owned)  # fill, stroke: set in this very stream
        self.saved: list[tuple[State, tuple[bool, bool]]] = []
        self.changes = Changes(data)
        self._devices: dict[str, tuple[Space, Plan]] = {}
        self._stated: dict[tuple[object, ...], tuple[Colour, Converted | None, str]] = {}
        self._graphics: dict[str, tuple[dict[str, object], str]] = {}
        self.gradients: dict[tuple[str, str], tuple[Space | None, str]] = {}
        self.fonts: dict[str, tuple[object, bool]] = {}
        self._named: dict[str, Space] = {}
        self._after_space: tuple[int, bool, int] | None = None  # end of the last cs, its side, its change's place
        self._left = len(walker.result.leftovers)

    @property
    def page(self) -> int:
        return self.walker.page_number

    @property
    def resources(self) -> Dictionary:
        return self.edits.found

    def run(self, states_black: bool) -> bytes | None:
        """The stream's new bytes, None where they stay as they are."""
        mapping = self.walker.mapping
        mapping.stream_begins(self, self.base)
        defaults = [key for key in _DEFAULTS if self.edits.get("/ColorSpace", key) is not None]
        if states_black:
            black = self.walker.spaces.device("DeviceGray", self.resources)
            for stroke in (False, True):
                self.changes.add(0, 0, Converted(black, black.initial(), stroke, intent=self.state.intent))
        if not defaults and not mapping.spares and not self.walker.trigger.touches(self.data):
            return self.changes.written(self.walker)
        handlers, watched = self.walker.handlers, frozenset(mapping.watched)
        for operation in self._operations():
            handle = handlers.get(operation.operator)
            if self.state.uncoloured and operation.operator in COLOURS:
                continue
            try:
                if handle is not None:
                    handle(self, operation)
                if operation.operator in watched:
                    mapping.operation(self, operation)
            except (ValueError, IndexError) as fault:
                self.walker.leave(f"the operator {operation.operator.decode('latin-1')}", str(fault))
            if len(self.saved) > MOST_SAVED:
                self.walker.leave("drawing instructions", "the graphics state is saved too many times")
                return None
        new = self.changes.written(self.walker)
        self._drop_defaults(defaults)
        return new

    def _operations(self) -> Iterator[Operation]:
        """The operators to follow one by one. Plain runs are followed between them, as a whole."""
        scan, position = self.walker.scanner.scan, 0
        for run in self._runs:
            if position < run.start:
                for operation in scan(self.data, position):
                    yield operation
                    position = operation.end
                    if position >= run.start:
                        break
                else:
                    return
            rest = run.after(position)
            if rest is not None and follow(self, rest):
                position = run.end
        yield from scan(self.data, position)

    # Writing

    def _drop_defaults(self, defaults: list[str]) -> None:
        """Default spaces would change the meaning of the device colours written (8.6.5.6): they go, unless something
        that could not be converted still needs them."""
        if len(self.walker.result.leftovers) > self._left:
            return
        for key in defaults:
            space = self.walker.spaces.device(_DEFAULTS[key], self.resources)
            if self.walker.plan(space).fate in (Fate.SWAP, Fate.CONVERT):
                self.edits.remove("/ColorSpace", key)

    def owns(self, stroke: bool) -> bool:
        """Whether the current colour was set in this very stream, not by the one that draws it."""
        return self._owned[stroke]

    @property
    def owns_both(self) -> bool:
        return all(self._owned)

    def set_graphics(self, at: int, name: str, graphics: Dictionary) -> None:
        """Puts a `gs` between two operators; dictionaries that are alike share one object."""
        written = self.edits.use("/ExtGState", name, self.walker.shared(graphics))
        self.changes.add(at, at, write_name(written) + b" gs")

    def uses_callers_colours(self) -> None:
        """Notes that what is written depends on colours set by the stream that draws this one."""
        self.borrowed |= not self.owns_both

    # Colours

    def _colour(self, stroke: bool) -> Colour:
        return self.state.stroke if stroke else self.state.fill

    def _set(self, stroke: bool, colour: Colour) -> None:
        if stroke:
            self.state.stroke = colour
        else:
            self.state.fill = colour

    def own_colour(self, stroke: bool, colour: Colour) -> None:
        """A colour chosen with its space in this very stream."""
        self._set(stroke, colour)
        self._owned = (self._owned[0], True) if stroke else (True, self._owned[1])

    def device(self, operation: Operation) -> None:
        """g rg k and their stroking twins."""
        key = (operation.operator, self.state.intent, *operation.operands)
        known = self._stated.get(key)
        if known is None:
            known = self._read_device(operation)
            if len(self._stated) < MOST_STATED:
                self._stated[key] = known
        colour, new, trouble = known
        stroke = operation.operator.isupper()
        self.own_colour(stroke, colour)
        if new is not None:
            self.changes.add(operation.start, operation.end, new)
        elif trouble:
            self.walker.leave(f"a colour in {colour.space.label()}", trouble)
        keep_overprint(self, operation.end)

    def _read_device(self, operation: Operation) -> tuple[Colour, Converted | None, str]:
        """The colour that is set, what is written for it (None: it stays), and why it can't be converted."""
        stroke = operation.operator.isupper()
        space, plan = self.device_space(operation.operator)
        values = parse_numbers(operation.operands, space.n)
        new = Converted(space, values, stroke, intent=self.state.intent) if plan.fate is Fate.CONVERT else None
        return Colour(space, values), new, plan.why if plan.fate is Fate.LEAVE else ""

    def device_space(self, operator: bytes) -> tuple[Space, Plan]:
        """The space that a device colour's operator chooses, and what becomes of it."""
        kind = DEVICE[operator]
        if kind not in self._devices:
            space = self.walker.spaces.device(kind, self.resources)
            self._devices[kind] = space, self.walker.plan(space)
        return self._devices[kind]

    def choose(self, operation: Operation) -> None:
        """cs and CS."""
        stroke = operation.operator == b"CS"
        key = parse_name(operation.operands[-1])
        space = self._space(key)
        self.own_colour(stroke, Colour(space, space.initial()))
        plan = self.walker.plan(space if space.kind != "Pattern" or space.base is None else space.base)
        if plan.fate is Fate.LEAVE:
            self.walker.leave(f"a colour in {space.label()}", plan.why)
        elif space.kind == "Pattern":
            if space.base is not None and plan.fate is not Fate.KEEP:
                target = Name("/" + self.walker.mapping.target.kind)
                self._swap(operation, key, Array([Name.Pattern, target if plan.fate is Fate.CONVERT else plan.swap]))
        elif plan.fate is Fate.SWAP:
            self._swap(operation, key, plan.swap)
        elif plan.fate is Fate.CONVERT:
            self._after_space = (operation.end, stroke, len(self.changes))
            new = Converted(space, space.initial(), stroke, intent=self.state.intent)
            self.changes.add(operation.start, operation.end, new)
        if space.kind != "Pattern":
            keep_overprint(self, operation.end)

    def _space(self, key: str) -> Space:
        if key not in self._named:
            self._named[key] = self.walker.spaces.named(key, self.resources)
        return self._named[key]

    def _swap(self, operation: Operation, key: str, now: object) -> None:
        if self.edits.get("/ColorSpace", key) is None:
            return  # A device space by its own name: what stood in for it is removed at the stream's end.
        written = self.edits.use("/ColorSpace", key, now)
        self.walker.result.changed["spaces"] += 1
        if written != key:
            self.changes.add(operation.start, operation.end, write_name(written) + b" " + operation.operator)

    def paint_with(self, operation: Operation) -> None:
        """sc scn and their stroking twins."""
        stroke = operation.operator in (b"SC", b"SCN")
        self.borrowed |= not self._owned[stroke]
        space = self._colour(stroke).space
        if operation.operands and operation.operands[-1].startswith(b"/"):
            self._pattern(operation, stroke, space)
            return
        values = parse_numbers(operation.operands, space.n)
        self._set(stroke, Colour(space, values))
        plan = self.walker.plan(space)
        if plan.fate is Fate.CONVERT:
            start = self._join_space(operation, stroke)
            new = Converted(space, values, stroke, intent=self.state.intent)
            self.changes.add(start, operation.end, new)
        keep_overprint(self, operation.end)

    def _join_space(self, operation: Operation, stroke: bool) -> int:
        """Where the new operator begins: it takes the place of a `cs` right before it, which sets a colour too."""
        if self._after_space is not None:
            end, side, place = self._after_space
            if (
                side == stroke
                and place == len(self.changes) - 1
                and not self.data[end : operation.start].strip(b"\0\t\n\f\r ")
            ):
                return self.changes.take_back()
        return operation.start

    def _pattern(self, operation: Operation, stroke: bool, space: Space) -> None:
        key = parse_name(operation.operands[-1])
        found = self.edits.get("/Pattern", key)
        if found is None:
            raise ValueError(f"the pattern {key[1:]} is missing")
        base = space.base if space.kind == "Pattern" else None
        numbers = operation.operands[:-1]
        values = parse_numbers(numbers, base.n) if base is not None and numbers else ()
        gradient = self.gradient_space(found.get("/Shading")) if isinstance(found, Dictionary) else None
        if gradient is not None:
            self.walker.mapping.gradient_painted(self, gradient)
        self._set(stroke, Colour(space if space.kind == "Pattern" else PATTERN, values, key, gradient))
        colour = Colour(base, values) if base is not None and values else Colour()
        now = pattern(self.walker, found, self.resources, self.depth, self.base, colour)
        written = self.edits.use("/Pattern", key, now)
        plan = None if base is None else self.walker.plan(base)
        if base is not None and values and plan is not None and plan.fate is Fate.CONVERT:
            new = Converted(base, values, stroke, written, self.state.intent)
            self.changes.add(operation.start, operation.end, new)
        elif written != key:
            text = b" ".join([*numbers, write_name(written), operation.operator])
            self.changes.add(operation.start, operation.end, text)
        keep_overprint(self, operation.end)

    def gradient_space(self, found: object) -> Space | None:
        try:
            return self.walker.spaces.read(entry(found, "/ColorSpace"), self.resources)
        except ValueError:
            return None  # told where it is converted

    # State

    def save(self, operation: Operation | None = None) -> None:
        self.saved.append((self.state.copy(), self._owned))

    def restore(self, operation: Operation | None = None) -> None:
        if self.saved:
            self.state, self._owned = self.saved.pop()

    def concatenate(self, operation: Operation) -> None:
        a, b, c, d, e, f = parse_numbers(operation.operands, 6)
        self.state.ctm = multiply((a, b, c, d, e, f), self.state.ctm)

    def graphics(self, operation: Operation) -> None:
        key = parse_name(operation.operands[-1])
        known = self._graphics.get(key)
        if known is None:
            known = self._read_graphics(key)
            if not self.walker.mapping.every_use:
                self._graphics[key] = known
        sets, written = known
        before = self.state.intent
        apply(sets, self.state)
        self.walker.mapping.state_changed(self, self.state)
        if written != key:
            self.changes.add(operation.start, operation.end, write_name(written) + b" gs")
        self._restate(before, operation.end)
        keep_overprint(self, operation.end)

    def _read_graphics(self, key: str) -> tuple[dict[str, object], str]:
        """What a graphics state dictionary sets, and under which name it stands in the changed stream."""
        found = self.edits.get("/ExtGState", key)
        if not isinstance(found, Dictionary):
            raise ValueError(f"the graphics state {key[1:]} is missing")
        sets = read_graphics(found)
        if not self.walker.mapping.follows_intents:
            sets.pop("intent", None)
        now = graphics_state(self.walker, found, self.resources, self.depth)
        return sets, self.edits.use("/ExtGState", key, now)

    def intent(self, operation: Operation) -> None:
        """ri."""
        if self.walker.mapping.follows_intents:
            before, self.state.intent = self.state.intent, read_intent(parse_name(operation.operands[-1])[1:])
            self._restate(before, operation.end)

    def _restate(self, before: str, at: int) -> None:
        """Writes the colours in force once more where another intent gives other inks for them: the intent is that of
        the moment of painting (8.6.5.8)."""
        for stroke in (False, True) if self.state.intent != before else ():
            colour = self._colour(stroke)
            self.borrowed |= not self._owned[stroke]
            if not colour.pattern and self._owned[stroke] and self.walker.plan(colour.space).fate is Fate.CONVERT:
                self.changes.add(at, at, Converted(colour.space, colour.values, stroke, intent=self.state.intent))
