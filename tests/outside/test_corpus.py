"""Real PDFs: what comes looks as LittleCMS foresees, drawn by Ghostscript, or the job is held. A sample of the corpus.

All of it, in about an hour: .venv/bin/python tests/outside/corpus.py ../shared/corpus RESULTS.tsv
"""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from corpus import CONDITION, MEAN, WORST, compare, examine, third_case

from hotfolder.pdf.mappings import ToCondition
from hotfolder.pdf.values.spaces import Floats, Space
from hotfolder.pdf.walk.walker import walk

CORPUS = Path(__file__).parents[3] / "shared" / "corpus"
POSTERS, STRESS = (sorted((CORPUS / kind).glob("*.pdf")) for kind in ("posters", "stress"))
SAMPLE = [*POSTERS[::4], *STRESS[::45]]

pytestmark = [
    pytest.mark.skipif(shutil.which("gs") is None, reason="Ghostscript is not installed (Debian: ghostscript)"),
    pytest.mark.filterwarnings("ignore::pikepdf.exceptions.PageCopyWarning"),
]
if not SAMPLE:
    pytest.skip("the corpus of real files is not beside the clone", allow_module_level=True)


@pytest.mark.parametrize("path", SAMPLE, ids=lambda path: path.stem)
def test_a_real_file_looks_as_foreseen_or_is_held(path: Path, tmp_path: Path) -> None:
    found = examine(path, tmp_path)
    assert third_case(found) == "", found


class WithoutProfiles(ToCondition):
    """Cyan is what red lacks: the conversion of a program that knows no profiles."""

    def colours(self, space: Space, values: Floats, smooth: bool) -> Floats:
        if space.kind != "DeviceRGB":
            return super().colours(space, values, smooth)
        return np.concatenate([1 - np.asarray(values), np.zeros((len(values), 1))], axis=1)


def test_a_conversion_without_profiles_would_be_seen(tmp_path: Path) -> None:
    path = next((path for path in POSTERS if path.stem.startswith("plakat")), POSTERS[-1])
    with pikepdf.open(path) as pdf:
        walk(pdf, WithoutProfiles(CONDITION))
        pdf.save(tmp_path / "wrong.pdf")
    came = compare(path, tmp_path / "wrong.pdf", tmp_path)
    assert isinstance(came, list)
    assert came[0] > MEAN
    assert came[1] > WORST
