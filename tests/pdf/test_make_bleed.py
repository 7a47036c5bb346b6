"""Bleed made of a page's own art: the art stays to the pixel, the ring is its mirror image, in several renderers.

The outside check is numpy's flip (and Pillow's resize) of the picture of the inside; drawing is PDFium's, and poppler's
and Ghostscript's where they are installed.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from pikepdf import Array, Dictionary, Name
from PIL import Image

from hotfolder.finding import Box
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.looking.census import placements
from hotfolder.pdf.looking.inventory import take_inventory
from hotfolder.pdf.mending.make_bleed import make_bleed
from hotfolder.pdf.mending.make_bleed_plan import Method, Plan, declared_reach, patches, plan_page
from hotfolder.pdf.render import open_pages
from hotfolder.pdf.walk.copies import is_copy
from tests.pdf.pages import Page
from tests.pdf.test_wrapped import ART, OTHERS, blended, built, plain, shading, soft_mask, surplus, tiling

BLEED, PPI = 20.0, 144  # a pixel is half a point
RING = 40  # pixels

Pixels = NDArray[np.int16]


def knockout(page: Page) -> str:
    drawn = blended(page)
    page.obj.Group.K = True
    return drawn


def see_through(page: Page) -> str:
    """Art that lets the paper through, up to the edge."""
    page.put("ExtGState", "G1", Dictionary(ca=0.4, BM=Name.Multiply))
    return "/G1 gs 1 0 0 rg -50 -50 160 300 re f 0 0 1 rg -50 60 300 60 re f"


def gradient_everywhere(page: Page) -> str:
    """A gradient painted without any clip fills the page, and must not fill the copies' neighbours."""
    shading(page)
    return "/S1 sh 0 0 0 rg 0 180 50 20 re f"


def picture(page: Page) -> str:
    data = bytes((x * 3 + y * channel * 2) % 256 for y in range(100) for x in range(100) for channel in (1, 2, 3))
    entries = "/Type /XObject /Subtype /Image /Width 100 /Height 100 /ColorSpace /DeviceRGB /BitsPerComponent 8"
    page.put("XObject", "Im", page.stream(data, entries))
    return "q 200 0 0 200 0 0 cm /Im Do Q"


def written_to_the_edge(page: Page) -> str:
    return "0.8 g 0 0 200 200 re f 0 g BT /F1 60 Tf -10 -10 Td (Edge) Tj ET 3 w 0 1 0 RG 195 0 m 195 200 l S"


EVERY = [*ART, knockout, see_through, gradient_everywhere, picture, written_to_the_edge]


def planned(page: Page, bleed: float = BLEED) -> Plan:
    boxes = read_boxes(page.obj)
    plan = plan_page(1, boxes, declared_reach(boxes), bleed, 0)
    assert plan is not None
    return plan


def both(art, folder: Path, method: Method = Method.MIRROR, bleed: float = BLEED) -> tuple[Path, Path, Plan]:
    """The page as it was and with bleed, as files."""
    page = built(art)
    page.pdf.save(folder / "before.pdf")
    plan = planned(page, bleed)
    make_bleed(page.pdf, page.pdf.pages[0], plan, method)
    page.pdf.save(folder / "after.pdf")
    return folder / "before.pdf", folder / "after.pdf", plan


def drawn(path: Path, area: Box) -> Pixels:
    with open_pages(path) as pages:
        return np.asarray(pages.render(1, PPI, area).picture, np.int16)


def ring_and_mirror(full: Pixels) -> list[tuple[Pixels, Pixels]]:
    """The ring's eight parts, each with the inside it is to be the mirror image of."""
    n = RING
    middle = slice(n, -n)
    low, inside_low, high, inside_high = slice(0, n), slice(n, 2 * n), slice(-n, None), slice(-2 * n, -n)
    pairs = []
    for rows, inside_rows, flip_rows in ((low, inside_low, 1), (middle, middle, 0), (high, inside_high, 1)):
        for columns, inside_columns, flip_columns in (
            (low, inside_low, 1),
            (middle, middle, 0),
            (high, inside_high, 1),
        ):
            if flip_rows or flip_columns:
                inside = full[inside_rows, inside_columns]
                inside = np.flipud(inside) if flip_rows else inside
                pairs.append((full[rows, columns], np.fliplr(inside) if flip_columns else inside))
    return pairs


