"""What check_ink says, in words that a designer understands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Unpack

from hotfolder.colour.condition import Condition
from hotfolder.finding import About
from hotfolder.gathered import listed
from hotfolder.ink import PageInk
from hotfolder.names import printable
from hotfolder.pdf.looking.coverage import Place
from hotfolder.pdf.looking.ink_watch import Kind
from hotfolder.plugin import Box, Finding, Level

from .looked import At
from .names import plain

if TYPE_CHECKING:
    from . import CheckInkSettings

STEP = "check_ink"
_MOST_NAMED = 6
_MOST_LETTERS = 40
_LESS_INK = (
    "Lighten the colours there, or convert the artwork anew with the printer's own profile, so that all inks together "
    "stay within the limit. A deep black needs no more than cyan 60, magenta 40, yellow 40, black 100 (240 %)."
)


class Teller:
    """Collects what there is to say. `count` is how many pages the file has."""

    def __init__(self, condition: Condition, count: int) -> None:
        self.condition, self.count = condition, count
        self.limit = condition.ink_limit
        self.findings: list[Finding] = []

    def hold(self, code: str, message: str, **about: Unpack[About]) -> None:
        self.findings.append(Finding(level=Level.HOLD, code=code, message=message, step=STEP, **about))

    def note(self, code: str, message: str, **about: Unpack[About]) -> None:
        self.findings.append(Finding(level=Level.NOTE, code=code, message=message, step=STEP, **about))

    def _start(self, page: int, sentence: str) -> str:
        return f"On page {page}, {sentence[:1].lower()}{sentence[1:]}" if self.count > 1 else sentence

    # Total ink

    def over_limit(self, page: int, place: Place) -> None:
        self.hold(
            "over_limit",
            self._start(
                page,
                f"At this place the poster carries up to {place.peak:.0f} % of ink; {self.condition.title} takes "
                f"{self.limit:g} %. The print would dry badly and smear.",
            ),
            measured=f"{place.peak:.0f} % at most, {_area(place.square_cm)} above the limit",
            required=f"at most {self.limit:g} %",
            page=page,
            box=place.box,
            mend=_LESS_INK,
        )

    def more_over_limit(self, page: int, places: Sequence[Place]) -> None:
        self.hold(
            "over_limit",
            self._start(
                page,
                f"{_counted(len(places), 'more place')} {'carries' if len(places) == 1 else 'carry'} more ink than "
                f"{self.limit:g} %; here is the next.",
            ),
            measured=f"{max(place.peak for place in places):.0f} % at most",
            required=f"at most {self.limit:g} %",
            page=page,
            box=places[0].box,
            mend=_LESS_INK,
        )

    def small_over_limit(self, page: int, places: Sequence[Place]) -> None:
        peak, area = max(place.peak for place in places), sum(place.square_cm for place in places)
        where = "one small place" if len(places) == 1 else f"{len(places)} small places"
        self.note(
            "over_limit_small",
            self._start(
                page,
                f"In {where} the poster carries up to {peak:.0f} % of ink; {self.condition.title} takes "
                f"{self.limit:g} %. So little of it usually prints without trouble.",
            ),
            measured=f"{peak:.0f} % at most, {_area(area)} together",
            required=f"at most {self.limit:g} %",
            page=page,
            box=places[0].box,
        )

    def no_plates(self, page: int, why: str) -> None:
        self.hold(
            "no_plates",
            f"The ink of page {page} can't be measured: {why}.",
            page=page,
            mend="Export the page again; if that doesn't help, have its ink checked by hand.",
        )

    # What goes wrong whatever its size

    def whites(self, found: Sequence[tuple[int, Box]]) -> None:
        if not found:
            return
        page, box = found[0]
        more = "" if len(found) < 2 else f" The same holds for {_counted(len(found) - 1, 'more place')}."
        self.hold(
            "white_overprints",
            self._start(
                page,
                f"Something white here is set to overprint: screens may show it, but it would vanish in print.{more}",
            ),
            measured="white that overprints",
            required="white that knocks out",
            page=page,
            box=box,
            mend="Switch overprinting off for white text and shapes, and export again.",
        )

    def registration(self, found: Sequence[At]) -> None:
        if not found:
            return
        first = found[0]
        more = f" The same holds for {len(found) - 1} more." if len(found) > 1 else ""
        self.hold(
            "registration_colour",
            self._start(
                first.page,
                f"Something in the art is coloured in registration colour, which prints on every plate at once; it is "
                f"for printer's marks only.{more}",
            ),
            measured="registration colour",
            required="black, or another ink",
            page=first.page,
            box=first.met.box,
            mend="Colour it in black (black ink alone) and export again.",
        )

    def screen_colours(self, found: Sequence[At]) -> None:
        if not found:
            return
        spaces = listed(list(dict.fromkeys(at.met.inks[0] for at in found))[:_MOST_NAMED])
        first = found[0]
        self.hold(
            "not_ink",
            self._start(
                first.page,
                f"There are colours that are no inks yet ({spaces}); each press would print them differently.",
            ),
            measured=spaces,
            required="CMYK, black or spot inks",
            page=first.page,
            box=first.met.box,
            mend="Let the step convert_colour stand before this one, or export the artwork in CMYK.",
        )

    # Names of inks

    def spots(self, used: Mapping[str, int], ordered: Sequence[str] | None) -> None:
        if ordered is None:
            if used:
                many = len(used) > 1
                self.note(
                    "spot_inks",
                    f"The file uses {'spot inks' if many else 'a spot ink'} beside the four inks of the press: {_named(list(used))}. "
                    f"{'Each needs a plate of its own.' if many else 'It needs a plate of its own.'}",
                    measured=_named(list(used)),
                    page=min(used.values()),
                    mend="Make sure that the order says so; otherwise turn it into the four inks and export again."
                    if not many
                    else "Make sure that the order says so; otherwise turn them into the four inks and export again.",
                )
            return
        known = {plain(name): name for name in ordered}
        for name, page in used.items():
            if plain(name) not in known:
                self.hold(
                    "ink_not_ordered",
                    f"The file uses the spot ink {_named([name])}, which was not ordered.",
                    measured=_named([name]),
                    required=_named(list(ordered)) if ordered else "no spot inks",
                    page=page,
                    mend="Turn it into the four inks, or into a spot ink that was ordered, and export again; or have it added to the order.",
                )
        missing = [name for name in ordered if plain(name) not in {plain(other) for other in used}]
        if missing:
            self.note(
                "ink_not_used",
                f"The order names {'spot inks that are' if len(missing) > 1 else 'a spot ink that is'} not in the file: {_named(missing)}.",
                measured="not used",
                required=_named(missing),
                mend="If it was meant to be used, look how its colour is made in the artwork.",
            )

    def alike(self, one: str, other: str) -> None:
        self.note(
            "inks_alike",
            f"The inks {_named([one])} and {_named([other])} differ only in how their names are written, so each would "
            f"get a plate of its own.",
            measured=f"{_named([one])} and {_named([other])}",
            mend="If they are meant to be the same ink, give both the same name in the artwork and export again.",
        )

    # Small things

    def small(self, found: Mapping[Kind, Sequence[At]], asked: CheckInkSettings) -> None:
        for kind, every in found.items():
            code, sentence, mend, least = _SMALL[kind]
            first = min(every, key=lambda at: at.met.size)
            size = f"{first.met.size:.1f} pt" if first.met.size >= 1 else f"{first.met.size:.2f} pt"
            words = " ".join(first.met.words.split())
            quoted = (
                f" (“{printable(words[:_MOST_LETTERS])}{'…' if len(words) > _MOST_LETTERS else ''}”)" if words else ""
            )
            inks = _named([ink.lower() for ink in first.met.inks]) if first.met.inks else ""
            more = f" The same holds for {len(every) - 1} more." if len(every) > 1 else ""
            self.note(
                code,
                self._start(first.page, sentence.format(size=size, quoted=quoted, inks=inks) + more),
                measured=size,
                required=f"{getattr(asked, least):g} pt or more",
                page=first.page,
                box=first.met.box,
                mend=mend,
            )


_SMALL = {
    Kind.BUILT_TEXT: (
        "built_text",
        "Text of only {size}{quoted} is mixed from {inks}. If one of them is off by a hair, it looks blurred.",
        "Set small text in one dark ink, best in black alone, or make it larger.",
        "built_text",
    ),
    Kind.BUILT_LINE: (
        "built_line",
        "A line of only {size} is mixed from {inks}. If one of them is off by a hair, it looks blurred.",
        "Draw fine lines in one dark ink, best in black alone, or make them wider.",
        "built_line",
    ),
    Kind.LIGHT_TEXT: (
        "reversed_text",
        "Light text of only {size}{quoted} stands on a ground of several inks. If one of them is off by a hair, it fills in.",
        "Make it larger or bolder, or put it on a ground of one or two inks.",
        "reversed_text",
    ),
    Kind.BLACK_TEXT: (
        "black_knocks_out",
        "Black text of {size}{quoted} knocks out the colour below it. If an ink is off by a hair, a light edge shows around it.",
        "Set black text to overprint and export again.",
        "black_text",
    ),
}


def coverage_sentence(page: int, ink: PageInk, condition: Condition, count: int) -> str:
    """A page's inks in one line: mean coverage of each, and of all together."""
    inks = ", ".join(f"{printable(use.name)} {use.mean:.1f} %" for use in ink.used) or "none"
    start = f"Ink on page {page}" if count > 1 else "Ink on the sheet"
    return (
        f"{start} ({ink.area_cm2:.0f} cm², mean coverage): {inks}; all together {ink.mean_total:.1f} %, "
        f"{ink.peak_total:.0f} % at most ({condition.title} takes {condition.ink_limit:g} %)."
    )


def _counted(count: int, one: str) -> str:
    return f"{count} {one}{'s' if count > 1 else ''}"


def _area(square_cm: float) -> str:
    return f"{square_cm:.0f} cm²" if square_cm >= 10 else f"{square_cm:.1f} cm²"


def _named(names: Sequence[str]) -> str:
    shown = [f"“{printable(name)[:80]}”" if not name.islower() else name for name in names[:_MOST_NAMED]]
    more = [f"{len(names) - _MOST_NAMED} more"] if len(names) > _MOST_NAMED else []
    return listed([*shown, *more])
