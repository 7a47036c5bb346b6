"""What make_bleed does with small posters: what is reported, that bleed is there afterwards, and what stays as it was."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from drawn import Poster
from drawn import draw_poster as draw
from pikepdf import Array, Dictionary, Name
from PIL import Image

from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.loading import load_plugins
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.looking.edges import bleed_of
from hotfolder.pdf.render import open_pages
from hotfolder.plugin import Box, Job, Level, Step
from hotfolder.testing import codes, make_job, make_pdf, run_steps
from hotfolder.units import MM
from tests.pdf.pages import Page
from tests.pdf.test_wrapped import blended, borrowed_resources, built, soft_mask, tiling

STEPS = load_plugins().steps
TICKET = {"trim": "80x60mm", "bleed": "3mm"}
POSTERS = Path(__file__).parents[2].parent / "shared" / "corpus" / "posters"


def draw_poster(path: Path, art, **how) -> Path:
    return draw(path, art, **{"size": (80, 60), **how})


def step(name: str, **settings: object) -> Step:
    return STEPS[name](STEPS[name].Settings(**settings))


def photo(seed: int = 7) -> np.ndarray:
    """A picture full of detail."""
    return np.random.default_rng(seed).integers(0, 220, (30, 40, 3)).repeat(4, axis=0).repeat(4, axis=1)


def ground(beyond: float, **more):
    return lambda poster: poster.ground(beyond, **more)


def pictured(beyond: float):
    return lambda poster: poster.picture(photo(), -beyond, -beyond, poster.wide + beyond, poster.high + beyond)


def white_below(art):
    """On a white ground that goes on through the bleed, as some programs write it."""
    return lambda poster: [poster.ground(3, cmyk=(0, 0, 0, 0)), art(poster)]


def short_at_the_right(poster: Poster) -> None:
    poster.fill(-3, -3, poster.wide, poster.high + 3)


def half_at_the_right(poster: Poster) -> None:
    """At the right the upper half has its bleed, the lower half ends at the cut."""
    short_at_the_right(poster)
    poster.fill(60, 30, poster.wide + 3, poster.high + 3, cmyk=(0, 0.8, 0.8, 0))


def band(poster: Poster) -> None:
    poster.fill(0, 20, poster.wide, 40)


def in_the_middle(poster: Poster) -> None:
    poster.disc(40, 30, 20)


def frame(poster: Poster) -> None:
    poster.outline(8, 2)


def marked(art):
    """With another program's cut marks, close to the trim."""

    def draw(poster: Poster) -> None:
        art(poster)
        for x in (0, poster.wide):
            poster.line(x, -8, x, -2.5)
            poster.line(x, poster.high + 2.5, x, poster.high + 8)

    return draw


MADE, OPENED = "mended bleed_made", "mended bleed_uncovered"

# art, how the page is made, settings -> findings, sides that were mended ("" for none)
TABLE = {
    "bleed is there": (ground(3), {}, {}, [], ""),
    "no bleed": (pictured(0), {"bleed": 0}, {}, [MADE], "on all four sides"),
    "no bleed, stretched": (pictured(0), {"bleed": 0}, {"method": "stretch"}, [MADE], "on all four sides"),
    "no bleed, extended": (pictured(0), {"bleed": 0}, {"method": "extend"}, [MADE], "on all four sides"),
    "too little bleed": (pictured(1), {"bleed": 1}, {}, [MADE], "on all four sides"),
    "hidden by the page's edge": (pictured(4), {"bleed": 0}, {}, [OPENED], "on all four sides"),
    "hidden by the bleed box": (pictured(4), {"bleed": 0, "room": 5}, {}, [OPENED], "on all four sides"),
    "hidden in part": (pictured(2), {"bleed": 0}, {}, [MADE], "on all four sides"),
    "promised and empty": (pictured(0), {}, {}, [MADE], "on all four sides"),
    "promised and empty, not looked for": (pictured(0), {}, {"look": False}, [], ""),
    "promised and white": (white_below(pictured(0)), {}, {}, [MADE], "on all four sides"),
    "one side empty": (short_at_the_right, {}, {}, [MADE], "at the right"),
    "one side empty on a turned page": (short_at_the_right, {"rotate": 90}, {}, [MADE], "at the bottom"),
    "one side empty in part": (half_at_the_right, {}, {}, [MADE], "at the right"),
    "one side white in part": (
        white_below(half_at_the_right), {}, {}, [MADE, "note bleed_still_missing"], "at the right"
    ),
    "two sides have art": (band, {"bleed": 0}, {}, [MADE], "at the right and left"),
    "a hair of white at the edge": (ground(0, gap=0.5), {"bleed": 0}, {}, [MADE], "on all four sides"),
    "bare paper": (in_the_middle, {"bleed": 0}, {}, ["note no_art_at_edge"], ""),
    "a frame inside": (frame, {"bleed": 0}, {}, ["note no_art_at_edge"], ""),
    "bare paper, with bleed": (in_the_middle, {}, {}, [], ""),
    "marks of another program": (marked(pictured(0)), {"bleed": 0, "room": 8}, {}, [MADE], "on all four sides"),
    "no boxes": (pictured(0), {"bleed": 0, "boxes": False}, {}, [MADE], "on all four sides"),
    "turned": (pictured(0), {"bleed": 0, "rotate": 270}, {}, [MADE], "on all four sides"),
    "unit of two points": (pictured(0), {"bleed": 0, "unit": 2}, {}, [MADE], "on all four sides"),
    "starts elsewhere": (pictured(0), {"bleed": 0, "origin": -70}, {}, [MADE], "on all four sides"),
    "asked for": (pictured(0), {"bleed": 0}, {"ask": True}, ["hold bleed_to_look_at"], "on all four sides"),
    "more than it makes": (pictured(0), {"bleed": 0}, {"most": "2mm"}, ["note bleed_not_made"], ""),
    "of another size": (pictured(0), {"bleed": 0, "boxes": False, "size": (100, 60)}, {}, ["note bleed_not_made"], ""),
}  # fmt: skip


