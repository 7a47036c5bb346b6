"""Counts what a PDF paints, and where: pictures with their resolution, colour spaces, inks, text sizes, transparency.

Nothing is changed. Clipping is not considered: what is cropped away counts as painted.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import pikepdf
from pikepdf import Dictionary, Object

from hotfolder.pdf.looking.lettered import LetteredPictures
from hotfolder.pdf.looking.paint_watch import PaintWatch
from hotfolder.pdf.objects import entry, identity, name, names, number, whole
from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import Mapping
from hotfolder.pdf.walk.outcome import Leftover, WalkResult
from hotfolder.pdf.walk.state import UNIT, Box, Matrix, State, transform_box
from hotfolder.pdf.walk.walker import Walker

MOST_COLOURS = 4096  # different single colours remembered for each page


@dataclass(frozen=True, slots=True)
class Placement:
    """One picture as placed. `box`, `matrix` are in the page's user space; pixels per inch count its UserUnit.

    `ppi_x` and `ppi_y` are the picture's columns and rows over the length that the matrix gives its sides.
    `space` is None for a stencil; `name` is "" for an inline picture; `soft_mask`: it has one of its own.
    """

    page: int
    name: str
    box: Box
    matrix: Matrix
    width: int
    height: int
    ppi_x: float
    ppi_y: float
    space: Space | None
    bits: int
    filters: tuple[str, ...]
    inline: bool
    soft_mask: bool
    object_id: tuple[int, int] | None

    @property
    def ppi(self) -> float:
        """The lesser of both resolutions."""
        return min(self.ppi_x, self.ppi_y)

    @property
    def space_name(self) -> str:
        return "stencil" if self.space is None else self.space.label()


def placements(page: pikepdf.Page | Object, number: int = 1) -> list[Placement]:
    """Every picture that a page paints, in the order of painting: in forms, patterns, masks, printing annotations too.

    The page's document must stay open meanwhile. A form used ten times gives its pictures ten times;
    letters that are pictures (Type 3) count once for each size, stencils among them not. Pictures whose dictionary makes
    no sense are left out.
    """
    page = page.obj if isinstance(page, pikepdf.Page) else page
    looker = _Pictures(user_unit(page))
    with pikepdf.new() as workbench:
        Walker(workbench, looker, WalkResult()).page(page, number)
        if looker.lettered:
            Walker(workbench, LetteredPictures(looker.place), WalkResult()).page(page, number)
    return looker.found


def user_unit(page: object) -> float:
    """How many points one unit of the page's space is (ISO 32000-1 table 30)."""
    unit = entry(page, "/UserUnit")
    try:
        return max(number(unit, 1.0), 1e-6)
    except ValueError:
        return 1.0


class _Pictures(Mapping):
    every_use = True

    def __init__(self, unit: float) -> None:
        self.unit, self.found = unit, list[Placement]()
        self.lettered = False  # letters are pictures, whose size is known where text is shown

    def picture_placed(self, frame: Frame, picture: Object, space: Space | None, name: str) -> None:
        if frame.state.in_glyph:
            self.lettered |= space is not None
        else:
            self.place(frame, picture, space, name)

    def place(self, frame: Frame, picture: Object, space: Space | None, name: str) -> None:
        try:
            width, height = whole(entry(picture, "/Width")), whole(entry(picture, "/Height"))
            bits = 1 if space is None else whole(entry(picture, "/BitsPerComponent"), 8)
        except ValueError:
            return
        a, b, c, d, _, _ = matrix = frame.state.ctm
        across, up = math.hypot(a, b) * self.unit / 72, math.hypot(c, d) * self.unit / 72
        self.found.append(
            Placement(
                page=frame.page,
                name=name[1:],
                box=transform_box(UNIT, matrix),
                matrix=matrix,
                width=width,
                height=height,
                ppi_x=width / across if across > 0 else math.inf,
                ppi_y=height / up if up > 0 else math.inf,
                space=space,
                bits=bits,
                filters=tuple(names(entry(picture, "/Filter"))),
                inline=name == "",
                soft_mask=entry(picture, "/SMask") is not None,
                object_id=identity(picture),
            )
        )


@dataclass(slots=True)
class Use:
    """How often something is painted, and where first (page space; None where the place is not known)."""

    count: int = 0
    box: Box | None = None

    def add(self, box: Box | None) -> None:
        self.count += 1
        self.box = box if self.box is None else self.box


@dataclass(slots=True)
class SpaceUse(Use):
    """Use of one colour space; `how`: fill, stroke, text, picture, gradient."""

    space: Space | None = None
    how: set[str] = field(default_factory=set)


@dataclass(slots=True)
class Smallest:
    """The least size met, in points on paper, and where."""

    size: float = math.inf
    box: Box | None = None
    count: int = 0

    def add(self, size: float, box: Box | None) -> None:
        self.count += 1
        if size < self.size:
            self.size, self.box = size, box


