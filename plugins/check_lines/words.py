"""What is said of thin lines, in plain sentences."""

from __future__ import annotations

from collections.abc import Sequence

from hotfolder.gathered import listed

from .thin import Drawing, Limits, Why

MOST_NAMED = 5  # pages in a sentence

_WHAT = {
    Why.LINE: ("line", "lines"),
    Why.AREA: ("narrow area that is a line in effect", "narrow areas that are lines in effect"),
    Why.TINT: ("line in a light tint", "lines in a light tint"),
    Why.REVERSED: ("white line on a dark ground", "white lines on a dark ground"),
}
_WORRY = {
    Why.LINE: ("In print it may break up or not show at all.", "In print they may break up or not show at all."),
    Why.AREA: ("In print it may break up or not show at all.", "In print they may break up or not show at all."),
    Why.TINT: ("A tint is made of dots, and on a thin line they leave gaps.",) * 2,
    Why.REVERSED: ("Ink from both sides may close it.", "Ink from both sides may close them."),
}


def sentence(one: Drawing, pages: Sequence[int], count: int) -> str:
    """What is noticed of a drawing's lines. `count`: pages of the file."""
    what = _WHAT[one.why][one.count > 1]
    many = f"{one.count} {what}" if one.count > 1 else f"a {what}"
    start = f"On page {pages[0]}, {many}" if count > 1 else many[:1].upper() + many[1:]
    verb = ("are" if one.count > 1 else "is") if one.most > 0 else ("have" if one.count > 1 else "has")
    return f"{start} {verb} {_said(one)}. {_WORRY[one.why][one.count > 1]}{_also_on(pages[1:])}"


def _also_on(pages: Sequence[int]) -> str:
    if not pages:
        return ""
    more = [f"{len(pages) - MOST_NAMED} more"] if len(pages) > MOST_NAMED else []
    return f" The same on page{'s' if len(pages) > 1 else ''} {listed([*map(str, pages[:MOST_NAMED]), *more])}."


def measured(one: Drawing) -> str:
    """The widths met."""
    if one.most <= 0:
        return "no width"
    least, most = points(one.least), points(one.most)
    return most if least == most else f"{least.removesuffix(' pt')} to {most}"


def required(one: Drawing, limits: Limits) -> str:
    """The least width that would do."""
    return f"at least {limits.light if one.why in (Why.TINT, Why.REVERSED) else limits.plain:g} pt"


def mend(one: Drawing, limits: Limits) -> str:
    """How to mend it."""
    if one.why is Why.LINE:
        return (
            f"Give such lines a width of at least {limits.plain:g} pt at the size at which they are printed: a width "
            "shrinks with the drawing that it is part of."
        )
    what = "areas" if one.why is Why.AREA else "lines"
    full = ", or print them in full strength" if one.why is Why.TINT else ""
    return f"Make such {what} {required(one, limits)} wide at the size at which they are printed{full}."


def points(width: float) -> str:
    return f"{width:.2g} pt" if width > 0 else "0 pt"


def _said(one: Drawing) -> str:
    if one.most <= 0:
        own, comes = ("its", "it comes") if one.count == 1 else ("their", "they come")
        return f"no width of {own} own, so {comes} out as thin as the machine can draw"
    return f"only {measured(one)} wide" if one.least > 0 else f"at most {points(one.most)} wide, some without any width"
