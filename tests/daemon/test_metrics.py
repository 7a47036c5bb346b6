"""Figures for Prometheus: there when they are asked for, on this machine only, and right."""

from __future__ import annotations

import socket
import sys
import urllib.request
from dataclasses import replace
from pathlib import Path

import pytest
from prometheus_client.parser import text_string_to_metric_families
from studios import PDF, Stub, make_studio
from waiting import running, wait_for

from hotfolder.daemon.events import Event, What
from hotfolder.daemon.loop import Daemon
from hotfolder.daemon.metrics import Metrics
from hotfolder.errors import ConfigError
from hotfolder.record import Ended, JobRecord, StepRecord


class Stepping(Stub):
    def run(self, order, heard=None):  # type: ignore[no-untyped-def]
        record = super().run(order, heard)
        record.steps = [StepRecord(step="look_boxes", ended=Ended.DONE, seconds=0.25)]
        (order.out / "record.json").write_text(record.model_dump_json())
        return record


def free_port() -> int:
    with socket.socket() as channel:
        channel.bind(("127.0.0.1", 0))
        return int(channel.getsockname()[1])


def figures(port: int) -> dict[tuple[str, ...], float]:
    """As Prometheus' own parser reads them."""
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/metrics", timeout=5) as answer:
        text = answer.read().decode()
    return {
        (sample.name, *(value for _, value in sorted(sample.labels.items()))): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def test_figures_of_a_studio(tmp_path: Path) -> None:
    port = free_port()
    (tmp_path / "in").mkdir()
    for name in ("a.pdf", "b.pdf", "bad.pdf"):
        (tmp_path / "in" / name).write_bytes(PDF + name.encode())
    studio = replace(make_studio(tmp_path), metrics=f":{port}")
    with running(Daemon(studio, lambda event: None, runner=Stepping(), events=False)):
        wait_for(lambda: up(port))
        wait_for(lambda: figures(port).get(("hotfolder_jobs_total", "pass", "posters")) == 2)
        wait_for(lambda: figures(port).get(("hotfolder_jobs_total", "hold", "posters")) == 1)
        wait_for(lambda: figures(port)["hotfolder_waiting_files", "posters"] == 0)
        found = figures(port)
    assert found["hotfolder_step_seconds_sum", "look_boxes"] == pytest.approx(0.75)
    assert found["hotfolder_step_seconds_count", "look_boxes"] == 3
    assert found["hotfolder_route_paused", "posters"] == 0
    assert found["hotfolder_free_bytes", str(tmp_path / "spool")] > 0
    assert found[("hotfolder_last_look_timestamp_seconds",)] > 1.7e9
    assert not up(port)


def up(port: int) -> bool:
    with socket.socket() as channel:
        return channel.connect_ex(("127.0.0.1", port)) == 0


def test_without_an_address_only_this_machine_can_ask() -> None:
    metrics = Metrics(":0")
    assert metrics._server.server_address[0] == "127.0.0.1"
    metrics.count(JobRecord(job="j", file="f", route="r", arrived="2026-11-27T10:00:00+00:00"))  # type: ignore[arg-type]
    metrics.close()


def test_an_address_that_is_taken_stops_no_work(tmp_path: Path) -> None:
    heard: list[Event] = []
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "a.pdf").write_bytes(PDF)
    with socket.socket() as channel:
        channel.bind(("127.0.0.1", 0))
        channel.listen()
        studio = replace(make_studio(tmp_path), metrics=f"127.0.0.1:{channel.getsockname()[1]}")
        Daemon(studio, heard.append, runner=Stub(), events=False).run(until_idle=True)
    (trouble,) = [event.words for event in heard if event.what is What.TROUBLE]
    assert trouble.startswith("No figures are shown at 127.0.0.1:")
    assert What.FINISHED in [event.what for event in heard]


def test_the_missing_library_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "prometheus_client", None)
    with pytest.raises(ConfigError, match=r"pip install 'hotfolder\[metrics\]'"):
        Metrics(":0")
