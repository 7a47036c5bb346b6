"""What the daemon does before its first look: its folders are there, and what an earlier run left is lined up."""

from __future__ import annotations

from collections.abc import Callable

from hotfolder.config.studio import Studio
from hotfolder.daemon.dispatch import Dispatch
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.files import Files
from hotfolder.daemon.hand_overs import HandOvers
from hotfolder.daemon.in_step import bring_in_step
from hotfolder.daemon.ledger import Ledger
from hotfolder.daemon.outcomes import Outcomes
from hotfolder.daemon.places import Places
from hotfolder.daemon.spool import Spool
from hotfolder.errors import ConfigError


def make_spool(studio: Studio, files: Files) -> None:
    try:
        files.mkdir_lasting(studio.spool)
    except OSError as error:
        raise ConfigError([f"The folder {studio.spool} can't be made: {error.strerror}."]) from error


def make_folders(studio: Studio, files: Files, places: Places) -> None:
    """Make the routes' folders. ConfigError with every problem at once.

    It will not make a folder again whose share is away, nor refuse to start because of a folder that was there before.
    """
    problems, there = [], []
    for route in studio.routes:
        if route.watch is not None and (route.passed is None or route.hold is None):
            problems.append(f"The route '{route.name}' needs the folders `pass` and `hold`.")
        for folder in (route.watch, route.passed, route.hold):
            if folder is None or places.away(folder) is not None:
                continue
            try:
                files.mkdir_lasting(folder)
                there.append(folder)
            except OSError as error:
                if not places.known(folder):
                    problems.append(f"The folder {folder} can't be made: {error.strerror}.")
    if problems:
        raise ConfigError(problems)
    places.remember(*there)


def recover(
    spool: Spool,
    ledger: Ledger,
    dispatch: Dispatch,
    hand_overs: HandOvers,
    outcomes: Outcomes,
    tell: Callable[[Event], None],
) -> None:
    """Line up what an earlier daemon left unfinished, and bring the ledger in step with the folders."""
    for job in spool.claimed():
        dispatch.line_up(job, died=True)
        tell(Event(What.RECOVERED, job=job, words="Begun by an earlier run; it is begun again."))
    for job in spool.committed():
        dispatch.line_up(job)
        tell(Event(What.RECOVERED, job=job, words="Done by an earlier run; its files are handed on."))
    bring_in_step(spool, ledger, dispatch, outcomes, tell)
    hand_overs.line_up()
