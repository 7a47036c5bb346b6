"""Conversions of colours and whole pictures into the inks of a printing condition, and back to see them."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pyvips
from numpy.typing import ArrayLike, NDArray

from hotfolder.colour import cmm
from hotfolder.colour.condition import Condition, Intent
from hotfolder.colour.pcs import D50, lab_to_xyz, xyz_to_lab
from hotfolder.colour.profile import SRGB, Profile, check_output_profile
from hotfolder.colour.shaper import media_white, shaper_xyz

Floats = NDArray[np.float64]


class ToCondition:
    """Converts from one source profile into one printing condition. Make it with `to_condition`, which keeps it."""

    def __init__(self, source: Profile, condition: Condition) -> None:
        cmm.check_source(source)
        self.source = source
        self.condition = condition
        self._press = press_profile(condition)

    def colours(self, values: ArrayLike) -> Floats:
        """Device values (n, channels) in 0..1 to inks (n, 4) in 0..1; one call for many colours is much cheaper."""
        given = _rows(values, self.source.channels)
        if self.condition.intent == "absolute":
            xyz = cmm.relative_xyz(self.source, given, "relative", False)
            return _inks(self._press, xyz * media_white(self.source) / media_white(self._press), "relative", False)
        intent, compensate = _rule(self.condition)
        xyz = cmm.relative_xyz(self.source, given, intent, compensate)
        return _inks(self._press, xyz, intent, compensate)

    def picture(self, image: pyvips.Image) -> pyvips.Image:
        """A picture in the source's space to CMYK of the same depth (8 or 16 bits a channel), computed lazily."""
        intent, compensate = _rule(self.condition)
        return cmm.convert_picture(image, self.source, self._press, intent, compensate)


class GrayToBlack:
    """Puts the tone of neutral grays on the black ink alone, so that text and rules stay crisp on press."""

    def __init__(self, source: Profile, condition: Condition) -> None:
        cmm.check_source(source)
        if source.channels not in (1, 3) or source.space == "Lab ":
            raise ValueError(f"{source.name} has no neutral gray axis that could be put on the black ink alone.")
        self.source = source
        self._ramp_y = _black_ramp(condition)

    def colours(self, values: ArrayLike) -> Floats:
        """Gray levels (n, 1) in 0..1 (0 is black) to inks (n, 4): L* kept, the black point moved to that of K."""
        gray = _rows(values, 1)
        inks = np.zeros((len(gray), 4))
        device = np.repeat(gray, self.source.channels, axis=1)
        light = cmm.relative_xyz(self.source, device, "relative", True)[:, 1]
        darkest = self._ramp_y[-1]
        wanted = darkest + np.clip(light, 0, 1) * (1 - darkest)
        inks[:, 3] = np.interp(-wanted, -self._ramp_y, np.linspace(0, 1, len(self._ramp_y)))
        return inks


@lru_cache(maxsize=64)
def to_condition(source: Profile, condition: Condition) -> ToCondition:
    """The conversion from a source profile into a condition, made once."""
    return ToCondition(source, condition)


@lru_cache(maxsize=64)
def gray_to_black(source: Profile, condition: Condition) -> GrayToBlack:
    """The conversion of a source's grays to black ink alone, made once."""
    return GrayToBlack(source, condition)


@lru_cache(maxsize=16)
def separate_again(condition: Condition) -> ToCondition:
    """The condition's own inks separated anew by its profile: the same look, with the profile's black and ink limit."""
    exact = replace(condition.for_use(False), intent="relative", black_point_compensation=False)
    return to_condition(press_profile(condition), exact)


def lab_to_condition(condition: Condition, lab: ArrayLike) -> Floats:
    """Lab (D50) of shape (n, 3) to inks (n, 4) in 0..1, for colours that come without a profile.

    White is L* 100 and becomes bare paper; only with the absolute intent are the colours taken as they are.
    """
    rows = np.asarray(lab, np.float64).reshape(-1, 3)
    press = press_profile(condition)
    xyz = lab_to_xyz(rows)
    if condition.intent == "absolute":
        return _inks(press, xyz * D50 / media_white(press), "relative", False)
    return _inks(press, xyz, *_rule(condition))