def same_but_for_edges(one: Pixels, other: Pixels) -> bool:
    """Every pixel is like one of the nine around the same place: edges of two drawings may fall on neighbours."""
    wide = np.pad(other, ((1, 1), (1, 1), (0, 0)), mode="edge")
    rows, columns = one.shape[:2]
    shifted = [abs(one - wide[y : y + rows, x : x + columns]).max(axis=2) for y in range(3) for x in range(3)]
    return float((np.minimum.reduce(shifted) > 30).mean()) < 0.01


@pytest.mark.parametrize(
    ("art", "method"),
    [(art, Method.MIRROR) for art in EVERY] + [(see_through, Method.STRETCH), (see_through, Method.EXTEND)],
    ids=lambda case: case.__name__ if callable(case) else case,
)
def test_the_art_stays_to_the_pixel(art, method, tmp_path):
    before, after, plan = both(art, tmp_path, method)
    was, came = drawn(before, plan.art), drawn(after, plan.art)
    assert was.std() > 5  # something is there to see
    assert abs(was - came).max() <= 1


@pytest.mark.parametrize("art", EVERY, ids=lambda art: art.__name__)
def test_the_ring_is_the_mirror_of_the_inside(art, tmp_path):
    _, after, plan = both(art, tmp_path)
    full = drawn(after, plan.wanted)
    if art.__name__ == "cropped":  # here the page's own art stands in the ring, and is not covered
        was = drawn(tmp_path / "before.pdf", plan.wanted)
        painted = (was < 250).any(axis=2)
        assert painted[:RING].any()
        assert abs(full - was)[painted].mean() < 1
        return
    for ring, mirror in ring_and_mirror(full):
        assert same_but_for_edges(ring, mirror)


@pytest.mark.parametrize(
    "art", [picture, written_to_the_edge, plain, gradient_everywhere], ids=lambda art: art.__name__
)
def test_stretched_art_is_the_art_enlarged(art, tmp_path):
    before, after, plan = both(art, tmp_path, Method.STRETCH)
    was, full = drawn(before, plan.art), drawn(after, plan.wanted)
    size = full.shape[1], full.shape[0]
    large = np.asarray(Image.fromarray(was.astype(np.uint8)).resize(size, Image.Resampling.BILINEAR), np.int16)
    full[RING:-RING, RING:-RING] = large[RING:-RING, RING:-RING] = 0
    assert same_but_for_edges(full, large)


@pytest.mark.parametrize("art", [picture, gradient_everywhere], ids=lambda art: art.__name__)
def test_extended_art_repeats_its_outermost_line(art, tmp_path):
    _, after, plan = both(art, tmp_path, Method.EXTEND, 6)
    full, n = drawn(after, plan.wanted), 12
    for ring, line in (
        (full[n:-n, :n], full[n:-n, n : n + 1]),
        (full[n:-n, -n:], full[n:-n, -n - 1 : -n]),
        (full[:n, n:-n], full[n : n + 1, n:-n]),
        (full[-n:, n:-n], full[-n - 1 : -n, n:-n]),
        (full[:n, :n], full[n : n + 1, n : n + 1]),
    ):
        assert same_but_for_edges(ring, np.broadcast_to(line, ring.shape))


@pytest.mark.parametrize("tool", OTHERS)
@pytest.mark.parametrize(
    "art", [tiling, shading, soft_mask, blended, see_through, picture], ids=lambda art: art.__name__
)
def test_other_renderers_agree(art, tool, tmp_path):
    """poppler and Ghostscript, in the versions installed. poppler sets tiles on whole pixels."""
    if shutil.which(tool) is None:
        pytest.skip(f"{tool} is not installed")
    before, after, _ = both(art, tmp_path)
    was, full = (np.asarray(OTHERS[tool](path, PPI).convert("RGB"), np.int16) for path in (before, after))
    inside = full[RING:-RING, RING:-RING]
    assert abs(was - inside)[2:-2, 2:-2].mean() < (4 if art is tiling else 0.5)
    for ring, mirror in ring_and_mirror(full):
        assert abs(ring - mirror).mean() < (20 if art is tiling else 4)


def test_copies_of_a_pattern_that_stayed_in_place_would_be_seen():
    """The comparison sees a ring that is not mirrored."""
    striped = np.zeros((200, 200, 3), np.int16)
    striped[:, ::7] = 255
    striped[::5] = 128
    assert not all(same_but_for_edges(ring, mirror) for ring, mirror in ring_and_mirror(striped))


# ---- geometry

MIRRORED_LEFT = (-1.0, 0.0, 0.0, 1.0, 20.0, 0.0)


