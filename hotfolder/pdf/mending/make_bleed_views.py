"""Shows a page's edge before and after bleed was made: the place along it where the art has most in it, and a corner."""

from __future__ import annotations

from dataclasses import dataclass

from PIL import Image, ImageDraw

from hotfolder.finding import Box
from hotfolder.pdf.mending.make_bleed_look import Seen, seen_side
from hotfolder.pdf.mending.make_bleed_plan import Plan
from hotfolder.pdf.render import Pages, Rendered
from hotfolder.units import MM

_LONG, _DEEP = 40 * MM, 24 * MM  # of paper: how much of an edge is shown, and how far inwards
_PIXELS = 600
_LINE = (230, 0, 126)  # of the trim, in a colour that stands out in most art
_TABLE = (214, 214, 214)  # where there is no sheet


@dataclass(frozen=True)
class Place:
    """A part of a page to be shown, and what it is called."""

    words: str
    area: Box


def places(seen: Seen, plan: Plan) -> list[Place]:
    """What is worth looking at: the busiest place of the edge that was continued, and a corner. `plan`: what was lacking."""
    edges, sides = seen.edges, seen.plan.lacking or seen.hidden
    at = max(sides, key=lambda side: edges.detail(plan.art, side))
    middle = seen.middles.get(at) or edges.busiest(plan.art, at)
    found = [Place(f"at the {seen_side(plan.boxes, at)}", _along(plan, at, middle))]
    corners = [_corner(plan, x, y) for x in sides for y in sides if x % 2 == 0 and y % 2 == 1]
    if corners:
        found.append(Place("in a corner", max(corners, key=edges.variety)))
    return found


def draw_place(pages: Pages, plan: Plan, place: Place) -> Image.Image:
    """One place as the page has it now, with a thin line where it is cut, and gray where there is no sheet."""
    inches = max(pages.shown_inches(plan.number, place.area))
    drawn = pages.render(plan.number, _PIXELS / inches, place.area)
    picture = Image.new("RGB", drawn.size, _TABLE)
    sheet = pages.sheet(plan.number).common(place.area)
    if sheet is not None:
        spot = drawn.place(sheet)
        picture.paste(drawn.picture.crop(spot), spot[:2])
    _draw_trim(picture, drawn, plan.boxes.trim)
    return picture


def _draw_trim(picture: Image.Image, drawn: Rendered, trim: Box) -> None:
    draw = ImageDraw.Draw(picture)
    left, top, right, bottom = drawn.place(trim)
    draw.line([(left, top), (right, top), (right, bottom), (left, bottom), (left, top)], fill=_LINE, width=1)


def _along(plan: Plan, at: int, middle: float) -> Box:
    """A window on one side, about its busiest place."""
    wanted, unit = plan.wanted, plan.boxes.user_unit
    across = (at + 1) % 2
    low, high = wanted[across], wanted[across + 2]
    long, deep = min(_LONG / unit, high - low), _DEEP / unit
    start = min(max(middle - long / 2, low), high - long)
    sides = [0.0] * 4
    sides[across], sides[across + 2] = start, start + long
    margin = 0.1 * deep
    outer = wanted[at] + (margin if at > 1 else -margin)
    inner = wanted[at] - (deep if at > 1 else -deep)
    sides[at], sides[(at + 2) % 4] = outer, inner
    return Box(*sides)


def _corner(plan: Plan, x: int, y: int) -> Box:
    """A window on the corner where two sides meet, by their places in a box."""
    wanted, deep = plan.wanted, _DEEP / plan.boxes.user_unit
    margin = 0.1 * deep
    left = wanted.left - margin if x == 0 else wanted.right - deep
    bottom = wanted.bottom - margin if y == 1 else wanted.top - deep
    return Box(left, bottom, left + deep + margin, bottom + deep + margin)
