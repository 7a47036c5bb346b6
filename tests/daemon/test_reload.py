"""A config that is changed while the daemon runs: taken for what comes, refused where it has mistakes, told either way."""

from __future__ import annotations

import pickle
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from studios import PDF, Stub, make_studio, names
from waiting import running, wait_for

from hotfolder.config.studio import Limits, Studio
from hotfolder.daemon.crew import Crew
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.loop import Daemon
from hotfolder.errors import ConfigError
from hotfolder.loading import load_plugins, modules_kept
from hotfolder.record import JobRecord
from hotfolder.work import Order


class Config:
    """What the config file says, as the test changes it."""

    def __init__(self, studio: Studio) -> None:
        self.now: Studio | list[str] = studio

    def __call__(self) -> Studio:
        if isinstance(self.now, list):
            raise ConfigError(self.now)
        return self.now


def with_route(studio: Studio, name: str) -> Studio:
    (route,) = studio.routes[:1]
    folders = {key: studio.folder / name / key for key in ("watch", "passed", "hold")}
    return replace(studio, routes=(*studio.routes, replace(route, name=name, **folders)))


def told(heard: list[Event]) -> list[str]:
    return [event.words for event in heard if event.what in (What.RELOADED, What.REFUSED_CONFIG)]


def outcomes(heard: list[Event]) -> list[str]:
    return [event.file for event in heard if event.what is What.FINISHED]


def drop(folder: Path, name: str) -> None:
    folder.mkdir(exist_ok=True, parents=True)
    (folder / name).write_bytes(PDF + name.encode())


def test_routes_come_and_go(tmp_path: Path) -> None:
    heard: list[Event] = []
    studio = make_studio(tmp_path)
    config = Config(studio)
    daemon = Daemon(studio, heard.append, runner=Stub(), events=False, reread=config)
    with running(daemon):
        drop(tmp_path / "in", "a.pdf")
        wait_for(lambda: outcomes(heard) == ["a.pdf"])
        config.now = with_route(studio, "lamp_post")
        daemon.reload()
        drop(tmp_path / "lamp_post" / "watch", "b.pdf")
        wait_for(lambda: outcomes(heard) == ["a.pdf", "b.pdf"])
        config.now = replace(config.now, routes=config.now.routes[1:])
        daemon.reload()
        wait_for(lambda: len(told(heard)) == 2)
        drop(tmp_path / "in", "c.pdf")
        drop(tmp_path / "lamp_post" / "watch", "d.pdf")
        wait_for(lambda: outcomes(heard) == ["a.pdf", "b.pdf", "d.pdf"])
        assert names(tmp_path / "in") == ["c.pdf"]
    assert told(heard) == ["Route new: 'lamp_post'.", "Route gone: 'posters'."]
    assert [event.route for event in heard if event.what is What.WATCHING] == ["posters", "lamp_post"]


def test_a_bad_config_is_refused_and_the_old_one_runs_on(tmp_path: Path) -> None:
    heard: list[Event] = []
    studio = make_studio(tmp_path)
    config = Config(studio)
    sentences = ["studio.toml, line 2: there is no setting 'wokers'.", "studio.toml, line 9: 'chain' is empty."]
    daemon = Daemon(studio, heard.append, runner=Stub(), events=False, reread=config)
    with running(daemon):
        wait_for(lambda: heard != [])
        config.now = sentences
        daemon.reload()
        wait_for(lambda: told(heard) == [" ".join(sentences)])
        drop(tmp_path / "in", "a.pdf")
        wait_for(lambda: outcomes(heard) == ["a.pdf"])
    assert [event.what for event in heard if event.what in (What.RELOADED, What.REFUSED_CONFIG)] == [
        What.REFUSED_CONFIG
    ]


class Noting(Stub):
    """Notes on which ticket each size is done; the first waits until the test lets it go on."""

    def __init__(self) -> None:
        super().__init__()
        self.begun, self.go = threading.Event(), threading.Event()
        self.tickets: list[tuple[str, object]] = []

    def run(self, order: Order, heard: Callable[[str], None] | None = None) -> JobRecord:
        self.tickets.append((f"{order.name} {order.part}", order.ticket.get("copies")))
        self.begun.set()
        self.go.wait(20)
        return super().run(order, heard)


