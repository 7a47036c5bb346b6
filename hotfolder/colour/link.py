"""Inks of one press to inks of another, made from both profiles, so that black alone stays black alone.

A conversion through Lab alone would print black text in four inks: that is why the trade links two presses directly.
"""

from functools import lru_cache

import numpy as np
import pyvips
from numpy.typing import ArrayLike, NDArray

from hotfolder.colour.condition import Condition
from hotfolder.colour.profile import Profile
from hotfolder.colour.transform import ToCondition, press_profile, relative_lab, to_condition

Floats = NDArray[np.float64]

# How much of other inks, as a share of the strongest, until a colour counts as mixed; in between it goes over smoothly.
SHOULDER = 1 / 8
_PLACES = np.linspace(0, 1, 1025)


class Link:
    """Converts CMYK for one press to CMYK for a condition. Make it with `link`, which keeps it.

    Each colour goes through both profiles by the condition's intent. What is black alone stays black alone; with the
    condition's `cmyk_pure` "inks" cyan, magenta and yellow alone do so too. Of a pure ink the amount changes so that
    its tints keep their distance from paper (CIE 1976) as a share of the solid's: 0 and 100 % stay.
    """

    def __init__(self, source: Profile, condition: Condition) -> None:
        if source.space != "CMYK":
            raise ValueError(f"{source.name} does not describe CMYK.")
        self._through: ToCondition = to_condition(source, condition)
        pure = range(4) if condition.cmyk_pure == "inks" else range(3, 4)
        self._curves = {ink: _curve(source, press_profile(condition), ink) for ink in pure}

    def colours(self, values: ArrayLike, smooth: bool = False) -> Floats:
        """Inks (n, 4) in 0..1 to inks (n, 4). `smooth`: the colours are of one gradient, which must not tear."""
        given = np.clip(np.nan_to_num(np.asarray(values, np.float64)), 0, 1)
        made = self._through.colours(given)
        strongest, others = self._ranked(given)
        share = np.where(others <= 0, 1.0, np.clip(1 - others / np.maximum(strongest * SHOULDER, 1e-9), 0, 1))
        share = share if smooth else np.floor(share)
        alone = np.zeros_like(made)
        for ink, curve in self._curves.items():
            mine = given[:, ink] >= strongest
            alone[mine, ink] = np.interp(given[mine, ink], _PLACES, curve)
        return np.asarray(made + (alone - made) * share[:, None])

    def _ranked(self, given: Floats) -> tuple[Floats, Floats]:
        """How much there is of the ink that may stand alone, and of the next ink beside it."""
        if len(self._curves) == 4:
            ordered = np.sort(given, axis=1)
            return ordered[:, 3], ordered[:, 2]
        return given[:, 3], given[:, :3].max(axis=1)

    def picture(self, image: pyvips.Image) -> pyvips.Image:
        """A CMYK picture of 8 or 16 bits to one of the same depth, by the rule for gradients, computed lazily."""
        most = 255 if image.format == "uchar" else 65535
        made = self._through.picture(image)
        bands = [image[ink] for ink in range(4)]
        every = len(self._curves) == 4
        strongest = bands[0].bandrank(bands[1:], index=3) if every else bands[3]
        others = bands[0].bandrank(bands[1:], index=2) if every else bands[0].bandrank(bands[1:3], index=2)
        room = strongest.linear(SHOULDER, 0)
        share = 1 - others / (room < 1e-3).ifthenelse(1e-3, room)
        share = (share < 0).ifthenelse(0, share).cast("float")
        parts = []
        for ink in range(4):
            alone: pyvips.Image | float = 0
            if ink in self._curves:
                levels = np.round(np.interp(np.linspace(0, 1, most + 1), _PLACES, self._curves[ink]) * most)
                levels = levels.astype(np.uint8 if most == 255 else np.uint16)
                table = pyvips.Image.new_from_memory(levels.tobytes(), most + 1, 1, 1, image.format)
                alone = (bands[ink] >= strongest).ifthenelse(bands[ink].maplut(table), 0)
            parts.append((made[ink] + (alone - made[ink]) * share).rint().cast(image.format))
        return parts[0].bandjoin(parts[1:]).copy(interpretation=made.interpretation)


@lru_cache(maxsize=16)
def link(source: Profile, condition: Condition) -> Link:
    """The link from a press's profile to a condition, made once."""
    return Link(source, condition)


def _curve(source: Profile, press: Profile, ink: int) -> Floats:
    """The press's amount of one ink for amounts 0 to 1 of the source's."""
    tints = np.zeros((len(_PLACES), 4))
    tints[:, ink] = _PLACES
    curve = np.interp(_tone(relative_lab(source, tints)), _tone(relative_lab(press, tints)), _PLACES)
    curve[0], curve[-1] = 0, 1
    return np.asarray(curve)


def _tone(lab: Floats) -> Floats:
    """The distance of tints from paper as a share of the solid's, made to rise steadily."""
    away = np.maximum.accumulate(np.sqrt(((lab - lab[0]) ** 2).sum(axis=1)))
    if away[-1] < 1:
        raise ValueError("an ink of a profile cannot be told from paper.")
    return np.asarray(away / away[-1] + np.linspace(0, 1e-9, len(away)))
