"""The mapping to a printing condition: screen colours become inks, what is in inks already stays unless asked."""

from collections import Counter

import numpy as np
import pikepdf
import pyvips
from pikepdf import Array, Name, Stream

from hotfolder.colour.apart import inks_apart
from hotfolder.colour.condition import Condition
from hotfolder.colour.profile import Profile
from hotfolder.colour.transform import (
    gray_to_black,
    lab_picture_to_condition,
    lab_to_condition,
    separate_again,
    to_condition,
)
from hotfolder.pdf.mappings.excess import exceeds, picture_exceeds, rewindable
from hotfolder.pdf.mappings.ink_rules import plan_inks
from hotfolder.pdf.mappings.large_areas import WATCHED, LargeAreas
from hotfolder.pdf.mappings.luminosity import ToLuminosity
from hotfolder.pdf.mappings.sources import Source, Sources
from hotfolder.pdf.objects import identity
from hotfolder.pdf.pictures.mapped import depth_of, in_numbers, map_rows
from hotfolder.pdf.values.spaces import CMYK, GRAY, Floats, Space, device_name, indexed_object
from hotfolder.pdf.walk.content import Operation
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import KEEP, Fate, Mapping, Plan, Purpose
from hotfolder.pdf.walk.outcome import CannotConvert, StaysAsFound
from hotfolder.pdf.walk.state import State

CONVERT = Plan(Fate.CONVERT)


