"""Hears from the operating system that something happened in a watched folder, and wakes the daemon.

What it hears is a hint: events get lost, and on network shares none come. The daemon's own look is the truth.
"""

from __future__ import annotations

import contextlib
import logging
import time
from collections.abc import Callable
from pathlib import Path

from watchdog.events import FileSystemEvent, FileSystemEventHandler
from watchdog.observers import Observer
from watchdog.observers.api import BaseObserver, ObservedWatch

from hotfolder.daemon.files import file_system, on_network

#: File systems of this machine that don't tell what is done to them from the other side: folders of a virtual machine's host,
#: and most that are programs; but not the ones that are nothing but a disk.
_SILENT = ("vboxsf", "virtiofs", "vmhgfs", "prl_fs", "fuse.")
_AGAIN = 600.0  # seconds until it is tried again where the system had no watch left


class Watcher:
    """One observer for all folders. `hint(folder)` is called from its thread when something happened below it."""

    def __init__(
        self,
        hint: Callable[[Path], None],
        tell: Callable[[str, Path, str], None],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._clock = clock
        self._hint = hint
        self._tell = tell
        # What it has to say (a lost event, a thread at its end) is made good by the daemon's own look.
        logging.getLogger("watchdog").addHandler(logging.NullHandler())
        self._observer: BaseObserver | None = None
        self._watches: dict[Path, tuple[ObservedWatch, tuple[int, int]]] = {}
        self._without: dict[Path, tuple[tuple[int, int], float]] = {}  # until when
        self._told: set[Path] = set()

    def check(self, folder: Path) -> None:
        """See that the folder is watched; watch it anew where it was removed and made again, or its watch died."""
        try:
            found = folder.stat()
        except OSError:
            self._drop(folder)
            return
        identity = (found.st_dev, found.st_ino)
        known = self._watches.get(folder)
        if known is not None and known[1] == identity and self._alive(known[0]):
            return
        self._drop(folder)
        without, until = self._without.get(folder, (None, 0.0))
        if without != identity or self._clock() >= until:
            self._without.pop(folder, None)
            self._watch(folder, identity)

    def leave(self, folder: Path) -> None:
        """Watch the folder no more."""
        self._drop(folder)
        self._without.pop(folder, None)
        self._told.discard(folder)

    def close(self) -> None:
        if self._observer is not None:
            self._observer.stop()
            self._observer.join(5)
            self._observer = None
        self._watches.clear()

    def _watch(self, folder: Path, identity: tuple[int, int]) -> None:
        if on_network(folder) or file_system(folder).startswith(_SILENT):
            words = "The folder lies on another machine; it is looked through at intervals."
            return self._give_up(folder, identity, float("inf"), words)
        try:
            if self._observer is None or not self._observer.is_alive():
                self.close()
                self._observer = Observer()
                self._observer.start()
            handler = _Handler(lambda: self._hint(folder))
            self._watches[folder] = (self._observer.schedule(handler, str(folder), recursive=True), identity)
        except (OSError, RuntimeError) as error:  # the system's limit of watches or threads
            words = f"No events for this folder ({error}); it is looked through at intervals."
            self._give_up(folder, identity, self._clock() + _AGAIN, words)
        else:
            self._told.discard(folder)

    def _give_up(self, folder: Path, identity: tuple[int, int], until: float, words: str) -> None:
        self._without[folder] = (identity, until)
        if folder not in self._told:
            self._told.add(folder)
            self._tell("no_events", folder, words)

    def _alive(self, watch: ObservedWatch) -> bool:
        # The observer stays alive when the thread of one folder has died.
        return self._observer is not None and any(
            emitter.watch == watch and emitter.is_alive() for emitter in self._observer.emitters
        )

    def _drop(self, folder: Path) -> None:
        known = self._watches.pop(folder, None)
        if known is not None and self._observer is not None:
            with contextlib.suppress(KeyError, OSError):
                self._observer.unschedule(known[0])


class _Handler(FileSystemEventHandler):
    def __init__(self, hint: Callable[[], None]) -> None:
        self._hint = hint

    def on_any_event(self, event: FileSystemEvent) -> None:
        if event.event_type not in ("opened", "closed_no_write"):  # our own looks make these
            self._hint()