def test_only_sides_that_lack_art_are_drawn():
    art = Box(10, 10, 110, 210)
    found = patches(art, Box(1, 10, 110, 210), Method.MIRROR)
    assert [(patch.place, patch.matrix) for patch in found] == [(Box(1, 10, 10, 210), MIRRORED_LEFT)]
    assert len(patches(art, Box(1, 10, 110, 219), Method.MIRROR)) == 3  # with the corner between them
    assert len(patches(art, art.grown(9), Method.MIRROR)) == 8
    assert patches(art, art, Method.MIRROR) == []


@pytest.mark.parametrize("method", Method)
def test_the_parts_of_the_ring_do_not_overlap(method):
    art, wanted = Box(-7, 3, 90, 200), Box(-16, 1, 99, 200)
    parts = [patch.place for patch in patches(art, wanted, method)]
    area = sum(part.width * part.height for part in parts)
    assert area == pytest.approx(wanted.width * wanted.height - art.width * art.height)
    assert all(one is other or one.common(other) is None for one in parts for other in parts)


# box keys of a 200 x 200 page, bleed -> the sides lacking (0 left, 1 bottom, 2 right, 3 top), the ring's outer edge
TABLE = {
    "no boxes": ({}, 9, (0, 1, 2, 3), (-9, -9, 209, 209)),
    "trim inside": ({"/TrimBox": [20, 20, 180, 180]}, 9, (), None),
    "little bleed": ({"/TrimBox": [5, 5, 195, 195]}, 9, (0, 1, 2, 3), (-4, -4, 204, 204)),
    "one side": ({"/TrimBox": [0, 9, 191, 191]}, 9, (0,), (-9, 0, 200, 200)),
    "bleed box too small": (
        {"/TrimBox": [20, 20, 180, 180], "/BleedBox": [18, 11, 189, 189]}, 9, (0,), (11, 11, 189, 189)
    ),
    "bleed box inside the trim": (
        {"/TrimBox": [20, 20, 180, 180], "/BleedBox": [30, 30, 170, 170]}, 9, (0, 1, 2, 3), (11, 11, 189, 189)
    ),
    "negative": ({"/MediaBox": [-300, -200, -100, 0]}, 9, (0, 1, 2, 3), (-309, -209, -91, 9)),
    "corners turned round": ({"/MediaBox": [200, 200, 0, 0]}, 9, (0, 1, 2, 3), (-9, -9, 209, 209)),
    "unit of two points": ({"/UserUnit": 2}, 9, (0, 1, 2, 3), (-4.5, -4.5, 204.5, 204.5)),
    "crop inside the media box": ({"/CropBox": [10, 10, 190, 190]}, 9, (0, 1, 2, 3), (1, 1, 199, 199)),
}  # fmt: skip


@pytest.mark.parametrize("name", TABLE)
def test_which_sides_lack_how_much(name):
    keys, bleed, lacking, wanted = TABLE[name]
    page = Page()
    for key, value in keys.items():
        page.obj[key] = Array(value) if isinstance(value, list) else value
    boxes = read_boxes(page.obj)
    plan = plan_page(1, boxes, declared_reach(boxes), bleed, 0.01)
    assert (plan.lacking if plan else ()) == lacking
    if plan:
        assert plan.wanted == pytest.approx(wanted)
        trim = boxes.trim
        make_bleed(page.pdf, page.pdf.pages[0], plan, Method.MIRROR)
        came = read_boxes(page.obj)
        assert came.trim == pytest.approx(trim)
        assert plan.wanted.within(came.bleed, 1e-3)
        assert came.bleed.within(came.crop, 1e-3)
        assert came.crop.within(came.media, 1e-3)
        assert plan_page(1, came, declared_reach(came), bleed, 0.01) is None


@pytest.mark.parametrize(
    ("keys", "bleed", "words"),
    [
        ({"/TrimBox": [-5, 0, 200, 200]}, 9, "outside its own edge"),
        ({"/MediaBox": [0, 0, 14395, 200]}, 9, "larger than a page"),
        ({}, 101, "wider than half"),
    ],
)
def test_what_cannot_be_done_is_said(keys, bleed, words):
    page = Page()
    for key, value in keys.items():
        page.obj[key] = Array(value)
    with pytest.raises(ValueError, match=words):
        planned(page, bleed)


# ---- the file


