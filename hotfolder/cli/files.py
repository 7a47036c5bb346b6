"""The commands `check` and `once`: what became of files given by hand, as tables or JSON."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from hotfolder.cli import jobs as cli_jobs
from hotfolder.cli.jobs import Done, Heard
from hotfolder.cli.show import as_json, console, level, plain, say, table
from hotfolder.finding import Finding, Level, Outcome
from hotfolder.gathered import listed
from hotfolder.names import printable


def check_files(
    files: Sequence[Path], config: Path | None, route_name: str | None, pairs: Sequence[str], *, json_: bool
) -> int:
    """`hotfolder check`. Returns the exit code."""
    artwork = cli_jobs.artwork(files)
    studio, route = cli_jobs.choose(config, route_name)
    values = cli_jobs.overrides(pairs, studio)
    with _progress(len(artwork)) as (heard, ended):
        every = []
        for done in cli_jobs.run_all(studio, route, artwork, values, heard, into=None):
            every.append(done)
            ended()
    if json_:
        as_json([_data(done) for done in every])
        return _code(every)
    for done in every:
        _show(done)
    if any(_any_size(done) for done in every):
        say("No size was ordered, so none was compared; --set trim=24x36in says what was.")
    if any(done.record is not None and done.record.sizes for done in every):
        say("Several sizes were ordered: each is looked at on its own, and gets a result of its own.")
    left = cli_jobs.checks(route.chain)[1]
    if left:
        say(f"Not looked at here, because it needs the finished file: {', '.join(left)}.")
    return _code(every)


def once_files(
    files: Sequence[Path], into: Path, config: Path | None, route_name: str | None, pairs: Sequence[str]
) -> int:
    """`hotfolder once`. Returns the exit code."""
    artwork = cli_jobs.artwork(files)
    studio, route = cli_jobs.choose(config, route_name)
    values = cli_jobs.overrides(pairs, studio)
    cli_jobs.prepare(into)
    rows = table("file", "outcome", "reason", "result, or report")
    every = []
    with _progress(len(artwork)) as (heard, ended):
        for done in cli_jobs.run_all(studio, route, artwork, values, heard, into=into):
            every.append(done)
            ended()
            rows.add_row(plain(done.file), level(done.outcome), plain(_reason(done)), plain(_where(done)))
    console().print(rows)
    return _code(every)


def _code(every: Sequence[Done]) -> int:
    return 0 if all(done.outcome is Outcome.PASS for done in every) else 1


def _reason(done: Done) -> str:
    return done.record.reason if done.record else done.findings[0].message


def _where(done: Done) -> str:
    """The finished PDF, or where the reasons stand."""
    wanted = ".pdf" if done.outcome is Outcome.PASS else ".report.html"
    return next((str(path) for path in done.published if path.name.endswith(wanted)), "")


def _data(done: Done) -> dict[str, Any]:
    """One file as JSON. Boxes are left, bottom, right, top in points."""
    keys = ("code", "level", "message", "measured", "required", "page", "box", "mend", "step")
    findings = [finding.model_dump(mode="json") for finding in done.findings]
    return {
        "file": done.file,
        "outcome": done.outcome.value,
        "findings": [{key: finding[key] for key in keys} for finding in findings],
    }


def _show(done: Done) -> None:
    out = console()
    heading = plain(f"{done.file}: ").append_text(level(done.outcome)).append(_counted(done))
    out.print(heading, soft_wrap=True)
    if done.findings:
        rows = table("", "what", "measured", "required", "what to do")
        for finding in sorted(done.findings, key=lambda finding: list(Level).index(finding.level)):
            cells = (_placed(finding), finding.measured, finding.required, finding.mend)
            rows.add_row(level(finding.level), *(plain(cell) for cell in cells))
        out.print(rows)


def _any_size(done: Done) -> bool:
    """Whether a file was opened, and nothing said how large it was to be."""
    return done.record is not None and bool(done.record.kind) and done.record.ticket.trim is None


def _placed(finding: Finding) -> str:
    return finding.message + (f" (page {finding.page})" if finding.page and finding.page > 1 else "")


def _counted(done: Done) -> str:
    words = {Level.HOLD: "to look at", Level.NOTE: "noted", Level.MENDED: "mended"}
    counts = [(sum(finding.level is each for finding in done.findings), words[each]) for each in Level]
    told = [f"{count} {word}" for count, word in counts if count]
    return f" ({listed(told)})" if told else " (nothing to say)"


@contextmanager
def _progress(total: int) -> Iterator[tuple[Heard, Callable[[], None]]]:
    """Shows on the error channel which step is at work, where that is a terminal."""
    screen = console(stderr=True)
    if not screen.is_terminal:
        yield (lambda text: None), (lambda: None)
        return
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    text = TextColumn("{task.description}", markup=False)
    with Progress(text, BarColumn(), MofNCompleteColumn(), console=screen, transient=True) as progress:
        task = progress.add_task("", total=total)
        yield (
            lambda words: progress.update(task, description=printable(words)),
            lambda: progress.advance(task),
        )
