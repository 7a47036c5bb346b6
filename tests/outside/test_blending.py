"""Transparency mixed in RGB on real posters: what is measured of it, and what Ghostscript makes of it where it is kept.

Ghostscript blends in the groups' own spaces and knows the press's profile; hotfolder itself doesn't use it.
"""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from separations import ghostscript

from hotfolder.colour.condition import SHIPPED
from hotfolder.loading import load_plugins
from hotfolder.pdf.looking.mixing import find_mixing
from hotfolder.pdf.verifying.blending import measure_blending
from hotfolder.testing import make_job, run_steps

POSTERS = Path(__file__).parents[2].parent / "shared" / "corpus" / "posters"
CONDITION = SHIPPED["coated_europe"]
STEPS = load_plugins().steps
PPI = 40
# Beside each other on a screen, the first three look alike before and after; of the others a tinted triangle turns from
# pink to salmon, and a glow from blue to violet. (Looked at, no published source.)
MEASURED = [
    ("bn-ibf__bn_poster.pdf", 0, 1),
    ("latex-beamerposter__poster.pdf", 1, 3.5),
    ("stochaskell__poster.pdf", 1, 3.5),
    ("Git-Workshop__poster_sam.pdf", 4.5, 8),
    ("plakat__plakat.pdf", 4.5, 8),
]


def poster(name: str) -> Path:
    path = POSTERS / name
    if not path.is_file():
        pytest.skip(f"{name} is not here: it may be used, not given away")
    return path


@pytest.mark.parametrize(("name", "least", "most"), MEASURED)
def test_posters_that_visibly_change_measure_above_the_limit(name: str, least: float, most: float) -> None:
    with pikepdf.open(poster(name)) as pdf:
        assert [mixing.page for mixing in find_mixing(pdf)] == [1]
    found = measure_blending(poster(name), 1, CONDITION)
    assert least <= found.worst <= most
    assert (found.worst > CONDITION.blending_limit) == (least > 4)


@pytest.mark.parametrize("name", [name for name, least, _ in MEASURED if least > 4])
def test_a_poster_kept_in_rgb_separates_as_before(tmp_path: Path, name: str) -> None:
    """The finished file on a press gives the same inks as the artwork itself, blended in RGB there as it was designed;
    converted it does not. (That is the look alone: black text is a mixture of inks in both.)"""
    if shutil.which("gs") is None:
        pytest.skip("Ghostscript is not installed")
    wanted = ghostscript(poster(name), PPI)
    apart = {}
    for rule in ("keep", "convert"):
        (tmp_path / rule).mkdir()
        job = make_job(tmp_path / rule, poster(name), condition=replace(CONDITION, blending=rule))
        run_steps(job, *(STEPS[step]() for step in ("convert_colour", "seal_pdf", "check_ink", "verify_result")))
        assert not job.held, [finding.message for finding in job.findings]
        came = ghostscript(job.artwork, PPI)
        assert set(came) == set(wanted)
        apart[rule] = max(np.quantile(abs(came[ink].astype(int) - wanted[ink])[2:-2, 2:-2], 0.999) for ink in wanted)
    assert apart["keep"] <= 4  # of 255, at all but a thousandth of the places; the page's edge aside
    assert apart["convert"] > 40


def test_the_posters_that_are_asked_are_the_ones_that_mix() -> None:
    """Of the whole collection few mix in RGB; those that mix in inks, or not at all, cost nothing."""
    if not POSTERS.is_dir():
        pytest.skip("the collection of posters is not here")
    small = [path for path in sorted(POSTERS.glob("govdesign__*.pdf")) if path.stat().st_size < 2_000_000]
    assert small
    for path in small:
        with pikepdf.open(path) as pdf:
            assert find_mixing(pdf) == [], path.name
