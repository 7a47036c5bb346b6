"""Decides what a picture's numbers mean: its embedded profile, its own gamma, or the plain space of its channels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from hotfolder.colour.profile import Profile, read_profile
from hotfolder.pdf.opening.picture_file import PictureFile
from hotfolder.pdf.opening.png import PngHead

DEVICE = {1: "/DeviceGray", 3: "/DeviceRGB", 4: "/DeviceCMYK"}
_SPACES = {1: "GRAY", 3: "RGB "}
_USABLE = frozenset(("mntr", "scnr", "prtr", "spac"))  # ISO 32000-1 table 67
# x and y of white, red, green and blue: IEC 61966-2-1 (sRGB)
_SRGB = (0.3127, 0.3290, 0.64, 0.33, 0.30, 0.60, 0.15, 0.06)
_SRGB_GAMMA = 1 / 2.2  # ISO/IEC 15948 annex C: what a file in sRGB says of its gamma


class Remark(NamedTuple):
    """Something worth a note: code, sentence, and what to do, if anything."""

    code: str
    message: str
    mend: str | None = None


@dataclass(frozen=True)
class Colour:
    """The colour space as PDF text, {profile} standing for the profile's object; `profile` to be embedded, if any."""

    space: str
    profile: Profile | None = None


def picture_colour(picture: PictureFile, channels: int, profile: bytes | None) -> tuple[Colour, list[Remark]]:
    """What the numbers mean, and what there is to say about it. CMYK numbers go to press as they are."""
    device = Colour(DEVICE[channels])
    if channels == 4:
        return device, [] if profile is None else [_ink_profile(profile)]
    if profile is not None:
        fitting, remark = _fitting(profile, channels)
        if fitting is not None:
            return Colour("[/ICCBased {profile}]", fitting), []
        return device, [remark] if remark else []
    calibrated = _calibrated(picture, channels)
    if calibrated:
        return Colour(calibrated), []
    if channels == 3 and not picture.says_srgb and not _near_srgb(picture):
        return device, [
            Remark(
                "no_profile",
                "The picture has no colour profile, so nothing says what its colours mean exactly; they were taken as "
                "sRGB.",
                "If colours matter, save the picture with its colour profile embedded.",
            )
        ]
    return device, []


def _ink_profile(profile: bytes) -> Remark:
    try:
        name = read_profile(profile).description
    except ValueError:
        name = ""
    return Remark(
        "cmyk_profile_ignored",
        f"The picture is in CMYK with a profile of its own{f' ({name[:80]})' if name else ''}; its ink values go to "
        "press as they are.",
        "If it was made for other paper than this, convert it for the right one, or send it in RGB.",
    )


def _fitting(data: bytes, channels: int) -> tuple[Profile | None, Remark | None]:
    try:
        profile = read_profile(data)
    except ValueError as fault:
        return None, _unusable(str(fault))
    if profile.space != _SPACES[channels] or profile.device_class not in _USABLE:
        return None, _unusable(f"It describes other colours ({profile.space.strip()}) than the picture has.")
    return profile, None


def _unusable(reason: str) -> Remark:
    return Remark(
        "profile_unusable",
        f"The colour profile in the picture can't be used. {reason} Its colours were taken as if there were none.",
        "If colours matter, save the picture with its right colour profile.",
    )


def _near_srgb(picture: PictureFile) -> bool:
    """Whether a PNG's gamma and primaries are those of sRGB."""
    head = picture.head
    if not isinstance(head, PngHead) or head.gamma is None:
        return False
    primaries = head.primaries or _SRGB
    return abs(head.gamma - _SRGB_GAMMA) < 0.01 and bool(np.allclose(primaries, _SRGB, atol=0.005))


def _calibrated(picture: PictureFile, channels: int) -> str:
    """CalGray or CalRGB (ISO 32000-1 8.6.5.2 and 3) for a PNG with a gamma of its own; "" where there is none."""
    head = picture.head
    if not isinstance(head, PngHead) or head.says_srgb or head.gamma is None or _near_srgb(picture):
        return ""
    white, matrix = _xyz(head.primaries or _SRGB)
    if matrix is None:
        return ""
    exponent = 1 / head.gamma
    if channels == 1:
        return f"[/CalGray << /WhitePoint [{_list(white)}] /Gamma {exponent:.5f} >>]"
    numbers = _list(matrix.T.ravel())
    return f"[/CalRGB << /WhitePoint [{_list(white)}] /Gamma [{_list([exponent] * 3)}] /Matrix [{numbers}] >>]"


def _xyz(primaries: tuple[float, ...]) -> tuple[np.ndarray, np.ndarray | None]:
    """White and the columns of red, green and blue as CIE XYZ, white's Y being 1; None where they span no space."""
    corners = np.array(primaries).reshape(4, 2)
    if not (corners[:, 1] > 0.001).all():
        return np.ones(3), None
    x, y = corners.T
    columns = np.stack([x / y, np.ones(4), (1 - x - y) / y])
    white, colours = columns[:, 0], columns[:, 1:]
    if abs(np.linalg.det(colours)) < 1e-6:
        return white, None
    return white, colours * np.linalg.solve(colours, white)


def _list(numbers: np.ndarray | list[float]) -> str:
    return " ".join(f"{number:.6f}" for number in numbers)
