"""What a job's process tries, it does not get: no network, no other file, no other program, no more than its share."""

from __future__ import annotations

import os
import re
import shutil
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from hotfolder.config.studio import Limits
from hotfolder.daemon import callfilter, landlock
from hotfolder.daemon.confined import told
from hotfolder.daemon.runner import Runner
from hotfolder.finding import Outcome

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))
from prying_steps import DONE, STOPPED, TRIED  # noqa: E402
from test_runner import codes, order  # noqa: E402

LIMITS = Limits(seconds=60, memory_mb=300, disk_mb=100)
WHOLE = landlock.version() >= 6 and callfilter.available()
pytestmark = pytest.mark.skipif(not WHOLE, reason="this kernel can't shut a process in (Landlock 6 and seccomp)")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plugins")
    for name in ("prying_steps.py", "wild_steps.py"):
        shutil.copy(HERE / name, folder / name)
    return folder


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where customers' files are; a job lies in it, and may read its own there."""
    home = tmp_path_factory.mktemp("customers")
    (home / "outside").mkdir()
    os.environ["OUTSIDE"] = str(home / "outside")
    return home


@pytest.fixture(scope="module")
def runner(folder: Path, home: Path) -> Iterator[Runner]:
    runner = Runner([folder], LIMITS, hidden=[home])
    yield runner
    runner.close()


def try_it(runner: Runner, folder: Path, home: Path, deed: str) -> tuple[str, str]:
    """The first finding's code and sentence; nothing outside has changed."""
    theirs = home / "outside" / "theirs"
    theirs.write_text("another customer's")
    before = theirs.stat()
    place = home / deed
    place.mkdir()
    asked = order(folder, place, deed)
    step = __import__("hotfolder.loading").loading.load_plugins([folder]).steps["pry_about"]()
    record = runner.run(replace(asked, chain=(step,)))
    assert record.outcome is Outcome.HOLD
    assert (place / f"{deed}.bin").read_bytes() == b"artwork"
    assert (os.listdir(theirs.parent), theirs.read_text()) == (["theirs"], "another customer's")
    after = theirs.stat()
    assert (before.st_mode, before.st_uid, before.st_mtime_ns) == (after.st_mode, after.st_uid, after.st_mtime_ns)
    shutil.rmtree(place / "out")
    return codes(record)[0], record.findings[0].message


@pytest.mark.parametrize("deed", TRIED)
def test_what_is_refused(runner: Runner, folder: Path, home: Path, deed: str) -> None:
    code, words = try_it(runner, folder, home, deed)
    assert code == "fault"
    assert re.search(r"Permission ?Error|not permitted|Permission denied|cross-device|not implemented", words), words
    assert not Path("/dev/shm/hotfolder-test").exists()


@pytest.mark.parametrize("deed", DONE)
def test_what_a_job_needs_stays(runner: Runner, folder: Path, home: Path, deed: str) -> None:
    assert try_it(runner, folder, home, deed) == ("fine", "It came to its end.")


@pytest.mark.parametrize("deed", STOPPED)
def test_what_has_its_measure(runner: Runner, folder: Path, home: Path, deed: str) -> None:
    assert try_it(runner, folder, home, deed)[0] in STOPPED[deed][1]


def test_after_all_that_the_next_job_is_done(runner: Runner, folder: Path, home: Path) -> None:
    (home / "outside" / "new").unlink(missing_ok=True)
    place = home / "good"
    place.mkdir()
    assert codes(runner.run(order(folder, place, "good"))) == ["fine"]


def test_programs_may_be_allowed(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "outside").mkdir()
    runner = Runner([folder], LIMITS.model_copy(update={"programs": True}), hidden=[tmp_path])
    try:
        os.environ["OUTSIDE"] = str(tmp_path / "outside")
        assert try_it(runner, folder, tmp_path, "program")[0] == "fine"
        assert try_it(runner, folder, tmp_path, "socket")[0] == "fault"
        assert try_it(runner, folder, tmp_path, "write")[0] == "fault"
    finally:
        runner.close()


def test_a_step_of_ones_own_may_need_it_all(folder: Path, tmp_path: Path) -> None:
    runner = Runner([folder], LIMITS.model_copy(update={"confine": False}), hidden=[tmp_path])
    try:
        for deed in ("read", "socket", "program"):
            (tmp_path / "outside").mkdir(exist_ok=True)
            os.environ["OUTSIDE"] = str(tmp_path / "outside")
            assert try_it(runner, folder, tmp_path, deed)[0] == "fine"
    finally:
        runner.close()


SHUT, OPEN, HALF = Limits(), Limits(confine=False), Limits(programs=True)
FILES = "writing outside its own folder and reading other jobs' files"
SAID = [
    (SHUT, 7, True, f"Each job is kept from {FILES}, the network, starting other programs, ending other programs of this user."),
    (HALF, 7, True, f"Each job is kept from {FILES}, the network, ending other programs of this user."),
    (SHUT, 5, True, f"Each job is kept from {FILES}, the network, starting other programs. "
     "It is not kept from ending other programs of this user: this system has no means for it."),
    (SHUT, 7, False, f"Each job is kept from {FILES}, the network by TCP, ending other programs of this user. "
     "It is not kept from the network in other ways, starting other programs: this system has no means for it."),
    (SHUT, 0, True, "Each job is kept from the network, starting other programs. "
     f"It is not kept from {FILES}, ending other programs of this user: this system has no means for it."),
    (SHUT, 0, False, f"It is not kept from {FILES}, the network, starting other programs, ending other programs of this user: "
     "this system has no means for it."),
    (OPEN, 7, True, f"It is not kept from {FILES}, the network, starting other programs, ending other programs of this user: "
     "confine is false under [limits]."),
]  # fmt: skip


@pytest.mark.parametrize(("limits", "kernel", "calls", "words"), SAID)
def test_what_is_not_protected_is_said(limits: Limits, kernel: int, calls: bool, words: str) -> None:
    assert told(limits, kernel=kernel, calls=calls) == words.replace(
        "It is", "A job is" if words[0] == "I" else "It is"
    )


@pytest.mark.parametrize("machine", ["x86_64", "aarch64"])
def test_the_calls_have_the_kernels_numbers(machine: str) -> None:
    """Linux' own lists of system calls, where its headers are installed (Debian: linux-libc-dev)."""
    places = {"x86_64": "x86_64-linux-gnu/asm/unistd_64.h", "aarch64": "asm-generic/unistd.h"}
    header = Path("/usr/include") / places[machine]
    if not header.exists():
        pytest.skip("the kernel's headers are not installed")
    found = re.findall(r"#define __NR(?:3264)?_(\w+)\s+(\d+)$", header.read_text(), re.MULTILINE)
    known = {name: int(number) for name, number in found}
    lists = (callfilter.REFUSED, callfilter.ABSENT, callfilter.IDLE, callfilter.PROGRAMS, callfilter.BY_ARGUMENT)
    ours = {name: number for calls in lists for name, number in callfilter.numbers(calls, machine).items()}
    newer = {"fchmodat2", "setxattrat", "removexattrat"}
    assert {name: known.get(name) for name in ours if name in known or name not in newer} == {
        name: number for name, number in ours.items() if name in known or name not in newer
    }
