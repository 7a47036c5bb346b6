"""Events of the system are hints: what happens when too many come, none can be had, or none are wanted."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest
from studios import PDF, Stub, make_studio, names
from waiting import running, wait_for

from hotfolder.daemon.arrivals import Arrivals
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.files import file_system, on_network
from hotfolder.daemon.loop import Daemon
from hotfolder.daemon.watcher import Watcher

linux = pytest.mark.skipif(sys.platform != "linux", reason="about how Linux tells of files")

FLOOD = """
import os, sys
for number in range(int(sys.argv[2])):
    path = os.path.join(sys.argv[1], f"a{number}.pdf")
    os.close(os.open(path, os.O_CREAT | os.O_WRONLY))
    os.rename(path, path + ".x")
    os.rename(path + ".x", path)
"""


@linux
def test_a_queue_that_overflows_loses_no_file_and_does_not_end_the_watch(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    hints: list[Path] = []
    watcher = Watcher(hints.append, lambda what, path, words: None)
    watcher.check(folder)
    try:
        most = int(Path("/proc/sys/fs/inotify/max_queued_events").read_text())
        count = min(most // 6 + 500, 5000)  # six events a file: made, closed, and twice away and come
        subprocess.run([sys.executable, "-c", FLOOD, str(folder), str(count)], check=True)
        arrivals = Arrivals("posters", folder, 0, 60)
        arrivals.sweep()
        assert arrivals.count == count
        time.sleep(0.5)
        watcher.check(folder)
        heard = len(hints)
        end = time.monotonic() + 20
        while len(hints) == heard and time.monotonic() < end:
            (folder / "one more.pdf").write_bytes(PDF)
            time.sleep(0.1)
        assert len(hints) > heard
    finally:
        watcher.close()


LIMITED = """
import sys
from pathlib import Path
from hotfolder.daemon.watcher import Watcher
limit, folder, now, told, hints = Path("/proc/sys/user/max_inotify_instances"), Path(sys.argv[1]), [0.0], [], []
watcher = Watcher(hints.append, lambda what, path, words: told.append(what), lambda: now[0])
limit.write_text("0")
for _ in range(3):
    watcher.check(folder)
limit.write_text("128")
watcher.check(folder)
early = len(watcher._watches)
now[0] = 601
watcher.check(folder)
print(told, early, len(watcher._watches))
watcher.close()
"""


@linux
def test_a_limit_that_is_reached_is_told_once_and_tried_again(tmp_path: Path) -> None:
    """In a user namespace of its own, which has limits of its own."""
    done = subprocess.run(
        ["unshare", "--user", "--map-root-user", sys.executable, "-c", LIMITED, str(tmp_path)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
    )
    if "unshare" in done.stderr or "PermissionError" in done.stderr:
        pytest.skip("user namespaces can't be made here")
    assert done.stdout == "['no_events'] 0 1\n", done.stderr


def test_without_events_by_the_config_everything_is_found_all_the_same(tmp_path: Path) -> None:
    heard: list[Event] = []
    studio = replace(make_studio(tmp_path), events=False)
    with running(Daemon(studio, heard.append, runner=Stub())):
        wait_for(lambda: heard != [])
        for number in range(3):
            (tmp_path / "in" / f"a{number}.pdf").write_bytes(PDF)
            time.sleep(0.3)
        wait_for(lambda: sum(event.what is What.FINISHED for event in heard) == 3)
    assert names(tmp_path / "in") == []


MOUNTS = """\
22 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw
30 22 0:50 / /mnt/the\\040share rw - cifs //server/share rw,vers=3.1.1
31 22 0:51 / /mnt/far rw,relatime shared:9 - nfs4 server:/posters rw
32 31 8:17 / /mnt/far/near rw - xfs /dev/sdb1 rw
33 22 0:52 / /mnt/caf\u00e9 rw - fuse.sshfs server: rw
34 22 0:53 / /mnt/host rw - virtiofs host rw
"""


@linux
@pytest.mark.parametrize(
    ("path", "kind", "network"),
    [
        ("/home/studio/in", "ext4", False),
        ("/mnt/the share/in", "cifs", True),
        ("/mnt/the share of others", "ext4", False),
        ("/mnt/far/in", "nfs4", True),
        ("/mnt/far/near/in", "xfs", False),
        ("/mnt/caf\u00e9/in", "fuse.sshfs", True),
        ("/mnt/host/in", "virtiofs", False),
    ],
)
def test_the_kind_of_file_system(tmp_path: Path, path: str, kind: str, network: bool) -> None:
    mounts = tmp_path / "mountinfo"
    mounts.write_text(MOUNTS, encoding="utf-8")
    assert (file_system(Path(path), mounts), on_network(Path(path), mounts)) == (kind, network)
