"""A job on its way through the chain, as a step sees it: artwork, ticket, printing condition, findings."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pikepdf

from hotfolder.colour.condition import Condition
from hotfolder.finding import Box, Finding, Level
from hotfolder.ticket import Ticket


def file_digest(path: Path) -> str:
    """SHA-256 of a file's bytes, hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


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
        self.told: list[str] = []  # of the step at work; the chain takes them into its record
        self.step = ""  # the step at work
        self.opened: Path | None = None  # the working PDF as the opening step made it, before any change
        self._artwork: Path | None = None
        self._saved = 0

    # ---- findings and words

    def hold(
        self,
        code: str,
        message: str,
        *,
        measured: str | None = None,
        required: str | None = None,
        page: int | None = None,
        box: Box | None = None,
        mend: str | None = None,
    ) -> None:
        """Report something a person must look at; the chain goes on, so that one run tells everything."""
        self._find(Level.HOLD, code, message, measured, required, page, box, mend)

    def note(
        self,
        code: str,
        message: str,
        *,
        measured: str | None = None,
        required: str | None = None,
        page: int | None = None,
        box: Box | None = None,
        mend: str | None = None,
    ) -> None:
        """Report something worth knowing that does not stop the job."""
        self._find(Level.NOTE, code, message, measured, required, page, box, mend)

    def mended(
        self,
        code: str,
        message: str,
        *,
        measured: str | None = None,
        required: str | None = None,
        page: int | None = None,
        box: Box | None = None,
        mend: str | None = None,
    ) -> None:
        """Report what this step changed in the artwork, and how."""
        self._find(Level.MENDED, code, message, measured, required, page, box, mend)

    def tell(self, sentence: str) -> None:
        """A plain sentence for the report: what was checked and found in order, or what was done."""
        self.told.append(sentence)

    @property
    def held(self) -> bool:
        return any(finding.level is Level.HOLD for finding in self.findings)

    def _find(
        self,
        level: Level,
        code: str,
        message: str,
        measured: str | None,
        required: str | None,
        page: int | None,
        box: Box | None,
        mend: str | None,
    ) -> None:
        self.findings.append(
            Finding(
                level=level,
                code=code,
                message=message,
                measured=measured,
                required=required,
                page=page,
                box=box,
                mend=mend,
                step=self.step or None,
            )
        )

    # ---- the working PDF

    @property
    def has_artwork(self) -> bool:
        return self._artwork is not None

    @property
    def artwork(self) -> Path:
        """The working PDF. RuntimeError before an opening step has made it."""
        if self._artwork is None:
            raise RuntimeError("no step has opened the artwork yet")
        return self._artwork

    def use(self, path: Path) -> None:
        """Take a finished file in the work folder as the new working PDF."""
        self._artwork = path

    def scratch(self, ending: str) -> Path:
        """A fresh file name in the work folder."""
        self._saved += 1
        return self.work / f"{self._saved:03}-{self.step or 'job'}{ending}"

    @contextmanager
    def read(self) -> Iterator[pikepdf.Pdf]:
        """The working PDF, opened for reading."""
        with pikepdf.open(self.artwork) as pdf:
            yield pdf

    @contextmanager
    def edit(self) -> Iterator[pikepdf.Pdf]:
        """The working PDF, opened for change; saved as a new file when the block ends well, else left as it was."""
        with pikepdf.open(self.artwork) as pdf:
            yield pdf
            path = self.scratch(".pdf")
            pdf.save(path, object_stream_mode=pikepdf.ObjectStreamMode.generate)
        self.use(path)
