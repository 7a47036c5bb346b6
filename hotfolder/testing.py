"""The kit with which our plugins are tested, and yours can be: a job without a daemon, and small PDFs to try it on."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pikepdf
from pikepdf import Array, Dictionary, Name

from hotfolder.chain import run_chain
from hotfolder.colour.condition import DEFAULT, SHIPPED, Condition
from hotfolder.job import Job
from hotfolder.record import StepRecord
from hotfolder.step import Step
from hotfolder.ticket import Ticket
from hotfolder.units import MM


def make_job(
    folder: Path,
    artwork: Path,
    *,
    ticket: Ticket | dict[str, Any] | None = None,
    condition: Condition | None = None,
    opened: bool = True,
) -> Job:
    """A job on a file, in a folder of its own below `folder`.

    `opened`: take the artwork (a PDF) as the working PDF straight away, as if an opening step had run.
    """
    work = folder / f"job-{artwork.stem}"
    work.mkdir(parents=True, exist_ok=True)
    job = Job(
        job="test-job",
        name=artwork.name,
        original=artwork,
        work=work,
        ticket=ticket if isinstance(ticket, Ticket) else Ticket(**(ticket or {})),
        condition=condition or SHIPPED[DEFAULT],
    )
    if opened:
        job.use(artwork)
        job.opened = artwork
    return job


def run_steps(job: Job, *steps: Step) -> list[StepRecord]:
    """Run steps on a job just as the daemon's chain does; their findings are on `job.findings`."""
    records: list[StepRecord] = []
    run_chain(job, steps, records.append)
    return records


def codes(job: Job) -> list[str]:
    """The job's findings as `level code`, in order: what most tests compare."""
    return [f"{finding.level} {finding.code}" for finding in job.findings]


def make_pdf(
    path: Path,
    *,
    trim_mm: tuple[float, float] = (297, 420),
    bleed_mm: float = 3.175,
    slug_mm: float = 0,
    boxes: bool = True,
    pages: int = 1,
    content: bytes = b"0.1 0.4 0.2 0 k -9999 -9999 19998 19998 re f",
    resources: Dictionary | None = None,
    changes: dict[str, Any] | None = None,
) -> Path:
    """Write a small poster: trim, bleed beyond it, slug beyond that, and the content on every page.

    Lengths in millimetres. `boxes`: whether TrimBox and BleedBox are written. `changes`: page keys to set, such as
    {"/Rotate": 90}; None takes a key away.
    """
    pdf = pikepdf.new()
    edge = (bleed_mm + slug_mm) * MM
    width, height = trim_mm[0] * MM, trim_mm[1] * MM
    for _ in range(pages):
        page = pdf.add_blank_page(page_size=(width + 2 * edge, height + 2 * edge))
        page.obj.Contents = pdf.make_stream(content)
        page.obj.Resources = resources if resources is not None else Dictionary()
        if boxes:
            page.obj.TrimBox = _box(edge, edge, edge + width, edge + height)
            slug = slug_mm * MM
            page.obj.BleedBox = _box(slug, slug, width + 2 * edge - slug, height + 2 * edge - slug)
        for key, value in (changes or {}).items():
            if value is None:
                del page.obj[key]
            else:
                page.obj[key] = value
    pdf.save(path)
    return path


def embed_picture(
    pdf: pikepdf.Pdf, width: int, height: int, space: str = "/DeviceRGB", data: bytes | None = None
) -> pikepdf.Stream:
    """An 8-bit picture XObject; flat middle tone unless `data` brings the samples."""
    channels = {"/DeviceGray": 1, "/DeviceRGB": 3, "/DeviceCMYK": 4}[space]
    return pikepdf.Stream(
        pdf,
        data if data is not None else bytes([128]) * (width * height * channels),
        Type=Name.XObject,
        Subtype=Name.Image,
        Width=width,
        Height=height,
        ColorSpace=Name(space),
        BitsPerComponent=8,
    )


def _box(*corners: float) -> Array:
    return Array([round(corner, 4) for corner in corners])


__all__: Sequence[str] = ["codes", "embed_picture", "make_job", "make_pdf", "run_steps"]