def lab_picture_to_condition(condition: Condition, lab: pyvips.Image, depth: int) -> pyvips.Image | None:
    """The same for a picture of three bands of floats, lazily, in 8 or 16 bits; None with the absolute intent, which
    needs the colours one by one."""
    if condition.intent == "absolute":
        return None
    return cmm.lab_picture(lab, press_profile(condition), *_rule(condition), depth)


def condition_lab(condition: Condition, cmyk: ArrayLike) -> Floats:
    """What inks (n, 4) in 0..1 look like on the condition's paper: absolute colorimetric Lab (D50), (n, 3)."""
    press = press_profile(condition)
    xyz = cmm.relative_xyz(press, _rows(cmyk, 4), "relative", False)
    return xyz_to_lab(xyz * media_white(press) / D50)


def condition_to_srgb(condition: Condition, cmyk: ArrayLike) -> Floats:
    """Inks (n, 4) in 0..1 to sRGB (n, 3) in 0..1 for a screen: paper is white, the darkest black is black."""
    xyz = cmm.relative_xyz(press_profile(condition), _rows(cmyk, 4), "relative", True)
    return _srgb_from_xyz(xyz)


def condition_picture_to_srgb(condition: Condition, image: pyvips.Image) -> pyvips.Image:
    """A CMYK picture to sRGB of the same depth, lazily, by the rule of `condition_to_srgb`."""
    return cmm.convert_picture(image, press_profile(condition), SRGB, "relative", True)


def srgb_lab(rgb: ArrayLike) -> Floats:
    """sRGB (n, 3) in 0..1 to Lab (D50), (n, 3)."""
    xyz = shaper_xyz(SRGB, _rows(rgb, 3))
    assert xyz is not None
    return xyz_to_lab(xyz)


def relative_lab(profile: Profile, values: ArrayLike) -> Floats:
    """What a profile's device values (n, channels) in 0..1 look like beside its own white: Lab (D50), (n, 3)."""
    return xyz_to_lab(cmm.relative_xyz(profile, _rows(values, profile.channels), "relative", False))


@lru_cache(maxsize=32)
def press_profile(condition: Condition) -> Profile:
    """The condition's output profile, read and checked once. ValueError with a plain sentence where it can't be used."""
    return check_output_profile(condition.profile)


def prepare(condition: Condition) -> None:
    """Read and check the condition's profile now rather than at the first colour. Starts no thread."""
    press_profile(condition)


@lru_cache(maxsize=32)
def _black_ramp(condition: Condition) -> Floats:
    """Y of the black ink alone at 0..1 in 1024 steps, made to fall steadily, paper at 1."""
    inks = np.zeros((1025, 4))
    inks[:, 3] = np.linspace(0, 1, 1025)
    ramp = cmm.relative_xyz(press_profile(condition), inks, "relative", False)[:, 1]
    falling = np.minimum.accumulate(ramp / ramp[0])
    return falling - np.linspace(0, 1e-9, len(falling))


def _rows(values: ArrayLike, channels: int) -> Floats:
    rows = np.asarray(values, np.float64)
    if rows.ndim != 2 or rows.shape[1] != channels:
        raise ValueError(f"colours of {channels} channels were expected, an array of shape {rows.shape} came")
    return np.clip(np.nan_to_num(rows), 0, 1)


def _rule(condition: Condition) -> tuple[Intent, bool]:
    """Intent, and whether black is moved: always with tables made for their look, as ICC.1:2010 annex D has it."""
    made_for_looks = condition.intent in ("perceptual", "saturation")
    return condition.intent, condition.black_point_compensation or made_for_looks


def _inks(press: Profile, xyz: Floats, intent: str, compensate: bool) -> Floats:
    return cmm.device_values(press, xyz, intent, compensate)


def _srgb_from_xyz(xyz: Floats) -> Floats:
    """IEC 61966-2-1 backwards, with the matrix of the shipped sRGB profile (already adapted to D50)."""
    matrix = shaper_xyz(SRGB, np.eye(3))
    assert matrix is not None
    linear = np.clip(xyz @ np.linalg.inv(matrix), 0, 1)
    return np.where(linear <= 0.0031308, linear * 12.92, 1.055 * linear ** (1 / 2.4) - 0.055)
