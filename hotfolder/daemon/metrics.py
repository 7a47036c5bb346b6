"""Figures for a monitor that fetches them (Prometheus' text format): nothing listens unless the config asks for it."""

from __future__ import annotations

from collections.abc import Callable
from threading import Thread
from typing import TYPE_CHECKING, Any

from hotfolder.daemon.events import Event, What
from hotfolder.daemon.outcomes import Outcomes
from hotfolder.daemon.pulse import Pulse
from hotfolder.errors import ConfigError
from hotfolder.record import JobRecord

if TYPE_CHECKING:
    from wsgiref.simple_server import WSGIServer

LOOPBACK = "127.0.0.1"


class Metrics:
    """Serves figures in a thread of its own. ConfigError where the library for it is missing, OSError where the address
    can't be had."""

    def __init__(self, address: str) -> None:
        try:
            import prometheus_client as prometheus
        except ModuleNotFoundError:
            raise ConfigError(
                ["The setting 'metrics' needs a library more; install it with: pip install 'hotfolder[metrics]'."]
            ) from None
        registry = prometheus.CollectorRegistry()
        self._jobs = prometheus.Counter(
            "hotfolder_jobs", "Jobs that have their outcome.", ["route", "outcome"], registry=registry
        )
        self._seconds = prometheus.Summary(
            "hotfolder_step_seconds", "Time that a step took.", ["step"], registry=registry
        )
        self._waiting = prometheus.Gauge(
            "hotfolder_waiting_files", "Files in the watched folder.", ["route"], registry=registry
        )
        self._oldest = prometheus.Gauge(
            "hotfolder_oldest_waiting_seconds", "Age of the file that waits longest.", ["route"], registry=registry
        )
        self._paused = prometheus.Gauge(
            "hotfolder_route_paused", "1 where nothing is taken for now.", ["route"], registry=registry
        )
        self._free = prometheus.Gauge(
            "hotfolder_free_bytes", "Free space on the disk of a folder.", ["folder"], registry=registry
        )
        self._running = prometheus.Gauge("hotfolder_running_jobs", "Jobs at work.", registry=registry)
        self._unfinished = prometheus.Gauge("hotfolder_unfinished_jobs", "Jobs to be tried again.", registry=registry)
        self._looked = prometheus.Gauge(
            "hotfolder_last_look_timestamp_seconds", "When the folders were looked through last.", registry=registry
        )
        host, _, port = address.rpartition(":")
        self._server: WSGIServer
        self._thread: Thread
        self._server, self._thread = prometheus.start_http_server(
            int(port), host.strip("[]") or LOOPBACK, registry=registry
        )

    @property
    def port(self) -> int:
        return int(self._server.server_port)

    def count(self, record: JobRecord) -> None:
        """A job has its outcome."""
        self._jobs.labels(record.route, record.outcome.value if record.outcome else "").inc()
        for step in record.steps:
            self._seconds.labels(step.step).observe(step.seconds)

    def show(self, state: dict[str, Any]) -> None:
        """Take over what the daemon wrote down at its last look."""
        for gauge in (self._waiting, self._oldest, self._paused, self._free):
            gauge.clear()  # a route that was taken out of the config is not told of for ever
        for route in state["routes"]:
            since = route["oldest"]["since"] if route["oldest"] else state["looked"]
            self._waiting.labels(route["route"]).set(route["waiting"])
            self._oldest.labels(route["route"]).set(max(0.0, state["looked"] - since))
            self._paused.labels(route["route"]).set(int(route["paused"]))
        for folder, free in state["free"].items():
            self._free.labels(folder).set(free)
        self._running.set(state["running"])
        self._unfinished.set(state["unfinished"])
        self._looked.set(state["looked"])

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join(5)


def show_metrics(address: str, pulse: Pulse, outcomes: Outcomes, tell: Callable[[Event], None]) -> Callable[[], None]:
    """Show figures from now on; what ends it. The work must not stand still where the address can't be had."""
    try:
        metrics = Metrics(address)
    except OSError as error:
        tell(Event(What.TROUBLE, words=f"No figures are shown at {address}: {error.strerror or error}."))
        return lambda: None
    pulse.shown.append(metrics.show)
    outcomes.counted = metrics.count
    return metrics.close
