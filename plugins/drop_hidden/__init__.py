"""Takes out what can never print and only adds weight: art outside of the sheet, cut off whole, or without opacity."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pikepdf import Pdf

from hotfolder.gathered import listed
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.mappings.drop_hidden import Dropped, drop_hidden
from hotfolder.plugin import MM, Box, Job, Length, Part, Register, Settings, Step, hookimpl, setting, show_length

from .views import outlined

_PLURALS = {
    "picture": "pictures",
    "drawing": "drawings",
    "gradient": "gradients",
    "area or line": "areas and lines",
    "text": "pieces of text",
}


class DropHiddenSettings(Settings):
    beyond: Length = setting(
        10 * MM,
        "What lies no further than this outside of the sheet stays, because bleed may be won from it",
        unit="length",
        ge=0,
    )
    invisible_text: bool = setting(
        True, "Whether text that is invisible by its own setting goes too, as scanning programs lay it under pictures"
    )


class DropHidden(Step):
    """Drop pictures, drawings, areas, lines and text that can't print where they stand.

    Only what is certain: outside of the sheet by more than `beyond`, cut off whole, or without any opacity. What prints
    stays as it was, byte for byte. It doesn't look whether something lies hidden behind other art.
    """

    name = "drop_hidden"
    reads = frozenset({Part.BOXES, Part.CONTENT, Part.PICTURES})
    changes = frozenset({Part.CONTENT, Part.PICTURES})
    Settings = DropHiddenSettings
    settings: DropHiddenSettings

    def run(self, job: Job) -> None:
        before = job.artwork.stat().st_size
        with job.edit() as pdf:
            dropped = drop_hidden(pdf, self._areas(pdf), invisible_text=self.settings.invisible_text)
            if not dropped:
                job.unchanged()
        if not dropped:
            job.tell("Nothing was found that can't print.")
            return
        self._report(job, dropped, before, job.artwork.stat().st_size)

    def _areas(self, pdf: Pdf) -> dict[int, Box]:
        areas = {}
        for number, page in enumerate(pdf.pages, 1):
            try:
                boxes = read_boxes(page)
            except ValueError:  # check_geometry tells
                continue
            areas[number] = boxes.media.grown(self.settings.beyond / boxes.user_unit)
        return areas

    def _report(self, job: Job, dropped: Sequence[Dropped], before: int, after: int) -> None:
        counts = Counter(item.what for item in dropped)
        what = listed([f"{count} {_PLURALS[kind] if count > 1 else _one(kind)}" for kind, count in counts.items()])
        page = next((item for item in dropped if item.box is not None), dropped[0]).page
        it = "They lay" if len(dropped) > 1 else "It lay"
        were = "were" if len(dropped) > 1 else "was"
        job.mended(
            "hidden_dropped",
            f"Taken out because it can't print: {what}. {it} more than {show_length(self.settings.beyond)} outside of "
            f"the sheet, {were} cut off whole, or {were} invisible. What prints is as it was.",
            measured=f"the file had {_size(before)}, now {_size(after)}" if after < before else None,
            page=page,
        )
        picture = outlined(job.artwork, page, dropped)
        if picture is not None:
            job.show(
                "hidden_dropped", ("The sheet as it prints; in red outline where what was taken out stood", picture)
            )


def _one(kind: str) -> str:
    return "piece of text" if kind == "text" else kind


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 1e6 else f"{count / 1e3:.0f} kB"


@hookimpl
def register_steps(register: Register) -> None:
    register(DropHidden)
