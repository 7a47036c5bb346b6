"""The commands `config` and `steps`: what a config adds up to, and what each step is for, as tables or JSON."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from hotfolder.cli import about as cli_about
from hotfolder.cli.show import as_json, console, plain, say, sentences, table
from hotfolder.config.reader import load_studio


def show_config(file: Path, *, json_: bool) -> None:
    """`hotfolder config`. ConfigError where the config can't be used."""
    data = cli_about.studio_data(load_studio(file))
    if json_:
        as_json(data)
        return
    console().print(_general(data))
    console().print(_conditions(data))
    for name in data["conditions"]:
        if (rules := _rules(data, name)) is not None:
            console().print(rules)
    for route in data["routes"]:
        console().print(_route(route))
    sentences([f"Warning: {warning}" for warning in data["warnings"]])
    count = len(data["routes"])
    say(f"The config can be used: {count} route{'s' if count != 1 else ''}, {len(data['warnings'])} warnings.")


def show_steps(config: Path | None, name: str | None, *, json_: bool) -> None:
    """`hotfolder steps`. ConfigError where there is no such step."""
    data = cli_about.steps_data(config, name)
    if json_:
        as_json(data)
    elif name is None:
        rows = table("step", "what it does", "reads", "changes")
        for step in data:
            rows.add_row(step["name"], plain(step["purpose"]), _words(step["reads"]), _changes(step))
        console().print(rows)
    else:
        _show_step(data[0])


def _show_step(step: dict[str, Any]) -> None:
    say(f"{step['name']}: {step['purpose']}")
    say(f"reads: {_words(step['reads'])}; changes: {_changes(step)}")
    if step["mends"]:
        say("It also works on a job that is held already.")
    if not step["settings"]:
        say("It has no settings.")
        return
    rows = table("setting", "default", "unit", "allowed", "what it is for")
    for setting in step["settings"]:
        cells = (setting["name"], _value(setting["default"]), setting["unit"], setting["allowed"], setting["help"])
        rows.add_row(*(plain(cell) for cell in cells))
    console().print(rows)


def _words(parts: list[str]) -> str:
    return ", ".join(parts) if parts else "-"


def _changes(step: dict[str, Any]) -> str:
    return "opens the artwork" if step["opens"] else _words(step["changes"])


def _general(data: dict[str, Any]) -> Any:
    rows = table("setting", "value")
    for name in ("spool", "workers", "rescan", "condition"):
        rows.add_row(name, plain(data[name]))
    rows.add_row("events", plain(_value(data["events"])))
    rows.add_row("reserve_mb", plain("reckoned" if data["reserve_mb"] is None else data["reserve_mb"]))
    rows.add_row("metrics", plain(data["metrics"] or "off"))
    rows.add_row("plugins", plain(", ".join(data["plugins"]) or "only those that ship"))
    for name, value in data["keep"].items():
        rows.add_row(f"keep.{name}", plain("no limit" if value is None else value))
    for name, value in data["limits"].items():
        rows.add_row(f"limits.{name}", plain(_value(value)))
    rows.add_row("protection", plain(data["protection"]))
    return rows


def _conditions(data: dict[str, Any]) -> Any:
    rows = table("printing condition", "title", "ink limit", "profile")
    for name, condition in data["conditions"].items():
        cells = (name, condition["title"], f"{condition['ink_limit']:g} %", condition["profile"])
        rows.add_row(*(plain(cell) for cell in cells))
    return rows


def _rules(data: dict[str, Any], name: str) -> Any:
    """What a condition has otherwise than usual, None where there is nothing."""
    usual = cli_about.usual_rules()
    other = {key: value for key, value in data["conditions"][name].items() if usual.get(key, value) != value}
    if not other:
        return None
    rows = table("setting", "value", title=f"printing condition {name}")
    for key, value in other.items():
        for ink, fate in value.items() if isinstance(value, dict) else ():
            told = f"called {fate['name']}" if isinstance(fate, dict) else fate
            rows.add_row(f"{key}.{plain(ink)}", plain(told))
        if not isinstance(value, dict):
            rows.add_row(key, plain(_value(value)))
    return rows


def _route(route: dict[str, Any]) -> Any:
    rows = table("setting", "value", title=f"route {route['name']}")
    for name in ("watch", "pass", "hold", "settle", "patience", "file_names", "subfolders"):
        rows.add_row(name, plain(_value(route[name])))
    for key, value in route["ticket"].items():
        if value not in (None, ""):
            rows.add_row(f"ticket.{key}", plain(_value(value)))
    for number, step in enumerate(route["chain"], 1):
        told = ", ".join(f"{key} {_value(value)}" for key, value in step["settings"].items())
        rows.add_row(f"chain {number}", plain(f"{step['step']}{f' ({told})' if told else ''}"))
    return rows


def _value(value: Any) -> str:
    """A setting's value as a config file writes it, without the quotes."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return ", ".join(_value(part) for part in value) or "-"
    return "-" if value in (None, "") else str(value)
