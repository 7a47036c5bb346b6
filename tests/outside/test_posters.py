"""Real posters by other people, through the whole chain, with every outcome explained.

The posters are in ../shared/corpus beside the clone (real files of several licences, never copied into the project);
where that folder is absent the test skips. The order asks for no bleed and no safe margin, since hardly any of them keeps
them, and for as many pages as there are: what is left to see is whether art made by many programs comes through unharmed.
What the usual order finds is in posters_review.md.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pikepdf
import pypdf
import pytest

from hotfolder.config.builtin import builtin_studio
from hotfolder.record import JobRecord
from hotfolder.work import RESULT, Order, run_order

POSTERS = Path(__file__).parents[3] / "shared" / "corpus" / "posters"
pytestmark = pytest.mark.skipif(not POSTERS.is_dir(), reason="the corpus of real posters is not beside the clone")

STUDIO = builtin_studio()

# What holds each poster when it is ordered as `poster_order` does. Everything not named here must pass.
HELD: dict[str, set[str]] = {
    "Git-Workshop__poster_sam.pdf": {"blending_changes"},  # a tinted triangle turns from pink to salmon
    "govdesign__Poster_CrossGov26.pdf": {"over_limit", "registration_colour"},  # art in all inks on its third page
    "govdesign__Poster_GOVUK_InclusiveDesign.pdf": {"over_limit"},  # a headline and drawings in 400 % of ink
    "govdesign__Poster_GoodServices.pdf": {"white_overprints"},  # a white logo over a spot ink would vanish
    # a glow turns from blue to violet; a black outline 0.6 mm from the cut
    "plakat__plakat.pdf": {"blending_changes", "narrow_stripe"},
}


def run(path: Path, out: Path, ticket: dict[str, object]) -> JobRecord:
    out.mkdir()
    route = STUDIO.routes[0]
    return run_order(
        Order(
            job="poster",
            route=route.name,
            name=path.name,
            subfolder="",
            original=path,
            ticket_files=(),
            out=out,
            arrived=dt.datetime(2026, 3, 14, 9, 0, tzinfo=dt.UTC),
            attempt=1,
            chain=route.chain,
            ticket=ticket,
            file_names=(),
            subfolders="",
            conditions=STUDIO.conditions,
            condition=STUDIO.condition,
        ),
        STUDIO.plugins.manager,
    )


def posters() -> list[Path]:
    return sorted(POSTERS.glob("*.pdf")) if POSTERS.is_dir() else []


@pytest.mark.filterwarnings("ignore:.*:pikepdf.exceptions.PageCopyWarning")
@pytest.mark.parametrize("path", posters(), ids=lambda path: path.stem)
def test_a_poster_comes_through(path: Path, tmp_path: Path) -> None:
    with pikepdf.open(path) as pdf:
        pages = len(pdf.pages)
    record = run(path, tmp_path / "out", {"bleed": "0mm", "safe_margin": "0mm", "pages": pages, "least_ppi": 1})
    assert held_codes(record) == HELD.get(path.name, set()), [finding.message for finding in record.findings]
    assert not [step for step in record.steps if step.trace]
    if not held_codes(record):
        result = pypdf.PdfReader(tmp_path / "out" / RESULT)
        assert len(result.pages) == pages
        assert result.trailer["/Root"]["/OutputIntents"][0]["/S"] == "/GTS_PDFX"


def held_codes(record: JobRecord) -> set[str]:
    return {finding.code for finding in record.findings if finding.level == "hold"}
