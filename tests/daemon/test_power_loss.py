"""The power goes at any moment: each artwork still ends with one outcome, its bytes are kept, nothing is half-seen.

With HOTFOLDER_EVERY_POINT=1 every moment is taken, with ten damages each. The method is SQLite's ("How SQLite Is Tested",
3.3); what a disk may forget is what POSIX (fsync, rename) lets it.
"""

from __future__ import annotations

import os
import random
import sys
from pathlib import Path

import pytest
from power_disk import Recorder, Remains
from test_crash import MEMORY_DISK, folder, outcome

__all__ = ["folder"]  # the fixture
PROGRAM = Path(__file__).with_name("power_loss.py")
EVERY_POINT = bool(os.environ.get("HOTFOLDER_EVERY_POINT"))
pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="it forks, and needs two file systems in one machine")


@pytest.mark.parametrize(
    ("scene", "step", "more"),
    [("pass", 7, ()), ("hold", 9, ("links",)), ("two-half", 11, ()), ("sent-near", 17, ())],
)
def test_the_power_goes(folder: Path, scene: str, step: int, more: tuple[str, ...]) -> None:
    prove(folder, scene, step, *more)


@pytest.mark.skipif(not MEMORY_DISK.is_dir(), reason="there is no second file system")
def test_the_power_goes_where_there_are_two_disks(tmp_path: Path) -> None:
    if tmp_path.stat().st_dev == MEMORY_DISK.stat().st_dev:
        pytest.skip("the temporary folder lies in memory too")
    prove(tmp_path / "spool", "across", 11)


def prove(folder: Path, scene: str, step: int, *more: str) -> None:
    step, damages = (1, 10) if EVERY_POINT else (step, 1)
    result = outcome(folder, scene, step, damages, *more, program=PROGRAM)
    assert result["bad"] == []
    assert int(str(result["points"])) >= 80 // step


def forgets(folder: Path, deeds: object) -> set[tuple[str, ...]]:
    """What may be found in the folder after what was done there."""
    folder.mkdir()
    files = Recorder(folder)
    deeds(files)  # type: ignore[operator]
    found = set()
    for seed in range(300):
        Remains(files, len(files.deeds), random.Random(seed)).lay_down()
        found.add(tuple(f"{path.name}={path.read_text()}" for path in sorted(folder.iterdir()) if path.is_file()))
    return found


def test_the_disk_forgets_what_was_not_synced(tmp_path: Path) -> None:
    def no_sync(files: Recorder) -> None:
        (files.tops[0] / "a").write_text("abc")
        files.point("after", "write", Path())

    def only_bytes(files: Recorder) -> None:
        no_sync(files)
        files.sync(files.tops[0] / "a")

    def all_of_it(files: Recorder) -> None:
        only_bytes(files)
        files.sync(files.tops[0])

    assert forgets(tmp_path / "1", no_sync) >= {(), ("a=",), ("a=abc",), ("a=ab",), ("a=\0\0\0",)}
    assert forgets(tmp_path / "2", only_bytes) == {(), ("a=abc",)}
    assert forgets(tmp_path / "3", all_of_it) == {("a=abc",)}
    assert forgets(tmp_path / "4", lambda files: files.write(files.tops[0] / "a", b"abc")) == {("a=abc",)}
