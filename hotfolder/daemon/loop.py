"""The daemon: looks for arrivals, hands each to a worker, and sees every job through to its outcome."""

from __future__ import annotations

import queue
import sqlite3
import time
from collections.abc import Callable
from contextlib import ExitStack
from functools import partial
from pathlib import Path

from hotfolder.config.studio import Route, Studio
from hotfolder.daemon.arrivals import Arrivals
from hotfolder.daemon.confined import told
from hotfolder.daemon.crew import Crew
from hotfolder.daemon.dispatch import Dispatch, Inbox, nothing
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.files import Files
from hotfolder.daemon.gates import Gates, Usage, usage
from hotfolder.daemon.hand_overs import HandOvers
from hotfolder.daemon.in_step import bring_in_step, remember
from hotfolder.daemon.jobs import Finished, Jobs, Terms, Works
from hotfolder.daemon.journal import Journal
from hotfolder.daemon.keeping import Keeping
from hotfolder.daemon.ledger import Ledger
from hotfolder.daemon.lock import SpoolLock
from hotfolder.daemon.metrics import show_metrics
from hotfolder.daemon.news import News
from hotfolder.daemon.notify import Notify
from hotfolder.daemon.outcomes import Outcomes
from hotfolder.daemon.parcels import Parcels
from hotfolder.daemon.places import Places
from hotfolder.daemon.pulse import Pulse
from hotfolder.daemon.reload import Reload, differences, kept, rearrange
from hotfolder.daemon.spool import Spool
from hotfolder.daemon.starting import make_folders, make_spool, recover
from hotfolder.daemon.strays import Strays
from hotfolder.daemon.watcher import Watcher
from hotfolder.errors import ConfigError
from hotfolder.names import printable


