"""What check_bleed says of art along the cut: one table of small posters, each fault beside its clean twin."""

from __future__ import annotations

import numpy as np
import pikepdf
import pytest
from drawn import Poster, draw_poster

from hotfolder.loading import load_plugins
from hotfolder.testing import make_job, run_steps
from hotfolder.units import MM

TICKET = {"trim": "120x90mm", "bleed": "3mm"}
ALL_AROUND = "All around the page the art stops right where the paper is cut: 3 mm (0.118 in) of bleed is missing there"


def ground(beyond: float, **more):
    return lambda poster: poster.ground(beyond, **more)


def photo(low: int, high: int, seed: int = 7) -> np.ndarray:
    """A picture full of detail, between two tones."""
    coarse = np.random.default_rng(seed).integers(low, high, (30, 40, 3))
    return coarse.repeat(8, axis=0).repeat(8, axis=1)


def pictured(pixels: np.ndarray, beyond: float, quality: int = 0):
    return lambda poster: poster.picture(pixels, -beyond, -beyond, poster.wide + beyond, poster.high + beyond, quality)


def fading(first: float, last: float) -> np.ndarray:
    """Tone across, going to white between two parts of the width, white further right."""
    across = np.linspace(0, 1, 1260)
    tone = np.clip((across - first) / (last - first), 0, 1) * 255
    return np.broadcast_to(tone[None, :, None], (960, 1260, 3))


def faded_right(until: float, fade: float):
    """Dark at the left edge of the bleed; it fades out over `fade` mm and is white `until` mm beyond the right cut."""
    end = (123 + until) / 126
    return pictured(fading(end - fade / 126, end), 3)


def clipped(beyond: float, draw):
    """What is drawn, cut off so far beyond the cut: as programs export art under a bleed box that they did not fill."""

    def art(poster: Poster) -> None:
        path = poster.canvas.beginPath()
        path.rect(-beyond * MM, -beyond * MM, (poster.wide + 2 * beyond) * MM, (poster.high + 2 * beyond) * MM)
        poster.canvas.clipPath(path, stroke=0)
        draw(poster)

    return art


def cut_marks(poster: Poster) -> None:
    for x in (0, poster.wide):
        poster.line(x, -8, x, -3.2)
        poster.line(x, poster.high + 3.2, x, poster.high + 8)
    for y in (0, poster.high):
        poster.line(-8, y, -3.2, y)
        poster.line(poster.wide + 3.2, y, poster.wide + 8, y)


def both(*arts):
    return lambda poster: [art(poster) for art in arts]


def big_letters(poster: Poster) -> None:
    poster.letters("HELLO", 8, -12, 80)


def hatching(poster: Poster) -> None:
    for x in range(5, 115):
        poster.line(x, -3, x, 40, points=0.8)


def wavy(poster: Poster) -> None:
    """The lower edge of this ground swings from 4 mm inside the cut to 1.5 mm beyond it."""
    across = np.linspace(-3, 123, 400)
    lower = [(float(x), float(1.25 - 2.75 * np.sin(x / 6))) for x in across]
    poster.shape(*lower, (123, 93), (-3, 93))


