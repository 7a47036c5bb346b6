"""Checks one table or one path of the config at a time, and gathers what is wrong with it."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from hotfolder.config.lines import Place
from hotfolder.config.words import Remark, keys, not_finite, sentences, show

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}")
_Table = TypeVar("_Table", bound=BaseModel)


class Checker:
    """What was found so far. `folder` is where relative paths start."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.remarks: list[Remark] = []

    def say(self, place: Place, who: tuple[str, ...], sentence: str) -> None:
        self.remarks.append(Remark(place, who, sentence))

    def check(
        self,
        model: type[_Table],
        table: Mapping[str, Any],
        place: Place,
        who: tuple[str, ...],
        noun: str = "setting",
        whose: str = "Its",
    ) -> _Table | None:
        """The table as an object, or None after saying what is wrong with it."""
        endless = {inner[0]: inner for inner in not_finite(dict(table))}
        for key, inner in endless.items():
            if key in keys(model):
                self.say((*place, *inner), who, f"{show(key)} must be a number that can be measured, not nan or inf.")
        try:
            return model(**table)
        except ValidationError as error:
            for inner, sentence in sentences(error, model, noun, whose):
                if not inner or inner[0] not in endless or inner[0] not in keys(model):
                    self.say((*place, *inner), who, sentence)
        return None

    def path(self, text: str, place: Place, who: tuple[str, ...], *, is_folder: bool = True) -> Path | None:
        """An absolute path, starting at the config file's folder; None after saying why it is none."""
        name = show(place[-1] if isinstance(place[-1], str) else place[-2])
        try:
            path = Path(os.path.normpath(self.folder / Path(text).expanduser()))
            wrong = not text or "\0" in text or (is_folder and path.exists() and not path.is_dir())
        except (OSError, RuntimeError, ValueError) as error:  # too long, no home folder, not encodable
            self.say(place, who, f"{name} can't be used: {show(text)}: {getattr(error, 'strerror', None) or error}.")
            return None
        if wrong:
            reason = f"{show(text)} is a file." if text and "\0" not in text else f"{show(text)} is no path."
            self.say(
                place, who, f"{name} must be a folder: {reason}" if is_folder else f"{name} must be a file: {reason}"
            )
            return None
        return path

    def named(self, name: str, table: Any, place: Place, who: tuple[str, ...]) -> bool:
        """Whether this is a table with a name that can stand in logs and file names."""
        if not _NAME.fullmatch(name):
            self.say(place, who, "the name must be made of letters, digits, - and _, at most 64 of them.")
        if not isinstance(table, dict):
            self.say(place, who, f"there must be a table here, not {show(table)}.")
        return isinstance(table, dict)
