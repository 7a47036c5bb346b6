"""Reading a ticket file: what it gives, and on which line. What it refuses is in tests/core/test_ticketing.py."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from hotfolder.loading import load_plugins

READ: list[tuple[str, str, dict[str, Any] | None]] = [
    ("a.ticket.toml", '# order\ntrim = "A1"\ncopies = 3\n', {"trim": "A1", "copies": 3, "__lines__": {"trim": 2, "copies": 3}}),
    ("a.ticket.json", '{\n "trim": "A1",\n "copies": 3\n}', {"trim": "A1", "copies": 3, "__lines__": {"trim": 2, "copies": 3}}),
    ("a.ticket.toml", "\ufefftitle = 'Jazz'", {"title": "Jazz", "__lines__": {"title": 1}}),
    ("a.ticket.toml", "", {"__lines__": {}}),
    ("a.ticket.xml", "<trim/>", None),
]  # fmt: skip


@pytest.mark.parametrize(("name", "text", "values"), READ)
def test_read(tmp_path: Path, name: str, text: str, values: dict[str, Any] | None) -> None:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    assert load_plugins().manager.hook.read_ticket(path=path) == values
