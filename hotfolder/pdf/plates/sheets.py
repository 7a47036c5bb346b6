"""Makes the copies of a page that its plates are drawn from: each holds up to three inks, and no other."""

from __future__ import annotations

import io
import warnings

import pikepdf
from pikepdf import Array, Dictionary, Name

from hotfolder.colour.condition import Condition
from hotfolder.pdf.mappings.to_plates import InksDisagree, ToPlates
from hotfolder.pdf.objects import copy_dictionary, inherited
from hotfolder.pdf.walk.mapping import Mapping
from hotfolder.pdf.walk.outcome import Leftover, WalkResult
from hotfolder.pdf.walk.walker import Walker


class Sheets:
    """One page several times in one file, each time for other inks: what they share is read and loaded once."""

    def __init__(self, pdf: pikepdf.Pdf, page: Dictionary) -> None:
        self._pdf, self._page = pdf, _alone(page)
        self._sheets: list[Dictionary] = []
        self.inks: list[tuple[str, ...]] = []  # of each sheet; the last may repeat
        self.left: list[Leftover] = []

    def convert(self, mapping: Mapping) -> list[Leftover]:
        """Change what all sheets start from. What it leaves, each of them meets again."""
        return self._walked(self._page, mapping)

    def add(self, inks: tuple[str, ...], condition: Condition, picture_ppi: float, *, spares: bool) -> None:
        """One to three inks together; one by one if an object overprints some of them only."""
        # Two inks are drawn as three of which the last repeats.
        channels = inks if len(inks) in (1, 3) else (*inks, inks[-1])
        sheet = _alone(self._page)
        try:
            self.left += self._walked(sheet, ToPlates(condition, channels, picture_ppi, spares=spares))
        except InksDisagree:
            for ink in inks:
                self.add((ink,), condition, picture_ppi, spares=spares)
        else:
            self.inks.append(channels)
            self._sheets.append(sheet)

    def _walked(self, page: Dictionary, mapping: Mapping) -> list[Leftover]:
        walker = Walker(self._pdf, mapping, WalkResult())
        walker.page(page, 1)
        return walker.result.leftovers

    def saved(self) -> bytes:
        """The sheets as a file, with nothing of the document that drawing doesn't need."""
        found = self._pdf.Root
        tree = self._pdf.make_indirect(Dictionary(Type=Name.Pages, Count=len(self._sheets)))
        for sheet in self._sheets:
            sheet.Parent = tree
        tree.Kids = Array([self._pdf.make_indirect(sheet) for sheet in self._sheets])
        root = Dictionary(Type=Name.Catalog, Pages=tree)
        if isinstance(layers := found.get("/OCProperties"), Dictionary):
            root.OCProperties = layers
        if isinstance(forms := found.get("/AcroForm"), Dictionary):
            root.AcroForm = copy_dictionary(forms, frozenset({"/Fields"}))  # these lead to all other pages
        self._pdf.trailer.Root = self._pdf.make_indirect(root)
        out = io.BytesIO()
        with warnings.catch_warnings(action="ignore", category=UserWarning):  # of forms that can't be filled in
            self._pdf.save(
                out,
                compress_streams=False,
                stream_decode_level=pikepdf.StreamDecodeLevel.none,
                object_stream_mode=pikepdf.ObjectStreamMode.disable,
            )
        return out.getvalue()


def _alone(page: Dictionary) -> Dictionary:
    """A copy of a page that inherits nothing, and whose annotations are its own: what they show is changed in place."""
    made = copy_dictionary(page, frozenset({"/Parent"}))
    for key in ("/MediaBox", "/CropBox", "/Rotate", "/Resources"):  # ISO 32000-1 table 30
        if (found := inherited(page, key)) is not None:
            made[key] = found
    if isinstance(annotations := page.get("/Annots"), Array):
        made.Annots = Array([copy_dictionary(one) if isinstance(one, Dictionary) else one for one in annotations])
    return made