# art, how it stands on the page -> what each finding says
TABLE = {
    "ground through the bleed": (ground(3), {}, []),
    "ground to the cut, bleed box all the same": (ground(0), {}, [ALL_AROUND]),
    "a picture through the bleed": (pictured(photo(0, 200), 3), {}, []),
    "a picture to the cut": (pictured(photo(0, 200), 0), {}, [ALL_AROUND]),
    "ground halfway": (
        ground(1),
        {},
        ["All around the page the art stops 1 mm (0.039 in) beyond the cut: 2 mm (0.079 in) of bleed is missing there"],
    ),
    "ground 0.15 mm short of the bleed: rounding": (ground(2.85), {}, []),
    "ground 0.4 mm short of the bleed": (ground(2.6), {}, ["All around the page the art stops 2.6 mm"]),
    "ground 0.15 mm short of the cut is art to the cut": (ground(0, gap=0.15), {}, [ALL_AROUND]),
    "ground 0.4 mm short of the cut was meant to reach it": (ground(0, gap=0.4), {}, [ALL_AROUND]),
    "ground 0.8 mm short of the cut is a frame, if a bad one": (ground(0, gap=0.8), {}, []),
    "a disc that touches the cut from inside": (lambda poster: poster.disc(60, 30.2, 30), {}, []),
    "texture too light to be seen": (pictured(photo(244, 256), 0), {}, []),
    "letters that end beyond the cut by their own form": (
        lambda poster: poster.letters("small letters stand on a line here", 5, -1.5, 12),
        {},
        [],
    ),
    "white page": (lambda poster: poster.letters("WHITE", 20, 40, 30), {}, []),
    "white frame of 4 mm around the art": (ground(-4), {}, []),
    "a ground too light to print": (ground(0, cmyk=(0.02, 0.01, 0, 0)), {}, []),
    "a light ground to the cut": (ground(0, cmyk=(0, 0.05, 0.12, 0)), {}, [ALL_AROUND]),
    "a light ground through the bleed": (ground(3, cmyk=(0, 0.05, 0.12, 0)), {}, []),
    "noise of a packed white picture": (pictured(photo(252, 256), 0, quality=60), {}, []),
    "one side short": (
        lambda poster: poster.fill(0, -3, 123, 93),
        {},
        ["All along the left of the page the art stops right where the paper is cut"],
    ),
    "two sides short": (
        lambda poster: poster.fill(0, -3, 120, 93),
        {},
        ["All along the right and left of the page the art stops"],
    ),
    "sides short by different lengths": (
        lambda poster: poster.fill(0, -1, 123, 93),
        {},
        [
            "All along the bottom of the page the art stops 1 mm",
            "All along the left of the page the art stops right where",
        ],
    ),
    "a picture at the top, to the cut": (
        lambda poster: poster.picture(photo(0, 200), 30, 50, 80, 90),
        {},
        ["At the top of the page, from 30 to 80 mm from the left corner, the art stops right where the paper is cut"],
    ),
    "a picture at the top, through the bleed": (lambda poster: poster.picture(photo(0, 200), 30, 50, 80, 93), {}, []),
    "a picture at the top, inside": (lambda poster: poster.picture(photo(0, 200), 30, 50, 80, 88), {}, []),
    "pictures to the cut in two places": (
        lambda poster: (poster.fill(0, 60, 50, 80), poster.fill(0, 10, 50, 30)),
        {},
        [
            "At the left of the page, from 10 to 30 mm and from 60 to 80 mm from the upper corner, the art stops right where"
        ],
    ),
    "small pictures side by side that end at two depths": (
        lambda poster: (poster.fill(20, 0, 24, 9), poster.fill(24, -1, 28, 9), poster.fill(28, -3, 90, 9)),
        {},
        ["At the bottom of the page, from 20 to 28 mm"],
    ),
    "a panel to the cut, on a ground that bleeds": (
        both(ground(3), lambda poster: poster.fill(0, 9, 50, 30, (0, 1, 1, 0))),
        {},
        [
            "At the left of the page, from 60 to 81 mm from the upper corner, the art stops right where the paper is cut, and"
        ],
    ),
    "stripes that end before the cut": (lambda poster: poster.fill(2, 10, 118, 20), {}, []),
    "a stripe to the cut on one side": (
        lambda poster: poster.fill(5, 70, 120, 80),
        {},
        ["At the right of the page, from 10 to 20 mm from the upper corner,"],
    ),
    "a thin line to the cut": (lambda poster: poster.line(0, 45, 120, 45, points=2), {}, []),
    "hatching to the cut": (
        clipped(0, hatching),
        {},
        ["At the bottom of the page, from 5 to 114 mm from the left corner, the art stops right where"],
    ),
    "hatching through the bleed": (hatching, {}, []),
    "marks outside, and art to the cut": (both(ground(0), cut_marks), {"room": 8}, [ALL_AROUND]),
    "marks outside, and art through the bleed": (both(ground(3), cut_marks), {"room": 8}, []),
    "marks outside a white page": (cut_marks, {"room": 8}, []),
    "letters cut off at the cut": (
        clipped(0, big_letters),
        {},
        ["At the bottom of the page, from "],
    ),
    "letters through the bleed": (big_letters, {}, []),
    "a disc over the edge": (lambda poster: poster.disc(60, 25, 26.5), {}, []),
    "a large disc over the edge": (lambda poster: poster.disc(60, 198, 200), {}, []),
    "a disc cut off at the cut": (
        clipped(0, lambda poster: poster.disc(60, 0, 20)),
        {},
        ["At the bottom of the page, from 40 to 80 mm"],
    ),
    "a wave over the edge": (wavy, {}, []),
    "a slanting bar over the edge": (lambda poster: poster.shape((20, -9), (24, -9), (44, 20), (40, 20)), {}, []),
    "a triangle's tip over the edge": (lambda poster: poster.shape((40, 30), (80, 30), (60, -1.5)), {}, []),
    "a slightly turned picture that ends near the cut": (
        lambda poster: poster.shape((-3, 0.2), (123, -0.4), (123, 93), (-3, 93)),
        {},
        ["the art stops right where the paper is cut"],
    ),
    "fading out 10 mm before the cut": (faded_right(-10, 60), {}, []),
    "fading out at the cut": (faded_right(0, 60), {}, []),
    "fading out in the bleed": (faded_right(1.5, 30), {}, []),
    "fading out in the bleed over 3 mm": (faded_right(1.5, 3), {}, []),
    "fading, but cut off before it is white": (
        clipped(0, faded_right(20, 60)),
        {},
        [ALL_AROUND],
    ),
    "a picture to the cut, on a ground that goes on": (
        lambda poster: (poster.ground(3), poster.picture(photo(0, 90), 0, 0, poster.wide, poster.high)),
        {},
        ["All around the page the art stops right where the paper is cut, and another colour goes on from there."],
    ),
    "a picture through the bleed, on a ground": (
        lambda poster: (poster.ground(3), poster.picture(photo(0, 90), -3, -3, 123, 93)),
        {},
        [],
    ),
    "a band to the cut, 0.3 mm short of it, on a ground that goes on": (
        lambda poster: (poster.ground(3), poster.fill(30, 70, 60, 89.7, (0, 0.9, 0.8, 0))),
        {},
        [
            "At the top of the page, from 30 to 60 mm from the left corner, the art stops right where the paper is cut, and"
        ],
    ),
    "a white panel to the cut, on a ground that goes on": (
        lambda poster: (poster.ground(3), poster.fill(30, 70, 60, 90, (0, 0, 0, 0))),
        {},
        [
            "At the top of the page, from 30 to 60 mm from the left corner, the art stops right where the paper is cut, and"
        ],
    ),
    "a band on a ground, 2 mm inside the cut": (
        lambda poster: (poster.ground(3), poster.fill(30, 70, 60, 88, (0, 0.9, 0.8, 0))),
        {},
        [],
    ),
    "a slanting edge over the cut, on a ground": (
        lambda poster: (poster.ground(3), poster.shape((20, 60), (100, 60), (100, 92), (20, 88))),
        {},
        [],
    ),
    "a disc that touches the cut, on a ground": (
        lambda poster: (poster.ground(3), poster.disc(60, 50.1, 40)),
        {},
        [],
    ),
    "a line along the cut, on a ground": (lambda poster: (poster.ground(3), poster.outline(0, 1)), {}, []),
    "a ground of nearly the same colour beyond the cut": (
        lambda poster: (poster.ground(3), poster.ground(0, cmyk=(0.65, 0.22, 0.12, 0))),
        {},
        [],
    ),
    "letters cut off at the cut, on a ground": (
        lambda poster: (poster.ground(3), clipped(0, lambda inner: inner.letters("HILL", 10, -3, 200))(poster)),
        {},
        ["At the bottom of the page, "],
    ),
    "turned a quarter": (
        lambda poster: poster.fill(0, -3, 123, 93),
        {"rotate": 90},
        ["All along the top of the page the art stops right where"],
    ),
    "turned three quarters": (
        lambda poster: poster.fill(0, 60, 50, 80),
        {"rotate": 270},
        ["At the bottom of the page, from 10 to 30 mm from the left corner"],
    ),
    "upside down": (
        lambda poster: poster.fill(0, 60, 50, 80),
        {"rotate": 180},
        ["At the right of the page, from 60 to 80 mm from the upper corner"],
    ),
    "a page away from the origin": (
        lambda poster: poster.fill(0, 60, 50, 80),
        {"origin": -700},
        ["At the left of the page, from 10 to 30 mm from the upper corner"],
    ),
    "a page in units of ten points": (
        lambda poster: poster.fill(0, 60, 50, 80),
        {"unit": 10},
        ["At the left of the page, from 10 to 30 mm from the upper corner"],
    ),
    "no boxes, page with bleed, art to the cut": (ground(0), {"boxes": False}, [ALL_AROUND]),
    "no boxes, page with bleed, art through it": (ground(3), {"boxes": False}, []),
    "no room for bleed, art to the cut": (ground(0), {"bleed": 0}, [ALL_AROUND]),
    "no room for bleed, white at the cut": (ground(-4), {"bleed": 0}, []),
    "room in the page beyond too small a bleed box, and art there": (ground(3), {"bleed": 0, "room": 5}, []),
}


