"""What check_frames says of bands and lines along the cut: one table of small posters, each fault beside its clean twin."""

from __future__ import annotations

import numpy as np
import pytest
from drawn import Poster, draw_poster

from hotfolder.loading import load_plugins
from hotfolder.testing import make_job, run_steps

TICKET = {"trim": "120x90mm", "bleed": "3mm"}
RED = (0, 0.9, 0.8, 0)


def inner(inset: float, cmyk=(0.6, 0.2, 0.1, 0)):
    """Art that leaves a frame of bare paper."""
    return lambda poster: poster.ground(-inset, cmyk)


def framed(width: float, cmyk=RED, ground=(0.1, 0.1, 0.3, 0)):
    """A frame of a colour through the bleed, around another colour."""
    return lambda poster: (poster.ground(3, cmyk), poster.ground(-width, ground))


def photo(low: int = 0, high: int = 200) -> np.ndarray:
    coarse = np.random.default_rng(7).integers(low, high, (30, 40, 3))
    return coarse.repeat(8, axis=0).repeat(8, axis=1)


def photo_inside(inset: float):
    return lambda poster: poster.picture(photo(), inset, inset, poster.wide - inset, poster.high - inset, 80)


def growing_dark(poster: Poster) -> None:
    """A gradient from the edges inwards, the same on all sides, as programs draw a vignette."""
    down, across = np.mgrid[0:480, 0:630]
    edge = np.minimum.reduce([down, across, 479 - down, 629 - across])
    tone = np.clip(255 - edge * 4, 0, 255)
    poster.picture(np.repeat(tone[..., None], 3, axis=2), -3, -3, 123, 93)


def skewed(poster: Poster) -> None:
    poster.shape((2, 2), (118, 4), (116, 88), (1, 86))


# art, how it stands on the page, settings -> level, code and words of each finding
TABLE = {
    "white frame of 3 mm": (
        inner(3),
        {},
        {},
        [
            "note narrow_frame A white frame only 3 mm (0.118 in) wide runs along the cut on all four sides. Where the "
            "cut is off by 1 mm (0.039 in), one side may show 2 mm (0.079 in) and the opposite one 4 mm (0.157 in).",
        ],
    ),
    "white frame of 2 mm": (inner(2), {}, {}, ["hold narrow_frame A white frame only 2 mm"]),
    "white frame of 3.5 mm": (inner(3.5), {}, {}, ["note narrow_frame A white frame only 3.5 mm"]),
    "white frame of 5 mm": (inner(5), {}, {}, []),
    "white frame of 5 mm, a coarse cutter": (
        inner(5),
        {},
        {"cutting_tolerance": "2mm"},
        ["note narrow_frame A white frame only"],
    ),
    "white frame of 2 mm, never to be held": (inner(2), {}, {"hold_times": 0}, ["note narrow_frame"]),
    "white frame around a photo": (photo_inside(2.5), {}, {}, ["note narrow_frame A white frame only 2"]),
    "coloured frame of 2 mm": (framed(2), {}, {}, ["hold narrow_frame A frame of one colour, only 2 mm"]),
    "coloured frame of 8 mm": (framed(8), {}, {}, []),
    "white frame, crossed by art": (
        lambda poster: (poster.ground(-3), poster.fill(-3, 60, 50, 75, RED)),
        {},
        {},
        ["note narrow_frame A white frame only 3 mm (0.118 in) wide runs along the cut on all four sides."],
    ),
    "frame line 2 mm inside the cut": (
        lambda poster: poster.outline(2.2, 1),
        {},
        {},
        ["hold narrow_frame A white frame only 2 mm"],
    ),
    "frame line 10 mm inside the cut": (lambda poster: poster.outline(10, 1), {}, {}, []),
    "plain ground": (lambda poster: poster.ground(3), {}, {}, []),
    "white page with text": (lambda poster: poster.letters("WHITE", 20, 40, 30), {}, {}, []),
    "text near the edge is no frame": (lambda poster: poster.letters("EDGE TO EDGE", 2, 2, 40), {}, {}, []),
    "photo through the bleed": (lambda poster: poster.picture(photo(), -3, -3, 123, 93), {}, {}, []),
    "gradient from the edges": (growing_dark, {}, {}, []),
    "art askew in a white frame": (skewed, {}, {}, []),
    "art with a ragged edge": (
        lambda poster: [poster.disc(x, y, 7) for x in range(7, 117, 12) for y in (9, 81)],
        {},
        {},
        [],
    ),
    "one stripe along the foot": (
        lambda poster: (poster.ground(3, (0.1, 0.1, 0.3, 0)), poster.fill(-3, -3, 123, 2, RED)),
        {},
        {},
        ["note narrow_stripe A stripe of one colour, only 2 ... wide, runs along the cut at the bottom. Where"],
    ),
    "a sliver of paper along the foot": (
        lambda poster: poster.fill(-3, 0.7, 123, 93),
        {},
        {},
        ["hold narrow_stripe A white stripe only 0.7"],
    ),
    "one wide stripe along the foot": (lambda poster: poster.fill(-3, -3, 123, 12, RED), {}, {}, []),
    "a stripe that goes halfway": (lambda poster: poster.fill(-3, -3, 60, 2, RED), {}, {}, []),
    "stripes at head and foot": (
        lambda poster: (poster.fill(-3, -3, 123, 2.5, RED), poster.fill(-3, 87.5, 123, 93, RED)),
        {},
        {},
        [
            "note narrow_frame A frame of one colour, only 2.5 mm (0.098 in) wide, runs along the cut at the top and bottom."
        ],
    ),
    "stripes of two colours at head and foot": (
        lambda poster: (poster.fill(-3, -3, 123, 2.5, RED), poster.fill(-3, 87.5, 123, 93, (1, 0, 0, 0))),
        {},
        {},
        ["note narrow_stripe A stripe of one colour", "note narrow_stripe A stripe of one colour"],
    ),
    "stripe at the left, turned": (
        lambda poster: (poster.ground(3, (0.1, 0.1, 0.3, 0)), poster.fill(-3, -3, 2, 93, RED)),
        {"rotate": 90},
        {},
        ["note narrow_stripe A stripe of one colour, only 2 ... wide, runs along the cut at the top."],
    ),
    "stripe beyond the cut only": (
        lambda poster: (poster.ground(3), poster.fill(-3, -3, 123, 0, RED)),
        {},
        {},
        [],
    ),
    "line along the cut": (
        lambda poster: poster.outline(0, 0.5),
        {},
        {},
        ["hold line_on_cut A thin line runs right along the cut on all four sides."],
    ),
    "line along the cut, only noted": (
        lambda poster: poster.outline(0, 0.5),
        {},
        {"hold_lines": False},
        ["note line_on_cut"],
    ),
    "line along the cut on a ground": (
        lambda poster: (poster.ground(3), poster.outline(0, 0.5)),
        {},
        {},
        ["hold line_on_cut"],
    ),
    "line along the page's edge without bleed": (
        lambda poster: poster.outline(0, 0.5),
        {"bleed": 0},
        {},
        ["hold line_on_cut"],
    ),
    "ground to the cut has no line there": (lambda poster: poster.ground(0), {}, {}, []),
    "a hair line of paper at the cut": (lambda poster: poster.ground(-0.15), {"bleed": 0}, {}, []),
    "cut marks outside": (lambda poster: [poster.line(x, -8, x, -3.2) for x in (0, 120)], {"room": 8}, {}, []),
    "page in units of ten points": (inner(2), {"unit": 10}, {}, ["hold narrow_frame A white frame only"]),
    "page away from the origin": (inner(2), {"origin": -700}, {}, ["hold narrow_frame A white frame only"]),
    "page without boxes": (inner(2), {"boxes": False}, {}, ["hold narrow_frame A white frame only 2 mm"]),
}


