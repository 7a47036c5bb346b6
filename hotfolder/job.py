"""A job on its way through the chain, as a step sees it: artwork, ticket, printing condition, findings."""

from __future__ import annotations

import hashlib
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future
from contextlib import contextmanager
from pathlib import Path, PurePath
from threading import Thread
from typing import Any, TypeVar, Unpack

import pikepdf
from PIL import Image

from hotfolder.colour.condition import Condition
from hotfolder.finding import About, Box, Finding, Level, Views
from hotfolder.ink import InkView
from hotfolder.moved import LaidSheet, Moved, Placed
from hotfolder.pdf.looking.drawings import Drawings
from hotfolder.pdf.looking.inventory import take_inventory
from hotfolder.pdf.looking.painted import Inventory
from hotfolder.pdf.render import Pages
from hotfolder.ticket import KEYS, Ticket

Found = TypeVar("Found")
#: What a template for a name or a line may name: the ticket's keys, and words of the job itself.
WORDS = (*KEYS, "name", "job", "route", "date")


def file_digest(path: Path) -> str:
    """SHA-256 of a file's bytes, hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _said(value: object) -> str:
    if isinstance(value, list):
        return ", ".join(map(str, value))
    return "" if value is None else str(value)


def _run(check: Callable[[], None], future: Future[None]) -> None:
    try:
        check()
    except Exception as error:  # handed to the chain, whose edge around a step it meets
        future.set_exception(error)
    else:
        future.set_result(None)


class Job:
    """What a step works with. The original is never written to; changes go to a working PDF of the job's own."""

    def __init__(
        self,
        *,
        job: str,
        name: str,
        original: Path,
        work: Path,
        ticket: Ticket,
        condition: Condition,
        fields: dict[str, str] | None = None,
    ) -> None:
        self.id = job
        self.name = name  # the file's name as it was dropped
        self.original = original
        self.work = work  # an empty folder for the steps' files; gone after the job
        self.ticket = ticket
        self.condition = condition
        self.fields = fields or {}  # further words for names: route, date, ...
        self.kind = ""
        self.result_stem = Path(name).stem or name
        self.findings: list[Finding] = []
        self.meanwhiles: list[tuple[str, Future[None]]] = []  # checks under way, with the step that began each
        self.told: list[str] = []  # of the step at work; the chain takes them into its record
        self.step = ""  # the step at work
        self.shown: tuple[bytes, float] | None = None  # the working PDF in screen colours, and its pictures' ppi
        self.ink: list[InkView] = []  # what was measured of each page's ink, for record, log and report
        self.opened: Path | None = None  # the working PDF as the opening step made it, before any change
        self.moved: dict[int, Moved] = {}  # page, from 1 -> where its drawing went since it was opened
        self.drawn_around: dict[int, Box] = {}  # page, from 1 -> the art outside of which a step drew something new
        self.sheets: list[LaidSheet] = []  # the finished pages, where the artwork was laid out on new ones
        self.views: Views = {}
        self.version = 0  # of the working PDF: grows with each change
        self._digest = (-1, "")  # the version of the working PDF whose digest was last taken, and that digest
        self._artwork: Path | None = None
        self._open: pikepdf.Pdf | None = None  # while steps edit
        self._edited = False  # whether the open PDF holds edits that no file has
        self._unchanged = False
        self._scratched = 0
        self._looked: dict[object, Any] = {}  # of this version of the working PDF
        self._drawings = Drawings()
        self._shapes: Path | None = None  # the working PDF before nothing but its colours changed, where that was so

    # ---- findings and words

    def hold(self, code: str, message: str, **about: Unpack[About]) -> None:
        """Report something a person must look at; the chain goes on, so that one run tells everything."""
        self._find(Level.HOLD, code, message, about)

    def note(self, code: str, message: str, **about: Unpack[About]) -> None:
        """Report something worth knowing that does not stop the job."""
        self._find(Level.NOTE, code, message, about)

    def mended(self, code: str, message: str, **about: Unpack[About]) -> None:
        """Report what this step changed in the artwork, and how."""
        self._find(Level.MENDED, code, message, about)

    def tell(self, sentence: str) -> None:
        """A plain sentence for the report: what was checked and found in order, or what was done."""
        self.told.append(sentence)

    def show(self, code: str, *views: tuple[str, Image.Image]) -> None:
        """Pictures for this step's findings of that code, each with a few words: ("Before", picture), ("After", ...).

        The report shows them with the first of these findings, in rows, each at most 600 pixels a side.
        """
        self.views.setdefault((self.step, code), []).extend(views)

    def once(self, key: object, look: Callable[[], Found]) -> Found:
        """What `look` finds in the working PDF: looked at once for each version of it, however many steps ask.

        `key`: what is looked for, such as ("edges", page). What comes back belongs to all who ask: don't change it.
        """
        if key not in self._looked:
            self._looked[key] = look()
        found: Found = self._looked[key]
        return found

    def pages(self, *, colours: bool = True) -> Pages:
        """The working PDF opened for drawing, once for all steps: what was unpacked for one is there for the next.

        Without `colours`, where only shapes matter, it may be the one from before its colours were converted, which is
        open already. Not to be closed. ValueError where it can't be opened.
        """
        return self._drawings.of(self.artwork if colours or self._shapes is None else self._shapes)

    def inventory(self, pdf: pikepdf.Pdf, page: int, unit: float) -> Inventory:
        """Everything that a page (from 1) of the working PDF paints, listed once for all steps. `unit`: its UserUnit."""
        return self.once(("inventory", page), lambda: take_inventory(pdf, page, unit))

    def move(self, page: int, moved: Moved) -> None:
        """Say that a page's drawing was moved as a whole, and how; places found on it so far move along.

        The finished file is compared with the artwork through this.
        """
        earlier = self.moved.get(page)
        self.moved[page] = earlier.then(moved) if earlier else moved
        if page in self.drawn_around:
            self.drawn_around[page] = moved.now(self.drawn_around[page])
        for at, finding in enumerate(self.findings):
            if finding.box is not None and finding.page == page:
                self.findings[at] = finding.model_copy(update={"box": moved.now(finding.box)})

    def lay_out(self, sheets: Sequence[LaidSheet]) -> None:
        """Say that the pages were laid out on new sheets, and where. `Placed.moved` begins at the pages as they were.

        Places found so far move to the first copy where each page has become one sheet of copies of it; else they are
        forgotten. The finished file is compared with the artwork through this.
        """
        self.sheets = []
        for sheet in sheets:
            placed = []
            for one in sheet.placed:
                earlier, art = self.moved.get(one.page), self.drawn_around.get(one.page)
                shown = one.shown.common(one.moved.now(art)) if art is not None else None
                moved = earlier.then(one.moved) if earlier is not None else one.moved
                placed.append(Placed(one.page, moved, shown or one.shown))
            self.sheets.append(LaidSheet(sheet.trim, tuple(placed)))
        if all(sheet.placed[0].page == number for number, sheet in enumerate(sheets, 1)):
            for number, sheet in enumerate(sheets, 1):
                self.move(number, sheet.placed[0].moved)
            return
        self.moved.clear()
        self.findings = [finding.model_copy(update={"page": None, "box": None}) for finding in self.findings]

    def draw_around(self, page: int, art: Box) -> None:
        """Say that something new was drawn on a page, all of it outside this box; the finished file is compared inside."""
        self.drawn_around[page] = art.common(self.drawn_around.get(page, art)) or art

    def meanwhile(self, check: Callable[[], None]) -> None:
        """Let a long check that only reads the original run beside the steps that follow.

        A Hold it raises counts as a finding of this step. The chain waits for it before the job has its outcome.
        """
        future: Future[None] = Future()
        Thread(target=_run, args=(check, future), daemon=True).start()
        self.meanwhiles.append((self.step, future))

    @property
    def held(self) -> bool:
        return any(finding.level is Level.HOLD for finding in self.findings)

    def _find(self, level: Level, code: str, message: str, about: About) -> None:
        self.findings.append(Finding(level=level, code=code, message=message, step=self.step or None, **about))

    def words(self) -> dict[str, str]:
        """What templates are filled with, by the names of WORDS; "" for what the order does not say."""
        ticket = self.ticket.model_dump(mode="json")
        said = {key: _said(ticket[key]) for key in KEYS}
        of_job = {"name": PurePath(self.name).stem, "job": self.id, "route": "", "date": ""}
        return {**said, "condition": self.condition.name, **of_job, **self.fields}

    # ---- the working PDF

    @property
    def has_artwork(self) -> bool:
        return self._artwork is not None

    @property
    def artwork(self) -> Path:
        """The working PDF as a file, with all edits in it. RuntimeError before an opening step has made it."""
        if self._artwork is None:
            raise RuntimeError("no step has opened the artwork yet")
        if self._edited:
            self._save()
        return self._artwork

    def use(self, path: Path) -> None:
        """Take a finished file in the work folder as the new working PDF."""
        self.close()
        self._artwork = path
        self._changed()

    def digest(self) -> str:
        """SHA-256 of the working PDF's bytes, taken once for each version of it."""
        path = self.artwork
        if self._digest[0] != self.version:
            self._digest = (self.version, file_digest(path))
        return self._digest[1]

    def scratch(self, ending: str) -> Path:
        """A fresh file name in the work folder."""
        self._scratched += 1
        return self.work / f"{self._scratched:03}-{self.step or 'job'}{ending}"

    @contextmanager
    def read(self) -> Iterator[pikepdf.Pdf]:
        """The working PDF, opened for reading."""
        with pikepdf.open(self.artwork) as pdf:
            yield pdf

    @contextmanager
    def edit(self, *, shapes: bool = True) -> Iterator[pikepdf.Pdf]:
        """The working PDF, opened for change; it counts when the block ends well.

        `shapes`: False promises that nothing but colours change: what is drawn stays what and where it is.
        Steps that follow one another edit the same open PDF; it is saved when someone asks for `artwork`. After an
        exception the working PDF is again what was last saved: the job is held then, and needs it for pictures only.
        """
        if self._open is None:
            self._open = pikepdf.open(self.artwork)
        self._drawings.rest()
        shown = self._shapes or (None if self._edited else self._artwork)  # a file that shows the shapes as they are
        self._unchanged, version = False, self.version
        try:
            yield self._open
        except BaseException:
            self.close()
            raise
        if not self._unchanged and self.version == version:
            self._edited = True
            self._changed(None if shapes else shown)

    def _changed(self, shapes: Path | None = None) -> None:
        """`shapes`: a file that shows the same shapes."""
        self.version += 1
        self.shown = None
        self._looked.clear()
        self._shapes = shapes
        self._drawings.close(but=shapes)

    def unchanged(self) -> None:
        """Called within `edit`: there was nothing to change after all."""
        self._unchanged = True

    def close(self) -> None:
        """Let go of the open PDF, and of edits that were not saved."""
        self._drawings.close()
        self._let_go()

    def _let_go(self) -> None:
        if self._open is not None:
            self._open.close()
        self._open, self._edited = None, False

    def _save(self) -> None:
        assert self._open is not None
        path = self.scratch(".pdf")
        with warnings.catch_warnings(action="ignore", category=pikepdf.PageCopyWarning):  # nothing is copied
            self._open.save(path, fix_metadata_version=False, object_stream_mode=pikepdf.ObjectStreamMode.generate)
        self._let_go()
        self._artwork = path
