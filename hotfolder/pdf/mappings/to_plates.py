"""The mapping to plates: each object becomes the gray by which one ink prints it, three inks side by side."""

from collections.abc import Sequence

import numpy as np
import pikepdf
import pyvips
from numpy.typing import NDArray

from hotfolder.colour.condition import Condition
from hotfolder.pdf.mappings.luminosity import ToLuminosity
from hotfolder.pdf.mappings.to_condition import ToCondition
from hotfolder.pdf.pictures.mapped import map_rows
from hotfolder.pdf.values.spaces import CMYK, GRAY, RGB, Floats, Space, indexed_object
from hotfolder.pdf.walk.mapping import KEEP, Fate, Mapping, Paint, Plan
from hotfolder.pdf.walk.outcome import CannotConvert

PROCESS = ("Cyan", "Magenta", "Yellow", "Black")
CONVERT = Plan(Fate.CONVERT)
# ISO 32000-1 11.3.5.3: those that mix the colours of a pixel with each other.
NOT_SEPARABLE = frozenset({"Hue", "Saturation", "Color", "Luminosity"})
# 11.7.4.2: with these, white over white doesn't stay white, so spot inks are blended as Normal.
_NOT_WHITE_PRESERVING = frozenset({"Difference", "Exclusion"})


class InksDisagree(Exception):
    """An object touches some inks of a set and spares others: they can't share one drawing."""


