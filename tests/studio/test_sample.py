"""The sample config and tickets: they load, they show every setting, and the defaults they tell are the code's."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from hotfolder.config.builtin import POSTER_CHAIN
from hotfolder.config.conditions import ConditionTable
from hotfolder.config.reader import Limits, lint, load_studio
from hotfolder.config.studio import Keep
from hotfolder.config.tables import RouteTable, StudioTable
from hotfolder.config.words import keys
from hotfolder.ticket import Ticket
from hotfolder.ticketing import check_values

CONFIG = Path(__file__).parents[2] / "config"
SAMPLE = CONFIG / "studio.toml"

_HEADER = re.compile(r"^(?:# )?\[([a-z_.]+)\]")
_SETTING = re.compile(r"^(# )?([a-z_]+) = (.*?)(?:\s+# .*)?$")


def model_of(header: str) -> type[BaseModel]:
    """Which settings stand below a table's name."""
    if header in ("limits", "keep"):
        return Limits if header == "limits" else Keep
    if header.startswith("conditions."):
        return ConditionTable
    return Ticket if header.endswith(".ticket") else RouteTable


def shown() -> list[tuple[type[BaseModel], str, Any, bool]]:
    """Every setting of the sample on a line of its own: its model, name, value, and whether it is commented out."""
    model: type[BaseModel] = StudioTable
    found = []
    for line in SAMPLE.read_text(encoding="utf-8").splitlines():
        if header := _HEADER.match(line):
            model = model_of(header[1])
        elif (setting := _SETTING.match(line)) and not setting[3].endswith("["):
            found.append((model, setting[2], tomllib.loads(f"it = {setting[3]}")["it"], bool(setting[1])))
    return found


@pytest.mark.parametrize("file", ["studio.toml", "one-route.toml"])
def test_the_samples_load_without_a_warning(file: str) -> None:
    studio = load_studio(CONFIG / file)
    assert lint(studio).problems == lint(studio).warnings == []


def test_the_sample_shows_every_setting() -> None:
    told = {(model, name) for model, name, _, _ in shown()} | {(RouteTable, "chain"), (RouteTable, "ticket")}
    tables = {"limits", "keep", "conditions", "routes"}  # they have headers of their own
    for model in (StudioTable, Limits, Keep, ConditionTable, RouteTable, Ticket):
        assert {name for name in keys(model) if (model, name) not in told} <= tables


def test_what_is_commented_out_is_the_default() -> None:
    compared = 0
    for model, name, value, commented in shown():
        info = next(info for key, info in model.model_fields.items() if (info.alias or key) == name)
        default = info.get_default(call_default_factory=True)
        if not commented or info.is_required() or default is None:
            continue
        read = model.model_construct().__class__(**{**required(model), name: value})
        assert getattr(read, name) == default, name
        compared += 1
    assert compared >= 20


def required(model: type[BaseModel]) -> dict[str, Any]:
    fields = {info.alias or name: info for name, info in model.model_fields.items() if info.is_required()}
    return {name: 300 if "limit" in name else "x" for name in fields}


def test_the_chain_in_the_comment_is_the_built_in_one() -> None:
    text = re.search(r"^# chain = (\[\n(?:# .*\n)+?# \])", SAMPLE.read_text(encoding="utf-8"), re.MULTILINE)
    assert text is not None
    assert tuple(tomllib.loads("it = " + text[1].replace("\n#", "\n"))["it"]) == POSTER_CHAIN


def test_the_sample_tickets_are_right() -> None:
    import json

    for path in sorted((CONFIG / "tickets").iterdir()):
        text = path.read_text(encoding="utf-8")
        values = tomllib.loads(text) if path.suffix == ".toml" else json.loads(text)
        assert check_values(values) == []
        Ticket(**values)
