"""Takes the layers out of a whole file: out of its drawing instructions, pictures, comments and its list of layers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pikepdf import Array, Dictionary, Object, Pdf, Stream

from hotfolder.pdf.looking.document import every_dictionary
from hotfolder.pdf.looking.layers import Layer, PrintedLayers
from hotfolder.pdf.mappings.merge_layers import MergeLayers
from hotfolder.pdf.objects import entry, name
from hotfolder.pdf.walk.walker import walk

#: What a walk could not go through, so that parts of layers may still be in it.
_UNSEEN = frozenset(("the page", "the page's content", "a form", "drawing instructions"))


@dataclass
class Merged:
    """The layers of which something went, and what stayed uncertain, in words: then the open PDF is of no use."""

    gone: list[Layer]
    doubts: list[str]


def merge(pdf: Pdf, layers: Sequence[Layer]) -> Merged:
    """Merge the layers of the open PDF as they print."""
    mapping = MergeLayers(PrintedLayers(pdf), hides=_hides(pdf, layers))
    result = walk(pdf, mapping)
    _drop_membership(pdf, mapping)
    doubts = mapping.unclear + [left.why for left in result.leftovers if left.what in _UNSEEN]
    return Merged([layer for layer in layers if layer.key in mapping.gone], doubts)


def _hides(pdf: Pdf, layers: Sequence[Layer]) -> bool:
    """Whether anything in the file may not print because of a layer."""
    if not all(layer.in_print for layer in layers):
        return True
    # A rule can hide something although every layer prints: "not this one".
    members = (item for item in every_dictionary(pdf) if name(entry(item, "/Type")) == "OCMD")
    return any("/VE" in item or name(entry(item, "/P")) in ("AnyOff", "AllOff") for item in members)


def _drop_membership(pdf: Pdf, mapping: MergeLayers) -> None:
    """Out of pictures, forms, comments and the file itself. A comment that doesn't print goes as a whole."""
    for page in pdf.pages:
        found = page.obj.get("/Annots")
        if isinstance(found, Array):
            kept = [item for item in found if mapping.shows(entry(item, "/OC"))]
            if len(kept) < len(found):
                page.obj.Annots = Array(kept)
            for item in kept:
                _free(item)
    for item in pdf.objects:
        if isinstance(item, Stream) and name(entry(item, "/Subtype")) in ("Form", "Image"):
            _free(item)
    del pdf.Root.OCProperties


def _free(item: Object) -> None:
    if isinstance(item, (Dictionary, Stream)) and "/OC" in item:
        del item["/OC"]
