"""Finds out which pages mix colours by transparency in red, green and blue, and where: on the page or in a group of it.

A group blends in the space that it names if it is isolated, else in that of what it lies on (ISO 32000-1 11.6.6). A
page that names none blends in the press's inks (11.4.7), but screens show it blended in RGB.
"""

from __future__ import annotations

from dataclasses import dataclass

import pikepdf
from pikepdf import Object, Stream

from hotfolder.pdf.objects import entry, identity, inherited
from hotfolder.pdf.values.spaces import GRAY, Space, SpaceReader
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import Mapping, Plan
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.state import State
from hotfolder.pdf.walk.walker import Walker, own_blending_space


@dataclass(frozen=True)
class Mixing:
    """A page (from 1) that mixes in RGB. `whole`: the page itself blends so; else the groups do, by object number."""

    page: int
    whole: bool
    groups: frozenset[tuple[int, int]]


def find_mixing(pdf: pikepdf.Pdf) -> list[Mixing]:
    """The pages that mix in RGB; changes nothing and never raises for what is in the file."""
    return [found for number in range(1, len(pdf.pages) + 1) if (found := _look(pdf, number)) is not None]


def _look(pdf: pikepdf.Pdf, number: int) -> Mixing | None:
    page = pdf.pages[number - 1].obj
    census = _Census(_page_channels(page), {})
    Walker(pdf, census, WalkResult()).page(page, number)
    every = [census, *census.groups.values()]
    # What a group mixes may have holes, and then the page mixes too, where the group lies on it.
    mixes, in_rgb = any(one.mixes for one in every), any(one.channels == 3 or one.has_screen_colours for one in every)
    if census.channels in (0, 3):
        return Mixing(number, True, frozenset()) if mixes and in_rgb else None
    groups = frozenset(place for place, group in census.groups.items() if group.channels == 3 and group.mixes)
    return Mixing(number, False, groups) if groups else None


def _page_channels(page: object) -> int:
    """Channels of the page group's own space; 0 where there is none. A page group is always isolated (11.4.7)."""
    group = entry(page, "/Group")
    space = own_blending_space(group, inherited(page, "/Resources"), SpaceReader(), isolated=True)
    return 0 if space is None else space.n


class _Census(Mapping):
    """Notes whether what blends in one and the same space really mixes. Groups with a space of their own have a census
    of their own, by object."""

    target = GRAY  # so that streams are followed that hold nothing but CMYK

    def __init__(self, channels: int, groups: dict[tuple[int, int], _Census]) -> None:
        self.channels, self.groups = channels, groups
        self.mixes = self.has_screen_colours = False

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        real = space
        while real.kind in ("Indexed", "Pattern") and real.base is not None:
            real = real.base
        self.has_screen_colours |= real.n == 3 and not real.inks
        return super().plan(space, pdf)

    def for_group(self, form: Stream, space: Space | None) -> Mapping:
        place = identity(form)
        if space is None or place is None:
            return self
        return self.groups.setdefault(place, _Census(space.n, self.groups))

    def for_mask(self, space: Space | None) -> Mapping:
        return Mapping()  # what a mask mixes is never printed

    def state_changed(self, frame: Frame, state: State) -> None:
        self.mixes |= not state.plain

    def picture_placed(self, frame: Frame, picture: Object, space: Space | None, name: str) -> None:
        self.mixes |= entry(picture, "/SMask") is not None or bool(entry(picture, "/SMaskInData"))
