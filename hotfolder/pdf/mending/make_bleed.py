"""Draws bleed where a page has none: its own art once more, mirrored or stretched, in the ring around the art alone.

Nothing is flattened. All that the page draws becomes one form XObject, byte for byte; it is drawn where it stood, and
through a matrix and a clip for each part of the ring. The form has no transparency group of its own, so every object in
it blends with the page as before (ISO 32000-1 11.4.1, 11.6.6); a pattern lies in the space of the form that names it, so
it stays under the original and is mirrored in the copies (8.7.2). The copies can be told from the art (`walk/copies.py`):
who looks for what a page holds finds each picture and letter once.
"""

from __future__ import annotations

import pikepdf
from pikepdf import Dictionary, Page, Stream

from hotfolder.finding import Box
from hotfolder.pdf.boxes import SLACK, set_box
from hotfolder.pdf.mending.make_bleed_plan import Method, Patch, Plan, around, patches
from hotfolder.pdf.mending.wrapped import page_as_form
from hotfolder.pdf.objects import dictionary, inherited
from hotfolder.pdf.walk.copies import ART, copy_of

_COPY = "/ArtworkAgain"
_DEFAULTS = ("/DefaultGray", "/DefaultRGB", "/DefaultCMYK")
_DIGITS = 9  # a factor moves the far end of a large page by thousands of times its own rounding


def make_bleed(pdf: pikepdf.Pdf, page: Page, plan: Plan, method: Method, over: frozenset[Box] = frozenset()) -> None:
    """Continue the art of a page beyond its edge, as the plan says, and let the page's boxes reach as far.

    `over`: parts of the ring in which the page draws nothing but white; there the copies lie over it, elsewhere under
    it. What the page drew outside its media box stays hidden, except where the plan says that it is to be shown.

    The trim box stays, and so does everything inside the plan's art. Annotations are not continued. Structure for
    reading aloud no longer finds its text on the page. ValueError with one sentence, and the page as it was, where its
    content can't be read.
    """
    ring = patches(plan.art, plan.wanted, method)
    if ring or not around(plan.boxes.media, plan.wanted).within(plan.shown, SLACK):
        _draw_ring(pdf, page, plan, _drawing(ring, over))
    _grow_boxes(page, plan)


def _drawing(ring: list[Patch], over: frozenset[Box]) -> bytes:
    """What the page draws now: copies below, the art as it was, copies above."""
    below = [_copy(patch) for patch in ring if patch.place not in over]
    above = [_copy(patch) for patch in ring if patch.place in over]
    return b"%b%b Do\n%b" % (b"".join(below), ART.encode(), b"".join(above))


def _draw_ring(pdf: pikepdf.Pdf, page: Page, plan: Plan, drawing: bytes) -> None:
    art = pdf.make_indirect(page_as_form(pdf, page, plan.shown))
    resources = Dictionary(XObject=Dictionary({ART: art, _COPY: copy_of(pdf, art)}))
    spaces = dictionary(dictionary(inherited(page.obj, "/Resources")).get("/ColorSpace"))
    if kept := [key for key in _DEFAULTS if key in spaces]:  # the page's blending space may lean on them (11.6.6)
        resources.ColorSpace = Dictionary({key: spaces[key] for key in kept})
    page.obj.Contents = pdf.make_indirect(Stream(pdf, drawing))
    page.obj.Resources = resources
    if "/StructParents" in page.obj:
        del page.obj.StructParents


def _copy(patch: Patch) -> bytes:
    """The art through the patch's matrix, cut to its place; marked as no part of what is to be read (14.8.2.2)."""
    left, bottom, right, top = patch.place
    clip, matrix = _n(left, bottom, right - left, top - bottom), _n(*patch.matrix)
    return f"/Artifact BMC q {clip} re W n {matrix} cm {_COPY} Do Q EMC\n".encode("ascii")


def _grow_boxes(page: Page, plan: Plan) -> None:
    boxes, wanted = plan.boxes, plan.wanted
    bleed = around(boxes.bleed, wanted) if "BleedBox" in boxes.declared else wanted
    set_box(page, "TrimBox", boxes.trim)  # left out, it would be what the page shows, which is more now
    set_box(page, "BleedBox", bleed)
    set_box(page, "MediaBox", around(boxes.media, bleed))
    if "CropBox" in boxes.declared:
        set_box(page, "CropBox", around(boxes.crop, bleed))


def _n(*values: float) -> str:
    return " ".join(f"{value + 0.0:.{_DIGITS}f}".rstrip("0").rstrip(".") for value in values)