def step(**settings):
    kind = load_plugins().steps["check_frames"]
    return kind(kind.Settings(**settings))


@pytest.mark.parametrize(("art", "built", "settings", "expected"), TABLE.values(), ids=TABLE.keys())
def test_findings(tmp_path, art, built, settings, expected):
    job = make_job(tmp_path, draw_poster(tmp_path / "art.pdf", art, **built), ticket=TICKET)
    (record,) = run_steps(job, step(**settings))
    assert record.ended == "done", record.trace
    found = [f"{finding.level} {finding.code} {finding.message}" for finding in job.findings]
    assert len(found) == len(expected), found
    for said, words in zip(found, expected, strict=True):
        start, _, rest = words.partition(" ... ")  # widths are seen to a tenth of a millimetre
        assert said.startswith(start)
        assert rest in said
    assert all(finding.mend and finding.box for finding in job.findings)
    assert bool(record.told) is not bool(job.findings)
    assert bool(job.views) is bool(job.findings)


def test_a_sliver_that_the_bleed_check_tells_is_not_told_twice(tmp_path):
    job = make_job(tmp_path, draw_poster(tmp_path / "art.pdf", inner(0.4)), ticket=TICKET)
    run_steps(job, load_plugins().steps["check_bleed"](), step())
    assert [finding.code for finding in job.findings] == ["bleed_missing"]


def test_such_a_sliver_is_told_where_no_bleed_was_ordered(tmp_path):
    job = make_job(tmp_path, draw_poster(tmp_path / "art.pdf", inner(0.4)), ticket=TICKET | {"bleed": "0mm"})
    run_steps(job, load_plugins().steps["check_bleed"](), step())
    assert [finding.code for finding in job.findings] == ["narrow_frame"]


@pytest.mark.parametrize("rotate", [0, 90, 180, 270])
def test_the_pictures_show_the_corners_as_the_page_is_looked_at(tmp_path, rotate):
    """A white frame of 2 mm; a cut 1 mm too far left and up leaves 3 mm there and 1 mm at the right and below."""
    path = draw_poster(tmp_path / "art.pdf", inner(2), rotate=rotate)
    job = make_job(tmp_path, path, ticket=TICKET)
    run_steps(job, step())
    views = job.views["check_frames", "narrow_frame"]
    assert [words.split(":")[0] for words, _ in views] == [
        "As designed",
        "Cut 1 mm too far left and up",
        "Cut 1 mm too far right and down",
    ]
    for (_, picture), (upper_left, lower_right) in zip(views, [(2, 2), (3, 1), (1, 3)], strict=True):
        pixels = np.asarray(picture).astype(int)
        white = (pixels.min(axis=2) > 250)[pixels.shape[0] // 2]  # a row through both corners' art
        desk = (np.abs(pixels - (214, 214, 209)).max(axis=2) < 3)[pixels.shape[0] // 2]
        starts = np.flatnonzero(np.diff(desk.astype(int))) + 1  # desk, corner, desk, corner, desk
        left, right = white[starts[0] : starts[1]], white[starts[2] : starts[3]]
        corner = 30 / len(left)  # mm in a pixel
        assert np.argmin(left) * corner == pytest.approx(upper_left, abs=0.3)
        assert np.argmin(right[::-1]) * corner == pytest.approx(lower_right, abs=0.3)
