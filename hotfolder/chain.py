"""Takes a job through its steps, one after the other, and writes down what each did."""

from __future__ import annotations

import errno
import time
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path

from hotfolder.finding import Finding, Hold, Level
from hotfolder.job import Job, file_digest
from hotfolder.record import Ended, StepRecord
from hotfolder.step import Opener, Step

_HEAD = 4096
_OURS = {".pdf", ".jpg", ".jpeg", ".tif", ".tiff", ".png"}  # endings that promise a kind we open
_DROP_AGAIN = "Export or copy the artwork again, wait until that has finished, and drop the whole file."
_HELD = "Not done: the job is held, and this step would change the artwork."
_DISK_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}  # the last: past the limit on files
_FAULT_MEND = (
    "This is a fault in hotfolder or one of its plugins, not in your file. The log beside this file holds the details."
)


def run_chain(job: Job, steps: Sequence[Step], finished: Callable[[StepRecord], None]) -> None:
    """Run every step in order. Findings gather on the job; `finished` hears of each step as it ends."""
    for step in steps:
        job.step, job.told = step.name, []
        start = time.perf_counter()
        record = _run_step(job, step)
        record.seconds = round(time.perf_counter() - start, 4)
        record.told = job.told
        job.step = ""
        finished(record)
    for name, meanwhile in job.meanwhiles:
        error = meanwhile.exception()
        if error is not None:
            job.findings.append(_finding(name, error))
    if not job.has_artwork and not job.held:
        _hold_unknown(job)


def _run_step(job: Job, step: Step) -> StepRecord:
    try:
        reason = _why_skip(job, step)
        if reason:
            job.tell(reason)
            if reason == _HELD:
                step.foretell(job)
            return StepRecord(step=step.name, ended=Ended.SKIPPED)
        seal = _Seal(job, looks=not step.changes)
        step.run(job)
    except Hold as hold:
        job.findings.append(_finding(step.name, hold))
        return StepRecord(step=step.name, ended=Ended.HELD)
    except Exception as error:  # the edge around one step: a fault costs this job a hold, never the daemon its life
        if isinstance(error, OSError) and error.errno in _DISK_FULL:
            raise  # the runner's to judge: the job is laid down and tried again, or held
        job.findings.append(_finding(step.name, error))
        return StepRecord(step=step.name, ended=Ended.FAULT, trace=traceback.format_exc())
    changed = seal.broken(job)
    if isinstance(step, Opener) and job.has_artwork:
        job.opened = job.artwork
    if changed and not step.changes:
        job.hold(
            "undeclared_change",
            f"The step {step.name} changed the artwork although it says that it only looks.",
            mend=_FAULT_MEND,
        )
    return StepRecord(step=step.name, ended=Ended.DONE, changed=changed)


class _Seal:
    """Tells whether a step changed the working PDF. For one that only looks, the bytes themselves are compared."""

    def __init__(self, job: Job, *, looks: bool) -> None:
        self._version = job.version
        self._digest = job.digest() if looks and job.has_artwork else ""

    def broken(self, job: Job) -> bool:
        if job.version != self._version or not self._digest:
            return job.version != self._version
        return file_digest(job.artwork) != self._digest


def _why_skip(job: Job, step: Step) -> str:
    """Why this step has nothing to do with this job, as a sentence; empty where it has."""
    if isinstance(step, Opener):
        if job.has_artwork or job.held:
            return "The artwork is open already." if job.has_artwork else "The job is held already."
        kind = step.recognises(_head(job.original))
        if not kind:
            return "Not this kind of file."
        job.kind = kind
        return ""
    if not job.has_artwork:
        return "There is no artwork to work on."
    if job.held and step.changes and not step.mends:
        return _HELD
    return ""


def _head(path: Path) -> bytes:
    with path.open("rb") as stream:
        return stream.read(_HEAD)


def _hold_unknown(job: Job) -> None:
    named = Path(job.name).suffix.lower()
    if not job.original.stat().st_size:
        job.hold("empty_file", "The file is empty: it has no content at all.", mend=_DROP_AGAIN)
        return
    job.hold(
        "unknown_kind",
        "hotfolder can't open this kind of file"
        + (f": it is named {named}, but its content is something else." if named in _OURS else "."),
        required="PDF, JPEG, TIFF or PNG",
        mend="Export the artwork as PDF (best), JPEG, TIFF or PNG and drop it again.",
    )


def _finding(name: str, error: BaseException) -> Finding:
    """A step's own Hold, or the fault that any other exception is."""
    if isinstance(error, Hold):
        return error.finding.model_copy(update={"step": name})
    return Finding(
        code="fault",
        level=Level.HOLD,
        step=name,
        mend=_FAULT_MEND,
        message=f"The step {name} could not finish: {type(error).__name__}: {error}"[:600],
    )
