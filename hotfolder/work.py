"""One job's work, from the claimed artwork to result, log and report; this is what runs in a worker process."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import re
import shutil
import traceback
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from pathlib import Path
from threading import Thread
from typing import Any

import pluggy

from hotfolder.chain import run_chain
from hotfolder.colour.condition import Condition
from hotfolder.colour.transform import prepare
from hotfolder.finding import Finding, Hold, Level, Outcome
from hotfolder.job import Job, file_digest
from hotfolder.names import printable, safe_stem
from hotfolder.parcel import Content
from hotfolder.record import Ended, JobRecord, StepRecord, part_id
from hotfolder.report.log import JobLog, ink_fields
from hotfolder.report.page import prepare_template, write_report
from hotfolder.step import Delivery, Step
from hotfolder.ticketing import collect, meant
from hotfolder.units import parse_size

#: Names of the files that a job leaves in its folder `out`.
RESULT, LOG, REPORT, RECORD, PROOF = "result.pdf", "job.log", "report.html", "record.json", "proof.jpg"


@dataclass(frozen=True)
class Order:
    """What a worker process is handed: one claimed file and all it needs to know about it."""

    job: str
    route: str
    name: str  # as dropped; undecodable bytes as surrogates
    subfolder: str  # below the watched folder, parts divided by "/"; "" for none
    original: Path
    ticket_files: tuple[Path, ...]
    out: Path  # empty; the worker writes here and nowhere else
    arrived: dt.datetime
    attempt: int
    chain: tuple[Step, ...]
    ticket: dict[str, Any]
    file_names: tuple[str, ...]
    subfolders: str
    conditions: dict[str, Condition]
    condition: str  # the default's name
    overrides: dict[str, Any] = field(default_factory=dict)
    checks_only: bool = False  # tell what would happen: no result and no report are kept
    part: int = 1  # which of the sizes ordered; how many there are, the work on the first tells
    sizes: tuple[str, ...] = ()  # all of them, from the second on

    def others(self, first: JobRecord) -> Iterator[Order]:
        """Orders for the sizes after the first, as the record of the first names them; `out` is still the first's."""
        for part in range(2, len(first.sizes) + 1):
            yield replace(self, part=part, sizes=tuple(first.sizes))

    def blank_record(self) -> JobRecord:
        """The record as it stands before anything was done."""
        return JobRecord(
            job=part_id(self.job, self.part, len(self.sizes)),
            part=self.part,
            sizes=list(self.sizes),
            file=printable(self.name),
            route=self.route,
            arrived=self.arrived,
            attempt=self.attempt,
            result_stem=safe_stem(Path(self.name).stem),
        )


def warm_up(steps: Iterable[type[Step]], conditions: Sequence[Condition]) -> None:
    """Do once, before the first job, what every job would do again: read profiles, compile the report's template.

    Starts no thread: worker processes are copies of the one that calls this.
    """
    prepare_template()
    for condition in conditions:
        with contextlib.suppress(ValueError, OSError):  # a job that asks for it will say what is wrong
            prepare(condition)
            for step in steps:
                step.prepare(condition)


def run_order(order: Order, hooks: pluggy.PluginManager | None = None) -> JobRecord:
    """Do one job: the artwork in the first size ordered, or in that of `order.part`. Leaves result (if it passes), log, report and record in `order.out`, the record last and fsynced.

    Never raises for what is in the artwork; OSError where the disk itself fails.
    """
    record = order.blank_record()
    with JobLog(order.out / LOG, job=order.job) as log:
        log.write("job started", file=record.file, route=order.route, attempt=order.attempt)
        record.bytes = order.original.stat().st_size
        record.digest = file_digest(order.original)
        work = order.out / "work"
        work.mkdir()
        job = _prepare(order, record, work, hooks)
        log.about(record.job)
        log.write("ticket read", digest=record.digest, bytes=record.bytes, ticket=record.ticket, origins=record.origins)
        if job is not None:
            run_chain(job, order.chain, lambda step: _step_finished(job, step, record, log, hooks))
            record.kind = job.kind
            record.findings += job.findings
            record.ink = [view.ink.readable() for view in job.ink]
            record.result_stem = _result_stem(record, job)
        if order.part == 1 and (job is None or not job.has_artwork):
            _hold_once(order, record)
        _conclude(order, record, job)
        for page in record.ink:
            log.write("ink measured", **ink_fields(page))
        for finding in record.findings:
            log.write("finding", **finding.model_dump(mode="json", exclude_none=True))
        on_disk = _sync_beside(order.out / RESULT)
        if not order.checks_only:
            _report(order, record, job, log)
        on_disk.result()
        log.write("job finished", outcome=record.outcome, reason=record.reason, result_digest=record.result_digest)
    if job is not None:
        job.close()
    shutil.rmtree(work)
    _write_record(order, record)
    return record


