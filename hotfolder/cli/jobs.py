"""Takes files given by hand through a route's chain, each in a process of its own, as the daemon would."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import secrets
import shutil
import stat
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from pydantic import ValidationError

from hotfolder.config.builtin import ROUTE, builtin_studio
from hotfolder.config.reader import load_studio
from hotfolder.config.studio import Route, Studio
from hotfolder.config.words import ended, sentences, show, unknown
from hotfolder.daemon.companions import Companions, is_ticket
from hotfolder.daemon.files import Files
from hotfolder.daemon.publish import Member, put
from hotfolder.daemon.runner import Runner
from hotfolder.errors import ConfigError
from hotfolder.finding import Finding, Level, Outcome
from hotfolder.names import printable, safe_stem
from hotfolder.record import JobRecord
from hotfolder.step import Opener, Part, Step
from hotfolder.ticket import Ticket
from hotfolder.work import LOG, REPORT, RESULT, Order

Heard = Callable[[str], None]


@dataclass
class Done:
    """What became of one file. `record` is None where it was refused before any step."""

    file: str
    outcome: Outcome
    findings: list[Finding]
    record: JobRecord | None = None
    published: list[Path] = field(default_factory=list)


def choose(config: Path | None, name: str | None) -> tuple[Studio, Route]:
    """The studio and the route to work with. ConfigError with a sentence where that is not clear."""
    studio = builtin_studio() if config is None else load_studio(config)
    known = [route.name for route in studio.routes]
    if name is None and len(known) > 1:
        raise ConfigError([f"The config has several routes; choose one with --route: {', '.join(known)}."])
    route = studio.routes[0] if name is None else studio.route(name)
    if route is None and config is None:
        raise ConfigError([f"--route {show(name)}: without --config there is only the built-in route '{ROUTE}'."])
    if route is None:
        raise ConfigError([f"--route {show(name)}: {unknown('route', str(name), known, 'The routes are')}"])
    return studio, route


def overrides(pairs: Sequence[str], studio: Studio) -> dict[str, str]:
    """The ticket keys of --set KEY=VALUE. ConfigError with every problem at once."""
    values: dict[str, str] = {}
    problems = []
    for pair in pairs:
        key, sign, value = pair.partition("=")
        at = f"--set {printable(pair)}: "
        if not sign:
            problems.append(f"{at}write KEY=VALUE, such as trim=24x36in.")
            continue
        try:
            Ticket(**{key: value})
            values[key] = value
        except ValidationError as error:
            problems += [at + sentence for _, sentence in sentences(error, Ticket, "ticket key", "The")]
    condition = values.get("condition")
    if condition is not None and condition not in studio.conditions:
        known = list(studio.conditions)
        told = unknown("printing condition", condition, known, "The printing conditions are")
        problems.append(f"--set condition={printable(condition)}: {told}")
    if problems:
        raise ConfigError(problems)
    return values


def artwork(files: Sequence[Path]) -> list[Path]:
    """The files to work on; tickets among them are left to their artwork. ConfigError where one does not exist."""
    missing = [file for file in files if not file.exists()]
    if missing:
        raise ConfigError(
            [f"There is no file {printable(str(file))}; check its name and its folder." for file in missing]
        )
    return [file for file in files if not is_ticket(file.name)]


def checks(chain: Sequence[Step]) -> tuple[tuple[Step, ...], list[str]]:
    """The chain without its changes, and the checks left out with them: those that look at what a change makes."""
    kept: list[Step] = []
    left: list[str] = []
    changed: frozenset[Part] = frozenset()
    for step in chain:
        if isinstance(step, Opener):
            kept.append(step)
        elif step.changes:
            changed |= step.changes
        elif step.reads & changed:
            left.append(step.name)
        else:
            kept.append(step)
    return tuple(kept), left


def run_all(
    studio: Studio, route: Route, files: Sequence[Path], values: dict[str, str], heard: Heard, *, into: Path | None
) -> Iterator[Done]:
    """Work on each file in turn, in each size ordered. With `into` the results are published below it, else nothing is kept."""
    runner = Runner(studio.plugins.folders[1:], studio.limits, studio.used_conditions, hidden=studio.customers)
    try:
        for file in files:
            refused = _refusal(file)
            if refused is not None:
                yield Done(printable(str(file)), Outcome.HOLD, [refused])
                continue
            first = _order(studio, route, file, values, checks_only=into is None)
            done = _run(runner, first, file, heard, into)
            yield done
            assert done.record is not None
            for other in first.others(done.record):
                yield _run(runner, other, file, heard, into)
    finally:
        runner.close()


def _run(runner: Runner, order: Order, file: Path, heard: Heard, into: Path | None) -> Done:
    with _room(into) as out:
        record = runner.run(replace(order, out=out), heard)
        size = f" ({record.sizes[record.part - 1]})" if record.sizes else ""
        done = Done(printable(str(file)) + size, record.outcome or Outcome.HOLD, record.findings, record)
        if into is not None:
            done.published = publish(out, record, into)
    return done


def prepare(into: Path) -> None:
    """Make the folders of `once`. ConfigError with a sentence where that is impossible."""
    try:
        for outcome in Outcome:
            (into / outcome.value).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = ended(f"{error.strerror or error}").lower()
        raise ConfigError([f"--into {printable(str(into))}: the folder can't be made: {reason}"]) from error


def publish(out: Path, record: JobRecord, into: Path) -> list[Path]:
    """Move a job's files from its own folder to pass or hold, as a group under one free name. Never overwrites."""
    passed = record.outcome is Outcome.PASS
    folder = into / (Outcome.PASS if passed else Outcome.HOLD).value
    # The finished PDF comes last: whoever sees it finds its log and report.
    group = [(LOG, ".log"), (REPORT, ".report.html"), *([(RESULT, ".pdf")] if passed else [])]
    size = f"_{record.sizes[record.part - 1]}" if record.sizes and not passed else ""
    stem = safe_stem(record.result_stem.removesuffix(size) + size)
    members = [Member(name, stem, ending) for name, ending in group if (out / name).exists()]
    return [folder / name for name in put(Files(), record.job, out, folder, members)]


