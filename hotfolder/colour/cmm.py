"""The one place that speaks to LittleCMS (through libvips): single colours exactly, pictures strip by strip."""

import io
from functools import cache, lru_cache
from typing import Any

import numpy as np
import pyvips
from numpy.typing import NDArray
from PIL import Image, ImageCms

from hotfolder.colour.pcs import D50, lab_to_xyz, move_black, raise_black, xyz_to_lab
from hotfolder.colour.profile import Profile
from hotfolder.colour.shaper import shaper_xyz

Floats = NDArray[np.float64]

_NO_INK = 1e-4
# LittleCMS takes no black for one that is lighter than L* 50 (Y 0.184).
_DARK_ENOUGH = 0.184
_TONES = np.array([0.02, 0.05, 0.1, 0.2, 0.4, 0.7])  # Y of grays from which the press's black is found
_ROUNDS, _TRIED = 4, 65
# Names libvips gives to pictures of 8 and of 16 bits a channel, by the profile's colour space.
_MEANING = {"GRAY": ("b-w", "grey16"), "RGB ": ("srgb", "rgb16"), "CMYK": ("cmyk", "cmyk")}
_MODES = {"GRAY": "L", "RGB ": "RGB", "CMYK": "CMYK"}  # Pillow's
_INTENTS = {
    "perceptual": ImageCms.Intent.PERCEPTUAL,
    "relative": ImageCms.Intent.RELATIVE_COLORIMETRIC,
    "saturation": ImageCms.Intent.SATURATION,
    "absolute": ImageCms.Intent.ABSOLUTE_COLORIMETRIC,
}
_SMALL = 2**20  # pixels
_CLASSES = ("mntr", "scnr", "prtr", "spac")


@lru_cache(maxsize=64)
def check_source(profile: Profile) -> None:
    """ValueError with a plain sentence where no colour can be converted from this profile.

    libvips would take another profile silently instead of one it cannot use, so this comes first.
    """
    if profile.device_class not in _CLASSES or profile.space not in _MEANING:
        raise ValueError(f"{profile.name} does not describe gray, RGB or CMYK colours.")
    mode = _MODES[profile.space]
    try:
        opened = ImageCms.ImageCmsProfile(io.BytesIO(profile.data))
        lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB"))
        for intent in ImageCms.Intent:
            ImageCms.buildTransform(opened, lab, mode, "LAB", intent, ImageCms.Flags.NOOPTIMIZE)
    except (OSError, ValueError, ImageCms.PyCMSError) as error:
        raise ValueError(f"{profile.name} is damaged or incomplete: no colour can be converted with it.") from error


def relative_xyz(profile: Profile, values: Floats, intent: str, compensate: bool) -> Floats:
    """Device values (n, channels) in 0..1 to media-relative XYZ; with `compensate`, the device's black at 0.

    Colours darker than that black come out below 0, to be clipped where they are used.
    """
    exact = shaper_xyz(profile, values)
    xyz = _table_xyz(profile, values, intent, False) if exact is None else exact
    return move_black(xyz, _black(profile, intent)) if compensate else xyz


def _table_xyz(profile: Profile, values: Floats, intent: str, compensate: bool) -> Floats:
    if not len(values):
        return np.zeros((0, 3))
    image = _marked(_row(values), profile, deep=True)
    lab = image.icc_import(embedded=True, intent=intent, black_point_compensation=compensate)
    return lab_to_xyz(_array(lab, 3))


@lru_cache(maxsize=64)
def _black(profile: Profile, intent: str) -> Floats:
    """The neutral black that LittleCMS finds for a profile, read off what its compensation does to a middle tone.

    Its own compensated Lab is of no use in the shadows: L* is cut off at 0 there while a and b stay.
    """
    darkest = shaper_xyz(profile, np.zeros((1, profile.channels)))
    if darkest is not None:
        return D50 * min(float(darkest[0, 1]), _DARK_ENOUGH)
    middle = np.full((1, profile.channels), 0.5)
    before, after = (float(_table_xyz(profile, middle, intent, moved)[0, 1]) for moved in (False, True))
    return D50 * float(np.clip((before - after) / max(1 - after, 1e-6), 0, _DARK_ENOUGH))


def device_values(press: Profile, xyz: Floats, intent: str, compensate: bool) -> Floats:
    """Media-relative XYZ (n, 3), black at 0 where `compensate`, to the press's inks (n, 4) in 0..1."""
    if not len(xyz):
        return np.zeros((0, press.channels))
    if compensate:
        # Asked to do it, LittleCMS would look for the press's black at every call, which takes longer than all the rest.
        xyz = raise_black(lab_to_xyz(_real_lab(xyz)), press_black(press, intent))
    return _exported(press, xyz, intent, False)