def test_jobs_at_work_end_on_the_settings_they_began_with(tmp_path: Path) -> None:
    heard: list[Event] = []
    studio = make_studio(tmp_path)
    config = Config(replace(studio, routes=(replace(studio.routes[0], ticket={"copies": 5}),)))
    runner = Noting()
    daemon = Daemon(studio, heard.append, runner=runner, events=False, reread=config)
    with running(daemon):
        drop(tmp_path / "in", "two.pdf")
        assert runner.begun.wait(10)
        daemon.reload()
        wait_for(lambda: told(heard) == ["Route changed: 'posters'."])
        drop(tmp_path / "in", "a.pdf")
        runner.go.set()
        wait_for(lambda: "a.pdf" in outcomes(heard))
    assert runner.tickets == [("two.pdf 1", None), ("two.pdf 2", None), ("a.pdf 1", 5)]


def test_what_can_not_change_is_said(tmp_path: Path) -> None:
    heard: list[Event] = []
    studio = make_studio(tmp_path)
    config = Config(replace(studio, spool=tmp_path / "other", workers=4, rescan=1.0))
    daemon = Daemon(studio, heard.append, runner=Stub(), events=False, reread=config)
    with running(daemon):
        wait_for(lambda: heard != [])
        daemon.reload()
        wait_for(lambda: len(told(heard)) == 1)
        for number in range(6):
            drop(tmp_path / "in", f"a{number}.pdf")
        wait_for(lambda: len(outcomes(heard)) == 6)
        config.now = replace(studio, plugins=replace(studio.plugins, folders=(Path(), tmp_path)))
        daemon.reload()
        wait_for(lambda: len(told(heard)) == 2)
    assert told(heard) == [
        "Changed: workers, rescan. 'spool' can't change while hotfolder runs; it stays as it was until the next start.",
        "'plugins' can't change while hotfolder runs; stop it and start it again.",
    ]
    assert not (tmp_path / "other").exists()


def test_other_limits_are_a_new_runner_and_the_old_one_ends_after_its_jobs(tmp_path: Path) -> None:
    studio = make_studio(tmp_path)
    crew = Crew(studio, None)
    first = crew.runner
    crew.take(replace(studio, workers=5), {"job"})
    assert crew.runner is first
    crew.take(replace(studio, limits=Limits(seconds=5)), {"job"})
    assert crew.runner is not first
    assert len(crew._all()) == 2
    crew.dismiss({"job", "another"})
    assert len(crew._all()) == 2
    crew.dismiss({"another"})
    assert len(crew._all()) == 1
    crew.close()


STEP = '''
"""A small step."""
from hotfolder.plugin import Step, hookimpl

class LookHere(Step):
    """Look."""
    name = "look_here"
    def run(self, job):
        pass

@hookimpl
def register_steps(register):
    register(LookHere)
'''


def test_steps_of_jobs_at_work_stay_what_they_are_while_plugins_are_tried(tmp_path: Path) -> None:
    for name, text in (("mine", STEP), ("bad", "1 / 0"), ("other", STEP.replace("look_here", "look_there"))):
        (tmp_path / name).mkdir()
        (tmp_path / name / f"look_{name}.py").write_text(text)
    step = load_plugins([tmp_path / "mine"]).steps["look_here"]()
    with pytest.raises(ConfigError), modules_kept():
        load_plugins([tmp_path / "bad"])
    assert type(pickle.loads(pickle.dumps(step))) is type(step)
    with modules_kept():
        load_plugins([tmp_path / "other"])
    assert type(pickle.loads(pickle.dumps(step))) is type(step)


CONFIG = """\
rescan = 0.5
[routes.one]
watch = "one/in"
pass = "one/pass"
hold = "one/hold"
"""


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="no such signal here")
def test_a_changed_file_is_noticed_and_a_signal_makes_it_sooner(tmp_path: Path) -> None:
    file, out = tmp_path / "studio.toml", tmp_path / "out.txt"
    file.write_text(CONFIG)
    with out.open("w") as stream:
        process = subprocess.Popen(
            [sys.executable, "-m", "hotfolder", "run", str(file)], stdout=stream, stderr=subprocess.STDOUT
        )
    try:
        wait_for(lambda: "one/in: watching" in out.read_text())
        file.write_text(CONFIG + CONFIG.replace("one", "two").replace("rescan = 0.5\n", ""))
        wait_for(lambda: "two/in: watching" in out.read_text())
        file.write_text(CONFIG.replace("rescan", "rescam"))
        process.send_signal(signal.SIGHUP)
        wait_for(lambda: "there is no setting 'rescam'; did you mean 'rescan'?" in out.read_text())
        assert "changed config NOT taken, the old one stays in force" in out.read_text()
    finally:
        process.terminate()
        assert process.wait(30) == 0
    assert "Route new: 'two'." in out.read_text()