def step(name: str = "check_bleed", **settings):
    kind = load_plugins().steps[name]
    return kind(kind.Settings(**settings))


@pytest.mark.parametrize(("art", "built", "expected"), TABLE.values(), ids=TABLE.keys())
def test_findings(tmp_path, art, built, expected):
    job = make_job(tmp_path, draw_poster(tmp_path / "art.pdf", art, **built), ticket=TICKET)
    (record,) = run_steps(job, step())
    assert record.ended == "done", record.trace
    assert [finding.message for finding in job.findings] == [Starting(words) for words in expected]
    for finding in job.findings:
        assert finding.code == "bleed_missing"
        assert finding.mend
        assert finding.box
    assert bool(record.told) is not job.held
    assert bool(job.views) is job.held


class Starting(str):
    """Equal to every text that holds it."""

    __slots__ = ()
    __hash__ = str.__hash__

    def __eq__(self, other: object) -> bool:
        return isinstance(other, str) and str.__str__(self) in str(other)


def test_the_same_on_several_pages_is_said_once(tmp_path):
    path = draw_poster(tmp_path / "art.pdf", ground(0))
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        pdf.pages.append(pdf.pages[0])
        pdf.save(path)
    job = make_job(tmp_path, path, ticket=TICKET | {"pages": 2})
    run_steps(job, step())
    (finding,) = job.findings
    assert finding.message.startswith("All around page 1 the art stops")
    assert finding.message.endswith("The same on page 2.")


