"""The mapping for soft masks: each colour becomes the gray by which it would have let the picture through."""

from typing import TYPE_CHECKING

import numpy as np
import pikepdf
import pyvips

from hotfolder.pdf.pictures.mapped import map_rows
from hotfolder.pdf.values.spaces import GRAY, Floats, Space
from hotfolder.pdf.walk.mapping import KEEP, Fate, Mapping, Plan
from hotfolder.pdf.walk.outcome import CannotConvert
from hotfolder.pdf.walk.state import State

if TYPE_CHECKING:
    from hotfolder.pdf.walk.frame import Frame

_WEIGHTS = np.array([0.30, 0.59, 0.11])  # ISO 32000-1 10.3.2 (and 11.3.5.3 for the same luminosity in blending)


class ToLuminosity(Mapping):
    """Everything to DeviceGray by luminosity (ISO 32000-1 11.5.3). Gray stays.

    Luminosity is a weighted sum, so masks made with ordinary blending stay exactly as they were; others are remarked on.
    Profiled RGB is weighted as it is, which is what renderers do.
    """

    target = GRAY
    blending_told = True

    def __init__(self, ppi: float | None = None) -> None:
        self.picture_ppi, self.lasting = ppi, ppi is None

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        return KEEP if space.kind in ("DeviceGray", "Pattern") else Plan(Fate.CONVERT)

    def group_space(self, space: Space, pdf: pikepdf.Pdf) -> Space | None:
        return GRAY

    def state_changed(self, frame: "Frame", state: State) -> None:
        if state.blend not in ("Normal", "Compatible") and state.blends_in > 1:
            why = f"its parts mix by {state.blend}, from now on in gray: it may let a little more or less through"
            frame.walker.result.remark(frame.page, "a soft mask", why)

    def colours(self, space: Space, values: Floats, smooth: bool) -> Floats:
        values = np.asarray(values, np.float64)
        if space.kind == "Indexed" and space.base is not None:
            return self.colours(space.base, space.lookup(values), smooth)
        if space.tint is not None and space.base is not None:
            return self.colours(space.base, space.tint(values), smooth)
        if space.kind == "Lab":
            return np.asarray(np.clip((values[:, :1] + 16) / 116, 0, 1) ** 3)
        if space.n == 1:
            return np.clip(values, 0, 1)
        if space.n == 3:
            return np.asarray(np.clip(values @ _WEIGHTS, 0, 1)[:, None])
        if space.n == 4:
            return np.asarray(1 - np.clip(values[:, :3] @ _WEIGHTS + values[:, 3], 0, 1)[:, None])
        raise CannotConvert(f"{space.label()} in a soft mask isn't handled")

    def picture(self, image: pyvips.Image, space: Space) -> tuple[pyvips.Image, Space]:
        return map_rows(image, space, GRAY, lambda values: self.colours(space, values, True)), GRAY
