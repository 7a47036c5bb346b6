"""What is cleared away and when, and what never is; ledgers of earlier versions, and damaged ones."""

from __future__ import annotations

import datetime as dt
import shutil
import sqlite3
from pathlib import Path

import pytest
from studios import PDF, Stub, make_studio, names
from waiting import running, wait_for

from hotfolder.config.studio import Keep
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.files import Files
from hotfolder.daemon.keeping import Keeping
from hotfolder.daemon.ledger import VERSION, Ledger
from hotfolder.daemon.loop import Daemon
from hotfolder.daemon.places import Places
from hotfolder.daemon.spool import Spool

DAY = 86_400.0
NEVER = Keep(originals_days=None, jobs_days=None)


class House:
    """A studio in which a.pdf, b.pdf and two.pdf (in two sizes) passed and bad.pdf is held; and its clocks."""

    def __init__(self, root: Path) -> None:
        self.root, self.steady, self.now = root, 0.0, dt.datetime.now().timestamp()
        (root / "in").mkdir()
        for name in ("a.pdf", "b.pdf", "bad.pdf", "two.pdf"):
            (root / "in" / name).write_bytes(PDF + name.encode())
        Daemon(make_studio(root), lambda event: None, runner=Stub(), events=False).run(until_idle=True)
        self.told: list[Event] = []
        self.ledger = Ledger(root / "spool" / "ledger.sqlite")
        self.spool = Spool(root / "spool")

    def keeping(self, keep: Keep) -> Keeping:
        return Keeping(self.spool, self.ledger, keep, self.told.append, lambda: self.steady, lambda: self.now)

    def after(self, days: float, keeping: Keeping) -> None:
        """So many days pass, and in the end a round."""
        self.steady += days * DAY
        self.now += days * DAY
        for _ in range(3):
            keeping.work()

    def kept(self, *folders: str) -> dict[str, int]:
        return {folder: len(names(self.root / folder)) for folder in folders}


@pytest.fixture
def house(tmp_path: Path) -> House:
    return House(tmp_path)


def test_originals_go_by_age_and_results_stay(house: House) -> None:
    before = {folder: names(house.root / folder) for folder in ("pass", "hold")}
    keeping = house.keeping(Keep())
    house.after(89, keeping)
    assert house.kept("spool/done") == {"spool/done": 4}
    house.after(2, keeping)
    assert house.kept("spool/done", "spool/old") == {"spool/done": 0, "spool/old": 0}
    assert {folder: names(house.root / folder) for folder in ("pass", "hold")} == before
    assert len(house.ledger.entries()) == 5  # two years
    house.after(700, keeping)
    assert house.ledger.entries() == []
    assert house.told == []


def test_with_nothing_to_go_everything_stays(house: House) -> None:
    house.after(3000, house.keeping(NEVER))
    assert house.kept("spool/done", "pass", "hold") == {"spool/done": 4, "pass": 12, "hold": 3}
    assert len(house.ledger.entries()) == 5


def test_the_oldest_originals_go_where_room_is_short(house: House) -> None:
    homes = sorted((house.root / "spool" / "done").iterdir())
    for home in homes:
        (home / "original").mkdir(exist_ok=True)
        (home / "original" / "more").write_bytes(bytes(400_000))
    house.after(1, house.keeping(Keep(originals_mb=1)))
    assert sorted((house.root / "spool" / "done").iterdir()) == homes[-2:]


def test_a_clock_that_was_set_wrong_clears_nothing_away(house: House) -> None:
    keeping = house.keeping(Keep(pass_days=30, hold_days=30))
    house.after(1, keeping)
    house.now += 20 * 365 * DAY  # as with an empty battery
    keeping.work()
    house.steady += 1800
    keeping.work()
    house.now -= 20 * 365 * DAY  # and set right again by the network
    house.steady += 1800
    keeping.work()
    assert house.kept("spool/done", "pass", "hold") == {"spool/done": 4, "pass": 12, "hold": 3}