class ToPlates(Mapping):
    """One ink to DeviceGray, or three inks to the channels of DeviceRGB; no ink is 1, full ink 0.

    An ordinary renderer knocks out what lies below, and that is what ink does: only what overprints is taken out
    (`spare`). Colours that are no inks yet become those of the condition. For looking and measuring only.
    """

    states_black = True
    lasting = False
    drawn = True

    def __init__(self, condition: Condition, inks: Sequence[str], ppi: float | None, *, spares: bool) -> None:
        """`inks`: one or three, a repeated one counts once. `spares`: the artwork may hold something that overprints."""
        self.inks, self.picture_ppi, self.spares = tuple(inks), ppi, spares
        self.target = GRAY if len(inks) == 1 else RGB
        self._screen = ToCondition(condition.plain())
        self._luminosity = ToLuminosity(ppi)

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        if space.kind == "Pattern":
            return KEEP
        if space.kind == "Indexed" and space.table is not None and space.base is not None:
            try:
                return Plan(Fate.SWAP, indexed_object(self.target, self.colours(space.base, space.table, True)))
            except ValueError as fault:
                return Plan(Fate.LEAVE, why=str(fault))
        return CONVERT

    def group_space(self, space: Space, pdf: pikepdf.Pdf) -> Space | None:
        return self.target

    def for_mask(self, space: Space | None) -> Mapping:
        return self._luminosity

    # Colours

    def colours(self, space: Space, values: Floats, smooth: bool) -> Floats:
        if space.kind == "Indexed" and space.base is not None:
            return self.colours(space.base, space.lookup(np.asarray(values, np.float64)), smooth)
        if space.inks:
            return 1 - self._named(space.inks, np.clip(np.asarray(values, np.float64), 0, 1))
        return 1 - self._named(PROCESS, self._process(space, values, smooth))

    def picks(self, space: Space) -> list[int] | None:
        names = space.inks or (PROCESS if space.kind == "DeviceCMYK" else ())
        if not names or names == ("All",):
            return None
        return [names.index(ink) if ink in names else -1 for ink in self.inks]

    def _process(self, space: Space, values: Floats, smooth: bool) -> Floats:
        real = self._screen.source(space)[0]
        return self._screen.colours(CMYK if real.n == 4 else space, values, smooth)

    def _named(self, names: tuple[str, ...], amounts: Floats) -> Floats:
        """(n, inks of this set): the amounts of those inks that `names` lists, none of the others."""
        if names == ("All",):
            return np.repeat(amounts, len(self.inks), axis=1)
        places = [names.index(ink) if ink in names else -1 for ink in self.inks]
        return np.ascontiguousarray(np.concatenate([amounts, np.zeros((len(amounts), 1))], axis=1)[:, places])

    def picture(self, image: pyvips.Image, space: Space) -> tuple[pyvips.Image, Space]:
        try:
            names: tuple[str, ...] = space.inks
            if not names:
                real = self._screen.source(space)[0]
                if real.n == 1 or real.kind == "Lab":
                    return map_rows(image, space, self.target, lambda v: self.colours(space, v, True)), self.target
                names = PROCESS
                if not any(ink in PROCESS for ink in self.inks):
                    image = image[0]  # none of its inks is wanted, so its colours need no conversion
                elif real.n == 3:
                    image, _ = self._screen.picture(image, space)
            return self._bands(image, names), self.target
        except (ValueError, pyvips.Error) as fault:
            raise CannotConvert(str(fault)) from fault

    def samples(self, rows: NDArray[np.uint8], space: Space) -> tuple[NDArray[np.uint8], Space] | None:
        if space.n == 1 and space.kind != "Indexed":
            low, high = space.ranges(8)[0]
            every = self.colours(space, np.linspace(low, high, 256)[:, None], True)
            return np.rint(np.clip(every, 0, 1) * 255).astype(np.uint8)[rows[:, 0]], self.target
        if (places := self.picks(space)) is None:
            return None
        made = np.full((len(rows), len(places)), 255, np.uint8)
        for band, place in enumerate(places):
            if place >= 0:
                np.subtract(255, rows[:, place], out=made[:, band])
        return made, self.target

    def _bands(self, image: pyvips.Image, names: tuple[str, ...]) -> pyvips.Image:
        none = (image[0] * 0).cast(image.format)
        if names == ("All",):
            names = names * len(self.inks)
            bands = [image[0]] * len(self.inks)
        else:
            bands = [image[names.index(ink)] if ink in names else none for ink in self.inks]
        joined = bands[0].bandjoin(bands[1:]) if len(bands) > 1 else bands[0]
        most = 255 if image.format == "uchar" else 65535
        return (
            joined.linear([-1] * len(bands), [most] * len(bands))
            .cast(image.format)
            .copy(interpretation="b-w" if len(bands) == 1 else "srgb")
        )

    # What leaves the plate alone

    def spare(self, paint: Paint) -> bool:
        """ISO 32000-1 8.6.7 and 11.7.4.3: an ink is spared where it isn't named, or, in overprint mode 1, where a
        single colour given in DeviceCMYK has none of it. Separation None paints nowhere."""
        if self._absent(paint.blend):
            return True
        space = paint.space
        while space is not None and space.kind in ("Indexed", "Pattern"):
            space = space.base
        if space is None:
            return False
        if space.inks and all(ink == "None" for ink in space.inks):
            return True
        if not paint.overprint or space.inks == ("All",):
            return False
        touched = np.array([ink in (space.inks or PROCESS) for ink in self.inks])
        flat = paint.space is not None and paint.space.kind == "DeviceCMYK" and paint.values is not None
        if flat and paint.mode == 1:
            touched &= self._named(PROCESS, np.array([paint.values]))[0] > 0
        if touched.any() and not touched.all():
            raise InksDisagree
        return not touched.any()

    def _absent(self, mode: str) -> bool:
        """Black takes no part where hues are mixed: the backdrop's stays (11.3.5.3)."""
        return self.inks == ("Black",) and mode in NOT_SEPARABLE - {"Luminosity"}

    def blend_mode(self, mode: str) -> str:
        """Modes that mix the colours of a pixel work on cyan, magenta and yellow together; spot inks take Normal."""
        process = [ink in PROCESS for ink in self.inks]
        if mode in NOT_SEPARABLE:
            if self.inks == PROCESS[:3]:
                return mode
            if len(set(self.inks)) > 1 and any(process):
                raise InksDisagree
            return "Normal"
        if mode in _NOT_WHITE_PRESERVING and not all(process):
            if any(process):
                raise InksDisagree
            return "Normal"
        return mode


def ink_amounts(condition: Condition, space: Space, tints: Floats) -> NDArray[np.float64]:
    """The process inks (n, 4) that stand in for tints of a spot ink, by its alternate colour space."""
    assert space.tint is not None
    assert space.base is not None
    return ToPlates(condition, PROCESS[:1], None, spares=False)._process(space.base, space.tint(tints), True)
