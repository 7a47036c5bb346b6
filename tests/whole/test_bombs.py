"""Files made to do harm, each in its confined worker: held with a sentence within the limits, and the next job is done."""

from __future__ import annotations

import datetime as dt
import os
import time
from collections.abc import Iterator
from pathlib import Path

import pypdfium2
import pytest
from bombs import BOMBS, SLOW

from hotfolder.config.builtin import builtin_studio
from hotfolder.config.studio import Limits, Studio
from hotfolder.daemon.runner import Runner
from hotfolder.finding import Outcome
from hotfolder.testing import make_pdf
from hotfolder.work import LOG, RESULT, Order

LIMITS = Limits(seconds=30, memory_mb=400, disk_mb=500)
BY_HAND = bool(os.environ.get("HOTFOLDER_EXAMPLES"))
#: A picture that says in its own head that it is larger than the file says: the library that reads it runs out of
#: memory and ends the worker; it is held, after a second try.
DIES = {"hidden jpx.pdf"}


@pytest.fixture(scope="module")
def studio() -> Studio:
    return builtin_studio()


@pytest.fixture(scope="module")
def runner(studio: Studio) -> Iterator[Runner]:
    runner = Runner((), LIMITS, studio.used_conditions)
    yield runner
    runner.close()


def order(studio: Studio, path: Path) -> Order:
    (path.parent / "out").mkdir()
    return Order(
        job="20260101-120000-abc123", route="poster", name=path.name, subfolder="", original=path, ticket_files=(),
        out=path.parent / "out", arrived=dt.datetime.now(dt.UTC), attempt=1, chain=studio.routes[0].chain,
        ticket={"bleed": "3mm"}, file_names=(), subfolders="", conditions=studio.conditions, condition=studio.condition,
    )  # fmt: skip


@pytest.mark.parametrize("name", [name for name in BOMBS if BY_HAND or name not in SLOW])
def test_a_bomb_costs_its_own_job_alone(runner: Runner, studio: Studio, tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    BOMBS[name](path)
    before, started = path.read_bytes(), time.monotonic()
    record = runner.run(order(studio, path))
    assert time.monotonic() - started < 3 * LIMITS.seconds + 30
    assert path.read_bytes() == before
    assert (path.parent / "out" / LOG).is_file()
    held = [finding for finding in record.findings if finding.level == "hold"]
    assert record.outcome is (Outcome.HOLD if held else Outcome.PASS)
    assert all(finding.message and finding.mend for finding in held)
    codes = {finding.code for finding in held}
    assert "fault" not in codes, held
    assert "worker_died" not in codes or name in DIES, held
    if not held:
        with pypdfium2.PdfDocument(path.parent / "out" / RESULT) as pdf:
            assert len(pdf) == 1


def test_and_the_next_job_is_done(runner: Runner, studio: Studio, tmp_path: Path) -> None:
    good = make_pdf(tmp_path / "good.pdf", trim_mm=(297, 420), bleed_mm=3)
    assert runner.run(order(studio, good)).outcome is Outcome.PASS
