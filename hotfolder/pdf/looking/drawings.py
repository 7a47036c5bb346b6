"""Keeps the working PDF open for drawing from one step to the next, so that its pictures are unpacked once for several looks."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path

from hotfolder.pdf.render import Pages, open_pages


class Drawings:
    """Files opened for drawing; two at most, the working PDF and what it was before its colours were converted."""

    def __init__(self) -> None:
        self._opened: dict[Path, tuple[Pages, ExitStack]] = {}

    def of(self, path: Path) -> Pages:
        """ValueError where the file can't be opened."""
        if path not in self._opened:
            with ExitStack() as stack:
                pages = stack.enter_context(open_pages(path))
                self._opened[path] = pages, stack.pop_all()
        return self._opened[path][0]

    def rest(self) -> None:
        """Give back what memory can be had again at no great cost: something large is going to be done."""
        for pages, _ in self._opened.values():
            pages.rest()

    def close(self, *, but: Path | None = None) -> None:
        for path in [path for path in self._opened if path != but]:
            self._opened.pop(path)[1].close()