def test_nothing_is_cleared_away_in_the_first_hour(house: House) -> None:
    """The clock of a machine that was just started may be anything."""
    keeping = house.keeping(Keep())
    house.now += 1000 * DAY
    house.steady += 3000
    keeping.work()
    assert house.kept("spool/done") == {"spool/done": 4}


def test_results_go_only_where_that_is_asked_for(house: House) -> None:
    keeping = house.keeping(Keep(pass_days=30))
    house.after(29, keeping)
    assert house.kept("pass", "hold") == {"pass": 12, "hold": 3}
    (house.root / "pass" / "mine.pdf").write_bytes(b"somebody's own")
    house.after(2, keeping)
    assert names(house.root / "pass") == ["mine.pdf"]
    assert house.kept("hold", "spool/done") == {"hold": 3, "spool/done": 4}


def test_a_result_that_was_changed_stays_with_all_that_belongs_to_it(house: House) -> None:
    (house.root / "pass" / "a.pdf").write_bytes(b"retouched by hand")
    (house.root / "pass" / "b.pdf").unlink()  # fetched: log and report were left
    keeping = house.keeping(Keep(pass_days=30, hold_days=60))
    house.after(31, keeping)
    assert names(house.root / "pass") == ["a.log", "a.pdf", "a.report.html"]
    assert house.kept("hold") == {"hold": 3}
    house.after(31, keeping)
    assert house.kept("hold") == {"hold": 0}
    assert [event.what for event in house.told] == [What.KEPT]
    house.after(40, keeping)
    assert house.kept("spool/done") == {"spool/done": 0}
    assert (house.root / "pass" / "a.pdf").read_bytes() == b"retouched by hand"


def test_a_share_that_is_away_is_asked_again_later(house: House) -> None:
    away = [True]
    places = Places(house.root / "places.json", Files(), lambda path: path == str(house.root) and not away[0])
    places._mounts = {str(house.root / "pass"): str(house.root)}
    house.spool.need = places.need
    keeping = house.keeping(Keep(originals_days=40, pass_days=30))
    house.after(41, keeping)
    assert house.kept("spool/done", "pass") == {"spool/done": 4, "pass": 12}
    assert [event.what for event in house.told] == [What.TROUBLE]
    away[0] = False
    house.after(1, keeping)
    assert house.kept("spool/done", "pass") == {"spool/done": 0, "pass": 0}


def test_what_was_half_removed_is_removed_at_the_next_round(house: House) -> None:
    home = next((house.root / "spool" / "done").iterdir())
    (house.root / "spool" / "old").mkdir()
    home.rename(house.root / "spool" / "old" / home.name)
    (house.root / "spool" / "old" / home.name / "published.json").unlink()
    house.after(1, house.keeping(Keep()))
    assert house.kept("spool/done", "spool/old") == {"spool/done": 3, "spool/old": 0}


def test_a_job_without_its_outcome_is_never_cleared_away(house: House) -> None:
    for home in (house.root / "spool" / "done").iterdir():
        (home / "published.json").unlink()
    house.after(4000, house.keeping(Keep(originals_mb=1, pass_days=30, hold_days=30)))
    assert house.kept("spool/done", "pass", "hold") == {"spool/done": 4, "pass": 12, "hold": 3}


def test_the_log_stays_small(tmp_path: Path) -> None:
    from hotfolder.daemon.journal import Journal

    journal = Journal(tmp_path / "daemon.log", to_people=False, most_mb=0.02)
    for number in range(2000):
        journal.tell("trouble", words=f"The {number}th of many.")
    journal.close()
    assert names(tmp_path) == ["daemon.log", "daemon.log.1"]
    assert sum((tmp_path / name).stat().st_size for name in names(tmp_path)) < 22_000


# ---- the ledger

