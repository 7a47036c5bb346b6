"""How far apart two colours look to the eye, as one number (CIEDE2000)."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def ciede2000(lab1: ArrayLike, lab2: ArrayLike) -> Floats:
    """The CIEDE2000 difference of two arrays of Lab colours, shapes (..., 3), giving shape (...).

    Sharma, Wu and Dalal, Color Research and Application 30(1), 2005; the numbers in brackets are theirs.
    Under 1 is hardly seen, 2 to 3 is seen side by side.
    """
    first, second = np.asarray(lab1, np.float64), np.asarray(lab2, np.float64)
    lightness1, lightness2 = first[..., 0], second[..., 0]
    chroma1, hue1, chroma2, hue2 = _chroma_and_hue(first[..., 1:], second[..., 1:])
    coloured = chroma1 * chroma2 > 0

    d_lightness, d_chroma = lightness2 - lightness1, chroma2 - chroma1  # (8), (9)
    turn = np.where(coloured, _half_turn(hue2 - hue1), 0.0)  # (10)
    d_hue = 2 * np.sqrt(chroma1 * chroma2) * _sin(turn / 2)  # (11)

    lightness, chroma = (lightness1 + lightness2) / 2, (chroma1 + chroma2) / 2  # (12), (13)
    hue = np.where(coloured, _mean_hue(hue1, hue2), hue1 + hue2)  # (14)
    hue_weight = (
        1 - 0.17 * _cos(hue - 30) + 0.24 * _cos(2 * hue) + 0.32 * _cos(3 * hue + 6) - 0.20 * _cos(4 * hue - 63)
    )  # (15)
    from_middle = (lightness - 50) ** 2
    s_lightness = 1 + 0.015 * from_middle / np.sqrt(20 + from_middle)  # (18)
    s_chroma = 1 + 0.045 * chroma  # (19)
    s_hue = 1 + 0.015 * chroma * hue_weight  # (20)
    rotation = -2 * _seventh(chroma) * _sin(60 * np.exp(-(((hue - 275) / 25) ** 2)))  # (16), (17), (21)

    lightness_part, chroma_part, hue_part = d_lightness / s_lightness, d_chroma / s_chroma, d_hue / s_hue
    square = lightness_part**2 + chroma_part**2 + hue_part**2 + rotation * chroma_part * hue_part  # (22)
    return np.sqrt(np.maximum(square, 0.0))


def _chroma_and_hue(ab1: Floats, ab2: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    mean = (np.hypot(ab1[..., 0], ab1[..., 1]) + np.hypot(ab2[..., 0], ab2[..., 1])) / 2  # (2), (3)
    stretch = 1 + 0.5 * (1 - _seventh(mean))  # (4), (5)
    a1, a2 = ab1[..., 0] * stretch, ab2[..., 0] * stretch
    return np.hypot(a1, ab1[..., 1]), _hue(a1, ab1[..., 1]), np.hypot(a2, ab2[..., 1]), _hue(a2, ab2[..., 1])


def _hue(a: Floats, b: Floats) -> Floats:
    # Opposite hues must differ by 180 degrees exactly, or the rounding of the arctangent decides on which side
    # of the circle their mean lies (pair 14 of the paper's table).
    return np.round(np.degrees(np.arctan2(b, a)) % 360, 9)  # (6), (7)


def _half_turn(turn: Floats) -> Floats:
    return np.where(turn > 180, turn - 360, np.where(turn < -180, turn + 360, turn))


def _mean_hue(hue1: Floats, hue2: Floats) -> Floats:
    total = hue1 + hue2
    near = np.abs(hue1 - hue2) <= 180
    return np.where(near, total / 2, np.where(total < 360, (total + 360) / 2, (total - 360) / 2))


def _seventh(chroma: Floats) -> Floats:
    power = chroma**7
    return np.sqrt(power / (power + 25.0**7))


def _sin(degrees: Floats) -> Floats:
    return np.asarray(np.sin(np.radians(degrees)))


def _cos(degrees: Floats) -> Floats:
    return np.asarray(np.cos(np.radians(degrees)))
