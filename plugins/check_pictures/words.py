"""What check_pictures says to people."""

from __future__ import annotations

import math
from collections.abc import Sequence

from hotfolder.plugin import Job, Level, show_size

from .uses import Use

PPI = "pixels per inch"
WORDS = {
    "coarse_picture": "has only {ppi} pixels per inch at that size; {needed} are needed, or it prints blurred.",
    "modest_picture": "has {ppi} pixels per inch at that size, a little less than the {needed} that were asked for.",
    "coarse_line_art": "is black-and-white line art of {ppi} pixels per inch; below {needed} its edges may look ragged.",
    "stretched_picture": "is stretched: more in one direction than in the other.",
    "skewed_picture": "is skewed: its sides are no longer at right angles.",
}
EVENLY = "If that isn't meant, scale it evenly in the layout."
STRAIGHT = "If that isn't meant, take the skew out in the layout."


def which(use: Use, count: int) -> str:
    start = f"On page {use.placed.page}, a" if count > 1 else "A"
    often = f", placed {use.times} times" if use.times > 1 else ""
    return f"{start} picture of {use.placed.width} × {use.placed.height} pixels, {show_size(*use.size)}{often},"


def mend_resolution(use: Use, needed: float, kind: str, level: Level) -> str:
    factor = needed / use.ppi
    pixels = f"{math.ceil(use.placed.width * factor)} × {math.ceil(use.placed.height * factor)} pixels"
    largest = show_size(*(side / factor for side in use.size))
    if kind in ("", "pdf"):
        way = f"place the picture in its original quality, at least {pixels}, or show it no larger than {largest}."
    else:  # the picture is the poster: nothing was placed, and its size was ordered
        way = f"drop the picture in its original quality, at least {pixels}, or order a poster of no more than {largest}, bleed included."
    start = "It can stay as it is. For more detail, " if level is Level.NOTE else ""
    return f"{start}{way if start else way[:1].upper() + way[1:]} Enlarging the same file in a program adds no detail."


def note_smooth(job: Job, smooth: Sequence[Use]) -> None:
    coarsest = min(smooth, key=lambda use: use.ppi)
    many = f"{len(smooth)} pictures have" if len(smooth) > 1 else "A picture has"
    least, them = ("as few as ", "them") if len(smooth) > 1 else ("only ", "it")
    job.note(
        "smooth_picture",
        f"{many} {least}{coarsest.ppi:.0f} {PPI}, but nothing in {them} but even tones and gentle changes, for which that is "
        "enough.",
        measured=f"{coarsest.ppi:.0f} ppi",
        page=coarsest.placed.page,
        box=coarsest.box,
        mend="Nothing has to be done. A gradient drawn in the layout would be smoother still.",
    )


def weight(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 1e6 else f"{count / 1e3:.0f} kB"