@lru_cache(maxsize=64)
def press_black(press: Profile, intent: str) -> Floats:
    """The neutral black to which LittleCMS moves colours for a press: the one with which the inks come out the same.

    It finds it by going there and back through the profile's tables, and tells it to nobody.
    """
    tones = D50 * _TONES[:, None]
    moved, low, high = _exported(press, tones, intent, True), 0.0, _DARK_ENOUGH
    for _ in range(_ROUNDS):
        tried = np.linspace(low, high, _TRIED)
        inks = _exported(press, np.concatenate([raise_black(tones, D50 * y) for y in tried]), intent, False)
        off = abs(inks.reshape(_TRIED, len(tones), -1) - moved).sum(axis=(1, 2))
        best, step = tried[int(off.argmin())], (high - low) / (_TRIED - 1)
        low, high = max(best - step, 0.0), min(best + step, _DARK_ENOUGH)
    return np.asarray(D50 * best)


def _exported(press: Profile, xyz: Floats, intent: str, compensate: bool) -> Floats:
    _keep_nothing()
    lab = _real_lab(xyz).astype(np.float32)
    image = pyvips.Image.new_from_memory(lab.tobytes(), len(lab), 1, 3, "float").copy(interpretation="lab")
    inks = image.icc_export(
        output_profile=str(press.path), intent=intent, black_point_compensation=compensate, depth=16
    )
    found = _array(inks, press.channels) / 65535
    # A step or two of 65535 is rounding; bare paper must stay without any ink.
    return np.where(found < _NO_INK, 0.0, found)


def _real_lab(xyz: Floats) -> Floats:
    """A damaged profile can give any number; beyond these no Lab of a profile goes (ICC.1:2010 table 12)."""
    return np.clip(np.nan_to_num(xyz_to_lab(xyz)), (0, -128, -128), (100, 127, 127))


def convert_picture(image: Any, source: Profile, target: Profile, intent: str, compensate: bool) -> pyvips.Image:
    """A picture of 8 or 16 bits a channel from one profile to another, same depth; nothing is computed yet."""
    check_source(source)
    if image.format not in ("uchar", "ushort") or image.bands != source.channels:
        raise ValueError(
            f"a picture of {source.channels} channels of 8 or 16 bits was expected, "
            f"one of {image.bands} channels ({image.format}) came"
        )
    deep = image.format == "ushort"
    if not deep and image.width * image.height <= _SMALL:
        return _convert_small(image, source, target, intent, compensate)
    converted: pyvips.Image = _marked(image, source, deep).icc_transform(
        str(target.path),
        embedded=True,
        intent=intent,
        black_point_compensation=compensate,
        depth=16 if deep else 8,
    )
    return converted


def _convert_small(image: Any, source: Profile, target: Profile, intent: str, compensate: bool) -> pyvips.Image:
    """The same at once, by Pillow, which lets a prepared conversion be kept: that takes longer than a small picture."""
    pixels = Image.frombytes(_MODES[source.space], (image.width, image.height), image.write_to_memory())
    inks = ImageCms.applyTransform(pixels, _prepared(source, target, intent, compensate))
    assert inks is not None
    name = "cmyk" if target.channels == 4 else "srgb"
    made: pyvips.Image = pyvips.Image.new_from_memory(
        inks.tobytes(), image.width, image.height, target.channels, "uchar"
    ).copy(interpretation=name)
    return made


@lru_cache(maxsize=64)
def _prepared(source: Profile, target: Profile, intent: str, compensate: bool) -> ImageCms.ImageCmsTransform:
    one, other = (ImageCms.ImageCmsProfile(io.BytesIO(profile.data)) for profile in (source, target))
    flags = ImageCms.Flags.BLACKPOINTCOMPENSATION if compensate else ImageCms.Flags.NONE
    modes = _MODES[source.space], _MODES[target.space]
    prepared = ImageCms.buildTransform(one, other, *modes, renderingIntent=_INTENTS[intent], flags=flags)
    # Pillow writes this profile out for every picture, to attach it; an output profile takes longer than the picture.
    prepared.output_profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
    return prepared


def lab_picture(lab: Any, press: Profile, intent: str, compensate: bool, depth: int) -> pyvips.Image:
    """A picture of media-relative Lab (three bands of floats) to the press's inks in 8 or 16 bits, lazily."""
    _keep_nothing()
    inks: pyvips.Image = lab.copy(interpretation="lab").icc_export(
        output_profile=str(press.path), intent=intent, black_point_compensation=compensate, depth=depth
    )
    return inks


@cache
def _keep_nothing() -> None:
    """Tells libvips, once for this process, not to keep finished operations: no picture is asked for twice."""
    pyvips.cache_set_max(0)


def _marked(image: Any, profile: Profile, deep: bool) -> Any:
    """The picture with its profile attached; libvips takes a source profile from memory in no other way."""
    _keep_nothing()
    marked = image.copy(interpretation=_MEANING[profile.space][deep])
    marked.set_type(pyvips.GValue.blob_type, "icc-profile-data", profile.data)
    return marked


def _row(values: Floats) -> Any:
    """Colours as a picture one pixel high; 16 bits is the most that LittleCMS is given for device values."""
    deep = np.round(values * 65535).astype(np.uint16)
    return pyvips.Image.new_from_memory(deep.tobytes(), len(deep), 1, deep.shape[1], "ushort")


def _array(image: Any, channels: int) -> Floats:
    return np.asarray(image.numpy(), np.float64).reshape(-1, channels)
