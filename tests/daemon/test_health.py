"""Watching the watcher: the state that the loop writes, what `health` says of it, and what the service manager hears."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from studios import PDF, Stub, make_studio
from waiting import running, wait_for

from hotfolder.cli.main import main
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.loop import Daemon
from hotfolder.daemon.notify import Notify
from hotfolder.daemon.pulse import STATE

CONFIG = """\
rescan = 0.5
[routes.posters]
watch = "in"
pass = "pass"
hold = "hold"
settle = 0
"""


def health(folder: Path, *more: str) -> Result:
    (folder / "studio.toml").write_text(CONFIG)
    return CliRunner().invoke(main, ["health", str(folder / "studio.toml"), *more])


def change(folder: Path, **values: Any) -> None:
    """As a daemon would have written it in another case."""
    path = folder / "spool" / STATE
    path.write_text(json.dumps(json.loads(path.read_text()) | values))


def test_before_during_and_after(tmp_path: Path) -> None:
    before = health(tmp_path)
    assert (before.exit_code, before.stdout) == (1, f"hotfolder has not run yet with the spool {tmp_path / 'spool'}.\n")
    with running(Daemon(make_studio(tmp_path), lambda event: None, runner=Stub(), events=False)):
        (tmp_path / "in" / "a.pdf").write_bytes(PDF) if (tmp_path / "in").is_dir() else None
        wait_for(lambda: (tmp_path / "spool" / STATE).exists())
        (tmp_path / "in" / "a.pdf").write_bytes(PDF)
        wait_for(lambda: json.loads((tmp_path / "spool" / STATE).read_text())["outcomes"] == {"pass": 1})
        during = health(tmp_path)
        assert during.exit_code == 0, during.stdout
        assert (
            "Jobs since then: 1 pass; at work 0, to be tried again 0.\nRoute 'posters': 0 waiting.\n" in during.stdout
        )
        data = json.loads(health(tmp_path, "--json").stdout)
        assert (data["well"], data["problems"], data["process"]) == (True, [], os.getpid())
        assert data["free"][str(tmp_path / "spool")] > 0
    after = health(tmp_path)
    assert after.exit_code == 1
    assert after.stdout.startswith("hotfolder is not running: it was stopped ")


NOW = time.time()
TROUBLE = {"folder": "/share/in", "since": NOW - 5, "words": "It is away."}
FAILURE = {"when": NOW - 60, "what": "trouble", "about": "a.pdf", "words": "An observer failed."}
ROUTE = {"route": "posters", "paused": False, "waiting": 1, "oldest": {"file": "a.pdf", "since": NOW - 7200}}


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({}, "All is well."),
        ({"looked": NOW - 120}, "hotfolder is not running, or it hangs: its last look was 2 minutes ago."),
        ({"troubles": [TROUBLE]}, "It is away."),
        ({"failures": [FAILURE]}, "a.pdf: An observer failed."),
        ({"failures": [{**FAILURE, "when": NOW - 2 * 86_400}]}, "All is well."),
        ({"routes": [ROUTE]}, "Route 'posters': a.pdf waits since "),
        ({"routes": [{**ROUTE, "oldest": {"file": "a.pdf", "since": NOW - 60}}]}, "All is well."),
        ({"version": 2}, "was written by another version of hotfolder."),
    ],
)
def test_what_counts_as_wrong(tmp_path: Path, values: dict[str, Any], said: str) -> None:
    Daemon(make_studio(tmp_path), lambda event: None, runner=Stub(), events=False).run(until_idle=True)
    change(
        tmp_path, stopped=False, looked=time.time(), **{key: value for key, value in values.items() if key != "looked"}
    )
    if "looked" in values:
        change(tmp_path, looked=time.time() - 120)
    result = health(tmp_path)
    assert said in result.output
    assert (result.exit_code == 0) == (said == "All is well.")


OVER = [
    (Event(What.AGAIN, job="j1"), Event(What.FINISHED, job="j1"), Event(What.FINISHED, job="j2")),
    (Event(What.AGAIN, file="a.pdf"), Event(What.STARTED, job="j1", file="a.pdf"), Event(What.STARTED, file="b.pdf")),
    (
        Event(What.NOT_HANDED_OVER, job="j1", folder="far"),
        Event(What.HANDED_OVER, job="j1", folder="far"),
        Event(What.HANDED_OVER, job="j1", folder="near"),
    ),
    (Event(What.REFUSED_CONFIG), Event(What.RELOADED), Event(What.FINISHED)),
]


@pytest.mark.parametrize(("failure", "over", "other"), OVER)
def test_what_has_worked_in_the_end_is_no_failure(tmp_path: Path, failure: Event, over: Event, other: Event) -> None:
    daemon = Daemon(make_studio(tmp_path), lambda event: None, runner=Stub(), events=False)
    daemon.run(until_idle=True)
    pulse = daemon._pulse
    for event, left in ((failure, 1), (other, 1), (over, 0)):
        pulse.hear(event)
        assert len(pulse.failures) == left


def test_jobs_that_were_set_aside_are_told(tmp_path: Path) -> None:
    Daemon(make_studio(tmp_path), lambda event: None, runner=Stub(), events=False).run(until_idle=True)
    (tmp_path / "spool" / "damaged" / "job").mkdir()
    change(tmp_path, stopped=False, looked=time.time())
    assert "1 job stands in " in health(tmp_path).stdout


@pytest.fixture
def manager(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[], list[str]]:
    """A service manager's socket; what was sent to it since the last call."""
    channel = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    monkeypatch.chdir(tmp_path)
    channel.bind("notify")  # a short name: such a socket's path may have about 100 signs
    channel.setblocking(False)
    monkeypatch.setenv("NOTIFY_SOCKET", "notify")
    monkeypatch.setenv("WATCHDOG_USEC", "400000")
    monkeypatch.setenv("WATCHDOG_PID", str(os.getpid()))

    def heard() -> list[str]:
        found = []
        try:
            while True:
                found.append(channel.recv(4096).decode())
        except BlockingIOError:
            return found

    heard.channel = channel  # type: ignore[attr-defined]
    return heard


