"""Opens a PDF: takes off a blank password, notes repairs, and finds out where a page is cut that doesn't say so."""

from __future__ import annotations

import shutil
import warnings
from functools import partial

import pikepdf

from hotfolder.pdf.boxes import Inferred, infer_trim, set_box
from hotfolder.pdf.opening.arrived import OpenedPdf, open_arrived
from hotfolder.pdf.opening.kinds import pdf_kind, wrong_ending
from hotfolder.pdf.opening.placed_pictures import check_pictures, pictures
from hotfolder.plugin import Job, Opener, Register, Settings, hookimpl, setting


class OpenPdfSettings(Settings):
    most_pages: int = setting(
        10_000, "A PDF with more pages is held without looking at them", unit="pages", ge=1, le=100_000
    )
    infer_trim: bool = setting(
        True, "Write a trim box where the file has none and the ordered size tells where the page is cut"
    )


class OpenPdf(Opener):
    """Open a PDF and take a working copy of it.

    It never guesses a password, never moves a trim box that is there, and changes no content. A file that needs no
    mending is copied byte for byte.
    """

    name = "open_pdf"
    Settings = OpenPdfSettings
    settings: OpenPdfSettings

    @classmethod
    def recognises(cls, head: bytes) -> str:
        return pdf_kind(head)

    def run(self, job: Job) -> None:
        ending = wrong_ending(job.name, job.kind)
        if ending:
            job.note("wrong_ending", ending)
        path = job.scratch(".pdf")
        with open_arrived(job.original, self.settings.most_pages) as opened:
            _note_condition(job, opened)
            inferred = self._infer(job, opened)
            if opened.encrypted or opened.repairs or inferred:
                _write_trims(opened, inferred)
                with warnings.catch_warnings(action="ignore", category=pikepdf.PageCopyWarning):  # nothing is copied
                    opened.pdf.save(
                        path,
                        encryption=False,
                        object_stream_mode=pikepdf.ObjectStreamMode.generate,
                        fix_metadata_version=False,  # it may be anything; a step that seals the file writes it anew
                    )
            else:
                shutil.copyfile(job.original, path)
            count = len(opened.boxes)
            if any(True for _ in pictures(opened.pdf)):
                job.meanwhile(partial(check_pictures, job.original))
        job.use(path)
        _tell_trims(job, inferred, count)
        job.tell(f"The PDF opened; it has {count} page{'' if count == 1 else 's'}.")

    def _infer(self, job: Job, opened: OpenedPdf) -> dict[int, Inferred]:
        """Page, counted from 1 -> where it is cut, for pages that don't say so and of which the order tells it."""
        if job.ticket.trim is None or not self.settings.infer_trim:
            return {}
        found = {}
        for number, boxes in enumerate(opened.boxes, 1):
            if "TrimBox" not in boxes.declared:
                inferred = infer_trim(boxes, job.ticket.trim, job.ticket.bleed)
                if inferred is not None:
                    found[number] = inferred
        return found


def _note_condition(job: Job, opened: OpenedPdf) -> None:
    if opened.encrypted:
        job.note(
            "encryption_removed",
            "The PDF was locked against changes, though it opens without a password; the finished file is not locked.",
        )
    if opened.repairs:
        job.note(
            "repaired",
            "The PDF was damaged and had to be repaired to be read.",
            measured=f"{len(opened.repairs)} repair{'' if len(opened.repairs) == 1 else 's'}: {'; '.join(opened.repairs[:3])}",
            mend="Look at the proof with care, or export the PDF again.",
        )


def _write_trims(opened: OpenedPdf, inferred: dict[int, Inferred]) -> None:
    for number, found in inferred.items():
        page = opened.pdf.pages[number - 1]
        set_box(page, "TrimBox", found.trim)
        if "BleedBox" not in opened.boxes[number - 1].declared:
            set_box(page, "BleedBox", found.bleed)


def _tell_trims(job: Job, inferred: dict[int, Inferred], count: int) -> None:
    """One finding for all pages of which the same is to be said."""
    sentences: dict[str, list[int]] = {}
    for number, found in inferred.items():
        sentences.setdefault(found.sentence, []).append(number)
    for sentence, pages in sentences.items():
        where = (
            ""
            if count == 1
            else f" This is so on {f'page {pages[0]}' if len(pages) == 1 else f'{len(pages)} pages, from page {pages[0]} on'}."
        )
        job.mended(
            "trim_inferred",
            f"{sentence}{where} That was written into the PDF as its trim box.",
            page=pages[0],
            box=inferred[pages[0]].trim,
        )


@hookimpl
def register_steps(register: Register) -> None:
    register(OpenPdf)
