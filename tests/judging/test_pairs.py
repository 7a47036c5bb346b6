"""Every planted fault is found, and nothing else; its clean twin goes through the whole chain without a hold."""

from __future__ import annotations

import functools
from pathlib import Path

import pytest
from papers import WHITE, Fpdf
from poster import RED, SKY, TICKET, Pair, jpeg, logo
from table import PAIRS
from table_codes import code39, qr

from hotfolder.config.builtin import POSTER_CHAIN
from hotfolder.finding import Level
from hotfolder.job import Job, file_digest
from hotfolder.loading import load_plugins
from hotfolder.testing import make_job, run_steps

JUDGED: dict[tuple[str, str, str], Job] = {}  # clean twins that were judged already
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


def judged_clean(pair: Pair, folder: Path) -> Job:
    """The clean twin after the whole chain; many pairs share one."""
    artwork = pair.drawn("clean", folder)
    known = (file_digest(artwork), str(pair.ticket), str(pair.settings))
    if known not in JUDGED:
        JUDGED[known] = run(pair, artwork, POSTER_CHAIN, folder)
    return JUDGED[known]


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
    job = judged_clean(pair, tmp_path)
    code = pair.finds.split()[-1]
    assert not job.held, told(job)
    assert code not in [finding.code for finding in job.findings], told(job)


def festival(paper) -> None:
    """A whole poster with all that the pairs plant, done right: the sum must not be suspicious either."""
    paper.picture(jpeg(1600, 820), -paper.bleed, 150, paper.wide + paper.bleed, 254 + paper.bleed)
    paper.fill(-paper.bleed, -paper.bleed, paper.wide + paper.bleed, 150, SKY)
    paper.fill(-paper.bleed, -paper.bleed, paper.wide + paper.bleed, 26, RED)
    paper.words("HARBOUR", 22, 175, 80, WHITE)
    paper.words("LIGHTS", 22, 120, 80, (1, 0.8, 0, 0.3))
    for row, act in enumerate(("The Slow Ferry", "Kites over Pier Four", "Tin Whistle Choir")):
        paper.words(f"{20 + row} h  {act}", 22, 95 - 12 * row, 20)
        paper.line(22, 91 - 12 * row, 120, 91 - 12 * row, 0.75)
    logo(160, 80, (0, 0.3, 0.9, 0))(paper)
    paper.words("Free entry, bring a lamp", 22, 14, 14, WHITE)
    paper.fill(125, 35, 185, 70, WHITE)
    code39(1.2, 133, 60)(paper) if isinstance(paper, Fpdf) else qr(22, x=144, y=41)(paper)


@pytest.mark.parametrize("by", ["reportlab", "fpdf2"])
def test_a_whole_poster_done_right_passes(by, tmp_path):
    art = Pair("festival", "", festival, festival, "", by=by, on=lambda paper: None)
    job = run(art, art.drawn("clean", tmp_path), POSTER_CHAIN, tmp_path)
    assert {finding.code for finding in job.findings} == {"colour_converted", "code_read"}, told(job)


def test_names_differ_and_gaps_say_which():
    assert len({pair.name for pair in PAIRS}) == len(PAIRS)
    assert all(pair.gap.startswith(("fault", "clean")) for pair in PAIRS if pair.gap)