#: The ledger's schema as versions 1 and 2 made it, word for word.
FIRST = """
CREATE TABLE jobs (
  job TEXT PRIMARY KEY, route TEXT NOT NULL, file TEXT NOT NULL, digest TEXT NOT NULL DEFAULT '', state TEXT NOT NULL,
  attempts INTEGER NOT NULL DEFAULT 1, outcome TEXT, arrived TEXT NOT NULL, finished TEXT, record TEXT
) STRICT;
CREATE INDEX jobs_by_digest ON jobs (digest);
CREATE INDEX jobs_by_state ON jobs (state);
"""
SECOND = """
CREATE TABLE hand_overs (
  job TEXT NOT NULL, place TEXT NOT NULL, state TEXT NOT NULL, tries INTEGER NOT NULL, words TEXT NOT NULL,
  told TEXT NOT NULL, PRIMARY KEY (job, place)
) STRICT;
"""


@pytest.mark.parametrize(("version", "schema"), [(1, FIRST), (2, FIRST + SECOND)])
def test_a_ledger_of_an_earlier_version_is_taken_over(tmp_path: Path, version: int, schema: str) -> None:
    path = tmp_path / "ledger.sqlite"
    earlier = sqlite3.connect(path)
    earlier.executescript(schema)
    row = ("j1", "posters", "a.pdf", "d", "published", 1, "pass", "2026-01-01T00:00:00+00:00", None, None)
    earlier.execute("INSERT INTO jobs VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", row)
    earlier.execute(f"PRAGMA user_version = {version}")
    earlier.commit()
    earlier.close()
    if version == 2:  # the daemon was not started anew yet: who only looks can read it all the same
        look = Ledger(path, look=True)
        assert [entry.job for entry in look.latest(5)] == ["j1"]
        look.close()
    ledger = Ledger(path)
    assert [(entry.job, entry.outcome) for entry in ledger.entries()] == [("j1", "pass")]
    assert (ledger.hand_overs(), ledger.aside) == ([], None)
    ledger.close()
    with sqlite3.connect(path) as again:
        assert again.execute("PRAGMA user_version").fetchone() == (VERSION,)
        assert again.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        made = {name for (name,) in again.execute("SELECT name FROM sqlite_master WHERE type = 'index'")}
    assert {"jobs_by_arrived", "hand_overs_by_state", "jobs_by_state", "jobs_by_digest"} <= made
    again.close()


def test_a_damaged_ledger_is_told_loudly(house: House) -> None:
    house.ledger.close()
    path = house.root / "spool" / "ledger.sqlite"
    path.write_bytes(b"no ledger" * 1000)
    heard: list[Event] = []
    Daemon(make_studio(house.root), heard.append, runner=Stub(), events=False).run(until_idle=True)
    (trouble,) = [event.words for event in heard if event.what is What.TROUBLE]
    assert trouble == (
        "The ledger was damaged. It is kept as ledger.sqlite.damaged-1, and a new one was made of the 5 jobs in the spool; "
        "what was cleared away from there before is forgotten. No file is lost. Have the disk looked at."
    )


def test_a_ledger_that_is_damaged_while_in_use_is_made_again(house: House) -> None:
    house.ledger.close()
    path = house.root / "spool" / "ledger.sqlite"
    heard: list[Event] = []
    with running(Daemon(make_studio(house.root), heard.append, runner=Stub(), events=False)):
        wait_for(lambda: heard != [])
        # Its pages are overwritten beneath it, the ones that were not brought over from the journal too.
        path.write_bytes(b"\xff" * path.stat().st_size)
        for ending in ("-wal",):
            part = path.with_name(path.name + ending)
            if part.exists():
                part.write_bytes(b"\xff" * part.stat().st_size)
        (house.root / "in" / "c.pdf").write_bytes(PDF + b"c")
        wait_for(lambda: any(event.words.startswith("The ledger was damaged.") for event in heard))
        (house.root / "in" / "d.pdf").write_bytes(PDF + b"d")
        wait_for(lambda: "d.pdf" in [event.file for event in heard if event.what is What.FINISHED])
    ledger = Ledger(path)
    assert {entry.file for entry in ledger.entries("published")} == {
        "a.pdf", "b.pdf", "bad.pdf", "c.pdf", "d.pdf", "two.pdf",
    }  # fmt: skip
    ledger.close()
    shutil.rmtree(house.root)
