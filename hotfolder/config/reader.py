"""Reads the studio's config file and checks all of it before a single file is touched."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from hotfolder.colour.condition import SHIPPED, Condition
from hotfolder.config.builtin import poster_chain
from hotfolder.config.checker import Checker
from hotfolder.config.conditions import read_condition
from hotfolder.config.lines import Lines, Place
from hotfolder.config.lint import Lint, find, lint
from hotfolder.config.studio import Keep, Limits, Route, Studio
from hotfolder.config.tables import RouteTable, StudioTable
from hotfolder.config.toml_words import read_toml
from hotfolder.config.words import show, unknown, write
from hotfolder.errors import ConfigError
from hotfolder.loading import Plugins, load_plugins
from hotfolder.names import printable
from hotfolder.step import Step
from hotfolder.ticket import Ticket

__all__ = ["Limits", "Lint", "Route", "Studio", "lint", "load_studio"]


def load_studio(file: Path) -> Studio:
    """The studio a config file describes. ConfigError with every problem at once where it can't start."""
    text = _read(file)
    data, line, sentence = read_toml(text)
    if sentence:
        where = f"{printable(str(file))}, line {line}" if line else printable(str(file))
        raise ConfigError([f"{where}: {sentence}"])
    return _Reader(file, data, Lines(text, data)).studio()


def _read(file: Path) -> str:
    shown = printable(str(file))
    try:
        data = file.read_bytes()
    except FileNotFoundError as error:
        raise ConfigError([f"There is no config file {shown}; check its name and its folder."]) from error
    except IsADirectoryError as error:
        raise ConfigError([f"{shown} is a folder; name the config file in it."]) from error
    except OSError as error:
        raise ConfigError([f"The config file {shown} can't be read: {error.strerror or error}."]) from error
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise ConfigError([f"{shown}, line {line}: this is not UTF-8 text; save the file as UTF-8."]) from error


