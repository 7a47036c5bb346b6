"""Looks through a page before its plates are made: which inks it has, and what plates can't show exactly."""

import re
from dataclasses import dataclass

import pikepdf
import pyvips
from pikepdf import Object

from hotfolder.colour.condition import Condition
from hotfolder.finding import Box
from hotfolder.pdf.mappings.to_condition import ToCondition
from hotfolder.pdf.mappings.to_plates import NOT_SEPARABLE, PROCESS
from hotfolder.pdf.objects import entry
from hotfolder.pdf.values.spaces import CMYK, GRAY, Floats, Space
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import Mapping, Plan
from hotfolder.pdf.walk.state import Matrix, State


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something of a page that its plates can't show exactly, in plain words."""

    page: int
    what: str
    why: str
    box: Box | None = None


_MAYBE_CMYK = re.compile(rb"[kK](?=[\0\t\n\f\r /\[(<%]|\Z)")
_COLOURS = frozenset({*PROCESS[:3], "All"})
_DOUBTS = (
    ("a knockout group", "what overlaps inside it is shown mixed, where it should replace what lies below"),
    ("transparency that mixes in RGB", "plates show it mixed ink by ink, so mixed colours may differ"),
    ("a see-through group that mixes with what lies below it", "plates mix its parts only with each other"),
)


class InkCensus(Mapping):
    """Changes nothing; notes inks, overprinting, and groups whose blending plates don't follow."""

    target = GRAY  # so that streams are followed that hold nothing but CMYK

    def __init__(self) -> None:
        self.spots: dict[str, Space] = {}
        self.converts = False  # whether anything is in colours that are no inks yet
        self.may_spare = False  # whether anything overprints, or paints in no ink
        self.mixes = False  # whether anything has a blend mode of its own
        self.knocked = self.blended = self.sunk = False

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        while space.kind in ("Indexed", "Pattern") and space.base is not None:
            space = space.base
        self.converts |= not space.inks and space.kind not in ("DeviceGray", "DeviceCMYK", "Pattern")
        for ink in space.inks:
            if ink in ("All", "None"):
                self.may_spare |= ink == "None"
            elif ink not in PROCESS and (ink not in self.spots or space.n < self.spots[ink].n):
                self.spots[ink] = space
        return super().plan(space, pdf)

    def for_mask(self, space: Space | None) -> Mapping:
        return Mapping()

    def state_changed(self, frame: Frame, state: State) -> None:
        self.may_spare |= state.overprint_fill or state.overprint_stroke or state.blend in NOT_SEPARABLE
        if not state.plain:
            self.knocked |= state.knockout
            self.blended |= state.blends_in == 3
        if state.blend not in ("Normal", "Compatible"):
            self.mixes = True
            self.sunk |= state.sunk

    def picture_placed(self, frame: Frame, picture: Object, space: Space | None, name: str) -> None:
        if entry(picture, "/SMask") is not None:
            self.knocked |= frame.state.knockout
            self.blended |= frame.state.blends_in == 3

    def doubts(self, page: int) -> list[Doubt]:
        """What plates of the page can't show."""
        met = (self.knocked, self.blended, self.sunk)
        return [Doubt(page, what, why) for (what, why), found in zip(_DOUBTS, met, strict=True) if found]


class CensusOfConversion(InkCensus, ToCondition):
    """Converts screen colours for a drawing at so many pixels per inch, and takes the census on the way."""

    target = CMYK
    lasting = False
    shrinks_kept = True  # each drawing reads them again

    def __init__(self, condition: Condition, ppi: float) -> None:
        InkCensus.__init__(self)
        ToCondition.__init__(self, condition.plain())  # inks are shown as they stand
        self.picture_ppi = ppi
        self.coloured = False  # whether cyan, magenta or yellow may be in it at all

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        base = space
        while base.kind in ("Indexed", "Pattern") and base.base is not None:
            base = base.base
        self.coloured |= (base.n == 4 and not base.inks) or any(ink in _COLOURS for ink in base.inks)
        return super().plan(space, pdf)

    def stream_begins(self, frame: Frame, matrix: Matrix) -> None:
        # Streams with nothing to convert are not followed: any k might be the operator that sets CMYK.
        self.coloured = self.coloured or _MAYBE_CMYK.search(frame.data) is not None

    def inks(self, space: Space, values: Floats, smooth: bool) -> Floats:
        found = super().inks(space, values, smooth)
        self.coloured |= bool((found[:, :3] > 0).any())
        return found

    def picture(self, image: pyvips.Image, space: Space) -> tuple[pyvips.Image, Space]:
        kept = {"DeviceCMYK": CMYK, "DeviceGray": GRAY}.get(space.kind)
        made, target = (image, kept) if kept is not None else super().picture(image, space)
        self.coloured |= target.n == 4
        return made, target

    def for_mask(self, space: Space | None) -> Mapping:
        return ToCondition.for_mask(self, space)
