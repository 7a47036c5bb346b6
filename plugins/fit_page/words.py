"""Says in words what was done to a page, and reads scales as people write them: 1:2, 2:1."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from hotfolder.gathered import listed
from hotfolder.pdf.mending.fitting import Fit
from hotfolder.plugin import MM, show_length, show_size

_SCALE = re.compile(r"\s*([1-9][0-9]{0,2})\s*:\s*([1-9][0-9]{0,2})\s*")
MOST_NAMED = 5
_SEEN = 0.1 * MM


@dataclass(frozen=True)
class Said:
    """One finding: what was done, on which pages."""

    code: str
    message: str
    measured: str
    required: str
    page: int


def parse_scale(text: str) -> float:
    """How many times larger artwork at this scale must become: 2 for 1:2, 0.5 for 2:1."""
    match = _SCALE.fullmatch(text)
    if match is None:
        raise ValueError(f"'{text}' is not a scale; write it as drawing to print, such as 1:2 for artwork at half size")
    return int(match[2]) / int(match[1])


def write_scale(value: Any) -> str:
    """The scale as it is shown; ValueError with a sentence for anything else."""
    if not isinstance(value, str):
        raise ValueError(f'{value!r} is not a scale; write it as text, such as "1:2"')
    parse_scale(value)
    return value.replace(" ", "")


def reasons(fit: Fit) -> str:
    """The code under which a page's change is reported."""
    if fit.cut_out:
        return "cut_set"
    return "page_fitted" if fit.scale != 1 or fit.turned else "unit_set"


def sentences(plans: Mapping[int, Fit], count: int) -> list[Said]:
    """What was done, each thing once with all its pages."""
    pages: dict[tuple[str, str, str, str], list[int]] = {}
    for number, fit in plans.items():
        pages.setdefault((reasons(fit), _done(fit), show_size(*fit.seen), show_size(*fit.moved.trim)), []).append(
            number
        )
    return [
        Said(
            code,
            f"{_name(found, count)} {done}",
            before,
            after,
            found[0],
        )
        for (code, done, before, after), found in pages.items()
    ]


def _done(fit: Fit) -> str:
    if reasons(fit) == "unit_set":
        return "was written in another unit than points; it is in points now and prints at the same size."
    if fit.cut_out:
        also = ", and turned by 90 degrees to the left" if fit.turned else ""
        return (
            f"didn't say where it is cut. Its art has the ordered size, so it is cut around that{also}: look at the proof "
            "whether this is meant."
        )
    parts = ["turned by 90 degrees to the left"] if fit.turned else []
    if fit.scale != 1:
        parts.append(f"enlarged {_times(fit.scale)}" if fit.scale > 1 else f"reduced to {fit.scale * 100:.4g} %")
    done = f"was {' and '.join(parts)}: {show_size(*fit.seen)} to {show_size(*fit.moved.trim)}."
    if fit.inferred:
        done += " The file doesn't say where it is cut; that was told by its size."
    done += _cut_off(fit)
    if fit.scale > 1.01:
        done += " Pictures are that much coarser than in the file as it came, and type that much larger."
    return done


def _times(scale: float) -> str:
    return f"{scale:.4g} times" if scale >= 1.1 else f"by {(scale - 1) * 100:.2g} %"


def _cut_off(fit: Fit) -> str:
    """What a side that was rounded loses, where it is more than can be seen."""
    sides = fit.seen[::-1] if fit.turned else fit.seen
    across, up = ((side * fit.scale - now) / 2 for side, now in zip(sides, fit.moved.trim, strict=True))
    if max(across, up) <= _SEEN:
        return ""
    where = "left and right" if across > up else "top and bottom"
    return f" Its shape is not quite the ordered one: {show_length(max(across, up))} falls off at the {where}."


def _name(pages: list[int], count: int) -> str:
    if count == 1:
        return "The page"
    shown = [str(page) for page in pages[:MOST_NAMED]]
    more = [f"{len(pages) - MOST_NAMED} more"] if len(pages) > MOST_NAMED else []
    return f"Each of pages {listed(shown + more)}" if len(pages) > 1 else f"Page {pages[0]}"
