"""Finds what on a page is see-through or mixes with what lies below, for printers whose machines can't take it.

ISO 15930-4 (PDF/X-1a) and ISO 15930-6 (PDF/X-3) forbid it: soft masks, alpha other than 1, blend modes other than Normal,
transparency groups (from memory of the text).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pikepdf import Dictionary, Pdf

from hotfolder.finding import Box
from hotfolder.pdf.looking.inventory import Inventory, Kind, Painted
from hotfolder.pdf.objects import entry, name, whole
from hotfolder.pdf.walk.mapping import Mapping
from hotfolder.pdf.walk.walker import Walker, walk


@dataclass
class SeeThrough:
    """By kind, in words: where first. `groups`: how many transparency groups the page draws in."""

    kinds: dict[str, Box | None] = field(default_factory=dict)
    groups: int = 0


def find_transparency(pdf: Pdf, page: int, found: Inventory) -> SeeThrough:
    """Everything transparent that a page (from 1) really draws; what is named and not used doesn't count."""
    result = SeeThrough()
    for item in found.objects:
        if item.seen:
            for kind in _kinds(pdf, item):
                result.kinds.setdefault(kind, item.box)
    counter = _Groups()
    walk(pdf, counter, [page - 1])
    result.groups = counter.count
    return result


def _kinds(pdf: Pdf, item: Painted) -> list[str]:
    kinds = []
    if item.alpha < 1:
        kinds.append("see-through parts")
    if item.blend not in ("", "Normal", "Compatible"):
        kinds.append("parts that mix with what lies below")
    if item.masked or (item.kind is Kind.PICTURE and item.key is not None and _has_soft_mask(pdf, item.key)):
        kinds.append("soft edges")
    return kinds


def _has_soft_mask(pdf: Pdf, key: tuple[int, int]) -> bool:
    picture = pdf.get_object(key)
    return entry(picture, "/SMask") is not None or whole(entry(picture, "/SMaskInData"), 0) > 0


class _Groups(Mapping):
    """Changes nothing; counts transparency groups."""

    lasting = False

    def __init__(self) -> None:
        self.count = 0

    def group_seen(self, walker: Walker, group: Dictionary) -> None:
        self.count += name(entry(group, "/S")) == "Transparency"
