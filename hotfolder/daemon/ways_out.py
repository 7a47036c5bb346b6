"""What of a settled job goes to `pass` and what to `hold`, and under which names; repeated without harm after a crash.

What passed goes to `pass` as one group, then what is held to `hold` as another, with the original as it came. Where one
size passed and another is held, the original is the proof of what passed: it stays in the spool, and `hold` gets a copy.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import chain, islice
from pathlib import Path

from hotfolder.daemon.claiming import Claim, out_name
from hotfolder.daemon.files import Files
from hotfolder.daemon.publish import PLAN, Member, put, split_name
from hotfolder.finding import Outcome
from hotfolder.names import safe_stem
from hotfolder.record import JobRecord
from hotfolder.work import LOG, RECORD, REPORT, RESULT

COPIES = "copies"


def hand_on(files: Files, job: str, home: Path, claim: Claim, records: Sequence[JobRecord]) -> dict[str, list[str]]:
    """Put every file where it belongs: for each record's job, by its id, the names, the artwork last. OSError: again."""
    names: dict[str, list[str]] = {}
    for outcome in Outcome:
        group = [record for record in records if record.outcome is outcome]
        if group:
            names |= _group(files, job, home, claim, outcome, group, mixed=len(group) < len(records))
    return names


def tidy(files: Files, home: Path, records: Sequence[JobRecord]) -> None:
    """Remove what is of no use once everything stands where it belongs; the records are kept."""
    files.remove_tree(home / COPIES)
    for record in records:
        for entry in files.list(home / out_name(record.part)):
            if entry.is_dir(follow_symlinks=False):
                files.remove_tree(Path(entry.path))
            elif entry.name != RECORD:
                files.unlink(Path(entry.path))


def ticket_member(name: str) -> Member:
    """`jazz.pdf.ticket.toml` is `jazz` and `.pdf.ticket.toml`: a number goes where the artwork has it."""
    base = name[: name.casefold().rindex(".ticket.")]
    stem, ending = split_name(base)
    return Member(f"tickets/{name}", stem, ending + name[len(base) :], optional=True)


def _group(
    files: Files, job: str, home: Path, claim: Claim, outcome: Outcome, group: list[JobRecord], *, mixed: bool
) -> dict[str, list[str]]:
    passed = outcome is Outcome.PASS
    folder = Path(claim.passed if passed else claim.hold)
    if files.there(folder.parent):
        files.mkdir_lasting(folder)
    plan = f"plan-{outcome.value}.json" if mixed else PLAN
    if mixed and not passed and not files.there(home / plan):
        _copy_original(files, home, claim)
    parts = [_passed(record) if passed else _held(claim, record) for record in group]
    artwork = [] if passed else _original(claim, COPIES if mixed else "")
    names = put(files, job, home, folder, [*chain.from_iterable(parts), *artwork], plan)
    shared = names[len(names) - len(artwork) :]
    rest = iter(names)
    return {record.job: [*islice(rest, len(part)), *shared] for record, part in zip(group, parts, strict=True)}


def _copy_original(files: Files, home: Path, claim: Claim) -> None:
    for folder, names in (("original", (claim.name,)), ("tickets", claim.tickets)):
        files.mkdir(home / COPIES / folder)
        for name in names:
            if files.look(home / folder / name) is not None:
                files.copy(home / folder / name, home / COPIES / folder / name)


def _passed(record: JobRecord) -> list[Member]:
    out, stem = out_name(record.part), safe_stem(record.result_stem)
    return [
        Member(f"{out}/{LOG}", stem, ".log"),
        Member(f"{out}/{REPORT}", stem, ".report.html"),
        Member(f"{out}/{RESULT}", stem, ".pdf"),
    ]


def _held(claim: Claim, record: JobRecord) -> list[Member]:
    out, stem = out_name(record.part), split_name(claim.name)[0]
    size = f"_{record.sizes[record.part - 1]}" if record.sizes else ""
    return [Member(f"{out}/{LOG}", stem, f"{size}.log"), Member(f"{out}/{REPORT}", stem, f"{size}.report.html")]


def _original(claim: Claim, below: str) -> list[Member]:
    """The artwork as it came, after its tickets; `below`: the folder with copies of both, if these are meant."""
    stem, ending = split_name(claim.name)
    members = [*(ticket_member(name) for name in claim.tickets), Member(f"original/{claim.name}", stem, ending)]
    return [replace(member, source=f"{below}/{member.source}") if below else member for member in members]
