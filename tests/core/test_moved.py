"""Places on a page that a step moved as a whole: there and back, one move after another, findings along with it."""

import pytest

from hotfolder.plugin import Box, Moved
from hotfolder.testing import make_job, make_pdf

A_PLACE = Box(10, 20, 30, 60)
TRIM = (100.0, 200.0)

# matrix -> quarter turns to the left, scale, where A_PLACE lies now (worked out by hand from ISO 32000-1 8.3.4)
TABLE = {
    "stayed": ((1, 0, 0, 1, 0, 0), 0, 1, (10, 20, 30, 60)),
    "aside": ((1, 0, 0, 1, 5, -5), 0, 1, (15, 15, 35, 55)),
    "twice": ((2, 0, 0, 2, 0, 0), 0, 2, (20, 40, 60, 120)),
    "turned left": ((0, 1, -1, 0, 100, 0), 1, 1, (40, 10, 80, 30)),
    "upside down, a tenth": ((-0.1, 0, 0, -0.1, 10, 10), 2, 0.1, (7, 4, 9, 8)),
    "turned right, twice": ((0, -2, 2, 0, 0, 100), 3, 2, (40, 40, 120, 80)),
}


@pytest.mark.parametrize(("matrix", "turns", "scale", "now"), TABLE.values(), ids=TABLE.keys())
def test_there_and_back(matrix, turns, scale, now):
    moved = Moved(matrix, TRIM)
    assert (moved.turns, moved.scale) == (turns, pytest.approx(scale))
    assert moved.now(A_PLACE) == pytest.approx(now)
    assert moved.before(moved.now(A_PLACE)) == pytest.approx(A_PLACE)


@pytest.mark.parametrize("first", TABLE)
@pytest.mark.parametrize("second", TABLE)
def test_one_after_the_other(first, second):
    one, other = Moved(TABLE[first][0], (1.0, 1.0)), Moved(TABLE[second][0], TRIM)
    both = one.then(other)
    assert both.now(A_PLACE) == pytest.approx(other.now(one.now(A_PLACE)))
    assert both.trim == TRIM


def test_what_was_found_moves_along(tmp_path):
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf", pages=2))
    job.note("here", "Here.", page=1, box=A_PLACE)
    job.note("there", "There.", page=2, box=A_PLACE)
    job.note("nowhere", "Nowhere.", page=1)
    job.move(1, Moved((2, 0, 0, 2, 0, 0), TRIM))
    job.move(1, Moved((1, 0, 0, 1, 1, 1), TRIM))
    assert [finding.box for finding in job.findings] == [(21, 41, 61, 121), A_PLACE, None]
    assert job.moved[1].matrix == (2, 0, 0, 2, 1, 1)