@pytest.mark.parametrize("name", TABLE)
def test_what_is_made_and_said(name: str, tmp_path: Path) -> None:
    art, how, settings, findings, where = TABLE[name]
    path = draw_poster(tmp_path / "poster.pdf", art, **how)
    before = path.read_bytes()
    job = make_job(tmp_path, path, ticket=TICKET)
    run_steps(job, step("make_bleed", **settings))
    assert codes(job) == findings
    assert path.read_bytes() == before
    if not where:
        assert job.artwork == path
        return
    assert f" {where}" in job.findings[0].message
    assert [words.split(",")[0] for words, _ in job.views[("make_bleed", job.findings[0].code)]][:2] == [
        "Before",
        "After",
    ]
    if len(findings) == 1:
        assert bleed_is_there(job)
    with pikepdf.open(path) as was, job.read() as came:
        assert read_boxes(came.pages[0]).trim == pytest.approx(read_boxes(was.pages[0]).trim, abs=1e-3)


def bleed_is_there(job: Job) -> bool:
    """By the boxes on each side where there is art, and by a look at the art: what the checks say that follow."""
    again = make_job(job.work, job.artwork, ticket=TICKET)
    run_steps(again, step("check_geometry"), step("check_bleed"))
    return not again.held


@pytest.mark.parametrize("name", ["no bleed", "no bleed, extended", "promised and white", "marks of another program"])
def test_nothing_inside_the_trim_changes(name: str, tmp_path: Path) -> None:
    art, how, settings, _, _ = TABLE[name]
    job = make_job(tmp_path, draw_poster(tmp_path / "poster.pdf", art, **how), ticket=TICKET)
    run_steps(job, step("make_bleed", **settings))
    with open_pages(tmp_path / "poster.pdf") as was, open_pages(job.artwork) as came, job.read() as pdf:
        # Whole pixels on each side, so that both drawings meet the same ones.
        trim = read_boxes(pdf.pages[0]).trim
        one, other = (np.asarray(pages.render(1, 127, trim).picture, int) for pages in (was, came))
    assert abs(one - other).max() <= 1


def test_a_hair_of_white_is_filled(tmp_path: Path) -> None:
    """Art that ends half a millimetre inside the trim would leave white along a cut that is right to the hair."""
    path = draw_poster(tmp_path / "poster.pdf", ground(0, gap=0.5), bleed=0)
    job = make_job(tmp_path, path, ticket=TICKET)
    run_steps(job, step("make_bleed"))
    with open_pages(job.artwork) as pages:
        assert np.asarray(pages.render(1, 254).picture).max() < 255


@pytest.mark.parametrize(
    ("method", "words"), [("mirror", "mirror"), ("stretch", "a little larger"), ("extend", "outermost line")]
)
def test_it_says_how_much_and_how_and_to_look(method: str, words: str, tmp_path: Path) -> None:
    path = draw_poster(tmp_path / "poster.pdf", pictured(1), bleed=1)
    job = make_job(tmp_path, path, ticket=TICKET)
    run_steps(job, step("make_bleed", method=method))
    (found,) = job.findings
    assert words in found.message
    assert (found.measured, found.required) == ("1 mm (0.039 in)", "3 mm (0.118 in)")
    assert found.mend is not None
    assert found.mend.startswith("Look at the seam")


