"""A studio of our own invention: clients, artwork drawn by code, and one run of the daemon over it."""

from __future__ import annotations

from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from hotfolder.config.reader import load_studio
from hotfolder.config.studio import Studio
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.loop import Daemon
from hotfolder.demo.arrivals import Arrival, arrivals
from hotfolder.hookspecs import hookimpl
from hotfolder.record import JobRecord

_WATCHED = Path("in", "posters")
_PIPE_WIDTH = 160  # of a line where nobody's window gives a width
_WIDE = 150  # from here on four columns hold names whole


@dataclass
class Gathered:
    """What the daemon told, by job: the record, and the names of the files that stand in pass or hold."""

    records: dict[str, JobRecord] = field(default_factory=dict)
    places: dict[str, list[Path]] = field(default_factory=dict)

    @hookimpl
    def job_finished(self, record: JobRecord) -> None:
        self.records[record.job] = record


def run(folder: Path) -> None:
    """Make the studio in a new folder, drop the artwork, run the daemon until idle, print what became of each file.

    Where the folder holds something already, one beside it with a number is taken: the demo touches nothing old.
    """
    console = Console(highlight=False, markup=False, emoji=False)
    if not console.is_terminal:
        console.width = _PIPE_WIDTH
    folder = _free(folder)
    every = arrivals()
    _lay_out(folder)
    console.print(f"Harbour Lane Print, a print shop of our invention, opens in {folder}.", soft_wrap=True)
    with _bar(console) as bar:
        _draw(folder / _WATCHED, every, bar)
        gathered = _work(load_studio(folder / "studio.toml"), len(every), bar)
    console.print(_table(folder, every, gathered, narrow=console.width < _WIDE))
    console.print(f"The studio stays: drop more into {folder / _WATCHED} and go on with", soft_wrap=True)
    console.print(f"  hotfolder run {folder / 'studio.toml'}", soft_wrap=True)


def _free(folder: Path) -> Path:
    """The folder itself where it is new or empty, else the first of NAME-2, NAME-3 ... that is."""
    number, free = 1, folder
    while free.exists() and (not free.is_dir() or any(free.iterdir())):
        number += 1
        free = folder.with_name(f"{folder.name}-{number}")
    return free


def _lay_out(folder: Path) -> None:
    (folder / _WATCHED).mkdir(parents=True)
    text = (files("hotfolder.demo") / "studio.toml").read_text(encoding="utf-8")
    (folder / "studio.toml").write_text(text, encoding="utf-8")


def _bar(console: Console) -> Progress:
    columns = (SpinnerColumn(), BarColumn(), TimeElapsedColumn(), TextColumn("{task.description}", markup=False))
    return Progress(*columns, console=console, transient=True)


def _draw(watched: Path, every: list[Arrival], bar: Progress) -> None:
    task = bar.add_task("", total=len(every))
    for arrival in every:
        path = watched / arrival.path
        bar.update(task, description=f"drawing {arrival.path}")
        if arrival.ticket:
            (watched / f"{path.stem}.ticket.toml").write_text(arrival.ticket, encoding="utf-8")
        arrival.write(path)
        bar.advance(task)
    bar.remove_task(task)


def _work(studio: Studio, count: int, bar: Progress) -> Gathered:
    """Run the daemon until idle; the bar moves by steps."""
    gathered = Gathered()
    studio.plugins.manager.register(gathered)
    steps = len(studio.routes[0].chain)
    whole = bar.add_task("waiting until every file has arrived whole", total=count * steps)

    def heard(event: Event) -> None:
        if event.what is What.STEP:
            bar.update(whole, advance=1, description=f"{event.file}: {event.step.replace('_', ' ')}")
        elif event.what is What.FINISHED:
            gathered.places[event.job] = [Path(event.folder) / name for name in event.names]
            done = len(gathered.places) * steps
            bar.update(whole, completed=done, description=f"{event.file}: {event.outcome}")

    Daemon(studio, heard).run(until_idle=True)
    return gathered


def _table(folder: Path, every: list[Arrival], gathered: Gathered, *, narrow: bool) -> Table:
    """File, outcome, reason, and where result and report are: side by side, or below each other in a narrow window."""
    table = Table(box=SIMPLE_HEAD, pad_edge=False, expand=not narrow)  # so that the shares count
    wide = (("what was dropped", 8), ("outcome", None), ("reason", 9), ("result and report", 11))
    for column, share in (("outcome", None), ("what was dropped, reason, result and report", None)) if narrow else wide:
        table.add_column(column, overflow="fold", ratio=share)
    records = {record.file: record for record in gathered.records.values()}
    for arrival in every:
        record = records.get(arrival.path)
        if record is None or record.outcome is None:
            _add(table, Text(arrival.path), Text("none"), "still waiting; the daemon's log says why", [])
            continue
        shown = [str(path.relative_to(folder.resolve())) for path in _shown(gathered.places.get(record.job, []))]
        style = "bold" if record.outcome.value == "pass" else "bold reverse"
        dropped = Text(f"{arrival.path}\n").append(arrival.about, style="italic")
        _add(table, dropped, Text(record.outcome.value, style=style), _few_words(record), shown)
    return table


def _add(table: Table, dropped: Text, outcome: Text, reason: str, places: list[str]) -> None:
    if len(table.columns) > 2:
        table.add_row(dropped, outcome, Text(reason), Text("\n".join(places)))
    else:
        table.add_row(outcome, Text("\n").join([dropped, Text(reason), *map(Text, places)]))
        table.add_section()


def _shown(places: list[Path]) -> list[Path]:
    """The artwork and its report, without log and ticket."""
    return sorted(path for path in places if not path.name.endswith((".log", ".toml", ".json")))


def _few_words(record: JobRecord) -> str:
    """The reason, as far as its first full stop or colon; the report has the rest."""
    return record.reason.split(". ")[0].split(": ")[0].rstrip(".")