class _Reader(Checker):
    """Goes through the tables of one file, from the top down."""

    def __init__(self, file: Path, data: dict[str, Any], lines: Lines) -> None:
        super().__init__(Path(os.path.abspath(file.parent)))  # noqa: PTH100 (links stay as they are written)
        self.file = file
        self.data = data
        self.lines = lines
        self.others: list[str] = []  # problems of plugins, which have no line
        self.plugins: Plugins | None = None
        self.all_plugins = False  # whether every plugin could be loaded
        self.names: list[str] = []

    def studio(self) -> Studio:
        top = self.check(StudioTable, self.data, (), (), whose="The") or StudioTable()
        limits = self.check(Limits, _table(self.data.get("limits")), ("limits",), ("limits",)) or Limits()
        keep = self.check(Keep, _table(self.data.get("keep")), ("keep",), ("keep",)) or Keep()
        self.plugins = self.load(_texts(self.data.get("plugins")))
        conditions = self.conditions(_table(self.data.get("conditions")))
        condition = _text(self.data.get("condition"), top.condition)
        if condition not in self.names:
            sentence = unknown("printing condition", condition, self.names, "The printing conditions are")
            self.say(("condition",), (), sentence)
        routes = self.routes(_table(self.data.get("routes")))
        studio = Studio(
            file=self.file,
            folder=self.folder,
            spool=self.path(_text(self.data.get("spool"), top.spool), ("spool",), ()) or self.folder / "spool",
            plugins=self.plugins,
            conditions=conditions,
            condition=condition,
            routes=routes,
            workers=top.workers,
            rescan=top.rescan,
            events=top.events,
            reserve_mb=top.reserve_mb,
            metrics=top.metrics,
            keep=keep,
            limits=limits,
            lines=self.lines,
        )
        problems = [remark for remark in (*self.remarks, *find(studio)) if remark.stops]
        if problems or self.others:
            raise ConfigError([*write(problems, self.file, self.lines), *self.others])
        return studio

    def load(self, folders: list[str]) -> Plugins:
        every = []
        for number, folder in enumerate(folders):
            path = self.path(folder, ("plugins", number), ())
            if path is not None and not path.is_dir():
                self.say(("plugins", number), (), f"the plugin folder {show(folder)} does not exist.")
                path = None
            every += [path] if path is not None else []
        self.all_plugins = len(every) == len(folders)
        try:
            return load_plugins(every)
        except ConfigError as error:
            self.others += error.problems
            self.all_plugins = False
        try:
            return load_plugins()  # so that what the file says of the shipped steps is checked all the same
        except ConfigError:
            return _no_plugins()

    def conditions(self, tables: Mapping[str, Any]) -> dict[str, Condition]:
        found = dict(SHIPPED)
        self.names = list(dict.fromkeys([*SHIPPED, *tables]))
        for name, table in tables.items():
            place, who = ("conditions", name), (f"condition {show(name)}",)
            if self.named(name, table, place, who):
                condition = read_condition(self, name, table, place, who)
                found |= {name: condition} if condition else {}
        return found

    def routes(self, tables: Mapping[str, Any]) -> tuple[Route, ...]:
        if not tables and isinstance(self.data.get("routes", {}), dict):
            self.say((), (), "there is no route; write a table [routes.NAME] with watch, pass and hold.")
        routes = []
        for name, table in tables.items():
            place, who = ("routes", name), (f"route {show(name)}",)
            if self.named(name, table, place, who):
                routes.append(self.route(name, table, place, who))
        return tuple(routes)

    def route(self, name: str, table: dict[str, Any], place: Place, who: tuple[str, ...]) -> Route:
        """The route, as far as it can be understood, so that the folders are compared in any case."""
        checked = self.check(RouteTable, table, place, who) or RouteTable.model_construct(watch="", passed="", hold="")
        watch, passed, hold = (
            self.path(table[key], (*place, key), who) if isinstance(table.get(key), str) else None
            for key in ("watch", "pass", "hold")
        )
        return Route(
            name=name,
            watch=watch,
            passed=passed,
            hold=hold,
            chain=self.chain(table.get("chain"), place, who),
            ticket=self.ticket(_table(table.get("ticket")), place, who),
            settle=checked.settle,
            patience=checked.patience,
            file_names=tuple(checked.file_names),
            subfolders=checked.subfolders,
        )

    def ticket(self, table: dict[str, Any], place: Place, who: tuple[str, ...]) -> dict[str, Any]:
        place, who = (*place, "ticket"), (*who, "ticket")
        self.check(Ticket, table, place, who, noun="ticket key", whose="The")
        condition = table.get("condition")
        if isinstance(condition, str) and condition not in self.names:
            sentence = unknown("printing condition", condition, self.names, "The printing conditions are")
            self.say((*place, "condition"), who, sentence)
        return table

    def chain(self, entries: Any, place: Place, who: tuple[str, ...]) -> tuple[Step, ...]:
        """The steps with their settings; none where any of them is wrong."""
        place = (*place, "chain")
        if entries is None:
            return self.default_chain(place, who)
        if not isinstance(entries, list):
            return ()
        if not entries:
            self.say(place, who, "'chain' is empty; name the steps in order, or leave it out for the built-in chain.")
        steps = [self.entry(entry, (*place, number), who) for number, entry in enumerate(entries)]
        good = tuple(step for step in steps if step is not None)
        return good if len(good) == len(steps) else ()

    def default_chain(self, place: Place, who: tuple[str, ...]) -> tuple[Step, ...]:
        try:
            return poster_chain(self.plugins or _no_plugins())
        except ConfigError as error:
            for problem in error.problems if self.all_plugins else ():
                self.say(place, (*who, "chain"), f"{problem[:1].lower()}{problem[1:]}")
        return ()

    def entry(self, entry: Any, place: Place, who: tuple[str, ...]) -> Step | None:
        """One entry of a chain: a step's name, or a table with its name and settings."""
        table = {"step": entry} if isinstance(entry, str) else entry
        if not isinstance(table, dict) or not isinstance(table.get("step"), str):
            at = f"entry {int(place[-1]) + 1}"
            sentence = 'it must be a step\'s name, such as "open_pdf", or a table such as { step = "open_pdf" }.'
            self.say(place, (*who, "chain", at), sentence)
            return None
        name, settings = table["step"], {key: value for key, value in table.items() if key != "step"}
        steps = self.plugins.steps if self.plugins else {}
        if name not in steps:
            if self.all_plugins:  # else it may be a step of one that failed to load
                self.say(place, (*who, "chain"), unknown("step", name, sorted(steps), "The steps are"))
            return None
        who = (*who, f"step {show(name)}")
        try:
            checked = self.check(steps[name].Settings, settings, place, who)
            if checked is not None:
                checked.model_dump_json()  # a default that does not fit its own setting shows here, not in a job
                return steps[name](checked)
        except Exception as error:  # the edge around a plugin's own code, as in the loader
            self.say(place, who, f"its settings can't be checked: {type(error).__name__}: {printable(str(error))}.")
        return None


def _no_plugins() -> Plugins:
    import pluggy

    return Plugins(pluggy.PluginManager("hotfolder"), {}, ())


def _table(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _text(value: Any, default: str) -> str:
    return value if isinstance(value, str) else default


def _texts(value: Any) -> list[str]:
    return [text for text in value if isinstance(text, str)] if isinstance(value, list) else []
