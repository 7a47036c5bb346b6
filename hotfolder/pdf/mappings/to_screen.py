"""The mapping to a screen: shows every colour, spot inks too, as the printing condition would print it."""

import numpy as np
import pikepdf
import pyvips

from hotfolder.colour.condition import Condition
from hotfolder.colour.difference import ciede2000
from hotfolder.colour.transform import condition_picture_to_srgb, condition_to_srgb, srgb_lab
from hotfolder.pdf.mappings.luminosity import ToLuminosity
from hotfolder.pdf.mappings.to_condition import ToCondition
from hotfolder.pdf.pictures.mapped import map_rows
from hotfolder.pdf.values.spaces import RGB, Floats, Space, indexed_object
from hotfolder.pdf.walk.mapping import KEEP, Fate, Mapping, Plan
from hotfolder.pdf.walk.outcome import CannotConvert

CONVERT = Plan(Fate.CONVERT)


class ToScreen(Mapping):
    """A soft proof: everything to sRGB through the condition's inks; paper is white.

    For looking and comparing only, never for the file that is sent: overprinting is shown as the renderer shows it,
    transparency blends in RGB, spot inks look like their stand-in colour. `ppi`: pictures finer than that are shrunk.
    """

    target = RGB
    states_black = True
    lasting = False

    def __init__(self, condition: Condition, ppi: float | None = None) -> None:
        self.condition, self.picture_ppi = condition, ppi
        # A finished file's inks are not changed again; whoever shows an arrived one sets `self._inks`.
        self._inks = ToCondition(condition.plain())
        self.follows_intents = condition.follow_file_intents
        self._luminosity = ToLuminosity(ppi)

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        if space.kind == "Pattern":
            return KEEP
        if space.kind == "Indexed" and space.table is not None and space.base is not None:
            try:
                return Plan(Fate.SWAP, indexed_object(RGB, self.colours(space.base, space.table, True)))
            except ValueError as fault:
                return Plan(Fate.LEAVE, why=str(fault))
        return CONVERT

    def group_space(self, space: Space, pdf: pikepdf.Pdf) -> Space | None:
        return RGB

    def for_mask(self, space: Space | None) -> Mapping:
        return self._luminosity

    def inks(self, space: Space, values: Floats, smooth: bool) -> Floats:
        """The process inks (n, 4) that make, or stand in for, a colour."""
        self._inks.purpose = self.purpose
        if space.kind == "Indexed" and space.base is not None:
            return self.inks(space.base, space.lookup(values), smooth)
        if space.inks == ("All",):
            return np.repeat(np.clip(values, 0, 1), 4, axis=1)
        if space.tint is not None and space.base is not None:
            return self.inks(space.base, space.tint(values), True)
        return self._inks.inks(space, values, smooth)

    def colours(self, space: Space, values: Floats, smooth: bool) -> Floats:
        return np.asarray(condition_to_srgb(self.condition, self.inks(space, np.asarray(values, float), smooth)))

    def apart(self, one: Floats, other: Floats) -> Floats:
        return ciede2000(srgb_lab(one), srgb_lab(other))

    def picture(self, image: pyvips.Image, space: Space) -> tuple[pyvips.Image, Space]:
        self._inks.purpose = self.purpose
        try:
            real = self._inks.source(space)[0]
            if real.n == 4 and not real.inks:
                inks = self._inks.linked(image, space).copy(interpretation="cmyk")
            elif real.n == 3 and real.kind not in ("Lab", "DeviceN"):
                inks, _ = self._inks.picture(image, space)
            else:
                return map_rows(image, space, RGB, lambda values: self.colours(space, values, True)), RGB
            return condition_picture_to_srgb(self.condition, inks), RGB
        except (ValueError, pyvips.Error) as fault:
            raise CannotConvert(str(fault)) from fault
