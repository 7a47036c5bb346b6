"""Makes pictures smaller that are finer than can be printed or seen, so that files stay light and presses quick."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pikepdf import Stream

from hotfolder.pdf.looking.census import Placement, user_unit
from hotfolder.pdf.looking.finer import largest_placements
from hotfolder.pdf.pictures.reducing import Reduced, Wanted, reduce_picture
from hotfolder.plugin import Box, Job, Part, Register, Settings, Step, hookimpl, setting

from .views import pieces


class ReducePicturesSettings(Settings):
    most_ppi: float = setting(
        300.0,
        "How fine pictures that are too fine become, where they are placed largest (1.5 to 2 times the screen ruling of "
        "the press: common practice)",
        unit="ppi",
        ge=50,
        le=10_000,
    )
    most_line_art_ppi: float = setting(
        1200.0,
        "The same for black-and-white line art, whose edges need more (common practice)",
        unit="ppi",
        ge=300,
        le=10_000,
    )
    from_times: float = setting(
        1.5,
        "Only pictures at least so many times finer are too fine: each reduction costs a little sharpness (common practice)",
        unit="times",
        ge=1.1,
        le=100,
    )
    picture_quality: int = setting(
        92,
        "JPEG quality of pictures that came as JPEG and are packed anew",
        unit="JPEG quality, 1 to 100",
        ge=60,
        le=100,
    )
    lossless_as_jpeg: bool = setting(
        False, "Whether pictures that came without loss, and are made smaller, are packed as JPEG too"
    )


class ReducePictures(Step):
    """Make pictures with more pixels than wanted smaller, and pack them anew.

    It never enlarges, and never touches a picture that isn't finer than wanted by `from_times`, or would not become lighter.
    Colour spaces and profiles, places, masks and all else stay; soft masks become coarser with their picture.
    """

    name = "reduce_pictures"
    reads = frozenset({Part.PICTURES})
    changes = frozenset({Part.PICTURES})
    Settings = ReducePicturesSettings
    settings: ReducePicturesSettings

    def run(self, job: Job) -> None:
        before = job.artwork
        wanted = Wanted(
            ppi=self.settings.most_ppi,
            line_art_ppi=self.settings.most_line_art_ppi,
            quality=self.settings.picture_quality,
            lossless_as_jpeg=self.settings.lossless_as_jpeg,
            times=self.settings.from_times,
        )
        done: list[tuple[Placement, Reduced, float]] = []
        with job.edit() as pdf:
            for key, placed in largest_placements(pdf).items():
                if not wanted.least <= placed.ppi + 1 < math.inf:
                    continue
                picture = pdf.get_object(key)
                reduced = reduce_picture(pdf, picture, placed.ppi, wanted) if isinstance(picture, Stream) else None
                if reduced is not None:
                    done.append((placed, reduced, user_unit(pdf.pages[placed.page - 1].obj)))
            if not done:
                job.unchanged()
        if not done:
            job.tell(
                f"No picture is so much finer than {wanted.ppi:g} pixels per inch that it would be worth making it smaller."
            )
            return
        self._report(job, done)
        most = max(done, key=lambda item: item[1].size[0] - item[1].size[1])
        for view in pieces(before, job.artwork, most[0].page, Box(*most[0].box), most[2]):
            job.show("pictures_reduced", view)

    def _report(self, job: Job, done: Sequence[tuple[Placement, Reduced, float]]) -> None:
        finest = max(done, key=lambda item: item[0].ppi)[0]
        before, after = (sum(reduced.size[side] for _, reduced, _ in done) for side in (0, 1))
        many = f"{len(done)} pictures had" if len(done) > 1 else "A picture had"
        limit = self.settings.most_line_art_ppi if finest.bits == 1 else self.settings.most_ppi
        up_to = "up to " if len(done) > 1 else ""
        job.mended(
            "pictures_reduced",
            f"{many} more pixels than can be seen in print, {up_to}{finest.ppi:.0f} per inch: now about {limit:g}.",
            measured=f"{_size(before)} of pictures before, {_size(after)} now",
            required=f"at most {limit:g} ppi",
            page=finest.page,
            box=Box(*finest.box),
        )


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 1e6 else f"{count / 1e3:.0f} kB"


@hookimpl
def register_steps(register: Register) -> None:
    register(ReducePictures)
