"""Sees that the config file was changed, has it checked, and says what of it is new. A bad one is never taken."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from hotfolder.config.studio import Route, Studio
from hotfolder.daemon.arrivals import Arrivals
from hotfolder.errors import ConfigError
from hotfolder.names import printable

#: What a running daemon stands on; it is taken from the config at the start only.
_FIXED = ("spool", "metrics")
#: Not settings, but how the config is known.
_NOT_COMPARED = {"file", "folder", "lines", "plugins", "routes", *_FIXED}
_Stamp = tuple[int, int, int] | None


class Reload:
    """`reread` reads the config file anew, with all its checks, and raises ConfigError with sentences."""

    def __init__(self, studio: Studio, reread: Callable[[], Studio] | None) -> None:
        self._file, self._reread = studio.file, reread
        self._taken = self._seen = self._stamp()
        self.asked = False

    def ask(self) -> None:
        """Read it at the next look, changed or not. May be called from a signal handler."""
        self.asked = True

    def due(self) -> bool:
        """Whether to read it now: somebody asked, or it has changed and has come to rest since the last look."""
        before, self._seen = self._seen, self._stamp()
        changed = self._seen is not None and self._seen == before and self._seen != self._taken
        due, self.asked = self.asked or changed, False
        return due and self._reread is not None

    def read(self, old: Studio) -> Studio:
        """The studio of the changed file, with what can't change as it was. ConfigError: the old one must stay."""
        assert self._reread is not None
        self._taken = self._seen = self._stamp()
        studio = self._reread()
        if studio.plugins.folders != old.plugins.folders:
            raise ConfigError(["'plugins' can't change while hotfolder runs; stop it and start it again."])
        return studio

    def _stamp(self) -> _Stamp:
        try:
            found = self._file.stat() if self._file is not None else None
        except OSError:  # while an editor puts the new one in its place
            return None
        return (found.st_ino, found.st_mtime_ns, found.st_size) if found is not None else None


def kept(new: Studio, old: Studio) -> Studio:
    """The new studio on what the old one stands on."""
    return dataclasses.replace(new, **{name: getattr(old, name) for name in _FIXED})


def differences(new: Studio, old: Studio) -> Iterator[str]:
    """What is new, in sentences."""
    before, after = ({route.name: route for route in studio.routes} for studio in (old, new))
    changed = [name for name in after if name in before and not _alike(after[name], before[name])]
    for words, names in (
        ("new", [name for name in after if name not in before]),
        ("gone", [name for name in before if name not in after]),
        ("changed", changed),
    ):
        if names:
            routes = ", ".join(f"'{printable(name)}'" for name in names)
            yield f"Route{'s' if len(names) > 1 else ''} {words}: {routes}."
    settings = [field.name for field in dataclasses.fields(Studio) if field.name not in _NOT_COMPARED]
    others = [name for name in settings if getattr(new, name) != getattr(old, name)]
    if others:
        yield f"Changed: {', '.join(others)}."
    for name in _FIXED:
        if getattr(new, name) != getattr(old, name):
            yield f"'{name}' can't change while hotfolder runs; it stays as it was until the next start."


def _alike(one: Route, other: Route) -> bool:
    def plain(route: Route) -> object:
        chain = [(step.name, step.settings) for step in route.chain]
        return dataclasses.replace(route, chain=()), chain

    return plain(one) == plain(other)


def rearrange(
    watched: list[tuple[Route, Arrivals]], routes: Sequence[Route], make: Callable[[Route], Arrivals]
) -> tuple[list[Arrivals], list[Path]]:
    """Watch these routes from now on: what was newly made, and folders that are ours no more.

    What is known of a folder's files is kept where route and folder are the same.
    """
    before = {(route.name, route.watch): arrivals for route, arrivals in watched}
    old = {folder for route, _ in watched for folder in _folders(route)}
    made = []
    after: list[tuple[Route, Arrivals]] = []
    for route in routes:
        if route.watch is None:
            continue
        arrivals = before.get((route.name, route.watch))
        if arrivals is None:
            arrivals = make(route)
            made.append(arrivals)
        arrivals.settle, arrivals.patience = route.settle, route.patience
        after.append((route, arrivals))
    watched[:] = after
    return made, sorted(old - {folder for route, _ in after for folder in _folders(route)})


def _folders(route: Route) -> list[Path]:
    return [folder for folder in (route.watch, route.passed, route.hold) if folder is not None]