def _result_stem(record: JobRecord, job: Job) -> str:
    """The result's name; one of several sizes says which, unless the name chosen for it does so already."""
    named = [
        size
        for size in record.sizes
        if re.search(rf"(?<![A-Za-z0-9]){re.escape(size)}(?![A-Za-z0-9])", job.result_stem)
    ]
    if not record.sizes or named == [record.sizes[record.part - 1]]:
        return safe_stem(job.result_stem)
    return safe_stem(f"{job.result_stem}_{record.sizes[record.part - 1]}")


def _hold_once(order: Order, record: JobRecord) -> None:
    """What can't even be opened is held once, not for each of the sizes ordered."""
    record.job, record.sizes = order.job, []


def write_failure(order: Order, code: str, message: str, mend: str, detail: str = "") -> JobRecord:
    """The same files for a job whose worker did not live to write them: held, without pictures."""
    shutil.rmtree(order.out / "work", ignore_errors=True)
    (order.out / RESULT).unlink(missing_ok=True)
    record = order.blank_record()
    with contextlib.suppress(PermissionError):  # that it can't be read may be the very failure
        record.bytes = order.original.stat().st_size
        record.digest = file_digest(order.original)
    _read_ticket(order, record, (), None)  # without the ticket file: what is in a file is read in a worker only
    record.job, record.sizes = part_id(order.job, order.part, len(order.sizes)), list(order.sizes)
    if order.sizes:
        record.ticket = record.ticket.model_copy(update={"trim": parse_size(order.sizes[order.part - 1])})
    record.findings.insert(0, Finding(code=code, level=Level.HOLD, message=message, mend=mend))
    record.outcome, record.finished = Outcome.HOLD, dt.datetime.now(dt.UTC)
    with JobLog(order.out / LOG, job=record.job) as log:
        log.write("finding", **record.findings[0].model_dump(mode="json", exclude_none=True))
        log.write("job finished", outcome=record.outcome, reason=record.reason, detail=detail)
        if not order.checks_only:
            _report(order, record, None, log, pictures=False)
    _write_record(order, record)
    return record


def _prepare(order: Order, record: JobRecord, work: Path, hooks: pluggy.PluginManager | None) -> Job | None:
    """The job with its ticket and printing condition; None where these already hold it."""
    try:
        name = _read_ticket(order, record, order.ticket_files, hooks)
    except Hold as hold:
        record.findings.append(hold.finding)
        return None
    if name not in order.conditions:
        record.findings.append(_unknown_condition(name, order.conditions, record))
        return None
    fields = {"route": order.route, "date": order.arrived.strftime("%Y-%m-%d")}
    return Job(
        job=record.job,
        name=order.name,
        original=order.original,
        work=work,
        ticket=record.ticket,
        condition=order.conditions[name],
        fields=fields,
    )


def _read_ticket(
    order: Order, record: JobRecord, ticket_files: tuple[Path, ...], hooks: pluggy.PluginManager | None
) -> str:
    """Put the ticket into the record; gives the name of the printing condition. Hold where a ticket file is wrong."""
    collected = collect(
        route=order.route,
        table=order.ticket,
        subfolders=order.subfolders,
        subfolder=order.subfolder,
        file_names=order.file_names,
        name=order.name,
        ticket_files=ticket_files,
        overrides=order.overrides,
        hooks=hooks,
        part=order.part,
    )
    if len(collected.sizes) > 1:
        record.sizes = [str(size) for size in collected.sizes]
        record.job = part_id(order.job, order.part, len(record.sizes))
    record.ticket, record.origins = collected.ticket, collected.origins
    record.findings += collected.findings
    name = collected.ticket.condition or order.condition
    if name in order.conditions:
        record.condition = order.conditions[name].title
    return name


