"""Writes the report: one page for whoever made the artwork, with pictures, in words that need no training."""

from __future__ import annotations

import base64
import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template
from markupsafe import Markup
from PIL import Image

from hotfolder.colour.condition import Condition
from hotfolder.finding import Finding, Level, Outcome, Views
from hotfolder.ink import InkView
from hotfolder.moved import Moved
from hotfolder.record import Ended, JobRecord, StepRecord
from hotfolder.report import ink as ink_section
from hotfolder.report import words
from hotfolder.report.pictures import CROP_QUALITY, Pictures, Shown, gather

_HERE = Path(__file__).parent
VIEW_SIDE = 600  # pixels of the longer side of a step's own pictures


@dataclass(frozen=True, slots=True)
class Card:
    """One finding as the page shows it."""

    number: int
    level: Level
    message: str
    measured: str
    required: str
    mend: str
    where: str
    crop: Shown | None
    views: list[tuple[str, Shown]]


@dataclass(frozen=True, slots=True)
class StepWords:
    name: str
    sentences: list[str]
    ended: str  # "" where it went as it should


def write_report(
    record: JobRecord,
    path: Path,
    *,
    original: Path | None,
    working: Path | None,
    opened: Path | None,
    condition: Condition | None,
    shown: tuple[bytes, float] | None = None,
    ink: Sequence[InkView] = (),
    views: Views | None = None,
    proof: Path | None = None,
    moved: Mapping[int, Moved] | None = None,
    laid_out: bool = False,
) -> None:
    """Write the report of a job as one self-contained HTML file: no script, nothing fetched from anywhere.

    `working` is the PDF to picture (the result, or the working copy), `opened` the working PDF before any step changed
    it, `original` the artwork as dropped, `shown` the first in screen colours, if a step made that, with the resolution
    that its pictures kept; each may be None, and what can't be pictured is said in words. `ink`: what was measured of
    each page's inks; `views`: pictures that steps made for their findings; `moved`: pages that lie elsewhere than in
    `opened`; `laid_out`: the pages are press sheets or tiles, which have no safe margin of their own. Nothing in the artwork or its names raises; OSError where the file can't be written.
    """
    findings = words.ordered(record.findings)
    pictures = gather(
        findings,
        # A margin wider than any page leaves no line to draw.
        record.ticket if not laid_out else record.ticket.model_copy(update={"safe_margin": math.inf}),
        original=original,
        working=working,
        opened=opened,
        condition=condition,
        shown=shown,
        moved=moved,
    )
    if proof is not None and pictures.proofs:
        proof.write_bytes(base64.b64decode(pictures.proofs[0].uri.partition(",")[2]))
    page = _page(record, findings, pictures, ink, dict(views or {}), laid_out=laid_out)
    path.write_text(page, encoding="utf-8", newline="\n")


def _page(
    record: JobRecord,
    findings: list[Finding],
    pictures: Pictures,
    ink: Sequence[InkView],
    views: Views,
    *,
    laid_out: bool,
) -> str:
    template, style = _template()
    cards = [_card(number, finding, pictures, views) for number, finding in enumerate(findings, 1)]
    steps = [_step(step) for step in record.steps if step.ended is not Ended.SKIPPED and not step.changed]
    return template.render(
        style=Markup(style),
        style_digest=base64.b64encode(hashlib.sha256(style.encode()).digest()).decode(),
        record=record,
        file=words.clean(record.file),
        job=words.clean(record.job),
        route=words.clean(record.route),
        kind=words.KINDS.get(record.kind, ""),
        size=words.show_bytes(record.bytes) if record.bytes else "",
        verdict=words.verdict(record),
        several=words.several(record),
        cards=cards,
        groups=[(level, [card for card in cards if card.level is level]) for level in Level],
        level_words=words.LEVELS_OF_HELD if record.outcome is Outcome.HOLD else words.LEVELS,
        pictures=pictures,
        laid_out=laid_out,
        ink=[ink_section.show(view, pictures) for view in ink],
        checked=[step for step in steps if step.sentences or step.ended],
        changed=[_step(step) for step in record.steps if step.changed],
        not_done=[words.step_name(step.step) for step in record.steps if _was_prevented(step)],
        ticket=words.ticket_lines(record.ticket, record.origins),
        condition=words.clean(record.condition),
        arrived=words.show_time(record.arrived),
        finished=words.show_time(record.finished) if record.finished else "",
    )


def prepare_template() -> None:
    """Read and compile the page's template now, rather than at the first report."""
    _template()


@cache
def _template() -> tuple[Template, str]:
    """The page's template and its style sheet."""
    environment = Environment(
        loader=FileSystemLoader(_HERE),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("report.html.j2"), (_HERE / "report.css").read_text(encoding="utf-8")


def _card(number: int, finding: Finding, pictures: Pictures, views: Views) -> Card:
    return Card(
        number=number,
        level=finding.level,
        message=words.clean(finding.message),
        measured=words.clean(finding.measured or ""),
        required=words.clean(finding.required or ""),
        mend=words.clean(finding.mend or ""),
        where=_where(number, finding, pictures),
        crop=pictures.crops.get(number),
        views=_views(views.pop((finding.step or "", finding.code), []), pictures, finding.page or 1),
    )


def _views(views: list[tuple[str, Image.Image]], pictures: Pictures, page: int) -> list[tuple[str, Shown]]:
    """A step's own pictures for a finding, as far as the report can take them."""
    made = []
    for said, picture in views:
        small = picture.convert("RGB")
        small.thumbnail((VIEW_SIDE, VIEW_SIDE), Image.Resampling.LANCZOS)
        shown = pictures.add(small, said, page, CROP_QUALITY)
        made += [(words.clean(said), shown)] if shown is not None else []
    return made


def _where(number: int, finding: Finding, pictures: Pictures) -> str:
    page = f"Page {finding.page}" if finding.page else ""
    marked = f"number {number} on the picture of the sheet" if number in pictures.placed else ""
    text = ", ".join(part for part in (page, marked) if part)
    return text[:1].upper() + text[1:]


def _step(step: StepRecord) -> StepWords:
    ended = {
        Ended.HELD: "Stopped here: a person must look.",
        Ended.FAULT: "Could not finish. This is a fault in hotfolder or one of its plugins, not in your file.",
    }
    return StepWords(
        words.step_name(words.clean(step.step)), [words.clean(told) for told in step.told], ended.get(step.ended, "")
    )


def _was_prevented(step: StepRecord) -> bool:
    """Skipped because of the job's state, not merely because the step is for another kind of file."""
    return step.ended is Ended.SKIPPED and any("held" in told or "no artwork" in told for told in step.told)
