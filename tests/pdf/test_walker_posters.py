"""Real posters go through the walker: nothing crashes, nothing stays in screen colours untold, the look stays."""

import io
from pathlib import Path

import numpy as np
import pikepdf
import pypdfium2
import pytest

from hotfolder.colour.condition import SHIPPED
from hotfolder.colour.difference import ciede2000
from hotfolder.colour.transform import srgb_lab
from hotfolder.pdf.mappings import ToCondition, ToScreen
from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.mapping import KEEP, Mapping, Plan
from hotfolder.pdf.walk.walker import Walker, walk

CONDITION = SHIPPED["coated_europe"]
POSTERS = Path(__file__).parents[2].parent / "shared" / "corpus" / "posters"
FILES = sorted(POSTERS.glob("*.pdf"))
SCREEN = {"DeviceRGB", "CalRGB", "CalGray", "Lab", "ICCBased"}
# Posters of which something stays as it was, and why that is right.
LEFT: dict[str, set[str]] = {}

if not FILES:
    pytest.skip("the collection of real posters is not beside this clone", allow_module_level=True)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_poster(path: Path) -> None:
    with pikepdf.open(path) as original, pikepdf.open(path) as poster:
        result = walk(poster, ToCondition(CONDITION), [0])
        assert {x.what for x in result.leftovers} == LEFT.get(path.stem, set())
        saved = io.BytesIO()
        poster.save(saved)
        with pikepdf.open(saved) as converted:
            chosen = Chosen()
            walk(converted, chosen, [0])
            assert chosen.kinds & SCREEN == set()
            assert not any("RGB" in space for space in chosen.groups)
            assert walk(converted, ToScreen(CONDITION, 72), [0]).leftovers == []
            after = drawn(converted)
        walk(original, ToScreen(CONDITION, 72), [0])
        before = drawn(original)
    # The mean over the page: black text may look lighter where it went to black alone, pictures are encoded anew.
    assert ciede2000(srgb_lab(before), srgb_lab(after)).mean() < 0.5


class Chosen(Mapping):
    """Changes nothing; the kinds of all spaces that colours, pictures and gradients have, and the groups' spaces."""

    every_use = True

    def __init__(self) -> None:
        self.kinds: set[str] = set()
        self.groups: set[str] = set()

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        found: Space | None = space
        while found is not None:
            self.kinds.add(found.kind)
            found = found.base if found.kind in ("Indexed", "Pattern") else None
        return KEEP

    def group_seen(self, walker: Walker, group: pikepdf.Dictionary) -> None:
        if "/CS" in group:
            self.groups.add(walker.spaces.read(group.CS, None).label())


def drawn(pdf: pikepdf.Pdf) -> np.ndarray:
    """The first page, at most 600 pixels a side, as rows of sRGB in 0..1."""
    saved = io.BytesIO()
    pdf.save(saved)
    page = pypdfium2.PdfDocument(saved.getvalue())[0]
    scale = min(1.0, 600 / max(page.get_size()))
    return page.render(scale=scale, rev_byteorder=True).to_numpy()[:, :, :3].reshape(-1, 3) / 255