def test_every_page_by_itself(tmp_path: Path) -> None:
    """Two pages lack bleed, one has no art at its edge, one has its bleed."""
    parts = [draw_poster(tmp_path / f"{at}.pdf", art, **how) for at, (art, how, *_) in enumerate(map(TABLE.get, (
        "no bleed", "bare paper", "no bleed", "bleed is there",
    )))]  # fmt: skip
    with pikepdf.new() as pdf:
        for part in parts:
            with pikepdf.open(part) as source:
                pdf.pages.extend(source.pages)
        pdf.save(tmp_path / "poster.pdf")
    job = make_job(tmp_path, tmp_path / "poster.pdf", ticket=TICKET | {"pages": 4})
    run_steps(job, step("make_bleed"))
    assert codes(job) == ["note no_art_at_edge", MADE]
    assert "Page 1 had no bleed" in job.findings[1].message
    assert "The same on page 3." in job.findings[1].message
    with job.read() as pdf:
        made = [min(bleed_of(boxes, boxes.trim, boxes.bleed).values()) for boxes in map(read_boxes, pdf.pages)]
    assert made == pytest.approx([3 * MM, 0, 3 * MM, 3 * MM], abs=0.01)


def test_comments_are_not_continued_and_it_says_so(tmp_path: Path) -> None:
    path = draw_poster(tmp_path / "poster.pdf", pictured(0), bleed=0)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        note = Dictionary(Type=Name.Annot, Subtype=Name.Square, Rect=Array([0, 0, 30, 30]))
        pdf.pages[0].obj.Annots = Array([pdf.make_indirect(note)])
        pdf.save(path)
    job = make_job(tmp_path, path, ticket=TICKET)
    run_steps(job, step("make_bleed"))
    assert job.findings[0].message.endswith("Comments and form fields were not continued.")


def test_no_bleed_ordered_no_bleed_made(tmp_path: Path) -> None:
    path = draw_poster(tmp_path / "poster.pdf", pictured(0), bleed=0)
    job = make_job(tmp_path, path, ticket=TICKET | {"bleed": "0mm"})
    run_steps(job, step("make_bleed"))
    assert (codes(job), job.artwork) == ([], path)


@pytest.mark.parametrize(
    ("keys", "reason"),
    [
        ({"/TrimBox": [-20, 0, 240, 255]}, "cut outside its own edge"),
        ({"/MediaBox": [0, 0, 14395, 255]}, "larger than a page"),
        ({"/TrimBox": ["a", 0, 1, 2]}, "damaged"),
        ({"/Rotate": 45}, "multiple of 90"),
    ],
)
def test_what_cannot_be_mended_is_left_with_a_note(keys: dict[str, object], reason: str, tmp_path: Path) -> None:
    path = make_pdf(tmp_path / "poster.pdf", trim_mm=(120, 90), bleed_mm=0, boxes=False)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        for key, value in keys.items():
            entries = [Name("/a") if side == "a" else side for side in value] if isinstance(value, list) else value
            pdf.pages[0].obj[key] = Array(entries) if isinstance(entries, list) else entries
        pdf.save(path)
    job = make_job(tmp_path, path, ticket={"bleed": "3mm"})
    run_steps(job, step("make_bleed"))
    assert codes(job) == ["note bleed_not_made"]
    assert reason in job.findings[0].message
    assert job.artwork == path


def test_a_drawing_that_cannot_be_read_is_left(tmp_path: Path) -> None:
    path = draw_poster(tmp_path / "poster.pdf", pictured(0), bleed=0)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        broken = pdf.make_stream(b"not deflated")
        broken.write(b"not deflated", filter=Name.FlateDecode)
        good = pdf.pages[0].obj.Contents
        pdf.pages[0].obj.Contents = Array([*(good if isinstance(good, Array) else [good]), broken])
        pdf.save(path, stream_decode_level=pikepdf.StreamDecodeLevel.none, compress_streams=False)
    job = make_job(tmp_path, path, ticket=TICKET)
    run_steps(job, step("make_bleed"))
    assert codes(job) in (["note bleed_not_made"], [MADE])  # zlib libraries differ in how much they read of such data


# ---- with what follows

CHAIN = ("check_geometry", "check_bleed", "convert_colour", "add_marks", "seal_pdf", "verify_result")


def chain(job: Job, *first: str) -> list[str]:
    run_steps(job, *(step(name) for name in (*first, *CHAIN)))
    return [code for code in codes(job) if code.startswith("hold")]


@pytest.mark.parametrize("method", ["mirror", "stretch", "extend"])
def test_a_poster_without_bleed_passes_the_chain_and_not_without_the_step(method: str, tmp_path: Path) -> None:
    path = draw_poster(tmp_path / "poster.pdf", pictured(0), bleed=0)
    job = make_job(tmp_path / "with", path, ticket=TICKET)
    run_steps(job, step("make_bleed", method=method))
    assert chain(job) == []
    with job.read() as pdf:
        boxes = read_boxes(pdf.pages[0])
    assert min(bleed_of(boxes, boxes.trim, boxes.bleed).values()) == pytest.approx(3 * MM, abs=0.01)
    assert chain(make_job(tmp_path / "without", path, ticket=TICKET)) == ["hold no_bleed"]


