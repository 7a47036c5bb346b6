"""Conversions keep their shape, their depth and their promises: paper stays bare, pictures stream."""

import io
from dataclasses import replace

import numpy as np
import pytest
import pyvips
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import ImageCms

from hotfolder.colour.condition import SHIPPED
from hotfolder.colour.difference import ciede2000
from hotfolder.colour.profile import SRGB, Profile, read_profile
from hotfolder.colour.transform import (
    condition_lab,
    condition_picture_to_srgb,
    condition_to_srgb,
    gray_to_black,
    lab_to_condition,
    srgb_lab,
    to_condition,
)

EUROPE = SHIPPED["coated_europe"]
every_condition = pytest.mark.parametrize("condition", SHIPPED.values(), ids=SHIPPED)


def gray_profile() -> Profile:
    """A gray profile with the white and the tone curve of sRGB."""
    white, curve = SRGB.tag("wtpt") or b"", SRGB.tag("gTRC") or b""
    start = 132 + 24
    body = white + curve + bytes(-len(curve) % 4)
    head = bytearray(SRGB.data[:128])
    head[0:4] = (start + len(body)).to_bytes(4)
    head[16:20] = b"GRAY"
    table = (2).to_bytes(4)
    table += b"wtpt" + start.to_bytes(4) + len(white).to_bytes(4)
    table += b"kTRC" + (start + len(white)).to_bytes(4) + len(curve).to_bytes(4)
    return read_profile(bytes(head) + table + body)


GRAY = gray_profile()


def flat(colour: tuple[int, ...], kind: str = "uchar", size: int = 8) -> pyvips.Image:
    block = np.tile(np.array(colour, np.uint8 if kind == "uchar" else np.uint16), (size, size, 1))
    return pyvips.Image.new_from_memory(block.tobytes(), size, size, len(colour), kind)


@every_condition
def test_white_stays_bare_paper(condition) -> None:
    assert to_condition(SRGB, condition).colours([[1, 1, 1]]).tolist() == [[0, 0, 0, 0]]
    picture = to_condition(SRGB, condition).picture(flat((255, 255, 255)))
    assert picture.max() == 0
    assert lab_to_condition(condition, [[100, 0, 0]]).tolist() == [[0, 0, 0, 0]]
    assert condition_to_srgb(condition, [[0, 0, 0, 0]]) == pytest.approx(np.ones((1, 3)), abs=1e-3)


@every_condition
def test_black_is_dark_and_inside_the_ink_limit(condition) -> None:
    inks = to_condition(SRGB, condition).colours([[0, 0, 0]])
    assert 200 < inks.sum() * 100 <= condition.ink_limit
    assert condition_to_srgb(condition, inks).max() < 0.1