def _order(studio: Studio, route: Route, file: Path, values: dict[str, str], *, checks_only: bool) -> Order:
    """The order for a file, in the first of the sizes it may come to; `out` is still to be made."""
    now = dt.datetime.now().astimezone()
    return Order(
        job=f"{now:%Y%m%d-%H%M%S}-{secrets.token_hex(3)}",
        route=route.name,
        name=file.name,
        subfolder="",
        original=Path(os.path.abspath(file)),  # noqa: PTH100 (links stay as they are written)
        ticket_files=_tickets(file),
        out=Path(),
        arrived=now,
        attempt=1,
        chain=checks(route.chain)[0] if checks_only else route.chain,
        ticket=route.ticket,
        file_names=route.file_names,
        subfolders=route.subfolders,
        conditions=studio.conditions,
        condition=studio.condition,
        overrides=dict(values),
        checks_only=checks_only,
    )


def _tickets(file: Path) -> tuple[Path, ...]:
    """The ticket files beside the artwork, weaker first, as the daemon finds them."""
    folder = Path(os.path.abspath(file)).parent  # noqa: PTH100
    try:
        names = os.listdir(folder)
    except OSError:  # a folder may be entered without being listed
        return ()
    found, _ = Companions([file.name], [name for name in names if is_ticket(name)]).of(file.name)
    return tuple(folder / name for name in found)


def _refusal(file: Path) -> Finding | None:
    """Why a name that exists is no file that can be worked on."""
    try:
        if not stat.S_ISREG(file.stat().st_mode):
            what = "a folder" if file.is_dir() else "a device or a pipe"
            return _refused("not_a_file", f"This is {what}, not a file.", "Give the artwork's file itself.")
        with file.open("rb"):
            return None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        return _refused(
            "unreadable", f"The file can't be read: {reason}.", "Check the file's permissions, then try again."
        )


def _refused(code: str, message: str, mend: str) -> Finding:
    return Finding(code=code, level=Level.HOLD, message=message, mend=mend)


@contextlib.contextmanager
def _room(into: Path | None) -> Iterator[Path]:
    """An empty folder for one job, on the same disk as where its files are to stand; gone afterwards."""
    folder = Path(tempfile.mkdtemp(prefix=".hotfolder-", dir=into))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
