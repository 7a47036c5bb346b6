"""Lists everything a page paints, in order: each text, line, area and picture with its place, size and colour."""

from __future__ import annotations

from pikepdf import Pdf

from hotfolder.pdf.looking.inventory_watch import MOST_OBJECTS, InventoryWatch
from hotfolder.pdf.looking.painted import Inventory, Kind, Painted
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.walker import Walker

__all__ = ["MOST_OBJECTS", "Inventory", "Kind", "Painted", "take_inventory"]


def take_inventory(pdf: Pdf, page: int, unit: float = 1.0) -> Inventory:
    """Everything a page (from 1) paints. `unit`: points to one unit of the page's space.

    Changes nothing, and never raises for what is in the file: what can't be followed is passed over. Steps share it by
    `job.inventory(pdf, page, boxes.user_unit)`.
    """
    found = pdf.pages[page - 1].obj
    watch = InventoryWatch(pdf, found, unit)
    Walker(pdf, watch, WalkResult()).page(found, page)
    return watch.found