@pytest.mark.parametrize(
    ("built", "expected"),
    [
        ({"bleed": 0}, ["no_bleed"]),  # told by the boxes: not again by the art
        ({"bleed": 3}, ["bleed_missing"]),  # the boxes promise bleed: only the art tells
    ],
)
def test_what_the_boxes_tell_the_art_does_not_tell_again(tmp_path, built, expected):
    job = make_job(tmp_path, draw_poster(tmp_path / "art.pdf", ground(0), **built), ticket=TICKET)
    run_steps(job, load_plugins().steps["check_geometry"](), step())
    assert [finding.code for finding in job.findings] == expected


def test_a_page_that_nobody_can_cut_is_held(tmp_path):
    path = draw_poster(tmp_path / "art.pdf", ground(3), room=12, boxes=False)
    job = make_job(tmp_path, path, ticket=TICKET)
    run_steps(job, step())
    assert [finding.code for finding in job.findings] == ["bleed_not_seen"]


def test_the_finding_shows_where(tmp_path):
    path = draw_poster(tmp_path / "art.pdf", lambda poster: poster.fill(0, 60, 50, 80), rotate=90, unit=2)
    job = make_job(tmp_path, path, ticket=TICKET)
    run_steps(job, step())
    assert job.findings[0].box == pytest.approx([side * MM / 2 for side in (0, 63, 3, 83)], abs=0.2)
