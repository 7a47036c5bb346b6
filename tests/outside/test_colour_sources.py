"""RGB of several screens and cameras to every condition, against LittleCMS by way of Pillow and of libvips."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import pyvips
from numpy.typing import NDArray
from PIL import Image, ImageCms

from hotfolder.colour.condition import SHIPPED, Condition, Intent
from hotfolder.colour.profile import SRGB, Profile, read_profile
from hotfolder.colour.transform import to_condition
from hotfolder.pdf.values.calibrated import calibrated_profile
from hotfolder.pdf.values.spaces import Space

INTENTS: dict[Intent, int] = {"perceptual": 0, "relative": 1}


def made(gamma: float, *matrix: float) -> Profile:
    """A profile from a white of D65 and the XYZ of red, green and blue, as CalRGB states them (8.6.5.3)."""
    return read_profile(
        calibrated_profile(
            Space("CalRGB", 3, ("CalRGB", gamma, matrix), white=(0.9505, 1.0, 1.089), gamma=(gamma,) * 3, matrix=matrix)
        )
    )


SOURCES = {
    "sRGB": SRGB,
    # The primaries of IEC 61966-2-5 (a wide gamut for photographs) and of SMPTE RP 431-2 with the white of D65,
    # to XYZ; from memory of published tables, three digits.
    "wide": made(2.2, 0.577, 0.297, 0.027, 0.186, 0.627, 0.071, 0.188, 0.075, 0.991),
    "cinema": made(2.6, 0.487, 0.229, 0.0, 0.266, 0.692, 0.045, 0.198, 0.079, 1.044),
    "dark": made(1.0, 0.4124, 0.2126, 0.0193, 0.3576, 0.7152, 0.1192, 0.1805, 0.0722, 0.9505),
}
every_source = pytest.mark.parametrize("source", SOURCES.values(), ids=SOURCES)
every_condition = pytest.mark.parametrize("condition", SHIPPED.values(), ids=SHIPPED)
every_intent = pytest.mark.parametrize("intent", INTENTS)


def spread(count: int = 4000) -> NDArray[np.uint8]:
    """Colours all over the space, the grays and the two ends among them, in 8 bits."""
    values = np.random.default_rng(61966).integers(0, 256, (count, 3), dtype=np.uint8)
    values[: count // 4] = values[: count // 4, :1]
    values[0], values[1] = 0, 255
    return values


@every_source
@every_condition
@every_intent
def test_single_colours_to_one_unit_of_255(source: Profile, condition: Condition, intent: Intent) -> None:
    values = spread()
    conversion = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(source.data)), str(condition.profile), "RGB", "CMYK",
        ImageCms.Intent(INTENTS[intent]), ImageCms.Flags.NOOPTIMIZE | ImageCms.Flags.BLACKPOINTCOMPENSATION,
    )  # fmt: skip
    theirs = ImageCms.applyTransform(Image.frombytes("RGB", (len(values), 1), values.tobytes()), conversion)
    assert theirs is not None
    expected = np.frombuffer(theirs.tobytes(), np.uint8).reshape(-1, 4).astype(float)
    ours = to_condition(source, replace(condition, intent=intent, black_point_compensation=True)).colours(values / 255)
    assert np.abs(ours * 255 - expected).max() <= 1.0


@every_source
@every_condition
@every_intent
@pytest.mark.parametrize("deep", [False, True], ids=["8 bits", "16 bits"])
def test_pictures_to_one_unit_of_255_as_libvips_converts_them(
    source: Profile, condition: Condition, intent: Intent, deep: bool, tmp_path: Path
) -> None:
    values = spread().astype(np.uint16) * 257 if deep else spread()
    kind, bits = ("ushort", 16) if deep else ("uchar", 8)
    picture = pyvips.Image.new_from_memory(values.tobytes(), 80, len(values) // 80, 3, kind)
    picture = picture.copy(interpretation="rgb16" if deep else "srgb")
    (tmp_path / "source.icc").write_bytes(source.data)
    theirs = picture.icc_transform(
        str(condition.profile), input_profile=str(tmp_path / "source.icc"), intent=intent, depth=bits,
        black_point_compensation=True,
    )  # fmt: skip
    ours = to_condition(source, replace(condition, intent=intent, black_point_compensation=True)).picture(picture)
    apart = np.abs(ours.numpy().astype(float) - theirs.numpy().astype(float)) / (257 if deep else 1)
    assert apart.max() <= 1.0