@pytest.mark.parametrize("name", ["promised and white", "too little bleed", "marks of another program", "turned"])
def test_what_was_made_in_the_page_is_no_change_to_the_art(name: str, tmp_path: Path) -> None:
    """The ring lies inside the old page here, so the finished file differs from the artwork there, on purpose."""
    art, how, settings, _, _ = TABLE[name]
    job = make_job(tmp_path, draw_poster(tmp_path / "poster.pdf", art, **how), ticket=TICKET)
    run_steps(job, step("make_bleed", **settings))
    assert chain(job) == []


def test_a_change_inside_the_trim_is_still_found(tmp_path: Path) -> None:
    job = make_job(tmp_path, draw_poster(tmp_path / "poster.pdf", white_below(pictured(0))), ticket=TICKET)
    run_steps(job, step("make_bleed"))
    with job.edit() as pdf:
        spoilt = pdf.pages[0].obj.Contents.read_bytes() + b"0.9 0 0.9 0 k 30 30 60 60 re f\n"
        pdf.pages[0].obj.Contents = pdf.make_stream(spoilt)
    assert chain(job) == ["hold picture_changed"]


@pytest.mark.parametrize("art", [tiling, soft_mask, blended, borrowed_resources], ids=lambda art: art.__name__)
def test_the_chain_says_of_patterns_masks_and_blending_what_it_says_without(art, tmp_path: Path) -> None:
    """Two of these mix strong RGB colours and are held for it: for that, and with the same figures, with or without."""
    page: Page = built(art)
    ground = page.pdf.make_stream(b"q 0.9 1 0.8 rg 0 0 200 200 re f Q\n")
    page.obj.Contents = Array([ground, page.obj.Contents])
    page.pdf.save(tmp_path / "poster.pdf")
    condition = replace(SHIPPED[DEFAULT], blending="keep")  # what mixes in RGB is wrapped once more
    said = []
    for bleed in ("0mm", "3mm"):
        job = make_job(tmp_path / bleed, tmp_path / "poster.pdf", ticket={"bleed": bleed}, condition=condition)
        run_steps(job, step("make_bleed"), *map(step, CHAIN))
        assert (MADE in codes(job)) is (bleed == "3mm")
        said.append([(found.code, found.measured) for found in job.findings if found.level is Level.HOLD])
    assert said[0] == said[1]


def test_a_picture_at_its_own_size_gets_bleed(tmp_path: Path) -> None:
    """Placed at true size it is as large as the poster is cut, and there is none of it left for the bleed."""
    data = io.BytesIO()
    pixels = np.asarray(Image.fromarray(photo().astype(np.uint8)).resize((473, 354)))
    Image.fromarray(pixels).save(data, "JPEG", quality=95, dpi=(150.2, 150.2))
    path = tmp_path / "poster.jpg"
    path.write_bytes(data.getvalue())
    job = make_job(tmp_path, path, ticket=TICKET, opened=False)
    run_steps(job, step("open_picture", fit="true_size"), step("make_bleed"))
    assert chain(job) == []
    assert MADE in codes(job)
    with open_pages(job.artwork) as pages, job.read() as pdf:
        boxes = read_boxes(pdf.pages[0])
        full = np.asarray(pages.render(1, 150, boxes.bleed).picture, int)
    ring = round(3 / 25.4 * 150)
    assert abs(full[ring:-ring, :ring] - full[ring:-ring, ring : 2 * ring][:, ::-1]).mean() < 6


# ---- real posters


@pytest.mark.skipif(not POSTERS.is_dir(), reason="the folder with real posters is not beside the clone")
@pytest.mark.parametrize("name", ["eop__DenialBoxCard", "plakat__plakat", "eop__BoxCard"])
def test_real_posters_keep_their_art(name: str, tmp_path: Path) -> None:
    job = make_job(tmp_path, POSTERS / f"{name}.pdf", opened=False)
    run_steps(job, step("open_pdf"), step("make_bleed"))
    assert MADE in codes(job)
    assert job.opened is not None
    with open_pages(job.opened) as was, open_pages(job.artwork) as came:
        # Whole points from the art's own corner, a pixel each: both drawings meet the same pixels.
        art = job.drawn_around[1]
        left, bottom = np.ceil(art.left), np.ceil(art.bottom)
        area = Box(left, bottom, np.floor(art.right), np.floor(art.top))
        one, other = (np.asarray(pages.render(1, 72, area).picture, int) for pages in (was, came))
    assert abs(one - other).max() <= 1
