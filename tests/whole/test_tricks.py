"""Tricks with names, tickets, links and devices: nothing is read or written outside the studio's own folders."""

from __future__ import annotations

import os
import socket
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hotfolder.finding import Outcome
from hotfolder.testing import make_pdf

GOOD: dict[str, Any] = {"trim_mm": (297, 420), "bleed_mm": 3}
#: Values of a ticket that would lead out of the folder, were they taken as parts of a path.
OUT = ["../../../escaped", "/escaped", "..\\\\..\\\\escaped", "..", "escaped\\u0000.pdf", "~/$(touch escaped)"]
CHAIN = """
chain = ["open_pdf", "check_geometry", { step = "rename_result", template = "{client}_{title}" }]
"""


def everything(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*")}


def test_a_ticket_leads_nowhere(tmp_path: Path, run_studio: Callable[[], Any]) -> None:
    config = tmp_path / "studio.toml"
    config.write_text(config.read_text().replace("[routes.posters.ticket]", CHAIN + "[routes.posters.ticket]"))
    for number, value in enumerate(OUT):
        make_pdf(tmp_path / "in" / f"{number}.pdf", **GOOD)
        (tmp_path / "in" / f"{number}.ticket.json").write_text(f'{{"client": "{value}", "title": "{value}"}}')
    ran = run_studio()
    assert len(ran.records) == len(OUT)
    outside = {Path(name).parts[0] for name in everything(tmp_path)}
    assert outside == {"in", "pass", "hold", "spool", "studio.toml"}
    for path in (tmp_path / "pass").rglob("*"):
        assert path.parent == tmp_path / "pass"
        assert path.name not in {".", ".."}
    passed = [record for record in ran.records if record.outcome is Outcome.PASS]
    assert len(list((tmp_path / "pass").glob("*.pdf"))) == len(passed)
    assert not Path("/escaped").exists()
    assert not Path("~/escaped").expanduser().exists()


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such files")
def test_what_is_no_file_is_left_alone(tmp_path: Path, run_studio: Callable[[], Any]) -> None:
    watched, outside = tmp_path / "in", tmp_path / "elsewhere"
    outside.mkdir()
    make_pdf(outside / "theirs.pdf", **GOOD)
    (outside / "theirs.ticket.toml").write_text('client = "Another customer"\n')
    before = (outside / "theirs.pdf").read_bytes()
    (watched / "link.pdf").symlink_to(outside / "theirs.pdf")
    (watched / "nowhere.pdf").symlink_to(outside / "nothing.pdf")
    (watched / "itself.pdf").symlink_to(watched / "itself.pdf")
    (watched / "folder").symlink_to(outside, target_is_directory=True)
    os.mkfifo(watched / "pipe.pdf")
    with socket.socket(socket.AF_UNIX) as line:
        line.bind(os.path.relpath(watched / "socket.pdf"))
    if os.geteuid() == 0:
        os.mknod(watched / "zero.pdf", 0o020666, os.makedev(1, 5))
    (watched / "hard.pdf").hardlink_to(outside / "theirs.pdf")
    make_pdf(watched / "good.pdf", **GOOD)
    (watched / "good.ticket.toml").symlink_to(outside / "theirs.ticket.toml")
    make_pdf(watched / "piped.pdf", **GOOD)
    os.mkfifo(watched / "piped.ticket.toml")
    left = sorted(name for name in os.listdir(watched) if name not in {"hard.pdf", "good.pdf", "piped.pdf"})

    ran = run_studio()

    assert sorted(record.file for record in ran.records) == ["good.pdf", "hard.pdf", "piped.pdf"]
    assert {record.ticket.client for record in ran.records} == {""}, "a ticket was read through a link"
    assert sorted(os.listdir(watched)) == left
    assert (outside / "theirs.pdf").read_bytes() == before
    assert everything(outside) == {"theirs.pdf", "theirs.ticket.toml"}