class ToCondition(Mapping):
    """RGB, Lab, calibrated and profiled colours to the inks of a condition, by its rules (see `Condition`).

    DeviceGray, DeviceCMYK, spot inks and mixtures of inks stay unless the condition says otherwise: they are the
    press's own. CMYK with a profile keeps its numbers and loses the profile. Text and vectors that are neutral (equal
    red, green and blue) go to black alone. `separated` counts what was over the ink limit and was separated again.
    """

    target = CMYK

    def __init__(self, condition: Condition, picture_quality: int = 95) -> None:
        self.condition, self.picture_quality = condition, picture_quality
        self.follows_intents = condition.follow_file_intents
        self.converts_inks = condition.cmyk == "convert" or condition.over_limit == "separate"
        self.separated: Counter[str] = Counter()
        self.still_over = False
        self.sources = Sources(condition)
        self._rules: dict[Purpose, Condition] = {}
        self._luminosity = ToLuminosity()
        self._in_masks: ToCondition | None = None
        self.kept_groups: frozenset[tuple[int, int]] = frozenset()  # of which the content is `keeper`'s, by object
        self.keeper: Mapping | None = None
        self.areas = LargeAreas(self, condition) if condition.rich_black else None
        self.watched = WATCHED if self.areas else ()

    @property
    def rule(self) -> Condition:
        """The condition with the intent that holds for what is converted now."""
        if self.purpose not in self._rules:
            self._rules[self.purpose] = self.condition.for_use(self.purpose.what == "picture", self.purpose.intent)
        return self._rules[self.purpose]

    # What becomes of a space

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        self.sources.learn(pdf)
        if space.kind == "Pattern":
            return KEEP
        if space.kind == "Indexed":
            return self._plan_table(space, pdf)
        if space.kind in ("Separation", "DeviceN"):
            return plan_inks(self.condition, space, pdf, lambda values: self.inks(_base(space), values, True))
        real, _, trouble = self.source(space)
        if real.n == 4:
            return self._plan_cmyk(space, trouble)
        if real.kind == "DeviceGray":
            if self.sources.link(CMYK, self.rule) is not None:
                return Plan(Fate.CONVERT, remark=trouble)  # it is black ink too, of the same other press
            return KEEP if space.kind == "DeviceGray" else Plan(Fate.SWAP, device_name(GRAY), remark=trouble)
        if real.kind == "ICCBased" and any(pair != (0, 1) for pair in real.limits):
            return Plan(Fate.LEAVE, why="its profile is used with an unusual range of numbers")
        return Plan(Fate.CONVERT, remark=trouble)

    def _plan_cmyk(self, space: Space, trouble: str) -> Plan:
        if self.sources.link(space, self.rule) is not None:
            told = f"its inks are converted from {self.sources.press_of(space)} to this press; black alone stays so"
            return Plan(Fate.CONVERT, remark="; ".join(filter(None, (trouble, told))))
        if self.condition.over_limit == "separate":
            return Plan(Fate.CONVERT, remark=self._kept(space, trouble).remark)
        return self._kept(space, trouble)

    def _kept(self, space: Space, trouble: str = "") -> Plan:
        """CMYK whose numbers stay."""
        if space.kind == "DeviceCMYK":
            return KEEP
        told = trouble or "its numbers are kept, its own profile is dropped: they are taken as the press's inks"
        return Plan(Fate.SWAP, device_name(CMYK), remark=told)

    def _plan_table(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        """A table of colours: the colours change, the places in it stay."""
        base, table = _base(space), space.table
        assert table is not None
        below = self.plan(base, pdf)
        try:
            if below.fate is Fate.CONVERT:
                inks = self.inks(base, table, smooth=True)
                if not self._is_cmyk(base) or not np.array_equal(inks, table):
                    return Plan(Fate.SWAP, indexed_object(CMYK, inks), remark=below.remark)
                below = self._kept(base)
        except CannotConvert as fault:
            return Plan(Fate.LEAVE, why=str(fault))
        if below.fate is Fate.SWAP:
            found = space.found
            assert isinstance(found, Array)
            new = Array([Name.Indexed, below.swap, found[2], found[3]])
            return Plan(Fate.SWAP, new, remark=below.remark)
        return below

    def group_space(self, space: Space, pdf: pikepdf.Pdf) -> Space | None:
        return {1: GRAY, 3: CMYK, 4: CMYK}.get(space.n)

    def for_mask(self, space: Space | None) -> Mapping:
        if space is None or space.n != 4:
            return self._luminosity
        if self._in_masks is None and self.condition != (plain := self.condition.plain()):
            self._in_masks = ToCondition(plain, self.picture_quality)  # a mask's inks are never printed
        return self._in_masks or self

    def for_group(self, form: Stream, space: Space | None) -> Mapping:
        return self.keeper if self.keeper is not None and identity(form) in self.kept_groups else self

    # Numbers

    def source(self, space: Space) -> Source:
        """What a colour space really is; see `Sources.of`."""
        return self.sources.of(space)

    def _is_cmyk(self, space: Space) -> bool:
        return not space.inks and space.kind != "Indexed" and self.source(space)[0].n == 4

    def colours(self, space: Space, values: Floats, smooth: bool) -> Floats:
        found = self.inks(space, np.asarray(values, np.float64), smooth)
        if smooth and self.purpose.what == "gradient" and self._is_cmyk(space) and np.array_equal(found, values):
            raise StaysAsFound(self._kept(space))
        return found

    def inks(self, space: Space, values: Floats, smooth: bool) -> Floats:
        """As `colours`, also where they come out as they went in."""
        if space.kind == "Indexed":
            return self.inks(_base(space), space.lookup(values), smooth)
        if space.tint is not None and space.base is not None:
            return self.inks(space.base, space.tint(values), smooth)
        if space.kind == "DeviceGray":
            black = np.clip(np.concatenate([np.zeros((len(values), 3)), 1 - values], axis=1), 0, 1)
            link = self.sources.link(CMYK, self.rule)
            return np.asarray(black if link is None else link.colours(black))
        try:
            real, profile, _ = self.source(space)
            if real.kind == "DeviceGray":
                return self.inks(GRAY, values, smooth)
            if real.n == 4:
                return self._process(space, np.clip(values, 0, 1), smooth)
            if real.kind == "Lab":
                return np.asarray(lab_to_condition(self.rule, values))
            if profile is None:
                raise CannotConvert(f"{space.label()} has no conversion")
            if profile.channels == 1:
                return self._gray(profile, np.clip(values, 0, 1))
            return self._three(profile, np.clip(values, 0, 1), smooth)
        except (ValueError, pyvips.Error) as fault:
            raise CannotConvert(str(fault)) from fault

    def _process(self, space: Space, values: Floats, smooth: bool) -> Floats:
        """CMYK: kept, or linked, and separated again where that is asked and it is more than the paper takes. Of a
        gradient all or nothing, or it would tear."""
        link = self.sources.link(space, self.rule)
        inks = values if link is None else link.colours(values, smooth)
        if self.condition.over_limit != "separate" or not (over := exceeds(self.condition, inks)).any():
            return inks
        if smooth:
            over[:] = True
        made = inks.copy()
        made[over] = separate_again(self.condition).colours(inks[over])
        self.still_over |= bool(exceeds(self.condition, made).any())
        self.separated["gradients" if smooth else "colours"] += 1 if smooth else int(over.sum())
        return np.asarray(made)

    def _gray(self, profile: Profile, values: Floats) -> Floats:
        if self.condition.gray_to_black:
            return gray_to_black(profile, self.rule).colours(values)
        return to_condition(profile, self.rule).colours(values)

    def _three(self, profile: Profile, values: Floats, smooth: bool) -> Floats:
        """Neutral colours to black alone; of a gradient either all or none, or it would tear."""
        neutral = self._neutral(values)
        if smooth and not neutral.all():
            neutral[:] = False
        inks = np.zeros((len(values), 4))
        if not neutral.all():
            inks[~neutral] = to_condition(profile, self.rule).colours(values[~neutral])
        if neutral.any():
            gray = np.median(values[neutral], axis=1, keepdims=True)
            if self.condition.black_alone == "black":
                gray[:] = 0
            inks[neutral] = gray_to_black(profile, self.rule).colours(gray)
        return inks

    def _neutral(self, values: Floats) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Which colours go to black alone, by the condition's rule for text and vectors."""
        tolerance = self.condition.neutral_tolerance / 100 + 1e-9 * bool(self.condition.neutral_tolerance)
        if self.condition.black_alone == "nothing":
            return np.zeros(len(values), bool)
        if self.condition.black_alone == "black":
            return np.asarray(values.max(axis=1) <= tolerance)
        return np.asarray(np.ptp(values, axis=1) <= tolerance)

    def apart(self, one: Floats, other: Floats) -> Floats:
        return inks_apart(self.condition, one, other)

    # Pictures

    def picture(self, image: pyvips.Image, space: Space) -> tuple[pyvips.Image, Space]:
        try:
            if space.inks or space.kind == "Indexed":
                return map_rows(image, space, CMYK, lambda v: self.inks(space, v, True)), CMYK
            real, profile, _ = self.source(space)
            if real.n == 4:
                return self._cmyk_picture(image, space), CMYK
            if real.kind == "Lab":
                made = lab_picture_to_condition(self.rule, in_numbers(image, real), depth_of(image))
                return made or map_rows(image, real, CMYK, lambda v: self.inks(real, v, True)), CMYK
            if real.kind == "DeviceGray" or (profile and profile.channels == 1 and self.condition.gray_to_black):
                return self._gray_picture(image, space), GRAY
            if profile is None:
                raise CannotConvert(f"{space.label()} has no conversion")
            return to_condition(profile, self.rule).picture(image), CMYK
        except (ValueError, pyvips.Error) as fault:
            raise CannotConvert(str(fault)) from fault

    def _cmyk_picture(self, image: pyvips.Image, space: Space) -> pyvips.Image:
        made = self.linked(image, space)
        if self.condition.over_limit == "separate":
            made = rewindable(made)
            if picture_exceeds(self.condition, made):
                self.separated["pictures"] += 1
                return separate_again(self.condition).picture(made)
        if made is image or self.sources.link(space, self.rule) is None:
            raise StaysAsFound(self._kept(space))
        return made

    def linked(self, image: pyvips.Image, space: Space) -> pyvips.Image:
        """A CMYK picture of another press as one of this; itself where its inks are this press's."""
        link = self.sources.link(space, self.rule)
        return image if link is None else link.picture(image)

    def _gray_picture(self, image: pyvips.Image, space: Space) -> pyvips.Image:
        most = 255 if image.format == "uchar" else 65535
        gray = 1 - self.inks(space, np.linspace(0, 1, most + 1)[:, None], True)[:, 3]
        table = np.round(gray * most).astype(np.uint8 if most == 255 else np.uint16)
        lookup = pyvips.Image.new_from_memory(table.tobytes(), most + 1, 1, 1, image.format)
        return image.maplut(lookup)

    # Large areas

    def operation(self, frame: Frame, operation: Operation) -> None:
        if self.areas is not None:
            self.areas.operation(frame, operation)

    def depends(self, state: State) -> object:
        return None if self.areas is None else self.areas.depends(state)


def _base(space: Space) -> Space:
    assert space.base is not None
    return space.base
