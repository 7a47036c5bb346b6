"""The mapping to a printing condition: screen colours become inks, what is in inks already stays as it is."""

import numpy as np
import pikepdf
import pyvips
from pikepdf import Array, Name

from hotfolder.colour.condition import Condition
from hotfolder.colour.profile import SRGB, Profile, read_profile
from hotfolder.colour.transform import gray_to_black, lab_to_condition, to_condition
from hotfolder.pdf.mappings.luminosity import ToLuminosity
from hotfolder.pdf.values.calibrated import calibrated_profile
from hotfolder.pdf.values.functions import write_sampled
from hotfolder.pdf.values.spaces import CMYK, GRAY, Floats, Space, device_name, indexed_object
from hotfolder.pdf.walk.mapping import KEEP, Fate, Mapping, Plan
from hotfolder.pdf.walk.outcome import CannotConvert
from hotfolder.pdf.walk.pictures import map_rows

CONVERT = Plan(Fate.CONVERT)
_ICC_SPACES = {"GRAY": 1, "RGB ": 3, "CMYK": 4, "Lab ": 3}
_TINT_STEPS = 256


class ToCondition(Mapping):
    """RGB, Lab, calibrated and profiled colours to the inks of a condition (see `hotfolder.colour`).

    DeviceGray, DeviceCMYK, spot inks and mixtures of inks stay: they are the press's own. CMYK with a profile keeps
    its numbers and loses the profile. Text and vectors that are neutral (equal red, green and blue) go to black alone.
    """

    target = CMYK

    def __init__(self, condition: Condition, picture_quality: int = 95) -> None:
        self.condition, self.picture_quality = condition, picture_quality
        self._sources: dict[object, tuple[Space, Profile | None, str]] = {}
        self._luminosity = ToLuminosity()

    # What becomes of a space

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        if space.kind in ("DeviceGray", "DeviceCMYK", "Pattern"):
            return KEEP
        if space.kind == "Indexed":
            return self._plan_table(space, pdf)
        if space.kind in ("Separation", "DeviceN"):
            return self._plan_ink(space, pdf)
        real, _, trouble = self.source(space)
        if real.kind == "DeviceCMYK" or (real.kind == "ICCBased" and real.n == 4):
            told = trouble or "its numbers are kept, its own profile is dropped: they are taken as the press's inks"
            return Plan(Fate.SWAP, device_name(CMYK), remark=told)
        if real.kind == "DeviceGray":
            return Plan(Fate.SWAP, device_name(GRAY), remark=trouble)
        if real.kind == "ICCBased" and any(pair != (0, 1) for pair in real.limits):
            return Plan(Fate.LEAVE, why="its profile is used with an unusual range of numbers")
        return Plan(Fate.CONVERT, remark=trouble)

    def _plan_table(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        """A table of colours: the colours change, the places in it stay."""
        assert space.base is not None
        assert space.table is not None
        below = self.plan(space.base, pdf)
        if below.fate is Fate.SWAP:
            found = space.found
            assert isinstance(found, Array)
            new = Array([Name.Indexed, below.swap, found[2], found[3]])
            return Plan(Fate.SWAP, new, remark=below.remark)
        if below.fate is not Fate.CONVERT:
            return below
        try:
            table = self.colours(space.base, space.table, smooth=True)
        except CannotConvert as fault:
            return Plan(Fate.LEAVE, why=str(fault))
        return Plan(Fate.SWAP, indexed_object(CMYK, table), remark=below.remark)

    def _plan_ink(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        """Ink spaces stay. Only their stand-in for screens may not be plain RGB: nobody could say which red is meant."""
        base = space.base
        assert base is not None
        if base.kind != "DeviceRGB":
            return KEEP
        if space.n != 1 or space.tint is None:
            return Plan(Fate.LEAVE, why="its stand-in colour is plain RGB, mixed from several inks")
        try:
            tint = np.linspace(0, 1, _TINT_STEPS)[:, None]
            inks = self.colours(base, space.tint(tint), smooth=True)
        except ValueError as fault:
            return Plan(Fate.LEAVE, why=str(fault))
        function = write_sampled(pdf, inks, [0, 1], [_TINT_STEPS])
        new = Array([Name(f"/{space.kind}"), space.found[1], Name.DeviceCMYK, function])  # type: ignore[index]
        return Plan(
            Fate.SWAP, pdf.make_indirect(new), remark="the ink stays; its stand-in colour for screens is now CMYK"
        )

    def group_space(self, space: Space, pdf: pikepdf.Pdf) -> Space | None:
        return {1: GRAY, 3: CMYK, 4: CMYK}.get(space.n)

    def for_mask(self, space: Space | None) -> Mapping:
        return self if space is not None and space.n == 4 else self._luminosity

    # Numbers

    def source(self, space: Space) -> tuple[Space, Profile | None, str]:
        """What a colour space really is: (the space, or what stands in for its damaged profile; the profile to convert
        with, None where none is needed; what to tell about it)."""
        if space.key not in self._sources:
            self._sources[space.key] = self._read_source(space)
        return self._sources[space.key]

    def _read_source(self, space: Space) -> tuple[Space, Profile | None, str]:
        if space.kind == "DeviceRGB":
            return space, SRGB, ""
        if space.kind in ("CalGray", "CalRGB"):
            return space, read_profile(calibrated_profile(space)), ""
        if space.kind != "ICCBased":
            return space, None, ""
        assert space.base is not None
        try:
            profile = read_profile(space.profile or b"")
            if _ICC_SPACES.get(profile.space) != space.n:
                raise ValueError(
                    f"the embedded profile is for {profile.space.strip()}, the colours have {space.n} numbers"
                )
            if profile.space == "Lab ":
                limits = space.limits or ((0.0, 100.0), (-128.0, 127.0), (-128.0, 127.0))
                return Space("Lab", 3, ("Lab", space.key), space.found, limits=limits), None, ""
            if space.n != 4:
                to_condition(profile, self.condition)
            return space, profile, ""
        except ValueError as fault:
            real, stand_in, _ = self.source(space.base)
            return real, stand_in, f"{str(fault).rstrip('.')}; {real.kind} was used instead"

    def colours(self, space: Space, values: Floats, smooth: bool) -> Floats:
        values = np.asarray(values, np.float64)
        if space.kind == "Indexed":
            assert space.base is not None
            return self.colours(space.base, space.lookup(values), smooth)
        if space.kind == "DeviceCMYK":
            return np.asarray(np.clip(values, 0, 1))
        if space.kind == "DeviceGray":
            return np.asarray(np.clip(np.concatenate([np.zeros((len(values), 3)), 1 - values], axis=1), 0, 1))
        try:
            real, profile, _ = self.source(space)
            if real.kind in ("DeviceGray", "DeviceCMYK") or (real.kind == "ICCBased" and real.n == 4):
                return self.colours(GRAY if real.n == 1 else CMYK, values, smooth)
            if real.kind == "Lab":
                return np.asarray(lab_to_condition(self.condition, values))
            if profile is None:
                raise CannotConvert(f"{space.label()} has no conversion")
            if profile.channels == 1:
                return gray_to_black(profile, self.condition).colours(np.clip(values, 0, 1))
            return self._three(profile, np.clip(values, 0, 1), smooth)
        except (ValueError, pyvips.Error) as fault:
            raise CannotConvert(str(fault)) from fault

    def _three(self, profile: Profile, values: Floats, smooth: bool) -> Floats:
        """Neutral colours to black alone; of a gradient either all or none, or it would tear."""
        neutral = (values == values[:, :1]).all(axis=1)
        if smooth and not neutral.all():
            neutral[:] = False
        inks = np.zeros((len(values), 4))
        if not neutral.all():
            inks[~neutral] = to_condition(profile, self.condition).colours(values[~neutral])
        if neutral.any():
            inks[neutral] = gray_to_black(profile, self.condition).colours(values[neutral][:, :1])
        return inks

    # Pictures

    def picture(self, image: pyvips.Image, space: Space) -> tuple[pyvips.Image, Space]:
        try:
            real, profile, _ = self.source(space)
            if real.kind == "Lab":
                return map_rows(image, real, CMYK, lambda v: self.colours(real, v, True)), CMYK
            if profile is None:
                raise CannotConvert(f"{space.label()} has no conversion")
            if profile.channels == 1:
                most = 255 if image.format == "uchar" else 65535
                gray = 1 - gray_to_black(profile, self.condition).colours(np.linspace(0, 1, most + 1)[:, None])[:, 3]
                table = np.round(gray * most).astype(np.uint8 if most == 255 else np.uint16)
                lookup = pyvips.Image.new_from_memory(table.tobytes(), most + 1, 1, 1, image.format)
                return image.maplut(lookup), GRAY
            return to_condition(profile, self.condition).picture(image), CMYK
        except (ValueError, pyvips.Error) as fault:
            raise CannotConvert(str(fault)) from fault