def test_the_drawing_stays_byte_for_byte_and_stands_there_once():
    page = built(plain)
    content, resources = page.obj.Contents.read_bytes(), page.obj.Resources
    make_bleed(page.pdf, page.pdf.pages[0], planned(page), Method.MIRROR)
    form = page.obj.Resources.XObject.Artwork
    assert form.read_bytes() == content
    assert list(form.Resources.keys()) == list(resources.keys())
    assert "/Group" not in form
    assert page.obj.Contents.read_bytes().count(b"/ArtworkAgain Do") == 8
    assert page.obj.Contents.read_bytes().count(b"/Artwork Do") == 1
    assert page.obj.Contents.read_bytes().endswith(b"EMC\n/Artwork Do\n")  # the art itself last: nothing covers it


def test_who_looks_for_what_a_page_holds_finds_it_once():
    """`extend` scales a picture six times across; nobody shall measure the resolution of that."""

    def art(page: Page) -> str:
        return picture(page) + " " + plain(page)

    page = built(art)
    before, placed = take_inventory(page.pdf, 1), placements(page.pdf.pages[0])
    make_bleed(page.pdf, page.pdf.pages[0], planned(page), Method.EXTEND)
    assert [(one.kind, one.box, one.words) for one in take_inventory(page.pdf, 1).objects] == [
        (one.kind, one.box, one.words) for one in before.objects
    ]
    assert [one.box for one in placements(page.pdf.pages[0])] == [one.box for one in placed]


def test_a_form_that_draws_more_is_no_copy():
    page = built(plain)
    make_bleed(page.pdf, page.pdf.pages[0], planned(page), Method.MIRROR)
    resources = page.obj.Resources
    assert is_copy(resources.XObject.ArtworkAgain, resources)
    assert not is_copy(resources.XObject.Artwork, resources)
    resources.XObject.ArtworkAgain.write(b"/Artwork Do 0 0 9 9 re f")
    assert not is_copy(resources.XObject.ArtworkAgain, resources)


def test_a_surplus_restore_reaches_none_of_the_copies():
    page = built(surplus)
    make_bleed(page.pdf, page.pdf.pages[0], planned(page), Method.MIRROR)
    data = page.obj.Resources.XObject.Artwork.read_bytes()
    assert data.count(b"q") == data.count(b"Q")


def test_the_page_keeps_its_group_and_annotations():
    page = built(blended)
    note = Dictionary(Type=Name.Annot, Subtype=Name.Square, Rect=Array([10, 10, 30, 30]))
    page.obj.Annots = Array([page.pdf.make_indirect(note)])
    make_bleed(page.pdf, page.pdf.pages[0], planned(page), Method.MIRROR)
    assert str(page.obj.Group.CS) == "/DeviceRGB"
    assert len(page.obj.Annots) == 1


def test_pages_that_share_what_they_draw_keep_theirs():
    page = built(tiling)
    page.pdf.pages.append(page.pdf.pages[0])
    first, second = page.pdf.pages
    content = second.obj.Contents.read_bytes()
    make_bleed(page.pdf, first, planned(page), Method.MIRROR)
    assert second.obj.Contents.read_bytes() == content
    assert read_boxes(second).media == Box(0, 0, 200, 200)


def test_what_was_hidden_outside_the_page_stays_hidden(tmp_path):
    """A note on the pasteboard is no bleed, and nothing that was never shown may come to light in the ring."""

    def with_pasteboard(page: Page) -> str:
        return "0 0 1 rg 0 0 200 200 re f 1 0 0 rg -15 80 10 40 re f"

    _, after, plan = both(with_pasteboard, tmp_path)
    assert (drawn(after, plan.wanted)[..., 0] < 10).all()


def test_art_in_the_ring_is_never_covered_and_white_is(tmp_path):
    page = built(lambda page: "0 0 1 rg 50 50 100 100 re f 1 0 0 rg 40 90 10 20 re f")
    page.obj.TrimBox = page.obj.BleedBox = Array([50, 50, 150, 150])
    plan = planned(page)
    left = Box(30, 50, 50, 150)
    make_bleed(page.pdf, page.pdf.pages[0], plan, Method.MIRROR)
    page.pdf.save(tmp_path / "after.pdf")
    assert drawn(tmp_path / "after.pdf", Box(41, 91, 49, 109))[..., 0].min() > 250  # the red that stood there
    assert drawn(tmp_path / "after.pdf", Box(31, 52, 39, 148))[..., 2].min() > 250  # blue around it
    assert left in [patch.place for patch in patches(plan.art, plan.wanted, Method.MIRROR)]