@pytest.mark.parametrize(("kind", "top"), [("uchar", 255), ("ushort", 65535)])
def test_a_picture_keeps_its_size_and_depth(kind: str, top: int) -> None:
    picture = to_condition(SRGB, EUROPE).picture(flat((top, top // 2, 0), kind))
    assert (picture.width, picture.height, picture.bands, picture.format) == (8, 8, 4, kind)
    back = condition_picture_to_srgb(EUROPE, picture)
    assert (back.width, back.height, back.bands, back.format) == (8, 8, 3, kind)
    seen = srgb_lab(back.numpy()[0, :1] / top)
    assert ciede2000(seen, srgb_lab([[1, 0.5, 0]]))[0] < 8  # a strong orange lies a little outside this paper


def test_a_picture_that_carries_another_profile_is_converted_from_the_one_asked_for() -> None:
    picture = flat((200, 100, 50))
    carrying = picture.copy()
    carrying.set_type(pyvips.GValue.blob_type, "icc-profile-data", EUROPE.profile.read_bytes())
    conversion = to_condition(SRGB, EUROPE)
    assert np.array_equal(conversion.picture(carrying).numpy(), conversion.picture(picture).numpy())


@pytest.mark.parametrize(
    "picture",
    [flat((1, 2, 3, 4)), flat((1,)), flat((1, 2, 3)).cast("float")],
    ids=["four channels", "one channel", "float"],
)
def test_a_picture_of_another_kind_is_refused(picture: pyvips.Image) -> None:
    with pytest.raises(ValueError, match="a picture of 3 channels of 8 or 16 bits was expected"):
        to_condition(SRGB, EUROPE).picture(picture)


@pytest.mark.parametrize("values", [[[1, 1]], [1, 1, 1], [[[1, 1, 1]]]], ids=["two channels", "no rows", "cube"])
def test_colours_of_another_shape_are_refused(values: list) -> None:
    with pytest.raises(ValueError, match="colours of 3 channels were expected"):
        to_condition(SRGB, EUROPE).colours(values)


def test_wild_numbers_are_brought_into_range() -> None:
    conversion = to_condition(SRGB, EUROPE)
    wild = conversion.colours([[float("nan"), float("-inf"), -5], [float("inf"), 1e300, 7]])
    assert wild.tolist() == conversion.colours([[0, 0, 0], [1, 1, 1]]).tolist()


def test_no_colours_are_no_work() -> None:
    none = np.zeros((0, 3))
    assert to_condition(SRGB, EUROPE).colours(none).shape == (0, 4)
    assert lab_to_condition(EUROPE, none).shape == (0, 4)
    assert condition_lab(EUROPE, np.zeros((0, 4))).shape == (0, 3)
    assert condition_to_srgb(EUROPE, np.zeros((0, 4))).shape == (0, 3)
    assert gray_to_black(SRGB, EUROPE).colours(np.zeros((0, 1))).shape == (0, 4)


def test_one_call_or_many_give_the_same() -> None:
    values = np.random.default_rng(7).random((50, 3))
    conversion = to_condition(SRGB, EUROPE)
    one_by_one = np.concatenate([conversion.colours(row[None]) for row in values])
    assert np.array_equal(conversion.colours(values), one_by_one)


def test_a_conversion_is_made_once() -> None:
    again = read_profile(SRGB.data)
    assert to_condition(SRGB, EUROPE) is to_condition(again, replace(EUROPE))
    assert to_condition(SRGB, EUROPE) is not to_condition(SRGB, replace(EUROPE, intent="perceptual"))


@every_condition
def test_inks_of_another_press_are_converted_too(condition) -> None:
    """From CMYK to CMYK through colour: what both papers can print looks the same, relative to each paper."""
    source = read_profile(EUROPE.profile)
    inks = [[0.3, 0.1, 0.1, 0], [0.1, 0.3, 0.1, 0], [0.1, 0.1, 0.4, 0], [0.25, 0.2, 0.2, 0.1]]
    unmoved = replace(condition, black_point_compensation=False)
    found = to_condition(source, unmoved).colours(inks)
    before = condition_lab(EUROPE, inks) - condition_lab(EUROPE, [[0, 0, 0, 0]])
    after = condition_lab(condition, found) - condition_lab(condition, [[0, 0, 0, 0]])
    assert np.abs(before - after).max() < 1.5


@pytest.mark.parametrize("kind", ["XYZ", "LAB"])
def test_a_source_of_no_device_is_refused(kind: str) -> None:
    source = read_profile(ImageCms.ImageCmsProfile(ImageCms.createProfile(kind)).tobytes())
    with pytest.raises(ValueError, match=r"does not describe gray, RGB or CMYK colours\.$"):
        to_condition(source, EUROPE)
    with pytest.raises(ValueError, match=r"does not describe gray, RGB or CMYK colours\.$"):
        gray_to_black(source, EUROPE)


def damaged_source() -> Profile:
    """A screen profile whose tone curves are gone: it opens, and converts nothing."""
    data = bytearray(SRGB.data)
    for name, offset, size in SRGB.tags:
        if name.endswith("TRC"):
            data[offset : offset + size] = bytes(size)
    return read_profile(bytes(data))


def test_a_damaged_source_is_refused_rather_than_replaced() -> None:
    with pytest.raises(ValueError, match=r"is damaged or incomplete: no colour can be converted with it\.$"):
        to_condition(damaged_source(), EUROPE)


@pytest.mark.parametrize("kind", ["screen", "gray", "press"])
@settings(max_examples=60, deadline=None)
@given(changes=st.lists(st.tuples(st.integers(0, 2**20), st.integers(0, 255)), min_size=1, max_size=5))
def test_a_damaged_source_gives_inks_or_a_sentence(kind: str, changes: list[tuple[int, int]]) -> None:
    """Profiles inside a customer's file are anyone's; whatever stands in them, no crash, and inks are inks."""
    data = bytearray({"screen": SRGB.data, "gray": GRAY.data, "press": EUROPE.profile.read_bytes()}[kind])
    for place, value in changes:
        data[place % min(len(data), 1200)] = value
    inks, words = inks_or_words(bytes(data))
    if inks is None:
        assert words.endswith(".")
        return
    assert np.isfinite(inks).all()
    assert ((inks >= 0) & (inks <= 1)).all()


def inks_or_words(data: bytes) -> tuple[np.ndarray | None, str]:
    try:
        conversion = to_condition(read_profile(data), EUROPE)
    except ValueError as error:
        return None, str(error)
    levels = np.linspace(0, 1, 9)[:, None].repeat(conversion.source.channels, 1)
    return conversion.colours(levels), ""


def test_a_condition_with_a_screen_profile_is_refused(tmp_path) -> None:
    path = tmp_path / "screen.icc"
    path.write_bytes(SRGB.data)
    with pytest.raises(ValueError, match=r"screen\.icc is a profile of a screen"):
        to_condition(SRGB, replace(EUROPE, name="screen", profile=path))


@every_condition
def test_gray_on_the_black_ink_keeps_its_lightness(condition) -> None:
    """Y is stretched between paper and black ink as black point compensation does (ISO 18619)."""
    gray = np.linspace(0, 1, 21)[:, None]
    inks = gray_to_black(SRGB, condition).colours(gray)
    wanted = ((srgb_lab(gray.repeat(3, 1))[:, 0] + 16) / 116) ** 3
    seen = ((condition_lab(condition, inks)[:, 0] + 16) / 116) ** 3
    paper, black = seen[-1], seen[0]
    light = gray[:, 0] > 0.1  # darker, the cube stands for L* no longer
    assert seen[light] == pytest.approx((black + wanted * (paper - black))[light], abs=0.003)


def test_gray_of_a_gray_profile_and_of_a_screen_agree() -> None:
    """A gray profile with the tone curve of sRGB gives what equal red, green and blue give."""
    levels = np.linspace(0, 1, 33)[:, None]
    ours = gray_to_black(GRAY, EUROPE).colours(levels)
    assert ours == pytest.approx(gray_to_black(SRGB, EUROPE).colours(levels), abs=1e-4)
    both = to_condition(GRAY, EUROPE).colours(levels)
    assert both == pytest.approx(to_condition(SRGB, EUROPE).colours(levels.repeat(3, 1)), abs=2e-3)


@every_condition
def test_no_picture_of_a_screen_takes_more_ink_than_the_paper(condition) -> None:
    steps = np.arange(0, 256, 15, dtype=np.uint8)
    cube = np.stack(np.meshgrid(steps, steps, steps), -1)
    picture = pyvips.Image.new_from_memory(cube.tobytes(), len(steps), len(steps) ** 2, 3, "uchar")
    inks = to_condition(SRGB, condition).picture(picture).numpy().astype(float)
    assert inks.sum(axis=2).max() / 2.55 <= condition.ink_limit


def test_an_open_picture_is_not_computed_before_it_is_asked_for() -> None:
    """A picture of 80 million pixels costs nothing until someone reads it, and then a strip at a time."""
    huge = pyvips.Image.black(10000, 8000, bands=3)
    picture = to_condition(SRGB, EUROPE).picture(huge)
    region = pyvips.Region.new(picture)
    assert len(region.fetch(0, 0, 10000, 4)) == 10000 * 4 * 4


def test_pillow_opens_the_shipped_profiles() -> None:
    for condition in SHIPPED.values():
        opened = ImageCms.ImageCmsProfile(io.BytesIO(condition.profile.read_bytes()))
        assert opened.profile.xcolor_space.strip() == "CMYK"
