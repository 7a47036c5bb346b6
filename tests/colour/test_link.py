"""CMYK of one press to that of another: against LittleCMS in two steps, and that what is pure stays pure."""

import io
from dataclasses import replace

import numpy as np
import pytest
import pyvips
from numpy.typing import NDArray
from PIL import Image, ImageCms

from hotfolder.colour.condition import SHIPPED, Condition, Intent
from hotfolder.colour.difference import ciede2000
from hotfolder.colour.link import SHOULDER, link
from hotfolder.colour.profile import SRGB, read_profile
from hotfolder.colour.transform import condition_lab, relative_lab, separate_again

Floats = NDArray[np.float64]
COATED, US, UNCOATED = (SHIPPED[name] for name in ("coated_europe", "coated_us", "uncoated"))
INTENTS: dict[Intent, int] = {"perceptual": 0, "relative": 1, "saturation": 2, "absolute": 3}
PAIRS = [(COATED, UNCOATED), (UNCOATED, COATED), (US, COATED), (COATED, US)]
every_pair = pytest.mark.parametrize(("source", "press"), PAIRS, ids=lambda condition: condition.name)


def mixtures(count: int = 4000) -> NDArray[np.uint8]:
    """Colours of at least two inks, none of them near to one alone."""
    values = np.random.default_rng(15076).integers(0, 256, (count, 4)).astype(np.uint8)
    ordered = np.sort(values, axis=1).astype(int)
    return values[(ordered[:, 2] > ordered[:, 3] * SHOULDER) & (values[:, :3].max(axis=1) > values[:, 3] * SHOULDER)]


def two_steps(
    source: Condition, press: Condition, values: NDArray[np.uint8], intent: int, moved: bool, exact: bool
) -> NDArray[np.uint8]:
    """LittleCMS by way of Pillow from profile to profile; `exact`: without its short cut over a grid."""
    flags = ImageCms.Flags.BLACKPOINTCOMPENSATION if moved else ImageCms.Flags.NONE
    flags |= ImageCms.Flags.NOOPTIMIZE if exact else ImageCms.Flags.NONE
    profiles = [io.BytesIO(condition.profile.read_bytes()) for condition in (source, press)]
    conversion = ImageCms.buildTransform(*profiles, "CMYK", "CMYK", ImageCms.Intent(intent), flags)
    theirs = ImageCms.applyTransform(Image.frombytes("CMYK", (len(values), 1), values.tobytes()), conversion)
    assert theirs is not None
    return np.frombuffer(theirs.tobytes(), np.uint8).reshape(-1, 4)


def picture_of(values: NDArray[np.uint8]) -> pyvips.Image:
    made = pyvips.Image.new_from_memory(values.tobytes(), len(values), 1, 4, "uchar")
    return made.copy(interpretation="cmyk")


@every_pair
@pytest.mark.parametrize("intent", INTENTS)
@pytest.mark.parametrize("moved", [True, False], ids=["black moved", "black kept"])
def test_mixtures_go_through_both_profiles(source: Condition, press: Condition, intent: Intent, moved: bool) -> None:
    values = mixtures()
    made = link(read_profile(source.profile), replace(press, intent=intent, black_point_compensation=moved))
    asked = INTENTS[intent], moved or intent in ("perceptual", "saturation")  # ICC.1:2010 annex D
    pictured = made.picture(picture_of(values)).numpy().reshape(-1, 4)
    assert abs(pictured.astype(int) - two_steps(source, press, values, *asked, exact=False)).max() <= 1
    exact = two_steps(source, press, values, *asked, exact=True)
    flat = made.colours(values / 255)
    assert np.percentile(abs(flat * 255 - exact), 98) <= 3.5  # Pillow's bytes are steps of 1; near black they are steep
    for inks, mean, most in ((flat, 0.15, 1.0), (pictured / 255, 0.2, 1.0)):
        apart = ciede2000(condition_lab(press, inks), condition_lab(press, exact / 255))
        assert apart.mean() < mean
        assert np.percentile(apart, 99) < most


