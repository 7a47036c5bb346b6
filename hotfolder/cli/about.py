"""Tells what a config adds up to, and what each step does, reads, changes and can be set to, from the code itself."""

from __future__ import annotations

import inspect
import sys
from pathlib import Path
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import PydanticSerializationError

from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.config.builtin import builtin_studio
from hotfolder.config.lint import lint
from hotfolder.config.reader import load_studio
from hotfolder.config.studio import Route, Studio
from hotfolder.config.words import unknown
from hotfolder.daemon.confined import told
from hotfolder.errors import ConfigError
from hotfolder.loading import load_plugins
from hotfolder.step import Opener, Step
from hotfolder.ticket import Ticket, sizes_of
from hotfolder.units import write_length


def studio_data(studio: Studio) -> dict[str, Any]:
    """A studio as plain data for JSON."""
    return {
        "file": str(studio.file) if studio.file else None,
        "spool": str(studio.spool),
        "workers": studio.workers,
        "rescan": studio.rescan,
        "events": studio.events,
        "reserve_mb": studio.reserve_mb,
        "metrics": studio.metrics,
        "plugins": [str(folder) for folder in studio.plugins.folders[1:]],
        "keep": studio.keep.model_dump(mode="json"),
        "limits": studio.limits.model_dump(mode="json"),
        "protection": told(studio.limits),
        "condition": studio.condition,
        "conditions": {name: _condition(condition) for name, condition in studio.conditions.items()},
        "routes": [route_data(route) for route in studio.routes],
        "warnings": lint(studio).warnings,
    }


def route_data(route: Route) -> dict[str, Any]:
    """A route as plain data; the ticket with what it leaves to the defaults."""
    return {
        "name": route.name,
        "watch": _path(route.watch),
        "pass": _path(route.passed),
        "hold": _path(route.hold),
        "settle": route.settle,
        "patience": route.patience,
        "file_names": list(route.file_names),
        "subfolders": route.subfolders,
        "ticket": Ticket(**route.ticket).model_dump(mode="json") | _sizes(route.ticket),
        "chain": [{"step": step.name, "settings": step.settings.model_dump(mode="json")} for step in route.chain],
    }


def _sizes(ticket: dict[str, Any]) -> dict[str, str]:
    sizes = sizes_of(ticket["trim"]) if ticket.get("trim") is not None else ()
    return {"trim": " and ".join(map(str, sizes))} if sizes else {}


def steps_data(config: Path | None, name: str | None) -> list[dict[str, Any]]:
    """Every step, or the one asked for. ConfigError with the nearest name where there is none."""
    plugins = load_studio(config).plugins if config else load_plugins()
    if name is not None and name not in plugins.steps:
        sentence = unknown("step", name, sorted(plugins.steps), "The steps are")
        raise ConfigError([sentence[:1].upper() + sentence[1:]])
    try:
        return [step_data(step) for key, step in sorted(plugins.steps.items()) if name in (None, key)]
    except PydanticSerializationError as error:
        raise ConfigError([f"A step has a default that does not fit its own setting: {error}"]) from error


def step_data(step: type[Step]) -> dict[str, Any]:
    """A step as plain data."""
    return {
        "name": step.name,
        "purpose": _purpose(step),
        "opens": issubclass(step, Opener),
        "reads": sorted(step.reads),
        "changes": sorted(step.changes),
        "mends": step.mends,
        "settings": settings_data(step.Settings),
    }


def settings_data(model: type[BaseModel]) -> list[dict[str, Any]]:
    """A settings model's fields: name, default, unit, what is allowed, and what each is for."""
    blank = model.model_construct().model_dump(mode="json", warnings=False)
    shapes = model.model_json_schema().get("properties", {})
    written = model.model_json_schema(mode="serialization").get("properties", {})
    return [
        {
            "name": info.alias or name,
            "default": blank.get(name),
            "unit": _unit(info),
            "allowed": _allowed(shapes.get(info.alias or name, {}), written.get(info.alias or name, {})),
            "help": info.description or "",
        }
        for name, info in model.model_fields.items()
    ]


def builtin_route() -> Route:
    """The route that works with no config."""
    return builtin_studio().routes[0]


def _purpose(step: type[Step]) -> str:
    """The first line of the class's own docstring, else of its module's."""
    module = sys.modules.get(step.__module__)
    text = vars(step).get("__doc__") or (module.__doc__ if module else "") or ""
    return inspect.cleandoc(text).partition("\n")[0]


def _unit(info: FieldInfo) -> str:
    extra = info.json_schema_extra
    return str(extra.get("unit", "")) if isinstance(extra, dict) else ""


_BOUNDS = (("minimum", ">="), ("exclusiveMinimum", ">"), ("maximum", "<="), ("exclusiveMaximum", "<"))


def _allowed(shape: dict[str, Any], written: dict[str, Any]) -> str:
    """Choices and limits of a setting, short: `left, right` or `>= 0, <= 100`. Lengths with their unit."""
    parts = (shape, *shape.get("anyOf", ()))
    for part in parts:
        if "enum" in part:
            return ", ".join(str(choice) for choice in part["enum"])
    # A length is a number of points inside and text with its unit outside.
    is_length = any(part.get("type") == "string" for part in (written, *written.get("anyOf", ())))
    show = write_length if is_length else "{:g}".format
    bounds = [f"{sign} {show(part[key])}" for part in parts for key, sign in _BOUNDS if key in part]
    return "true, false" if shape.get("type") == "boolean" else ", ".join(bounds)


def _condition(condition: Any) -> dict[str, Any]:
    return {
        "title": condition.title,
        "profile": str(condition.profile),
        "ink_limit": condition.ink_limit,
        "identifier": condition.identifier,
        "intent": condition.intent,
        "black_point_compensation": condition.black_point_compensation,
        "picture_intent": condition.picture_intent,
        "picture_black_point_compensation": condition.picture_black_point_compensation,
        "follow_file_intents": condition.follow_file_intents,
        "black_alone": condition.black_alone,
        "neutral_tolerance": condition.neutral_tolerance,
        "gray_to_black": condition.gray_to_black,
        "rich_black": list(condition.rich_black),
        "rich_black_from": write_length(condition.rich_black_from),
        "cmyk": condition.cmyk,
        "cmyk_source": _path(condition.cmyk_source),
        "cmyk_pure": condition.cmyk_pure,
        "spot_inks": condition.spot_inks,
        "spots": {ink: {"name": spot.name} if spot.name else spot.fate for ink, spot in condition.spots},
        "over_limit": condition.over_limit,
        "blending": condition.blending,
        "blending_limit": condition.blending_limit,
    }


def usual_rules() -> dict[str, Any]:
    """The rules of a condition that says nothing of its own; title, profile and ink limit are always its own."""
    own = ("title", "profile", "ink_limit", "identifier")
    return {key: value for key, value in _condition(SHIPPED[DEFAULT]).items() if key not in own}


def _path(path: Path | None) -> str | None:
    return None if path is None else str(path)
