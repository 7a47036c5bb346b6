"""kill -9 and failing disks at every call: each artwork ends with one outcome, its bytes are kept, nothing is half-seen.

The method is SQLite's ("How SQLite Is Tested", 3.2 and 3.3). `crash_points.py` run by hand takes every point; here the
longer scenes take some of them.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

PROGRAM = Path(__file__).with_name("crash_points.py")
MEMORY_DISK = Path("/dev/shm")
pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="it forks, and needs two file systems in one machine")


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """A folder in memory: syncing costs nothing there, and nothing here is about losing power."""
    folder = MEMORY_DISK / f"hotfolder-{tmp_path.name}"
    yield folder
    shutil.rmtree(folder, ignore_errors=True)


def outcome(*arguments: object) -> dict[str, object]:
    done = subprocess.run(
        [sys.executable, PROGRAM, *map(str, arguments)], capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return dict(json.loads(done.stdout))


@pytest.mark.parametrize(
    ("scene", "step", "least"),
    [
        ("pass", 1, 30),
        ("hold", 1, 30),
        ("changed", 3, 15),
        ("two", 3, 14),
        ("two-half", 2, 28),
        ("sent", 5, 25),
    ],
)
def test_killed_at_every_change(folder: Path, scene: str, step: int, least: int) -> None:
    result = outcome(folder, scene, "kill", step)
    assert result["bad"] == []
    assert int(str(result["points"])) >= least


@pytest.mark.skipif(not MEMORY_DISK.is_dir(), reason="there is no second file system")
@pytest.mark.parametrize(("scene", "step", "least"), [("across", 1, 40), ("changed-across", 4, 12)])
def test_killed_at_every_change_across_file_systems(tmp_path: Path, scene: str, step: int, least: int) -> None:
    if tmp_path.stat().st_dev == MEMORY_DISK.stat().st_dev:
        pytest.skip("the temporary folder lies in memory too")
    result = outcome(tmp_path / f"spool-{tmp_path.name}", scene, "kill", step)
    assert result["bad"] == []
    assert int(str(result["points"])) >= least


@pytest.mark.parametrize(("scene", "error"), [("hold", "ENOSPC"), ("pass", "EIO"), ("two-half", "ENOSPC")])
def test_every_third_call_fails_once(folder: Path, scene: str, error: str) -> None:
    result = outcome(folder, scene, error, 3)
    assert result["bad"] == []
    assert int(str(result["points"])) >= 25


def test_a_disk_that_fails_until_the_daemon_is_started_again(folder: Path) -> None:
    result = outcome(folder, "pass", "EROFS", 9, "on")
    assert result["bad"] == []
    assert int(str(result["points"])) >= 9