@every_pair
@pytest.mark.parametrize("pure", ["black", "inks"])
def test_one_ink_alone_stays_alone(source: Condition, press: Condition, pure: str) -> None:
    made = link(read_profile(source.profile), replace(press, cmyk_pure=pure))  # type: ignore[arg-type]
    for ink in range(4):
        tints = np.zeros((256, 4))
        tints[:, ink] = np.linspace(0, 1, 256)
        found = made.colours(tints)
        others = np.delete(found, ink, axis=1)
        if ink == 3 or pure == "inks":
            assert others.max() == 0
            assert found[0, ink] == 0
            assert found[-1, ink] == 1
            assert (np.diff(found[:, ink]) > 0).all()
            pictured = made.picture(picture_of(np.round(tints * 255).astype(np.uint8))).numpy().reshape(-1, 4)
            assert abs(pictured / 255 - found).max() < 1.01 / 255


@every_pair
def test_tints_of_black_keep_their_tone(source: Condition, press: Condition) -> None:
    """Lightness as a share of the way from paper to solid, read off both profiles."""
    tints = np.zeros((33, 4))
    tints[:, 3] = np.linspace(0, 1, 33)
    origin = read_profile(source.profile)
    before = relative_lab(origin, tints)[:, 0]
    after = relative_lab(read_profile(press.profile), link(origin, press).colours(tints))[:, 0]
    share = (before - before[0]) / (before[-1] - before[0]), (after - after[0]) / (after[-1] - after[0])
    assert abs(share[0] - share[1]).max() < 0.01


@every_pair
@pytest.mark.parametrize("pure", ["black", "inks"])
def test_a_gradient_does_not_tear_where_purity_ends(source: Condition, press: Condition, pure: str) -> None:
    made = link(read_profile(source.profile), replace(press, cmyk_pure=pure))  # type: ignore[arg-type]
    steps = np.linspace(0, 1, 2001)
    for start, end in (([0, 0, 0, 1], [0.5, 0, 0, 1]), ([0, 0, 0, 0.6], [1, 1, 1, 0]), ([1, 0, 0, 0], [1, 1, 0, 0])):
        line = np.array(start) + steps[:, None] * (np.array(end) - np.array(start))
        assert abs(np.diff(made.colours(line, smooth=True), axis=0)).max() < 0.02
        given = np.round(line * 255).astype(np.uint8)
        pictured = made.picture(picture_of(given)).numpy().reshape(-1, 4) / 255
        apart = ciede2000(condition_lab(press, pictured), condition_lab(press, made.colours(given / 255, smooth=True)))
        assert apart.max() < 1


def test_a_flat_colour_that_is_nearly_black_alone_is_not_pure() -> None:
    made = link(read_profile(UNCOATED.profile), COATED)
    assert made.colours([[0.01, 0, 0, 1]])[0, :3].max() > 0.1


def test_sixteen_bits_stay() -> None:
    values = (np.random.default_rng(1).random((500, 4)) * 65535).astype(np.uint16)
    given = pyvips.Image.new_from_memory(values.tobytes(), 500, 1, 4, "ushort").copy(interpretation="cmyk")
    made = link(read_profile(UNCOATED.profile), COATED)
    found = made.picture(given)
    assert found.format == "ushort"
    inks = found.numpy().reshape(-1, 4) / 65535
    apart = ciede2000(condition_lab(COATED, inks), condition_lab(COATED, made.colours(values / 65535, smooth=True)))
    assert np.percentile(apart, 99) < 1


def test_only_cmyk_can_be_linked() -> None:
    with pytest.raises(ValueError, match=r"does not describe CMYK\.$"):
        link(SRGB, COATED)


@pytest.mark.parametrize("condition", SHIPPED.values(), ids=SHIPPED)
def test_separated_again_it_looks_the_same_with_less_ink(condition: Condition) -> None:
    heavy = 1 - np.random.default_rng(3).random((500, 4)) ** 2 * 0.5
    heavy = heavy[heavy.sum(axis=1) > condition.ink_limit / 100]
    assert len(heavy) > 100
    made = separate_again(condition).colours(heavy)
    assert made.sum(axis=1).max() <= condition.ink_limit / 100 + 0.01
    press = read_profile(condition.profile)
    apart = np.linalg.norm(relative_lab(press, heavy) - relative_lab(press, made), axis=1)
    assert np.percentile(apart, 95) < 4.5  # CIE 1976; the darkest blacks lie beyond what the limit can print