@dataclass(slots=True)
class PageUse:
    """What one page paints. `inks`: names in Separation and DeviceN spaces; `colours`: (space's label, numbers);
    `text`: font name -> smallest size shown; `transparency`: "blend Multiply", "alpha", "soft mask", "group"."""

    page: int
    spaces: dict[object, SpaceUse] = field(default_factory=dict)
    inks: dict[str, Use] = field(default_factory=dict)
    colours: dict[tuple[str, tuple[float, ...]], Use] = field(default_factory=dict)
    text: dict[str, Smallest] = field(default_factory=dict)
    lines: Smallest = field(default_factory=Smallest)
    overprint: Use = field(default_factory=Use)
    white_overprint: Use = field(default_factory=Use)
    transparency: dict[str, Use] = field(default_factory=dict)
    group_spaces: set[str] = field(default_factory=set)
    unread: list[Leftover] = field(default_factory=list)

    def kinds(self) -> set[str]:
        """Every colour space's kind in use, those inside tables and patterns included."""
        found: set[str] = set()
        for use in self.spaces.values():
            space = use.space
            while space is not None:
                found.add(space.kind)
                space = space.base if space.kind in ("Indexed", "Pattern") else None
        return found


def colour_use(pdf: pikepdf.Pdf, pages: Iterable[int] | None = None) -> list[PageUse]:
    """What the pages (numbers from 0; all if None) paint, one record for each."""
    found = []
    for index in range(len(pdf.pages)) if pages is None else pages:
        page = pdf.pages[index].obj
        use = PageUse(index + 1)
        result = WalkResult()
        Walker(pdf, _Colours(use, user_unit(page)), result).page(page, index + 1)
        use.unread = result.leftovers
        found.append(use)
    return found


class _Colours(PaintWatch):
    """Fills a PageUse from what is painted."""

    def __init__(self, use: PageUse, unit: float) -> None:
        self.use, self.unit = use, unit

    def painted(self, frame: Frame, how: str, box: Box | None) -> None:
        state = frame.state
        colour = state.stroke if how == "stroke" else state.fill
        if colour.pattern:
            self._space(frame, colour.space, how, box)
        elif colour.space.kind != "Pattern":
            self._space(frame, colour.space, how, box)
            key = colour.space.label(), colour.values
            if key in self.use.colours or len(self.use.colours) < MOST_COLOURS:
                self.use.colours.setdefault(key, Use()).add(box)
        overprints = state.overprint_stroke if how == "stroke" else state.overprint_fill
        if overprints:
            self.use.overprint.add(box)
            if colour.space.kind == "DeviceCMYK" and not any(colour.values) and state.overprint_mode == 1:
                self.use.white_overprint.add(box)  # It vanishes (8.6.7).
        self._transparency(state, state.alpha_stroke if how == "stroke" else state.alpha_fill, box)

    def _transparency(self, state: State, alpha: float, box: Box | None) -> None:
        met = ["alpha"] * (alpha < 1) + ["soft mask"] * state.masked
        met += [f"blend {state.blend}"] * (state.blend not in ("Normal", "Compatible"))
        for what in met:
            self.use.transparency.setdefault(what, Use()).add(box)

    def _space(self, frame: Frame, space: Space, how: str, box: Box | None) -> None:
        found = self.use.spaces.setdefault(space.key, SpaceUse(space=space))
        found.add(box)
        found.how.add(how)
        for ink in space.ink_names:
            self.use.inks.setdefault(ink, Use()).add(box)

    def line_drawn(self, frame: Frame, width: float, box: Box | None) -> None:
        self.use.lines.add(width * self.unit, box)

    def text_shown(self, frame: Frame, size: float, box: Box | None) -> None:
        font = frame.state.font
        called = name(entry(font, "/BaseFont")) or name(entry(font, "/Name")) or "a font without a name"
        self.use.text.setdefault(called, Smallest()).add(size * self.unit, box)

    def picture_placed(self, frame: Frame, picture: Object, space: Space | None, name: str) -> None:
        box = transform_box(UNIT, frame.state.ctm)
        if space is None:
            self.painted(frame, "fill", box)
            return
        self._space(frame, space, "picture", box)
        if frame.state.overprint_fill:
            self.use.overprint.add(box)
        if entry(picture, "/SMask") is not None:
            self.use.transparency.setdefault("soft mask", Use()).add(box)
        self._transparency(frame.state, frame.state.alpha_fill, box)

    def gradient_painted(self, frame: Frame, space: Space) -> None:
        self._space(frame, space, "gradient", None)
        self._transparency(frame.state, frame.state.alpha_fill, None)

    def group_seen(self, walker: Walker, group: Dictionary) -> None:
        self.use.transparency.setdefault("group", Use()).add(None)
        found = entry(group, "/CS")
        if found is not None:
            try:
                self.use.group_spaces.add(walker.spaces.read(found, None).label())
            except ValueError:
                self.use.group_spaces.add("unreadable")