def _unknown_condition(name: str, known: Mapping[str, Condition], record: JobRecord) -> Finding:
    origin = record.origins.get("condition", "the config")
    return Finding(
        code="unknown_condition",
        level=Level.HOLD,
        message=f"There is no printing condition '{printable(name)}' (asked for by {origin}){meant(name, list(known))}",
        mend="Correct the name of the printing condition in the order, or add the condition to the studio's config.",
    )


def _step_finished(
    job: Job, step: StepRecord, record: JobRecord, log: JobLog, hooks: pluggy.PluginManager | None
) -> None:
    record.steps.append(step)
    log.write("step finished", **step.model_dump(mode="json", exclude_none=True))
    if hooks is None:
        return
    try:
        hooks.hook.step_finished(job=job, record=step)
    except Exception:  # part of the edge around a step: an observer that fails must not change the outcome
        log.write("observer failed", step=step.step, trace=traceback.format_exc())


def _conclude(order: Order, record: JobRecord, job: Job | None) -> None:
    """Set the outcome, and put the finished PDF in its place."""
    held = job is None or bool(record.at_level(Level.HOLD)) or any(step.ended is Ended.FAULT for step in record.steps)
    record.outcome = Outcome.HOLD if held else Outcome.PASS
    record.finished = dt.datetime.now(dt.UTC)
    if job is not None and not held and not order.checks_only:
        result = order.out / RESULT
        record.result_digest = job.digest()
        if job.artwork.is_relative_to(job.work):
            job.artwork.replace(result)
        else:  # a plugin took another file as working PDF, perhaps the original: that stays where it is
            shutil.copyfile(job.artwork, result)
        shown = job.shown
        job.use(result)
        job.shown = shown  # the same bytes in another place


def _report(order: Order, record: JobRecord, job: Job | None, log: JobLog, *, pictures: bool = True) -> None:
    working = job.artwork if job is not None and job.has_artwork else None
    try:
        write_report(
            record,
            order.out / REPORT,
            original=order.original if pictures else None,
            working=working if pictures else None,
            opened=job.opened if job is not None and pictures else None,
            condition=job.condition if job is not None else None,
            shown=job.shown if job is not None and pictures else None,
            ink=job.ink if job is not None and pictures else (),
            views=job.views if job is not None and pictures else None,
            moved=job.moved if job is not None else None,
            laid_out=job is not None and bool(job.sheets),
            proof=order.out / PROOF if record.outcome is Outcome.PASS and _sends_proof(order.chain) else None,
        )
    except Exception:  # part of the edge around one job: a report that fails must not change the outcome
        log.write("report failed", trace=traceback.format_exc())
        if pictures:
            _report(order, record, None, log, pictures=False)


def _sends_proof(chain: Sequence[Step]) -> bool:
    """Whether the picture of the sheet goes anywhere but into the report."""
    parcels = [parcel for step in chain if isinstance(step, Delivery) for parcel in step.parcels()]
    return any(Content.PROOF in parcel.contents for parcel in parcels)


def _write_record(order: Order, record: JobRecord) -> None:
    """The record is the mark that the job's folder is complete: written last, beside and renamed, all on disk before."""
    for path in (order.out / LOG, order.out / REPORT):
        if path.exists():
            _fsync(path)
    beside = order.out / (RECORD + ".tmp")
    beside.write_text(record.model_dump_json(indent=1), encoding="utf-8")
    _fsync(beside)
    beside.replace(order.out / RECORD)


def _sync_beside(path: Path) -> Future[None]:
    """Bring a file to the disk, if it is there, while something else is done. The future tells when, or raises."""
    done: Future[None] = Future()

    def sync() -> None:
        try:
            if path.exists():
                _fsync(path)
        except OSError as error:
            done.set_exception(error)
        else:
            done.set_result(None)

    Thread(target=sync, daemon=True).start()
    return done


def _fsync(path: Path) -> None:
    with path.open("rb") as stream:
        os.fsync(stream.fileno())
