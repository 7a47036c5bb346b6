"""Says a thing once that is so on several pages: gathers equal findings, then reports each with all its pages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from hotfolder.finding import Box, Level
from hotfolder.job import Job

MOST_PAGES_NAMED = 5


@dataclass(frozen=True)
class Found:
    """A finding that several pages may share; where it stands on the page doesn't make it another one.

    `{page}` in the message stands for "the page", or "page 3" where there are several, written large at the start.
    """

    code: str
    message: str
    measured: str | None = None
    required: str | None = None
    mend: str | None = None
    level: Level = Level.HOLD
    box: Box | None = field(default=None, compare=False)


class Gathered:
    """The findings of one step, in the order in which they were first seen."""

    def __init__(self) -> None:
        self._pages: dict[Found, list[int]] = {}

    def add(self, found: Found, page: int | None = None) -> None:
        """Note a finding; `page` counts from 1, None where it belongs to the file as a whole."""
        pages = self._pages.setdefault(found, [])
        if page is not None and page not in pages[-1:]:
            pages.append(page)

    def __bool__(self) -> bool:
        return bool(self._pages)

    @property
    def held(self) -> bool:
        return any(found.level is Level.HOLD for found in self._pages)

    def report(self, job: Job, count: int) -> None:
        """Put every finding on the job; `count` is how many pages the file has."""
        for found, pages in self._pages.items():
            report = {Level.HOLD: job.hold, Level.NOTE: job.note, Level.MENDED: job.mended}[found.level]
            report(
                found.code,
                _named(found.message, pages, count) + _also_on(pages[1:]),
                measured=found.measured,
                required=found.required,
                mend=found.mend,
                page=pages[0] if pages else None,
                box=found.box if pages else None,
            )


def listed(words: Sequence[str]) -> str:
    """`top`, `top and left`, `top, right and left`."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _named(message: str, pages: Sequence[int], count: int) -> str:
    name = f"page {pages[0]}" if pages and count > 1 else "the page"
    sentence = message.replace("{page}", name)
    return sentence[:1].upper() + sentence[1:] if message.startswith("{page}") else sentence


def _also_on(pages: Sequence[int]) -> str:
    """A sentence that names the further pages; "" where there are none."""
    if not pages:
        return ""
    shown = [str(page) for page in pages[:MOST_PAGES_NAMED]]
    more = [f"{len(pages) - MOST_PAGES_NAMED} more"] if len(pages) > MOST_PAGES_NAMED else []
    return f" The same on page{'s' if len(pages) > 1 else ''} {listed(shown + more)}."
