"""Cuts a poster that is larger than the press into tiles that overlap, each a page with its marks and its position."""

from __future__ import annotations

import pikepdf

from hotfolder.finding import Box
from hotfolder.moved import LaidSheet, Placed
from hotfolder.pdf.boxes import PageBoxes, read_boxes
from hotfolder.pdf.finishing.imposed import Tile, plan_tiles, tile_marks
from hotfolder.pdf.finishing.new_sheet import art_form, make_sheet, seen_bleeds, upright, views
from hotfolder.pdf.finishing.sheet import Marks, lay_out, with_bleed
from hotfolder.pdf.finishing.slug import fit_line
from hotfolder.plugin import (
    MM,
    Hold,
    Job,
    Length,
    Part,
    Register,
    Settings,
    SheetSize,
    Step,
    hookimpl,
    setting,
    show_length,
    show_size,
)  # fmt: skip

_MOST_VIEWS = 12  # tiles that the report shows


class CutTilesSettings(Settings):
    largest: SheetSize | None = setting(
        None, "The largest sheet that the press takes, marks included, either way round; left out: any"
    )
    overlap: Length = setting(
        20 * MM,
        "How much of the picture neighbouring tiles share, to glue them on each other",
        unit="mm",
        ge=0,
        le=500 * MM,
    )
    registration_targets: bool = setting(True, "A cross in a ring on each side, printed in every ink, to align plates")
    length: Length = setting(5 * MM, "How long the cut marks are", unit="mm", ge=MM, le=50 * MM)
    weight: Length = setting(0.25, "How thick the lines are", unit="pt", ge=0.1, le=2)


class CutTiles(Step):
    """Show each part of a poster on a sheet of its own where the whole is too large for the press.

    It scales nothing and cuts nothing off: the tiles together show all of the poster and its bleed. The art is in the
    file once. Where the poster fits in one piece, it does nothing.
    """

    name = "cut_tiles"
    reads = frozenset({Part.BOXES})
    changes = frozenset({Part.BOXES, Part.CONTENT})
    Settings = CutTilesSettings
    settings: CutTilesSettings

    def run(self, job: Job) -> None:
        plans = self._plans(job) if self.settings.largest is not None else []
        if not any(plans):
            job.tell("Nothing to cut into tiles.")
            return
        sheets: list[LaidSheet] = []
        before = views(job.artwork, [("Before", 1)])
        with job.edit() as pdf:
            pages = list(pdf.pages)
            for number, (page, tiles) in enumerate(zip(pages, plans, strict=True), start=1):
                try:
                    sheets += self._cut(job, pdf, page, number, tiles)
                except ValueError as fault:
                    raise _not_cut(number, fault) from fault
            del pdf.pages[: len(pages)]
        job.lay_out(sheets)
        names = [name for tiles in plans for name in ([tile.name for tile in tiles] or ["A1"])][:_MOST_VIEWS]
        job.show(
            "cut_into_tiles", *before, *views(job.artwork, [(f"Tile {name}", at) for at, name in enumerate(names, 1)])
        )

    def _plans(self, job: Job) -> list[list[Tile]]:
        """The tiles of each page. A page that would fit is one tile among others that do not."""
        largest = self.settings.largest
        assert largest is not None
        plans = []
        with job.read() as pdf:
            for number, page in enumerate(pdf.pages, start=1):
                try:
                    boxes = with_bleed(read_boxes(page), job.ticket.bleed)
                    size, bleeds = boxes.seen_size(boxes.trim), seen_bleeds(boxes)
                    edge = lay_out(_plain(Box(0, 0, *size), Box(0, 0, *size).grown(max(bleeds))), self._marks()).edge
                    more = edge.width - size[0], edge.height - size[1]
                    room = largest.width - max(more), largest.height - max(more)
                    plans.append(plan_tiles(size, bleeds, room, self.settings.overlap, max(bleeds)))
                except ValueError as fault:
                    raise _not_cut(number, fault) from fault
        return plans

    def _marks(self) -> Marks:
        return Marks(
            registration_targets=self.settings.registration_targets,
            colour_bars=False,
            gray_ramp=False,
            slug_line=True,
            length=self.settings.length,
            weight=self.settings.weight,
        )

    def _cut(self, job: Job, pdf: pikepdf.Pdf, page: pikepdf.Page, number: int, tiles: list[Tile]) -> list[LaidSheet]:
        boxes = with_bleed(read_boxes(page), job.ticket.bleed)
        form, way, marks = art_form(pdf, page, boxes), upright(boxes), self._marks()
        whole = Box(0, 0, *way.trim)
        tiles = tiles or [Tile("A1", whole, way.now(boxes.bleed), ())]  # fits, but other pages of the job do not
        last = tiles[-1].name
        count = f"{len({tile.trim.left for tile in tiles})}x{len({tile.trim.bottom for tile in tiles})}"
        laid = []
        for tile in tiles:
            sheet = tile_marks(lay_out(_plain(tile.trim, tile.shown), marks), tile, marks)
            joins = ", ".join(side for side, _ in tile.joins)
            said = f"tile {tile.name} of {count} - {job.words()['name']}" + (f" - page {number}" if number > 1 else "")
            said += f" - short marks: overlap of {show_length(self.settings.overlap)} {joins}" if joins else ""
            slug = fit_line(said, sheet.slug[2]) if sheet.slug else None
            placed = [Placed(number, way, tile.shown)]
            laid.append(make_sheet(pdf, page, form, placed, tile.trim, tile.shown, sheet, marks, slug))
        if len(tiles) > 1:
            job.mended(
                "cut_into_tiles",
                f"Page {number} is larger than the press takes. It was cut into {len(tiles)} tiles of "
                f"{show_size(tiles[0].trim.width, tiles[0].trim.height)}, from A1 at the top left to {last} at the bottom "
                f"right, that share {show_length(self.settings.overlap)} with their neighbours. Each "
                "is a page; together they show the whole poster.",
            )
        return laid


def _plain(trim: Box, bleed: Box) -> PageBoxes:
    return PageBoxes(bleed, bleed, bleed, trim, trim, frozenset({"MediaBox", "BleedBox", "TrimBox"}))


def _not_cut(number: int, fault: ValueError) -> Hold:
    return Hold(
        "not_cut",
        f"Page {number} could not be cut into tiles. {fault}",
        page=number,
        mend="Export the page again, or ask for larger tiles or less overlap.",
    )


@hookimpl
def register_steps(register: Register) -> None:
    register(CutTiles)
