"""Writes each step's settings into its README, from the code: name, default, unit, help.

Run: .venv/bin/python scripts/settings_tables.py          # a test fails where a README is not up to date
"""

from __future__ import annotations

import re
from pathlib import Path

from hotfolder.loading import load_plugins, shipped_folder
from hotfolder.step import Step

_HEAD = "| setting | default | unit | what it does |\n|---|---|---|---|\n"
_TABLE = re.compile(r"^\| setting \|.*\n\|[-|]+\n(?:\|.*\n)*", re.MULTILINE)


def settings_table(step: type[Step]) -> str:
    """The step's settings as a Markdown table; defaults as they are written in a config."""
    rows = []
    defaults = step.Settings().model_dump(mode="json")
    for name, field in step.Settings.model_fields.items():
        extra = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
        shown = _toml(defaults[name])
        rows.append(f"| `{name}` | `{shown}` | {extra.get('unit', '')} | {field.description} |\n")
    return _HEAD + "".join(rows)


def with_table(readme: str, step: type[Step]) -> str:
    """The README with its settings table as the code has it. ValueError where it has none."""
    if not step.Settings.model_fields:
        return readme
    new, count = _TABLE.subn(lambda _: settings_table(step), readme, count=1)
    if not count:
        raise ValueError(f"the README of {step.name} has no settings table")
    return new


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return f'"{value}"' if isinstance(value, str) else f"{value:g}" if isinstance(value, float) else str(value)


def readme_of(step: type[Step]) -> Path:
    return shipped_folder() / step.name / "README.md"


if __name__ == "__main__":
    for each in load_plugins().steps.values():
        path = readme_of(each)
        path.write_text(with_table(path.read_text(encoding="utf-8"), each), encoding="utf-8")