@pytest.mark.skipif(sys.platform == "win32", reason="no such sockets there")
def test_the_service_manager_hears_ready_alive_and_stopping(tmp_path: Path, manager: Callable[[], list[str]]) -> None:
    with running(Daemon(make_studio(tmp_path), lambda event: None, runner=Stub(), events=False)):
        time.sleep(1)
    heard = manager()
    assert heard[0].startswith("READY=1\n")
    assert heard[-1].startswith("STOPPING=1\n")
    assert 3 <= heard.count("WATCHDOG=1") <= 12
    manager.channel.close()  # type: ignore[attr-defined]


def test_without_a_service_manager_nothing_is_sent(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    monkeypatch.setenv("WATCHDOG_USEC", "no number")
    quiet = Notify()
    quiet.ready()
    quiet.alive()


@pytest.mark.skipif(sys.platform == "win32", reason="a process can't be stopped and continued there")
def test_a_frozen_daemon_is_noticed(tmp_path: Path) -> None:
    (tmp_path / "studio.toml").write_text(CONFIG)
    process = subprocess.Popen(
        [sys.executable, "-m", "hotfolder", "run", str(tmp_path / "studio.toml")], stdout=subprocess.DEVNULL
    )
    try:
        wait_for(lambda: (tmp_path / "spool" / STATE).exists())
        process.send_signal(signal.SIGSTOP)
        change(tmp_path, looked=time.time() - 30)  # instead of waiting for so long
        assert "or it hangs" in health(tmp_path).stdout
        process.send_signal(signal.SIGCONT)
        wait_for(lambda: health(tmp_path).exit_code == 0)
    finally:
        process.send_signal(signal.SIGCONT)
        process.terminate()
        assert process.wait(30) == 0
