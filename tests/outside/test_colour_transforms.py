"""Conversions against programs that did not make them: LittleCMS called directly, and Argyll's own reader of ICC."""

import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import pyvips
from numpy.typing import NDArray
from PIL import Image, ImageCms

from hotfolder.colour.condition import PROFILES, SHIPPED, Condition, Intent
from hotfolder.colour.difference import ciede2000
from hotfolder.colour.profile import SRGB, read_profile
from hotfolder.colour.transform import (
    condition_lab,
    condition_picture_to_srgb,
    condition_to_srgb,
    lab_to_condition,
    srgb_lab,
    to_condition,
)

Floats = NDArray[np.float64]
SCREEN = PROFILES / "srgb.icc"
INTENTS: dict[Intent, int] = {"perceptual": 0, "relative": 1, "saturation": 2, "absolute": 3}

every_condition = pytest.mark.parametrize("condition", SHIPPED.values(), ids=SHIPPED)
needs_transicc = pytest.mark.skipif(
    shutil.which("transicc") is None, reason="LittleCMS's transicc is not installed (Debian: liblcms2-utils)"
)
needs_xicclu = pytest.mark.skipif(
    shutil.which("xicclu") is None, reason="Argyll's xicclu is not installed (Debian: argyll)"
)


def spread(channels: int, count: int = 800) -> Floats:
    """Colours all over the space, the grays and the two ends among them."""
    values = np.random.default_rng(12647).random((count, channels))
    values[: count // 4] = values[: count // 4, :1]
    values[0], values[1] = 0, 1
    return values


def asked(program: Sequence[str], values: Floats) -> Floats:
    lines = "\n".join(" ".join(f"{value:.8f}" for value in row) for row in values) + "\n"
    done = subprocess.run(program, input=lines, capture_output=True, text=True, check=True)
    return np.array([[float(word) for word in line.split()] for line in done.stdout.splitlines() if line.strip()])


def transicc(source: Path | str, target: Path | str, intent: Intent, moved: bool, values: Floats) -> Floats:
    program = ["transicc", "-v0", f"-t{INTENTS[intent]}", f"-i{source}", f"-o{target}"]
    return asked([*program, "-b"] if moved else program, values)


def xicclu(profile: Path, options: Sequence[str], values: Floats) -> Floats:
    lines = "\n".join(" ".join(f"{value:.8f}" for value in row) for row in values) + "\n"
    program = ["xicclu", "-v0", "-s100", "-pl", *options, str(profile)]
    done = subprocess.run(program, input=lines, capture_output=True, text=True, check=True)
    return np.array([[float(word) for word in line.split()] for line in done.stdout.splitlines() if line.strip()])


@needs_transicc
@every_condition
@pytest.mark.parametrize("intent", INTENTS)
@pytest.mark.parametrize("moved", [True, False], ids=["black moved", "black kept"])
def test_single_colours_as_littlecms_computes_them_in_floating_point(
    condition: Condition, intent: Intent, moved: bool
) -> None:
    asked_for = replace(condition, intent=intent, black_point_compensation=moved)
    values = spread(3)
    ours = to_condition(SRGB, asked_for).colours(values)
    apart = np.abs(transicc(SCREEN, condition.profile, intent, moved, values * 255) / 100 - ours)
    assert apart.max() < 0.0005  # 0.05 % of an ink; 8 bits could tell 0.4 %
    assert apart.mean() < 0.00002


@needs_transicc
@every_condition
def test_the_look_of_inks_as_littlecms_computes_it(condition: Condition) -> None:
    inks = spread(4)
    apart = ciede2000(
        condition_lab(condition, inks), transicc(condition.profile, "*Lab", "absolute", False, inks * 100)
    )
    assert apart.mean() < 0.15
    assert apart.max() < 1.0


@needs_transicc
@every_condition
def test_the_proof_on_screen_as_littlecms_computes_it(condition: Condition) -> None:
    inks = spread(4)
    theirs = transicc(condition.profile, SCREEN, "relative", True, inks * 100) / 255
    apart = ciede2000(srgb_lab(condition_to_srgb(condition, inks)), srgb_lab(theirs.clip(0, 1)))
    assert apart.mean() < 0.15
    assert np.percentile(apart, 99) < 1.0


@needs_xicclu
@every_condition
def test_the_look_of_inks_as_argyll_computes_it(condition: Condition) -> None:
    inks = spread(4)
    apart = ciede2000(condition_lab(condition, inks), xicclu(condition.profile, ["-ff", "-ia"], inks * 100))
    assert apart.mean() < 0.15
    assert np.percentile(apart, 99) < 1.0


@needs_xicclu
@every_condition
def test_inks_for_lab_colours_as_argyll_finds_them(condition: Condition) -> None:
    exact = replace(condition, black_point_compensation=False)
    lab = srgb_lab(spread(3))
    theirs = xicclu(condition.profile, ["-fb", "-ir"], lab) / 100
    ours = lab_to_condition(exact, lab)
    # Argyll reads the grid by other weights (multilinear) than LittleCMS (tetrahedra); the colour must agree.
    apart = ciede2000(condition_lab(condition, ours), condition_lab(condition, theirs))
    assert apart.mean() < 0.25
    assert np.percentile(apart, 99) < 1.5
    assert np.abs(ours - theirs).mean() < 0.005


@every_condition
@pytest.mark.parametrize("intent", INTENTS)
def test_a_picture_as_pillow_converts_it(condition: Condition, intent: Intent) -> None:
    """Pillow calls a LittleCMS of its own, here without its short cut over a grid: the exact 8-bit answer."""
    values = np.round(spread(3) * 255).astype(np.uint8)
    flags = ImageCms.Flags.NOOPTIMIZE | ImageCms.Flags.BLACKPOINTCOMPENSATION
    conversion = ImageCms.buildTransform(
        str(SCREEN), str(condition.profile), "RGB", "CMYK", ImageCms.Intent(INTENTS[intent]), flags
    )
    theirs = ImageCms.applyTransform(Image.frombytes("RGB", (len(values), 1), values.tobytes()), conversion)
    assert theirs is not None
    expected = np.frombuffer(theirs.tobytes(), np.uint8).reshape(-1, 4) / 255
    source = pyvips.Image.new_from_memory(values.tobytes(), len(values), 1, 3, "uchar")
    ours = to_condition(SRGB, replace(condition, intent=intent)).picture(source).numpy().reshape(-1, 4) / 255
    apart = ciede2000(condition_lab(condition, ours), condition_lab(condition, expected))
    assert apart.mean() < 0.2
    assert apart.max() < 1.5


@pytest.mark.parametrize("intent", INTENTS)
@pytest.mark.parametrize("moved", [True, False], ids=["black moved", "black kept"])
def test_inks_of_another_press_as_pillow_converts_them(intent: Intent, moved: bool) -> None:
    source, condition = SHIPPED["coated_europe"], SHIPPED["uncoated"]
    values = np.round(spread(4) * 255).astype(np.uint8)
    always = intent in ("perceptual", "saturation")  # black is moved with these whatever was asked for
    move = ImageCms.Flags.BLACKPOINTCOMPENSATION if moved or always else ImageCms.Flags.NONE
    flags = ImageCms.Flags.NOOPTIMIZE | move
    conversion = ImageCms.buildTransform(
        str(source.profile), str(condition.profile), "CMYK", "CMYK", ImageCms.Intent(INTENTS[intent]), flags
    )
    theirs = ImageCms.applyTransform(Image.frombytes("CMYK", (len(values), 1), values.tobytes()), conversion)
    assert theirs is not None
    expected = np.frombuffer(theirs.tobytes(), np.uint8).reshape(-1, 4) / 255
    asked_for = replace(condition, intent=intent, black_point_compensation=moved)
    ours = to_condition(read_profile(source.profile), asked_for).colours(values / 255)
    apart = ciede2000(condition_lab(condition, ours), condition_lab(condition, expected))
    assert apart.mean() < 0.2
    assert np.percentile(apart, 99) < 1.0


@every_condition
@pytest.mark.parametrize(("kind", "largest"), [("uchar", 255), ("ushort", 65535)])
def test_a_flat_colour_and_the_same_colour_in_a_picture_look_alike(
    condition: Condition, kind: str, largest: int
) -> None:
    """A logo drawn and a logo photographed must not differ: under CIEDE2000 1 nobody sees it (common practice)."""
    whole = np.round(spread(3) * largest)
    picture = pyvips.Image.new_from_memory(
        whole.astype(np.uint8 if largest == 255 else np.uint16).tobytes(), len(whole), 1, 3, kind
    )
    conversion = to_condition(SRGB, condition)
    flat = conversion.colours(whole / largest)
    pictured = conversion.picture(picture).numpy().reshape(-1, 4) / largest
    apart = ciede2000(condition_lab(condition, flat), condition_lab(condition, pictured))
    assert apart.mean() < 0.15
    assert apart.max() < 1.0


@every_condition
def test_the_proof_of_a_picture_and_of_flat_inks_look_alike(condition: Condition) -> None:
    inks = np.round(spread(4) * 65535)
    picture = pyvips.Image.new_from_memory(inks.astype(np.uint16).tobytes(), len(inks), 1, 4, "ushort")
    pictured = condition_picture_to_srgb(condition, picture).numpy().reshape(-1, 3) / 65535
    apart = ciede2000(srgb_lab(pictured), srgb_lab(condition_to_srgb(condition, inks / 65535)))
    assert apart.mean() < 0.3
    assert np.percentile(apart, 99) < 2.0


# The primaries of sRGB (IEC 61966-2-1) adapted to D50 by Bradford; from memory of published tables, one digit.
@pytest.mark.parametrize(
    ("rgb", "lab"),
    [
        ((1, 1, 1), (100, 0, 0)),
        ((0, 0, 0), (0, 0, 0)),
        ((1, 0, 0), (54.3, 80.8, 69.9)),
        ((0, 1, 0), (87.8, -79.3, 81.0)),
        ((0, 0, 1), (29.6, 68.3, -112.0)),
    ],
)
def test_the_primaries_of_a_screen(rgb: tuple[float, ...], lab: tuple[float, ...]) -> None:
    assert srgb_lab([rgb])[0] == pytest.approx(lab, abs=0.15)
