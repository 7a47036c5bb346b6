"""The words for bleed that was made, with the advice to look at the seam."""

from __future__ import annotations

from hotfolder.gathered import Found, listed
from hotfolder.pdf.looking.edges import SIDES
from hotfolder.pdf.mending.make_bleed_look import Seen, seen_side
from hotfolder.pdf.mending.make_bleed_plan import Method, Plan
from hotfolder.plugin import Level, show_length

_HOW = {
    Method.MIRROR: "its art was folded outwards at the edge, as in a mirror",
    Method.STRETCH: "its art was laid under itself, a little larger",
    Method.EXTEND: "the outermost line of its art was drawn outwards",
}
_SEAM = (
    "Look at the seam: letters, faces, frames and patterns close to the edge show again in the bleed. If that is not "
    "good enough, let backgrounds and pictures run past the edge in the program that made the poster, and export again "
    "with bleed."
)
_ACCEPT = (
    "Look at the edge in the pictures. If it is good, drop the file again in a folder that makes bleed without asking. "
    "If not, let backgrounds and pictures run past the edge in the program that made the poster, and export again with "
    "bleed."
)
_BY_HAND = "Let backgrounds and pictures run past the edge on all sides, and export again with that bleed."


def code(ask: bool) -> str:
    return "bleed_to_look_at" if ask else "bleed_made"


def made(seen: Seen, method: Method, bleed: float, ask: bool, annotated: bool) -> Found:
    """Bleed was made of the art on some sides."""
    plan, sides = seen.plan, seen.plan.lacking
    message = f"{{page}} had {_how_much(plan)} {_where(plan, sides)}; there {_HOW[method]}."
    if seen.bare:
        message += f" {_where(plan, seen.bare).capitalize()} the paper is bare along the cut, and needs no bleed."
    if annotated:
        message += " Comments and form fields were not continued."
    return Found(
        code(ask),
        message,
        measured=show_length(seen.plan.shortest()),
        required=show_length(bleed),
        mend=_ACCEPT if ask else _SEAM,
        level=Level.HOLD if ask else Level.MENDED,
        box=plan.boxes.trim,
    )


def uncovered(lacked: Plan, seen: Seen, bleed: float) -> Found:
    """The art went on beyond the page's edge already."""
    message = (
        f"{{page}} showed no bleed {_where(lacked, seen.hidden)}, but its art goes on beyond the edge there; now "
        "the page shows it."
    )
    return Found(
        "bleed_uncovered",
        message,
        measured=show_length(lacked.shortest()),
        required=show_length(bleed),
        mend="Look at the edge: what was hidden there was perhaps not meant to be seen.",
        level=Level.MENDED,
        box=lacked.boxes.trim,
    )


def no_art(lacked: Plan, bleed: float) -> Found:
    """Nothing stands along the edges that lack bleed."""
    where = _where(lacked, lacked.lacking)
    message = f"{{page}} has no bleed {where}, but the paper is bare along the cut: there is no art to make bleed of."
    mend = "If the art was to fill the page, let it run past the edge on all sides, and export again."
    return Found("no_art_at_edge", message, None, show_length(bleed), mend, level=Level.NOTE, box=lacked.boxes.trim)


def still_missing(plan: Plan, bleed: float) -> Found:
    """What was made does not fill the bleed everywhere."""
    message = (
        "{page} still lacks bleed in places: the art that was continued is too narrow there to fill it, or something "
        "white of the page's own lies in the bleed, and what is there is never covered."
    )
    return Found(
        "bleed_still_missing", message, None, show_length(bleed), _BY_HAND, level=Level.NOTE, box=plan.boxes.trim
    )


def not_made(reason: str) -> Found:
    """Bleed can't be made on a page, which stays as it was."""
    return Found("bleed_not_made", f"No bleed could be made for {{page}}. {reason}", mend=_BY_HAND, level=Level.NOTE)


def _how_much(plan: Plan) -> str:
    least = plan.shortest()
    return "no bleed" if least < 0.05 else f"only {show_length(least)} bleed"


def _where(plan: Plan, sides: tuple[int, ...]) -> str:
    named = [seen_side(plan.boxes, at) for at in sides]
    return "on all four sides" if len(named) == 4 else f"at the {listed([side for side in SIDES if side in named])}"
