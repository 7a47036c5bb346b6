"""Pairs of what is wrong with pictures, placed on a page or arriving as the artwork itself."""

from __future__ import annotations

import functools

from PIL import Image, ImageCms
from poster import Arrived, Pair, clipped, jpeg, moved, noise, photo, picture
from sheet import packed

from hotfolder.units import MM

SHOWN = (40, 90, 104, 138)  # 64 x 48 mm: 480 x 360 pixels are 190 ppi
LARGE = (30, 80, 158, 176)  # 128 x 96 mm: the same are 95 ppi

SMALL = {"trim": "4x5in"}


@functools.cache
def enlarged() -> bytes:
    """A picture of a quarter of the pixels, blown up by a program."""
    return packed(photo().resize((120, 90)).resize((480, 360), Image.Resampling.BICUBIC), quality=92)


def line_art(wide: int) -> bytes:
    """Black and white only: a disc, one bit a pixel."""
    disc = photo(wide, wide).convert("L").point(lambda tone: 255 * (tone > 110)).convert("1", dither=0)
    return packed(disc, "PNG")


def in_form(wide: float):
    """The picture in a drawing that is placed enlarged, so that its own frame says nothing of its size on paper."""

    def draw(paper):
        name = f"form{wide:g}"
        if not paper.own.hasForm(name):
            paper.own.beginForm(name)
            paper.picture(jpeg(), 0, 0, 32, 24)
            paper.own.endForm()
        with paper.moved(wide / 32, 0, 0, wide / 32, 0, 0):
            paper.own.translate(40 * MM * 32 / wide, 90 * MM * 32 / wide)
            paper.own.doForm(name)

    return draw


def whole(profile: bool, size: tuple[int, int] = (638, 788), cut: float = 1.0):
    """A photo that is the poster itself: 4.25 x 5.25 in with its bleed at 150 ppi."""

    def data() -> bytes:
        icc = {"icc_profile": ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()} if profile else {}
        whole = packed(photo(*size), dpi=(150, 150), quality=88, **icc)
        return whole[: int(len(whole) * cut)]

    return data


PICTURES = (
    Pair(
        "a coarse picture",
        "A photo of 480 x 360 pixels is placed 128 mm wide.",
        picture(jpeg(), *LARGE),
        picture(jpeg(), *SHOWN),
        "check_pictures: hold coarse_picture",
        "95 ppi",
    ),
    Pair(
        "a coarse picture in a placed drawing",
        "The photo has pixels enough in its own drawing, which is then placed four times as wide.",
        in_form(128),
        in_form(64),
        "check_pictures: hold coarse_picture",
        "95 ppi",
    ),
    Pair(
        "a picture with a little less than was asked",
        "A photo has 140 pixels per inch where 150 are asked for.",
        picture(jpeg(), 40, 90, 127.1, 155.3),
        picture(jpeg(), *SHOWN),
        "check_pictures: note modest_picture",
        "140 ppi",
        by="fpdf2",
    ),
    Pair(
        "an enlarged picture",
        "A photo of 120 x 90 pixels was blown up to 480 x 360 before it was placed.",
        picture(enlarged(), *SHOWN),
        picture(jpeg(), *SHOWN),
        "check_sharpness: note soft_picture",
        "detail",
    ),
    Pair(
        "squares of compression",
        "A photo was saved as JPEG of quality 8.",
        picture(jpeg(quality=8), *SHOWN),
        picture(jpeg(), *SHOWN),
        "check_sharpness: note blocky_picture",
        "squares",
        by="fpdf2",
    ),
    Pair(
        "a mirrored picture",
        "A photo is placed the wrong way round.",
        moved((-1, 0, 0, 1), 72, 114, picture(jpeg(), *SHOWN)),
        picture(jpeg(), *SHOWN),
        "check_pictures: note mirrored_picture",
        "mirrored",
        by="fpdf2",
    ),
    Pair(
        "a skewed picture",
        "A photo leans to one side by 11 degrees.",
        moved((1, 0, 0.2, 1), 72, 114, picture(jpeg(), *SHOWN)),
        picture(jpeg(), *SHOWN),
        "check_pictures: note skewed_picture",
        "",
    ),
    Pair(
        "a stretched picture",
        "A photo is drawn out to one and a half times its width.",
        picture(jpeg(), 40, 90, 108, 124),
        picture(jpeg(), *SHOWN),
        "check_pictures: note stretched_picture",
        "",
        by="fpdf2",
    ),
    Pair(
        "coarse line art",
        "A drawing of pure black and white has 203 pixels per inch.",
        picture(line_art(400), 60, 90, 110, 140),
        picture(line_art(1300), 60, 90, 110, 140),
        "check_pictures: note coarse_line_art",
        "203",
        by="fpdf2",
    ),
    Pair(
        "a heavy picture that doesn't show",
        "A frame hides all of a picture of more than a megabyte.",
        clipped(150, 40, 180, 70, picture(noise(640, 640), 40, 90, 100, 150)),
        clipped(40, 90, 70, 150, picture(noise(640, 640), 40, 90, 100, 150)),
        "check_pictures: note hidden_picture",
        "",
    ),
    Pair(
        "far more pixels than can be printed",
        "A picture of a megabyte is placed 20 mm wide, at more than 800 ppi.",
        picture(noise(640, 640), 60, 90, 80, 110),
        picture(noise(640, 640), 60, 90, 120, 150),
        "check_pictures: note too_fine_picture",
        "",
        by="fpdf2",
    ),
)

ARRIVING = (
    Pair(
        "a picture without a profile",
        "A JPEG arrives that doesn't say what its colours mean.",
        Arrived(whole(False)),
        Arrived(whole(True)),
        "open_picture: note no_profile",
        "sRGB",
        ticket=SMALL,
    ),
    Pair(
        "a picture of another shape",
        "A square picture arrives for a poster of 4 x 5 in.",
        Arrived(whole(True, (788, 788))),
        Arrived(whole(True)),
        "open_picture: hold crop_too_much",
        "",
        ticket=SMALL,
    ),
    Pair(
        "a coarse picture as artwork",
        "A JPEG arrives with 60 pixels per inch for the ordered size.",
        Arrived(whole(True, (255, 315))),
        Arrived(whole(True)),
        "check_pictures: hold coarse_picture",
        "60",
        ticket=SMALL,
    ),
    Pair(
        "a picture that was cut short",
        "Half of a JPEG arrives.",
        Arrived(whole(True, cut=0.5)),
        Arrived(whole(True)),
        "open_picture: hold damaged_picture",
        "",
        ticket=SMALL,
    ),
)
