"""Every planted fault is found, and nothing else; its clean twin goes through the whole chain without a hold."""

from __future__ import annotations

import functools
from pathlib import Path

import pytest
from poster import TICKET, Pair
from table import PAIRS

from hotfolder.config.builtin import POSTER_CHAIN
from hotfolder.finding import Level
from hotfolder.job import Job
from hotfolder.loading import load_plugins
from hotfolder.testing import make_job, run_steps

BEFORE_COLOURS = POSTER_CHAIN.index("convert_colour")


@functools.cache
def plugins():
    return load_plugins()


def run(pair: Pair, artwork: Path, names: tuple[str, ...], folder: Path) -> Job:
    job = make_job(folder, artwork, ticket=TICKET | pair.ticket, opened=False)
    steps = [plugins().steps[name] for name in names]
    run_steps(job, *(step(step.Settings(**pair.settings.get(step.name, {}))) for step in steps))
    return job


def judged_fault(pair: Pair, folder: Path) -> Job:
    """The faulty poster, taken as far as the check that must find it, and through all that come before colours change."""
    last = max(POSTER_CHAIN.index(pair.finds.split(":")[0]) + 1, BEFORE_COLOURS)
    return run(pair, pair.drawn("fault", folder), POSTER_CHAIN[:last], folder)


def told(job: Job) -> list[str]:
    return [f"{found.step}: {found.level} {found.code}: {found.message} [{found.measured}]" for found in job.findings]


def marked(which: str) -> list:
    """The pairs, each with its name; a known gap has to fail."""
    return [
        pytest.param(
            pair, id=pair.name, marks=[pytest.mark.xfail(reason=pair.gap)] if pair.gap.startswith(which) else []
        )
        for pair in PAIRS
    ]


@pytest.mark.parametrize("pair", marked("fault"))
def test_the_fault_is_found_and_nothing_else_holds(pair, tmp_path):
    step, level_code = pair.finds.split(": ")
    job = judged_fault(pair, tmp_path)
    found = [
        finding for finding in job.findings if finding.step == step and f"{finding.level} {finding.code}" == level_code
    ]
    assert found, told(job)
    assert any(pair.says in f"{finding.message} {finding.measured} {finding.mend}" for finding in found), told(job)
    holds = {finding.code for finding in job.findings if finding.level is Level.HOLD and finding not in found}
    assert holds == set(pair.also), told(job)


@pytest.mark.parametrize("pair", marked("clean"))
def test_the_clean_twin_passes_the_whole_chain(pair, tmp_path):
    job = run(pair, pair.drawn("clean", tmp_path), POSTER_CHAIN, tmp_path)
    code = pair.finds.split()[-1]
    assert not job.held, told(job)
    assert code not in [finding.code for finding in job.findings], told(job)


def test_names_differ_and_gaps_say_which():
    assert len({pair.name for pair in PAIRS}) == len(PAIRS)
    assert all(pair.gap.startswith(("fault", "clean")) for pair in PAIRS if pair.gap)
