"""kill -9 and failing disks at every call: each artwork ends with one outcome, its bytes are kept, nothing is half-seen.

The method is SQLite's ("How SQLite Is Tested", 3.2 and 3.3). With HOTFOLDER_EVERY_POINT=1 every point is taken; without,
the longer scenes take some of them.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

PROGRAM = Path(__file__).with_name("crash_points.py")
MEMORY_DISK = Path("/dev/shm")
EVERY_POINT = bool(os.environ.get("HOTFOLDER_EVERY_POINT"))  # about an hour on two cores
SCENE_OF = {"ENOSPC": "two-half", "EIO": "pass", "EACCES": "hold", "EROFS": "pass", "ESTALE": "hold", "EDQUOT": "sent"}
pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="it forks, and needs two file systems in one machine")


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """A folder in memory: syncing costs nothing there, and nothing here is about losing power."""
    folder = MEMORY_DISK / f"hotfolder-{tmp_path.name}"
    yield folder
    shutil.rmtree(folder, ignore_errors=True)


def outcome(*arguments: object, program: Path = PROGRAM) -> dict[str, object]:
    done = subprocess.run(
        [sys.executable, program, *map(str, arguments)], capture_output=True, text=True, timeout=3600, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return dict(json.loads(done.stdout))


def prove(folder: Path, scene: str, what: str, step: int, least: int, *more: str) -> None:
    """Fewer points than there were would mean that a call no longer goes by `files.py`."""
    step = 1 if EVERY_POINT else step
    result = outcome(folder, scene, what, step, *more)
    assert result["bad"] == []
    assert int(str(result["points"])) >= least // step


@pytest.mark.parametrize(
    ("scene", "step"),
    [("pass", 1), ("hold", 2), ("changed", 5), ("two", 5), ("two-half", 4), ("sent", 10), ("sent-half", 19)],
)
def test_killed_at_every_change(folder: Path, scene: str, step: int) -> None:
    prove(folder, scene, "kill", step, 36)


@pytest.mark.parametrize(("scene", "step"), [("pass", 1), ("hold", 3), ("sent", 29)])
def test_killed_where_a_file_has_two_names_for_an_instant(folder: Path, scene: str, step: int) -> None:
    prove(folder, scene, "kill", step, 44, "links")


@pytest.mark.skipif(not MEMORY_DISK.is_dir(), reason="there is no second file system")
@pytest.mark.parametrize(("scene", "step"), [("across", 2), ("changed-across", 5)])
def test_killed_at_every_change_across_file_systems(tmp_path: Path, scene: str, step: int) -> None:
    if tmp_path.stat().st_dev == MEMORY_DISK.stat().st_dev:
        pytest.skip("the temporary folder lies in memory too")
    prove(tmp_path / "spool", scene, "kill", step, 44)


@pytest.mark.parametrize("error", ["ENOSPC", "EIO", "EACCES", "EROFS", "ESTALE", "EDQUOT"])
@pytest.mark.parametrize(("what", "step"), [("once", 23), ("healed", 31), ("on", 29)])
def test_calls_that_fail(folder: Path, what: str, step: int, error: str) -> None:
    prove(folder, SCENE_OF[error], what, step, 100, error)


@pytest.mark.parametrize(
    ("error", "more"), [("ENOENT", ()), ("EEXIST", ("links",)), ("EIO", ()), ("ENOENT", ("links",))]
)
def test_calls_that_are_done_but_reported_as_failed(folder: Path, error: str, more: tuple[str, ...]) -> None:
    prove(folder, "hold", "lied", 4, 30, error, *more)


@pytest.fixture(scope="session")
def between(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What stands between the program and the C library."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None:
        pytest.skip("there is no C compiler")
    made = tmp_path_factory.mktemp("between") / "each_call.so"
    source = PROGRAM.with_name("each_call.c")
    subprocess.run([compiler, "-shared", "-fPIC", "-O1", "-o", made, source, "-ldl"], check=True)
    return made


@pytest.mark.parametrize(("what", "step", "more"), [("syscall-kill", 3, ()), ("syscall-once", 5, ("ENOSPC",))])
def test_the_ledger_at_each_system_call(
    folder: Path, between: Path, monkeypatch: pytest.MonkeyPatch, what: str, step: int, more: tuple[str, ...]
) -> None:
    monkeypatch.setenv("LD_PRELOAD", str(between))
    prove(folder, "pass", what, step, 30, *more)