class Daemon:
    """Runs a studio. `heard` is called in the thread of `run`, with each Event.

    Without `heard`, the events go to standard error. `runner`, `files`, `clock` and `room` are for tests; without `events` of
    the operating system, the folders are looked through at intervals only. `reread` reads the changed config; without it, it never changes.
    """

    def __init__(
        self,
        studio: Studio,
        heard: Callable[[Event], None] | None = None,
        *,
        runner: Works | None = None,
        files: Files | None = None,
        clock: Callable[[], float] = time.monotonic,
        grace: float = 20.0,
        events: bool = True,
        room: Usage = usage,
        reread: Callable[[], Studio] | None = None,
    ) -> None:
        self._studio = studio
        self._heard = heard
        self._given = runner
        self._files = files or Files()
        self._clock = clock
        self._grace = grace
        self._events = events
        self._room = room
        self._reload = Reload(studio, reread)
        self._inbox: Inbox = queue.SimpleQueue()
        self._stops = 0
        self._hinted: set[Path] = set()
        self._notify = Notify()
        self._looked = float("-inf")  # when free space and folders were last looked at

    # ---- from outside

    def run(self, until_idle: bool = False) -> None:
        """Work until `stop`, or until nothing waits or runs. ConfigError where this studio can't be run here."""
        make_spool(self._studio, self._files)
        with SpoolLock(self._studio.spool), ExitStack() as closing:
            try:
                self._open(closing)
            except OSError as error:
                raise ConfigError([f"The spool {self._studio.spool} can't be used: {error.strerror}."]) from error
            self._loop(until_idle)

    def stop(self) -> None:
        """Take nothing more; let running jobs finish, for a while, then put them back. At once if called again."""
        self._stops += 1
        self._inbox.put(nothing)

    def reload(self) -> None:
        """Read the config again, and take it if it has no mistakes. May be called from a signal handler."""
        self._reload.ask()
        self._inbox.put(nothing)

    # ---- start and end

    def _open(self, closing: ExitStack) -> None:
        studio = self._studio
        self._places = places = Places(studio.spool / "places.json", self._files)
        make_folders(studio, self._files, places)
        self._spool = Spool(studio.spool, self._files)
        self._spool.need = places.need
        journal = Journal(studio.spool / "daemon.log", to_people=self._heard is None, most_mb=studio.keep.log_mb)
        closing.callback(journal.close)
        self._news = News(journal, [self._heard] if self._heard is not None else [])
        self._ledger = Ledger(studio.spool / "ledger.sqlite", self._files)
        closing.callback(self._ledger.close)
        self._crew = Crew(studio, self._given)
        self._watcher = Watcher(self._hint, partial(self._news.tell_of, ""))
        self._watched = [(route, self._arrivals(route)) for route in studio.routes if route.watch is not None]
        parcels = Parcels(self._files, studio.spool, studio.folder)
        self._hand_overs = HandOvers(parcels, self._ledger, self._news.tell, self._clock, self._inbox)
        self._outcomes = Outcomes(studio.plugins.manager, self._ledger, self._hand_overs, self._news.tell)
        self._jobs = Jobs(studio, self._spool, self._ledger, self._crew.runner, self._from_thread, parcels)
        self._gates = Gates(
            studio.spool, studio.reserve_mb, studio.workers, self._watched, places, self._news.tell, self._room
        )
        self._dispatch = Dispatch(
            studio.workers, self._spool, self._jobs, self._watched, self._clock, self._inbox, self._gates
        )
        self._keeping = Keeping(self._spool, self._ledger, studio.keep, self._news.tell)
        self._strays = Strays(self._spool, self._dispatch, self._news.tell)
        self._pulse = Pulse(studio.spool, self._watched, self._dispatch, self._gates, studio.rescan)
        self._news.listeners.append(self._pulse.hear)
        if studio.metrics:
            closing.callback(show_metrics(studio.metrics, self._pulse, self._outcomes, self._news.tell))
        closing.callback(self._end)
        for route, arrivals in self._watched:
            self._news.tell(Event(What.WATCHING, route.name, folder=printable(str(arrivals.root))))
        recover(self._spool, self._ledger, self._dispatch, self._hand_overs, self._outcomes, self._news.tell)
        if self._given is None:
            self._news.tell(Event(What.CONFINED, words=told(studio.limits)))
            self._crew.warm()
        self._pulse.write()
        self._notify.ready()

    def _arrivals(self, route: Route) -> Arrivals:
        assert route.watch is not None
        tell = partial(self._news.tell_of, route.name)
        return Arrivals(route.name, route.watch, route.settle, route.patience, self._files, self._clock, tell)

    def _end(self) -> None:
        self._notify.stopping()
        self._watcher.close()
        self._crew.stop()
        self._dispatch.close()
        self._hand_overs.close()
        self._crew.close()
        self._collect()
        self._drain(0)
        self._pulse.write(stopped=True)

    # ---- a changed config

    def _read_again(self) -> None:
        """Take a changed config for what comes from now on. One with mistakes is told, and the old one stays."""
        old = self._studio
        try:
            new = self._reload.read(old)
            words = " ".join(differences(new, old)) or "Nothing in it is new."
            new = kept(new, old)
            make_folders(new, self._files, self._places)
        except ConfigError as error:
            return self._news.tell(Event(What.REFUSED_CONFIG, words=" ".join(error.problems)))
        self._studio, self._pulse.rescan = new, new.rescan
        self._outcomes.observers = new.plugins.manager
        self._keeping.keep, self._news.journal.most_mb = new.keep, new.keep.log_mb
        self._gates.reserve_mb, self._gates.workers = new.reserve_mb, new.workers
        made, gone = rearrange(self._watched, new.routes, self._arrivals)
        for route, _ in self._watched if not new.events else ():
            self._watcher.leave(route.watch or new.folder)
        for folder in gone:
            self._watcher.leave(folder)
            self._gates.forget(folder)
            self._pulse.forget(folder)
        self._crew.take(new, self._dispatch.running)
        self._jobs.terms = Terms(new, self._crew.runner)
        self._dispatch.set_workers(new.workers)
        self._news.tell(Event(What.RELOADED, words=words))
        for arrivals in made:
            self._news.tell(Event(What.WATCHING, arrivals.route, folder=printable(str(arrivals.root))))

    # ---- the loop

    def _loop(self, until_idle: bool) -> None:
        swept, cost, end = float("-inf"), 0.0, 0.0
        while True:
            self._notify.alive()
            now = self._clock()
            if self._stops:
                end = end or now + self._grace
                if not self._dispatch.busy:
                    return
                if self._stops > 1 or now >= end:
                    self._crew.stop()
            else:
                due = now - swept >= self._studio.rescan or self._reload.asked
                if due and self._reload.due():
                    self._read_again()
                # Under a storm of events: look often, but spend no more than a tenth of the time on it.
                if due or (self._hinted and now - swept >= max(0.05, 10 * cost)):
                    self._sweep(due)
                    swept, cost = now, self._clock() - now
                else:
                    for _, arrivals in self._watched:
                        arrivals.look_again()
                self._feed()
                if until_idle and not self._hinted and self._dispatch.idle() and self._hand_overs.idle():
                    return
                self._keeping.work()
            self._drain(self._pause(swept))
            self._collect()

    def _pause(self, swept: float) -> float:
        """Seconds until there is something to do, unless something is heard before."""
        pauses = [0.5, swept + self._studio.rescan - self._clock(), self._dispatch.pause()]
        pauses.append(self._hand_overs.pause())
        pauses += [route.settle / 4 for route, arrivals in self._watched if arrivals.unsettled]
        if self._hinted:
            pauses.append(0.05)
        return max(min(pauses), 0.02)

    def _drain(self, seconds: float) -> None:
        """Do what was asked for meanwhile; wait for it so many seconds at most."""
        try:
            self._inbox.get(block=seconds > 0, timeout=seconds or None)()
            while True:
                self._inbox.get_nowait()()
        except queue.Empty:
            return

    def _sweep(self, everything: bool) -> None:
        hinted, self._hinted = self._hinted, set()
        for _, arrivals in self._watched:
            if everything or arrivals.root in hinted:
                if self._events and self._studio.events:
                    self._watcher.check(arrivals.root)
                arrivals.sweep()
        if everything:
            self._look_at_gates()
            self._strays.look()
            if self._ledger.damaged:
                self._renew_ledger()
            if self._ledger.behind:
                bring_in_step(self._spool, self._ledger, self._dispatch, self._outcomes, self._news.tell)
                self._hand_overs.line_up()
            self._pulse.write()

    def _feed(self) -> None:
        self._hand_overs.feed()
        if self._dispatch.work_left and self._clock() - self._looked >= 1:
            self._look_at_gates()
        try:
            self._dispatch.feed()
        except OSError as error:
            if not self._gates.doubt(error, self._spool.root):
                self._news.spool_trouble(self._spool.root, error)

    def _look_at_gates(self) -> None:
        self._looked = self._clock()
        if self._gates.look():
            self._dispatch.hurry()

    def _renew_ledger(self) -> None:
        try:
            self._ledger.renew()
            remember(self._spool, self._ledger, self._news.tell)
        except (OSError, sqlite3.Error, ConfigError) as error:
            self._news.tell(Event(What.TROUBLE, words=f"The ledger is damaged and could not be made again: {error}."))

    # ---- what came of it

    def _collect(self) -> None:
        self._hand_overs.collect()
        self._crew.dismiss(self._dispatch.running)
        for ended in self._dispatch.collect():
            if isinstance(ended, Finished):
                for published in ended.published:
                    self._outcomes.finished(ended.claim, published)
                continue
            self._hinted.update(arrivals.root for _, arrivals in self._watched)  # it may lie there again
            if ended is not None:
                self._news.tell(ended)

    # ---- telling

    def _hint(self, folder: Path) -> None:
        if folder not in self._hinted:
            self._hinted.add(folder)
            self._inbox.put(nothing)

    def _from_thread(self, event: Event) -> None:
        self._inbox.put(partial(self._news.tell, event))
